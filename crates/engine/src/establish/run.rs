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
use crate::finding::{Finding, Weight};
use crate::pair::{Candidate, Joint, choose_lead, joint_takes, lead_rule};
use crate::progress::Progress;
use crate::signal::{Mended, Sound};
use crate::take::{Survey, TakeSound, settings_table};
use crate::tie::Guess;
use crate::tie::common::{Verdict, find_common, verify_common};
use crate::units::{LeadPos, Samples, UnitPos};

use super::claim::{
    Circumstances, Claim, Evidences, ManualEvidence, RoomEvidence, StampEvidence, claim,
};
use super::level::{common_level, level_finding};
use super::options::{ManualTie, NamedPair, Options};
use super::place::placed;
use super::record::{
    band, channels_of, lead_member, other_rate, parts_of, tie_records, unreadable_member,
};
use super::slips::{findings, mend_lead, on_lead, other_lead, records};

/// The search for a common signal goes this far either side of the stamps, seconds; and this far without stamps.
const SEARCH_S: (f64, f64) = (0.5, 10.0);
/// A lead whose file slips in more places is no lead.
const MOST_LEAD_SLIPS: usize = 256;
/// Measures everything on the cards.
///
/// # Errors
/// When a named unit does not exist, or no unit holds a take.
pub fn align(survey: &Survey, options: &Options, progress: &dyn Progress) -> Result<Alignment> {
    check_names(survey, options)?;
    let lead = choose_lead(survey, options.lead.as_deref())?;
    let rule = lead_rule(survey, lead, options.lead.as_deref());
    let mut findings = Vec::new();
    let joints = joint_takes(survey, lead).drain_into(&mut findings);
    let mut joint_takes = Vec::new();
    for joint in &joints {
        match align_joint(joint, options, progress) {
            Ok(joint_take) => joint_takes.push(JointTake {
                lead_rule: rule.clone(),
                ..joint_take
            }),
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

fn check_names(survey: &Survey, options: &Options) -> Result<()> {
    let common = options
        .common
        .iter()
        .flat_map(|pair| [&pair.a.unit, &pair.b.unit]);
    let ties = options
        .ties
        .iter()
        .flat_map(|tie| [&tie.a.unit, &tie.b.unit]);
    for name in common.chain(ties) {
        if !survey
            .units
            .iter()
            .any(|unit| unit.name.eq_ignore_ascii_case(name))
        {
            let names: Vec<&str> = survey.units.iter().map(|unit| unit.name.as_str()).collect();
            return Err(Error::new(Kind::Usage, format!("there is no unit {name}"))
                .then(format!("the units are {}", names.join(", "))));
        }
    }
    if !options.spacing_m.is_finite() || options.spacing_m < 0.0 {
        return Err(Error::new(
            Kind::Usage,
            format!("--spacing {} is no distance", options.spacing_m),
        )
        .then("give metres, 0 or more"));
    }
    Ok(())
}

fn align_joint(joint: &Joint<'_>, options: &Options, progress: &dyn Progress) -> Result<JointTake> {
    let file = TakeSound::open(&joint.lead.parts)?;
    let mut on_lead: Vec<Slip> = Vec::new();
    let (lead, members) = loop {
        let lead = Mended::new(&file, &seams(&on_lead, Side::Lead));
        let (members, new) = measured_members(joint, &lead, options, progress);
        if new.is_empty() {
            break (lead, members);
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
    let mut members = members;
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

/// The members against the lead as it is mended so far. Slips of the lead's file that come to light are given back at once:
/// what is measured on a lead that slips is measured again.
fn measured_members(
    joint: &Joint<'_>,
    lead: &Mended<'_>,
    options: &Options,
    progress: &dyn Progress,
) -> (Vec<Member>, Vec<Slip>) {
    let mut members = vec![lead_member(joint.lead)];
    for candidate in &joint.followers {
        let scene = Scene {
            joint,
            candidate,
            lead,
            options,
            progress,
        };
        let (member, on_lead) = scene
            .member()
            .unwrap_or_else(|error| (unreadable_member(candidate.take, &error), Vec::new()));
        members.push(member);
        if !on_lead.is_empty() {
            return (members, on_lead);
        }
    }
    (members, Vec::new())
}

/// One follower's take against the lead's.
struct Scene<'a> {
    joint: &'a Joint<'a>,
    candidate: &'a Candidate<'a>,
    lead: &'a Mended<'a>,
    options: &'a Options,
    progress: &'a dyn Progress,
}

impl Scene<'_> {
    /// The member, and the slips of the lead's file that it brought to light.
    fn member(&self) -> Result<(Member, Vec<Slip>)> {
        let take = self.candidate.take;
        if take.rate != self.joint.lead.rate {
            return Ok((other_rate(take, self.joint.lead), Vec::new()));
        }
        let follower = TakeSound::open(&take.parts)?;
        let evidences = self.evidences(&follower)?;
        let around = Circumstances {
            rate: take.rate,
            follower_length: take.length.0,
            spacing_m: self.options.spacing_m,
        };
        let mut claim = claim(&evidences, around);
        if !self.candidate.undecided.is_empty() && claim.basis != Basis::Manual {
            claim.status = Status::NeedsDecision;
            claim
                .findings
                .extend(self.candidate.undecided.iter().cloned());
        }
        let slips = claim
            .measured
            .as_ref()
            .map_or_else(Vec::new, |m| on_lead(m, self.lead.seams()));
        Ok((self.write_down(claim, &evidences), slips))
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
            ..Evidences::default()
        };
        let expected = candidate
            .by_stamps
            .or(candidate.by_calendar)
            .unwrap_or(LeadPos(0.0));
        let reach = if candidate.by_stamps.is_some() {
            SEARCH_S.0
        } else {
            SEARCH_S.1
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
        let pairs = match self.named_pair(follower) {
            Some(named) => match verify_common(self.lead, follower, guess, named)? {
                Verdict::Common(pair) => vec![*pair],
                Verdict::Other { signs, why } => {
                    found.unlocked_signs.extend(signs);
                    found.unlocked_reasons.push(format!(
                        "the channels named with --common do not serve: {why}"
                    ));
                    Vec::new()
                }
            },
            None => {
                let pairs = find_common(self.lead, follower, guess, self.progress)?;
                if pairs.is_empty() {
                    let why = "no pair of channels carries one electrical signal";
                    found.unlocked_reasons.push(why.into());
                }
                pairs
            }
        };
        let named = self.named_pair(follower);
        let past = if pairs.is_empty() {
            find_past_slips(self.lead, follower, guess, named, self.progress)?
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
                    .map_or_else(|| evidences.unlocked_signs.clone(), |m| m.signs.clone()),
                ties: measured.map(tie_records).unwrap_or_default(),
                band: measured.map(band).unwrap_or_default(),
                residual_rms_samples: measured.map_or(0.0, |m| m.residual_rms.0),
                candidates: evidences
                    .candidates
                    .iter()
                    .map(|(at, score)| [at.0, *score])
                    .collect(),
                common_level: evidences.level.clone(),
                through: None,
            }),
        }
    }
}

/// The two sides of an option that names this lead and this follower, lead first.
fn sides<'b, T>(
    lead: &str,
    follower: &str,
    a: (&'b String, &'b T),
    b: (&'b String, &'b T),
) -> Option<(&'b T, &'b T)> {
    let is = |x: &str, y: &str| x.eq_ignore_ascii_case(y);
    if is(a.0, lead) && is(b.0, follower) {
        Some((a.1, b.1))
    } else if is(b.0, lead) && is(a.0, follower) {
        Some((b.1, a.1))
    } else {
        None
    }
}
