//! A step between two maps and a stretch that holds it in, the sample at which the one map ends to fit and the other begins
//! out: the change point of least squared error, `argmin sum_{r<c} e0^2 + sum_{r>=c+gap} e1^2` (alignment facts 5.4).

use crate::error::Result;
use crate::signal::{Kernel, KernelSpec, Sound, warp};

/// Samples on either side of the stretch from which the level is taken.
const MARGIN: i64 = 4096;
/// Neighbouring samples' errors go together: the doubt is this much larger than that of white noise.
const ALIKE: f64 = 4.0;
/// Longest stretch that is searched, samples.
const LONGEST: i64 = 1 << 24;

/// One channel of a sound.
#[derive(Clone, Copy)]
pub struct Voice<'a> {
    /// The take.
    pub sound: &'a dyn Sound,
    /// Its channel.
    pub channel: usize,
}

/// What is searched.
pub struct Stretch<'a> {
    /// The unit that has every sample.
    pub whole: Voice<'a>,
    /// The unit whose file slips.
    pub slipped: Voice<'a>,
    /// The slipped unit's position at a position of the whole one, as it holds before the slip.
    pub before: &'a dyn Fn(f64) -> f64,
    /// By how many samples it jumps there.
    pub jump: i64,
    /// Of how many samples of the whole unit's the slipped one has none.
    pub gap: i64,
    /// First and last position on the whole unit.
    pub from: i64,
    /// See `from`.
    pub to: i64,
}

/// Where it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Located {
    /// The whole unit's position from which on the first map does not fit any more.
    pub at: i64,
    /// One sigma of it, samples.
    pub sigma: f64,
}

/// Finds the change point; `None` when the stretch is empty or silent.
///
/// # Errors
/// When a file cannot be read.
pub fn locate(stretch: &Stretch<'_>) -> Result<Option<Located>> {
    let (from, to) = (stretch.from - MARGIN, stretch.to + MARGIN);
    let length = to - from;
    if stretch.to <= stretch.from || length + stretch.gap > LONGEST {
        return Ok(None);
    }
    let length = length as usize;
    let gap = stretch.gap.max(0) as usize;
    let mut x = vec![0.0; length + gap];
    stretch
        .whole
        .sound
        .read(&[stretch.whole.channel], from, &mut [&mut x])?;
    let y0 = slipped(stretch, from, length, 0)?;
    let y1 = slipped(stretch, from + gap as i64, length, stretch.jump)?;
    let margin = MARGIN as usize;
    let gain = gain(&x[..margin], &y0[..margin])
        + gain(&x[length + gap - margin..], &y1[length - margin..]);
    let gain = gain / 2.0;
    let e0: Vec<f64> = x
        .iter()
        .zip(&y0)
        .map(|(x, y)| (x - gain * y).powi(2))
        .collect();
    let e1: Vec<f64> = x[gap..]
        .iter()
        .zip(&y1)
        .map(|(x, y)| (x - gain * y).powi(2))
        .collect();
    // cost of a change before sample i, less that of one before sample 0
    let mut cost = vec![0.0];
    let mut sum = 0.0;
    for (e0, e1) in e0.iter().zip(&e1) {
        sum += e0 - e1;
        cost.push(sum);
    }
    let Some((best, least)) = cost
        .iter()
        .copied()
        .enumerate()
        .min_by(|a, b| a.1.total_cmp(&b.1))
    else {
        return Ok(None);
    };
    let left: f64 = e0[..best].iter().sum::<f64>() + e1[best..].iter().sum::<f64>();
    let noise = ALIKE * 2.0 * left / length as f64;
    if !(noise > 0.0 && noise.is_finite()) {
        return Ok(
            (left == 0.0 && x.iter().any(|x| *x != 0.0)).then_some(Located {
                at: from + best as i64,
                sigma: 0.0,
            }),
        );
    }
    let (mut weights, mut square) = (0.0, 0.0);
    for (i, cost) in cost.iter().enumerate() {
        let weight = (-(cost - least) / noise).exp();
        weights += weight;
        square += weight * (i as f64 - best as f64).powi(2);
    }
    Ok(Some(Located {
        at: from + best as i64,
        sigma: (square / weights).sqrt(),
    }))
}

/// The slipped unit's sound at `length` positions of the whole one from `from` on, `jump` samples later.
fn slipped(stretch: &Stretch<'_>, from: i64, length: usize, jump: i64) -> Result<Vec<f64>> {
    let Voice { sound, channel } = stretch.slipped;
    let kernel = Kernel::shared(KernelSpec::MEASURE);
    let mut out = vec![0.0; length];
    warp((sound, channel), &kernel, &mut out, |i| {
        (stretch.before)((from + i as i64) as f64) + jump as f64
    })?;
    Ok(out)
}

/// The factor that brings `y` to `x`.
fn gain(x: &[f64], y: &[f64]) -> f64 {
    let along: f64 = x.iter().zip(y).map(|(x, y)| x * y).sum();
    let square: f64 = y.iter().map(|y| y * y).sum();
    if square > 0.0 { along / square } else { 0.0 }
}
