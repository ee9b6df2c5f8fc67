//! Files in, takes out: what is on the cards, which files belong together, what the channels are called, how the units
//! were set.

mod file;
mod stamp;
mod names;
mod processing;
mod sets;
mod parts;
mod learn;
mod whose;
mod scan;
mod settings;
mod sound;
#[cfg(test)]
mod tests;

use std::path::PathBuf;

use jiff::civil::DateTime;
use serde::{Serialize, Serializer};
use timecode::Counting;

use crate::finding::Finding;
use crate::units::{SampleCount, SampleRate};

pub(crate) use scan::refuse_nested;
pub use scan::scan;
pub use settings::{SettingsRow, settings_table};
pub use sound::{TakePart, TakeSound};
pub(crate) use sound::{chunk_of, wave_error};

/// What is on a set of cards.
#[derive(Debug, Clone, Serialize)]
pub struct Survey {
    /// One entry a unit, in the order of the cards.
    pub units: Vec<Unit>,
    /// The cards as given.
    #[serde(serialize_with = "crate::media::as_text::paths")]
    pub cards: Vec<PathBuf>,
}

/// One unit: its name, its card and its takes.
#[derive(Debug, Clone, Serialize)]
pub struct Unit {
    /// The name used everywhere: upper case, unique.
    pub name: String,
    /// The folders or files its recordings are in: one, unless it is known that several cards are of one unit.
    #[serde(serialize_with = "crate::media::as_text::paths")]
    pub cards: Vec<PathBuf>,
    /// Its takes, by stamp where there is one, else by name.
    pub takes: Vec<Take>,
    /// What its stamps resolve, in samples, and on how many stamps that rests: 1, or a timecode frame when every stamp
    /// falls on one. `None` without stamps.
    pub stamp_resolution: Option<(f64, usize)>,
    /// How its timecode ran between takes, and so whether stamps say when a take was recorded.
    pub timecode: Timecode,
}

/// How a unit's timecode ran between takes, as its stamps and calendar show.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Timecode {
    /// On and on: stamps say when a take was recorded.
    #[default]
    Free,
    /// Only while the unit recorded.
    RecordRun,
    /// Not at all: every take has the same stamp.
    Frozen,
}

impl Unit {
    /// Whether its stamps say when a take was recorded.
    #[must_use]
    pub fn stamps_tell(&self) -> bool {
        self.timecode == Timecode::Free
    }
}

/// One continuous recording on one unit.
#[derive(Debug, Clone, Serialize)]
pub struct Take {
    /// The unit's name.
    pub unit: String,
    /// The name of its first file without ending.
    pub name: String,
    /// Its files, in order.
    pub parts: Vec<TakePart>,
    /// Channel names in order; empty where the unit gave none.
    pub channels: Vec<String>,
    /// The nominal sampling rate.
    pub rate: SampleRate,
    /// Its length.
    pub length: SampleCount,
    /// Bits a sample as stored.
    pub bits: u16,
    /// Whether samples are floating point.
    pub float: bool,
    /// When its first sample was recorded.
    pub stamp: Option<Stamp>,
    /// Date as written, `yyyy-mm-dd`; empty when unknown.
    pub date: String,
    /// Time of day as written, `hh:mm:ss`; empty when unknown.
    pub time: String,
    /// Date and time together, by the unit's calendar clock: a hint, never a key. `None` unless both were written.
    #[serde(skip)]
    pub recorded: Option<DateTime>,
    /// What else the unit wrote.
    pub notes: Notes,
    /// Chunks of its first file that are not understood here; their bytes stay in the file.
    pub other_chunks: Vec<String>,
    /// What a person must decide before this take can be used; each stands among the survey's findings as well.
    pub undecided: Vec<Finding>,
}

/// What a unit wrote about a take, as it wrote it; empty where it wrote nothing.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Notes {
    /// Production.
    pub project: String,
    /// Scene.
    pub scene: String,
    /// Take.
    pub take: String,
    /// Sound roll.
    pub tape: String,
    /// Free text.
    pub note: String,
    /// Marked as good.
    pub circled: bool,
    /// What made the file.
    pub originator: String,
    /// The reference number its maker gave the file.
    pub reference: String,
    /// User bits.
    pub ubits: String,
    /// Limiters, filters and delays that were on, as far as the unit writes them.
    pub processing: String,
    /// The identity of the first file.
    pub file_uid: String,
}

/// When a take's first sample was recorded.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Stamp {
    /// Samples since midnight at the take's rate.
    pub samples: u64,
    /// How labels are counted, where the unit says so.
    #[serde(serialize_with = "counting_as_text")]
    pub counting: Option<Counting>,
    /// Which chunk it came from.
    pub source: &'static str,
}

/// A survey with what there is to say about it.
pub type Surveyed = crate::finding::Warned<Survey>;

impl Take {
    /// The length in seconds.
    #[must_use]
    pub fn seconds(&self) -> f64 {
        self.length.seconds(self.rate)
    }

    /// The label of the first sample; empty without stamp or frame rate.
    #[must_use]
    pub fn label(&self) -> String {
        let Some(stamp) = &self.stamp else {
            return String::new();
        };
        let Some(counting) = stamp.counting else {
            return String::new();
        };
        timecode::Label::of_samples(stamp.samples, self.rate.0, counting).to_string()
    }

    /// Seconds since midnight of the first sample by the stamp; `None` without one.
    #[must_use]
    pub fn stamp_seconds(&self) -> Option<f64> {
        Some(self.stamp.as_ref()?.samples as f64 / self.rate.hz())
    }

    /// Its unit and its name, as findings call it.
    #[must_use]
    pub fn place(&self) -> String {
        format!("{} {}", self.unit, self.name)
    }

    /// One of its channels (0-based) with its name, as findings call it.
    #[must_use]
    pub fn channel_place(&self, channel: usize) -> String {
        let name = self.channels.get(channel).filter(|name| !name.is_empty());
        let name = name.map(|name| format!(" ({name})")).unwrap_or_default();
        format!("{} channel {}{name}", self.place(), channel + 1)
    }

    /// How samples are stored, in words.
    #[must_use]
    pub fn encoding(&self) -> String {
        format!(
            "{}-bit {}",
            self.bits,
            if self.float { "float" } else { "integer" }
        )
    }
}

fn counting_as_text<S: Serializer>(
    counting: &Option<Counting>,
    serializer: S,
) -> Result<S::Ok, S::Error> {
    match counting {
        Some(counting) => serializer.collect_str(counting),
        None => serializer.serialize_none(),
    }
}
