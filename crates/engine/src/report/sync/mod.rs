//! A day's joint takes and what was built of them in, the sync report out: how every follower came to its place and how
//! good that is, for a machine as JSON and as a table, for people as one paper.

mod follower;
mod words;
mod paper;
mod table;
#[cfg(test)]
mod tests;

use serde::{Deserialize, Serialize};

use super::{MeasuredAgain, Output, say};
use crate::alignment::{Alignment, Basis, CommonLevel, JointTake, Role, Slip, Status};
use crate::error::Result;
use crate::plain::Plain;

/// The value of `format` in every sync report.
pub const SYNC_REPORT: &str = "commontime-sync-report";

const PLAIN: Plain = Plain {
    what: "sync report",
    format: SYNC_REPORT,
    version: 1,
    give: "give a sync-report.json that `build`, `join` or `report` wrote",
    newer: "use the program that made it, or build again",
};

/// A day's sync report.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SyncReport {
    /// Always [`SYNC_REPORT`].
    pub format: String,
    /// 1.
    pub version: u32,
    /// The program and its version.
    pub made_by: String,
    /// The joint takes, in order.
    pub takes: Vec<SyncedTake>,
}

/// A joint take.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SyncedTake {
    /// Its name.
    pub name: String,
    /// The day that it began on, `YYYY-MM-DD`; empty when unknown.
    pub date: String,
    /// The label of the lead's first sample; empty without timecode.
    pub start_label: String,
    /// Samples a second, the lead's.
    pub sample_rate: u32,
    /// The lead's length, samples.
    pub length_samples: u64,
    /// The lead.
    pub lead: String,
    /// Which rule chose it, in words.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub lead_rule: String,
    /// The files of the recording; empty where nothing was built.
    pub files: Vec<String>,
    /// One plain paragraph for whoever receives the recording.
    pub in_words: String,
    /// Its followers.
    pub followers: Vec<SyncedFollower>,
}

/// A follower of a joint take. Signs as everywhere: offset positive when it started later, rate positive when its clock
/// runs fast.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SyncedFollower {
    /// The unit.
    pub unit: String,
    /// Its take.
    pub take: String,
    /// What its place rests on.
    pub basis: Basis,
    /// Whether the place is known.
    pub status: Status,
    /// What may be claimed of it, in words.
    pub claim: String,
    /// The lead position of its first sample, with one sigma and the bound that the claim allows, samples; absent when it is
    /// not established.
    pub offset: Option<Offset>,
    /// Its clock against the lead's; absent when it was not measured.
    pub rate: Option<Rate>,
    /// The clock's shape: seconds since the lead's first sample, lag, lag without the mean rate, one sigma; samples.
    pub curve: Vec<[f64; 4]>,
    /// Samples missing from or doubled in its file.
    pub slips: Vec<Slip>,
    /// How its samples came to the recording: `exact`, `resampled` or `not-placed`.
    pub came_as: String,
    /// What a person decided about it, in words; empty when nothing was.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub decision: String,
    /// The follower through which it was placed; empty for the lead itself.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub through: String,
    /// The ties its clock rests on.
    pub ties: Ties,
    /// Rings over three units that it is in.
    pub closures: Vec<Closure>,
    /// Its level on the common signal.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub common_level: Option<CommonLevel>,
    /// How far it still is from the lead, measured on the finished files.
    pub residuals: Vec<MeasuredAgain>,
    /// How far it may lie from its true place at worst, seconds; absent when it is not established.
    pub worst_s: Option<f64>,
    /// Uses together with the lead's channels that this is good enough for, and those that it is not.
    pub good_for: Vec<String>,
    /// The others.
    pub not_good_for: Vec<String>,
}

/// A place on the lead.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Offset {
    /// The lead position of the first sample.
    pub samples: f64,
    /// One sigma.
    pub sigma_samples: f64,
    /// What the claim allows, plus or minus.
    pub bound_samples: f64,
}

/// A clock's mean rate against the lead's.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Rate {
    /// Parts per million; positive: fast.
    pub ppm: f64,
    /// One sigma.
    pub sigma_ppm: f64,
    /// What it comes to over the take, samples.
    pub over_take_samples: f64,
}

/// The ties a clock rests on.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Ties {
    /// How many there are.
    pub found: usize,
    /// How many it follows.
    pub used: usize,
    /// Their scatter about it, root mean square, samples.
    pub scatter_samples: f64,
}

/// A ring over three units: two followers measured on each other against what their places say.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Closure {
    /// Which ring.
    pub ring: String,
    /// What is left.
    pub value: f64,
    /// What may be.
    pub limit: f64,
    /// Whether it closes.
    pub closes: bool,
}

impl SyncReport {
    /// The report of a day; `outputs` holds what was built of each joint take.
    #[must_use]
    pub fn of(alignment: &Alignment, outputs: &[Option<Output>]) -> Self {
        let entries = alignment.joint_takes.iter().zip(outputs);
        Self {
            format: SYNC_REPORT.into(),
            version: PLAIN.version,
            made_by: alignment.made_by.clone(),
            takes: entries
                .map(|(joint, output)| take(joint, output.as_ref()))
                .collect(),
        }
    }

    /// Several reports as one.
    #[must_use]
    pub fn merged(reports: Vec<Self>) -> Option<Self> {
        let mut reports = reports.into_iter();
        let mut all = reports.next()?;
        all.takes.extend(reports.flat_map(|one| one.takes));
        let key = |take: &SyncedTake| (take.date.clone(), take.start_label.clone());
        all.takes.sort_by_key(key);
        Some(all)
    }

    /// Reads a sync report's JSON.
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

fn take(joint: &JointTake, output: Option<&Output>) -> SyncedTake {
    let members = joint.members.iter();
    let followers = members.filter(|member| member.role == Role::Follower);
    let mut take = SyncedTake {
        name: joint.name.clone(),
        date: joint.start.date.clone(),
        start_label: joint.start.timecode.clone(),
        sample_rate: say::rate_of(joint).0,
        length_samples: joint.length_samples,
        lead: joint.lead.clone(),
        lead_rule: joint.lead_rule.clone(),
        files: output.map_or(Vec::new(), |output| {
            output.files.iter().map(|file| file.path.clone()).collect()
        }),
        in_words: String::new(),
        followers: followers
            .map(|member| follower::follower(member, joint, output))
            .collect(),
    };
    take.in_words = words::in_words(&take);
    take
}
