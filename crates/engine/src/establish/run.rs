//! Cards' takes in, the alignment out: every joint take's followers measured, claimed and written down as plain data.

use crate::alignment::{
    Alignment, Basis, Evidence, FORMAT, JointTake, Member, Placement, Role, SettingsTable, Start,
    Status, VERSION,
};
use crate::clock::acoustic::{AcousticRequest, measure_acoustic};
use crate::clock::common::{common_clock_shift, measure_common};
use crate::clock::{Clock, Outcome};
use crate::error::{Error, Kind, Result};
use crate::finding::{Finding, Weight};
use crate::pair::{Candidate, Joint, choose_lead, joint_takes, lead_rule};
use crate::progress::Progress;
use crate::signal::Sound;
use crate::take::{Survey, TakeSound, settings_table};
use crate::tie::Guess;
use crate::tie::common::{Verdict, find_common, verify_common};
use crate::units::{LeadPos, Samples, UnitPos};

use super::claim::{
    Circumstances, Claim, Evidences, ManualEvidence, RoomEvidence, StampEvidence, claim,
};
use super::level::{common_level, level_finding};
use super::options::{ManualTie, NamedPair, Options, Resample};
use super::record::{
    band, channels_of, lead_member, other_rate, parts_of, tie_records, unreadable_member,
};

/// The search for a common signal goes this far either side of the stamps, seconds; and this far without stamps.
const SEARCH_S: (f64, f64) = (0.5, 10.0);
/// A constant fraction of a sample larger than this is told when samples are copied.
const TOLD_FRACTION: f64 = 0.02;
/// A clock whose whole take stays this close to one whole number of samples needs no resampling when only the room's sound
/// measured it: below what summed signals show (a quarter of a sample is 0.5 dB at 20 kHz).
const ROOM_EXACT: f64 = 0.25;

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
    let lead = TakeSound::open(&joint.lead.parts)?;
    let mut members = vec![lead_member(joint.lead)];
    for candidate in &joint.followers {
        let scene = Scene {
            joint,
            candidate,
            lead: &lead,
            options,
            progress,
        };
        members.push(
            scene
                .member()
                .unwrap_or_else(|error| unreadable_member(candidate.take, &error)),
        );
    }
    let counting = joint.lead.stamp.as_ref().and_then(|stamp| stamp.counting);
    Ok(JointTake {
        name: joint.name.clone(),
        sample_rate: joint.lead.rate.0,
        lead: joint.lead.unit.clone(),
        lead_rule: String::new(),
        length_samples: joint.lead.length.0,
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

/// One follower's take against the lead's.
struct Scene<'a> {
    joint: &'a Joint<'a>,
    candidate: &'a Candidate<'a>,
    lead: &'a TakeSound,
    options: &'a Options,
    progress: &'a dyn Progress,
}

impl Scene<'_> {
    fn member(&self) -> Result<Member> {
        let take = self.candidate.take;
        if take.rate != self.joint.lead.rate {
            return Ok(other_rate(take, self.joint.lead));
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
        Ok(self.write_down(claim, &evidences))
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
        for pair in pairs.iter().take(3) {
            let channels = format!(
                "{} {} and {} {}",
                self.joint.lead.unit,
                pair.lead + 1,
                self.candidate.take.unit,
                pair.follower + 1
            );
            match measure_common(self.lead, follower, pair, self.progress)? {
                Outcome::Locked(measured) => {
                    found.level = common_level(pair, &self.joint.lead.unit);
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
                lead: LeadPos(x.position),
                follower: UnitPos(y.position),
            })
        })
    }

    fn write_down(&self, claim: Claim, evidences: &Evidences) -> Member {
        let take = self.candidate.take;
        let mut claim = claim;
        let placement = self.placement(&mut claim);
        let measured = claim.measured.as_ref();
        let level = evidences.level.as_ref();
        claim
            .findings
            .extend(level.and_then(|level| level_finding(level, &take.unit)));
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
            slips: Vec::new(),
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

    /// Bit for bit where the clocks were common, else resampled. Offset and clock stay as measured: copying rounds the offset.
    fn placement(&self, claim: &mut Claim) -> Placement {
        if claim.status == Status::NotEstablished {
            return Placement::NotPlaced;
        }
        let shift = match (&claim.measured, claim.basis) {
            (Some(measured), Basis::CommonSignal) => common_clock_shift(measured),
            (Some(_), _) => whole_shift(&claim.clock),
            (None, _) => Some(claim.offset.0.round() as i64),
        };
        let exact = match self.options.resample {
            Resample::Auto => shift,
            Resample::Always => None,
            Resample::Never => Some(shift.unwrap_or(claim.offset.0.round() as i64)),
        };
        let Some(shift) = exact else {
            return Placement::Resampled;
        };
        claim.findings.extend(self.left_in(claim, shift));
        claim
            .story
            .push("the samples are copied bit for bit at a whole shift".into());
        Placement::Exact
    }

    /// What copying at a whole shift leaves in: a fraction of a sample where the clocks were common, the drift where a
    /// person asked for no resampling.
    fn left_in(&self, claim: &Claim, shift: i64) -> Option<Finding> {
        let end = self.candidate.take.length.0 as f64;
        let away =
            |follower: f64| claim.clock.lead_at(UnitPos(follower)).0 - follower - shift as f64;
        let (first, last) = (away(0.0), away(end));
        if (last - first).abs() > 1.0 {
            return Some(
                Finding::new(
                    "drift-left-in",
                    Weight::Warn,
                    "not resampled, as asked: the drift stays in",
                )
                .measured(format!("{last:+.1} samples at the end"), "0")
                .then("leave --resample at auto to take it out"),
            );
        }
        (first.abs() > TOLD_FRACTION).then(|| {
            Finding::new(
                "fraction-left-in",
                Weight::Note,
                "the clocks were common; copying bit for bit leaves a constant fraction of a sample",
            )
            .measured(format!("{first:+.2} samples"), "0")
            .because("converters delay by fractions of a sample")
            .then("nothing; --resample always takes it out")
        })
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

fn whole_shift(clock: &Clock) -> Option<i64> {
    let shift = clock.knots()[0].lead.0 - clock.knots()[0].follower.0;
    let common = clock
        .knots()
        .iter()
        .all(|knot| (knot.lead.0 - knot.follower.0 - shift.round()).abs() <= ROOM_EXACT);
    common.then_some(shift.round() as i64)
}
