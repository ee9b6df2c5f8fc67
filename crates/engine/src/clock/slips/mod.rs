//! A clock that steps in, slips out: steps found between blocks, each located on the samples themselves and put down to
//! the file that it belongs to, both files mended, and a clock measured on mended files brought back to the files' own
//! positions.

pub mod steps;
pub mod locate;
pub mod repeat;
pub mod splice;

use crate::clock::{Clock, Knot, Measured, Side, Slip};
use crate::signal::{Mended, Seam, Seams, Sound};
use crate::units::UnitPos;

/// Knots closer to a slip's own pair of knots than this are left out, samples.
const CLEAR_OF_PAIR: f64 = 1.0;

/// The certain slips of one side as seams.
#[must_use]
pub fn seams(slips: &[Slip], side: Side) -> Vec<Seam> {
    let mine = slips
        .iter()
        .filter(|slip| slip.certain && slip.side == side)
        .map(|slip| Seam {
            at: slip.at,
            samples: slip.samples,
        });
    mine.collect()
}

/// Both units' sound without their certain slips, lead first.
#[must_use]
pub fn mended<'a>(
    lead: &'a dyn Sound,
    follower: &'a dyn Sound,
    slips: &[Slip],
) -> (Mended<'a>, Mended<'a>) {
    (
        Mended::new(lead, &seams(slips, Side::Lead)),
        Mended::new(follower, &seams(slips, Side::Follower)),
    )
}

/// What was measured on mended files, in positions of the follower's file as it is, with its slips. Lead positions stay
/// those of the mended lead: its clock goes on where its file lacks samples.
#[must_use]
pub fn on_files(measured: Measured, slips: Vec<Slip>, follower_length: u64) -> Measured {
    let own = seams(&slips, Side::Follower);
    let seams = Seams::new(&own, follower_length);
    let ties = measured
        .ties
        .into_iter()
        .map(|mut tie| {
            tie.follower = UnitPos(seams.own(tie.follower.0));
            tie
        })
        .collect();
    Measured {
        clock: parted(&measured.clock, &own, &seams, follower_length),
        ties,
        slips,
        ..measured
    }
}

/// The knots of a clock with the follower's positions as they would be without its slips.
#[must_use]
pub fn continuous(measured: &Measured) -> Vec<Knot> {
    let last = measured.clock.knots().last();
    let length = last.map_or(0, |knot| knot.follower.0 as u64 + 1);
    let seams = Seams::new(&seams(&measured.slips, Side::Follower), length);
    let knots = measured.clock.knots().iter();
    knots
        .map(|knot| Knot {
            follower: UnitPos(seams.mended(knot.follower.0)),
            ..*knot
        })
        .collect()
}

/// The clock over the file's own positions, `length` of them: a pair of knots on each side of every slip.
#[must_use]
pub fn parted(clock: &Clock, slips: &[Seam], seams: &Seams, length: u64) -> Clock {
    let last = length.saturating_sub(1) as f64;
    let mut pairs: Vec<f64> = Vec::new();
    for slip in slips {
        let (before, after) = (
            slip.at as f64 - 1.0,
            (slip.at as f64) + slip.samples.max(0) as f64,
        );
        // nothing is parted where one side is empty
        if before >= 0.0 && after <= last {
            pairs.extend([before, after]);
        }
    }
    pairs.sort_by(f64::total_cmp);
    pairs.dedup();
    let at = |own: f64| {
        let mended = UnitPos(seams.mended(own));
        let lead = clock.lead_at(mended);
        let near = clock
            .knots()
            .partition_point(|knot| knot.follower.0 < mended.0);
        let sigma = clock.knots()[near.min(clock.knots().len() - 1)].sigma;
        Knot {
            follower: UnitPos(own),
            lead,
            sigma,
        }
    };
    let inside = |own: f64| own > 0.0 && own < last;
    let mut positions: Vec<f64> = clock
        .knots()
        .iter()
        .map(|knot| (seams.own(knot.follower.0), knot.follower.0))
        .filter(|&(own, mended)| inside(own) && seams.mended(own) == mended)
        .map(|(own, _)| own)
        .filter(|own| {
            let near = pairs.partition_point(|pair| pair < own);
            let apart = |pair: Option<&f64>| pair.is_none_or(|p| (p - own).abs() > CLEAR_OF_PAIR);
            let cut = slips.iter().any(|slip| {
                let from = slip.at as f64 - 1.0;
                *own > from && *own < from + 1.0 + slip.samples.max(0) as f64
            });
            !cut && apart(pairs.get(near)) && apart(near.checked_sub(1).and_then(|i| pairs.get(i)))
        })
        .chain(pairs.iter().copied())
        .chain([0.0, last])
        .collect();
    positions.sort_by(f64::total_cmp);
    positions.dedup();
    Clock::new(positions.into_iter().map(at).collect()).unwrap_or_else(|| clock.clone())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{LeadPos, Ppm, Samples};

    #[test]
    fn a_clock_is_parted_at_its_slips() {
        let slip = |at, samples| Slip {
            side: Side::Follower,
            at,
            samples,
            sigma: Samples(0.0),
            at_sigma: Samples(0.0),
            certain: true,
        };
        let slips = vec![slip(100_000, -441), slip(300_000, 8)];
        let own = seams(&slips, Side::Follower);
        let mended = Clock::straight(LeadPos(500.0), Ppm(0.0), 600_433, 48_000.0);
        let clock = parted(&mended, &own, &Seams::new(&own, 600_000), 600_000);
        for (own, lead) in [
            (0.0, 500.0),
            (99_999.0, 100_499.0),
            (100_000.0, 100_941.0),
            (299_999.0, 300_940.0),
            (300_008.0, 300_941.0),
            (599_999.0, 600_932.0),
        ] {
            assert!((clock.lead_at(UnitPos(own)).0 - lead).abs() < 1e-6, "{own}");
        }
        let knots = clock.knots();
        for pair in [(99_999.0, 100_000.0), (299_999.0, 300_008.0)] {
            let found = knots
                .windows(2)
                .any(|k| (k[0].follower.0, k[1].follower.0) == pair);
            assert!(found, "{pair:?} in {knots:?}");
        }
    }
}
