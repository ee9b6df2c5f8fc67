//! A plan in, complete temporary files out: ranges are rendered and encoded by all cores while earlier ones are written
//! and still earlier ones go to the medium. A few ranges are in flight at a time, so that memory does not grow with the
//! length. Every source sample is read once: digests are taken while it passes.

use std::fs::File;
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, Sender, channel};

use tempfile::NamedTempFile;
use twox_hash::XxHash3_128;
use wave::{WaveWriter, Written, encode_planar};
use zerocopy::IntoBytes;

use super::in_order::in_order;
use super::loudness::{Loudness, LoudnessMeter};
use super::plan::{Plan, PlannedChannel};
use super::quantise::{Beyond, quantise};
use super::target::Target;
use crate::error::{Error, Kind, Result};
use crate::progress::Progress;
use crate::take::wave_error;

/// Values of all channels in a range: 1 MiB, which stays in the cache from reading to encoding.
const VALUES: usize = 1 << 17;

/// Bytes of a file after which it is sent on to the medium while writing goes on, so that the end has little to wait for.
const FLUSHED_BYTES: u64 = 32 << 20;

/// Files that are complete and synchronised, but not yet verified.
pub(super) struct Draft {
    pub(super) files: Vec<DraftFile>,
}

/// One of them.
pub(super) struct DraftFile {
    pub(super) file: NamedTempFile,
    pub(super) written: Written,
    /// xxh3-128 of every channel's values.
    pub(super) digests: Vec<u128>,
    pub(super) loudness: Option<Loudness>,
}

/// What came of writing.
pub(super) enum Outcome {
    /// The files are complete.
    Complete(Draft),
    /// Values did not fit into the encoding: nothing was kept.
    Beyond(Beyond),
}

/// A rendered range.
struct Rendered {
    /// One plane an output channel.
    planes: Vec<Vec<f64>>,
    /// For every file that covers some of it: which file, which stretch of the planes, encoded.
    encoded: Vec<(usize, Range<usize>, Vec<u8>)>,
    beyond: Beyond,
}

/// A file that is being written.
struct Open<'a> {
    writer: WaveWriter<&'a mut File>,
    path: &'a Path,
    digests: Vec<XxHash3_128>,
    loudness: Option<LoudnessMeter>,
    /// Bytes since it was last sent on to the medium.
    unflushed: u64,
}

/// How many sample positions make a range of `channels`.
pub(super) fn range_length(channels: usize) -> usize {
    (VALUES / channels.max(1)).max(256)
}

/// Renders and writes all files of a plan.
pub(super) fn write(plan: &Plan<'_>, target: &Target, progress: &dyn Progress) -> Result<Outcome> {
    progress.stage(&format!("rendering {}", plan.take.name), plan.length());
    let mut temporary = Vec::new();
    let mut flushed = Vec::new();
    for file in &plan.files {
        let made = target.temporary()?;
        let path = target.path(&file.name);
        let again = made.as_file().try_clone();
        flushed.push((
            again.map_err(|error| unwritten(error, &path))?,
            path.clone(),
        ));
        temporary.push((made, path));
    }
    let (sender, receiver) = channel();
    let (written, beyond) = std::thread::scope(|scope| {
        let flusher = scope.spawn(|| flush(flushed, receiver));
        let written = write_ranges(plan, &mut temporary, &sender, progress);
        drop(sender);
        let flushed = flusher
            .join()
            .unwrap_or_else(|_| Err(Error::new(Kind::Io, "the flushing thread ended")));
        // the medium's own complaint comes first
        flushed.and(written)
    })?;
    if beyond.count > 0 {
        return Ok(Outcome::Beyond(beyond));
    }
    let mut files = Vec::new();
    for ((file, path), (written, digests, loudness)) in temporary.into_iter().zip(written) {
        file.as_file()
            .sync_all()
            .map_err(|error| unwritten(error, &path))?;
        files.push(DraftFile {
            file,
            written,
            digests,
            loudness,
        });
    }
    Ok(Outcome::Complete(Draft { files }))
}

/// Sends files on to the medium as they are named. An error is told once by the system, so it must not get lost here.
fn flush(files: Vec<(File, PathBuf)>, named: Receiver<usize>) -> Result<()> {
    while let Ok(first) = named.recv() {
        let mut due = vec![first];
        due.extend(named.try_iter());
        due.sort_unstable();
        due.dedup();
        for index in due {
            let (file, path) = &files[index];
            file.sync_data().map_err(|error| unwritten(error, path))?;
        }
    }
    Ok(())
}

type Finished = (Written, Vec<u128>, Option<Loudness>);

fn write_ranges(
    plan: &Plan<'_>,
    temporary: &mut [(NamedTempFile, PathBuf)],
    flusher: &Sender<usize>,
    progress: &dyn Progress,
) -> Result<(Vec<Finished>, Beyond)> {
    let mut open = Vec::new();
    for ((file, path), planned) in temporary.iter_mut().zip(&plan.files) {
        let writer = WaveWriter::new(file.as_file_mut(), &planned.spec)
            .map_err(|error| unwritten(error, path))?;
        let count = planned.channels.len();
        let measured = planned
            .spec
            .bext
            .as_ref()
            .is_some_and(|bext| bext.loudness.is_some());
        open.push(Open {
            writer,
            path,
            digests: vec![XxHash3_128::new(); count],
            loudness: measured
                .then(|| LoudnessMeter::new(count, plan.take.sample_rate))
                .flatten(),
            unflushed: 0,
        });
    }
    let length = range_length(plan.channels.len());
    let ranges = usize::try_from(plan.length().div_ceil(length as u64)).unwrap_or(usize::MAX);
    let mut beyond = Beyond::default();
    let make = |number: usize| {
        let start = plan.span.start + (number * length) as i64;
        let end = plan.span.end.min(start + length as i64);
        render(plan, start, (end - start) as usize)
    };
    in_order(ranges, make, |range| {
        progress.advance(range.planes.first().map_or(0, Vec::len) as u64);
        beyond.add(range.beyond);
        // once something does not fit, the rest is rendered for its peak alone
        if beyond.count > 0 {
            return Ok(());
        }
        for (index, stretch, bytes) in &range.encoded {
            let file = &mut open[*index];
            let planes: Vec<&[f64]> = plan.files[*index]
                .channels
                .iter()
                .map(|&channel| &range.planes[channel][stretch.clone()])
                .collect();
            for (digest, plane) in file.digests.iter_mut().zip(&planes) {
                digest.write(as_bytes(plane));
            }
            if let Some(meter) = &mut file.loudness {
                meter.add(&planes);
            }
            file.writer
                .write_bytes(bytes)
                .map_err(|error| unwritten(error, file.path))?;
            file.unflushed += bytes.len() as u64;
            if file.unflushed >= FLUSHED_BYTES {
                file.unflushed = 0;
                // nobody listens any more after an error, which is told at the end
                let _ = flusher.send(*index);
            }
        }
        Ok(())
    })?;
    if beyond.count > 0 {
        return Ok((Vec::new(), beyond));
    }
    let finished = open.into_iter().map(Open::finish).collect::<Result<_>>()?;
    Ok((finished, beyond))
}

impl Open<'_> {
    fn finish(mut self) -> Result<Finished> {
        let loudness = self.loudness.as_ref().map(LoudnessMeter::finish);
        if let Some(loudness) = loudness {
            self.writer
                .set_loudness(loudness.stored())
                .map_err(|error| unwritten(error, self.path))?;
        }
        let (written, _) = self
            .writer
            .finish()
            .map_err(|error| unwritten(error, self.path))?;
        let digests = self.digests.iter().map(XxHash3_128::finish_128).collect();
        Ok((written, digests, loudness))
    }
}

fn render(plan: &Plan<'_>, start: i64, length: usize) -> Result<Rendered> {
    let mut rendered = vec![vec![0.0; length]; plan.renderer.channels()];
    plan.renderer.render(start, &mut rendered)?;
    let mut planes = Vec::with_capacity(plan.channels.len());
    let mut beyond = Beyond::default();
    for channel in &plan.channels {
        let mut plane = put_together(channel, &mut rendered, start);
        if plan.gain != 1.0 {
            plane.iter_mut().for_each(|value| *value *= plan.gain);
        }
        // the dither of a channel is its own wherever it stands in the output
        let seed = (channel.member << 16) | channel.own;
        beyond.add(quantise(
            plan.encoding,
            channel.exact,
            (seed, start),
            &mut plane,
        ));
        planes.push(plane);
    }
    let mut encoded = Vec::new();
    if beyond.count == 0 {
        for (index, file) in plan.files.iter().enumerate() {
            let from = file.span.start.max(start);
            let to = file.span.end.min(start + length as i64);
            if from >= to {
                continue;
            }
            let stretch = (from - start) as usize..(to - start) as usize;
            let part: Vec<&[f64]> = file
                .channels
                .iter()
                .map(|&channel| &planes[channel][stretch.clone()])
                .collect();
            let mut bytes = Vec::new();
            encode_planar(&file.spec.format, &part, &mut bytes).map_err(wave_error)?;
            encoded.push((index, stretch, bytes));
        }
    }
    Ok(Rendered {
        planes,
        encoded,
        beyond,
    })
}

/// The plane of an output channel: the one plane it comes from, or those of a unit's successive takes, each over its own
/// stretch of lead positions from `start` on.
fn put_together(channel: &PlannedChannel, rendered: &mut [Vec<f64>], start: i64) -> Vec<f64> {
    let mut plane = std::mem::take(&mut rendered[channel.planes[0]]);
    for (&other, stretch) in channel.planes.iter().zip(&channel.stretches).skip(1) {
        let inside = |position: i64| (position - start).clamp(0, plane.len() as i64) as usize;
        let stretch = inside(stretch.start)..inside(stretch.end);
        plane[stretch.clone()].copy_from_slice(&rendered[other][stretch]);
    }
    plane
}

/// The bytes that digests of values are taken over: little-endian on every machine this is built for.
pub(super) fn as_bytes(values: &[f64]) -> &[u8] {
    values.as_bytes()
}

fn unwritten(error: impl Into<Box<dyn std::error::Error + Send + Sync>>, path: &Path) -> Error {
    Error::new(Kind::Io, "cannot be written")
        .at(path)
        .then("check the room left and the medium, then build again")
        .from_source(error)
}
