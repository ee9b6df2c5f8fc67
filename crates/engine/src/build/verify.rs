//! Synchronised temporary files in, verified files with their final names out: everything is read back from the medium,
//! decoded by the reader instead of the writer, and compared with what was meant; copied channels are compared with what
//! their sources held as well.

use twox_hash::XxHash3_128;
use wave::{Header, ReadAt, read_exact_at};

use super::in_order::in_order;
use super::plan::{Plan, PlannedFile, words};
use super::target::Target;
use super::write::{Draft, DraftFile, as_bytes, range_length};
use super::{BuildOptions, Gap, OutputChannel, OutputFile};
use crate::error::{Error, Kind, Result};
use crate::media;
use crate::progress::Progress;
use crate::signal::{LevelMeter, Levels};
use crate::take::wave_error;
use crate::units::Db;

/// Exact zeros in a row that count as digital silence: a tenth of a second. Common practice, no source.
const SILENCE_S: f64 = 0.1;

/// Bytes that are hashed at a time where there are no samples.
const PIECE: usize = 1 << 20;

/// What was read back of one file.
pub(super) struct Verified {
    hash: u128,
    channels: Vec<(u128, Levels)>,
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
    let positions = plan.files.iter().map(PlannedFile::length).sum();
    progress.stage(&format!("reading back {}", plan.take.name), positions);
    plan.files
        .iter()
        .zip(&draft.files)
        .map(|(planned, drafted)| read_file(plan, planned, drafted, progress))
        .collect()
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
    for ((drafted, planned), verified) in draft.files.into_iter().zip(&plan.files).zip(verified) {
        let path = target.rename(drafted.file, &planned.name, options.replace)?;
        let channels = verified
            .channels
            .into_iter()
            .zip(&planned.channels)
            .zip(1..)
            .map(|(((digest, levels), &index), place)| {
                let channel = &plan.channels[index];
                let digest = format!("{digest:032x}");
                OutputChannel {
                    index: place,
                    name: channel.name.clone(),
                    unit: plan.sources[channel.member].member.unit.clone(),
                    unit_channel: channel.own as u32 + 1,
                    group: channel.group.clone(),
                    copied: channel.copied,
                    // what was written untouched is what was read of the source, and its digest was taken then
                    source_digest: is_one_piece(plan, index).then(|| digest.clone()),
                    digest,
                    levels,
                }
            })
            .collect();
        outputs.push(OutputFile {
            joint_take: plan.take.name.clone(),
            path,
            bytes: drafted.written.bytes,
            hash: format!("{:032x}", verified.hash),
            container: format!("{:?}", drafted.written.container).to_uppercase(),
            encoding: words(plan.encoding).into(),
            sample_rate: plan.take.sample_rate,
            length_samples: drafted.written.length,
            first_lead_position: planned.span.start,
            samples_since_midnight: planned.stamp,
            gain_db: Db::of_amplitude(plan.gain).0,
            fields: planned.fields.clone(),
            loudness: drafted.loudness,
            channels,
            left_out: left_out.to_vec(),
            gaps: gaps(plan, planned),
        });
    }
    target.synchronise()?;
    Ok(outputs)
}

/// Whether a channel is an exact copy of one stretch of its source, silence before and after it aside.
fn is_one_piece(plan: &Plan<'_>, index: usize) -> bool {
    let channel = &plan.channels[index];
    let course = &plan.renderer.parts()[channel.member].course;
    channel.exact && channel.planes.len() == 1 && course.segments.len() == 1
}

/// Where units between their first and last sample recorded nothing, in the file's positions.
fn gaps(plan: &Plan<'_>, planned: &PlannedFile) -> Vec<Gap> {
    let mut all = Vec::new();
    let parts = plan.renderer.parts();
    for part in parts {
        let unit = &part.member.unit;
        let Some(extent) = part.course.extent() else {
            continue;
        };
        // to the unit's next take
        let later = parts
            .iter()
            .filter(|other| other.member.unit == *unit)
            .filter_map(|other| other.course.extent())
            .filter(|other| other.start > extent.start);
        let between = later
            .min_by_key(|other| other.start)
            .map(|next| (extent.end..next.start, true));
        let within = part.course.gaps().into_iter().map(|gap| (gap, false));
        for (gap, between_takes) in within.chain(between) {
            let from = gap.start.max(planned.span.start);
            let to = gap.end.min(planned.span.end);
            if from < to {
                all.push(Gap {
                    unit: unit.clone(),
                    first_sample: (from - planned.span.start) as u64,
                    samples: (to - from) as u64,
                    between_takes,
                });
            }
        }
    }
    all
}

fn read_file(
    plan: &Plan<'_>,
    planned: &PlannedFile,
    drafted: &DraftFile,
    progress: &dyn Progress,
) -> Result<Verified> {
    let (name, path) = (&planned.name, drafted.file.path());
    let file = media::open(path)?;
    // so that the medium answers and not the memory it passed through; dirty pages were synchronised before. Where the
    // system does not know this, it is read as it is.
    let _ = rustix::fs::fadvise(&file, 0, None, rustix::fs::Advice::DontNeed);
    let header = Header::read(&file).map_err(|error| wave_error(error).at(path))?;
    compare_header(planned, &header)?;

    let mut hash = XxHash3_128::new();
    let failed = |error| {
        Error::new(Kind::Io, "cannot be read back")
            .at(name)
            .from_source(error)
    };
    let size = file.size().map_err(failed)?;
    hash_bytes(&file, 0..header.data_offset, &mut hash).map_err(failed)?;

    let shortest = (SILENCE_S * f64::from(plan.take.sample_rate)) as u64;
    let count = planned.channels.len();
    let all: Vec<usize> = (0..count).collect();
    let mut states = vec![(XxHash3_128::new(), LevelMeter::new(shortest)); count];
    let block = header.format.block_bytes();
    let piece = range_length(count) * block;
    let end = header.data_offset + header.data_bytes;
    let pieces = usize::try_from(header.data_bytes.div_ceil(piece as u64)).unwrap_or(usize::MAX);
    let decode = |number: usize| {
        let at = header.data_offset + (number * piece) as u64;
        let mut bytes = vec![0; usize::try_from(end - at).unwrap_or(piece).min(piece)];
        read_exact_at(&file, &mut bytes, at).map_err(failed)?;
        let mut planes = vec![vec![0.0; bytes.len() / block]; count];
        let mut slices: Vec<&mut [f64]> = planes.iter_mut().map(Vec::as_mut_slice).collect();
        header
            .decode(&bytes, &all, &mut slices)
            .map_err(|error| wave_error(error).at(name))?;
        Ok((bytes, planes))
    };
    in_order(pieces, decode, |(bytes, planes)| {
        hash.write(&bytes);
        for ((digest, meter), plane) in states.iter_mut().zip(&planes) {
            digest.write(as_bytes(plane));
            meter.add(plane);
        }
        progress.advance((bytes.len() / block) as u64);
        Ok(())
    })?;
    hash_bytes(&file, end..size, &mut hash).map_err(failed)?;

    let channels: Vec<(u128, Levels)> = states
        .into_iter()
        .map(|(digest, meter)| (digest.finish_128(), meter.finish()))
        .collect();
    let written = drafted.digests.iter().zip(&planned.channels);
    for ((digest, _), (meant, &index)) in channels.iter().zip(written) {
        if digest != meant {
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
