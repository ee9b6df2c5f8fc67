//! What a unit's crystal does in, exact positions out: which sample a unit takes at any true instant, and when it takes
//! any sample, in closed form.
//!
//! True time is in seconds from the start of the shoot. A unit's *counter* `q` counts the samples its converter took
//! since it was started; its *file position* `k` differs from `q` only by the slips. With `e(t)` the relative rate
//! error, `q(t) = rate * ((t - start) + integral of e from start to t)`. Everything is kept as a whole number plus a
//! small difference, so an hour loses no digits.

use std::f64::consts::TAU;

use serde::{Deserialize, Serialize};

/// A slow periodic change of a crystal's rate: `ppm * sin(2 pi t / period_s + phase)`, `t` in true seconds.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Sine {
    /// Peak change of the rate, parts per million.
    pub ppm: f64,
    /// Period in seconds, above 0.
    pub period_s: f64,
    /// Phase in radians at the start of the shoot.
    pub phase: f64,
}

/// A lasting change of a crystal's rate from some instant on.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Segment {
    /// From this true time on, seconds.
    pub from_s: f64,
    /// By how much the rate changes, parts per million; changes of several segments add up.
    pub ppm: f64,
}

/// The rate of one unit's crystal against true time. The default is a perfect one.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Crystal {
    /// Constant rate error, parts per million; positive: fast, more samples a second.
    pub ppm: f64,
    /// Periodic changes on top of it.
    pub wander: Vec<Sine>,
    /// Lasting changes on top of it.
    pub segments: Vec<Segment>,
}

/// Samples missing from a file, or doubled in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Slip {
    /// The file position from which on the shift holds.
    pub at_sample: u64,
    /// Below 0: this many samples are missing before `at_sample`; above 0: the last this many are there twice.
    pub samples: i64,
}

/// One unit's clock through one shoot.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ClockTruth {
    /// Nominal rate, samples a second.
    pub rate_hz: u32,
    /// True time at which the unit takes its sample 0, seconds.
    pub starts_s: f64,
    /// What its crystal does.
    pub crystal: Crystal,
    /// Slips of its file, by rising `at_sample`.
    pub slips: Vec<Slip>,
}

impl Crystal {
    /// A crystal that is off by a constant.
    #[must_use]
    pub fn steady(ppm: f64) -> Self {
        Self {
            ppm,
            ..Self::default()
        }
    }

    /// The relative rate error `e(t)`, as a ratio (1e-6 is 1 ppm).
    #[must_use]
    pub fn error_at(&self, t_s: f64) -> f64 {
        let wander: f64 = self
            .wander
            .iter()
            .map(|sine| sine.ppm * (TAU * t_s / sine.period_s + sine.phase).sin())
            .sum();
        let segments: f64 = self
            .segments
            .iter()
            .filter(|s| t_s >= s.from_s)
            .map(|segment| segment.ppm)
            .sum();
        1e-6 * (self.ppm + wander + segments)
    }

    /// No `e(t)` is larger than this.
    fn largest_error(&self) -> f64 {
        let wander: f64 = self.wander.iter().map(|sine| sine.ppm.abs()).sum();
        let segments: f64 = self.segments.iter().map(|segment| segment.ppm.abs()).sum();
        1e-6 * (self.ppm.abs() + wander + segments)
    }

    /// The integral of `e` from `start_s` to `start_s + elapsed_s`, in seconds.
    #[must_use]
    pub fn gained_s(&self, start_s: f64, elapsed_s: f64) -> f64 {
        let mut gained_ppm_s = self.ppm * elapsed_s;
        for sine in &self.wander {
            let first = TAU * start_s / sine.period_s + sine.phase;
            let last = first + TAU * elapsed_s / sine.period_s;
            gained_ppm_s += sine.ppm * sine.period_s / TAU * (first.cos() - last.cos());
        }
        for segment in &self.segments {
            let until = (start_s + elapsed_s - segment.from_s).max(0.0);
            let before = (start_s - segment.from_s).max(0.0);
            gained_ppm_s += segment.ppm * (until - before);
        }
        1e-6 * gained_ppm_s
    }
}

/// Samples that share one parabola. A wander of 0.1 ppm with a period of a second departs from it by some 1e-10 sample,
/// slower ones by less.
const STRETCH: i64 = 128;

/// What [`ClockTruth::early_near`] keeps.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Stretch {
    at: i64,
    /// Of powers of the way through the stretch, 0 to 1; `None` where the rate jumps.
    factors: Option<[f64; 3]>,
}

impl ClockTruth {
    fn rate(&self) -> f64 {
        f64::from(self.rate_hz)
    }

    /// How much less true time than `counter / rate` has passed when the unit's counter shows `counter`, in seconds.
    fn early_s(&self, counter: f64) -> f64 {
        let nominal_s = counter / self.rate();
        let largest = self.crystal.largest_error();
        let mut early_s = 0.0;
        // Newton on early = gained(nominal - early), whose slope is 1 + e.
        for _ in 0..50 {
            let elapsed_s = nominal_s - early_s;
            let miss_s = self.crystal.gained_s(self.starts_s, elapsed_s) - early_s;
            // What is left after adding a miss is that miss times the clock's error.
            if miss_s.abs() * largest < 1e-16 {
                return early_s + miss_s;
            }
            early_s += miss_s / (1.0 + self.crystal.error_at(self.starts_s + elapsed_s));
        }
        early_s
    }

    /// As [`Self::early_s`], quick for counters near each other: read from the parabola through the ends and the middle
    /// of a stretch of [`STRETCH`] samples. `near` keeps it; the result depends on nothing but the counter.
    pub(crate) fn early_near(&self, counter: i64, near: &mut Option<Stretch>) -> f64 {
        let at = counter - counter.rem_euclid(STRETCH);
        let stretch = match near {
            Some(stretch) if stretch.at == at => *stretch,
            _ => *near.insert(self.stretch(at)),
        };
        let Some([c0, c1, c2]) = stretch.factors else {
            return self.early_s(counter as f64);
        };
        let x = (counter - at) as f64 / STRETCH as f64;
        c0 + x * (c1 + x * c2)
    }

    fn stretch(&self, at: i64) -> Stretch {
        let ends_s = [at, at + STRETCH].map(|counter| self.time_of(counter as f64));
        let bends = |segment: &Segment| ends_s[0] <= segment.from_s && segment.from_s <= ends_s[1];
        if self.crystal.segments.iter().any(bends) {
            return Stretch { at, factors: None };
        }
        let [y0, y1, y2] =
            [at, at + STRETCH / 2, at + STRETCH].map(|counter| self.early_s(counter as f64));
        let c2 = 2.0 * (y0 - 2.0 * y1 + y2);
        Stretch {
            at,
            factors: Some([y0, y2 - y0 - c2, c2]),
        }
    }

    /// The true time at which the unit's counter shows `counter`, seconds.
    #[must_use]
    pub fn time_of(&self, counter: f64) -> f64 {
        self.starts_s + counter / self.rate() - self.early_s(counter)
    }

    /// What the unit's counter shows at a true time, samples.
    #[must_use]
    pub fn counter_at(&self, t_s: f64) -> f64 {
        let elapsed_s = t_s - self.starts_s;
        self.rate() * (elapsed_s + self.crystal.gained_s(self.starts_s, elapsed_s))
    }

    /// The counter behind a file position.
    #[must_use]
    pub fn counter_of(&self, position: f64) -> f64 {
        let shift: i64 = self
            .slips
            .iter()
            .filter(|s| position >= s.at_sample as f64)
            .map(|s| s.samples)
            .sum();
        position - shift as f64
    }

    /// The file position at which a counter value was stored first; the place of the slip when it is missing.
    #[must_use]
    pub fn position_of(&self, counter: f64) -> f64 {
        let mut shift = 0.0;
        for slip in &self.slips {
            let at = slip.at_sample as f64;
            if counter + shift < at {
                break;
            }
            let after = shift + slip.samples as f64;
            if slip.samples < 0 && counter + after < at {
                return at;
            }
            shift = after;
        }
        counter + shift
    }

    /// How many file positions, counted from 0, need nothing beyond counter value `last` (below 0: none).
    pub(crate) fn positions_through(&self, last: i64) -> u64 {
        let mut shift = 0_i64;
        for slip in &self.slips {
            let at = i64::try_from(slip.at_sample).unwrap_or(i64::MAX);
            if last + 1 + shift < at {
                break;
            }
            let after = shift + slip.samples;
            if last + 1 + after < at {
                return slip.at_sample;
            }
            shift = after;
        }
        u64::try_from(last + 1 + shift).unwrap_or(0)
    }

    /// The position on `lead` of this unit's file position `k`, in samples, good to 1e-9 or the last digit of an f64.
    #[must_use]
    pub fn position_on(&self, lead: &Self, k: f64) -> f64 {
        let counter = self.counter_of(k);
        let early_s = self.early_s(counter);
        let apart_s = self.starts_s - lead.starts_s;
        let elapsed_s = apart_s + counter / self.rate() - early_s;
        let gained_s = lead.crystal.gained_s(lead.starts_s, elapsed_s);
        // The large term stands alone, so that no digit of the small ones is lost in it.
        let small = lead.rate() * (apart_s - early_s + gained_s);
        let large = counter * (lead.rate() / self.rate());
        lead.position_of(large + small)
    }

    /// The mean rate against `lead` from file position `from` to `to`, parts per million: `1e6 * (dk/dn - 1)` at equal
    /// nominal rates.
    #[must_use]
    pub fn mean_ppm(&self, lead: &Self, from: f64, to: f64) -> f64 {
        let span = self.counter_of(to) - self.counter_of(from);
        let on_lead = lead.counter_of(self.position_on(lead, to))
            - lead.counter_of(self.position_on(lead, from));
        1e6 * (span / self.rate() / (on_lead / lead.rate()) - 1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wandering() -> ClockTruth {
        ClockTruth {
            rate_hz: 48_000,
            starts_s: 1.03,
            crystal: Crystal {
                ppm: 12.0,
                wander: vec![
                    Sine {
                        ppm: 0.21,
                        period_s: 97.0,
                        phase: 0.0,
                    },
                    Sine {
                        ppm: 0.09,
                        period_s: 41.0,
                        phase: 1.0,
                    },
                ],
                segments: vec![Segment {
                    from_s: 130.0,
                    ppm: -3.0,
                }],
            },
            slips: Vec::new(),
        }
    }

    fn perfect() -> ClockTruth {
        ClockTruth {
            rate_hz: 48_000,
            starts_s: 0.0,
            crystal: Crystal::default(),
            slips: Vec::new(),
        }
    }

    #[test]
    fn a_fast_clock_writes_more_samples() {
        let clock = ClockTruth {
            crystal: Crystal::steady(10.0),
            ..perfect()
        };
        assert!((clock.counter_at(100.0) - 4_800_048.0).abs() < 1e-6);
        assert!((clock.time_of(4_800_048.0) - 100.0).abs() < 1e-12);
    }

    #[test]
    fn offset_is_the_lead_position_of_sample_zero_and_rate_is_positive_when_fast() {
        let follower = ClockTruth {
            starts_s: 1.03,
            crystal: Crystal::steady(10.0),
            ..perfect()
        };
        assert!((follower.position_on(&perfect(), 0.0) - 49_440.0).abs() < 1e-9);
        assert!((follower.mean_ppm(&perfect(), 0.0, 1e7) - 10.0).abs() < 1e-6);
        assert!((perfect().position_on(&follower, 49_440.0)).abs() < 1e-9);
    }

    /// The integral is checked against adding up the rate in small steps (midpoint rule).
    #[test]
    fn what_is_gained_is_the_integral_of_the_rate() {
        let crystal = wandering().crystal;
        let steps = 2_000_000;
        let step_s = 200.0 / f64::from(steps);
        let sum: f64 = (0..steps)
            .map(|i| crystal.error_at(1.03 + (f64::from(i) + 0.5) * step_s))
            .sum();
        assert!((crystal.gained_s(1.03, 200.0) - sum * step_s).abs() < 1e-9);
    }

    #[test]
    fn there_and_back_is_exact() {
        let (follower, lead) = (
            wandering(),
            ClockTruth {
                starts_s: 0.2,
                ..wandering()
            },
        );
        for k in [0.0, 1.0, 4e5, 6_191_999.5, 1.15e7] {
            let there = follower.position_on(&lead, k);
            let back = lead.position_on(&follower, there);
            assert!(
                (back - k).abs() < 1e-9 + 4.0 * f64::EPSILON * k,
                "{k}: {back}"
            );
            let t_s = follower.time_of(k);
            assert!((follower.counter_at(t_s) - k).abs() < 1e-8);
        }
    }

    #[test]
    fn the_quick_way_is_the_exact_way() {
        let mut clock = wandering();
        clock.crystal.wander.push(Sine {
            ppm: 0.1,
            period_s: 1.0,
            phase: 0.2,
        });
        // Around 0, around the jump of the rate at 130 s, and far out.
        for from in [0, 6_190_000, 20_000_000] {
            let mut near = None;
            for counter in (from..from + 2_000).step_by(7) {
                let miss_s = clock.early_near(counter, &mut near) - clock.early_s(counter as f64);
                assert!(miss_s.abs() * 48_000.0 < 1e-9, "{counter}: {miss_s:e} s");
            }
        }
    }

    #[test]
    fn missing_and_doubled_samples_shift_what_follows() {
        let slips = vec![
            Slip {
                at_sample: 100,
                samples: -5,
            },
            Slip {
                at_sample: 200,
                samples: 3,
            },
        ];
        let clock = ClockTruth { slips, ..perfect() };
        assert_eq!(
            [99.0, 100.0, 199.0].map(|k| clock.counter_of(k)),
            [99.0, 105.0, 204.0]
        );
        assert_eq!([200.0, 203.0].map(|k| clock.counter_of(k)), [202.0, 205.0]);
        assert_eq!(
            [99.0, 102.0, 105.0].map(|q| clock.position_of(q)),
            [99.0, 100.0, 100.0]
        );
        assert_eq!([204.0, 205.0].map(|q| clock.position_of(q)), [199.0, 203.0]);
        let through =
            [-1, 0, 98, 99, 103, 104, 105, 204, 205, 206].map(|q| clock.positions_through(q));
        assert_eq!(through, [0, 1, 99, 100, 100, 100, 101, 203, 204, 205]);
    }
}
