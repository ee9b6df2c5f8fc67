//! A claim in, how the follower's samples come to the output out: copied at whole shifts or resampled.

use super::claim::Claim;
use super::options::Resample;
use crate::alignment::{Basis, Placement, Status};
use crate::clock::common::common_clock_shift;
use crate::clock::slips::{continuous, seams};
use crate::clock::{Measured, Side};
use crate::finding::{Finding, Weight};
use crate::signal::Seams;
use crate::units::UnitPos;

/// A constant fraction of a sample larger than this is told when samples are copied.
const TOLD_FRACTION: f64 = 0.02;
/// A clock whose whole take stays this close to one whole number of samples needs no resampling when only the room's sound
/// measured it: below what summed signals show (a quarter of a sample is 0.5 dB at 20 kHz).
const ROOM_EXACT: f64 = 0.25;

/// Bit for bit where the clocks were common, else resampled. Offset and clock stay as measured: copying rounds the offset.
pub fn placed(claim: &mut Claim, resample: Resample, length: u64) -> Placement {
    if claim.status == Status::NotEstablished {
        return Placement::NotPlaced;
    }
    let shift = match (&claim.measured, claim.basis) {
        (Some(measured), Basis::CommonSignal | Basis::TimecodeTrack) => {
            common_clock_shift(measured)
        }
        (Some(measured), _) => whole_shift(measured),
        (None, _) => Some(claim.offset.0.round() as i64),
    };
    let exact = match resample {
        Resample::Auto => shift,
        Resample::Always => None,
        Resample::Never => Some(shift.unwrap_or(claim.offset.0.round() as i64)),
    };
    let Some(shift) = exact else {
        return Placement::Resampled;
    };
    let left = left_in(claim, shift, length);
    claim.findings.extend(left);
    claim
        .story
        .push("the samples are copied bit for bit at a whole shift".into());
    Placement::Exact
}

/// What copying at a whole shift leaves in: a fraction of a sample where the clocks were common, the drift where a
/// person asked for no resampling.
fn left_in(claim: &Claim, shift: i64, length: u64) -> Option<Finding> {
    let end = length as f64;
    let slips = claim.measured.as_ref().map_or(&[][..], |m| &m.slips);
    let own = Seams::new(&seams(slips, Side::Follower), length);
    let away = |follower: f64| {
        claim.clock.lead_at(UnitPos(follower)).0 - own.mended(follower) - shift as f64
    };
    let (first, last) = (away(0.0), away(end));
    if (last - first).abs() > 1.0 {
        return Some(
            Finding::new(
                "drift-left-in",
                Weight::Warn,
                "not resampled, as asked: the drift stays in",
            )
            .measured(format!("{last:+.1} samples at the end"), "0")
            .then("leave --resample at auto to take it out"),
        );
    }
    (first.abs() > TOLD_FRACTION).then(|| {
        Finding::new(
            "fraction-left-in",
            Weight::Note,
            "the clocks were common; copying bit for bit leaves a constant fraction of a sample",
        )
        .measured(format!("{first:+.2} samples"), "0")
        .because("converters delay by fractions of a sample")
        .then("nothing; --resample always takes it out")
    })
}

fn whole_shift(measured: &Measured) -> Option<i64> {
    let knots = continuous(measured);
    let shift = knots[0].lead.0 - knots[0].follower.0;
    let common = knots
        .iter()
        .all(|knot| (knot.lead.0 - knot.follower.0 - shift.round()).abs() <= ROOM_EXACT);
    common.then_some(shift.round() as i64)
}
