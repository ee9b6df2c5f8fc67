//! Files in, takes out: what is on the cards, which files belong together, what the channels are called, how the units
//! were set.

mod scan;
mod assemble;
mod settings;
mod sound;
#[cfg(test)]
mod tests;

use std::path::PathBuf;

use serde::Serialize;
use timecode::Counting;

use crate::finding::Finding;
use crate::units::{SampleCount, SampleRate};

pub use scan::scan;
pub use settings::{SettingsRow, settings_table};
pub use sound::{TakePart, TakeSound};

/// What is on a set of cards.
#[derive(Debug, Clone, Serialize)]
pub struct Survey {
    /// One entry a unit, in the order of the cards.
    pub units: Vec<Unit>,
    /// The cards as given.
    pub cards: Vec<PathBuf>,
}

/// One unit: its name, its card and its takes.
#[derive(Debug, Clone, Serialize)]
pub struct Unit {
    /// The name used everywhere: upper case, unique.
    pub name: String,
    /// The folder or file its recordings are in.
    pub card: PathBuf,
    /// Its takes, by stamp where there is one, else by name.
    pub takes: Vec<Take>,
    /// What its stamps resolve, in samples, and on how many stamps that rests: 1, or a timecode frame when every stamp
    /// falls on one. `None` without stamps.
    pub stamp_resolution: Option<(f64, usize)>,
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
    /// What else the unit wrote.
    pub notes: Notes,
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
    /// User bits.
    pub ubits: String,
}

/// When a take's first sample was recorded.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Stamp {
    /// Samples since midnight at the take's rate.
    pub samples: u64,
    /// How labels are counted, where the unit says so.
    #[serde(skip)]
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

/// A finding as the wave crate's complaint gives it.
pub(crate) fn complaint_place(path: &std::path::Path, what: &wave::Complaint) -> String {
    format!(
        "{}, chunk {} at byte {}",
        path.display(),
        what.chunk,
        what.offset
    )
}

/// Findings that stop a file are made here so that every caller words them alike.
pub(crate) fn unreadable(path: &std::path::Path, error: &wave::Error) -> Finding {
    use crate::finding::Weight;
    let finding = Finding::new(
        "file-unreadable",
        Weight::Warn,
        "this file was left out: it cannot be read",
    )
    .then(
        "copy the card again; if the file stays unreadable, keep the card and do not record on it",
    );
    match error.complaint() {
        Some(what) => finding.at(complaint_place(path, what)).measured(
            what.found.clone(),
            format!("{} ({})", what.expected, what.clause),
        ),
        None => finding
            .at(path.display().to_string())
            .measured(error.to_string(), "a readable file"),
    }
}
