//! Cards' takes in, the alignment out: every joint take's followers measured, claimed and written down as plain data.

use crate::alignment::{
    Alignment, Basis, Evidence, FORMAT, JointTake, Member, Role, SettingsTable, Start, Status,
    VERSION,
};
use crate::clock::acoustic::{AcousticRequest, measure_acoustic};
use crate::clock::common::{find_past_slips, measure_common};
use crate::clock::slips::seams;
use crate::clock::{Outcome, Side, Slip};
use crate::error::{Error, Kind, Result};
use crate::pair::{Candidate, Joint, choose_lead, joint_takes, lead_rule};
use crate::progress::Progress;
use crate::seek::Ears;
use crate::signal::{Mended, Sound};
use crate::take::{Survey, TakeSound, settings_table};
use crate::tie::Guess;
use crate::tie::common::{Search, Verdict, search_common, verify_common};
use crate::units::{LeadPos, Samples, UnitPos};

use super::claim::{
    Circumstances, Claim, Evidences, ManualEvidence, RoomEvidence, StampEvidence, claim,
};
use super::closure::Rings;
use super::day::Day;
use super::level::{common_level, level_finding};
use super::options::{ManualTie, NamedPair, Options, sides};
use super::place::placed;
use super::record::{
    band, channels_of, lead_member, other_rate, parts_of, tie_records, unreadable_member,
};
use super::several::{Placed, several_units};
use super::slips::{ask_about_sizes, findings, mend_lead, on_lead, other_lead, records};
use super::{epochs, unsure};

/// The search for a common signal goes this far either side of the stamps, seconds; and this far without stamps.
pub(super) const SEARCH_S: (f64, f64) = (0.5, 10.0);
/// And this far about a place that was found by its sound.
const HEARD_S: f64 = 0.2;
/// A lead whose file slips in more places is no lead.
const MOST_LEAD_SLIPS: usize = 256;

/// Measures everything on the cards.
///
/// # Errors
/// When a named unit does not exist, or no unit holds a take.
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
    findings.splice(0..0, told);
    findings.extend(epochs::explain(survey, lead, &measured));
    let slow_or_fast = unsure::look_for_speeds(survey, lead, &mut measured, (&mut ears, progress));
    findings.extend(slow_or_fast);
    let joint_takes = measured
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
    let file = TakeSound::open(&joint.lead.parts)?;
    let mut on_lead: Vec<Slip> = Vec::new();
    let (lead, followers) = loop {
        let lead = Mended::new(&file, &seams(&on_lead, Side::Lead));
        let (followers, new) = measured_followers(joint, &lead, options, progress);
        if new.is_empty() {
            break (lead, followers);
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
    if let Some(member) = members.first_mut() {
        mend_lead(member, joint.lead, &on_lead);
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

/// A follower after measuring.
enum Follower<'a> {
    Measured(Box<Placed<'a>>),
    /// It could not be read, or ran at another rate.
    Refused(Box<Member>),
}

/// The followers against the lead as it is mended so far. Slips of the lead's file that come to light are given back at
/// once: what is measured on a lead that slips is measured again.
fn measured_followers<'a>(
    joint: &'a Joint<'a>,
    lead: &Mended<'_>,
    options: &Options,
    progress: &dyn Progress,
) -> (Vec<Follower<'a>>, Vec<Slip>) {
    let mut followers = Vec::new();
    for candidate in &joint.followers {
        let take = candidate.take;
        if take.rate != joint.lead.rate {
            let refused = other_rate(take, joint.lead);
            followers.push(Follower::Refused(Box::new(refused)));
            continue;
        }
        let scene = Scene {
            joint,
            candidate,
            lead,
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

/// One follower's take against the lead's.
struct Scene<'s, 'j> {
    joint: &'s Joint<'j>,
    candidate: &'j Candidate<'j>,
    lead: &'s Mended<'s>,
    options: &'s Options,
    progress: &'s dyn Progress,
}

impl<'j> Scene<'_, 'j> {
    /// The follower with what is claimed of it, and the slips of the lead's file that it brought to light.
    fn placed(&self) -> Result<(Placed<'j>, Vec<Slip>)> {
        let take = self.candidate.take;
        let sound = TakeSound::open(&take.parts)?;
        let evidences = self.evidences(&sound)?;
        let around = Circumstances {
            rate: take.rate,
            follower_length: take.length.0,
            spacing_m: self.options.spacing_m,
        };
        let claim = claim(&evidences, around);
        let measured = claim.measured.as_ref();
        let slips = measured.map_or_else(Vec::new, |m| on_lead(m, self.lead.seams()));
        let placed = Placed {
            candidate: self.candidate,
            sound,
            evidences,
            claim,
        };
        Ok((placed, slips))
    }

    fn member(&self, follower: Placed<'_>) -> Member {
        let mut claim = follower.claim;
        if !self.candidate.undecided.is_empty() && claim.basis != Basis::Manual {
            claim.status = Status::NeedsDecision;
            claim
                .findings
                .extend(self.candidate.undecided.iter().cloned());
        }
        ask_about_sizes(&mut claim);
        self.write_down(claim, &follower.evidences)
    }

    fn evidences(&self, follower: &TakeSound) -> Result<Evidences> {
        let candidate = self.candidate;
        let rate_hz = candidate.take.rate.hz();
        let mut found = Evidences {
            stamps: candidate.by_stamps.map(|offset| StampEvidence {
                offset,
                resolution: Samples(candidate.resolution.max(self.joint.lead_resolution)),
            }),
            manual: self.manual(),
            heard: candidate.by_sound.as_ref().map(|heard| heard.ground),
            calibration: self
                .options
                .calibrations
                .as_ref()
                .and_then(|stored| stored.evidence(self.joint.lead, candidate.take)),
            ..Evidences::default()
        };
        let by_sound = candidate
            .by_sound
            .as_ref()
            .map(|heard| LeadPos(heard.offset_s * rate_hz));
        let (expected, reach) = match (by_sound, candidate.by_stamps) {
            (Some(offset), _) => (offset, HEARD_S),
            (None, Some(offset)) => (offset, SEARCH_S.0),
            (None, None) => (candidate.by_calendar.unwrap_or(LeadPos(0.0)), SEARCH_S.1),
        };
        let guess = Guess {
            offset: LeadPos(expected.0.round()),
            within: Samples(reach * rate_hz),
        };
        self.common(follower, &guess, &mut found)?;
        if found.common.is_none() {
            self.room(follower, &guess, &mut found)?;
        }
        Ok(found)
    }

    fn common(&self, follower: &TakeSound, guess: &Guess, found: &mut Evidences) -> Result<()> {
        let named = self.named_pair(follower);
        let verified = match named {
            Some(named) => match verify_common(self.lead, follower, guess, named)? {
                Verdict::Common(pair) => Some(pair),
                Verdict::Other { signs, why } => {
                    found.unlocked_signs.extend(signs);
                    found.unlocked_reasons.push(format!(
                        "the channels named with --common do not serve: {why}"
                    ));
                    None
                }
            },
            None => None,
        };
        let search = match verified {
            Some(pair) => Search {
                common: vec![*pair],
                likely: Vec::new(),
            },
            None => search_common(self.lead, follower, guess, named, self.progress)?,
        };
        let pairs = search.common;
        if pairs.is_empty() && named.is_none() {
            let why = "no pair of channels carries one electrical signal";
            found.unlocked_reasons.push(why.into());
        }
        let past = if pairs.is_empty() {
            find_past_slips(self.lead, follower, guess, &search.likely, self.progress)?
        } else {
            None
        };
        let measured = pairs.iter().take(3).map(|pair| {
            let outcome = measure_common(self.lead, follower, pair, self.progress)?;
            Ok((pair.clone(), outcome))
        });
        for found_pair in measured.chain(past.map(Ok)) {
            let (pair, outcome) = found_pair?;
            let channels = format!(
                "{} {} and {} {}",
                self.joint.lead.unit,
                pair.lead + 1,
                self.candidate.take.unit,
                pair.follower + 1
            );
            match outcome {
                Outcome::Locked(measured) => {
                    found.level = common_level(&pair, &self.joint.lead.unit);
                    found.common = Some((*measured, channels));
                    return Ok(());
                }
                Outcome::NotEstablished {
                    signs,
                    why,
                    candidates,
                } => {
                    found.unlocked_signs.extend(signs);
                    found.unlocked_reasons.push(format!("{channels}: {why}"));
                    found.candidates.extend(candidates);
                }
            }
        }
        Ok(())
    }

    fn room(&self, follower: &TakeSound, guess: &Guess, found: &mut Evidences) -> Result<()> {
        let request = AcousticRequest {
            lead: self.lead,
            follower,
            pairs: None,
            guess: *guess,
            spacing_m: self.options.spacing_m,
        };
        let heard = measure_acoustic(&request, self.progress)?;
        match (heard.outcome, heard.lag) {
            (Outcome::Locked(measured), Some(lag)) => {
                found.room = Some(RoomEvidence {
                    measured: *measured,
                    content_lag: lag.pooled,
                });
            }
            (Outcome::Locked(_), None) => {}
            (
                Outcome::NotEstablished {
                    signs,
                    why,
                    candidates,
                },
                _,
            ) => {
                found.unlocked_signs.extend(signs);
                found
                    .unlocked_reasons
                    .push(format!("the sound of the room: {why}"));
                found.candidates.extend(candidates);
            }
        }
        Ok(())
    }

    fn named_pair(&self, follower: &TakeSound) -> Option<(usize, usize)> {
        let (lead, other) = (&self.joint.lead.unit, &self.candidate.take.unit);
        self.options.common.iter().find_map(|NamedPair { a, b }| {
            let (x, y) = sides(lead, other, (&a.unit, a), (&b.unit, b))?;
            let (x, y) = (x.channel as usize - 1, y.channel as usize - 1);
            (x < self.lead.channels() && y < follower.channels()).then_some((x, y))
        })
    }

    fn manual(&self) -> Option<ManualEvidence> {
        let (lead, other) = (&self.joint.lead.unit, &self.candidate.take.unit);
        self.options.ties.iter().find_map(|ManualTie { a, b }| {
            let (x, y) = sides(lead, other, (&a.unit, a), (&b.unit, b))?;
            let inside = x.position < self.joint.lead.length.0 as f64
                && y.position < self.candidate.take.length.0 as f64;
            inside.then_some(ManualEvidence {
                lead: LeadPos(self.lead.seams().mended(x.position)),
                follower: UnitPos(y.position),
            })
        })
    }

    fn write_down(&self, claim: Claim, evidences: &Evidences) -> Member {
        let take = self.candidate.take;
        let mut claim = claim;
        let placement = placed(&mut claim, self.options.resample, take.length.0);
        let measured = claim.measured.as_ref();
        let level = evidences.level.as_ref();
        claim
            .findings
            .extend(level.and_then(|level| level_finding(level, &take.unit)));
        claim.findings.extend(
            measured.map_or_else(Vec::new, |m| findings(&m.slips, Side::Follower, take.rate)),
        );
        let mut story = claim.story;
        story.extend(evidences.unlocked_reasons.iter().cloned());
        Member {
            unit: take.unit.clone(),
            role: Role::Follower,
            take: take.name.clone(),
            length_samples: take.length.0,
            sample_rate: None,
            parts: parts_of(take),
            channels: channels_of(take),
            basis: claim.basis,
            status: claim.status,
            offset_samples: claim.offset.0,
            offset_sigma_samples: claim.offset_sigma.0,
            offset_bound_samples: claim.offset_bound.0,
            rate_ppm: claim.rate.0,
            rate_sigma_ppm: claim.rate_sigma.0,
            rate_measured: claim.rate_measured,
            knots: claim
                .clock
                .knots()
                .iter()
                .map(|knot| [knot.follower.0, knot.lead.0])
                .collect(),
            slips: measured.map_or_else(Vec::new, |m| records(&m.slips, Side::Follower)),
            placement,
            findings: claim.findings,
            evidence: Some(Evidence {
                story,
                signs: measured
                    .map_or(&evidences.unlocked_signs, |m| &m.signs)
                    .iter()
                    .chain(&claim.signs)
                    .cloned()
                    .collect(),
                ties: measured.map(tie_records).unwrap_or_default(),
                band: measured.map(band).unwrap_or_default(),
                residual_rms_samples: measured.map_or(0.0, |m| m.residual_rms.0),
                candidates: evidences
                    .candidates
                    .iter()
                    .map(|(at, score)| [at.0, *score])
                    .collect(),
                common_level: evidences.level.clone(),
                through: claim.through,
            }),
        }
    }
}
