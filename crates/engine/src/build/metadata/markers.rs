//! A plan in, the marked places of a file out: those of the units, moved to where they fall, and the stretches in which a
//! unit recorded nothing or lost samples.

use wave::Marker;

use super::super::plan::{Plan, PlannedFile};
use crate::render::Course;

/// The marked places of a file.
pub(super) struct Marked {
    pub(super) markers: Vec<Marker>,
    /// How many come from the units.
    pub(super) theirs: usize,
    /// How many mark gaps and slips.
    pub(super) ours: usize,
    /// How many lie too far from the start to be stored: a marker's position has 32 bits.
    pub(super) too_late: usize,
}

/// Gathers the marked places of `file`, in order of time.
pub(super) fn of(plan: &Plan<'_>, file: &PlannedFile) -> Marked {
    let mut theirs = Vec::new();
    let mut ours = Vec::new();
    for (source, part) in plan.sources.iter().zip(plan.renderer.parts()) {
        let unit = &source.member.unit;
        for ((_, header), stored) in source.files.iter().zip(&source.member.parts) {
            // every file of a set of mono files may carry the same markers
            if stored.first_channel != 1 {
                continue;
            }
            for marker in &header.markers {
                let own = stored.first_sample as i64 + i64::from(marker.position);
                if let Some(lead) = lead_position(&part.course, own) {
                    let label = marker.label.clone().unwrap_or_default();
                    let label = format!("{unit}: {label}");
                    theirs.push((
                        lead,
                        Marker {
                            label: Some(label.trim_end_matches([':', ' ']).to_string()),
                            ..marker.clone()
                        },
                    ));
                }
            }
        }
        for gap in part.course.gaps() {
            let samples = gap.end - gap.start;
            ours.push((
                gap.start,
                Marker {
                    length: u32::try_from(samples).ok(),
                    label: Some(format!(
                        "{unit}: {samples} samples of silence, none recorded"
                    )),
                    ..Marker::default()
                },
            ));
        }
        for slip in source.member.slips.iter().filter(|slip| slip.samples > 0.0) {
            if let Some(lead) = lead_position(&part.course, slip.at_sample as i64) {
                ours.push((
                    lead,
                    Marker {
                        label: Some(format!(
                            "{unit}: {:.0} samples too many, left out",
                            slip.samples
                        )),
                        ..Marker::default()
                    },
                ));
            }
        }
    }
    let inside = |(at, _): &(i64, Marker)| file.span.contains(at);
    theirs.retain(inside);
    ours.retain(inside);
    let counts = (theirs.len(), ours.len());
    let mut all: Vec<(i64, Marker)> = theirs.into_iter().chain(ours).collect();
    all.sort_by_key(|(at, _)| *at);
    let total = all.len();
    let markers: Vec<Marker> = all
        .into_iter()
        .filter_map(|(at, marker)| {
            let position = u32::try_from(at - file.span.start).ok()?;
            Some(Marker { position, ..marker })
        })
        .zip(1..)
        .map(|(marker, id)| Marker { id, ..marker })
        .collect();
    Marked {
        too_late: total - markers.len(),
        theirs: counts.0,
        ours: counts.1,
        markers,
    }
}

/// The first lead position at or after the instant of a member's own sample; `None` when that is not in the output.
fn lead_position(course: &Course, own: i64) -> Option<i64> {
    let segment = course
        .segments
        .iter()
        .find(|segment| segment.own.end > own)?;
    segment.lead_position(own.max(segment.own.start))
}
