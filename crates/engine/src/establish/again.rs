//! One joint take of a day and a person's options for it in, that joint take measured anew out; the others stay as they are.

use super::options::Options;
use super::run::align;
use crate::alignment::{JointTake, Member};
use crate::error::{Error, Kind, Result};
use crate::progress::Progress;
use crate::take::{Survey, Take, Unit};

/// Measures `joint` anew by `options`, of which ties and lead then concern it alone. Its name stays.
///
/// # Errors
/// What [`align`] returns; [`Kind::Usage`] when its takes are not on the cards, or do not come together any more.
pub fn measure_again(
    survey: &Survey,
    joint: &JointTake,
    options: &Options,
    progress: &dyn Progress,
) -> Result<JointTake> {
    let own = only(survey, joint);
    if own.units.len() < 2 {
        return Err(Error::new(
            Kind::Usage,
            format!("the takes of {} are not on these cards", joint.name),
        )
        .then("give the cards that were measured"));
    }
    let mut joints = align(&own, options, progress)?.joint_takes;
    match (joints.pop(), joints.is_empty()) {
        (Some(found), true) => Ok(JointTake {
            name: joint.name.clone(),
            ..found
        }),
        _ => Err(Error::new(
            Kind::Usage,
            format!(
                "the takes of {} do not make one joint take this way",
                joint.name
            ),
        )
        .then("measure all of the day anew instead")),
    }
}

/// The survey without all takes that are not members of `joint`.
fn only(survey: &Survey, joint: &JointTake) -> Survey {
    let is = |take: &Take, member: &Member| take.unit == member.unit && take.name == member.take;
    let of_joint = |take: &&Take| joint.members.iter().any(|member| is(take, member));
    let units = survey.units.iter().map(|unit| Unit {
        takes: unit.takes.iter().filter(of_joint).cloned().collect(),
        ..unit.clone()
    });
    Survey {
        units: units.filter(|unit| !unit.takes.is_empty()).collect(),
        cards: survey.cards.clone(),
    }
}
