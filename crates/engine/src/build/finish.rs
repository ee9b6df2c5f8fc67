//! Verified files in, files with their final names and what there is to say about them out.

use super::plan::{Plan, PlannedFile, words};
use super::read_back::Verified;
use super::target::Target;
use super::write::Draft;
use super::{BuildOptions, Gap, OutputChannel, OutputFile};
use crate::error::Result;
use crate::units::Db;

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
                    exact: channel.exact,
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
            read_back: verified.how,
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
