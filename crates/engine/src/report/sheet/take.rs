//! A joint take and what was built of it in, its lines of the sound report out.

use super::{ReportedFile, ReportedRun, ReportedTake, ReportedTrack};
use crate::alignment::{Alignment, JointTake, Member, Placement, Role, Slip, Status};
use crate::report::{Output, OutputFile, say, span};
use crate::units::distinct;

/// The lines of a joint take.
pub fn take(joint: &JointTake, output: Option<&Output>) -> ReportedTake {
    let said = |name: &str| output.map_or(String::new(), |output| field(output, name));
    let first = output.map_or(0, |output| output.first_lead_position);
    let placed = |wanted: bool| {
        let members = joint.members.iter();
        let members = members.filter(|member| (member.placement != Placement::NotPlaced) == wanted);
        distinct(members.map(|member| member.unit.clone()))
    };
    let files = output.map_or(&[][..], |output| &output.files);
    let tracks: Vec<ReportedTrack> = files.iter().flat_map(|file| tracks(joint, file)).collect();
    ReportedTake {
        name: joint.name.clone(),
        scene: said("scene"),
        take: said("take"),
        circled: said("circled"),
        note: said("note"),
        roll: said("tape"),
        date: joint.start.date.clone(),
        start_label: start_label(joint, first),
        start_samples: start_samples(joint, first),
        frame_rate: joint.start.frame_rate.clone(),
        drop_frame: joint.start.drop_frame,
        sample_rate: joint.sample_rate,
        length_samples: output.map_or(joint.length_samples, |output| output.length_samples),
        lead: joint.lead.clone(),
        units: placed(true),
        not_placed: placed(false),
        files: files
            .iter()
            .map(|file| ReportedFile {
                path: file.path.clone(),
                bytes: file.bytes,
                digest: file.digest.clone(),
                encoding: file.encoding.clone(),
                start_label: start_label(joint, file.first_lead_position),
                start_samples: start_samples(joint, file.first_lead_position),
                length_samples: file.length_samples,
            })
            .collect(),
        left_out: left_out(joint, &tracks),
        tracks,
        quality: output.and_then(|output| output.quality.clone()),
        groups: output.map_or(Vec::new(), |output| output.groups.clone()),
    }
}

/// What a recording's files say under a name, once.
pub fn field(output: &Output, name: &str) -> String {
    let mut fields = output.files.iter().flat_map(|file| &file.fields);
    let found = fields.find(|field| field[0] == name);
    found.map_or(String::new(), |field| field[1].clone())
}

/// The lead's label, where what begins at `first` begins with the lead.
fn start_label(joint: &JointTake, first: i64) -> String {
    match first {
        0 => joint.start.timecode.clone(),
        _ => String::new(),
    }
}

fn start_samples(joint: &JointTake, first: i64) -> Option<u64> {
    let stamp = joint.start.samples_since_midnight?;
    stamp.checked_add_signed(first)
}

fn tracks(joint: &JointTake, file: &OutputFile) -> Vec<ReportedTrack> {
    let track = |channel: &crate::report::OutputChannel| {
        let mut members = joint.members.iter();
        let member = members.find(|member| member.unit == channel.unit);
        ReportedTrack {
            file: file.path.clone(),
            number: channel.number,
            name: channel.name.clone(),
            unit: channel.unit.clone(),
            unit_channel: channel.source_channel,
            group: channel.group.clone(),
            came_as: say::came_as(channel).into(),
            ..member.map_or_else(ReportedTrack::default, |member| {
                of_member(member, channel.source_channel)
            })
        }
    };
    file.channels.iter().map(track).collect()
}

/// Channels that were recorded and are in no file, so that nothing recorded goes unsaid.
fn left_out(joint: &JointTake, built: &[ReportedTrack]) -> Vec<ReportedTrack> {
    let mut left_out = Vec::new();
    for member in &joint.members {
        for channel in &member.channels {
            let mut tracks = built.iter();
            let in_output = tracks
                .any(|track| track.unit == member.unit && track.unit_channel == channel.index);
            if !in_output {
                left_out.push(ReportedTrack {
                    name: channel.name.clone(),
                    ..of_member(member, channel.index)
                });
            }
        }
    }
    left_out
}

/// What a track has of its unit's take; the rest empty.
fn of_member(member: &Member, channel: u32) -> ReportedTrack {
    let follower = Some(member).filter(|member| member.role == Role::Follower);
    let known = follower.filter(|member| member.status != Status::NotEstablished);
    // it stands at the channel it was measured on: other inputs were not compared
    let level = follower
        .and_then(|member| member.evidence.as_ref()?.common_level.as_ref())
        .filter(|level| level.follower_channel == channel);
    ReportedTrack {
        unit: member.unit.clone(),
        unit_channel: channel,
        came_as: say::placement(Placement::NotPlaced).into(),
        sources: sources(member, channel),
        basis: match member.role {
            Role::Lead => "lead".into(),
            Role::Follower => say::basis(member.basis).into(),
        },
        offset_samples: known.map(|member| member.offset_samples),
        bound_samples: known.map(|member| member.offset_bound_samples),
        rate_ppm: follower
            .filter(|member| member.rate_measured)
            .map(|member| member.rate_ppm),
        common_level_db: level.map(|level| level.level_db),
        common_inverted: level.map(|level| level.inverted),
        slips: slips(&member.slips),
        ..ReportedTrack::default()
    }
}

/// `size@position` in the file's own samples, one after another.
fn slips(slips: &[Slip]) -> String {
    let each = slips
        .iter()
        .map(|slip| format!("{:+.0}@{}", slip.samples, slip.at_sample));
    each.collect::<Vec<_>>().join("; ")
}

/// The files that hold this channel: of a set of files those of the last first channel at or before it.
fn sources(member: &Member, channel: u32) -> Vec<String> {
    let firsts = member.parts.iter().map(|part| part.first_channel);
    let first = firsts.filter(|first| *first <= channel).max();
    let parts = member.parts.iter();
    let parts = parts.filter(|part| Some(part.first_channel) == first);
    distinct(parts.map(|part| part.path.clone()))
}

/// When every take ran.
pub fn runs(alignment: &Alignment) -> Vec<ReportedRun> {
    let together = alignment.joint_takes.iter().flat_map(|joint| {
        let rate = say::rate_of(joint).hz();
        joint.members.iter().filter_map(move |member| {
            let covered = span::span_of(member, joint)?;
            let stamp = joint.start.samples_since_midnight;
            Some(ReportedRun {
                unit: member.unit.clone(),
                date: joint.start.date.clone(),
                start_s: stamp.map(|stamp| (stamp as f64 + covered.first) / rate),
                length_s: covered.length() / rate,
                recording: joint.name.clone(),
            })
        })
    });
    let alone = alignment.alone.iter().map(|take| {
        let rate = f64::from(take.sample_rate.max(1));
        ReportedRun {
            unit: take.unit.clone(),
            date: take.date.clone(),
            start_s: take.samples_since_midnight.map(|stamp| stamp as f64 / rate),
            length_s: take.length_samples as f64 / rate,
            recording: String::new(),
        }
    });
    together.chain(alone).collect()
}
