//! The calibrations file: its nouns, its text, and how an entry comes into it. Field names are a published contract; new
//! fields are optional.

use serde::{Deserialize, Serialize};

use super::modes::{SetUnit, differences};
use crate::error::Result;
use crate::plain::Plain;

/// The value of `format` in every calibrations file.
pub const FORMAT: &str = "commontime-calibrations";
/// The version this program writes and the newest it reads.
pub const VERSION: u32 = 1;

const PLAIN: Plain = Plain {
    what: "calibrations file",
    format: FORMAT,
    version: VERSION,
    give: "give the file that `commontime calibrate --store FILE` wrote",
    newer: "use the program that made it, or calibrate again",
};

/// A whole file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Calibrations {
    /// Always [`FORMAT`].
    pub format: String,
    /// The version of the format, [`VERSION`].
    pub version: u32,
    /// The program and its version that wrote it last.
    pub made_by: String,
    /// One entry a pair of units in their modes.
    pub entries: Vec<Entry>,
}

/// One pair of units in their modes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// The unit whose clock it was measured against.
    pub lead: SetUnit,
    /// The other one.
    pub follower: SetUnit,
    /// The offset as measured on a common signal less the offset by the stamps, samples; positive: the follower starts
    /// later than the stamps say.
    pub constant_samples: f64,
    /// One standard deviation of it, the rounding of the stamps included.
    pub sigma_samples: f64,
    /// How many takes it rests on.
    pub takes: u32,
    /// Standard deviation of one take about the mean, samples; 0 for one take.
    pub scatter_samples: f64,
    /// The date of the last take, `yyyy-mm-dd`; empty when unknown.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub date: String,
    /// What a person noted with it: limiters, filters, firmware.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub note: String,
    /// The takes it rests on, by name.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sources: Vec<String>,
}

impl Entry {
    /// Whether it concerns the same two units in the same modes.
    #[must_use]
    pub fn is_same(&self, other: &Self) -> bool {
        let same = |a: &SetUnit, b: &SetUnit| a.is_unit(b) && differences(a, b).is_empty();
        let straight = same(&self.lead, &other.lead) && same(&self.follower, &other.follower);
        let turned = same(&self.lead, &other.follower) && same(&self.follower, &other.lead);
        straight || turned
    }

    /// The constant with its sigma, in words.
    #[must_use]
    pub fn words(&self) -> String {
        format!(
            "{:+.2} ± {:.2} samples",
            self.constant_samples, self.sigma_samples
        )
    }
}

impl Calibrations {
    /// A file without entries.
    #[must_use]
    pub fn new(made_by: &str) -> Self {
        Self {
            format: FORMAT.into(),
            version: VERSION,
            made_by: made_by.into(),
            entries: Vec::new(),
        }
    }

    /// Takes an entry in; gives back the one that it replaced, of the same units in the same modes.
    pub fn insert(&mut self, entry: Entry) -> Option<Entry> {
        let known = self.entries.iter().position(|known| known.is_same(&entry));
        match known {
            Some(index) => Some(std::mem::replace(&mut self.entries[index], entry)),
            None => {
                self.entries.push(entry);
                None
            }
        }
    }

    /// Reads a calibrations file's text. Fields that are not known are passed over.
    ///
    /// # Errors
    /// [`Kind::Format`](crate::Kind::Format) with line and column, when it is another format or holds a number that is none;
    /// [`Kind::Unsupported`](crate::Kind::Unsupported) for a newer version.
    pub fn from_json(text: &str) -> Result<Self> {
        let read: Self = PLAIN.read(text)?;
        let wrong = read.entries.iter().find(|entry| {
            !entry.constant_samples.is_finite()
                || !entry.sigma_samples.is_finite()
                || entry.sigma_samples < 0.0
        });
        match wrong {
            Some(entry) => Err(PLAIN.broken(format!(
                "the entry of {} and {} holds no sound constant",
                entry.lead.unit, entry.follower.unit
            ))),
            None => Ok(read),
        }
    }

    /// The text of the calibrations file.
    ///
    /// # Errors
    /// When a number is infinite or no number, which JSON cannot hold.
    pub fn to_json(&self) -> Result<String> {
        PLAIN.write(self)
    }
}
