//! Written files in, what they hold out: decoded by the reader instead of the writer and compared with what was meant.
//! Mostly while the file is still being written, through the system's memory; or, when that is asked for, once everything
//! is on the medium, past the system's cache.

use std::fs::File;
use std::ops::Range;
use std::path::Path;
use std::sync::Arc;
use std::sync::mpsc::Receiver;

use twox_hash::XxHash3_128;
use wave::{Header, read_exact_at};

use super::in_order::{Spare, in_order};
use super::plan::{Plan, PlannedFile};
use super::write::{DraftFile, as_bytes};
use crate::error::{Error, Kind, Result};
use crate::media;
use crate::output::{ANYWHERE, Aligned, OnMedium, ReadBack};
use crate::progress::Progress;
use crate::signal::{LevelMeter, Levels};
use crate::take::wave_error;

/// Exact zeros in a row that count as digital silence: a tenth of a second. Common practice, no source.
const SILENCE_S: f64 = 0.1;

/// Bytes that are read at a time: enough for a medium to be quick, little enough to be decoded in the cache.
const PIECE: usize = 1 << 20;

/// What was read back of one file.
pub(super) struct Verified {
    pub(super) hash: u128,
    /// For every channel, xxh3-128 of its values, and its levels.
    pub(super) channels: Vec<(u128, Levels)>,
    /// How far reading back went.
    pub(super) how: ReadBack,
}

/// A file as far as it was read back.
struct Reading<'p> {
    planned: &'p PlannedFile,
    hash: XxHash3_128,
    channels: Vec<(XxHash3_128, LevelMeter)>,
}

impl<'p> Reading<'p> {
    fn new(planned: &'p PlannedFile) -> Self {
        let rate = f64::from(planned.spec.format.sample_rate);
        let meter = LevelMeter::new((SILENCE_S * rate) as u64);
        Self {
            planned,
            hash: XxHash3_128::new(),
            channels: vec![(XxHash3_128::new(), meter); planned.channels.len()],
        }
    }

    /// Takes the next audio bytes with their values.
    fn take(&mut self, bytes: &[u8], planes: &[Vec<f64>]) {
        self.hash.write(bytes);
        for ((digest, meter), plane) in self.channels.iter_mut().zip(planes) {
            digest.write(as_bytes(plane));
            meter.add(plane);
        }
    }

    /// Compares everything with what was meant.
    fn finish(
        self,
        plan: &Plan<'_>,
        header: &Header,
        written: &[u128],
        how: ReadBack,
    ) -> Result<Verified> {
        compare_header(self.planned, header)?;
        let channels: Vec<(u128, Levels)> = self
            .channels
            .into_iter()
            .map(|(digest, meter)| (digest.finish_128(), meter.finish()))
            .collect();
        for ((digest, _), (meant, &index)) in channels
            .iter()
            .zip(written.iter().zip(&self.planned.channels))
        {
            if digest != meant {
                let message = format!(
                    "channel {} reads back otherwise than it was written",
                    plan.channels[index].name
                );
                return Err(differs(message, &self.planned.name));
            }
        }
        Ok(Verified {
            hash: self.hash.finish_128(),
            channels,
            how,
        })
    }
}

/// Decodes audio bytes of a file, whole samples of all channels.
fn decode(planned: &PlannedFile, bytes: &[u8], planes: &mut Vec<Vec<f64>>) -> Result<()> {
    let format = &planned.spec.format;
    let all: Vec<usize> = (0..planned.channels.len()).collect();
    planes.resize_with(all.len(), Vec::new);
    for plane in planes.iter_mut() {
        plane.resize(bytes.len() / format.block_bytes(), 0.0);
    }
    let mut slices: Vec<&mut [f64]> = planes.iter_mut().map(Vec::as_mut_slice).collect();
    format
        .decode(bytes, &all, &mut slices)
        .map_err(|error| wave_error(error).at(&planned.name))?;
    Ok(())
}

fn unread(planned: &PlannedFile, error: std::io::Error) -> Error {
    Error::new(Kind::Io, "cannot be read back")
        .at(&planned.name)
        .from_source(error)
}

/// A file that is read back close behind its writer, whose sizes stand in it from the first byte on.
pub(super) struct Behind<'p> {
    reading: Reading<'p>,
    file: Arc<File>,
    /// Bytes before the audio as they were first read.
    head: Vec<u8>,
    /// Up to where it was read.
    at: u64,
    bytes: Vec<u8>,
    planes: Vec<Vec<f64>>,
}

impl<'p> Behind<'p> {
    /// Opens a file of which `head` bytes are written.
    pub(super) fn open(planned: &'p PlannedFile, path: &Path, head: u64) -> Result<Self> {
        let mut behind = Self {
            reading: Reading::new(planned),
            file: media::open(path)?,
            head: vec![0; usize::try_from(head).unwrap_or(usize::MAX)],
            at: head,
            bytes: Vec::new(),
            planes: Vec::new(),
        };
        read_exact_at(&behind.file, &mut behind.head, 0).map_err(|error| unread(planned, error))?;
        behind.reading.hash.write(&behind.head);
        Ok(behind)
    }

    /// Reads the next `length` bytes of audio, which are written.
    fn follow(&mut self, length: usize) -> Result<()> {
        self.bytes.resize(length, 0);
        read_exact_at(&self.file, &mut self.bytes, self.at)
            .map_err(|error| unread(self.reading.planned, error))?;
        decode(self.reading.planned, &self.bytes, &mut self.planes)?;
        self.reading.take(&self.bytes, &self.planes);
        self.at += length as u64;
        Ok(())
    }

    /// Reads what follows the audio of the complete file, and its header once more.
    pub(super) fn finish(mut self, plan: &Plan<'_>, drafted: &DraftFile) -> Result<Verified> {
        let name = &self.reading.planned.name;
        let mut tail =
            vec![0; usize::try_from(drafted.written.bytes - self.at).unwrap_or(usize::MAX)];
        read_exact_at(&self.file, &mut tail, self.at)
            .map_err(|error| unread(self.reading.planned, error))?;
        self.reading.hash.write(&tail);
        let mut head = vec![0; self.head.len()];
        read_exact_at(&self.file, &mut head, 0)
            .map_err(|error| unread(self.reading.planned, error))?;
        if head != self.head {
            return Err(differs(
                "its header changed while it was written".into(),
                name,
            ));
        }
        let header = Header::read(&self.file).map_err(|error| wave_error(error).at(name))?;
        let (from, to) = (header.data_offset, header.data_offset + header.data_bytes);
        if (from, to) != (self.head.len() as u64, self.at) {
            let message = format!(
                "its audio reads back as bytes {from} to {to}, {} to {} was meant",
                self.head.len(),
                self.at
            );
            return Err(differs(message, name));
        }
        self.reading
            .finish(plan, &header, &drafted.digests, ReadBack::Cached)
    }
}

/// Reads files back close behind their writer: `grown` names a file and how many bytes of audio were added to it. Files
/// that are not followed are left to the end.
pub(super) fn follow(files: &mut [Behind<'_>], grown: &Receiver<(usize, usize)>) -> Result<()> {
    for (index, length) in grown {
        if let Some(file) = files.get_mut(index) {
            file.follow(length)?;
        }
    }
    Ok(())
}

/// A piece of a file on its way from the medium.
#[derive(Default)]
struct Back {
    memory: Option<Aligned>,
    /// Where in the memory the piece is.
    held: Range<usize>,
    planes: Vec<Vec<f64>>,
}

impl Back {
    fn bytes(&self) -> &[u8] {
        self.memory
            .as_ref()
            .map_or(&[], |memory| &memory.bytes()[self.held.clone()])
    }
}

/// Reads a complete, synchronised file back as its medium holds it.
pub(super) fn from_medium(
    plan: &Plan<'_>,
    planned: &PlannedFile,
    drafted: &DraftFile,
    progress: &dyn Progress,
) -> Result<Verified> {
    let mut reading = Reading::new(planned);
    let (name, path) = (&planned.name, drafted.file.path());
    let medium = OnMedium::open(path).map_err(|error| unread(planned, error))?;
    let header =
        Header::read(medium.through_cache()).map_err(|error| wave_error(error).at(path))?;
    compare_header(planned, &header)?;
    hash_bytes(&medium, 0..header.data_offset, &mut reading.hash)
        .map_err(|error| unread(planned, error))?;

    let block = header.format.block_bytes();
    let piece = (PIECE / block).max(1).min(ANYWHERE / block) * block;
    let end = header.data_offset + header.data_bytes;
    let pieces = usize::try_from(header.data_bytes.div_ceil(piece as u64)).unwrap_or(usize::MAX);
    let spare = Spare::new();
    let make = |number: usize| {
        let at = header.data_offset + (number * piece) as u64;
        let length = usize::try_from(end - at).unwrap_or(piece).min(piece);
        let mut back: Back = spare.take();
        let memory = back.memory.get_or_insert_with(Aligned::new);
        back.held = medium
            .read(at..at + length as u64, memory)
            .map_err(|error| unread(planned, error))?;
        if back.held.len() < length {
            let message = format!("ends {} bytes short", length - back.held.len());
            return Err(differs(message, name));
        }
        decode(
            planned,
            &memory.bytes()[back.held.clone()],
            &mut back.planes,
        )?;
        Ok(back)
    };
    in_order(pieces, make, |back| {
        reading.take(back.bytes(), &back.planes);
        progress.advance((back.held.len() / block) as u64);
        spare.give(back);
        Ok(())
    })?;
    hash_bytes(&medium, end..medium.size(), &mut reading.hash)
        .map_err(|error| unread(planned, error))?;
    let how = medium.how();
    reading.finish(plan, &header, &drafted.digests, how)
}

/// Hashes what is around the samples.
fn hash_bytes(medium: &OnMedium, range: Range<u64>, hash: &mut XxHash3_128) -> std::io::Result<()> {
    let mut memory = Aligned::new();
    let mut at = range.start;
    while at < range.end {
        let held = medium.read(at..range.end.min(at + PIECE as u64), &mut memory)?;
        if held.is_empty() {
            return Err(std::io::ErrorKind::UnexpectedEof.into());
        }
        hash.write(&memory.bytes()[held.clone()]);
        at += held.len() as u64;
    }
    Ok(())
}

fn compare_header(planned: &PlannedFile, header: &Header) -> Result<()> {
    let complain = |what: &str, found: String, meant: String| {
        differs(
            format!("{what} reads back as {found}, {meant} was meant"),
            &planned.name,
        )
    };
    if header.length != planned.length() {
        return Err(complain(
            "the length",
            header.length.to_string(),
            planned.length().to_string(),
        ));
    }
    if header.format != planned.spec.format {
        return Err(complain(
            "the format",
            format!("{:?}", header.format),
            format!("{:?}", planned.spec.format),
        ));
    }
    let stamp = |bext: &Option<wave::Bext>| bext.as_ref().map(|bext| bext.time_reference);
    if stamp(&header.bext) != stamp(&planned.spec.bext) {
        return Err(complain(
            "the stamp",
            format!("{:?}", stamp(&header.bext)),
            format!("{:?}", stamp(&planned.spec.bext)),
        ));
    }
    let names = |ixml: &Option<wave::Ixml>| -> Vec<Option<String>> {
        let tracks = ixml.iter().flat_map(|ixml| &ixml.tracks);
        tracks
            .map(|track| track.name.as_deref().map(|name| name.trim().to_string()))
            .collect()
    };
    let (found, meant) = (header.markers.clone(), planned.markers.clone());
    if found != meant {
        return Err(complain(
            "the list of markers",
            format!("{found:?}"),
            format!("{meant:?}"),
        ));
    }
    let (found, meant) = (names(&header.ixml), names(&planned.spec.ixml));
    if found != meant {
        return Err(complain(
            "the track list",
            format!("{found:?}"),
            format!("{meant:?}"),
        ));
    }
    Ok(())
}

fn differs(message: String, name: &str) -> Error {
    Error::new(Kind::Verification, message)
        .at(name)
        .then("build again; when it happens again, distrust the medium")
}
