//! Noisy phases of a clock in, a smooth phase and rate with their variances out: the clock model of Van Dierendonck, McGraw
//! and Brown (1984), phase, rate and drift, in a Kalman filter from either end. How restless the clock is, and whether its
//! rate walks or bends smoothly, is chosen by the likelihood of the innovations, straight unless a curve is worth it; the
//! variances are those of all walks together, each counted by its likelihood, so that what the data leave open is in them.
//! Outliers lose weight by the Geman-McClure rule, annealed from a scale that spares everything.
//!
//! Process noise over `D` seconds: `q2 [[D^3/3, D^2/2], [D^2/2, D]]`, a random walk of the rate, or `q3` times the same for a
//! walk of the drift (`D^5/20` for the phase). A crystal that warms or wanders with its room bends smoothly: taken for a walk
//! of the rate, its phase would lag at both ends. White noise of the rate is left out: over a block it is far below what
//! sound can measure, and it would keep a straight clock from being straight.

mod filter;
#[cfg(test)]
mod tests;

use crate::signal::median;

use filter::{Course, RESTLESS, Walk, likelihood, smoothed};
pub(super) use filter::{Restless, State};

/// Added to every variance, s^2: half a millionth of a sample at 48 kHz, below which no sound was ever measured here.
pub(super) const FLOOR: f64 = 1e-22;
/// By how much the logarithm of the likelihood must grow for a curve to be believed: the best of two families of walks looks
/// better than a straight clock by that much by chance in one take of two hundred (half the mass of chi-squared with one
/// degree of freedom beyond 8, for each). With 2 the offset of straight clocks errs by 1.6 times the bound, with 4 by 1.2.
const WORTH: f64 = 4.0;
/// An outlier of as many sigma keeps a quarter of its weight.
const OUTLYING: f64 = 4.0;
/// So long beyond the outermost measurement its drift is believed, s: a crystal's drift turns within a minute.
const FORETOLD_S: f64 = 2.0;

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
    /// The same with drift and covariance.
    states: Vec<State>,
    /// Variance of the difference between the last phase and the first, s^2.
    pub ends_variance: f64,
    /// How many times larger the variances proved than they were said to be, at least 1.
    pub scale: f64,
    /// Weight of each measurement, 0 to 1.
    pub weight: Vec<f64>,
    walk: Walk,
    t: Vec<f64>,
}

impl Smooth {
    /// Variance of the phase at each measurement, s^2.
    #[must_use]
    pub fn variance(&self) -> Vec<f64> {
        self.states.iter().map(|state| state.p[0]).collect()
    }

    /// The phase `after` seconds beyond the outermost measurement `i` (before it when negative), and its variance, for a
    /// clock whose rate walks with at least the strength `least`. The drift is believed for two seconds, then the rate
    /// it leads to goes on.
    #[must_use]
    pub fn beyond(&self, i: usize, after: f64, least: f64) -> (f64, f64) {
        let restless = self.walk.restless.at_least(least);
        let bent = after.clamp(-FORETOLD_S, FORETOLD_S);
        let on = self.states[i].after(bent, restless);
        let straight = State {
            drift: 0.0,
            p: [on.p[0], on.p[1], on.p[2], 0.0, 0.0, 0.0],
            ..on
        }
        .after(after - bent, Restless::rate(restless.rate));
        (straight.phase, straight.p[0].max(0.0))
    }

    /// What the walk adds to the variance of the phase at a part `s`, 0 to 1, of the way from measurement `i` to the next:
    /// `q2 D^3 s^3 (1 - s)^3 / 3`, or the same of the fifth power over 20, for a rate that walks with at least `least`.
    #[must_use]
    pub fn variance_between(&self, i: usize, s: f64, least: f64) -> f64 {
        let gap = self.t[i + 1] - self.t[i];
        let restless = self.walk.to(i + 1).at_least(least);
        restless.phase_variance(gap * s * (1.0 - s))
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
    let free = smoothed(
        &phases.t,
        &z,
        &weighted(&scaled, &weight),
        &Walk::even(RESTLESS),
    );
    let jumps = Walk::with_jumps_of(&free, &phases.t);
    let scaled = jumps.rounded(&scaled);
    let walks = {
        let variance = weighted(&scaled, &weight);
        Walks::of(&jumps, |walk| likelihood(&phases.t, &z, &variance, walk))
    };
    let walk = jumps.like(walks.chosen);
    let mut course = Course::default();
    for _ in 0..4 {
        course = smoothed(&phases.t, &z, &weighted(&scaled, &weight), &walk);
        weight = weights(&z, &course.states, &scaled, OUTLYING);
    }
    let variance = weighted(&scaled, &weight);
    let course = walks.widened(course, &walk, |walk| {
        smoothed(&phases.t, &z, &variance, walk)
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
    let scaled = walk.rounded(&scaled);
    let course = smoothed(&phases.t, &z, &weighted(&scaled, &like.weight), &walk);
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
    let mut states = course.states;
    for (state, t) in states.iter_mut().zip(&phases.t) {
        state.phase += line.at(*t);
        state.rate += line.slope;
    }
    Smooth {
        phase: states.iter().map(|state| state.phase).collect(),
        rate: states.iter().map(|state| state.rate).collect(),
        states,
        t: phases.t.clone(),
        ends_variance: course.ends_variance,
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
        let states = smoothed(t, z, &weighted(variance, &weight), &Walk::even(RESTLESS)).states;
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

/// Walks on grids of half decades of strength, from a straight clock on, of the rate and of the drift; how probable the
/// measurements make each (all alike beforehand), and the chosen one.
struct Walks {
    grid: Vec<(Restless, f64)>,
    chosen: Restless,
}

impl Walks {
    /// `likelihood` gives the logarithm of the likelihood of a walk; jumps are those of `walk`.
    fn of(walk: &Walk, likelihood: impl Fn(&Walk) -> f64) -> Self {
        let half_decades = |from: f64, steps: u32| {
            (0..=steps).map(move |step| 10f64.powf(from + 0.5 * f64::from(step)))
        };
        let rates = half_decades(-31.0, 36).map(Restless::rate);
        let drifts = half_decades(-38.0, 48).map(Restless::drift);
        let likelihoods: Vec<(Restless, f64)> = rates
            .chain(drifts)
            .map(|restless| (restless, likelihood(&walk.like(restless))))
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
                .map(|(restless, l)| (restless, (l - best.1).exp() / sum))
                .collect(),
            chosen,
        }
    }

    /// The chosen course with the variances of all walks, its distance from each of their courses included.
    fn widened(&self, chosen: Course, walk: &Walk, smoothed: impl Fn(&Walk) -> Course) -> Course {
        let mut wide = chosen.clone();
        wide.states.iter_mut().for_each(|state| state.p = [0.0; 6]);
        wide.ends_variance = 0.0;
        let probable: Vec<&(Restless, f64)> = self.grid.iter().filter(|(_, p)| *p > 1e-3).collect();
        let sum: f64 = probable.iter().map(|(_, p)| p).sum();
        for &(restless, probability) in probable {
            let share = probability / sum;
            let course = smoothed(&walk.like(restless));
            for ((wide, state), chosen) in wide
                .states
                .iter_mut()
                .zip(&course.states)
                .zip(&chosen.states)
            {
                let (dx, dy, dd) = (
                    state.phase - chosen.phase,
                    state.rate - chosen.rate,
                    state.drift - chosen.drift,
                );
                let apart = [dx * dx, dx * dy, dy * dy, dx * dd, dy * dd, dd * dd];
                for (wide, (own, apart)) in wide.p.iter_mut().zip(state.p.iter().zip(apart)) {
                    *wide += share * (own + apart);
                }
            }
            let apart = course.gained() - chosen.gained();
            wide.ends_variance += share * (course.ends_variance + apart * apart);
        }
        wide
    }
}
