//! A test's mean rate and noise in, how long after a jam the unit's timecode may be off by more than a limit out.
//!
//! `t` after a jam the unit is ahead by `r t` and by what the noise makes of the time between: the variance of
//! `x(e + t) - x(e) - r t` with `e` the end of the test and `r` the mean rate the test found, a sum of five phases
//! ([`Model::sum`]). In it are how well the rate is known and how the clock goes on wandering. Where the rate ages beyond
//! doubt, `d (t (e - m) + t^2 / 2)` comes to it, `m` the middle of the test.

use serde::Serialize;

use super::line::Line;
use super::model::{Model, Weighted};
use super::quantile::student_below;

/// Nothing is said beyond so many times the length of the test.
pub const FAR: f64 = 10.0;
/// A limit holds until the moment at which it is exceeded with this probability. That it was exceeded at some moment before as
/// well is hardly likelier: simulated clocks had been beyond it by then in 2 to 6 of a hundred continuations.
const EXCEEDED: f64 = 0.05;
/// The shortest time that is told, seconds.
const SHORTEST_S: f64 = 1.0;

/// When a limit is exceeded.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Forecast {
    /// What the limit is, in words.
    pub limit: String,
    /// The limit, seconds.
    pub limit_s: f64,
    /// When the unit runs at its own rate.
    pub as_it_is: Until,
    /// When the mean rate of the test is taken out of it.
    pub rate_taken_out: Until,
}

/// Until when something holds.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Until {
    /// It holds for so many seconds, with 95 % confidence.
    Seconds(f64),
    /// It holds for longer than the test can tell: for this many seconds at least.
    LongerThan(f64),
}

/// Where a clock will be.
#[derive(Debug, Clone, Copy)]
pub struct Outlook<'a> {
    /// The noise.
    pub model: &'a Model,
    /// The mean rate.
    pub line: &'a Line,
    /// The end of the test.
    pub end_s: f64,
    /// How long it was.
    pub seconds: f64,
}

/// What is expected some time after a jam.
#[derive(Debug, Clone, Copy)]
pub struct Expected {
    /// By how much the clock is ahead, seconds.
    pub ahead_s: f64,
    /// One standard deviation of that.
    pub sigma_s: f64,
    /// With so many degrees of freedom.
    pub freedom: f64,
}

/// Whether the test's mean rate is taken out of a unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rate {
    /// It stays.
    Stays,
    /// It is taken out.
    TakenOut,
}

impl Outlook<'_> {
    /// What is expected `after` seconds after a jam.
    #[must_use]
    pub fn expected(&self, after: f64, rate: Rate) -> Expected {
        let line = self.line;
        let [first, middle, last] = line.at_s;
        let apart = last - first;
        let mut phases = vec![
            Weighted {
                at_s: self.end_s + after,
                weight: 1.0,
                measured: 0,
            },
            Weighted {
                at_s: self.end_s,
                weight: -1.0,
                measured: 0,
            },
            Weighted {
                at_s: last,
                weight: -after / apart,
                measured: line.averaged,
            },
            Weighted {
                at_s: first,
                weight: after / apart,
                measured: line.averaged,
            },
        ];
        let mut ahead_s = match rate {
            Rate::Stays => line.rate * after,
            Rate::TakenOut => 0.0,
        };
        if line.is_ageing {
            let lever = after * (self.end_s - middle) + 0.5 * after * after;
            ahead_s += line.bend * lever;
            phases.extend(line.bend_weights().map(|one| Weighted {
                weight: -lever * one.weight,
                ..one
            }));
        }
        let (variance, freedom) = self.model.sum(&phases);
        Expected {
            ahead_s,
            sigma_s: variance.sqrt(),
            freedom,
        }
    }

    /// Until when the clock is within a limit.
    #[must_use]
    pub fn until(&self, limit_s: f64, rate: Rate) -> Until {
        let far = FAR * self.seconds;
        let exceeded = |after: f64| self.expected(after, rate).exceeds(limit_s) > EXCEEDED;
        // in steps of a fiftieth: a bend may bring a clock back, and only the first time counts
        let steps = ((far / SHORTEST_S).max(1.0).ln() / 0.02).ceil();
        let mut before = 0.0;
        for step in 0..=steps as u32 {
            let after = (SHORTEST_S * (0.02 * f64::from(step)).exp()).min(far);
            if exceeded(after) {
                let (mut low, mut high) = (before, after);
                for _ in 0..40 {
                    let middle = 0.5 * (low + high);
                    match exceeded(middle) {
                        true => high = middle,
                        false => low = middle,
                    }
                }
                return Until::Seconds(low);
            }
            before = after;
        }
        Until::LongerThan(far)
    }

    /// Until when it is within a limit, either way.
    #[must_use]
    pub fn forecast(&self, limit: &str, limit_s: f64) -> Forecast {
        Forecast {
            limit: limit.into(),
            limit_s,
            as_it_is: self.until(limit_s, Rate::Stays),
            rate_taken_out: self.until(limit_s, Rate::TakenOut),
        }
    }
}

impl Expected {
    /// How likely the clock is off by more than `limit_s`.
    #[must_use]
    pub fn exceeds(&self, limit_s: f64) -> f64 {
        if self.sigma_s <= 0.0 {
            return if self.ahead_s.abs() > limit_s {
                1.0
            } else {
                0.0
            };
        }
        let below = |at: f64| student_below((at - self.ahead_s) / self.sigma_s, self.freedom);
        1.0 - below(limit_s) + below(-limit_s)
    }
}
