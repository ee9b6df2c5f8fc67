//! What came of the first measurement in, the takes that have no sure place yet out: for each follower those of its takes
//! that nothing confirmed, and the lead's takes that they may belong to.

use crate::alignment::{JointTake, Member, Role, Status};
use crate::pair::{Heard, Joint};
use crate::progress::Progress;
use crate::seek::{Wanted, listen};
use crate::take::{Survey, Take};

/// Takes shorter than this have too few onsets to be looked for, seconds.
const SHORTEST_S: f64 = 10.0;

/// Looks by their sound for takes that found no place, or one that nothing confirms.
pub(super) fn look(
    survey: &Survey,
    lead: usize,
    measured: &[(Joint<'_>, JointTake)],
    progress: &dyn Progress,
) -> Vec<Heard> {
    let Some(lead_unit) = survey.units.get(lead) else {
        return Vec::new();
    };
    let mut heard = Vec::new();
    for (index, unit) in survey.units.iter().enumerate() {
        if index == lead {
            continue;
        }
        let wanted = Wanted {
            unit: index,
            takes: places(&unit.takes, |take| {
                !measured.iter().any(|(joint, aligned)| {
                    is_sure(joint, aligned, |follower| std::ptr::eq(follower, take))
                })
            }),
            leads: places(&lead_unit.takes, |take| {
                !measured.iter().any(|(joint, aligned)| {
                    std::ptr::eq(joint.lead, take)
                        && is_sure(joint, aligned, |follower| follower.unit == unit.name)
                })
            }),
        };
        if !wanted.takes.is_empty() && !wanted.leads.is_empty() {
            heard.extend(listen(survey, lead, &wanted, progress));
        }
    }
    heard
}

fn places(takes: &[Take], is_open: impl Fn(&Take) -> bool) -> Vec<usize> {
    let long_enough = |take: &Take| take.seconds() >= SHORTEST_S;
    let takes = takes.iter().enumerate();
    takes
        .filter(|(_, take)| long_enough(take) && is_open(take))
        .map(|(place, _)| place)
        .collect()
}

/// Whether one of the joint take's followers of which `is_meant` says so has a place that sound or a person confirms, or
/// none that sound could tell.
fn is_sure(joint: &Joint<'_>, aligned: &JointTake, is_meant: impl Fn(&Take) -> bool) -> bool {
    let members = aligned
        .members
        .iter()
        .filter(|member| member.role == Role::Follower);
    let mut both = joint.followers.iter().zip(members);
    both.any(|(candidate, member)| {
        is_meant(candidate.take) && (is_confirmed(member) || candidate.take.rate != joint.lead.rate)
    })
}

fn is_confirmed(member: &Member) -> bool {
    use crate::alignment::Basis;
    let by_sound = member.rate_measured && member.status != Status::NotEstablished;
    by_sound || member.basis == Basis::Manual
}
