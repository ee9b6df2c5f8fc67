//! What the room's sound says in, beside the stamps or alone; the claim it allows out. Content never moves what the stamps
//! explain; where nothing else places a follower, echoes that fit nearly as well widen what is claimed.

use super::claim::{Circumstances, Claim, STAMP_DOUBT_S, StampEvidence, by_stamps_alone};
use crate::alignment::{Basis, Status};
use crate::clock::Measured;
use crate::clock::acoustic::Delay;
use crate::finding::{Finding, Weight};
use crate::units::{LeadPos, SampleRate, Samples};

/// What the sound of the room says.
#[derive(Debug, Clone, PartialEq)]
pub struct RoomEvidence {
    /// The clock, its absolute place pinned to where the search began.
    pub measured: Measured,
    /// By how much the content's common delay differs from that place; positive: the follower hears it later.
    pub content_lag: Delay,
}

impl RoomEvidence {
    /// The same with its place pinned to another offset.
    pub(super) fn at(&self, offset: LeadPos) -> Self {
        let by = offset - self.measured.offset;
        Self {
            measured: self.measured.shifted(by),
            content_lag: self.content_lag.later(by),
        }
    }
}

pub(super) fn by_stamps(
    stamps: StampEvidence,
    room: Option<&RoomEvidence>,
    around: Circumstances,
) -> Claim {
    let allowed = Samples::of_air(around.spacing_m, around.rate).0 + stamps.resolution.0;
    let Some(room) = room else {
        return by_stamps_alone(stamps, around);
    };
    // where timecode said another place, the room was heard there
    let pinned = (room.measured.offset - stamps.offset).0.abs() <= 0.5;
    let there = (!pinned).then(|| room.at(LeadPos(stamps.offset.0.round())));
    let room = there.as_ref().unwrap_or(room);
    let lag = room.content_lag;
    let excess = lag.least().0.abs() - allowed;
    if excess > STAMP_DOUBT_S * around.rate.hz() {
        return contradicted(lag, allowed, room, around);
    }
    let mut claim = Claim::of_measured(Basis::Stamps, &room.measured);
    claim.offset_sigma = Samples(stamps.resolution.0 / 3.0);
    claim.offset_bound = stamps.resolution;
    claim.story.push(format!(
        "the stamps place the follower at {:+.1} samples, good to ±{:.0} samples",
        stamps.offset.0, stamps.resolution.0
    ));
    claim.story.push(format!(
        "the sound of the room arrives {} from there; it measured the rate and did not move the offset",
        lag.told(around.rate)
    ));
    if excess > 0.0 {
        claim.offset_bound =
            Samples(lag.largest().0 + Samples::of_air(around.spacing_m, around.rate).0);
        let limit = format!(
            "±{allowed:.0} samples ({} m and the stamps' resolution)",
            around.spacing_m
        );
        claim.findings.push(beyond_spacing(lag, limit, around.rate));
    }
    claim
}

/// That the content's delay is more than the declared distance allows.
pub(super) fn beyond_spacing(lag: Delay, limit: String, rate: SampleRate) -> Finding {
    Finding::new(
        "content-beyond-spacing",
        Weight::Warn,
        "the sound arrives later than the declared microphone distance allows; it was not moved",
    )
    .measured(
        format!(
            "{:+.0} samples = {:.1} m of air",
            lag.best.0,
            lag.best.metres_of_air(rate).abs()
        ),
        limit,
    )
    .because("the microphones stand further apart than declared, or a stamp is off")
    .then("give the true distance with --spacing, or record a common signal next time")
}

fn contradicted(lag: Delay, allowed: f64, room: &RoomEvidence, around: Circumstances) -> Claim {
    let mut claim = by_room_alone(room, around);
    claim.status = Status::NeedsDecision;
    claim.findings.push(
        Finding::new(
            "stamps-contradicted",
            Weight::Ask,
            "the stamps and the sound contradict each other",
        )
        .measured(
            format!(
                "content {:+.0} samples ({:+.3} s) from the stamps",
                lag.best.0,
                lag.best.seconds(around.rate)
            ),
            format!("±{allowed:.0} samples"),
        )
        .because("a lost or wrong jam on one unit, or a sound that repeats")
        .then(
            "check the units' clocks; to accept the place by content, set \"status\" to \"established\" in \
             alignment.json and run `commontime build`, or give an instant with --tie",
        ),
    );
    claim
}

pub(super) fn by_room_alone(room: &RoomEvidence, around: Circumstances) -> Claim {
    let mut claim = Claim::of_measured(Basis::Acoustic, &room.measured);
    claim.shift(Samples(-room.content_lag.best.0));
    let spacing = Samples::of_air(around.spacing_m, around.rate);
    let doubt = room.content_lag.doubt();
    let bound = Samples(spacing.0 + doubt.0);
    claim.offset_bound = bound;
    claim.offset_sigma = Samples(bound.0 / 3.0);
    claim.story.push(format!(
        "no stamp places this follower; the sound of the room does, to within the microphone distance of {} m \
         (±{:.0} samples)",
        around.spacing_m, spacing.0
    ));
    if room.content_lag.is_ambiguous() {
        claim.story.push(format!(
            "places up to {:.0} samples from there fit nearly as well: one is that of the direct sound, the others are of \
             echoes, so the claim is ±{:.0} samples",
            doubt.0, bound.0
        ));
        claim
            .findings
            .push(echoes(room.content_lag, spacing, around));
    }
    claim
}

/// That echoes fit as well as what may be the direct sound.
fn echoes(lag: Delay, spacing: Samples, around: Circumstances) -> Finding {
    Finding::new(
        "echoes-fit-too",
        Weight::Warn,
        "the room's echoes fit nearly as well as the sound itself: the place is less certain than the microphone distance",
    )
    .measured(
        format!(
            "places from {:+.0} to {:+.0} samples fit nearly as well",
            lag.best.0 - lag.latest.0,
            lag.best.0 - lag.earliest.0
        ),
        format!("±{:.0} samples ({} m)", spacing.0, around.spacing_m),
    )
    .because("a reverberant room, sources far from the microphones, or few microphones")
    .then("listen; give an instant with --tie, or record a common signal next time")
}
