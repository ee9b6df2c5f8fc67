//! A day's joint takes and what was built of them in, the sound report out: one set of data, for a machine as JSON and for
//! people as one sheet. What nobody wrote down stays empty.

mod page;

use serde::Serialize;

use super::csv::SoundReportEntry;
use super::{JudgedGroup, Output, say};
use crate::alignment::Placement;
use crate::build::TakeQuality;
use crate::error::{Error, Kind, Result};
use crate::units::distinct;

pub use page::sound_report_html;

/// A day's sound report.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SoundReport {
    /// `commontime-sound-report`.
    pub format: &'static str,
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
    /// The joint takes, in order.
    pub takes: Vec<ReportedTake>,
}

/// A unit of the day.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ReportedUnit {
    /// Its name.
    pub name: String,
    /// The most channels that a take of it has.
    pub channels: usize,
    /// How many takes of it came into joint takes.
    pub takes: usize,
}

/// A joint take of the day.
#[derive(Debug, Clone, PartialEq, Serialize)]
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
    /// How good they are.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub quality: Option<TakeQuality>,
    /// The groups that were declared, judged.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub groups: Vec<JudgedGroup>,
}

/// A file of the recording.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ReportedFile {
    /// Its name.
    pub path: String,
    /// Its size.
    pub bytes: u64,
    /// Its digest, the digest's name in front.
    pub digest: String,
    /// How samples are stored, in words.
    pub encoding: String,
    /// Samples per channel.
    pub length_samples: u64,
}

/// A channel of a file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ReportedTrack {
    /// The file.
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
    /// How its samples came there.
    pub came_as: &'static str,
}

impl SoundReport {
    /// The report of a day.
    #[must_use]
    pub fn of(made_by: &str, entries: &[SoundReportEntry<'_>]) -> Self {
        let takes: Vec<ReportedTake> = entries.iter().map(|entry| take(*entry)).collect();
        let every = |of: fn(&ReportedTake) -> &String| {
            let values = takes.iter().map(of).filter(|value| !value.is_empty());
            distinct(values.cloned())
        };
        let outputs = entries.iter().filter_map(|entry| entry.output);
        let productions = outputs.map(|output| field(output, "project"));
        Self {
            format: "commontime-sound-report",
            version: 1,
            made_by: made_by.into(),
            productions: distinct(productions.filter(|name| !name.is_empty())),
            dates: every(|take| &take.date),
            rolls: every(|take| &take.roll),
            units: units(entries),
            takes,
        }
    }

    /// As JSON, ending with a line feed.
    ///
    /// # Errors
    /// When a number is none.
    pub fn to_json(&self) -> Result<String> {
        let text = serde_json::to_string_pretty(self);
        text.map(|text| text + "\n").map_err(|error| {
            Error::new(Kind::Format, "the sound report cannot be written").from_source(error)
        })
    }
}

/// What a recording's files say under a name, once.
fn field(output: &Output, name: &str) -> String {
    let mut fields = output.files.iter().flat_map(|file| &file.fields);
    let found = fields.find(|field| field[0] == name);
    found.map_or(String::new(), |field| field[1].clone())
}

fn units(entries: &[SoundReportEntry<'_>]) -> Vec<ReportedUnit> {
    let mut units: Vec<ReportedUnit> = Vec::new();
    for member in entries.iter().flat_map(|entry| &entry.joint_take.members) {
        let channels = member.channels.len();
        match units.iter_mut().find(|unit| unit.name == member.unit) {
            Some(unit) => {
                unit.channels = unit.channels.max(channels);
                unit.takes += 1;
            }
            None => units.push(ReportedUnit {
                name: member.unit.clone(),
                channels,
                takes: 1,
            }),
        }
    }
    units
}

fn take(entry: SoundReportEntry<'_>) -> ReportedTake {
    let joint = entry.joint_take;
    let said = |name: &str| {
        entry
            .output
            .map_or(String::new(), |output| field(output, name))
    };
    let first = entry.output.map_or(0, |output| output.first_lead_position);
    let placed = |wanted: bool| {
        let members = joint.members.iter();
        let members = members.filter(|member| (member.placement != Placement::NotPlaced) == wanted);
        distinct(members.map(|member| member.unit.clone()))
    };
    let files = entry.output.map_or(&[][..], |output| &output.files);
    let start = joint.start.samples_since_midnight;
    ReportedTake {
        name: joint.name.clone(),
        scene: said("scene"),
        take: said("take"),
        circled: said("circled"),
        note: said("note"),
        roll: said("tape"),
        date: joint.start.date.clone(),
        start_label: if first == 0 {
            joint.start.timecode.clone()
        } else {
            String::new()
        },
        start_samples: start.and_then(|start| start.checked_add_signed(first)),
        frame_rate: joint.start.frame_rate.clone(),
        drop_frame: joint.start.drop_frame,
        sample_rate: joint.sample_rate,
        length_samples: entry
            .output
            .map_or(joint.length_samples, |output| output.length_samples),
        lead: joint.lead.clone(),
        units: placed(true),
        not_placed: placed(false),
        files: files
            .iter()
            .map(|file| ReportedFile {
                path: file.path.clone(),
                bytes: file.bytes,
                digest: file.digest.clone(),
                encoding: file.encoding.clone(),
                length_samples: file.length_samples,
            })
            .collect(),
        tracks: files
            .iter()
            .flat_map(|file| file.channels.iter().map(move |channel| (file, channel)))
            .map(|(file, channel)| ReportedTrack {
                file: file.path.clone(),
                number: channel.number,
                name: channel.name.clone(),
                unit: channel.unit.clone(),
                unit_channel: channel.source_channel,
                group: channel.group.clone(),
                came_as: say::came_as(channel),
            })
            .collect(),
        quality: entry.output.and_then(|output| output.quality.clone()),
        groups: entry
            .output
            .map_or(Vec::new(), |output| output.groups.clone()),
    }
}

#[cfg(test)]
mod tests;
