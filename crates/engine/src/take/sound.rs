//! A take's files in, its sound out: one clock over split parts and sets of mono files; what no file holds reads as silence.

use std::fs::File;
use std::path::{Path, PathBuf};
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
    #[serde(serialize_with = "crate::media::as_text::path")]
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

/// The sound of a take, read from its files, from any place by any number of threads. The files stay open as long as it
/// lives.
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
    /// [`Kind::Io`] when a file cannot be opened, [`Kind::Format`] or [`Kind::Unsupported`] when it is no wave file or not
    /// what it was when the take was found, [`Kind::Usage`] when there is no file or a position is beyond all files.
    pub fn open(parts: &[TakePart]) -> Result<Self> {
        let mut opened = Vec::new();
        let mut sound = Self {
            rate: SampleRate(0),
            channels: 0,
            length: SampleCount(0),
            parts: Vec::new(),
        };
        for part in parts {
            let file = WaveFile::open(media::open(&part.path)?)
                .map_err(|error| wave_error(error).at(&part.path))?;
            let format = &file.header().format;
            let found = (usize::from(format.channels), file.header().length);
            if found != (part.channels, part.length) {
                return Err(changed(
                    part,
                    &format!("{} channels of {} samples", found.0, found.1),
                    &format!("{} of {}", part.channels, part.length),
                ));
            }
            let rate = SampleRate(format.sample_rate);
            if !opened.is_empty() && rate != sound.rate {
                return Err(changed(part, &rate.to_string(), &sound.rate.to_string()));
            }
            // positions are signed 64-bit numbers, and a file knows at most 65535 channels
            let end = part.first_sample.checked_add(part.length);
            let end = end.filter(|&end| i64::try_from(end).is_ok());
            let width = part.first_channel.checked_add(part.channels);
            let (Some(end), Some(width)) = (end, width) else {
                let message = "the take position of this file is beyond any recording";
                return Err(Error::new(Kind::Usage, message).at(&part.path));
            };
            sound.rate = rate;
            sound.length = SampleCount(sound.length.0.max(end));
            sound.channels = sound.channels.max(width);
            opened.push((part.clone(), file));
        }
        if opened.is_empty() {
            return Err(Error::new(Kind::Usage, "a take without files"));
        }
        sound.parts = opened;
        Ok(sound)
    }

    /// The header of the first file.
    #[must_use]
    pub fn header(&self) -> &wave::Header {
        self.parts[0].1.header()
    }
}

fn changed(part: &TakePart, found: &str, expected: &str) -> Error {
    Error::new(
        Kind::Format,
        format!("has changed: {found}, expected {expected}"),
    )
    .at(&part.path)
    .then("measure again with `commontime align`")
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
        let length = out.iter().map(|plane| plane.len()).min().unwrap_or(0);
        let end = start.saturating_add(i64::try_from(length).unwrap_or(i64::MAX));
        // one file that has all of it overwrites everything
        let whole = self.parts.iter().any(|(part, _)| {
            let first = part.first_sample as i64;
            let wide = channels.iter().all(|&channel| {
                (part.first_channel..part.first_channel + part.channels).contains(&channel)
            });
            wide && first <= start && end <= first + part.length as i64
        });
        if !whole {
            out.iter_mut().for_each(|plane| plane.fill(0.0));
        }
        for (part, file) in &self.parts {
            // `open` made sure that the part's positions fit
            let first = part.first_sample as i64;
            let (from, to) = (start.max(first), end.min(first + part.length as i64));
            if from >= to {
                continue;
            }
            let inside = (from - start) as usize..(to - start) as usize;
            let mut wanted = Vec::with_capacity(channels.len());
            let mut planes: Vec<&mut [f64]> = Vec::with_capacity(channels.len());
            for (&channel, plane) in channels.iter().zip(out.iter_mut()) {
                let here = channel.checked_sub(part.first_channel);
                if let Some(here) = here.filter(|&here| here < part.channels) {
                    wanted.push(here);
                    planes.push(&mut plane[inside.clone()]);
                }
            }
            if !wanted.is_empty() {
                file.read(&wanted, (from - first) as u64, &mut planes)
                    .map_err(|error| wave_error(error).at(&part.path))?;
            }
        }
        Ok(())
    }
}

/// A chunk of a file with its bytes, at most `most` of them.
///
/// # Errors
/// When the file cannot be read.
pub(crate) fn chunk_of(
    header: &wave::Header,
    path: &Path,
    entry: &wave::ChunkEntry,
    most: usize,
) -> Result<wave::Chunk> {
    let payload = match &entry.payload {
        Some(payload) => payload.clone(),
        None => header
            .read_chunk(&media::open(path)?, entry, most)
            .map_err(|error| wave_error(error).at(path))?,
    };
    Ok(wave::Chunk {
        id: entry.id,
        payload,
    })
}

/// The engine's error for the wave crate's, without a path.
pub(crate) fn wave_error(error: wave::Error) -> Error {
    let kind = match error {
        wave::Error::Io(_) => Kind::Io,
        wave::Error::Malformed(_) => Kind::Format,
        wave::Error::Unsupported(_) => Kind::Unsupported,
    };
    let message = match kind {
        Kind::Io => "cannot be read",
        Kind::Format => "is damaged or no wave file",
        _ => "is a wave file of a kind that is not supported",
    };
    Error::new(kind, message).from_source(error)
}
