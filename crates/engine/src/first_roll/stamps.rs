//! The stamps of a first roll in, whether the units are linked out.

use crate::alignment::JointTake;
use crate::finding::{Finding, Weight};
use crate::take::{Survey, Take};

/// Takes of one roll begin within this of each other: nobody waits longer between two buttons. Common practice, no source.
const TOGETHER_S: f64 = 60.0;
/// How close to whole hours a difference lies that is a clock set wrongly, or never set from the other, seconds.
const WHOLE_HOUR_S: f64 = 120.0;
const DAY_S: f64 = 86_400.0;

/// What the stamps of the last takes say; `joint` tells whether they ran together for other reasons.
pub(super) fn findings(rolls: &Survey, joint: Option<&JointTake>) -> Vec<Finding> {
    let takes: Vec<&Take> = rolls
        .units
        .iter()
        .filter_map(|unit| unit.takes.first())
        .collect();
    let lead = joint.map(|joint| joint.lead.as_str());
    let first = takes
        .iter()
        .find(|take| lead.is_none_or(|lead| take.unit == lead));
    let Some(first) = first else {
        return Vec::new();
    };
    let mut findings = Vec::new();
    for take in &takes {
        let Some(own) = seconds(take) else {
            findings.push(
                Finding::new(
                    "no-stamp",
                    Weight::Warn,
                    "the take carries no timecode stamp",
                )
                .at(&take.unit)
                .because("timecode is switched off, or the unit writes none")
                .then("switch timecode on, or tie the day by a common signal alone"),
            );
            continue;
        };
        if let Some(lead) = seconds(first)
            && take.unit != first.unit
        {
            let apart = own - lead;
            let apart = apart - DAY_S * (apart / DAY_S).round();
            findings.extend(not_linked(take, first, apart));
        }
    }
    findings
}

fn not_linked(take: &Take, lead: &Take, apart_s: f64) -> Option<Finding> {
    if apart_s.abs() <= TOGETHER_S {
        return None;
    }
    let hours = (apart_s / 3600.0).round();
    let hourly = hours != 0.0 && (apart_s - 3600.0 * hours).abs() <= WHOLE_HOUR_S;
    let cause = match hourly {
        true => {
            "the follower's timecode still runs by its own clock or from its own start: the cable or the mode is not right"
        }
        false => "the timecode of the two units never met",
    };
    Some(
        Finding::new(
            "not-linked",
            Weight::Stop,
            format!("{} and {} are not linked by timecode", take.unit, lead.unit),
        )
        .at(&take.unit)
        .measured(
            format!("stamps {:.1} s apart ({} and {})", apart_s, take.label(), lead.label()),
            format!("{TOGETHER_S:.0} s and less"),
        )
        .because(cause)
        .then("check the timecode cable and its wiring by the units' own manuals, set the follower to take outside timecode, jam, and roll again"),
    )
}

fn seconds(take: &Take) -> Option<f64> {
    let stamp = take.stamp.as_ref()?;
    Some(stamp.samples as f64 / take.rate.hz())
}
