//! What came of the first measurement in, the takes that have no sure place yet out: for each follower those of its takes
//! that nothing confirmed, and the lead's takes that they may belong to.

use super::day::{followers, followers_mut};
use super::labels::Labels;
use super::line::implausible_rate;
use crate::alignment::{Basis, JointTake, Member, Status};
use crate::finding::{Finding, Weight};
use crate::pair::{Heard, Joint};
use crate::progress::Progress;
use crate::seek::{Ears, Speed, Wanted};
use crate::take::{Survey, Take, Unit};
use crate::units::Ppm;

/// Takes shorter than this have too few onsets to be looked for, seconds.
const SHORTEST_S: f64 = 10.0;

/// Looks for takes that found no place, or one that nothing confirms: by the timecode on their tracks, then by their sound.
pub(super) fn look(
    survey: &Survey,
    lead: usize,
    measured: &[(Joint<'_>, JointTake)],
    (ears, progress): (&mut Ears<'_>, &dyn Progress),
) -> Vec<Heard> {
    let mut labels = Labels::new(survey);
    let mut found = Vec::new();
    for unit in 0..survey.units.len() {
        let Some(mut wanted) = wanted(survey, lead, unit, measured) else {
            continue;
        };
        let read = labels.find(lead, &wanted, progress);
        wanted
            .takes
            .retain(|take| read.iter().all(|heard| heard.take != *take));
        found.extend(read);
        if !wanted.takes.is_empty() {
            found.extend(ears.listen(lead, &wanted, progress));
        }
    }
    found
}

/// What has no sure place of one follower; `None` when nothing has, or nothing is left that it could belong to.
fn wanted(
    survey: &Survey,
    lead: usize,
    unit: usize,
    measured: &[(Joint<'_>, JointTake)],
) -> Option<Wanted> {
    let (lead_unit, own) = (survey.units.get(lead)?, survey.units.get(unit)?);
    let takes = places(&own.takes, |take| {
        let mut joints = measured.iter();
        !joints.any(|(joint, aligned)| is_sure(joint, aligned, |other| std::ptr::eq(other, take)))
    });
    let leads = places(&lead_unit.takes, |take| {
        let mut joints = measured.iter();
        !joints.any(|(joint, aligned)| {
            std::ptr::eq(joint.lead, take)
                && is_sure(joint, aligned, |follower| follower.unit == own.name)
        })
    });
    let any = unit != lead && !takes.is_empty() && !leads.is_empty();
    any.then_some(Wanted { unit, takes, leads })
}

/// Looks for the speed at which units of which no take could be placed would fit; says so and leaves it to a person.
pub(super) fn look_for_speeds(
    survey: &Survey,
    lead: usize,
    measured: &mut [(Joint<'_>, JointTake)],
    (ears, progress): (&mut Ears<'_>, &dyn Progress),
) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (index, unit) in survey.units.iter().enumerate() {
        let Some(wanted) = wanted(survey, lead, index, measured) else {
            continue;
        };
        let none_is_sure = wanted.takes.len() == places(&unit.takes, |_| true).len();
        let same_rates = unit.takes.iter().chain(&survey.units[lead].takes);
        let mut rates = same_rates.map(|take| take.rate);
        let first = rates.next();
        if !none_is_sure || rates.any(|rate| Some(rate) != first) {
            continue;
        }
        let Some(speed) = ears.speed(lead, &wanted, progress) else {
            continue;
        };
        for (joint, aligned) in measured.iter_mut() {
            for (candidate, member) in followers_mut(joint, aligned) {
                if candidate.take.unit == unit.name && member.basis != Basis::Manual {
                    member.status = Status::NeedsDecision;
                    member.findings.push(implausible_rate(rate_of(speed)));
                }
            }
        }
        findings.push(told(unit, speed));
    }
    findings
}

fn rate_of(speed: Speed) -> Ppm {
    Ppm((speed.ratio - 1.0) * 1e6)
}

fn told(unit: &Unit, speed: Speed) -> Finding {
    let rate = rate_of(speed);
    let of_a_take = implausible_rate(rate);
    Finding::new(
        "speed-differs",
        Weight::Ask,
        "this unit's files fit the lead's only at another sampling rate than they claim",
    )
    .at(unit.name.clone())
    .measured(
        format!(
            "{:+.0} ppm ({:.5} samples for each of the lead's), height {:.1}",
            rate.0, speed.ratio, speed.fit.height
        ),
        of_a_take.limit,
    )
    .because(of_a_take.cause)
    .then(
        "correct the sampling rate in copies of the files, then align again; nothing was resampled",
    )
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
    let mut both = followers(joint, aligned);
    both.any(|(candidate, member)| {
        is_meant(candidate.take) && (is_confirmed(member) || candidate.take.rate != joint.lead.rate)
    })
}

fn is_confirmed(member: &Member) -> bool {
    let by_sound = member.rate_measured && member.status != Status::NotEstablished;
    by_sound || member.basis == Basis::Manual
}
