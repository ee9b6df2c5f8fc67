//! A seed in, phases of a clock with known noise out: what intervals and forecasts are held against.

use crate::signal::Transform;

/// What noise.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    WhitePhase,
    WhiteRate,
    FlickerRate,
    WalkingRate,
}

/// Normal random numbers: SplitMix64 (Steele, Lea and Flood, OOPSLA 2014), Box and Muller (1958).
pub struct Random(pub u64);

impl Random {
    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub fn normal(&mut self) -> f64 {
        let (a, b) = (1.0 - self.unit(), self.unit());
        (-2.0 * a.ln()).sqrt() * (std::f64::consts::TAU * b).cos()
    }
}

/// Phases a second apart. White phase: of variance 1. White rate: Allan variance 1 at a second. A walking rate gains a
/// variance of 1 in a second. Flicker by fractional summation of white noise (Hosking, Biometrika 1981; Kasdin, Proc. IEEE
/// 1995): rate coefficients `h[k] = h[k-1] (k - 1/2) / k`.
pub fn phases(kind: Kind, points: usize, seed: u64) -> Vec<f64> {
    let mut random = Random(seed.wrapping_mul(0x5851_f42d_4c95_7f2d) ^ 0x1234_5678);
    if kind == Kind::WhitePhase {
        return (0..points).map(|_| random.normal()).collect();
    }
    let white: Vec<f64> = (0..2 * points).map(|_| random.normal()).collect();
    let rates: Vec<f64> = match kind {
        Kind::WhitePhase | Kind::WhiteRate => white[..points].to_vec(),
        Kind::WalkingRate => running(&white[..points]),
        Kind::FlickerRate => {
            let mut h = vec![1.0];
            for k in 1..points {
                h.push(h[k - 1] * (k as f64 - 0.5) / k as f64);
            }
            // the memory reaches as far back as the series is long
            let transform = Transform::new(2 * points);
            let (mut all, h) = (transform.spectrum(&white), transform.spectrum(&h));
            all.iter_mut().zip(&h).for_each(|(a, h)| *a *= h);
            transform.samples(all).split_off(points)
        }
    };
    running(&rates)
}

fn running(values: &[f64]) -> Vec<f64> {
    let mut sum = 0.0;
    let all = values.iter().map(|v| {
        sum += v;
        sum
    });
    all.collect()
}
