//! Report and alignment files in, the day's two reports out: of a day that was put together in pieces, one.

use serde::Deserialize;

use super::{SOUND_REPORT, SYNC_REPORT, SoundReport, SyncReport};
use crate::alignment::{Alignment, FORMAT};
use crate::error::{Error, Kind, Result};

/// A day's two reports.
#[derive(Debug, Clone, PartialEq)]
pub struct DayReports {
    /// What there is.
    pub sound: SoundReport,
    /// How it came to its place.
    pub sync: SyncReport,
}

/// One file that says something of a day.
#[derive(Debug, Clone, PartialEq)]
pub enum DayFile {
    /// A sound report.
    Sound(SoundReport),
    /// A sync report.
    Sync(SyncReport),
    /// An alignment: what was measured, before anything was built.
    Measured(Box<Alignment>),
}

impl DayFile {
    /// Reads a file's text.
    ///
    /// # Errors
    /// [`Kind::Format`] with what was found, when it is none of the three.
    pub fn from_json(text: &str) -> Result<Self> {
        #[derive(Deserialize)]
        struct Head {
            format: String,
        }
        let expected =
            "give alignment.json, sound-report.json or sync-report.json, or the folder they lie in";
        let head: Head = serde_json::from_str(text).map_err(|error| {
            Error::new(
                Kind::Format,
                format!("is no report and no alignment: {error}"),
            )
            .then(expected)
        })?;
        match head.format.as_str() {
            SOUND_REPORT => Ok(Self::Sound(SoundReport::from_json(text)?)),
            SYNC_REPORT => Ok(Self::Sync(SyncReport::from_json(text)?)),
            FORMAT => Ok(Self::Measured(Box::new(Alignment::from_json(text)?))),
            other => Err(Error::new(
                Kind::Format,
                format!("is no report and no alignment: format {other:?}"),
            )
            .then(expected)),
        }
    }
}

impl DayReports {
    /// The reports of all files together.
    ///
    /// # Errors
    /// [`Kind::Usage`] when there is nothing of one of the two, or when a recording is in two of the same kind.
    pub fn of(files: Vec<DayFile>) -> Result<Self> {
        let (mut sound, mut sync) = (Vec::new(), Vec::new());
        for file in files {
            match file {
                DayFile::Sound(one) => sound.push(one),
                DayFile::Sync(one) => sync.push(one),
                DayFile::Measured(alignment) => {
                    let nothing_built = vec![None; alignment.joint_takes.len()];
                    sound.push(SoundReport::of(&alignment, &nothing_built));
                    sync.push(SyncReport::of(&alignment, &nothing_built));
                }
            }
        }
        let lacking = |what: &str| {
            Error::new(Kind::Usage, format!("no {what} is among the files"))
                .then("give both reports of a day, the folder they lie in, or the alignment file")
        };
        let day = Self {
            sound: SoundReport::merged(sound).ok_or_else(|| lacking("sound report"))?,
            sync: SyncReport::merged(sync).ok_or_else(|| lacking("sync report"))?,
        };
        let mut names: Vec<&str> = day
            .sound
            .takes
            .iter()
            .map(|take| take.name.as_str())
            .collect();
        names.sort_unstable();
        match names.windows(2).find(|pair| pair[0] == pair[1]) {
            Some(twice) => Err(Error::new(
                Kind::Usage,
                format!("the recording {} is in two of the files", twice[0]),
            )
            .then("give each day's reports once")),
            None => Ok(day),
        }
    }

    /// The paragraphs for whoever receives the recordings.
    #[must_use]
    pub fn in_words(&self) -> String {
        let takes = self.sync.takes.iter();
        let words: Vec<&str> = takes.map(|take| take.in_words.as_str()).collect();
        words.join("\n\n")
    }
}
