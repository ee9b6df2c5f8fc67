//! What will be recorded alike on all units in, what can be proven with it afterwards out.

use serde::Serialize;

use crate::finding::{Finding, Weight};
use crate::session::{Class, CommonKind, Session, Shoot};
use crate::units::Samples;

/// What a split source is claimed to, samples: measured to thousandths, claimed to hundredths (docs/evaluation.md).
const SPLIT_SAMPLES: f64 = 0.05;
/// What timecode on a track is claimed to, samples (docs/decisions/timecode-as-sound.md).
const TIMECODE_SAMPLES: f64 = 0.1;
/// What markers ten seconds apart are claimed to, samples: at a marker as a split source; between two of them a crystal that
/// wanders by 0.2 ppm (rehearsed rooms, docs/evaluation.md) is off by 1 microsecond, 0.05 samples, which is doubled.
const MARKER_SAMPLES: f64 = 0.1;

/// What a common signal can prove.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Proof {
    /// What it is.
    pub kind: CommonKind,
    /// Whether it is the planned one.
    pub planned: bool,
    /// How far two units may lie apart afterwards, seconds, plus or minus.
    pub error_s: f64,
    /// What that is good for across units, the most demanding first.
    pub good_for: Vec<&'static str>,
    /// What is known of the clock.
    pub clock: &'static str,
    /// What is known of lost samples.
    pub slips: &'static str,
    /// What it takes.
    pub takes: &'static str,
}

/// What every choice can prove at these settings.
#[must_use]
pub fn proofs(shoot: &Shoot) -> Vec<Proof> {
    let of = |kind| Proof::of(kind, shoot);
    CommonKind::ALL.into_iter().map(of).collect()
}

impl Proof {
    fn of(kind: CommonKind, shoot: &Shoot) -> Self {
        let samples = |samples: f64| Samples(samples).seconds(shoot.sample_rate);
        let stamps = shoot.timecode_frame_s();
        let air = Samples::of_air(shoot.spacing_m, shoot.sample_rate).seconds(shoot.sample_rate);
        let (error_s, clock, slips, takes) = match kind {
            CommonKind::SplitSource => (
                samples(SPLIT_SAMPLES),
                "measured through the whole take",
                "found, placed and counted",
                "an input of every follower, and a split that keeps phantom power to one unit",
            ),
            CommonKind::Timecode => (
                samples(TIMECODE_SAMPLES),
                "measured through the whole take",
                "found, placed and counted",
                "an input of every unit, and one generator that feeds all of them",
            ),
            CommonKind::Marker => (
                samples(MARKER_SAMPLES),
                "measured at every marker, drawn between them",
                "found between two markers, not placed more closely",
                "an input of every unit, and a player with a file as long as a take",
            ),
            CommonKind::Tone => (
                stamps,
                "measured, but no place: every period is like the next",
                "those that are no whole periods",
                "an input of every unit, and a player",
            ),
            CommonKind::Clap => (
                air.max(samples(1.0)),
                "by two instants, a straight line between them",
                "only as a sum over the take",
                "someone who claps at head and tail, close to a microphone of every unit",
            ),
            CommonKind::None => (
                stamps,
                "by the sound of the room, where that allows it",
                "large ones, where the sound of the room shows them",
                "nothing",
            ),
        };
        let classes = Class::ALL.iter().filter(|class| class.allows(error_s));
        Self {
            kind,
            planned: shoot.common.kind == kind,
            error_s,
            good_for: classes.map(|class| class.words()).collect(),
            clock,
            slips,
            takes,
        }
    }
}

/// What a person should know of the choice.
pub(super) fn findings(session: &Session) -> Vec<Finding> {
    let next = "record one: split a microphone of the lead into an input of every follower, or feed one timecode generator into a \
                track of every unit";
    let weak = match session.shoot.common.kind {
        CommonKind::None => Some((
            "no-common-signal",
            "no common signal is planned: nothing can be proven about the units' places later, only assumed from stamps",
        )),
        CommonKind::Tone => Some((
            "tone-has-no-place",
            "a steady tone tells the clocks, but not the places: every period is like the next",
        )),
        CommonKind::Clap => Some((
            "clap-is-acoustic",
            "a clap reaches every microphone after its own way through the air: places are known no better than that",
        )),
        CommonKind::SplitSource | CommonKind::Timecode | CommonKind::Marker => None,
    };
    weak.map(|(code, message)| Finding::new(code, Weight::Warn, message).then(next))
        .into_iter()
        .collect()
}
