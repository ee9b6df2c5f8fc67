//! A session worked out in, what a person should know before the shoot out: sources without inputs, groups across units and
//! what that costs, weak common signals, clocks, media, batteries.

use super::drift::Drift;
use super::{PlannedUse, UnitSheet, proof};
use crate::finding::{Finding, Weight};
use crate::history::History;
use crate::report::short_time;
use crate::session::{Plan, PlannedGroup, Session, Wired, plan};
use crate::units::{capital, counted, distinct};

/// The highest rate that units record at. Common practice, no source.
const HIGHEST_RATE_HZ: u32 = 192_000;

/// All of it, gravest first.
pub(super) fn all(
    session: &Session,
    groups: &[PlannedUse],
    drift: &[Drift],
    units: &[UnitSheet],
    history: &History,
) -> Vec<Finding> {
    let mut findings = Vec::new();
    findings.extend((0..session.units.len()).filter_map(|unit| idle(session, unit)));
    findings.extend(places(session));
    for (group, judged) in session.planned.iter().zip(groups) {
        findings.extend(crossing(session, group, judged));
    }
    if units.len() > 1 {
        findings.extend(proof::findings(session));
    }
    findings.extend(drift.iter().filter_map(|one| one.finding(session)));
    findings.extend(drift.iter().flat_map(|one| one.doubts(session)));
    findings.extend(drift.iter().filter_map(|one| unknown(one, history)));
    for unit in units {
        findings.extend(unit.storage.findings(&unit.name));
    }
    if session.shoot.sample_rate.0 > HIGHEST_RATE_HZ {
        let rate = session.shoot.sample_rate;
        findings.push(
            Finding::new(
                "rate-unusual",
                Weight::Warn,
                format!("{rate} is more than units record"),
            )
            .measured(rate.to_string(), format!("at most {HIGHEST_RATE_HZ} Hz"))
            .then("check the units' manuals, or choose a lower rate"),
        );
    }
    if !session.plan.best {
        findings.push(Finding::new(
            "plan-not-exhaustive",
            Weight::Note,
            "not every way of placing the groups was tried: there may be a plan that keeps more of them together",
        ));
    }
    findings.sort_by_key(|finding| std::cmp::Reverse(finding.weight));
    findings
}

/// A unit that records nothing but the common signal.
fn idle(session: &Session, unit: usize) -> Option<Finding> {
    let mut inputs = session.plan.inputs[unit].iter();
    let used = inputs.any(|wired| matches!(wired, Wired::Source(_)));
    (!used).then(|| {
        Finding::new(
            "unit-without-source",
            Weight::Warn,
            "no source goes to this unit",
        )
        .at(&session.units[unit].name)
        .then("leave it at home, keep it as a spare, or give it a source with unit = \"...\"")
    })
}

/// That a history is given and knows nothing of a follower's clock.
fn unknown(drift: &Drift, history: &History) -> Option<Finding> {
    let clocks = history.clocks();
    (drift.known.is_none() && !clocks.is_empty()).then(|| {
        Finding::new(
            "clock-not-in-history",
            Weight::Note,
            format!(
                "the clock history has nothing of {} against the lead",
                drift.unit
            ),
        )
        .at(&drift.unit)
        .measured(
            format!("tests of {}", clocks.join(", ")),
            "the units' names as they stand in the session",
        )
        .then("correct the names in the history, or test this unit with commontime stability")
    })
}

/// Sources and common signals that found no input.
fn places(session: &Session) -> Vec<Finding> {
    let mut findings = Vec::new();
    let names = session.without_input();
    if !names.is_empty() {
        let inputs: u32 = session.units.iter().map(|unit| unit.inputs).sum();
        findings.push(
            Finding::new(
                "source-without-input",
                Weight::Stop,
                format!("no input is left for {}", names.join(", ")),
            )
            .measured(
                format!(
                    "{} and the common signal on {}",
                    counted(session.sources.len(), "source"),
                    counted(session.units.len(), "unit")
                ),
                format!("at most {inputs} inputs"),
            )
            .then("leave a source out, add a unit, or take a common signal that needs no input"),
        );
    }
    for unit in &session.plan.without_common {
        findings.push(
            Finding::new("common-without-input", Weight::Stop, "no input is left for the common signal")
                .at(&session.units[*unit].name)
                .then("let an input free: without the common signal nothing can be proven about this unit"),
        );
    }
    findings
}

/// What it costs that a group lies on several units, and whether it need be so.
fn crossing(session: &Session, group: &PlannedGroup, judged: &PlannedUse) -> Option<Finding> {
    if judged.units.len() < 2 {
        return None;
    }
    let weight = match (judged.good_enough, group.class.wants_one_unit()) {
        (true, false) => Weight::Note,
        _ => Weight::Warn,
    };
    let message = format!("the group lies on {}", judged.units.join(" and "));
    let next = match otherwise(session, group) {
        Some(way) => way,
        None if judged.good_enough => {
            "keep it on one unit if you can; else record the common signal through the whole take"
                .into()
        }
        None => "keep it on one unit, or plan a common signal that proves more".into(),
    };
    let error = short_time(judged.error_s);
    Some(
        Finding::new("group-crosses-units", weight, message)
            .at(&judged.name)
            .measured(
                format!("±{error} between its channels with the planned common signal"),
                format!(
                    "at most {} ({})",
                    short_time(judged.allowed_s),
                    judged.used_as
                ),
            )
            .then(next),
    )
}

/// Inputs for a group that would keep it on one unit, where only fixed inputs keep it from that.
fn otherwise(session: &Session, group: &PlannedGroup) -> Option<String> {
    let mut sources = session.sources.clone();
    for source in &group.sources {
        sources[*source].unit = None;
        sources[*source].input = None;
    }
    let shoot = &session.shoot;
    let other: Plan = plan(
        &session.units,
        session.lead,
        &sources,
        &session.planned,
        shoot.common,
    );
    let places: Vec<(usize, u32)> = (group.sources.iter())
        .filter_map(|source| other.place_of(*source))
        .collect();
    let whole = places.len() == group.sources.len() && other.unplaced.is_empty();
    let units = distinct(places.iter().map(|(unit, _)| *unit));
    let [unit] = units.as_slice() else {
        return None;
    };
    let inputs: Vec<String> = places.iter().map(|(_, input)| input.to_string()).collect();
    let name = &session.units[*unit].name;
    whole.then(|| {
        capital(&format!(
            "all of it would fit on {name}, inputs {}, if its fixed inputs were let free",
            inputs.join(", ")
        ))
    })
}
