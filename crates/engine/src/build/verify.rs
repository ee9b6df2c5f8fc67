//! Synchronised temporary files in, verified files with their final names out: everything is read back from the medium and
//! compared with what was meant; copied channels are compared with their sources as well.

use std::path::Path;

use rayon::prelude::*;
use twox_hash::XxHash3_128;
use wave::{Header, ReadAt, read_exact_at};

use super::plan::{Plan, PlannedFile, words};
use super::target::Target;
use super::write::{Draft, as_bytes, range_length};
use super::{BuildOptions, OutputChannel, OutputFile};
use crate::error::{Error, Kind, Result};
use crate::media;
use crate::progress::Progress;
use crate::signal::{LevelMeter, Levels, Sound};
use crate::take::wave_error;

/// Exact zeros in a row that count as digital silence: a tenth of a second. Common practice, no source.
const SILENCE_S: f64 = 0.1;

/// Bytes that are hashed at a time where there are no samples.
const PIECE: usize = 1 << 20;

/// What was read back of one file.
pub(super) struct Verified {
    hash: u128,
    channels: Vec<(u128, Levels)>,
    /// For each channel, the digest of its source, where it was copied in one piece and not rounded.
    sources: Vec<Option<u128>>,
}

/// Reads all files of a draft back.
///
/// # Errors
/// [`Kind::Verification`] when anything differs from what was meant.
pub(super) fn read_back(
    plan: &Plan<'_>,
    draft: &Draft,
    progress: &dyn Progress,
) -> Result<Vec<Verified>> {
    progress.stage(
        &format!("reading back {}", plan.take.name),
        plan.length() * plan.files.len() as u64,
    );
    let (files, sources) = rayon::join(
        || {
            plan.files
                .iter()
                .zip(&draft.files)
                .map(|(planned, (file, _))| read_file(plan, planned, file.path(), draft, progress))
                .collect::<Result<Vec<_>>>()
        },
        || source_digests(plan),
    );
    let (mut files, sources) = (files?, sources?);
    for (file, planned) in files.iter_mut().zip(&plan.files) {
        file.sources = sources[planned.channels.clone()].to_vec();
        for ((digest, _), (source, channel)) in file.channels.iter().zip(
            file.sources
                .iter()
                .zip(&plan.channels[planned.channels.clone()]),
        ) {
            if source.is_some_and(|source| source != *digest) {
                let message = format!("channel {} is not what its source holds", channel.name);
                return Err(differs(message, &planned.name));
            }
        }
    }
    Ok(files)
}

/// Renames verified files and says what they are.
pub(super) fn finish(
    plan: &Plan<'_>,
    target: &Target,
    options: &BuildOptions,
    draft: Draft,
    verified: Vec<Verified>,
    left_out: &[String],
) -> Result<Vec<OutputFile>> {
    let mut outputs = Vec::new();
    for (((file, written), planned), verified) in
        draft.files.into_iter().zip(&plan.files).zip(verified)
    {
        let path = target.rename(file, &planned.name, options.replace)?;
        let channels = verified
            .channels
            .into_iter()
            .zip(verified.sources)
            .zip(&plan.channels[planned.channels.clone()])
            .zip(1..)
            .map(
                |((((digest, levels), source), channel), index)| OutputChannel {
                    index,
                    name: channel.name.clone(),
                    unit: plan.sources[channel.member].member.unit.clone(),
                    unit_channel: channel.own as u32 + 1,
                    copied: channel.copied,
                    digest: format!("{digest:032x}"),
                    source_digest: source.map(|source| format!("{source:032x}")),
                    levels,
                },
            )
            .collect();
        outputs.push(OutputFile {
            joint_take: plan.take.name.clone(),
            path,
            bytes: written.bytes,
            hash: format!("{:032x}", verified.hash),
            container: format!("{:?}", written.container).to_uppercase(),
            encoding: words(plan.encoding).into(),
            sample_rate: plan.take.sample_rate,
            length_samples: written.length,
            first_lead_position: plan.span.start,
            samples_since_midnight: plan.stamp,
            channels,
            left_out: left_out.to_vec(),
            gaps: gaps(plan),
        });
    }
    target.synchronise()?;
    Ok(outputs)
}

/// Where members between their first and last sample recorded nothing, in the output's positions.
fn gaps(plan: &Plan<'_>) -> Vec<(String, u64, u64)> {
    let mut all = Vec::new();
    for part in plan.renderer.parts() {
        for gap in part.course.gaps() {
            let (from, to) = (gap.start.max(plan.span.start), gap.end.min(plan.span.end));
            if from < to {
                let first = (from - plan.span.start) as u64;
                all.push((part.member.unit.clone(), first, (to - from) as u64));
            }
        }
    }
    all
}

fn read_file(
    plan: &Plan<'_>,
    planned: &PlannedFile,
    path: &Path,
    draft: &Draft,
    progress: &dyn Progress,
) -> Result<Verified> {
    let name = &planned.name;
    let file = media::open(path)?;
    // so that the medium answers and not the memory it passed through; dirty pages were synchronised before. Where the
    // system does not know this, it is read as it is.
    let _ = rustix::fs::fadvise(&file, 0, None, rustix::fs::Advice::DontNeed);
    let header = Header::read(&file).map_err(|error| wave_error(error).at(path))?;
    compare_header(plan, planned, &header)?;

    let mut hash = XxHash3_128::new();
    let failed = |error| {
        Error::new(Kind::Io, "cannot be read back")
            .at(name)
            .from_source(error)
    };
    let size = file.size().map_err(failed)?;
    hash_bytes(&file, 0..header.data_offset, &mut hash).map_err(failed)?;

    let shortest = (SILENCE_S * f64::from(plan.take.sample_rate)) as u64;
    let mut states: Vec<(XxHash3_128, LevelMeter)> = planned
        .channels
        .clone()
        .map(|_| (XxHash3_128::new(), LevelMeter::new(shortest)))
        .collect();
    let block = header.format.block_bytes();
    let length = range_length(planned.channels.len());
    let mut bytes = vec![0; length * block];
    let mut at = header.data_offset;
    let end = header.data_offset + header.data_bytes;
    while at < end {
        let part = &mut bytes[..usize::try_from(end - at)
            .unwrap_or(usize::MAX)
            .min(length * block)];
        read_exact_at(&file, part, at).map_err(failed)?;
        let part = &*part;
        let decoded = rayon::join(
            || hash.write(part),
            || {
                states.par_iter_mut().enumerate().try_for_each_init(
                    || vec![0.0; length],
                    |plane, (channel, (digest, meter))| {
                        let plane = &mut plane[..part.len() / block];
                        header.decode(part, &[channel], &mut [&mut *plane])?;
                        digest.write(as_bytes(plane));
                        meter.add(plane);
                        Ok(())
                    },
                )
            },
        )
        .1;
        decoded.map_err(|error: wave::Error| wave_error(error).at(name))?;
        at += part.len() as u64;
        progress.advance((part.len() / block) as u64);
    }
    hash_bytes(&file, end..size, &mut hash).map_err(failed)?;

    let channels: Vec<(u128, Levels)> = states
        .into_iter()
        .map(|(digest, meter)| (digest.finish_128(), meter.finish()))
        .collect();
    for ((digest, _), index) in channels.iter().zip(planned.channels.clone()) {
        if *digest != draft.digests[index] {
            let message = format!(
                "channel {} reads back otherwise than it was written",
                plan.channels[index].name
            );
            return Err(differs(message, name));
        }
    }
    Ok(Verified {
        hash: hash.finish_128(),
        channels,
        sources: Vec::new(),
    })
}

fn hash_bytes(
    file: &impl ReadAt,
    range: std::ops::Range<u64>,
    hash: &mut XxHash3_128,
) -> std::io::Result<()> {
    let mut at = range.start;
    while at < range.end {
        let mut bytes = vec![
            0;
            usize::try_from(range.end - at)
                .unwrap_or(usize::MAX)
                .min(PIECE)
        ];
        read_exact_at(file, &mut bytes, at)?;
        hash.write(&bytes);
        at += bytes.len() as u64;
    }
    Ok(())
}

fn compare_header(plan: &Plan<'_>, planned: &PlannedFile, header: &Header) -> Result<()> {
    let complain = |what: &str, found: String, meant: String| {
        differs(
            format!("{what} reads back as {found}, {meant} was meant"),
            &planned.name,
        )
    };
    if header.length != plan.length() {
        return Err(complain(
            "the length",
            header.length.to_string(),
            plan.length().to_string(),
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

/// The digest of every channel that was copied in one piece and not rounded, straight from its source.
fn source_digests(plan: &Plan<'_>) -> Result<Vec<Option<u128>>> {
    let parts = plan.renderer.parts();
    let digests = plan
        .sources
        .par_iter()
        .zip(parts)
        .enumerate()
        .map(|(index, (source, part))| {
            let exact: Vec<bool> = plan
                .channels
                .iter()
                .filter(|channel| channel.member == index)
                .map(|channel| channel.exact)
                .collect();
            if !part.is_copied() || part.course.segments.len() != 1 {
                return Ok(vec![None; exact.len()]);
            }
            let shift = source.member.offset_samples.round() as i64;
            let shift = if source.member.role == crate::alignment::Role::Lead {
                0
            } else {
                shift
            };
            let digests = digest_source(plan, &source.sound, shift)?;
            Ok(digests
                .into_iter()
                .zip(exact)
                .map(|(digest, exact)| exact.then_some(digest))
                .collect())
        })
        .collect::<Result<Vec<Vec<Option<u128>>>>>()?;
    Ok(digests.concat())
}

fn digest_source(plan: &Plan<'_>, sound: &dyn Sound, shift: i64) -> Result<Vec<u128>> {
    let count = sound.channels();
    let all: Vec<usize> = (0..count).collect();
    let length = range_length(count);
    let mut digests = vec![XxHash3_128::new(); count];
    let mut planes = vec![vec![0.0; length]; count];
    for start in plan.span.clone().step_by(length) {
        let here = ((plan.span.end - start) as usize).min(length);
        let mut slices: Vec<&mut [f64]> =
            planes.iter_mut().map(|plane| &mut plane[..here]).collect();
        sound.read(&all, start - shift, &mut slices)?;
        for (digest, plane) in digests.iter_mut().zip(&planes) {
            digest.write(as_bytes(&plane[..here]));
        }
    }
    Ok(digests.iter().map(XxHash3_128::finish_128).collect())
}

fn differs(message: String, name: &str) -> Error {
    Error::new(Kind::Verification, message)
        .at(name)
        .then("build again; when it happens again, distrust the medium")
}
