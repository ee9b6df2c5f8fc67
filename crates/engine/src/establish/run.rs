//! Cards' takes in, the alignment out: every joint take's followers measured, claimed and written down as plain data.

use crate::alignment::{Alignment, FORMAT, JointTake, Member, SettingsTable, Start, VERSION};
use crate::clock::slips::seams;
use crate::clock::{Side, Slip};
use crate::error::{Error, Kind, Result};
use crate::pair::{Candidate, Joint, choose_lead, joint_takes, lead_rule};
use crate::progress::{Progress, go_on};
use crate::seek::Ears;
use crate::signal::{Mended, Sound, length_at};
use crate::take::{Survey, Take, TakeSound, settings_table};
use crate::tie::timecode::{Track, likely_timecode_tracks};

use super::closure::Rings;
use super::coded::find_on_tracks;
use super::day::Day;
use super::options::Options;
use super::record::{alone, at_own_rate, lead_member, unreadable_member};
use super::scene::Scene;
use super::several::{Placed, several_units};
use super::slips::{mend_lead, other_lead};
use super::{epochs, unsure};

/// A lead whose file slips in more places is no lead.
const MOST_LEAD_SLIPS: usize = 256;

/// Measures everything on the cards.
///
/// # Errors
/// When a named unit does not exist, or no unit holds a take; [`Kind::Stopped`] when nobody wants it any more.
pub fn align(survey: &Survey, options: &Options, progress: &dyn Progress) -> Result<Alignment> {
    options.check(survey)?;
    let lead = choose_lead(survey, options.lead.as_deref())?;
    let rule = lead_rule(survey, lead, options.lead.as_deref());
    let mut findings = Vec::new();
    let day = Day { options, progress };
    let joints = joint_takes(survey, lead, &[]);
    let mut told = joints.findings;
    let mut measured = day.measure(joints.value, Vec::new(), &mut findings);
    let mut ears = Ears::new(survey);
    let heard = unsure::look(survey, lead, &measured, (&mut ears, progress));
    if !heard.is_empty() {
        let joints = joint_takes(survey, lead, &heard);
        told = joints.findings;
        findings.clear();
        measured = day.measure(joints.value, measured, &mut findings);
    }
    // what was not measured because nobody waits any more is no finding
    go_on(progress)?;
    findings.splice(0..0, told);
    findings.extend(epochs::explain(survey, lead, &measured));
    let slow_or_fast = unsure::look_for_speeds(survey, lead, &mut measured, (&mut ears, progress));
    findings.extend(slow_or_fast);
    let joint_takes: Vec<JointTake> = measured
        .into_iter()
        .map(|(_, aligned)| JointTake {
            lead_rule: rule.clone(),
            ..aligned
        })
        .collect();
    Ok(Alignment {
        format: FORMAT.into(),
        version: VERSION,
        made_by: made_by(),
        alone: alone(survey, &joint_takes),
        joint_takes,
        findings,
        settings: Some(SettingsTable {
            units: survey.units.iter().map(|unit| unit.name.clone()).collect(),
            // what they give to say is told with the survey
            rows: settings_table(survey).value,
        }),
    })
}

/// The program and its version, as it stands in files.
#[must_use]
pub fn made_by() -> String {
    format!("commontime {}", env!("CARGO_PKG_VERSION"))
}

pub(super) fn align_joint(
    joint: &Joint<'_>,
    options: &Options,
    progress: &dyn Progress,
) -> Result<JointTake> {
    let (own, alike) = (joint, at_the_leads_rate(joint));
    let joint = &Joint {
        name: joint.name.clone(),
        followers: own
            .followers
            .iter()
            .zip(&alike)
            .map(|(candidate, take)| Candidate {
                take,
                ..candidate.clone()
            })
            .collect(),
        ..*joint
    };
    let file = TakeSound::open(&joint.lead.parts)?;
    let mut on_lead: Vec<Slip> = Vec::new();
    let (lead, code, followers) = loop {
        let lead = Mended::new(&file, &seams(&on_lead, Side::Lead));
        let code = likely_timecode_tracks(&lead, progress)?;
        let (followers, new) = measured_followers(joint, (&lead, &code), options, progress);
        if new.is_empty() {
            break (lead, code, followers);
        }
        on_lead.extend(new);
        if on_lead.len() > MOST_LEAD_SLIPS {
            return Err(Error::new(
                Kind::Unsupported,
                format!("the lead's file slips in more than {MOST_LEAD_SLIPS} places"),
            )
            .then("choose another lead with --lead"));
        }
    };
    let (mut placed, mut members): (Vec<_>, Vec<_>) = (Vec::new(), vec![lead_member(joint.lead)]);
    for follower in followers {
        match follower {
            Follower::Measured(follower) => placed.push(*follower),
            Follower::Refused(member) => members.push(*member),
        }
    }
    let rings = Rings {
        lead: &joint.lead.unit,
        lead_length: lead.length().0,
        spacing_m: options.spacing_m,
        progress,
    };
    several_units(&rings, &mut placed)?;
    let written = placed.into_iter().map(|follower| {
        let scene = Scene {
            joint,
            candidate: follower.candidate,
            lead: &lead,
            lead_code: &code,
            options,
            progress,
        };
        scene.member(follower)
    });
    members.extend(written);
    members.sort_by_key(|member| {
        joint.followers.iter().position(|candidate| {
            candidate.take.unit == member.unit && candidate.take.name == member.take
        })
    });
    for member in &mut members {
        let mut takes = own.followers.iter().map(|candidate| candidate.take);
        let take = takes.find(|take| take.unit == member.unit && take.name == member.take);
        if let Some(take) = take.filter(|take| take.rate != own.lead.rate) {
            at_own_rate(member, take, own.lead);
        }
    }
    if let Some(member) = members.first_mut() {
        mend_lead(member, joint.lead, &on_lead);
        member.findings.extend(find_on_tracks(joint.lead, &code));
    }
    let other = other_lead(&members);
    if let Some(member) = members.first_mut() {
        member.findings.extend(other);
    }
    let counting = joint.lead.stamp.as_ref().and_then(|stamp| stamp.counting);
    Ok(JointTake {
        name: joint.name.clone(),
        sample_rate: joint.lead.rate.0,
        lead: joint.lead.unit.clone(),
        lead_rule: String::new(),
        length_samples: lead.length().0,
        start: Start {
            samples_since_midnight: joint.lead.stamp.as_ref().map(|stamp| stamp.samples),
            timecode: joint.lead.label(),
            frame_rate: counting
                .map(|counting| counting.rate().to_string())
                .unwrap_or_default(),
            drop_frame: counting.is_some_and(|counting| counting.drop_frame()),
            date: joint.lead.date.clone(),
        },
        members,
    })
}

/// The followers' takes as they are at the lead's nominal rate: those at another are told by their length there, and
/// heard there by [`AtRate`](crate::signal::AtRate).
fn at_the_leads_rate(joint: &Joint<'_>) -> Vec<Take> {
    let rate = joint.lead.rate;
    let takes = joint.followers.iter().map(|candidate| candidate.take);
    takes
        .map(|take| Take {
            length: length_at(take.length, take.rate, rate),
            rate,
            ..take.clone()
        })
        .collect()
}

/// A follower after measuring.
enum Follower<'a> {
    Measured(Box<Placed<'a>>),
    /// It could not be read.
    Refused(Box<Member>),
}

/// The followers against the lead as it is mended so far. Slips of the lead's file that come to light are given back at
/// once: what is measured on a lead that slips is measured again.
fn measured_followers<'a>(
    joint: &'a Joint<'a>,
    (lead, lead_code): (&Mended<'_>, &[Track]),
    options: &Options,
    progress: &dyn Progress,
) -> (Vec<Follower<'a>>, Vec<Slip>) {
    let mut followers = Vec::new();
    for candidate in &joint.followers {
        let take = candidate.take;
        let scene = Scene {
            joint,
            candidate,
            lead,
            lead_code,
            options,
            progress,
        };
        match scene.placed() {
            Ok((placed, on_lead)) => {
                followers.push(Follower::Measured(Box::new(placed)));
                if !on_lead.is_empty() {
                    return (followers, on_lead);
                }
            }
            Err(error) => {
                let refused = unreadable_member(take, &error);
                followers.push(Follower::Refused(Box::new(refused)));
            }
        }
    }
    (followers, Vec::new())
}
