//! The joint takes of a day in, each of them measured out; what was measured before is not measured again.

use super::options::Options;
use super::run::align_joint;
use crate::alignment::{JointTake, Member, Role};
use crate::finding::{Finding, Weight};
use crate::pair::{Candidate, Joint};
use crate::progress::{Progress, go_on};

/// How all joint takes are to be measured.
pub(super) struct Day<'a> {
    pub options: &'a Options,
    pub progress: &'a dyn Progress,
}

impl Day<'_> {
    /// Measures every joint take; of those in `known` the ones that are the same are taken over.
    pub fn measure<'a>(
        &self,
        joints: Vec<Joint<'a>>,
        mut known: Vec<(Joint<'a>, JointTake)>,
        findings: &mut Vec<Finding>,
    ) -> Vec<(Joint<'a>, JointTake)> {
        let mut measured = Vec::new();
        for joint in joints {
            let same = known.iter().position(|(other, _)| is_same(other, &joint));
            if let Some(same) = same {
                let mut aligned = known.swap_remove(same).1;
                aligned.name.clone_from(&joint.name);
                measured.push((joint, aligned));
                continue;
            }
            let aligned = go_on(self.progress)
                .and_then(|()| align_joint(&joint, self.options, self.progress));
            match aligned {
                Ok(aligned) => measured.push((joint, aligned)),
                Err(error) => findings.push(
                    Finding::new(
                        "joint-take-unreadable",
                        Weight::Stop,
                        "this joint take was left out",
                    )
                    .at(joint.name.clone())
                    .measured(error.to_string(), "readable takes"),
                ),
            }
        }
        measured
    }
}

/// Whether both join the same takes at the same places.
fn is_same(a: &Joint<'_>, b: &Joint<'_>) -> bool {
    let mut both = a.followers.iter().zip(&b.followers);
    std::ptr::eq(a.lead, b.lead)
        && a.followers.len() == b.followers.len()
        && both.all(|(x, y)| std::ptr::eq(x.take, y.take) && x.by_sound == y.by_sound)
}

/// The followers of a joint take with what came of each.
pub(super) fn followers<'a, 'j>(
    joint: &'a Joint<'j>,
    aligned: &'a JointTake,
) -> impl Iterator<Item = (&'a Candidate<'j>, &'a Member)> {
    let members = aligned.members.iter();
    let followers = members.filter(|member| member.role == Role::Follower);
    joint.followers.iter().zip(followers)
}

/// The same, to be changed.
pub(super) fn followers_mut<'a, 'j>(
    joint: &'a Joint<'j>,
    aligned: &'a mut JointTake,
) -> impl Iterator<Item = (&'a Candidate<'j>, &'a mut Member)> {
    let members = aligned.members.iter_mut();
    let followers = members.filter(|member| member.role == Role::Follower);
    joint.followers.iter().zip(followers)
}
