//! A lead and a follower in, their takes joined by stamps; two days with the same time of day are told apart by dates.

use super::place::{Place, by_stamps, may_run_together};
use super::{Joint, Pair, SHORTEST_OVERLAP_S};
use crate::finding::{Finding, Weight};
use crate::take::Take;

/// Calendar clocks that differ by the same within this long differ for one reason, seconds.
const SAME_DIFFERENCE_S: f64 = 600.0;
/// Takes whose calendar clocks differ by this much more than usual are of different days, seconds.
const OTHER_DAY_S: f64 = 43_200.0;
/// Calendar clocks that differ by less are set alike, seconds.
const SET_ALIKE_S: f64 = 120.0;

/// Two takes that ran together by their stamps.
struct Edge<'a> {
    /// The place of the joint take.
    joint: usize,
    lead: &'a Take,
    take: &'a Take,
    place: Place,
    /// The follower's calendar clock less the lead's at one instant by the stamps, seconds.
    difference_s: Option<f64>,
}

/// Adds the candidates of one follower by their stamps.
pub(super) fn join<'a>(pair: &Pair<'a>, joints: &mut [Joint<'a>], findings: &mut Vec<Finding>) {
    let edges = edges_of(pair, joints);
    let usual = usual_difference(&edges);
    if let Some(usual_s) = usual {
        findings.extend(words_for_clocks(pair, usual_s));
    }
    let other_day = |edge: &Edge| {
        let difference = edge.difference_s.zip(usual);
        difference.is_some_and(|(own, usual)| (own - usual).abs() > OTHER_DAY_S)
    };
    for edge in &edges {
        let rivals: Vec<&Edge> = edges
            .iter()
            .filter(|other| are_rivals(edge, other))
            .collect();
        if other_day(edge) && rivals.iter().any(|rival| !other_day(rival)) {
            continue;
        }
        let doubt = match rivals
            .iter()
            .find(|rival| other_day(rival) == other_day(edge))
        {
            Some(rival) => Some(words_for_rivals(edge, rival)),
            None => other_day(edge).then(|| words_for_other_day(edge, usual)),
        };
        let mut candidate = pair.candidate(edge.lead, edge.take);
        candidate.by_stamps = Some(edge.place.offset);
        candidate.undecided.extend(doubt.clone());
        findings.extend(doubt);
        joints[edge.joint].followers.push(candidate);
    }
}

fn edges_of<'a>(pair: &Pair<'a>, joints: &[Joint<'a>]) -> Vec<Edge<'a>> {
    let mut edges = Vec::new();
    for (index, joint) in joints.iter().enumerate() {
        let lead = joint.lead;
        let mut own: Vec<Edge> = pair
            .takes()
            .filter(|take| pair.stamped(lead, take) && may_run_together(lead, take))
            .filter_map(|take| {
                let place = by_stamps(lead, take, 0)?;
                (place.overlap_s >= SHORTEST_OVERLAP_S).then(|| Edge {
                    joint: index,
                    lead,
                    take,
                    place,
                    difference_s: calendar_difference(lead, take, place),
                })
            })
            .collect();
        own.sort_by(|a, b| a.place.offset.0.total_cmp(&b.place.offset.0));
        edges.extend(own);
    }
    edges
}

fn calendar_difference(lead: &Take, take: &Take, place: Place) -> Option<f64> {
    let passed = take.recorded?.duration_since(lead.recorded?).as_secs_f64();
    Some(passed - place.offset.0 / lead.rate.hz())
}

/// The difference of the calendar clocks that most edges agree on; of several the smallest.
fn usual_difference(edges: &[Edge<'_>]) -> Option<f64> {
    let known: Vec<f64> = edges.iter().filter_map(|edge| edge.difference_s).collect();
    let agreeing = |own: f64| {
        known
            .iter()
            .filter(|&&d| (d - own).abs() <= SAME_DIFFERENCE_S)
            .count()
    };
    known.iter().copied().max_by(|&a, &b| {
        let smaller = || b.abs().total_cmp(&a.abs());
        agreeing(a).cmp(&agreeing(b)).then_with(smaller)
    })
}

/// Whether two edges cannot both be true: one unit would have recorded two takes at once.
fn are_rivals(a: &Edge<'_>, b: &Edge<'_>) -> bool {
    let together = |x: &Take, y: &Take| {
        by_stamps(x, y, 0).is_some_and(|place| place.overlap_s >= SHORTEST_OVERLAP_S)
    };
    match (a.joint == b.joint, std::ptr::eq(a.take, b.take)) {
        (true, false) => together(a.take, b.take),
        (false, true) => together(a.lead, b.lead),
        _ => false,
    }
}

fn words_for_clocks(pair: &Pair<'_>, usual_s: f64) -> Option<Finding> {
    if usual_s.abs() <= SET_ALIKE_S {
        return None;
    }
    let days = (usual_s / 86_400.0).round();
    let rest = usual_s - days * 86_400.0;
    let value = match days.abs() {
        d if d < 1.0 => format!("{usual_s:+.0} s"),
        _ => format!("{days:+.0} days and {rest:+.0} s"),
    };
    Some(
        Finding::new(
            "calendars-differ",
            Weight::Note,
            "the units' dates and times of day are not set alike; paired by stamps",
        )
        .at(pair.place())
        .measured(value, format!("within {SET_ALIKE_S} s"))
        .because("a unit's date was never set, or it is in another time zone")
        .then("set date and time on every unit before the next shoot"),
    )
}

fn words_for_rivals(edge: &Edge<'_>, rival: &Edge<'_>) -> Finding {
    let other = match std::ptr::eq(edge.take, rival.take) {
        true => "another take of the lead".to_string(),
        false => rival.take.place(),
    };
    Finding::new(
        "pairing-ambiguous",
        Weight::Ask,
        "two takes of one unit claim the same time; the dates do not tell which is right",
    )
    .at(format!("{} and {}", edge.lead.place(), edge.take.place()))
    .measured(format!("so does {other}"), "one take at a time")
    .because(
        "recordings of two days with the same time of day, or a unit whose timecode was set back",
    )
    .then("put each day's recordings into folders of their own")
}

fn words_for_other_day(edge: &Edge<'_>, usual: Option<f64>) -> Finding {
    let apart = edge
        .difference_s
        .zip(usual)
        .map_or(0.0, |(own, usual)| (own - usual) / 86_400.0);
    Finding::new(
        "paired-over-days",
        Weight::Ask,
        "the stamps agree, but by their dates these takes are of different days",
    )
    .at(format!("{} and {}", edge.lead.place(), edge.take.place()))
    .measured(
        format!("{apart:+.1} days more than the other takes of these units"),
        "0 days",
    )
    .then("decide whether they belong together")
}
