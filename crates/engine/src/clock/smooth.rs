//! Noisy phases of a clock in, a smooth phase and rate with their variances out: the two-state clock model of Van
//! Dierendonck, McGraw and Brown (1984) in a Kalman filter with Rauch-Tung-Striebel smoothing. How restless the clock is
//! (`q2`) is chosen by the likelihood of the innovations; outliers lose weight by the Geman-McClure rule.
//!
//! Process noise over `D` seconds: `[[q1 D + q2 D^3/3, q2 D^2/2], [q2 D^2/2, q2 D]]`.

/// White frequency noise of the model, s: far below any audio clock, so that `q2` carries the wander.
const Q1: f64 = 1e-24;

/// Phases measured at instants.
#[derive(Debug, Clone)]
pub struct Phases {
    /// Instants, seconds, rising.
    pub t: Vec<f64>,
    /// Phases, seconds, about a straight line that was taken off.
    pub z: Vec<f64>,
    /// Variances as measured, s^2.
    pub variance: Vec<f64>,
}

/// The smoothed clock at the instants of its measurements.
#[derive(Debug, Clone)]
pub struct Smooth {
    /// Phase, s.
    pub phase: Vec<f64>,
    /// Rate, s/s.
    pub rate: Vec<f64>,
    /// Covariance `[phase, cross, rate]`.
    pub covariance: Vec<[f64; 3]>,
    /// The chosen random-walk strength of the rate, 1/s.
    pub q2: f64,
    /// Weight of each measurement, 0 to 1.
    pub weight: Vec<f64>,
}

impl Smooth {
    /// The variance of the phase `after` seconds beyond the measurement `i`.
    #[must_use]
    pub fn variance_beyond(&self, i: usize, after: f64) -> f64 {
        let [pp, pr, rr] = self.covariance[i];
        let d = after.abs();
        pp + 2.0 * after * pr + d * d * rr + Q1 * d + self.q2 * d * d * d / 3.0
    }
}

/// Smooths `phases`. `None` for fewer than three.
#[must_use]
pub fn smooth(phases: &Phases) -> Option<Smooth> {
    let n = phases.t.len();
    if n < 3 {
        return None;
    }
    let floor = 1e-22;
    let measured: Vec<f64> = phases.variance.iter().map(|v| v + floor).collect();
    let scale = measurement_scale(&phases.z, &measured);
    let scaled: Vec<f64> = measured.iter().map(|v| v * scale).collect();
    let q2 = (0..=20)
        .map(|step| 10f64.powf(-23.0 + 0.5 * f64::from(step)))
        .map(|q2| (likelihood(&phases.t, &phases.z, &scaled, q2), q2))
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map_or(1e-20, |(_, q2)| q2);
    let mut weight = vec![1.0; n];
    let mut result = None;
    for _ in 0..5 {
        let variance: Vec<f64> = scaled
            .iter()
            .zip(&weight)
            .map(|(v, w): (&f64, &f64)| v / w.max(1e-9))
            .collect();
        let (phase, rate, covariance) = rts(&phases.t, &phases.z, &variance, q2);
        for i in 0..n {
            let residual = phases.z[i] - phase[i];
            weight[i] = 1.0 / (1.0 + residual * residual / scaled[i] / 16.0).powi(2);
        }
        result = Some(Smooth {
            phase,
            rate,
            covariance,
            q2,
            weight: weight.clone(),
        });
    }
    result
}

/// How much larger the scatter is than claimed, from second differences, which do not see the clock.
fn measurement_scale(z: &[f64], variance: &[f64]) -> f64 {
    let mut ratios: Vec<f64> = z
        .windows(3)
        .zip(variance.windows(3))
        .map(|(z, v)| (z[2] - 2.0 * z[1] + z[0]).abs() / (v[0] + 4.0 * v[1] + v[2]).sqrt())
        .collect();
    let middle = ratios.len() / 2;
    let median = *ratios.select_nth_unstable_by(middle, f64::total_cmp).1;
    (1.4826 * median).powi(2).max(1.0)
}

type Matrix = [f64; 3]; // symmetric 2 x 2: phase, cross, rate

fn predict(x: [f64; 2], p: Matrix, d: f64, q2: f64) -> ([f64; 2], Matrix) {
    let [pp, pr, rr] = p;
    (
        [x[0] + d * x[1], x[1]],
        [
            pp + 2.0 * d * pr + d * d * rr + Q1 * d + q2 * d * d * d / 3.0,
            pr + d * rr + q2 * d * d / 2.0,
            rr + q2 * d,
        ],
    )
}

fn update(x: [f64; 2], p: Matrix, innovation: f64, variance: f64) -> ([f64; 2], Matrix) {
    let [pp, pr, rr] = p;
    let s = pp + variance;
    let (k0, k1) = (pp / s, pr / s);
    (
        [x[0] + k0 * innovation, x[1] + k1 * innovation],
        [pp - k0 * pp, pr - k0 * pr, rr - k1 * pr],
    )
}

fn start(z: &[f64], variance: &[f64]) -> ([f64; 2], Matrix) {
    ([z[0], 0.0], [variance[0], 0.0, 1e-8])
}

fn likelihood(t: &[f64], z: &[f64], variance: &[f64], q2: f64) -> f64 {
    let (mut x, mut p) = start(z, variance);
    let mut sum = 0.0;
    for i in 1..t.len() {
        (x, p) = predict(x, p, t[i] - t[i - 1], q2);
        let s = p[0] + variance[i];
        let innovation = z[i] - x[0];
        let u = innovation * innovation / s;
        // Student's t with four degrees of freedom: an outlier costs little
        sum -= 0.5 * (s.ln() + 5.0 * (u / 4.0).ln_1p());
        if u < 16.0 || i < 4 {
            (x, p) = update(x, p, innovation, variance[i]);
        }
    }
    sum
}

fn rts(t: &[f64], z: &[f64], variance: &[f64], q2: f64) -> (Vec<f64>, Vec<f64>, Vec<Matrix>) {
    let n = t.len();
    let (mut x, mut p) = start(z, variance);
    let mut filtered = vec![(x, p)];
    let mut predicted = vec![(x, p)];
    for i in 1..n {
        (x, p) = predict(x, p, t[i] - t[i - 1], q2);
        predicted.push((x, p));
        (x, p) = update(x, p, z[i] - x[0], variance[i]);
        filtered.push((x, p));
    }
    let mut smoothed = filtered.clone();
    for i in (0..n - 1).rev() {
        let d = t[i + 1] - t[i];
        let (xf, [a, b, c]) = filtered[i];
        let (xp, [pa, pb, pc]) = predicted[i + 1];
        let (xs, ps) = smoothed[i + 1];
        // gain = P F' Pp^-1
        let determinant = pa * pc - pb * pb;
        let (fa, fb, fc, fd) = (a + d * b, b, b + d * c, c); // P F': rows phase, rate
        let g = [
            (fa * pc - fb * pb) / determinant,
            (fb * pa - fa * pb) / determinant,
            (fc * pc - fd * pb) / determinant,
            (fd * pa - fc * pb) / determinant,
        ];
        let (dx, dy) = (xs[0] - xp[0], xs[1] - xp[1]);
        let e = [ps[0] - pa, ps[1] - pb, ps[2] - pc];
        let (h0, h1) = (g[0] * e[0] + g[1] * e[1], g[0] * e[1] + g[1] * e[2]);
        let (h2, h3) = (g[2] * e[0] + g[3] * e[1], g[2] * e[1] + g[3] * e[2]);
        smoothed[i] = (
            [xf[0] + g[0] * dx + g[1] * dy, xf[1] + g[2] * dx + g[3] * dy],
            [
                a + h0 * g[0] + h1 * g[1],
                b + h0 * g[2] + h1 * g[3],
                c + h2 * g[2] + h3 * g[3],
            ],
        );
    }
    let phase = smoothed.iter().map(|(x, _)| x[0]).collect();
    let rate = smoothed.iter().map(|(x, _)| x[1]).collect();
    (phase, rate, smoothed.into_iter().map(|(_, p)| p).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn noise(i: usize) -> f64 {
        // a fixed scrambling of the index: uniform in -0.5..0.5
        let x = (i as u64 + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        let x = (x ^ (x >> 29)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        ((x ^ (x >> 32)) >> 11) as f64 / (1u64 << 53) as f64 - 0.5
    }

    #[test]
    fn a_sine_wander_is_followed_within_its_noise() {
        let t: Vec<f64> = (0..800).map(|i| f64::from(i) * 0.34).collect();
        let truth: Vec<f64> = t.iter().map(|t| 2e-6 * (t / 15.0).sin()).collect();
        let sigma = 2e-8;
        let mut z: Vec<f64> = truth
            .iter()
            .enumerate()
            .map(|(i, x)| x + sigma * 12f64.sqrt() * noise(i))
            .collect();
        z[400] += 1e-4; // one outlier
        let smooth = smooth(&Phases {
            t,
            z,
            variance: vec![sigma * sigma; 800],
        })
        .expect("enough");
        let rms = (smooth
            .phase
            .iter()
            .zip(&truth)
            .map(|(a, b)| (a - b).powi(2))
            .sum::<f64>()
            / 800.0)
            .sqrt();
        assert!(rms < sigma, "{rms:e}");
        assert!(smooth.weight[400] < 1e-3);
        let claimed = smooth.covariance[200][0].sqrt();
        assert!(
            claimed < sigma && claimed > rms / 4.0,
            "claimed {claimed:e}, true {rms:e}"
        );
    }

    #[test]
    fn two_points_are_no_clock() {
        let phases = Phases {
            t: vec![0.0, 1.0],
            z: vec![0.0; 2],
            variance: vec![1e-16; 2],
        };
        assert!(smooth(&phases).is_none());
    }
}
