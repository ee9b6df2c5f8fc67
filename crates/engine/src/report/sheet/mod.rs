//! A day's joint takes and what was built of them in, the sound report out: one set of data, for a machine as JSON and as a
//! table, for people as one paper. What nobody wrote down stays empty.

mod take;
mod paper;
mod table;
#[cfg(test)]
mod tests;

use serde::{Deserialize, Serialize};

use super::{JudgedGroup, Output};
use crate::alignment::{Alignment, JointTake, SettingsTable};
use crate::build::TakeQuality;
use crate::error::Result;
use crate::plain::Plain;
use crate::units::distinct;

/// The value of `format` in every sound report.
pub const SOUND_REPORT: &str = "commontime-sound-report";

const PLAIN: Plain = Plain {
    what: "sound report",
    format: SOUND_REPORT,
    version: 1,
    give: "give a sound-report.json that `build`, `join` or `report` wrote",
    newer: "use the program that made it, or build again",
};

/// A day's sound report.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SoundReport {
    /// Always [`SOUND_REPORT`].
    pub format: String,
    /// 1.
    pub version: u32,
    /// The program and its version.
    pub made_by: String,
    /// What the files' metadata call the production; every name that occurs.
    pub productions: Vec<String>,
    /// The days that the takes began on, `YYYY-MM-DD`.
    pub dates: Vec<String>,
    /// The rolls.
    pub rolls: Vec<String>,
    /// The units with their numbers of channels.
    pub units: Vec<ReportedUnit>,
    /// The units' settings side by side, one table a set of cards.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub settings: Vec<SettingsTable>,
    /// The joint takes, in order.
    pub takes: Vec<ReportedTake>,
    /// When every take of every unit ran, those that ran alone too.
    #[serde(default)]
    pub runs: Vec<ReportedRun>,
}

/// A unit of the day.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ReportedUnit {
    /// Its name.
    pub name: String,
    /// The most channels that a take of it has.
    pub channels: usize,
    /// How many takes of it came into joint takes.
    pub takes: usize,
}

/// When a take ran.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ReportedRun {
    /// The unit.
    pub unit: String,
    /// The day that it began on, `YYYY-MM-DD`; empty when unknown.
    pub date: String,
    /// When it began, seconds since midnight by the lead's timecode, or its own where it ran alone; absent without.
    pub start_s: Option<f64>,
    /// How long it ran, seconds.
    pub length_s: f64,
    /// The joint take that it is in; empty for a take that ran alone.
    pub recording: String,
}

/// A joint take of the day.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ReportedTake {
    /// Its name.
    pub name: String,
    /// Scene, take, circled (`yes`, `no` or empty), note and roll, as they stand in the files.
    pub scene: String,
    /// Which attempt.
    pub take: String,
    /// Whether it is to be used.
    pub circled: String,
    /// What was noted.
    pub note: String,
    /// Which roll.
    pub roll: String,
    /// The day that it began on, `YYYY-MM-DD`.
    pub date: String,
    /// The label of the recording's first sample, where it begins with the lead.
    pub start_label: String,
    /// The same in samples since midnight.
    pub start_samples: Option<u64>,
    /// Labels a second, `30/1`; empty without timecode.
    pub frame_rate: String,
    /// Whether labels are dropped.
    pub drop_frame: bool,
    /// Samples a second.
    pub sample_rate: u32,
    /// Samples per channel; the lead's take where nothing was built.
    pub length_samples: u64,
    /// The lead.
    pub lead: String,
    /// Units that are in the recording.
    pub units: Vec<String>,
    /// Units whose place is not established.
    pub not_placed: Vec<String>,
    /// The files; empty where nothing was built.
    pub files: Vec<ReportedFile>,
    /// The channels of the files, in order.
    pub tracks: Vec<ReportedTrack>,
    /// Recorded channels that are in no file.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub left_out: Vec<ReportedTrack>,
    /// How good they are.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub quality: Option<TakeQuality>,
    /// The groups that were declared, judged.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub groups: Vec<JudgedGroup>,
}

/// A file of the recording.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ReportedFile {
    /// Its name.
    pub path: String,
    /// Its size.
    pub bytes: u64,
    /// Its digest, the digest's name in front.
    pub digest: String,
    /// How samples are stored, in words.
    pub encoding: String,
    /// The label of its first sample, where it begins with the lead.
    #[serde(default)]
    pub start_label: String,
    /// The same in samples since midnight.
    #[serde(default)]
    pub start_samples: Option<u64>,
    /// Samples per channel.
    pub length_samples: u64,
}

/// A recorded channel.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct ReportedTrack {
    /// The file; empty when it is in none.
    pub file: String,
    /// 1-based place in it.
    pub number: u32,
    /// Its name.
    pub name: String,
    /// The unit it comes from.
    pub unit: String,
    /// 1-based channel of that unit.
    pub unit_channel: u32,
    /// Its group; empty for none.
    pub group: String,
    /// How its samples came there: `exact`, `copied`, `resampled` or `not-placed`.
    pub came_as: String,
    /// The files of the unit's card that hold it.
    #[serde(default)]
    pub sources: Vec<String>,
    /// What its unit's place rests on; `lead` for the lead.
    #[serde(default)]
    pub basis: String,
    /// The lead position of its unit's first sample.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub offset_samples: Option<f64>,
    /// How good that is, plus or minus.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bound_samples: Option<f64>,
    /// How fast its unit's clock ran against the lead's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rate_ppm: Option<f64>,
    /// Its level against the lead's on the common signal, dB; only at the channel that has it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub common_level_db: Option<f64>,
    /// Whether it is of opposite polarity there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub common_inverted: Option<bool>,
    /// Samples missing from (-) or doubled in (+) the unit's file: `-441@57600000; +8@60000000`.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub slips: String,
}

impl SoundReport {
    /// The report of a day; `outputs` holds what was built of each joint take.
    #[must_use]
    pub fn of(alignment: &Alignment, outputs: &[Option<Output>]) -> Self {
        let entries = alignment.joint_takes.iter().zip(outputs);
        let takes = entries.map(|(joint, output)| take::take(joint, output.as_ref()));
        let outputs = outputs.iter().flatten();
        let productions = outputs.map(|output| take::field(output, "project"));
        Self {
            format: SOUND_REPORT.into(),
            version: PLAIN.version,
            made_by: alignment.made_by.clone(),
            productions: distinct(productions.filter(|name| !name.is_empty())),
            dates: Vec::new(),
            rolls: Vec::new(),
            units: units(&alignment.joint_takes),
            settings: alignment.settings.iter().cloned().collect(),
            takes: takes.collect(),
            runs: take::runs(alignment),
        }
        .summed()
    }

    /// Several reports as one: of a day that was put together in pieces.
    #[must_use]
    pub fn merged(reports: Vec<Self>) -> Option<Self> {
        let mut reports = reports.into_iter();
        let mut all = reports.next()?;
        for one in reports {
            all.productions.extend(one.productions);
            all.settings.extend(one.settings);
            all.takes.extend(one.takes);
            all.runs.extend(one.runs);
            for unit in one.units {
                add_unit(&mut all.units, unit);
            }
        }
        all.productions = distinct(std::mem::take(&mut all.productions));
        all.settings.dedup();
        let key = |take: &ReportedTake| (take.date.clone(), take.start_samples);
        all.takes.sort_by_key(key);
        Some(all.summed())
    }

    /// With the days and rolls of its takes.
    fn summed(mut self) -> Self {
        let every = |of: fn(&ReportedTake) -> &String| {
            let values = self.takes.iter().map(of).filter(|value| !value.is_empty());
            distinct(values.cloned())
        };
        (self.dates, self.rolls) = (every(|take| &take.date), every(|take| &take.roll));
        self
    }

    /// Reads a sound report's JSON.
    ///
    /// # Errors
    /// [`Kind::Format`](crate::Kind::Format) with line and column, [`Kind::Unsupported`](crate::Kind::Unsupported) for a
    /// newer version.
    pub fn from_json(text: &str) -> Result<Self> {
        PLAIN.read(text)
    }

    /// As JSON, ending with a line feed.
    ///
    /// # Errors
    /// When a number is none.
    pub fn to_json(&self) -> Result<String> {
        PLAIN.write(self)
    }
}

fn units(takes: &[JointTake]) -> Vec<ReportedUnit> {
    let mut units: Vec<ReportedUnit> = Vec::new();
    for member in takes.iter().flat_map(|take| &take.members) {
        let unit = ReportedUnit {
            name: member.unit.clone(),
            channels: member.channels.len(),
            takes: 1,
        };
        add_unit(&mut units, unit);
    }
    units
}

fn add_unit(units: &mut Vec<ReportedUnit>, one: ReportedUnit) {
    match units.iter_mut().find(|unit| unit.name == one.name) {
        Some(unit) => {
            unit.channels = unit.channels.max(one.channels);
            unit.takes += one.takes;
        }
        None => units.push(one),
    }
}
