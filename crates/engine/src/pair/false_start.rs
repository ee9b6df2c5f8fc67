//! Joint takes in, takes of a second or two that a unit began and broke off before or after its real one taken out of them,
//! each told.

use super::Joint;
use crate::finding::{Finding, Weight};
use crate::take::Take;

/// A take shorter than this beside a longer one of the same unit in the same joint take is a false start, seconds (common
/// practice, no source).
const SHORTER_S: f64 = 5.0;

/// Takes out what are false starts and says which takes those were.
pub(super) fn take_out<'a>(joints: &mut [Joint<'a>], findings: &mut Vec<Finding>) -> Vec<&'a Take> {
    let mut out = Vec::new();
    for joint in joints {
        let longest = |unit: &str| {
            let own = joint.followers.iter().filter(|f| f.take.unit == unit);
            own.map(|f| f.take.seconds()).fold(0.0, f64::max)
        };
        let broken_off: Vec<&Take> = joint
            .followers
            .iter()
            .map(|follower| follower.take)
            .filter(|take| take.seconds() < SHORTER_S && longest(&take.unit) >= SHORTER_S)
            .collect();
        joint.followers.retain(|follower| {
            !broken_off
                .iter()
                .any(|take| std::ptr::eq(*take, follower.take))
        });
        for take in broken_off {
            findings.push(
                Finding::new(
                    "false-start",
                    Weight::Note,
                    "too short to belong to a recording: listed, not used",
                )
                .at(take.place())
                .measured(
                    format!("{:.1} s during {}", take.seconds(), joint.lead.place()),
                    format!("{SHORTER_S} s beside a longer take of the same unit"),
                )
                .because("the unit was started and stopped again")
                .then("nothing; the file stays on the card"),
            );
            out.push(take);
        }
    }
    out
}
