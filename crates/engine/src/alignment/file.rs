//! The alignment file: its nouns, and nothing else. Field names are a published contract; new fields are optional.

use serde::{Deserialize, Serialize};

use crate::finding::{Finding, Sign};
use crate::take::SettingsRow;

/// The value of `format` in every alignment file.
pub const FORMAT: &str = "commontime-alignment";
/// The version this program writes and the newest it reads.
pub const VERSION: u32 = 1;

/// A whole alignment: every joint take of a set of cards.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Alignment {
    /// Always [`FORMAT`].
    pub format: String,
    /// The version of the format, [`VERSION`].
    pub version: u32,
    /// The program and its version.
    pub made_by: String,
    /// The joint takes, in order of their start.
    pub joint_takes: Vec<JointTake>,
    /// What concerns no joint take: takes that ran alone, files that could not be read, settings that differ.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub findings: Vec<Finding>,
    /// The units' settings side by side, for the report.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub settings: Option<SettingsTable>,
    /// Takes that ran with no other unit's, for the map of the day.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub alone: Vec<AloneTake>,
}

/// A take that is in no joint take.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct AloneTake {
    /// The unit.
    pub unit: String,
    /// The take's name on its unit.
    pub take: String,
    /// The date the unit wrote, `yyyy-mm-dd`; empty when unknown.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub date: String,
    /// Its stamp, in samples since midnight at its own rate; absent when it has none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub samples_since_midnight: Option<u64>,
    /// Samples a second.
    pub sample_rate: u32,
    /// Its length, samples.
    pub length_samples: u64,
}

/// The units' settings side by side, as they were when the takes were measured.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SettingsTable {
    /// The units, in the order of each row's values.
    pub units: Vec<String>,
    /// One row a setting.
    pub rows: Vec<SettingsRow>,
}

/// The takes of several units that ran together and become one recording.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct JointTake {
    /// The name of the output, without extension.
    pub name: String,
    /// The lead's nominal sampling rate, in samples a second.
    pub sample_rate: u32,
    /// The unit whose clock everything is put on.
    pub lead: String,
    /// Which rule chose the lead, in words.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub lead_rule: String,
    /// The lead's length, samples.
    pub length_samples: u64,
    /// When the lead's first sample was recorded.
    pub start: Start,
    /// The lead first, then the followers.
    pub members: Vec<Member>,
}

/// When the lead's first sample was recorded.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Start {
    /// The lead's stamp in samples since midnight at the joint take's rate; absent when the lead has none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub samples_since_midnight: Option<u64>,
    /// The same as a label, `hh:mm:ss:ff` or `hh:mm:ss;ff`; empty when the frame rate is unknown.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub timecode: String,
    /// The timecode frame rate as a fraction, e.g. `30000/1001`; empty when unknown.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub frame_rate: String,
    /// Whether labels are counted drop-frame.
    pub drop_frame: bool,
    /// The date the lead wrote, `yyyy-mm-dd`; empty when unknown.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub date: String,
}

/// Whether a member is the lead.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// The unit whose clock everything is put on.
    Lead,
    /// A unit that is put on the lead's clock.
    Follower,
}

/// What an offset rests on (design section 5).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Basis {
    /// The same electrical signal found on both units.
    CommonSignal,
    /// Timecode recorded on a track of both units.
    TimecodeTrack,
    /// A stored offset for this pair of units in these modes.
    Calibration,
    /// The units' stamps; content agrees within the declared microphone distance.
    Stamps,
    /// Content of different microphones; stamps absent or contradicted.
    Acoustic,
    /// A person's own tie.
    Manual,
    /// Nothing reliable.
    None,
}

/// Whether a member's place is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Status {
    /// The place is known within its bound.
    Established,
    /// A person must decide.
    NeedsDecision,
    /// Nothing reliable was found; nothing is shifted.
    NotEstablished,
}

/// How a member's samples come to the output.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Placement {
    /// Copied bit for bit at an integer shift.
    Exact,
    /// Resampled along the clock.
    Resampled,
    /// Not in the output.
    NotPlaced,
}

/// One unit's take in a joint take.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Member {
    /// The unit's name.
    pub unit: String,
    /// Lead or follower.
    pub role: Role,
    /// The take's name on its unit.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub take: String,
    /// The take's length on its own clock, samples.
    pub length_samples: u64,
    /// The take's nominal sampling rate; absent when equal to the joint take's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sample_rate: Option<u32>,
    /// The files the take is stored in.
    pub parts: Vec<Part>,
    /// The take's channels, in order.
    pub channels: Vec<Channel>,
    /// What the offset rests on.
    pub basis: Basis,
    /// Whether the place is known.
    pub status: Status,
    /// The lead position of this member's sample 0.
    pub offset_samples: f64,
    /// One standard deviation of the offset, samples.
    pub offset_sigma_samples: f64,
    /// What the claim allows (design section 5); never smaller than three sigma.
    pub offset_bound_samples: f64,
    /// `1e6 * (dk/dn - 1)`, the mean over the take.
    pub rate_ppm: f64,
    /// One standard deviation of the rate.
    pub rate_sigma_ppm: f64,
    /// Whether the rate was measured; `false` means that the nominal rate was assumed.
    #[serde(default)]
    pub rate_measured: bool,
    /// The clock: follower position -> lead position, first and last sample included.
    pub knots: Vec<[f64; 2]>,
    /// Samples missing from, or doubled in, the file.
    #[serde(default)]
    pub slips: Vec<Slip>,
    /// How the samples come to the output.
    pub placement: Placement,
    /// What a person should know about this member.
    #[serde(default)]
    pub findings: Vec<Finding>,
    /// What a person decided about it after it was measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub decision: Option<Decision>,
    /// What the numbers above rest on, for `explain` and the report.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub evidence: Option<Evidence>,
}

/// What a person decided about a member after it was measured.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Decision {
    /// What was decided.
    pub what: Decided,
    /// Why, in the person's own words; may be empty.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub reason: String,
    /// Status and placement as they were measured, so that the decision can be taken back.
    pub before: (Status, Placement),
}

/// What can be decided.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Decided {
    /// The place stands as it was measured.
    Accepted,
    /// The unit's take does not come into the recording.
    LeftOut,
}

/// One file of a take.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Part {
    /// Where the file is.
    pub path: String,
    /// The take position of the file's first sample.
    pub first_sample: u64,
    /// The file's length, samples per channel.
    pub length_samples: u64,
    /// The take's channel (1-based) that the file's first channel is; 1 for polyphonic files.
    #[serde(default = "one", skip_serializing_if = "is_one")]
    pub first_channel: u32,
    /// `xxh3:` and 16 hexadecimal digits over the file's size, its first and its last 64 KiB: enough to notice that it is
    /// not the file that was measured. Empty when it was not read.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub digest: String,
}

/// One channel of a take.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Channel {
    /// 1-based place in the take.
    pub index: u32,
    /// The name the unit gave it; empty when it gave none.
    #[serde(default)]
    pub name: String,
}

/// Samples missing from, or doubled in, a unit's file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Slip {
    /// The follower position at which the slip happened.
    pub at_sample: u64,
    /// Negative: that many are missing from the file; positive: that many too many.
    pub samples: f64,
    /// One standard deviation of the size.
    pub sigma_samples: f64,
}

/// What a member's numbers rest on.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Evidence {
    /// How the numbers came about, sentence by sentence, in plain words.
    pub story: Vec<String>,
    /// The signs that were asked for agreement, with value and limit.
    pub signs: Vec<Sign>,
    /// The ties, in order of lead position.
    pub ties: Vec<TieRecord>,
    /// The clock's uncertainty along the take: `[lead position, sigma in samples]`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub band: Vec<[f64; 2]>,
    /// Scatter of the used ties about the clock, root mean square, samples.
    pub residual_rms_samples: f64,
    /// Other places that fit almost as well: `[offset in samples, score relative to the best]`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub candidates: Vec<[f64; 2]>,
    /// Level and polarity on the common signal; absent without one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub common_level: Option<CommonLevel>,
    /// The follower through which this one was placed; absent when it was measured against the lead itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub through: Option<String>,
}

/// How strong, and which way round, a follower recorded a common signal. It concerns these two channels only; the gains
/// of other inputs were not compared, and nothing is changed in the recording.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CommonLevel {
    /// The unit the follower is compared with: the lead, or the follower it was placed through.
    pub against: String,
    /// That unit's channel, 1-based.
    pub lead_channel: u32,
    /// The follower's channel, 1-based.
    pub follower_channel: u32,
    /// The follower's level against the other's, dB; below 0: weaker.
    pub level_db: f64,
    /// One standard deviation of the level, dB.
    pub level_sigma_db: f64,
    /// Whether the two are of opposite polarity.
    pub inverted: bool,
}

/// One tie as kept in the file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TieRecord {
    /// The instant on the lead, samples.
    pub lead: f64,
    /// The same instant on the follower, samples.
    pub follower: f64,
    /// One standard deviation, samples.
    pub sigma: f64,
    /// Whether the clock follows it.
    pub used: bool,
    /// Where it came from, e.g. `common-signal 6=6`.
    pub source: String,
}

fn one() -> u32 {
    1
}

fn is_one(value: &u32) -> bool {
    *value == 1
}
