//! A plan in, what is written around the samples out: broadcast extension with its coding history (EBU Tech 3285 v2,
//! EBU R 98), iXML with the full track list, chunks of the lead that stay true.

use std::ops::Range;

use jiff::SignedDuration;
use jiff::civil::{Date, DateTime, Time};
use timecode::{Counting, FrameRate};
use twox_hash::XxHash3_64;
use wave::{Bext, Chunk, FileSet, History, Ixml, Node, Speed, SyncPoint, Track, WriteSpec};

use super::Shape;
use super::members::Source;
use super::plan::{Plan, PlannedChannel, words};
use crate::alignment::{JointTake, Placement};
use crate::error::Result;
use crate::finding::{Finding, Weight};
use crate::take::chunk_of;

/// The version that stands in files.
const MADE_BY: &str = concat!("Commontime ", env!("CARGO_PKG_VERSION"));

/// The largest chunk that is carried over, bytes; larger ones stay in the source alone.
const LARGEST_CHUNK: u64 = 1 << 20;

/// Chunks that say something about the samples, the channels or the size of the very file they stand in, and would be
/// wrong in another one. `bext` and `iXML` are written anew; markers stay when positions stay.
const BOUND_TO_FILE: [&[u8; 4]; 19] = [
    b"fmt ", b"fact", b"data", b"ds64", b"bext", b"iXML", b"levl", b"PEAK", b"MD5 ", b"chna",
    b"axml", b"bxml", b"sxml", b"link", b"umid", b"qlty", b"r64m", b"smpl", b"plst",
];

/// Chunks that hold positions.
const POSITIONS: [&[u8; 4]; 2] = [b"cue ", b"LIST"];

/// A file that is to be described.
pub(super) struct Described<'a> {
    pub(super) name: &'a str,
    pub(super) channels: Range<usize>,
    pub(super) index: usize,
    pub(super) total: usize,
    pub(super) shape: Shape,
}

/// The stamp of lead position `position`; it wraps at midnight, whose distance depends on how labels are counted.
pub(super) fn stamp(take: &JointTake, position: i64) -> Option<u64> {
    let start = take.start.samples_since_midnight?;
    let day = FrameRate::parse(&take.start.frame_rate)
        .and_then(|rate| Counting::new(rate, take.start.drop_frame))
        .map_or(u64::from(take.sample_rate) * 86_400, |counting| {
            timecode::day_in_samples(counting, take.sample_rate)
        });
    let stamp = (i128::from(start) + i128::from(position)).rem_euclid(i128::from(day.max(1)));
    u64::try_from(stamp).ok()
}

/// Fills `spec` for `file`.
pub(super) fn describe(plan: &Plan<'_>, file: &Described<'_>, spec: &mut WriteSpec) -> Result<()> {
    spec.bext = Some(bext(plan, file));
    spec.ixml = Some(ixml(plan, file));
    spec.extra = kept_chunks(plan)?;
    Ok(())
}

fn lead<'p>(plan: &'p Plan<'_>) -> &'p Source<'p> {
    &plan.sources[0]
}

fn lead_header<'p>(plan: &'p Plan<'_>) -> &'p wave::Header {
    &lead(plan).files[0].1
}

fn bext(plan: &Plan<'_>, file: &Described<'_>) -> Bext {
    let theirs = lead_header(plan).bext.clone().unwrap_or_default();
    let units: Vec<&str> = plan
        .sources
        .iter()
        .map(|source| source.member.unit.as_str())
        .collect();
    let mut description = format!(
        "{}: {} channels of {} on the clock of {}",
        plan.take.name,
        file.channels.len(),
        units.join(" and "),
        plan.take.lead
    );
    // lines that name tracks are true of the lead's own file alone
    for line in theirs.description.lines().map(str::trim) {
        let key = line
            .split('=')
            .next()
            .unwrap_or_default()
            .to_ascii_uppercase();
        let fits = description.len() + 2 + line.len() <= 256;
        if !line.is_empty() && fits && !key.contains("TRK") && !key.contains("FILENAME") {
            description += "\r\n";
            description += line;
        }
    }
    let (date, time) = began(plan, &theirs);
    Bext {
        description,
        originator: MADE_BY.into(),
        originator_reference: String::new(),
        date,
        time,
        time_reference: plan.stamp.unwrap_or(0),
        version: 1,
        umid: None,
        loudness: None,
        coding_history: coding_history(plan, &theirs),
    }
}

/// Date and time of the first sample, by the lead's own words.
fn began(plan: &Plan<'_>, theirs: &Bext) -> (String, String) {
    let date = theirs
        .date_parts()
        .and_then(|(y, m, d)| Date::new(y as i16, m as i8, d as i8).ok());
    let time = theirs
        .time_parts()
        .and_then(|(h, m, s)| Time::new(h as i8, m as i8, s as i8, 0).ok());
    let (Some(date), Some(time)) = (date, time) else {
        return (plan.take.start.date.clone(), theirs.time.clone());
    };
    let seconds = (plan.span.start as f64 / f64::from(plan.take.sample_rate)).floor() as i64;
    let moved = DateTime::from_parts(date, time)
        .checked_add(SignedDuration::from_secs(seconds))
        .unwrap_or(DateTime::from_parts(date, time));
    (
        moved.strftime("%Y-%m-%d").to_string(),
        moved.strftime("%H:%M:%S").to_string(),
    )
}

/// The lead's own history, one line a source file, one line for what was done. R 98 has no word for more than two
/// channels nor for floating point: both stand in T, which takes no commas.
fn coding_history(plan: &Plan<'_>, theirs: &Bext) -> String {
    let mut lines: Vec<String> = theirs.coding_history.lines().map(str::to_string).collect();
    let line = |encoding: wave::Encoding, rate: u32, channels: usize, text: String| {
        let mut line = format!("A=PCM,F={rate}");
        if !encoding.is_float() && encoding.bits() <= 24 {
            line += &format!(",W={}", encoding.bits());
        }
        match channels {
            1 => line += ",M=mono",
            2 => line += ",M=stereo",
            _ => {}
        }
        let text = format!("{text}; {channels} ch; {}", words(encoding));
        line + ",T=" + &text.replace(',', ";")
    };
    for source in plan.sources {
        for (path, header) in &source.files {
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            lines.push(line(
                header.format.encoding,
                header.format.sample_rate,
                usize::from(header.format.channels),
                format!("source {} {name}", source.member.unit),
            ));
        }
    }
    let done: Vec<String> = plan.sources.iter().map(what_was_done).collect();
    lines.push(line(
        plan.encoding,
        plan.take.sample_rate,
        plan.channels.len(),
        format!("{MADE_BY}; {}", done.join("; ")),
    ));
    lines.retain(|line| !line.trim().is_empty());
    lines.join("\r\n") + "\r\n"
}

fn what_was_done(source: &Source<'_>) -> String {
    let member = source.member;
    let slips = match member.slips.len() {
        0 => String::new(),
        1 => ", 1 slip mended".into(),
        many => format!(", {many} slips mended"),
    };
    let placed = match member.placement {
        _ if member.role == crate::alignment::Role::Lead => format!("{} copied", member.unit),
        Placement::Exact => format!(
            "{} copied at {:+}",
            member.unit,
            member.offset_samples.round()
        ),
        _ => format!(
            "{} resampled {:+.3} ppm at {:+.3}",
            member.unit, member.rate_ppm, member.offset_samples
        ),
    };
    placed + &slips
}

fn ixml(plan: &Plan<'_>, file: &Described<'_>) -> Ixml {
    let take = plan.take;
    let theirs = lead_header(plan).ixml.clone().unwrap_or_default();
    let fraction = FrameRate::parse(&take.start.frame_rate)
        .ok()
        .map(FrameRate::fraction);
    let done: Vec<String> = plan.sources.iter().map(what_was_done).collect();
    let family = uid(plan, "");
    let parent = lead(plan).files[0]
        .0
        .file_name()
        .map(|name| name.to_string_lossy().into_owned());
    Ixml {
        version: Some("2.0".into()),
        file_uid: Some(uid(plan, file.name)),
        speed: Speed {
            note: Some(done.join("; ")),
            timecode_rate: fraction.or(theirs.speed.timecode_rate),
            drop_frame: if fraction.is_some() {
                Some(take.start.drop_frame)
            } else {
                theirs.speed.drop_frame
            },
            file_sample_rate: Some(take.sample_rate),
            audio_bit_depth: Some(u32::from(plan.encoding.bits())),
            timestamp_samples_since_midnight: plan.stamp,
            timestamp_sample_rate: plan.stamp.map(|_| take.sample_rate),
            ..theirs.speed
        },
        history: History {
            original_filename: Some(file.name.to_string()),
            parent_filename: parent,
            parent_uid: theirs.file_uid,
            others: Vec::new(),
        },
        file_set: (file.total > 1).then(|| FileSet {
            total_files: u32::try_from(file.total).ok(),
            family_uid: Some(family),
            family_name: Some(take.name.clone()),
            file_set_index: Some(set_index(file)),
            start_time: plan.stamp,
            others: Vec::new(),
        }),
        sync_points: sync_points(&theirs.sync_points, &plan.span),
        tracks: file
            .channels
            .clone()
            .zip(1..)
            .map(|(index, place)| track(plan, &plan.channels[index], place))
            .collect(),
        track_count: None,
        // copies of other chunks and measurements that are true of the lead's own file alone
        others: theirs
            .others
            .into_iter()
            .filter(|node: &Node| !matches!(node.name.as_str(), "BEXT" | "LOUDNESS"))
            .collect(),
        raw: String::new(),
        ..theirs
    }
}

/// 1, 2 ... for single channels, A, B ... for files of many.
fn set_index(file: &Described<'_>) -> String {
    match (file.shape, u8::try_from(file.index)) {
        (Shape::PerUnit, Ok(index)) if index < 26 => char::from(b'A' + index).to_string(),
        _ => (file.index + 1).to_string(),
    }
}

/// Relative places move with the start; those outside are gone.
fn sync_points(points: &[SyncPoint], span: &Range<i64>) -> Vec<SyncPoint> {
    points
        .iter()
        .filter_map(|point| {
            if !point.kind.eq_ignore_ascii_case("RELATIVE") {
                return Some(point.clone());
            }
            let moved = i64::try_from(point.position)
                .ok()?
                .checked_sub(span.start)?;
            let position = u64::try_from(moved).ok()?;
            (moved < span.end - span.start).then(|| SyncPoint {
                position,
                ..point.clone()
            })
        })
        .collect()
}

fn track(plan: &Plan<'_>, channel: &PlannedChannel, place: u32) -> Track {
    let source = &plan.sources[channel.member];
    let function = source
        .files
        .iter()
        .zip(&source.member.parts)
        .find_map(|((_, header), part)| {
            let interleave = (channel.own as u32 + 2).checked_sub(part.first_channel)?;
            let tracks = &header.ixml.as_ref()?.tracks;
            let track = tracks
                .iter()
                .find(|track| track.interleave_index == Some(interleave))?;
            track.function.clone()
        });
    Track {
        channel_index: Some(place),
        interleave_index: Some(place),
        name: Some(channel.name.clone()),
        function,
        others: Vec::new(),
    }
}

/// The same for the same sources, joint take and file name, and for nothing else.
fn uid(plan: &Plan<'_>, file_name: &str) -> String {
    let mut text = format!(
        "{MADE_BY}\n{}\n{file_name}\n{:?}\n",
        plan.take.name, plan.span
    );
    for source in plan.sources {
        for part in &source.member.parts {
            text += &format!(
                "{} {} {}\n",
                source.member.unit, part.digest, part.length_samples
            );
        }
    }
    format!("CT-{:016X}", XxHash3_64::oneshot(text.as_bytes()))
}

/// Whether a chunk of the lead stays true in the output.
fn stays_true(plan: &Plan<'_>, chunk: &wave::ChunkEntry) -> bool {
    let bound = BOUND_TO_FILE.contains(&&chunk.id.0) || chunk.id.is_filler();
    let moved = POSITIONS.contains(&&chunk.id.0) && plan.span.start != 0;
    !bound && !moved && chunk.id.is_printable() && chunk.size <= LARGEST_CHUNK
}

fn kept_chunks(plan: &Plan<'_>) -> Result<Vec<Chunk>> {
    let (path, header) = &lead(plan).files[0];
    let kept = header.chunks.iter().filter(|entry| stays_true(plan, entry));
    kept.map(|entry| chunk_of(header, path, entry, LARGEST_CHUNK as usize))
        .collect()
}

/// Says which chunks of the lead could not be carried over.
pub(super) fn dropped_chunks(plan: &Plan<'_>) -> Option<Finding> {
    let silent: [&[u8; 4]; 7] = [
        b"fmt ", b"fact", b"data", b"ds64", b"bext", b"iXML", b"levl",
    ];
    let (path, header) = &lead(plan).files[0];
    let names: Vec<String> = header
        .chunks
        .iter()
        .filter(|entry| {
            !stays_true(plan, entry) && !entry.id.is_filler() && !silent.contains(&&entry.id.0)
        })
        .map(|entry| entry.id.to_string())
        .collect();
    (!names.is_empty()).then(|| {
        Finding::new(
            "chunks-left",
            Weight::Note,
            format!(
                "not carried over, since they are true of the source file alone: {}",
                names.join(", ")
            ),
        )
        .at(path.display().to_string())
        .then("keep the sources beside the recording")
    })
}
