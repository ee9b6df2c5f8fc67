//! What was measured, claimed and built in; text, HTML and CSV for people and their tables out. One file a format.

mod say;
mod fitness;
mod groups;
mod span;
mod overlay;
mod difference;
mod markup;
mod dress;
mod axis;
mod scene;
mod day_map;
mod strips;
mod plots;
mod lag;
mod html;
mod document;
mod screen;
mod print;
mod sheet;
mod sync;
mod day;
mod text;
mod typed;
mod timeline;
mod explain;
#[cfg(test)]
mod sample;

use serde::{Deserialize, Serialize};

pub use axis::{Axis, Scale, axis_around};
pub use day::{DayFile, DayReports};
pub use difference::{Band, Difference, difference};
pub use document::{Block, Cell, Document, Entry, Fact, Table};
pub use explain::{Built, explain};
pub use fitness::{Fitness, Use, first_null_hz};
pub use groups::{JudgedGroup, Verdict, group_findings, judge_groups};
pub use html::{
    STYLE, coverage_part, day_map_part, findings_part, follower_parts, html, settings_part,
    take_findings_part,
};
pub use markup::{Attributes, Markup};
pub use overlay::{Excerpt, Overlay, OverlayRequest, overlays};
pub use plots::{Drawing, Figure, Mark};
pub use print::{Faces, print};
pub use say::{claim_words, length_of_time, short_time, three_figures};
pub use screen::{screen, sections};
pub use sheet::{
    ReportedFile, ReportedRun, ReportedTake, ReportedTrack, ReportedUnit, SOUND_REPORT, SoundReport,
};
pub use sync::{Closure, Offset, Rate, SYNC_REPORT, SyncReport, SyncedFollower, SyncedTake, Ties};
pub use text::{alignment_text, joint_take_text};
pub use timeline::timeline;
pub use typed::typed;

use crate::alignment::{JointTake, Placement};
use crate::build::TakeQuality;
use crate::finding::Finding;
use crate::take::SettingsRow;

/// Everything the page of one joint take is made from. The members' own findings stand in the joint take.
#[derive(Debug, Clone, Copy)]
pub struct ReportInput<'a> {
    /// The program and its version.
    pub made_by: &'a str,
    /// What was measured and claimed.
    pub joint_take: &'a JointTake,
    /// The units' settings side by side.
    pub settings: Settings<'a>,
    /// What concerns more than one member: settings that differ, the build, the check of the result.
    pub findings: &'a [Finding],
    /// Lead and follower laid over each other, in the order in which they are to be shown.
    pub overlays: &'a [Overlay],
    /// What is left of followers' common signals when they are taken from the lead's.
    pub differences: &'a [Difference],
    /// What was built; absent when nothing was.
    pub output: Option<&'a Output>,
    /// The other pages of the same day.
    pub others: &'a [Link],
}

impl<'a> ReportInput<'a> {
    /// Of a joint take that was measured, before anything is built of it.
    #[must_use]
    pub fn measured(made_by: &'a str, joint_take: &'a JointTake) -> Self {
        Self {
            made_by,
            joint_take,
            settings: Settings::default(),
            findings: &[],
            overlays: &[],
            differences: &[],
            output: None,
            others: &[],
        }
    }
}

/// The units' settings side by side.
#[derive(Debug, Clone, Copy, Default)]
pub struct Settings<'a> {
    /// The units, in the order of each row's values.
    pub units: &'a [String],
    /// One row a setting.
    pub rows: &'a [SettingsRow],
}

/// Where another report is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Link {
    /// The joint take's name.
    pub name: String,
    /// The file, relative to this one.
    pub href: String,
}

/// What was built of one joint take.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Output {
    /// The lead position of the output's first sample; negative when the output begins before the lead did.
    pub first_lead_position: i64,
    /// The output's length in samples per channel.
    pub length_samples: u64,
    /// The files, in the order of their channels.
    pub files: Vec<OutputFile>,
    /// How far each follower still is from the lead, measured on these files; empty where nothing common is on them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub residuals: Vec<MeasuredAgain>,
    /// How good its channels are; absent when that was not measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub quality: Option<TakeQuality>,
    /// The groups that were declared, judged; empty when none were.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub groups: Vec<JudgedGroup>,
}

/// How far a follower is from the lead in the finished recording, at one place.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MeasuredAgain {
    /// The follower.
    pub unit: String,
    /// `start`, `middle` or `end`.
    pub place: String,
    /// Samples from the start of the recording.
    pub position: f64,
    /// Its lag behind the lead, samples.
    pub lag_samples: f64,
    /// One sigma of the lag.
    pub sigma_samples: f64,
}

/// One file that was built.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OutputFile {
    /// Its name or path.
    pub path: String,
    /// Its size in bytes.
    pub bytes: u64,
    /// Its digest with the digest's name in front, e.g. `xxh3:0123456789abcdef`.
    pub digest: String,
    /// The sample format in words, e.g. `32-bit float`.
    pub encoding: String,
    /// The lead position of its first sample.
    pub first_lead_position: i64,
    /// Its length in samples per channel.
    pub length_samples: u64,
    /// What stands in its metadata: name, value, by which rule.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub fields: Vec<[String; 3]>,
    /// Its channels, in order.
    pub channels: Vec<OutputChannel>,
}

/// One channel of a file that was built.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OutputChannel {
    /// 1-based place in its file.
    pub number: u32,
    /// Its name as written to the file; empty when it has none.
    pub name: String,
    /// The unit it comes from.
    pub unit: String,
    /// 1-based channel on that unit.
    pub source_channel: u32,
    /// The group it was put into; empty for none.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub group: String,
    /// Whether its samples are copies or resampled.
    pub placement: Placement,
    /// Whether they are the source's bit for bit: copies that were neither rounded nor changed in level.
    #[serde(default)]
    pub exact: bool,
    /// The largest sample, dB relative to full scale; absent when it was not measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub peak_dbfs: Option<f64>,
}
