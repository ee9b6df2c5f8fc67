//! Joint takes in, a word about every take that ran alone and every unit that never ran with the lead out.

use super::place::by_stamps;
use super::{Joint, SHORTEST_OVERLAP_S, is_joined};
use crate::finding::{Finding, Weight};
use crate::take::{Survey, Take, Unit};

pub(super) fn find(
    survey: &Survey,
    lead: &Unit,
    joints: &[Joint<'_>],
    broken_off: &[&Take],
    findings: &mut Vec<Finding>,
) {
    let together = |take: &Take| {
        let mut own = joints.iter().filter(|joint| std::ptr::eq(joint.lead, take));
        own.any(|joint| !joint.followers.is_empty()) || is_joined(joints, take)
    };
    for unit in survey
        .units
        .iter()
        .filter(|unit| unit.name != lead.name && !unit.takes.is_empty())
    {
        if !unit.takes.iter().any(together) {
            findings.push(never(lead, unit));
        }
    }
    for take in survey.units.iter().flat_map(|unit| &unit.takes) {
        let told = broken_off.iter().any(|other| std::ptr::eq(*other, take));
        if !told && !together(take) {
            findings.push(alone(survey, take));
        }
    }
}

/// A unit none of whose takes ran with any of the lead's.
fn never(lead: &Unit, unit: &Unit) -> Finding {
    let nearest = unit
        .takes
        .iter()
        .flat_map(|take| lead.takes.iter().map(move |own| (own, take)));
    let nearest = nearest
        .filter_map(|(own, take)| Some((between(own, take)?, own, take)))
        .min_by(|a, b| a.0.total_cmp(&b.0));
    let finding = Finding::new(
        "never-together",
        Weight::Stop,
        "no take of this unit ran with any of the lead's",
    )
    .at(unit.name.clone());
    match nearest {
        Some((between_s, own, take)) => finding
            .measured(
                format!("nearest are {} and {}, {} apart by their stamps", own.place(), take.place(), time(between_s)),
                format!("an overlap of {SHORTEST_OVERLAP_S} s"),
            )
            .because("cards of different days, a unit whose timecode was not linked, or one in another time zone")
            .then("check the date and the timecode of both units; tie the takes by hand if they belong together"),
        None => finding
            .measured("no stamps to compare", "stamps on both units")
            .then("tie the takes by hand, or record with linked timecode"),
    }
}

/// A take that ran with no other unit's.
fn alone(survey: &Survey, take: &Take) -> Finding {
    let others = survey.units.iter().filter(|unit| unit.name != take.unit);
    let nearest = others
        .flat_map(|unit| &unit.takes)
        .filter_map(|near| Some((between(take, near)?, near)))
        .min_by(|a, b| a.0.total_cmp(&b.0));
    let finding = Finding::new(
        "ran-alone",
        Weight::Warn,
        "not joined: no take of another unit was found for this one",
    )
    .at(take.place());
    match nearest {
        Some((between_s, near)) if between_s > -SHORTEST_OVERLAP_S => finding.measured(
            format!(
                "nearest is {}, {} away by the stamps",
                near.place(),
                time(between_s)
            ),
            format!("an overlap of {SHORTEST_OVERLAP_S} s"),
        ),
        Some((between_s, near)) => finding.measured(
            format!("{} ran during {} of it", near.place(), time(-between_s)),
            "a take of the lead",
        ),
        None => finding
            .because("there are no stamps to compare")
            .then("record with linked timecode"),
    }
}

/// Time between two takes by their stamps, seconds; below 0: how long both ran.
fn between(a: &Take, b: &Take) -> Option<f64> {
    Some(-by_stamps(a, b, 0)?.overlap_s)
}

/// A time in words that suit its size.
fn time(seconds: f64) -> String {
    let whole = seconds.abs().round() as u64;
    match whole {
        0..60 => format!("{seconds:.1} s"),
        60..3600 => format!("{} min {} s", whole / 60, whole % 60),
        _ => format!("{} h {} min", whole / 3600, whole / 60 % 60),
    }
}
