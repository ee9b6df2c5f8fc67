//! The two-state clock at work: how a rate walks, one step of the filter, the likelihood of a walk, and the smoothed course.
//! Rauch, Tung and Striebel (1965).

/// The `q2` with which outliers are looked for: a clock that changes by 0.1 ppm in a second.
pub(super) const RESTLESS: f64 = 1e-14;
/// Measurements to either side of a jump that are still of it.
pub(super) const BESIDE: usize = 3;
/// A rate that differs by as many sigma on either side of a measurement jumped there; wander is slower.
pub(super) const JUMPED: f64 = 6.0;
/// Standard deviation of the phase before anything is known, s, about the straight line that is taken off.
pub(super) const PRIOR_PHASE: f64 = 1e-4;
/// Standard deviation of the rate before anything is known, s/s, about that line.
pub(super) const PRIOR_RATE: f64 = 1e-5;
/// How the rate walks from one measurement to the next: by one strength, and freely where it was seen to jump.
#[derive(Debug, Clone)]
pub(super) struct Walk {
    pub(super) q2: f64,
    /// For each measurement: whether the rate may jump on the way to it; empty when nowhere.
    pub(super) free: Vec<bool>,
}

impl Walk {
    pub(super) fn even(q2: f64) -> Self {
        let free = Vec::new();
        Self { q2, free }
    }

    /// The strength on the way to measurement `i`.
    pub(super) fn to(&self, i: usize) -> f64 {
        if self.free.get(i).is_some_and(|free| *free) {
            self.q2.max(RESTLESS)
        } else {
            self.q2
        }
    }

    /// Jumps where the rate of a course that walks freely differs on either side by more than its noise explains.
    pub(super) fn with_jumps_of(course: &Course) -> Self {
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

/// Phase, rate and their covariance `[phase, cross, rate]`.
#[derive(Debug, Clone, Copy)]
pub(in crate::clock) struct State {
    pub(in crate::clock) phase: f64,
    pub(in crate::clock) rate: f64,
    pub(in crate::clock) p: [f64; 3],
}

impl State {
    pub(in crate::clock) const UNKNOWN: Self = Self {
        phase: 0.0,
        rate: 0.0,
        p: [PRIOR_PHASE * PRIOR_PHASE, 0.0, PRIOR_RATE * PRIOR_RATE],
    };

    pub(in crate::clock) fn after(self, d: f64, q2: f64) -> Self {
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

    pub(in crate::clock) fn with(self, z: f64, variance: f64) -> Self {
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
pub(super) fn rts(t: &[f64], z: &[f64], variance: &[f64], walk: &Walk) -> Course {
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
