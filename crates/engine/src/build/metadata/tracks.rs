//! A plan in, the iXML of a file with its full track list out.

use std::ops::Range;

use timecode::FrameRate;
use twox_hash::XxHash3_64;
use wave::{FileSet, History, Ixml, Node, Speed, SyncPoint, Track};

use super::super::plan::{Plan, PlannedChannel, PlannedFile};
use super::broadcast::{gain_of, what_was_done};
use super::merged::merged;
use super::{MADE_BY, Place, lead};

/// The iXML of `file`, its track list in the order of its channels.
pub(super) fn ixml(plan: &Plan<'_>, file: &PlannedFile, place: Place) -> Ixml {
    let take = plan.take;
    let theirs = merged(plan);
    let fraction = FrameRate::parse(&take.start.frame_rate)
        .ok()
        .map(FrameRate::fraction);
    let done: Vec<String> = plan.sources.iter().map(what_was_done).collect();
    let family = uid(plan, "", &plan.span);
    let parent = lead(plan).files[0]
        .0
        .file_name()
        .map(|name| name.to_string_lossy().into_owned());
    Ixml {
        version: Some("2.0".into()),
        file_uid: Some(uid(plan, &file.name, &file.span)),
        speed: Speed {
            note: Some(done.join("; ") + &gain_of(plan)),
            timecode_rate: fraction.or(theirs.speed.timecode_rate),
            drop_frame: if fraction.is_some() {
                Some(take.start.drop_frame)
            } else {
                theirs.speed.drop_frame
            },
            file_sample_rate: Some(take.sample_rate),
            audio_bit_depth: Some(u32::from(plan.encoding.bits())),
            timestamp_samples_since_midnight: file.stamp,
            timestamp_sample_rate: file.stamp.map(|_| take.sample_rate),
            ..theirs.speed
        },
        history: History {
            original_filename: Some(file.name.clone()),
            parent_filename: parent,
            parent_uid: theirs.file_uid,
            others: Vec::new(),
        },
        file_set: (place.total > 1).then(|| FileSet {
            total_files: u32::try_from(place.total).ok(),
            family_uid: Some(family),
            family_name: Some(take.name.clone()),
            file_set_index: Some(set_index(place)),
            start_time: super::stamp(plan.take, plan.span.start),
            others: Vec::new(),
        }),
        sync_points: sync_points(&theirs.sync_points, &file.span),
        tracks: file
            .channels
            .iter()
            .zip(1..)
            .map(|(&index, place)| track(plan, &plan.channels[index], place))
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

/// A, B ... for files of many channels, 1, 2 ... for others.
fn set_index(place: Place) -> String {
    match u8::try_from(place.index) {
        Ok(index) if place.lettered && place.total <= 26 => char::from(b'A' + index).to_string(),
        _ => (place.index + 1).to_string(),
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
fn uid(plan: &Plan<'_>, file_name: &str, span: &Range<i64>) -> String {
    let mut text = format!(
        "{MADE_BY}\n{}\n{file_name}\n{span:?}\n{}\n",
        plan.take.name, plan.gain
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
