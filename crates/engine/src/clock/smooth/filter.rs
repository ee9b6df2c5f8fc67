//! The clock model at work: how a rate walks, one step of the filter, the likelihood of a walk, and the smoothed course by
//! two filters, one from each end, whose states are brought together (Fraser and Potter 1969).

/// The random walk of the rate with which outliers are looked for: a clock that changes by 0.1 ppm in a second.
pub(super) const RESTLESS: Restless = Restless::rate(1e-14);
/// Measurements to either side of a jump between which the rate is compared.
const BESIDE: usize = 3;
/// A rate that differs by as many sigma on either side of a measurement jumped there; wander is slower.
const JUMPED: f64 = 6.0;
/// No crystal's rate jumps by more, s/s.
const LARGEST_JUMP: f64 = 3e-5;
/// Differences this close to the largest are of the same jump, a share of it.
const PLATEAU: f64 = 0.8;
/// Measurements to either side of a jump that may hold some of it.
const HELD: usize = 2;
/// What a measurement that straddles a jump errs by, of jump times the distance of measurements: under the square of a Hann
/// window of twice that length a corner in its middle moves the mean by 0.11 of it, one a fifth of the distance off by 0.04.
const ROUNDED: f64 = 0.1;
/// Standard deviation of the phase before anything is known, s, about the straight line that is taken off.
const PRIOR_PHASE: f64 = 1e-4;
/// Standard deviation of the rate before anything is known, s/s, about that line.
const PRIOR_RATE: f64 = 1e-5;
/// Standard deviation of the drift before anything is known where it walks, 1/s: a crystal that warms by a degree in ten
/// seconds.
const PRIOR_DRIFT: f64 = 3e-8;
/// The same where it does not: so little that it is none, and still no division by zero.
const NO_DRIFT: f64 = 1e-20;
/// Factor of the variance under Student's t with four degrees of freedom that makes normal noise of the stated variance its
/// likeliest: `E[5 x^2 / (4 c + x^2)] = 1`.
const AS_NORMAL: f64 = 0.69;

/// How a clock is restless: its rate walks at random, or its drift (the change of the rate) does, so that the rate bends
/// smoothly.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::clock) struct Restless {
    /// Strength of the walk of the rate, 1/s.
    pub(in crate::clock) rate: f64,
    /// Strength of the walk of the drift, 1/s^3; a clock without has no drift at all.
    pub(in crate::clock) drift: Option<f64>,
}

impl Restless {
    pub(in crate::clock) const fn rate(rate: f64) -> Self {
        Self { rate, drift: None }
    }

    pub(super) const fn drift(drift: f64) -> Self {
        Self {
            rate: 0.0,
            drift: Some(drift),
        }
    }

    /// The same, with a rate that walks with at least this strength.
    pub(super) fn at_least(self, rate: f64) -> Self {
        Self {
            rate: self.rate.max(rate),
            ..self
        }
    }

    /// The variance of the phase after `d` seconds in which nothing was measured, from a known phase, rate and drift.
    pub(super) fn phase_variance(self, d: f64) -> f64 {
        let d = d.abs();
        self.rate * d.powi(3) / 3.0 + self.drift.unwrap_or(0.0) * d.powi(5) / 20.0
    }
}

/// How the clock walks from one measurement to the next: in one way, and freely where its rate was seen to jump.
#[derive(Debug, Clone)]
pub(super) struct Walk {
    pub(super) restless: Restless,
    jumps: Vec<Jump>,
}

/// A rate that changed between two neighbouring measurements.
#[derive(Debug, Clone, Copy)]
struct Jump {
    /// The measurements that may hold some of it: first and last.
    held: (usize, usize),
    /// The walk of the rate that makes it likely, 1/s.
    strength: f64,
    /// Added to the variance of the measurements that hold it, s^2.
    rounding: f64,
}

impl Walk {
    pub(super) fn even(restless: Restless) -> Self {
        let jumps = Vec::new();
        Self { restless, jumps }
    }

    /// The same jumps, another restlessness.
    pub(super) fn like(&self, restless: Restless) -> Self {
        Self {
            restless,
            ..self.clone()
        }
    }

    /// How restless the clock is on the way to measurement `i`.
    pub(super) fn to(&self, i: usize) -> Restless {
        let near = |jump: &&Jump| (jump.held.0..=jump.held.1 + 1).contains(&i);
        let jumps = self.jumps.iter().filter(near);
        jumps.fold(self.restless, |restless, jump| {
            restless.at_least(jump.strength)
        })
    }

    /// `variance` of the measurements, with what the rounding of jumps adds.
    pub(super) fn rounded(&self, variance: &[f64]) -> Vec<f64> {
        let mut rounded = variance.to_vec();
        for jump in &self.jumps {
            let held = &mut rounded[jump.held.0..=jump.held.1];
            held.iter_mut().for_each(|v| *v += jump.rounding);
        }
        rounded
    }

    /// Jumps where the rate of a course that walks freely differs on either side by more than its noise explains.
    pub(super) fn with_jumps_of(course: &Course, t: &[f64]) -> Self {
        let states = &course.states;
        let n = states.len();
        let apart = t.windows(2).map(|t| t[1] - t[0]).fold(f64::MAX, f64::min);
        let change = |i: usize| {
            let (before, after) = (states[i - BESIDE], states[i + BESIDE]);
            let noise = (before.p[2] + after.p[2]).sqrt();
            let by = (after.rate - before.rate).abs();
            (by > JUMPED * noise).then_some(by.min(LARGEST_JUMP))
        };
        let changes: Vec<(usize, Option<f64>)> = (BESIDE..n.saturating_sub(BESIDE))
            .map(|i| (i, change(i)))
            .collect();
        let jumps = changes
            .chunk_by(|a, b| a.1.is_some() == b.1.is_some())
            .filter_map(|run| {
                let largest = run.iter().filter_map(|c| c.1).reduce(f64::max)?;
                let near = |c: &&(usize, Option<f64>)| c.1 >= Some(PLATEAU * largest);
                let first = run.iter().find(near)?.0;
                let last = run.iter().rev().find(near)?.0;
                let middle = usize::midpoint(first, last);
                let held = (middle - HELD, middle + HELD);
                let seconds = t[held.1 + 1] - t[held.0 - 1];
                Some(Jump {
                    held,
                    strength: largest * largest / seconds,
                    rounding: (ROUNDED * largest * apart).powi(2),
                })
            })
            .collect();
        Self {
            restless: RESTLESS,
            jumps,
        }
    }
}

/// Phase, rate and drift and their covariance, phase with itself, with the rate, the rate with itself, then the drift with
/// the phase, the rate and itself.
#[derive(Debug, Clone, Copy)]
pub(in crate::clock) struct State {
    pub(in crate::clock) phase: f64,
    pub(in crate::clock) rate: f64,
    pub(in crate::clock) drift: f64,
    pub(in crate::clock) p: [f64; 6],
}

impl State {
    /// Before anything is measured.
    pub(in crate::clock) fn unknown(restless: Restless) -> Self {
        let drift = restless.drift.map_or(NO_DRIFT, |_| PRIOR_DRIFT);
        let square = |sigma: f64| sigma * sigma;
        Self {
            phase: 0.0,
            rate: 0.0,
            drift: 0.0,
            p: [
                square(PRIOR_PHASE),
                0.0,
                square(PRIOR_RATE),
                0.0,
                0.0,
                square(drift),
            ],
        }
    }

    /// The state `d` seconds on, or back when below 0.
    pub(in crate::clock) fn after(self, d: f64, restless: Restless) -> Self {
        let [pp, pr, rr, pd, rd, dd] = self.p;
        let (h, long) = (0.5 * d * d, d.abs());
        let (q2, q3) = (restless.rate, restless.drift.unwrap_or(0.0));
        Self {
            phase: self.phase + d * self.rate + h * self.drift,
            rate: self.rate + d * self.drift,
            drift: self.drift,
            p: [
                pp + 2.0 * d * pr
                    + 2.0 * h * pd
                    + d * d * rr
                    + 2.0 * d * h * rd
                    + h * h * dd
                    + restless.phase_variance(d),
                pr + d * pd
                    + d * rr
                    + (d * d + h) * rd
                    + d * h * dd
                    + q2 * d * long / 2.0
                    + q3 * d * long.powi(3) / 8.0,
                rr + 2.0 * d * rd + d * d * dd + q2 * long + q3 * long.powi(3) / 3.0,
                pd + d * rd + h * dd + q3 * long.powi(3) / 6.0,
                rd + d * dd + q3 * d * long / 2.0,
                dd + q3 * long,
            ],
        }
    }

    pub(in crate::clock) fn with(self, z: f64, variance: f64) -> Self {
        let [pp, pr, rr, pd, rd, dd] = self.p;
        let s = pp + variance;
        let innovation = (z - self.phase) / s;
        let left = variance / s;
        Self {
            phase: self.phase + pp * innovation,
            rate: self.rate + pr * innovation,
            drift: self.drift + pd * innovation,
            p: [
                pp * left,
                pr * left,
                rr - pr * pr / s,
                pd * left,
                rd - pr * pd / s,
                dd - pd * pd / s,
            ],
        }
    }

    /// What this state and another one of the same moment, by other measurements, say together.
    fn and(self, other: Self) -> Self {
        let (a, b) = (full(self.p), full(other.p));
        let Some(inverse) = inverse(add(a, b)) else {
            return self;
        };
        let gain = times(a, inverse);
        let apart = [
            other.phase - self.phase,
            other.rate - self.rate,
            other.drift - self.drift,
        ];
        let by = gain.map(|row| row.iter().zip(apart).map(|(g, x)| g * x).sum::<f64>());
        let p = times(gain, b);
        Self {
            phase: self.phase + by[0],
            rate: self.rate + by[1],
            drift: self.drift + by[2],
            p: [
                p[0][0].max(0.0),
                0.5 * (p[0][1] + p[1][0]),
                p[1][1].max(0.0),
                0.5 * (p[0][2] + p[2][0]),
                0.5 * (p[1][2] + p[2][1]),
                p[2][2].max(0.0),
            ],
        }
    }
}

type Matrix = [[f64; 3]; 3];

fn full([pp, pr, rr, pd, rd, dd]: [f64; 6]) -> Matrix {
    [[pp, pr, pd], [pr, rr, rd], [pd, rd, dd]]
}

fn add(a: Matrix, b: Matrix) -> Matrix {
    std::array::from_fn(|i| std::array::from_fn(|j| a[i][j] + b[i][j]))
}

fn times(a: Matrix, b: Matrix) -> Matrix {
    std::array::from_fn(|i| std::array::from_fn(|j| (0..3).map(|k| a[i][k] * b[k][j]).sum()))
}

/// By cofactors, rows and columns first brought to one scale.
fn inverse(m: Matrix) -> Option<Matrix> {
    let scale: [f64; 3] = std::array::from_fn(|i| m[i][i].sqrt().recip());
    let n: Matrix = std::array::from_fn(|i| std::array::from_fn(|j| m[i][j] * scale[i] * scale[j]));
    let cofactor = |i: usize, j: usize| {
        let (a, b, c, d) = ((i + 1) % 3, (i + 2) % 3, (j + 1) % 3, (j + 2) % 3);
        n[a][c] * n[b][d] - n[a][d] * n[b][c]
    };
    let determinant: f64 = (0..3).map(|j| n[0][j] * cofactor(0, j)).sum();
    let usable = determinant.is_finite() && determinant > 0.0;
    usable.then(|| {
        std::array::from_fn(|i| {
            std::array::from_fn(|j| cofactor(j, i) / determinant * scale[i] * scale[j])
        })
    })
}

/// The smoothed states, and the variance of the last phase less the first.
#[derive(Debug, Clone, Default)]
pub(super) struct Course {
    pub(super) states: Vec<State>,
    pub(super) ends_variance: f64,
}

impl Course {
    /// The last phase less the first.
    pub(super) fn gained(&self) -> f64 {
        let ends = self.states.first().zip(self.states.last());
        ends.map_or(0.0, |(first, last)| last.phase - first.phase)
    }
}

/// Logarithm of the likelihood under Student's t with four degrees of freedom: an outlier costs little.
pub(super) fn likelihood(t: &[f64], z: &[f64], variance: &[f64], walk: &Walk) -> f64 {
    let mut state = State::unknown(walk.restless).with(z[0], variance[0]);
    let mut sum = 0.0;
    for i in 1..t.len() {
        state = state.after(t[i] - t[i - 1], walk.to(i));
        let s = state.p[0] + variance[i];
        let u = (z[i] - state.phase).powi(2) / (AS_NORMAL * s);
        sum -= 0.5 * (s.ln() + 5.0 * (u / 4.0).ln_1p());
        state = state.with(z[i], variance[i]);
    }
    sum
}

/// The smoothed course. The covariance of the first phase with the state of the moment follows the filter forward.
pub(super) fn smoothed(t: &[f64], z: &[f64], variance: &[f64], walk: &Walk) -> Course {
    let n = t.len();
    let unknown = State::unknown(walk.restless);
    let mut forward = vec![unknown.with(z[0], variance[0])];
    let [pp, pr, _, pd, ..] = forward[0].p;
    let mut with_first = [pp, pr, pd];
    for i in 1..n {
        let d = t[i] - t[i - 1];
        let next = forward[i - 1].after(d, walk.to(i));
        let [a, b, c] = with_first;
        let (a, b) = (a + d * b + 0.5 * d * d * c, b + d * c);
        let part = a / (next.p[0] + variance[i]);
        with_first = [
            a - next.p[0] * part,
            b - next.p[1] * part,
            c - next.p[3] * part,
        ];
        forward.push(next.with(z[i], variance[i]));
    }
    let mut states = forward;
    let mut back = unknown.with(z[n - 1], variance[n - 1]);
    for i in (0..n - 1).rev() {
        let here = back.after(t[i] - t[i + 1], walk.to(i + 1));
        states[i] = states[i].and(here);
        back = here.with(z[i], variance[i]);
    }
    let (first, last) = (states[0].p[0], states[n - 1].p[0]);
    Course {
        ends_variance: (first + last - 2.0 * with_first[0]).max(0.0),
        states,
    }
}
