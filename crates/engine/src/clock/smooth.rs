//! Noisy phases of a clock in, a smooth phase and rate with their variances out: the two-state clock model of Van
//! Dierendonck, McGraw and Brown (1984) in a Kalman filter with Rauch-Tung-Striebel smoothing. How restless the clock is
//! (`q2`) is chosen by the likelihood of the innovations, straight unless a curve is worth it; the variances are those of
//! all strengths together, each counted by its likelihood, so that what the data leave open is in them. Outliers lose
//! weight by the Geman-McClure rule, annealed from a scale that spares everything.
//!
//! Process noise over `D` seconds: `q2 [[D^3/3, D^2/2], [D^2/2, D]]`, a random walk of the rate. White noise of the rate is
//! left out: over a block it is far below what sound can measure, and it would keep a straight clock from being straight.

/// Added to every variance, s^2: half a millionth of a sample at 48 kHz, below which no sound was ever measured here.
pub(super) const FLOOR: f64 = 1e-22;
/// Standard deviation of the phase before anything is known, s, about the straight line that is taken off.
const PRIOR_PHASE: f64 = 1e-4;
/// Standard deviation of the rate before anything is known, s/s, about that line.
const PRIOR_RATE: f64 = 1e-5;
/// The `q2` with which outliers are looked for: a clock that changes by 0.1 ppm in a second.
const RESTLESS: f64 = 1e-14;
/// By how much the logarithm of the likelihood must grow for a curve to be believed: a straight clock looks bent by chance
/// in one take of forty (half the mass of chi-squared with one degree of freedom beyond 4).
const WORTH: f64 = 2.0;
/// A rate that differs by as many sigma on either side of a measurement jumped there; wander is slower.
const JUMPED: f64 = 6.0;
/// Measurements to either side of a jump that are still of it.
const BESIDE: usize = 3;
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

/// How the rate walks from one measurement to the next: by one strength, and freely where it was seen to jump.
#[derive(Debug, Clone)]
struct Walk {
    q2: f64,
    /// For each measurement: whether the rate may jump on the way to it; empty when nowhere.
    free: Vec<bool>,
}

impl Walk {
    fn even(q2: f64) -> Self {
        let free = Vec::new();
        Self { q2, free }
    }

    /// The strength on the way to measurement `i`.
    fn to(&self, i: usize) -> f64 {
        if self.free.get(i).is_some_and(|free| *free) {
            self.q2.max(RESTLESS)
        } else {
            self.q2
        }
    }

    /// Jumps where the rate of a course that walks freely differs on either side by more than its noise explains.
    fn with_jumps_of(course: &Course) -> Self {
        let states = &course.states;
        let n = states.len();
        let mut walk = Self::even(RESTLESS);
        for i in BESIDE..n.saturating_sub(BESIDE) {
            let (before, after) = (states[i - BESIDE], states[i + BESIDE]);
            let noise = (before.p[2] + after.p[2]).sqrt();
            if (after.rate - before.rate).abs() > JUMPED * noise {
                walk.free.resize(n, false);
                walk.free[i - 1..(i + 2).min(n)].fill(true);
            }
        }
        walk
    }
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
        let slope = median(&mut slopes);
        let from = t[0];
        let mut left: Vec<f64> = t
            .iter()
            .zip(z)
            .map(|(t, z)| z - slope * (t - from))
            .collect();
        let phase = median(&mut left);
        Self { from, phase, slope }
    }

    fn at(self, t: f64) -> f64 {
        self.phase + self.slope * (t - self.from)
    }

    pub(super) fn taken_off(self, t: &[f64], z: &[f64]) -> Vec<f64> {
        t.iter().zip(z).map(|(t, z)| z - self.at(*t)).collect()
    }
}

fn median(values: &mut [f64]) -> f64 {
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
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
    (ratios.len() >= 5).then(|| (median(&mut ratios) / 0.6745).powi(2))
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

/// Phase, rate and their covariance `[phase, cross, rate]`.
#[derive(Debug, Clone, Copy)]
pub(super) struct State {
    pub(super) phase: f64,
    pub(super) rate: f64,
    pub(super) p: [f64; 3],
}

impl State {
    pub(super) const UNKNOWN: Self = Self {
        phase: 0.0,
        rate: 0.0,
        p: [PRIOR_PHASE * PRIOR_PHASE, 0.0, PRIOR_RATE * PRIOR_RATE],
    };

    pub(super) fn after(self, d: f64, q2: f64) -> Self {
        let [pp, pr, rr] = self.p;
        Self {
            phase: self.phase + d * self.rate,
            rate: self.rate,
            p: [
                pp + 2.0 * d * pr + d * d * rr + q2 * d * d * d / 3.0,
                pr + d * rr + q2 * d * d / 2.0,
                rr + q2 * d,
            ],
        }
    }

    pub(super) fn with(self, z: f64, variance: f64) -> Self {
        let [pp, pr, rr] = self.p;
        let s = pp + variance;
        let innovation = z - self.phase;
        Self {
            phase: self.phase + pp / s * innovation,
            rate: self.rate + pr / s * innovation,
            p: [pp * variance / s, pr * variance / s, rr - pr * pr / s],
        }
    }
}

/// The smoothed states, and the variance of the last phase less the first.
#[derive(Debug, Clone, Default)]
struct Course {
    states: Vec<State>,
    ends_variance: f64,
}

impl Course {
    /// The last phase less the first.
    fn gained(&self) -> f64 {
        let ends = self.states.first().zip(self.states.last());
        ends.map_or(0.0, |(first, last)| last.phase - first.phase)
    }
}

/// Logarithm of the likelihood under Student's t with four degrees of freedom: an outlier costs little.
fn likelihood(t: &[f64], z: &[f64], variance: &[f64], walk: &Walk) -> f64 {
    let mut state = State::UNKNOWN.with(z[0], variance[0]);
    let mut sum = 0.0;
    for i in 1..t.len() {
        state = state.after(t[i] - t[i - 1], walk.to(i));
        let s = state.p[0] + variance[i];
        let u = (z[i] - state.phase).powi(2) / s;
        sum -= 0.5 * (s.ln() + 5.0 * (u / 4.0).ln_1p());
        state = state.with(z[i], variance[i]);
    }
    sum
}

/// The forward filter and the backward smoother. The covariance of a smoothed state with the last one is the product of
/// the gains between them and the last covariance.
fn rts(t: &[f64], z: &[f64], variance: &[f64], walk: &Walk) -> Course {
    let n = t.len();
    let mut predicted = vec![State::UNKNOWN];
    let mut smoothed = vec![State::UNKNOWN.with(z[0], variance[0])];
    for i in 1..n {
        let next = smoothed[i - 1].after(t[i] - t[i - 1], walk.to(i));
        predicted.push(next);
        smoothed.push(next.with(z[i], variance[i]));
    }
    let last = smoothed[n - 1].p;
    // of the phase and the rate here with the last phase
    let mut with_last = [last[0], last[1]];
    for i in (0..n - 1).rev() {
        let d = t[i + 1] - t[i];
        let here = smoothed[i];
        let [a, b, c] = here.p;
        let next = predicted[i + 1];
        let [pa, pb, pc] = next.p;
        let after = smoothed[i + 1];
        // gain = P F' Pp^-1, rows phase and rate
        let determinant = pa * pc - pb * pb;
        let (fa, fb, fc, fd) = (a + d * b, b, b + d * c, c);
        let g = [
            (fa * pc - fb * pb) / determinant,
            (fb * pa - fa * pb) / determinant,
            (fc * pc - fd * pb) / determinant,
            (fd * pa - fc * pb) / determinant,
        ];
        with_last = [
            g[0] * with_last[0] + g[1] * with_last[1],
            g[2] * with_last[0] + g[3] * with_last[1],
        ];
        let (dx, dy) = (after.phase - next.phase, after.rate - next.rate);
        let e = [after.p[0] - pa, after.p[1] - pb, after.p[2] - pc];
        let (h0, h1) = (g[0] * e[0] + g[1] * e[1], g[0] * e[1] + g[1] * e[2]);
        let (h2, h3) = (g[2] * e[0] + g[3] * e[1], g[2] * e[1] + g[3] * e[2]);
        smoothed[i] = State {
            phase: here.phase + g[0] * dx + g[1] * dy,
            rate: here.rate + g[2] * dx + g[3] * dy,
            p: [
                (a + h0 * g[0] + h1 * g[1]).max(0.0),
                b + h0 * g[2] + h1 * g[3],
                (c + h2 * g[2] + h3 * g[3]).max(0.0),
            ],
        };
    }
    Course {
        ends_variance: (smoothed[0].p[0] + last[0] - 2.0 * with_last[0]).max(0.0),
        states: smoothed,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A fixed scrambling of the index: uniform in -0.5..0.5.
    fn noise(i: usize) -> f64 {
        let x = (i as u64 + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        let x = (x ^ (x >> 29)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        ((x ^ (x >> 32)) >> 11) as f64 / (1u64 << 53) as f64 - 0.5
    }

    /// Twelve uniform numbers added up: normal enough, of unit variance.
    fn normal(i: usize) -> f64 {
        (0..12).map(|j| noise(12 * i + j)).sum()
    }

    fn rms(values: impl Iterator<Item = f64>) -> f64 {
        let (count, sum) = values.fold((0.0, 0.0), |(n, s), v| (n + 1.0, s + v * v));
        f64::sqrt(sum / count)
    }

    fn seconds(n: u32) -> Vec<f64> {
        (0..n).map(|i| f64::from(i) * 0.34).collect()
    }

    #[test]
    fn a_sine_wander_is_followed_within_its_noise_past_outliers() {
        let t = seconds(800);
        let truth: Vec<f64> = t
            .iter()
            .map(|t| 12e-6 * t + 2e-6 * (t / 15.0).sin())
            .collect();
        let sigma = 2e-8;
        let mut z: Vec<f64> = truth
            .iter()
            .enumerate()
            .map(|(i, x)| x + sigma * normal(i))
            .collect();
        for outlier in [0, 1, 400, 401, 402, 799] {
            z[outlier] += 1e-4;
        }
        let smooth = smooth(&Phases {
            t,
            z,
            variance: vec![sigma * sigma; 800],
        })
        .expect("enough");
        let error = rms(smooth.phase.iter().zip(&truth).map(|(a, b)| a - b));
        assert!(error < sigma, "{error:e}");
        for outlier in [0, 1, 400, 401, 402, 799] {
            assert!(smooth.weight[outlier] < 1e-3, "{outlier}");
        }
        let claimed = smooth.covariance[200][0].sqrt();
        assert!(
            claimed < sigma && claimed > error / 3.0,
            "claimed {claimed:e}, true {error:e}"
        );
    }

    #[test]
    fn a_straight_clock_comes_out_as_the_least_squares_line() {
        // Variance of a line through n points of unit variance: 4 / n at the ends, 1 / n in the middle.
        let n = 881;
        let t = seconds(n);
        let sigma = 1.3e-9;
        let z: Vec<f64> = t
            .iter()
            .enumerate()
            .map(|(i, t)| 12e-6 * t + sigma * normal(i))
            .collect();
        let smooth = smooth(&Phases {
            z,
            variance: vec![sigma * sigma; n as usize],
            t: t.clone(),
        })
        .expect("enough");
        let (middle, end) = (n as usize / 2, n as usize - 1);
        let per_point = sigma / f64::from(n).sqrt();
        for (i, expected) in [(middle, 1.0), (end, 2.0), (0, 2.0)] {
            let claimed = smooth.covariance[i][0].sqrt() / per_point;
            assert!((claimed / expected - 1.0).abs() < 0.25, "{i}: {claimed}");
            let error = (smooth.phase[i] - 12e-6 * t[i]) / per_point;
            assert!(error.abs() < 3.5 * expected, "{i}: {error}");
        }
        // Variance of the slope of that line: 12 / n over the span squared.
        let ends = smooth.ends_variance.sqrt() / per_point;
        assert!((ends / 12f64.sqrt() - 1.0).abs() < 0.25, "{ends}");
        let bend = smooth.rate.iter().map(|r| (r - smooth.rate[middle]).abs());
        assert!(bend.fold(0.0, f64::max) < 1e-13, "not straight");
    }

    #[test]
    fn a_rate_that_jumps_once_is_followed_and_stays_sharp_elsewhere() {
        let t = seconds(1600);
        let (sigma, jump) = (2e-9, t[800] + 0.1);
        let truth: Vec<f64> = t
            .iter()
            .map(|t| 8e-6 * t + 6e-6 * (t - jump).max(0.0))
            .collect();
        let z: Vec<f64> = truth
            .iter()
            .enumerate()
            .map(|(i, x)| x + sigma * normal(i))
            .collect();
        let variance = vec![sigma * sigma; 1600];
        let smooth = smooth(&Phases { t, z, variance }).expect("enough");
        let miss = |i: usize| (smooth.phase[i] - truth[i]).abs();
        // a tenth of a sample at 48 kHz: the blocks about the jump pass for outliers
        let worst = (0..1600).map(miss).fold(0.0, f64::max);
        assert!(worst < 2.1e-6, "{worst:e}");
        let calm = rms((0..700).map(|i| smooth.phase[i] - truth[i]));
        assert!(calm < sigma, "{calm:e}");
    }

    #[test]
    fn scatter_beyond_what_was_claimed_is_noticed() {
        let t = seconds(400);
        let z: Vec<f64> = (0..400).map(|i| 5e-8 * normal(i)).collect();
        let variance = vec![1e-16; 400];
        let smooth = smooth(&Phases { t, z, variance }).expect("enough");
        assert!((15.0..40.0).contains(&smooth.scale), "{}", smooth.scale);
    }

    #[test]
    fn beyond_the_last_measurement_doubt_grows() {
        let t = seconds(400);
        let z: Vec<f64> = (0..400).map(|i| 5e-9 * normal(i)).collect();
        let variance = vec![25e-18; 400];
        let smooth = smooth(&Phases { t, z, variance }).expect("enough");
        let at = |after, q2| smooth.variance_beyond(399, after, q2);
        assert!(at(10.0, 0.0) < at(100.0, 0.0) && at(0.0, 0.0) < at(10.0, 0.0));
        // q2 D^3 / 3 = 2.4e-17 * 1e6 / 3
        assert!((at(100.0, 2.4e-17) - at(100.0, 0.0) - 8e-12).abs() < 1e-13);
        assert!(smooth.variance_beyond(0, -100.0, 0.0) > at(0.0, 0.0));
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
