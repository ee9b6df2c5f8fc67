//! Clocks of three units in, one clock through the middle unit out, and how far a third measurement is from closing the ring.
//!
//! Two clocks after each other: positions of unit C become positions of unit B, those become positions of the lead. Straight
//! pieces stay straight pieces, so the result is exact where it has a knot for every knot of either.

use super::slips::seams;
use super::{Clock, Knot, Side, Slip};
use crate::signal::Seams;
use crate::units::{LeadPos, Samples, UnitPos};

/// Knots closer than this are one, samples.
const SAME: f64 = 1e-6;

impl Clock {
    /// The lead position and its sigma at a follower position; beyond the outer knots the outer lines and the outer sigmas
    /// go on.
    #[must_use]
    pub fn knot_at(&self, follower: UnitPos) -> Knot {
        let after = self
            .knots
            .partition_point(|knot| knot.follower.0 <= follower.0);
        let (a, b) = self.segment(after);
        let share = ((follower - a.follower).0 / (b.follower - a.follower).0).clamp(0.0, 1.0);
        Knot {
            follower,
            lead: self.lead_at(follower),
            sigma: Samples(a.sigma.0 + (b.sigma.0 - a.sigma.0) * share),
        }
    }

    /// This clock, whose lead is the follower of `outer`, and then `outer`: from this follower straight to the lead of
    /// `outer`. Sigmas add up, so that nothing is promised of errors that may be one and the same.
    #[must_use]
    pub fn then(&self, outer: &Self) -> Option<Self> {
        let (first, last) = (self.knots.first()?, self.knots.last()?);
        let inner = first.lead.0..=last.lead.0;
        let between = outer.knots.iter().map(|knot| LeadPos(knot.follower.0));
        let mut places: Vec<UnitPos> = self.knots.iter().map(|knot| knot.follower).collect();
        places.extend(
            between
                .filter(|lead| inner.contains(&lead.0))
                .map(|lead| self.follower_at(lead)),
        );
        places.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        places.dedup_by(|later, kept| (*later - *kept).0 < SAME);
        let knots = places.into_iter().map(|place| {
            let near = self.knot_at(place);
            let far = outer.knot_at(UnitPos(near.lead.0));
            Knot {
                follower: place,
                lead: far.lead,
                sigma: Samples(near.sigma.0 + far.sigma.0),
            }
        });
        Self::new(knots.collect())
    }

    /// The same clock, its follower positions counted as if what is missing from, or doubled in, the follower's file were
    /// mended: as a measurement against that unit as the lead counts them.
    #[must_use]
    pub fn mended(&self, slips: &[Slip]) -> Self {
        let own = seams(slips, Side::Follower);
        let length = self.knots.last().map_or(0.0, |knot| knot.follower.0) + 1.0;
        let own = Seams::new(&own, length as u64);
        let mut knots: Vec<Knot> = Vec::new();
        for knot in &self.knots {
            let mended = UnitPos(own.mended(knot.follower.0));
            // what was left out of the file leaves one knot where there were several
            if knots
                .last()
                .is_none_or(|last| (mended - last.follower).0 > SAME)
            {
                knots.push(Knot {
                    follower: mended,
                    ..*knot
                });
            }
        }
        Self::new(knots).unwrap_or_else(|| self.clone())
    }
}

/// Three clocks that should close: two followers on the lead, and the second follower on the first.
#[derive(Debug, Clone, Copy)]
pub struct Ring<'a> {
    /// The first follower on the lead.
    pub first: &'a Clock,
    /// The second follower on the lead.
    pub second: &'a Clock,
    /// The second follower on the first.
    pub direct: &'a Clock,
}

impl Ring<'_> {
    /// How far the ring is from closing at the lead position `at`: the direct measurement less what the two others say, in
    /// samples of the first follower, and one standard deviation of it if the three were independent.
    #[must_use]
    pub fn gap(&self, at: LeadPos) -> (Samples, Samples) {
        let second = self.second.follower_at(at);
        let first = self.first.follower_at(at);
        let direct = self.direct.knot_at(second);
        let sigmas = [
            direct.sigma,
            self.first.knot_at(first).sigma,
            self.second.knot_at(second).sigma,
        ];
        let square: f64 = sigmas.iter().map(|sigma| sigma.0.powi(2)).sum();
        (UnitPos(direct.lead.0) - first, Samples(square.sqrt()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Ppm;

    fn straight(offset: f64, ppm: f64, sigma: f64) -> Clock {
        let clock = Clock::straight(LeadPos(offset), Ppm(ppm), 480_001, 48_000.0);
        let knots = clock.knots().iter().map(|knot| Knot {
            sigma: Samples(sigma),
            ..*knot
        });
        Clock::new(knots.collect()).expect("rising")
    }

    #[test]
    fn two_clocks_after_each_other_are_one() {
        // 1000 + (200 + 480000 / 1.00001) / 0.999995, by hand 481206.2000...
        let through = straight(200.0, 10.0, 0.002).then(&straight(1000.0, -5.0, 0.003));
        let through = through.expect("a clock");
        let end = 1000.0 + (200.0 + 480_000.0 / (1.0 + 10e-6)) / (1.0 - 5e-6);
        assert!((through.lead_at(UnitPos(480_000.0)).0 - end).abs() < 1e-6);
        assert!((through.lead_at(UnitPos(0.0)).0 - 1200.001).abs() < 1e-6);
        assert!(
            (through.knots()[0].sigma.0 - 0.005).abs() < 1e-12,
            "sigmas add up"
        );
    }

    #[test]
    fn a_bend_of_the_far_clock_is_kept() {
        let knot = |follower, lead| Knot {
            follower: UnitPos(follower),
            lead: LeadPos(lead),
            sigma: Samples(0.0),
        };
        let bent = Clock::new(vec![
            knot(0.0, 0.0),
            knot(1000.0, 1000.0),
            knot(2000.0, 2010.0),
        ])
        .expect("rising");
        let near = Clock::new(vec![knot(0.0, 500.0), knot(1000.0, 1500.0)]).expect("rising");
        let through = near.then(&bent).expect("a clock");
        assert!((through.lead_at(UnitPos(500.0)).0 - 1000.0).abs() < 1e-9);
        assert!((through.lead_at(UnitPos(750.0)).0 - 1252.5).abs() < 1e-9);
    }

    #[test]
    fn what_the_middle_unit_lacks_cancels_out() {
        let knot = |follower, lead| Knot {
            follower: UnitPos(follower),
            lead: LeadPos(lead),
            sigma: Samples(0.0),
        };
        // 100 samples are missing from the middle unit's file at its sample 1000
        let slip = Slip {
            side: Side::Follower,
            at: 1000,
            samples: -100,
            sigma: Samples(0.1),
            at_sigma: Samples(10.0),
            certain: true,
        };
        let far = Clock::new(vec![
            knot(0.0, 0.0),
            knot(999.0, 999.0),
            knot(1000.0, 1100.0),
            knot(2000.0, 2100.0),
        ])
        .expect("rising");
        // measured against the mended middle unit, there is no jump
        let near = Clock::new(vec![knot(0.0, 0.0), knot(2100.0, 2100.0)]).expect("rising");
        let through = near.then(&far.mended(&[slip])).expect("a clock");
        for k in [0.0, 900.0, 1050.0, 1500.0, 2100.0] {
            let lead = through.lead_at(UnitPos(k)).0;
            assert!((lead - k).abs() < 1e-9, "{k} falls at {lead}");
        }
    }

    #[test]
    fn what_the_middle_unit_has_twice_cancels_out() {
        let knot = |follower, lead| Knot {
            follower: UnitPos(follower),
            lead: LeadPos(lead),
            sigma: Samples(0.0),
        };
        let slip = Slip {
            side: Side::Follower,
            at: 1000,
            samples: 100,
            sigma: Samples(0.1),
            at_sigma: Samples(10.0),
            certain: true,
        };
        let far = Clock::new(vec![
            knot(0.0, 0.0),
            knot(999.0, 999.0),
            knot(1000.0, 999.9),
            knot(1100.0, 1000.0),
            knot(2000.0, 1900.0),
        ])
        .expect("rising");
        let mended = far.mended(&[slip]);
        for k in [0.0, 999.0, 1500.0, 1900.0] {
            let lead = mended.lead_at(UnitPos(k)).0;
            assert!((lead - k).abs() < 0.2, "{k} falls at {lead}");
        }
    }

    #[test]
    fn a_ring_that_closes_and_one_that_does_not() {
        let (first, second) = (straight(100.0, 8.0, 0.003), straight(700.0, -3.0, 0.004));
        // the second on the first: position of the first at the lead's instant of the second
        let direct = |off: f64| {
            let knots = second.knots().iter().map(|knot| Knot {
                follower: knot.follower,
                lead: LeadPos(first.follower_at(knot.lead).0 + off),
                sigma: Samples(0.012),
            });
            Clock::new(knots.collect()).expect("rising")
        };
        let gap = |direct: &Clock| {
            Ring {
                first: &first,
                second: &second,
                direct,
            }
            .gap(LeadPos(240_000.0))
        };
        let (closed, sigma) = gap(&direct(0.0));
        assert!(closed.0.abs() < 1e-6, "{closed:?}");
        assert!((sigma.0 - 0.013).abs() < 1e-9, "3-4-12-13: {sigma:?}");
        let (open, _) = gap(&direct(5.0));
        assert!((open.0 - 5.0).abs() < 1e-6, "{open:?}");
    }
}
