//! Noisy phases of a clock in, a smooth phase and rate with their variances out: the two-state clock model of Van
//! Dierendonck, McGraw and Brown (1984) in a Kalman filter with Rauch-Tung-Striebel smoothing. How restless the clock is
//! (`q2`) is chosen by the likelihood of the innovations, straight unless a curve is worth it; the variances are those of
//! all strengths together, each counted by its likelihood, so that what the data leave open is in them. Outliers lose
//! weight by the Geman-McClure rule, annealed from a scale that spares everything.
//!
//! Process noise over `D` seconds: `q2 [[D^3/3, D^2/2], [D^2/2, D]]`, a random walk of the rate. White noise of the rate is
//! left out: over a block it is far below what sound can measure, and it would keep a straight clock from being straight.

mod filter;
#[cfg(test)]
mod tests;

use crate::signal::median;

pub(super) use filter::State;
use filter::{Course, RESTLESS, Walk, likelihood, rts};

/// Added to every variance, s^2: half a millionth of a sample at 48 kHz, below which no sound was ever measured here.
pub(super) const FLOOR: f64 = 1e-22;
/// By how much the logarithm of the likelihood must grow for a curve to be believed: a straight clock looks bent by chance
/// in one take of forty (half the mass of chi-squared with one degree of freedom beyond 4).
const WORTH: f64 = 2.0;
/// An outlier of as many sigma keeps a quarter of its weight.
const OUTLYING: f64 = 4.0;

/// Phases measured at instants.
#[derive(Debug, Clone)]
pub struct Phases {
    /// Instants, seconds, rising.
    pub t: Vec<f64>,
    /// Phases, seconds.
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
    /// Variance of the difference between the last phase and the first, s^2.
    pub ends_variance: f64,
    /// The chosen random-walk strength of the rate, 1/s.
    pub q2: f64,
    /// How many times larger the variances proved than they were said to be, at least 1.
    pub scale: f64,
    /// Weight of each measurement, 0 to 1.
    pub weight: Vec<f64>,
    walk: Walk,
}

impl Smooth {
    /// The variance of the phase `after` seconds beyond the measurement `i` (before it when negative), for a clock whose
    /// rate wanders with at least the strength `least_q2`.
    #[must_use]
    pub fn variance_beyond(&self, i: usize, after: f64, least_q2: f64) -> f64 {
        let [pp, pr, rr] = self.covariance[i];
        let d = after.abs();
        let wander = self.q2.max(least_q2) * d * d * d / 3.0;
        (pp + 2.0 * after * pr + d * d * rr + wander).max(0.0)
    }
}

/// Smooths `phases`. `None` for fewer than three.
#[must_use]
pub fn smooth(phases: &Phases) -> Option<Smooth> {
    if phases.t.len() < 3 {
        return None;
    }
    let line = Line::through(&phases.t, &phases.z);
    let z = line.taken_off(&phases.t, &phases.z);
    let measured: Vec<f64> = phases.variance.iter().map(|v| v + FLOOR).collect();
    let scale = measurement_scale(&phases.t, &z, &measured);
    let scaled: Vec<f64> = measured.iter().map(|v| v * scale).collect();
    let mut weight = weights_without_outliers(&phases.t, &z, &scaled);
    let free = rts(
        &phases.t,
        &z,
        &weighted(&scaled, &weight),
        &Walk::even(RESTLESS),
    );
    let mut walk = Walk::with_jumps_of(&free);
    let strengths = Strengths::of(&walk, |walk| {
        likelihood(&phases.t, &z, &weighted(&scaled, &weight), walk)
    });
    walk.q2 = strengths.chosen;
    let mut course = Course::default();
    for _ in 0..4 {
        course = rts(&phases.t, &z, &weighted(&scaled, &weight), &walk);
        weight = weights(&z, &course.states, &scaled, OUTLYING);
    }
    let course = strengths.widened(course, &walk, |walk| {
        rts(&phases.t, &z, &weighted(&scaled, &weight), walk)
    });
    let settings = Settings {
        walk,
        scale,
        weight,
    };
    Some(finished(phases, line, course, settings))
}

/// Smooths other phases of the same clock, measured at the same instants, with the strength and the weights found before.
#[must_use]
pub fn smooth_alike(phases: &Phases, like: &Smooth) -> Smooth {
    let line = Line::through(&phases.t, &phases.z);
    let z = line.taken_off(&phases.t, &phases.z);
    let scaled: Vec<f64> = phases
        .variance
        .iter()
        .map(|v| (v + FLOOR) * like.scale)
        .collect();
    let walk = like.walk.clone();
    let course = rts(&phases.t, &z, &weighted(&scaled, &like.weight), &walk);
    let settings = Settings {
        walk,
        scale: like.scale,
        weight: like.weight.clone(),
    };
    finished(phases, line, course, settings)
}

struct Settings {
    walk: Walk,
    scale: f64,
    weight: Vec<f64>,
}

fn finished(phases: &Phases, line: Line, course: Course, settings: Settings) -> Smooth {
    let states = course.states;
    Smooth {
        phase: states
            .iter()
            .zip(&phases.t)
            .map(|(state, t)| state.phase + line.at(*t))
            .collect(),
        rate: states.iter().map(|state| state.rate + line.slope).collect(),
        covariance: states.into_iter().map(|state| state.p).collect(),
        ends_variance: course.ends_variance,
        q2: settings.walk.q2,
        walk: settings.walk,
        scale: settings.scale,
        weight: settings.weight,
    }
}

/// A straight line that a few outliers do not turn: medians of slopes over half the span, and of what is left.
#[derive(Debug, Clone, Copy)]
pub(super) struct Line {
    from: f64,
    phase: f64,
    slope: f64,
}

impl Line {
    pub(super) fn through(t: &[f64], z: &[f64]) -> Self {
        let half = t.len() / 2;
        let mut slopes: Vec<f64> = (0..t.len() - half)
            .map(|i| (z[i + half] - z[i]) / (t[i + half] - t[i]))
            .collect();
        let slope = median(&mut slopes).unwrap_or(0.0);
        let from = t[0];
        let mut left: Vec<f64> = t
            .iter()
            .zip(z)
            .map(|(t, z)| z - slope * (t - from))
            .collect();
        let phase = median(&mut left).unwrap_or(0.0);
        Self { from, phase, slope }
    }

    fn at(self, t: f64) -> f64 {
        self.phase + self.slope * (t - self.from)
    }

    pub(super) fn taken_off(self, t: &[f64], z: &[f64]) -> Vec<f64> {
        t.iter().zip(z).map(|(t, z)| z - self.at(*t)).collect()
    }
}

pub(super) fn weighted(variance: &[f64], weight: &[f64]) -> Vec<f64> {
    variance
        .iter()
        .zip(weight)
        .map(|(v, w)| v / w.max(1e-9))
        .collect()
}

/// How much larger the scatter is than claimed, from second, third and fourth differences of evenly spaced phases: they
/// hardly see the clock, and the order that sees it least counts.
pub(super) fn measurement_scale(t: &[f64], z: &[f64], variance: &[f64]) -> f64 {
    [
        &[1.0, -2.0, 1.0][..],
        &[-1.0, 3.0, -3.0, 1.0],
        &[1.0, -4.0, 6.0, -4.0, 1.0],
    ]
    .into_iter()
    .filter_map(|weights| difference_scale(t, z, variance, weights))
    .fold(None, |least: Option<f64>, scale| {
        Some(least.map_or(scale, |least| least.min(scale)))
    })
    .unwrap_or(1.0)
    .max(1.0)
}

fn difference_scale(t: &[f64], z: &[f64], variance: &[f64], weights: &[f64]) -> Option<f64> {
    let n = weights.len();
    let mut ratios: Vec<f64> = (0..(t.len() + 1).saturating_sub(n))
        .filter(|&i| {
            let step = t[i + 1] - t[i];
            t[i..i + n]
                .windows(2)
                .all(|pair| (pair[1] - pair[0] - step).abs() < 0.01 * step)
        })
        .map(|i| {
            let (mut difference, mut power) = (0.0, 0.0);
            for (j, weight) in weights.iter().enumerate() {
                difference += weight * z[i + j];
                power += weight * weight * variance[i + j];
            }
            difference.abs() / power.sqrt()
        })
        .collect();
    // 0.6745: the median of |x| for a normal distribution of unit variance
    (ratios.len() >= 5).then_some((median(&mut ratios)? / 0.6745).powi(2))
}

/// Weights of the measurements about a clock that may be restless, annealed so that a far outlier does not first bend the
/// clock to itself.
fn weights_without_outliers(t: &[f64], z: &[f64], variance: &[f64]) -> Vec<f64> {
    let mut weight = vec![1.0; t.len()];
    let mut scale = f64::INFINITY;
    for _ in 0..40 {
        let states = rts(t, z, &weighted(variance, &weight), &Walk::even(RESTLESS)).states;
        if scale.is_infinite() {
            scale = z
                .iter()
                .zip(&states)
                .zip(variance)
                .map(|((z, state), v)| (z - state.phase).abs() / v.sqrt())
                .fold(OUTLYING, f64::max);
        }
        weight = weights(z, &states, variance, scale);
        if scale <= OUTLYING {
            break;
        }
        scale = (scale / 2.0).max(OUTLYING);
    }
    weight
}

/// Geman and McClure's weights for residuals in sigma.
fn weights(z: &[f64], states: &[State], variance: &[f64], scale: f64) -> Vec<f64> {
    z.iter()
        .zip(states)
        .zip(variance)
        .map(|((z, state), v)| {
            let residual = (z - state.phase).powi(2) / v;
            1.0 / (1.0 + residual / (scale * scale)).powi(2)
        })
        .collect()
}

/// Strengths of the walk on a grid of half decades from a straight clock on, how probable the measurements make each (all
/// alike beforehand), and the chosen one.
struct Strengths {
    grid: Vec<(f64, f64)>,
    chosen: f64,
}

impl Strengths {
    /// `likelihood` gives the logarithm of the likelihood of a walk; jumps are those of `walk`.
    fn of(walk: &Walk, likelihood: impl Fn(&Walk) -> f64) -> Self {
        let likelihoods: Vec<(f64, f64)> = (0..=36)
            .map(|step| 10f64.powf(-31.0 + 0.5 * f64::from(step)))
            .map(|q2| (q2, likelihood(&Walk { q2, ..walk.clone() })))
            .collect();
        let straight = likelihoods[0];
        let best = likelihoods.iter().fold(
            straight,
            |best, &more| if more.1 > best.1 { more } else { best },
        );
        let chosen = if best.1 > straight.1 + WORTH {
            best.0
        } else {
            straight.0
        };
        let sum: f64 = likelihoods.iter().map(|(_, l)| (l - best.1).exp()).sum();
        Self {
            grid: likelihoods
                .into_iter()
                .map(|(q2, l)| (q2, (l - best.1).exp() / sum))
                .collect(),
            chosen,
        }
    }

    /// The chosen course with the variances of all strengths, its distance from each of their courses included.
    fn widened(&self, chosen: Course, walk: &Walk, rts: impl Fn(&Walk) -> Course) -> Course {
        let mut wide = chosen.clone();
        wide.states.iter_mut().for_each(|state| state.p = [0.0; 3]);
        wide.ends_variance = 0.0;
        let probable: Vec<&(f64, f64)> = self.grid.iter().filter(|(_, p)| *p > 1e-3).collect();
        let sum: f64 = probable.iter().map(|(_, p)| p).sum();
        for &(q2, probability) in probable {
            let share = probability / sum;
            let course = rts(&Walk { q2, ..walk.clone() });
            for ((wide, state), chosen) in wide
                .states
                .iter_mut()
                .zip(&course.states)
                .zip(&chosen.states)
            {
                let (dx, dy) = (state.phase - chosen.phase, state.rate - chosen.rate);
                for (wide, (own, apart)) in
                    wide.p
                        .iter_mut()
                        .zip(state.p.iter().zip([dx * dx, dx * dy, dy * dy]))
                {
                    *wide += share * (own + apart);
                }
            }
            let apart = course.gained() - chosen.gained();
            wide.ends_variance += share * (course.ends_variance + apart * apart);
        }
        wide
    }
}
