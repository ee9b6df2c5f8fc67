//! A plan in, complete temporary files out: ranges are rendered by all cores while earlier ones are written. A few ranges
//! are in flight at a time, so that memory does not grow with the length.

use std::fs::File;
use std::path::PathBuf;
use std::sync::mpsc::{Receiver, sync_channel};

use rayon::prelude::*;
use tempfile::NamedTempFile;
use twox_hash::XxHash3_128;
use wave::{WaveWriter, Written};
use zerocopy::IntoBytes;

use super::plan::Plan;
use super::quantise::{Beyond, quantise};
use super::target::Target;
use crate::error::{Error, Kind, Result};
use crate::progress::Progress;

/// Values of all channels in a range: 2 MiB, small enough for the cache, large enough to be worth a thread.
const VALUES: usize = 1 << 18;

/// Files that are complete and synchronised, but not yet verified.
pub(super) struct Draft {
    pub(super) files: Vec<(NamedTempFile, Written)>,
    /// xxh3-128 of every channel's values.
    pub(super) digests: Vec<u128>,
}

/// What came of writing.
pub(super) enum Outcome {
    /// The files are complete.
    Complete(Draft),
    /// Values did not fit into the encoding: nothing was kept.
    Beyond(Beyond),
}

/// A rendered range.
struct Range {
    planes: Vec<Vec<f64>>,
    beyond: Beyond,
}

/// How many sample positions make a range of `channels`.
pub(super) fn range_length(channels: usize) -> usize {
    (VALUES / channels.max(1)).max(256)
}

/// Renders and writes all files of a plan.
pub(super) fn write(plan: &Plan<'_>, target: &Target, progress: &dyn Progress) -> Result<Outcome> {
    progress.stage(&format!("rendering {}", plan.take.name), plan.length());
    let mut temporary = Vec::new();
    for file in &plan.files {
        temporary.push((target.temporary()?, target.path(&file.name)));
    }
    let threads = rayon::current_num_threads();
    let (sender, receiver) = sync_channel(threads);
    let written = std::thread::scope(|scope| {
        let writer = scope.spawn(|| write_ranges(plan, &mut temporary, receiver));
        let rendered = render_ranges(plan, threads, |range| sender.send(range).is_ok(), progress);
        drop(sender);
        let written = writer
            .join()
            .unwrap_or_else(|_| Err(Error::new(Kind::Io, "the writing thread ended")));
        // what stopped the writer also stops rendering, so its error comes first
        written.and_then(|written| rendered.map(|()| written))
    })?;
    let (written, digests, beyond) = written;
    if beyond.count > 0 {
        return Ok(Outcome::Beyond(beyond));
    }
    let mut files = Vec::new();
    for ((file, path), written) in temporary.into_iter().zip(written) {
        file.as_file()
            .sync_all()
            .map_err(|error| unwritten(error, &path))?;
        files.push((file, written));
    }
    Ok(Outcome::Complete(Draft { files, digests }))
}

fn render_ranges(
    plan: &Plan<'_>,
    threads: usize,
    mut send: impl FnMut(Range) -> bool,
    progress: &dyn Progress,
) -> Result<()> {
    let length = range_length(plan.channels.len());
    let starts: Vec<i64> = plan.span.clone().step_by(length).collect();
    for group in starts.chunks(2 * threads) {
        let ranges: Vec<Result<Range>> = group
            .par_iter()
            .map(|&start| {
                let end = plan.span.end.min(start + length as i64);
                let range = render(plan, start, (end - start) as usize)?;
                progress.advance((end - start) as u64);
                Ok(range)
            })
            .collect();
        for range in ranges {
            if !send(range?) {
                return Ok(());
            }
        }
    }
    Ok(())
}

fn render(plan: &Plan<'_>, start: i64, length: usize) -> Result<Range> {
    let mut planes = vec![vec![0.0; length]; plan.channels.len()];
    plan.renderer.render(start, &mut planes)?;
    let mut beyond = Beyond::default();
    for (index, (plane, channel)) in planes.iter_mut().zip(&plan.channels).enumerate() {
        beyond.add(quantise(
            plan.encoding,
            channel.exact,
            (index, start),
            plane,
        ));
    }
    Ok(Range { planes, beyond })
}

type Ranges = (Vec<Written>, Vec<u128>, Beyond);

fn write_ranges(
    plan: &Plan<'_>,
    temporary: &mut [(NamedTempFile, PathBuf)],
    receiver: Receiver<Range>,
) -> Result<Ranges> {
    let mut writers: Vec<(WaveWriter<&mut File>, &PathBuf)> = Vec::new();
    for ((file, path), planned) in temporary.iter_mut().zip(&plan.files) {
        let writer = WaveWriter::new(file.as_file_mut(), &planned.spec)
            .map_err(|error| unwritten(error, path))?;
        writers.push((writer, path));
    }
    let mut digests = vec![XxHash3_128::new(); plan.channels.len()];
    let mut beyond = Beyond::default();
    for range in receiver {
        beyond.add(range.beyond);
        // once something does not fit, the rest is rendered for its peak alone
        if beyond.count > 0 {
            continue;
        }
        for (digest, plane) in digests.iter_mut().zip(&range.planes) {
            digest.write(as_bytes(plane));
        }
        let planes: Vec<&[f64]> = range.planes.iter().map(Vec::as_slice).collect();
        for ((writer, path), planned) in writers.iter_mut().zip(&plan.files) {
            writer
                .write_planar(&planes[planned.channels.clone()])
                .map_err(|error| unwritten(error, path))?;
        }
    }
    let mut written = Vec::new();
    for (writer, path) in writers {
        written.push(writer.finish().map_err(|error| unwritten(error, path))?.0);
    }
    let digests = digests.iter().map(XxHash3_128::finish_128).collect();
    Ok((written, digests, beyond))
}

/// The bytes that digests of values are taken over: little-endian on every machine this is built for.
pub(super) fn as_bytes(values: &[f64]) -> &[u8] {
    values.as_bytes()
}

fn unwritten(
    error: impl Into<Box<dyn std::error::Error + Send + Sync>>,
    path: &std::path::Path,
) -> Error {
    Error::new(Kind::Io, "cannot be written")
        .at(path)
        .then("check the room left and the medium, then build again")
        .from_source(error)
}
