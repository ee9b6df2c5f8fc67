//! A survey in, the units' settings side by side out, each difference with its consequence and its remedy.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use super::{Survey, Take, Timecode, Unit};
use crate::finding::{Finding, Warned, Weight};

/// Stands between several values of one unit.
const BETWEEN: &str = " / ";
/// Stands where a unit writes nothing about a setting.
const NOT_WRITTEN: &str = "not written";
/// The setting that units may keep to themselves.
const PROCESSING: &str = "limiter, filter";
/// The most names that clash are named one by one.
const NAMED: usize = 6;

/// One setting of all units.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SettingsRow {
    /// What is set.
    pub name: String,
    /// One value a unit, in the order of the survey; several values on one unit are joined with " / ".
    pub values: Vec<String>,
    /// Whether the units differ where they should not.
    pub differs: bool,
    /// What the difference does, in words; empty when there is none.
    pub consequence: String,
}

/// The settings table and a finding for every difference.
#[must_use]
pub fn settings_table(survey: &Survey) -> Warned<Vec<SettingsRow>> {
    let rows = [
        Rule {
            name: "sampling rate",
            value: |take| take.rate.to_string(),
            consequence: "takes of different nominal rates are not brought together",
            remedy: "set every unit to the lead's sampling rate",
            weight: Some(Weight::Warn),
        },
        Rule {
            name: "sample format",
            value: Take::encoding,
            consequence: "the recording is written in the format that loses nothing of either",
            remedy: "set every unit to the same bit depth",
            weight: Some(Weight::Warn),
        },
        Rule {
            name: "timecode rate",
            value: |take| match take.stamp.as_ref().and_then(|stamp| stamp.counting) {
                Some(counting) => counting.rate().to_string(),
                None => NOT_WRITTEN.into(),
            },
            consequence: "the same label means different samples on the units",
            remedy: "set every unit to one timecode rate; 30 non-drop serves for sound without picture (common \
                     practice, no source)",
            weight: Some(Weight::Warn),
        },
        Rule {
            name: "drop-frame",
            value: |take| match take.stamp.as_ref().and_then(|stamp| stamp.counting) {
                Some(counting) if counting.drop_frame() => "yes".into(),
                Some(_) => "no".into(),
                None => NOT_WRITTEN.into(),
            },
            // ST 12-1, 5.2: 108 labels an hour, at 29.97 108 * 1001 / 30000 s
            consequence: "the same label means different samples: 3.6036 s more for every hour of the day",
            remedy: "set every unit to the same counting",
            weight: Some(Weight::Warn),
        },
        Rule {
            name: PROCESSING,
            value: |take| match take.notes.processing.as_str() {
                "" => NOT_WRITTEN.into(),
                processing => processing.into(),
            },
            consequence: "a limiter that looks ahead or a filter delays its unit's sound by a constant that no stamp knows \
                          of, and a filter bends phase",
            remedy: "set limiters and filters alike on every unit, or calibrate these units in these modes",
            weight: Some(Weight::Warn),
        },
        Rule {
            name: "channels",
            value: |take| take.channels.len().to_string(),
            consequence: "",
            remedy: "",
            weight: None,
        },
        Rule {
            name: "files",
            value: layout,
            consequence: "",
            remedy: "",
            weight: None,
        },
        Rule {
            name: "stamp from",
            value: |take| {
                take.stamp
                    .as_ref()
                    .map_or("no stamp".into(), |stamp| stamp.source.into())
            },
            consequence: "",
            remedy: "",
            weight: None,
        },
    ];
    let mut findings = Vec::new();
    let mut table: Vec<SettingsRow> = rows
        .iter()
        .map(|rule| rule.row(survey, &mut findings))
        .collect();
    table.push(mode_row(survey));
    table.push(names_row(survey));
    table.push(SettingsRow {
        name: "stamps good to".into(),
        values: survey.units.iter().map(resolution).collect(),
        differs: false,
        consequence: String::new(),
    });
    Warned {
        value: table,
        findings,
    }
}

/// How a take's channels lie in its files.
fn layout(take: &Take) -> String {
    let set = take.parts.iter().any(|part| part.first_channel > 0);
    let split = take.parts.iter().any(|part| part.first_sample > 0);
    let layout = match set {
        true => "a set of files",
        false => "one file for all channels",
    };
    format!("{layout}{}", if split { ", split" } else { "" })
}

/// How many channels have a name, and whether two units gave one name.
fn names_row(survey: &Survey) -> SettingsRow {
    let named = |take: &Take| {
        let named = take.channels.iter().filter(|name| !name.is_empty()).count();
        match (named, take.channels.len()) {
            (0, _) => "none".into(),
            (named, all) if named == all => "all".into(),
            (named, all) => format!("{named} of {all}"),
        }
    };
    let consequence = clashing_names(survey);
    SettingsRow {
        name: "channels named".into(),
        values: survey.units.iter().map(|unit| each(unit, named)).collect(),
        differs: !consequence.is_empty(),
        consequence,
    }
}

/// A value of all takes of a unit.
fn each(unit: &Unit, value: impl Fn(&Take) -> String) -> String {
    let mut values: Vec<String> = unit.takes.iter().map(value).collect();
    values.sort();
    values.dedup();
    values.join(BETWEEN)
}

/// How each unit's timecode ran; the units' own findings say what to do.
fn mode_row(survey: &Survey) -> SettingsRow {
    let mode = |unit: &Unit| match unit.timecode {
        _ if unit.stamp_resolution.is_none() => String::new(),
        Timecode::Free => "on and on".to_string(),
        Timecode::RecordRun => "only while recording".into(),
        Timecode::Frozen => "stood still".into(),
    };
    let values: Vec<String> = survey.units.iter().map(mode).collect();
    let differs = survey
        .units
        .iter()
        .any(|unit| unit.timecode != Timecode::Free);
    SettingsRow {
        name: "timecode ran".into(),
        values,
        differs,
        consequence: match differs {
            true => "stamps of this unit do not say when; its takes are looked for by their sound"
                .into(),
            false => String::new(),
        },
    }
}

/// Channels of different units that have one name; empty when there are none.
fn clashing_names(survey: &Survey) -> String {
    let mut owners: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for unit in &survey.units {
        let names = unit.takes.iter().flat_map(|take| &take.channels);
        for name in names.filter(|name| !name.is_empty()) {
            owners.entry(name).or_default().insert(&unit.name);
        }
    }
    owners.retain(|_, units| units.len() > 1);
    let mut shown: Vec<String> = owners.keys().take(NAMED).map(ToString::to_string).collect();
    if owners.len() > NAMED {
        shown.push(format!("{} more", owners.len() - NAMED));
    }
    match shown.is_empty() {
        true => String::new(),
        false => format!(
            "{} on several units; the recording puts the unit's name before it",
            shown.join(", ")
        ),
    }
}

fn resolution(unit: &Unit) -> String {
    let Some((samples, many)) = unit.stamp_resolution else {
        return "no stamps".into();
    };
    let first = unit.takes.iter().find(|take| take.stamp.is_some());
    let rate = first.map_or(0.0, |take| take.rate.hz());
    let unit = match samples {
        1.0 => "1 sample".into(),
        samples if samples == rate => format!("1 s ({samples} samples)"),
        samples if samples * 1000.0 == rate => format!("1 ms ({samples} samples)"),
        samples => format!("1 timecode frame ({samples} samples)"),
    };
    format!(
        "{unit}, by {many} stamp{}",
        if many == 1 { "" } else { "s" }
    )
}

struct Rule {
    name: &'static str,
    value: fn(&Take) -> String,
    consequence: &'static str,
    remedy: &'static str,
    weight: Option<Weight>,
}

impl Rule {
    fn row(&self, survey: &Survey, findings: &mut Vec<Finding>) -> SettingsRow {
        let values: Vec<String> = survey
            .units
            .iter()
            .map(|unit| each(unit, self.value))
            .collect();
        // who writes nothing about a limiter may well have one
        let told = |value: &&String| {
            let silent = self.name == PROCESSING && value.as_str() == NOT_WRITTEN;
            !value.is_empty() && !silent
        };
        let filled: Vec<&String> = values.iter().filter(told).collect();
        let mixed = values.iter().any(|value| value.contains(BETWEEN));
        let differs =
            self.weight.is_some() && (mixed || filled.windows(2).any(|pair| pair[0] != pair[1]));
        if let (true, Some(weight)) = (differs, self.weight) {
            let each = survey.units.iter().zip(&values);
            let shown: Vec<String> = each
                .map(|(unit, value)| format!("{} {value}", unit.name))
                .collect();
            findings.push(
                Finding::new(
                    &format!("{}-differs", self.name.replace(", ", "-").replace(' ', "-")),
                    weight,
                    format!(
                        "the units are not set alike: {}; {}",
                        self.name, self.consequence
                    ),
                )
                .measured(shown.join(", "), "one value on all units")
                .then(self.remedy),
            );
        }
        let consequence = if differs {
            self.consequence.into()
        } else {
            String::new()
        };
        SettingsRow {
            name: self.name.into(),
            values,
            differs,
            consequence,
        }
    }
}
