//! A joint take in, an OpenTimelineIO timeline of the *original* files out, each at its offset and speed: for whoever would
//! rather place the units' own files than use rendered sound. Schemas Timeline.1, Stack.1, Track.1, Clip.2, Gap.1,
//! ExternalReference.1, LinearTimeWarp.1 (OpenTimelineIO, "Serialized schema documentation").
//!
//! Places are whole samples of the lead: a clip begins at one, and its source range at the own position, mostly between two
//! samples, that falls there. Whoever rounds that to a whole sample is off by half a sample at most.

use std::path::Path;

use serde_json::{Value, json};

use crate::alignment::{JointTake, Member, Part, Placement};
use crate::error::{Error, Kind, Result};
use crate::render::{Course, Segment};

/// The timeline of `joint`. `stamp_of` says what a file's own stamp is, in its own samples since midnight.
///
/// # Errors
/// [`Kind::Format`] when a member's numbers are no course.
pub fn timeline(joint: &JointTake, stamp_of: &dyn Fn(&Part) -> Option<u64>) -> Result<String> {
    let mut placed = Vec::new();
    for member in &joint.members {
        if member.placement != Placement::NotPlaced {
            placed.push((member, Course::of(joint, member)?));
        }
    }
    // the lead begins at 0 unless a follower ran before it
    let extents = placed.iter().filter_map(|(_, course)| course.extent());
    let begin = extents.map(|extent| extent.start).min().unwrap_or(0).min(0);
    let mut tracks = Vec::new();
    for (member, course) in &placed {
        // a set of mono files is a track a file
        let mut columns: Vec<u32> = member.parts.iter().map(|part| part.first_channel).collect();
        columns.sort_unstable();
        columns.dedup();
        for &column in &columns {
            let name = match columns.len() {
                1 => member.unit.clone(),
                _ => format!("{} {column:02}", member.unit),
            };
            let track = Track {
                joint,
                member,
                course,
                column,
                begin,
            };
            tracks.push(track.write(&name, stamp_of));
        }
    }
    let start = joint
        .start
        .samples_since_midnight
        .map_or(Value::Null, |stamp| {
            time(stamp as f64 + begin as f64, joint.sample_rate)
        });
    let left_out: Vec<&str> = joint
        .members
        .iter()
        .filter(|member| member.placement == Placement::NotPlaced)
        .map(|member| member.unit.as_str())
        .collect();
    let whole = json!({
        "OTIO_SCHEMA": "Timeline.1",
        "name": joint.name,
        "global_start_time": start,
        "metadata": { "commontime": {
            "lead": joint.lead,
            "lead_sample_rate": joint.sample_rate,
            "first_lead_position": begin,
            "not_placed": left_out,
        } },
        "tracks": {
            "OTIO_SCHEMA": "Stack.1",
            "name": "units",
            "children": tracks,
            "effects": [],
            "markers": [],
            "metadata": {},
            "source_range": null,
        },
    });
    serde_json::to_string_pretty(&whole).map_err(|error| {
        Error::new(Kind::Io, "the timeline could not be written").from_source(error)
    })
}

/// One row of the timeline: the files of a member that begin at one channel.
struct Track<'a> {
    joint: &'a JointTake,
    member: &'a Member,
    course: &'a Course,
    column: u32,
    begin: i64,
}

impl Track<'_> {
    fn write(&self, name: &str, stamp_of: &dyn Fn(&Part) -> Option<u64>) -> Value {
        let mut children = Vec::new();
        let mut at = self.begin;
        let parts = self
            .member
            .parts
            .iter()
            .filter(|part| part.first_channel == self.column);
        for part in parts {
            let own = part.first_sample as i64..(part.first_sample + part.length_samples) as i64;
            for segment in &self.course.segments {
                let Some(lead) = stretch(segment, &own) else {
                    continue;
                };
                if lead.start > at {
                    children.push(gap(lead.start - at, self.joint.sample_rate));
                }
                at = lead.end;
                children.push(self.clip(part, segment, lead, stamp_of(part).unwrap_or(0)));
            }
        }
        json!({
            "OTIO_SCHEMA": "Track.1",
            "name": name,
            "kind": "Audio",
            "children": children,
            "effects": [],
            "markers": [],
            "metadata": {},
            "source_range": null,
        })
    }

    fn clip(
        &self,
        part: &Part,
        segment: &Segment,
        lead: std::ops::Range<i64>,
        stamp: u64,
    ) -> Value {
        let (joint, member) = (self.joint, self.member);
        let own_rate = member.sample_rate.unwrap_or(joint.sample_rate);
        let first = segment.own_position(lead.start);
        let last = segment.own_position(lead.end - 1);
        // own seconds for one of the lead's: what a player must run at
        let steps = (lead.end - 1 - lead.start).max(1) as f64;
        let nominal = f64::from(own_rate) / f64::from(joint.sample_rate);
        let speed = if lead.end - lead.start > 1 {
            (last - first) / steps / nominal
        } else {
            1.0
        };
        let effects = match speed == 1.0 {
            true => json!([]),
            false => json!([{
                "OTIO_SCHEMA": "LinearTimeWarp.1",
                "name": "clock",
                "effect_name": "LinearTimeWarp",
                "time_scalar": speed,
                "metadata": {},
            }]),
        };
        let path = Path::new(&part.path);
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        json!({
            "OTIO_SCHEMA": "Clip.2",
            "name": name,
            "source_range": range(
                time(stamp as f64 + first - part.first_sample as f64, own_rate),
                time((lead.end - lead.start) as f64 * nominal, own_rate),
            ),
            "effects": effects,
            "markers": [],
            "active_media_reference_key": "DEFAULT_MEDIA",
            "media_references": { "DEFAULT_MEDIA": {
                "OTIO_SCHEMA": "ExternalReference.1",
                "name": name,
                "target_url": url(&part.path),
                "available_range": range(
                    time(stamp as f64, own_rate),
                    time(part.length_samples as f64, own_rate),
                ),
                "metadata": {},
            } },
            "metadata": { "commontime": {
                "unit": member.unit,
                "basis": member.basis,
                "offset_samples": member.offset_samples,
                "offset_bound_samples": member.offset_bound_samples,
                "rate_ppm": member.rate_ppm,
                "lead_position": lead.start,
                "own_position": first,
                "digest": part.digest,
            } },
        })
    }
}

/// The lead positions at which a segment gives samples `own` of its unit.
fn stretch(segment: &Segment, own: &std::ops::Range<i64>) -> Option<std::ops::Range<i64>> {
    let (from, to) = (
        own.start.max(segment.own.start),
        own.end.min(segment.own.end),
    );
    if from >= to {
        return None;
    }
    let start = segment.lead_position(from)?;
    let end = match to == segment.own.end {
        true => segment.lead.end,
        false => segment.lead_position(to).unwrap_or(segment.lead.end),
    };
    (start < end).then_some(start..end)
}

fn gap(samples: i64, rate: u32) -> Value {
    json!({
        "OTIO_SCHEMA": "Gap.1",
        "name": "",
        "source_range": range(time(0.0, rate), time(samples as f64, rate)),
        "effects": [],
        "markers": [],
        "metadata": {},
    })
}

fn time(value: f64, rate: u32) -> Value {
    json!({ "OTIO_SCHEMA": "RationalTime.1", "value": value, "rate": f64::from(rate) })
}

fn range(start: Value, duration: Value) -> Value {
    json!({ "OTIO_SCHEMA": "TimeRange.1", "start_time": start, "duration": duration })
}

/// A path as a URL: `file://` before an absolute one, a relative reference otherwise; everything but unreserved characters
/// and `/` in per cent (RFC 3986, 2.1 and 2.3).
fn url(path: &str) -> String {
    let mut text = String::new();
    if path.starts_with('/') {
        text.push_str("file://");
    }
    for byte in path.bytes() {
        match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' | b'/' => {
                text.push(char::from(byte));
            }
            other => text.push_str(&format!("%{other:02X}")),
        }
    }
    text
}
