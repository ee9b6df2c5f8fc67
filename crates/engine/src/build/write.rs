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

use super::ReadBackFrom;
use super::in_order::{Spare, in_order};
use super::measure::{Feeder, ends};
use super::plan::{Plan, PlannedChannel, PlannedFile};
use super::quantise::{Beyond, quantise};
use super::read_back::{Behind, Verified, follow, from_medium};
use super::target::Target;
use crate::error::{Error, Kind, Result};
use crate::progress::{Progress, go_on};
use crate::quality::{Loudness, LoudnessMeter, Quality};
use crate::take::wave_error;

/// Values of all channels in a range: 1 MiB, which stays in the cache from reading to encoding.
const VALUES: usize = 1 << 17;

/// Bytes of a file after which it is sent on to the medium while writing goes on, so that the end has little to wait for.
const FLUSHED_BYTES: u64 = 32 << 20;

/// Files that are complete and synchronised.
pub(super) struct Draft<'p> {
    pub(super) files: Vec<DraftFile>,
    /// What was read back of each while it was written; empty when that is left to the end.
    pub(super) behind: Vec<Behind<'p>>,
    /// How good the plan's channels are, over its whole span; `None` when that was not asked for.
    pub(super) quality: Option<Quality>,
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
pub(super) enum Outcome<'p> {
    /// The files are complete.
    Complete(Draft<'p>),
    /// Values did not fit into the encoding: nothing was kept.
    Beyond(Beyond),
}

/// A rendered range.
#[derive(Default)]
struct Rendered {
    /// The renderer's planes; an output channel is the first of its own.
    planes: Vec<Vec<f64>>,
    length: usize,
    /// For every file that covers some of it.
    encoded: Vec<Stretch>,
    beyond: Beyond,
}

/// A stretch of a range that goes to one file.
#[derive(Default)]
struct Stretch {
    file: usize,
    /// Which of the range's positions.
    positions: Range<usize>,
    bytes: Vec<u8>,
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
fn range_length(channels: usize) -> usize {
    (VALUES / channels.max(1)).max(256)
}

/// Whether files are read back while they are written: not where the medium is to answer, and not where something is
/// written into the header at the end.
fn follows(plan: &Plan<'_>) -> bool {
    plan.options.read_back == ReadBackFrom::System
        && plan.files.iter().all(|file| file.spec.length.is_some())
}

/// Renders and writes all files of a plan.
pub(super) fn write<'p>(
    plan: &'p Plan<'_>,
    target: &Target,
    progress: &dyn Progress,
) -> Result<Outcome<'p>> {
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
    let paths: Vec<PathBuf> = temporary
        .iter()
        .map(|(file, _)| file.path().into())
        .collect();
    let mut open = open_writers(plan, &mut temporary)?;
    let mut behind = Vec::new();
    if follows(plan) {
        for ((planned, path), open) in plan.files.iter().zip(&paths).zip(&open) {
            behind.push(Behind::open(planned, path, open.writer.data_offset())?);
        }
    }
    let measuring = plan.options.quality && !plan.channels.is_empty();
    let first_planes = || plan.channels.iter().map(|channel| channel.planes[0]);
    let ends = measuring.then(|| ends(first_planes().collect(), plan.take.sample_rate));
    let (feeder, measurer) = ends.unzip();
    let (to_flusher, flushes) = channel();
    let (to_follower, grown) = channel();
    let written = std::thread::scope(|scope| {
        let flusher = scope.spawn(move || flush(flushed, flushes));
        let followed = &mut behind;
        let follower = scope.spawn(move || follow(followed, &grown));
        let measurer = measurer.map(|measurer| scope.spawn(move || measurer.run()));
        let told = Told {
            flusher: to_flusher,
            follower: to_follower,
            feeder,
        };
        let written = write_ranges(plan, &mut open, told, progress);
        let flushed = ended(flusher.join()).flatten();
        let followed = ended(follower.join()).flatten();
        let quality = measurer.map(|measurer| ended(measurer.join()));
        // the medium's own complaint comes first, what follows from it last
        let beyond = flushed.and(written)?;
        if beyond.count == 0 {
            followed?;
        }
        Ok::<_, Error>((beyond, quality.transpose()?))
    });
    let (written, quality) = written?;
    if written.count > 0 {
        return Ok(Outcome::Beyond(written));
    }
    let finished = open
        .into_iter()
        .map(Open::finish)
        .collect::<Result<Vec<_>>>()?;
    let mut files = Vec::new();
    for ((file, path), (written, digests, loudness)) in temporary.into_iter().zip(finished) {
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
    Ok(Outcome::Complete(Draft {
        files,
        behind,
        quality,
    }))
}

/// What a thread that was joined came to.
fn ended<T>(joined: std::thread::Result<T>) -> Result<T> {
    joined.map_err(|_| Error::new(Kind::Io, "a thread ended before its time"))
}

/// Compares what was written with what was meant: most of it was read back already.
///
/// # Errors
/// [`Kind::Verification`] when anything differs.
pub(super) fn verify(
    plan: &Plan<'_>,
    draft: &mut Draft<'_>,
    progress: &dyn Progress,
) -> Result<Vec<Verified>> {
    let behind = std::mem::take(&mut draft.behind);
    if !behind.is_empty() {
        let files = behind.into_iter().zip(&draft.files);
        return files
            .map(|(behind, drafted)| behind.finish(plan, drafted))
            .collect();
    }
    let positions = plan.files.iter().map(PlannedFile::length).sum();
    progress.stage(&format!("reading back {}", plan.take.name), positions);
    let files = plan.files.iter().zip(&draft.files);
    files
        .map(|(planned, drafted)| from_medium(plan, planned, drafted, progress))
        .collect()
}

/// Who hears of what was written.
struct Told {
    /// Which file is due for the medium.
    flusher: Sender<usize>,
    /// Which file has so many more bytes.
    follower: Sender<(usize, usize)>,
    /// The values of all channels.
    feeder: Option<Feeder>,
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

fn open_writers<'t>(
    plan: &Plan<'_>,
    temporary: &'t mut [(NamedTempFile, PathBuf)],
) -> Result<Vec<Open<'t>>> {
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
    Ok(open)
}

fn write_ranges(
    plan: &Plan<'_>,
    open: &mut [Open<'_>],
    told: Told,
    progress: &dyn Progress,
) -> Result<Beyond> {
    let length = range_length(plan.channels.len());
    let ranges = usize::try_from(plan.length().div_ceil(length as u64)).unwrap_or(usize::MAX);
    let mut beyond = Beyond::default();
    let spare = Spare::new();
    let make = |number: usize| {
        let mut range: Rendered = spare.take();
        let start = plan.span.start + (number * length) as i64;
        let end = plan.span.end.min(start + length as i64);
        render(plan, start, (end - start) as usize, &mut range)?;
        Ok(range)
    };
    in_order(ranges, make, |mut range| {
        go_on(progress)?;
        progress.advance(range.length as u64);
        beyond.add(range.beyond);
        // once something does not fit, the rest is rendered for its peak alone
        let stretches: &[Stretch] = if beyond.count > 0 {
            &[]
        } else {
            &range.encoded
        };
        for stretch in stretches {
            let file = &mut open[stretch.file];
            let planes = planes_of(plan, stretch, &range.planes);
            for (digest, plane) in file.digests.iter_mut().zip(&planes) {
                digest.write(as_bytes(plane));
            }
            if let Some(meter) = &mut file.loudness {
                meter.add(&planes);
            }
            file.writer
                .write_bytes(&stretch.bytes)
                .map_err(|error| unwritten(error, file.path))?;
            // nobody listens any more after an error, which is told at the end
            let _ = told.follower.send((stretch.file, stretch.bytes.len()));
            file.unflushed += stretch.bytes.len() as u64;
            if file.unflushed >= FLUSHED_BYTES {
                file.unflushed = 0;
                let _ = told.flusher.send(stretch.file);
            }
        }
        if let Some(feeder) = told.feeder.as_ref().filter(|_| beyond.count == 0) {
            feeder.take(&mut range.planes);
        }
        spare.give(range);
        Ok(())
    })?;
    Ok(beyond)
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

fn render(plan: &Plan<'_>, start: i64, length: usize, range: &mut Rendered) -> Result<()> {
    range.length = length;
    range.beyond = Beyond::default();
    range.planes.resize_with(plan.renderer.channels(), Vec::new);
    for plane in &mut range.planes {
        plane.resize(length, 0.0);
    }
    plan.renderer.render(start, &mut range.planes)?;
    for channel in &plan.channels {
        put_together(channel, &mut range.planes, start);
        let plane = &mut range.planes[channel.planes[0]];
        if plan.gain != 1.0 {
            plane.iter_mut().for_each(|value| *value *= plan.gain);
        }
        // the dither of a channel is its own wherever it stands in the output
        let seed = (channel.member << 16) | channel.own;
        let beyond = quantise(plan.encoding, channel.exact, (seed, start), plane);
        range.beyond.add(beyond);
    }
    let covered = plan.files.iter().enumerate().filter_map(|(file, planned)| {
        let from = planned.span.start.max(start);
        let to = planned.span.end.min(start + length as i64);
        (from < to).then(|| (file, (from - start) as usize..(to - start) as usize))
    });
    let mut used = 0;
    for (file, positions) in covered {
        if range.encoded.len() == used {
            range.encoded.push(Stretch::default());
        }
        let mut stretch = std::mem::take(&mut range.encoded[used]);
        (stretch.file, stretch.positions) = (file, positions);
        if range.beyond.count == 0 {
            let planes = planes_of(plan, &stretch, &range.planes);
            let format = &plan.files[file].spec.format;
            encode_planar(format, &planes, &mut stretch.bytes).map_err(wave_error)?;
        } else {
            stretch.bytes.clear();
        }
        range.encoded[used] = stretch;
        used += 1;
    }
    range.encoded.truncate(used);
    Ok(())
}

/// The values of a stretch, a slice a channel of its file.
fn planes_of<'a>(plan: &Plan<'_>, stretch: &Stretch, planes: &'a [Vec<f64>]) -> Vec<&'a [f64]> {
    let channels = plan.files[stretch.file].channels.iter();
    channels
        .map(|&channel| &planes[plan.channels[channel].planes[0]][stretch.positions.clone()])
        .collect()
}

/// Puts the planes of a unit's successive takes into the first of them, each over its own stretch of lead positions from
/// `start` on.
fn put_together(channel: &PlannedChannel, planes: &mut [Vec<f64>], start: i64) {
    for (&other, stretch) in channel.planes.iter().zip(&channel.stretches).skip(1) {
        let Ok([plane, other]) = planes.get_disjoint_mut([channel.planes[0], other]) else {
            continue;
        };
        let inside = |position: i64| (position - start).clamp(0, plane.len() as i64) as usize;
        let stretch = inside(stretch.start)..inside(stretch.end);
        plane[stretch.clone()].copy_from_slice(&other[stretch]);
    }
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
