//! Ties in, clocks out: the map from a follower's positions to the lead's, with its uncertainty.
//! The only module in which positions of two units meet.

pub mod smooth;
mod breaks;
pub mod slips;
pub mod dense;
pub mod graph;
pub mod acoustic;
pub mod common;
pub mod timecode;
pub mod compose;

use crate::finding::Sign;
use crate::tie::Tie;
use crate::units::{LeadPos, Ppm, Samples, UnitPos};

/// One point of a clock: a follower position and the lead position of the same instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Knot {
    /// Position on the follower.
    pub follower: UnitPos,
    /// Position on the lead.
    pub lead: LeadPos,
    /// One standard deviation of the pair.
    pub sigma: Samples,
}

/// The map between a follower's positions and the lead's: straight lines between knots, the outer lines prolonged.
/// At least two knots, both coordinates strictly increasing.
#[derive(Debug, Clone, PartialEq)]
pub struct Clock {
    knots: Vec<Knot>,
}

/// A clock that was measured, with what it rests on.
#[derive(Debug, Clone, PartialEq)]
pub struct Measured {
    /// The map; its knots cover the follower's take from first to last sample, at most 5 s apart.
    pub clock: Clock,
    /// The lead position of the follower's sample 0.
    pub offset: LeadPos,
    /// One standard deviation of the offset as far as the measurement goes (no acoustic distance in it).
    pub offset_sigma: Samples,
    /// The mean rate over the part that both units recorded.
    pub rate: Ppm,
    /// One standard deviation of the mean rate.
    pub rate_sigma: Ppm,
    /// Every tie, used or not, in order of lead position.
    pub ties: Vec<Tie>,
    /// Scatter of the used ties about the clock, root mean square.
    pub residual_rms: Samples,
    /// The independent signs that were asked.
    pub signs: Vec<Sign>,
    /// Samples missing from, or doubled in, either unit's file, in order of lead position. The clock has a pair of knots
    /// on each side of every certain one on the follower; lead positions count what the lead's file lacks.
    pub slips: Vec<Slip>,
}

/// Samples missing from, or doubled in, a unit's file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slip {
    /// Whose file.
    pub side: Side,
    /// The position in that unit's file: of the first sample after the missing ones, or of the first doubled one.
    pub at: u64,
    /// Below 0: that many are missing; above 0: that many too many.
    pub samples: i64,
    /// One standard deviation of the size before it was rounded.
    pub sigma: Samples,
    /// One standard deviation of the position.
    pub at_sigma: Samples,
    /// Whether it is certain; one that is only possible is told and nothing is done about it.
    pub certain: bool,
}

/// One of the two units of a measurement.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Side {
    /// The lead.
    Lead,
    /// The follower.
    Follower,
}

/// What a measurement came to.
#[derive(Debug, Clone, PartialEq)]
pub enum Outcome {
    /// The signs agree.
    Locked(Box<Measured>),
    /// They do not: what was asked, and other places that fit almost as well as `(offset, relative score)`.
    NotEstablished {
        /// The signs with their values and limits.
        signs: Vec<Sign>,
        /// Why, in one sentence.
        why: String,
        /// Offsets that fit, best first, with their score relative to the best.
        candidates: Vec<(LeadPos, f64)>,
    },
}

impl Measured {
    /// The same measurement with every lead position moved by `by`.
    #[must_use]
    pub fn shifted(&self, by: Samples) -> Self {
        let mut moved = self.clone();
        moved.offset = moved.offset + by;
        moved.clock = moved.clock.shifted(by);
        for tie in &mut moved.ties {
            tie.lead = tie.lead + by;
        }
        moved
    }
}

impl Clock {
    /// A clock through `knots`, or `None` unless there are at least two and both coordinates strictly increase.
    #[must_use]
    pub fn new(knots: Vec<Knot>) -> Option<Self> {
        let rising = knots
            .windows(2)
            .all(|pair| pair[0].follower.0 < pair[1].follower.0 && pair[0].lead.0 < pair[1].lead.0);
        (knots.len() >= 2 && rising).then_some(Self { knots })
    }

    /// The straight clock of a follower of `length_samples` whose sample 0 falls at `offset` and whose rate differs by
    /// `rate`: `n = offset + k / (1 + rate / 1e6)`, a knot at the first and the last sample and at most every 5 s.
    #[must_use]
    pub fn straight(offset: LeadPos, rate: Ppm, length_samples: u64, sample_rate_hz: f64) -> Self {
        let last = length_samples.saturating_sub(1).max(1) as f64;
        let pieces = (last / (5.0 * sample_rate_hz)).ceil().max(1.0);
        let knots = (0..=pieces as u64)
            .map(|piece| {
                let follower = last * piece as f64 / pieces;
                Knot {
                    follower: UnitPos(follower),
                    lead: LeadPos(offset.0 + follower / (1.0 + rate.0 * 1e-6)),
                    sigma: Samples(0.0),
                }
            })
            .collect();
        Self { knots }
    }

    /// The same clock with every lead position moved by `by`.
    #[must_use]
    pub fn shifted(&self, by: Samples) -> Self {
        let knots = self
            .knots
            .iter()
            .map(|knot| Knot {
                lead: knot.lead + by,
                ..*knot
            })
            .collect();
        Self { knots }
    }

    /// The knots, in order.
    #[must_use]
    pub fn knots(&self) -> &[Knot] {
        &self.knots
    }

    /// The follower position of the instant at `lead`; beyond the outer knots the outer lines go on.
    #[must_use]
    pub fn follower_at(&self, lead: LeadPos) -> UnitPos {
        let after = self.knots.partition_point(|knot| knot.lead.0 <= lead.0);
        let (a, b) = self.segment(after);
        let slope = (b.follower - a.follower).0 / (b.lead - a.lead).0;
        a.follower + Samples((lead - a.lead).0 * slope)
    }

    /// The lead position of the instant at `follower`; beyond the outer knots the outer lines go on.
    #[must_use]
    pub fn lead_at(&self, follower: UnitPos) -> LeadPos {
        let after = self
            .knots
            .partition_point(|knot| knot.follower.0 <= follower.0);
        let (a, b) = self.segment(after);
        let slope = (b.lead - a.lead).0 / (b.follower - a.follower).0;
        a.lead + Samples((follower - a.follower).0 * slope)
    }

    /// The same clock with as few knots as straight lines within `error` samples of it allow, at most 5 s apart; the
    /// first and the last knot stay.
    #[must_use]
    pub fn thinned(&self, rate_hz: f64, error: f64) -> Self {
        let mut kept = vec![self.knots[0]];
        let mut from = 0;
        while from + 1 < self.knots.len() {
            let mut to = from + 1;
            while to + 1 < self.knots.len() && self.is_straight(from, to + 1, rate_hz, error) {
                to += 1;
            }
            kept.push(self.knots[to]);
            from = to;
        }
        Self { knots: kept }.at_most_5_s_apart(rate_hz)
    }

    fn is_straight(&self, from: usize, to: usize, rate_hz: f64, error: f64) -> bool {
        let (a, b) = (self.knots[from], self.knots[to]);
        let slope = (b.lead - a.lead).0 / (b.follower - a.follower).0;
        (b.follower - a.follower).0 <= 5.0 * rate_hz
            && self.knots[from + 1..to].iter().all(|knot| {
                let line = a.lead.0 + (knot.follower - a.follower).0 * slope;
                (knot.lead.0 - line).abs() <= error
            })
    }

    /// Divides long straight stretches, as where a rate is prolonged.
    fn at_most_5_s_apart(self, rate_hz: f64) -> Self {
        let mut knots = vec![self.knots[0]];
        for pair in self.knots.windows(2) {
            let (a, b) = (pair[0], pair[1]);
            let pieces = ((b.follower - a.follower).0 / (5.0 * rate_hz))
                .ceil()
                .max(1.0);
            for piece in 1..=pieces as u64 {
                let part = piece as f64 / pieces;
                let between = |a: f64, b: f64| if part == 1.0 { b } else { a + (b - a) * part };
                knots.push(Knot {
                    follower: UnitPos(between(a.follower.0, b.follower.0)),
                    lead: LeadPos(between(a.lead.0, b.lead.0)),
                    sigma: Samples(between(a.sigma.0, b.sigma.0)),
                });
            }
        }
        Self { knots }
    }

    fn segment(&self, after: usize) -> (Knot, Knot) {
        let end = after.clamp(1, self.knots.len() - 1);
        (self.knots[end - 1], self.knots[end])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fast_follower_is_ahead_at_the_end() {
        // +10 ppm over 100 s at 48 kHz: 4 800 000 samples of the lead are 4 800 048 of the follower.
        let clock = Clock::straight(LeadPos(1000.0), Ppm(10.0), 4_800_049, 48_000.0);
        let follower = clock.follower_at(LeadPos(1000.0 + 4_800_000.0));
        assert!((follower.0 - 4_800_048.0).abs() < 1e-6, "{follower:?}");
        assert!((clock.lead_at(UnitPos(0.0)).0 - 1000.0).abs() < 1e-9);
        assert!((clock.lead_at(follower).0 - 4_801_000.0).abs() < 1e-6);
    }

    #[test]
    fn knots_must_rise() {
        let knot = |follower, lead| Knot {
            follower: UnitPos(follower),
            lead: LeadPos(lead),
            sigma: Samples(0.0),
        };
        assert!(Clock::new(vec![knot(0.0, 0.0), knot(1.0, 0.0)]).is_none());
        assert!(Clock::new(vec![knot(0.0, 0.0)]).is_none());
    }
}
