//! Plain data in published formats: a value in, its JSON text out, and back; format and version are looked at before the
//! rest.

use serde::Serialize;
use serde::de::DeserializeOwned;

use crate::error::{Error, Kind, Result};

/// One of the program's own file formats.
#[derive(Debug, Clone, Copy)]
pub struct Plain {
    /// What such a file is called.
    pub what: &'static str,
    /// The value of its `format`.
    pub format: &'static str,
    /// The newest version that is read.
    pub version: u32,
    /// What to give instead of a file that is none.
    pub give: &'static str,
    /// What to do about a file of a newer version.
    pub newer: &'static str,
}

#[derive(serde::Deserialize)]
struct Head {
    format: String,
    version: u32,
}

impl Plain {
    /// Reads a file's text. Fields that are not known are passed over.
    ///
    /// # Errors
    /// [`Kind::Format`] with line and column, or when it is another format; [`Kind::Unsupported`] for a newer version.
    pub fn read<T: DeserializeOwned>(&self, text: &str) -> Result<T> {
        let head: Head = serde_json::from_str(text).map_err(|error| self.broken(error))?;
        if head.format != self.format {
            return Err(self.broken(format!(
                "format {:?}, expected {:?}",
                head.format, self.format
            )));
        }
        if head.version > self.version {
            return Err(Error::new(
                Kind::Unsupported,
                format!(
                    "was made by a newer program: version {}, at most {} is read",
                    head.version, self.version
                ),
            )
            .then(self.newer));
        }
        serde_json::from_str(text).map_err(|error| self.broken(error))
    }

    /// That a file is none of these.
    #[must_use]
    pub fn broken(&self, found: impl std::fmt::Display) -> Error {
        Error::new(Kind::Format, format!("is no {}: {found}", self.what)).then(self.give)
    }

    /// The text of a file, ending with a line feed.
    ///
    /// # Errors
    /// When a number is infinite or no number, which JSON cannot hold.
    pub fn write(&self, value: &impl Serialize) -> Result<String> {
        let text = serde_json::to_string_pretty(value);
        text.map(|text| text + "\n").map_err(|error| {
            Error::new(Kind::Format, format!("the {} cannot be written", self.what))
                .from_source(error)
        })
    }
}
