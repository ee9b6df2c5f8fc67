//! A lead and a follower in, takes without usable stamps joined: by their order when it is the same on both, else by the
//! calendar clocks, else not.

use super::place::Place;
use super::{Joint, Pair, SHORTEST_OVERLAP_S};
use crate::finding::{Finding, Weight};
use crate::take::Take;
use crate::units::LeadPos;

/// The calendar clocks of two units keep their difference within this long over a shoot, seconds: they tell whole seconds,
/// a take may be written down at its start or its end, and one unit starts before the other.
const KEEPS_S: f64 = 30.0;

/// Adds candidates of one follower without an offset by stamps.
pub(super) fn join<'a>(pair: &Pair<'a>, joints: &mut [Joint<'a>], findings: &mut Vec<Finding>) {
    let open: Vec<usize> = (0..joints.len())
        .filter(|&index| {
            pair.takes()
                .any(|take| !pair.stamped(joints[index].lead, take))
        })
        .filter(|&index| !has_follower(pair, &joints[index]))
        .collect();
    let takes: Vec<&Take> = pair
        .takes()
        .filter(|take| {
            open.iter()
                .any(|&index| !pair.stamped(joints[index].lead, take))
        })
        .collect();
    if open.is_empty() || takes.is_empty() {
        return;
    }
    let by_order: Vec<(usize, &Take)> = open.iter().copied().zip(takes.iter().copied()).collect();
    let one_each = open.len() == takes.len();
    let differences: Vec<f64> = by_order
        .iter()
        .filter_map(|&(index, take)| passed(joints[index].lead, take))
        .collect();
    let keeps = differences.len() == takes.len()
        && differences
            .iter()
            .all(|d| (d - differences[0]).abs() <= KEEPS_S);
    let by_calendar = calendar_pairs(&open, &takes, joints);
    let (pairs, code, how) = if one_each && (keeps || by_calendar.is_empty()) {
        (by_order, "paired-by-order", "their order on the cards")
    } else if !by_calendar.is_empty() {
        (
            by_calendar,
            "paired-by-calendar",
            "the dates and times of day",
        )
    } else {
        findings.push(cannot(pair, open.len(), takes.len()));
        return;
    };
    for (index, take) in pairs {
        let lead = joints[index].lead;
        findings.push(
            Finding::new(
                code,
                Weight::Warn,
                format!("paired by {how}: there are no stamps to go by"),
            )
            .at(format!("{} and {}", lead.place(), take.place()))
            .then("check in the report that these belong together"),
        );
        let mut candidate = pair.candidate(lead, take);
        candidate.by_calendar = passed(lead, take).map(|s| LeadPos(s * lead.rate.hz()));
        joints[index].followers.push(candidate);
    }
}

fn has_follower(pair: &Pair<'_>, joint: &Joint<'_>) -> bool {
    joint
        .followers
        .iter()
        .any(|follower| follower.take.unit == pair.unit.name)
}

/// Calendar time from the start of the lead's take to the start of the other, seconds.
fn passed(lead: &Take, take: &Take) -> Option<f64> {
    Some(take.recorded?.duration_since(lead.recorded?).as_secs_f64())
}

fn calendar_pairs<'a>(
    open: &[usize],
    takes: &[&'a Take],
    joints: &[Joint<'_>],
) -> Vec<(usize, &'a Take)> {
    let mut pairs = Vec::new();
    for &index in open {
        let lead = joints[index].lead;
        for &take in takes {
            let place =
                passed(lead, take).map(|s| Place::of_offset(lead, take, s * lead.rate.hz()));
            if place.is_some_and(|place| place.overlap_s >= SHORTEST_OVERLAP_S) {
                pairs.push((index, take));
            }
        }
    }
    pairs
}

fn cannot(pair: &Pair<'_>, leads: usize, takes: usize) -> Finding {
    Finding::new(
        "cannot-pair",
        Weight::Ask,
        "there is nothing to pair these takes by: no usable stamps, no dates that agree",
    )
    .at(pair.place())
    .measured(
        format!("{leads} takes and {takes}"),
        "as many on both units, or stamps",
    )
    .because("a unit without timecode, or in record run")
    .then("put only takes that belong together into the folders, or tie them by hand")
}
