//! A take's files in, its sound out: one clock over split parts and sets of mono files; what no file holds reads as silence.

use std::fs::File;
use std::path::PathBuf;
use std::sync::Arc;

use serde::Serialize;
use wave::WaveFile;

use crate::error::{Error, Kind, Result};
use crate::media;
use crate::signal::Sound;
use crate::units::{SampleCount, SampleRate};

/// One file of a take.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct TakePart {
    /// Where it is.
    pub path: PathBuf,
    /// The take position of its first sample.
    pub first_sample: u64,
    /// Its length, samples per channel.
    pub length: u64,
    /// The take's channel (0-based) that its first channel is.
    pub first_channel: usize,
    /// How many channels it has.
    pub channels: usize,
}

/// The sound of a take, read from its files.
pub struct TakeSound {
    rate: SampleRate,
    channels: usize,
    length: SampleCount,
    parts: Vec<(TakePart, WaveFile<Arc<File>>)>,
}

impl TakeSound {
    /// Opens every file of a take.
    ///
    /// # Errors
    /// When a file cannot be opened or is not what it was when the take was found.
    pub fn open(parts: &[TakePart]) -> Result<Self> {
        let mut opened = Vec::new();
        let mut rate = None;
        for part in parts {
            let file = WaveFile::open(media::open(&part.path)?)
                .map_err(|error| wave_error(&error).at(&part.path))?;
            let header = file.header();
            let found = (usize::from(header.format.channels), header.length);
            if found != (part.channels, part.length) {
                return Err(Error::new(
                    Kind::Format,
                    format!(
                        "has changed: {} channels of {} samples, expected {} of {}",
                        found.0, found.1, part.channels, part.length
                    ),
                )
                .at(&part.path)
                .then("measure again with `commontime align`"));
            }
            rate.get_or_insert(SampleRate(header.format.sample_rate));
            opened.push((part.clone(), file));
        }
        let rate = rate.ok_or_else(|| Error::new(Kind::Usage, "a take without files"))?;
        Ok(Self {
            rate,
            channels: parts
                .iter()
                .map(|part| part.first_channel + part.channels)
                .max()
                .unwrap_or(0),
            length: SampleCount(
                parts
                    .iter()
                    .map(|part| part.first_sample + part.length)
                    .max()
                    .unwrap_or(0),
            ),
            parts: opened,
        })
    }

    /// The header of the first file.
    #[must_use]
    pub fn header(&self) -> &wave::Header {
        self.parts[0].1.header()
    }
}

impl Sound for TakeSound {
    fn rate(&self) -> SampleRate {
        self.rate
    }

    fn channels(&self) -> usize {
        self.channels
    }

    fn length(&self) -> SampleCount {
        self.length
    }

    fn read(&self, channels: &[usize], start: i64, out: &mut [&mut [f64]]) -> Result<()> {
        let length = out.first().map_or(0, |plane| plane.len()) as i64;
        out.iter_mut().for_each(|plane| plane.fill(0.0));
        for (part, file) in &self.parts {
            let first = part.first_sample as i64;
            let from = start.max(first);
            let to = (start + length).min(first + part.length as i64);
            let here: Vec<usize> = (0..channels.len())
                .filter(|&i| {
                    (part.first_channel..part.first_channel + part.channels).contains(&channels[i])
                })
                .collect();
            if from >= to || here.is_empty() {
                continue;
            }
            let inside = (from - start) as usize..(to - start) as usize;
            let wanted: Vec<usize> = here
                .iter()
                .map(|&i| channels[i] - part.first_channel)
                .collect();
            let mut planes: Vec<&mut [f64]> = out
                .iter_mut()
                .enumerate()
                .filter(|(i, _)| here.contains(i))
                .map(|(_, plane)| &mut plane[inside.clone()])
                .collect();
            file.read(&wanted, (from - first) as u64, &mut planes)
                .map_err(|error| wave_error(&error).at(&part.path))?;
        }
        Ok(())
    }
}

/// The engine's error for the wave crate's, without a path.
pub(crate) fn wave_error(error: &wave::Error) -> Error {
    let kind = match error {
        wave::Error::Io(_) => Kind::Io,
        wave::Error::Malformed(_) => Kind::Format,
        wave::Error::Unsupported(_) => Kind::Unsupported,
    };
    Error::new(kind, error.to_string())
}
