//! The cards of a calibration take in, entries for the calibrations file out: what stands between the stamps and the truth
//! of every pair of units in their modes.

use crate::alignment::{Alignment, Basis, Member, Status};
use crate::calibration::{Entry, Observation, SetUnit, constant_of};
use crate::error::Result;
use crate::finding::{Finding, Weight};
use crate::pair::{Joint, choose_lead, joint_takes};
use crate::progress::Progress;
use crate::take::{Survey, Take};
use crate::units::UnitPos;

use super::options::Options;
use super::run::align;

/// What came of calibrating.
#[derive(Debug, Clone)]
pub struct Calibrated {
    /// One entry a pair of units in their modes.
    pub entries: Vec<Entry>,
    /// What stands in the way of others, and what measuring gave to say.
    pub findings: Vec<Finding>,
}

/// Measures a calibration take, or several: one signal into an input of every unit.
///
/// # Errors
/// As [`align`].
pub fn calibrate(
    survey: &Survey,
    options: &Options,
    progress: &dyn Progress,
) -> Result<Calibrated> {
    let lead = choose_lead(survey, options.lead.as_deref())?;
    let alignment = align(survey, options, progress)?;
    // what pairing gives to say is told with the alignment
    let joints = joint_takes(survey, lead, &[]).value;
    let mut findings = alignment.findings.clone();
    let mut pairs: Vec<PairTakes> = Vec::new();
    for joint in &joints {
        let known = heard(joint, &alignment, &mut findings);
        findings.extend(loud(joint, &alignment));
        for (index, second) in known.iter().enumerate() {
            for first in std::iter::once(&Heard::lead(joint)).chain(&known[..index]) {
                take_in(&mut pairs, first, second);
            }
        }
    }
    let mut entries = Vec::new();
    for pair in pairs {
        match pair.entry() {
            Ok(entry) => entries.push(entry),
            Err(finding) => findings.push(*finding),
        }
    }
    Ok(Calibrated { entries, findings })
}

/// A unit's take as it was heard on the common signal.
struct Heard<'a> {
    take: &'a Take,
    /// Where it lies on the lead; `None` for the lead itself.
    member: Option<&'a Member>,
    /// The lead position of its sample 0 by the stamps.
    by_stamps: f64,
}

impl<'a> Heard<'a> {
    fn lead(joint: &Joint<'a>) -> Self {
        Self {
            take: joint.lead,
            member: None,
            by_stamps: 0.0,
        }
    }

    /// The position on this unit of a lead position.
    fn position(&self, lead: f64) -> Option<f64> {
        match self.member {
            None => Some(lead),
            Some(member) => {
                let clock = member.clock()?;
                Some(clock.follower_at(crate::units::LeadPos(lead)).0)
            }
        }
    }

    fn sigma(&self) -> f64 {
        self.member.map_or(0.0, |m| m.offset_sigma_samples)
    }
}

/// The followers of a joint take that can serve; why the others cannot.
fn heard<'a>(
    joint: &Joint<'a>,
    alignment: &'a Alignment,
    findings: &mut Vec<Finding>,
) -> Vec<Heard<'a>> {
    let take = alignment
        .joint_takes
        .iter()
        .find(|take| take.name == joint.name);
    let members = take.map_or(&[][..], |take| &take.members);
    let mut known = Vec::new();
    for candidate in &joint.followers {
        let member = members.iter().find(|member| {
            member.unit == candidate.take.unit && member.take == candidate.take.name
        });
        let resolution = candidate.resolution.max(joint.lead_resolution);
        let place = format!("{} {}", joint.name, candidate.take.unit);
        let firm = member.filter(|member| {
            member.basis == Basis::CommonSignal && member.status == Status::Established
        });
        match (firm, candidate.by_stamps) {
            (Some(member), _) if member.sample_rate.is_some() => {
                findings.push(other_rate().at(place));
            }
            (Some(member), Some(by_stamps)) if resolution <= 1.0 => known.push(Heard {
                take: candidate.take,
                member: Some(member),
                by_stamps: by_stamps.0,
            }),
            (Some(_), by_stamps) => findings.push(coarse(by_stamps.map(|_| resolution)).at(place)),
            (None, _) => findings.push(unheard(member).at(place)),
        }
    }
    known
}

/// What measuring gave to say about the followers that is more than a note.
fn loud(joint: &Joint<'_>, alignment: &Alignment) -> Vec<Finding> {
    let takes = alignment
        .joint_takes
        .iter()
        .filter(|take| take.name == joint.name);
    let members = takes.flat_map(|take| &take.members);
    members
        .flat_map(|member| member.findings.iter().map(move |finding| (member, finding)))
        .filter(|(_, finding)| finding.weight == Weight::Warn)
        .map(|(member, finding)| {
            let mut finding = finding.clone();
            if finding.place.is_empty() {
                finding.place = format!("{} {}", joint.name, member.unit);
            }
            finding
        })
        .collect()
}

fn other_rate() -> Finding {
    Finding::new(
        "calibration-needs-one-rate",
        Weight::Ask,
        "nothing was stored: the units ran at different sampling rates",
    )
    .because("a stored offset holds for units at one rate")
    .then("set the units to one sampling rate and calibrate again")
}

fn coarse(resolution: Option<f64>) -> Finding {
    let value = match resolution {
        Some(samples) => format!("stamps good to {samples:.0} samples"),
        None => "no stamps on both units".into(),
    };
    Finding::new(
        "calibration-needs-fine-stamps",
        Weight::Ask,
        "nothing was stored: what is added to stamps that do not tell the sample means nothing",
    )
    .measured(value, "stamps good to a sample on both units")
    .because("a unit stamps whole timecode frames or none, or so few takes are there that it cannot be told")
    .then("record a common signal on every take instead; a stored offset serves units that stamp to the sample")
}

fn unheard(member: Option<&Member>) -> Finding {
    let why = member.map_or(String::new(), |member| {
        let story = member.evidence.iter().flat_map(|e| e.story.iter().cloned());
        story.collect::<Vec<_>>().join("; ")
    });
    Finding::new(
        "calibration-needs-common-signal",
        Weight::Ask,
        "nothing was stored: no common signal places this unit's take beyond doubt",
    )
    .measured(
        member.map_or("no such take", |member| match member.basis {
            Basis::CommonSignal => "a common signal that leaves a decision open",
            _ => "no common signal",
        }),
        "one electrical signal into an input of every unit",
    )
    .because(why)
    .then("feed one programme or noise, not a steady tone, into an input of every unit for half a minute and calibrate again")
}

/// All takes of one pair of units in one set of modes.
struct PairTakes {
    lead: SetUnit,
    follower: SetUnit,
    observations: Vec<Observation>,
    date: String,
    sources: Vec<String>,
}

fn take_in(pairs: &mut Vec<PairTakes>, first: &Heard<'_>, second: &Heard<'_>) {
    let Some(member) = second.member else {
        return;
    };
    let start = member
        .clock()
        .map(|clock| clock.lead_at(UnitPos(0.0)).0)
        .unwrap_or(member.offset_samples);
    let Some(measured) = first.position(start) else {
        return;
    };
    let (lead, follower) = (SetUnit::of(first.take), SetUnit::of(second.take));
    let known = pairs
        .iter()
        .position(|pair| pair.lead == lead && pair.follower == follower);
    let index = known.unwrap_or_else(|| {
        pairs.push(PairTakes {
            lead,
            follower,
            observations: Vec::new(),
            date: String::new(),
            sources: Vec::new(),
        });
        pairs.len() - 1
    });
    let pair = &mut pairs[index];
    pair.observations.push(Observation {
        measured,
        sigma: first.sigma().hypot(second.sigma()),
        by_stamps: second.by_stamps - first.by_stamps,
    });
    if second.take.date > pair.date {
        pair.date.clone_from(&second.take.date);
    }
    pair.sources.push(second.take.name.clone());
}

impl PairTakes {
    fn entry(self) -> std::result::Result<Entry, Box<Finding>> {
        let names = format!("{} and {}", self.lead.unit, self.follower.unit);
        let constant = match constant_of(&self.observations) {
            Some(Ok(constant)) => constant,
            Some(Err(unsteady)) => {
                return Err(Box::new(
                    Finding::new(
                        "calibration-unsteady",
                        Weight::Ask,
                        format!("nothing was stored for {names}: stamps and truth do not differ by one constant"),
                    )
                    .measured(
                        format!(
                            "{:+.1} to {:+.1} samples over {} takes",
                            unsteady.between.0,
                            unsteady.between.1,
                            self.observations.len()
                        ),
                        format!("within {:.1} samples", unsteady.allowed),
                    )
                    .because("the units ran on their own for long after the jam, or were jammed again between the takes")
                    .then("jam right before each calibration take, or keep the timecode cable in"),
                ));
            }
            None => {
                return Err(Box::new(Finding::new(
                    "calibration-empty",
                    Weight::Ask,
                    format!("nothing was stored for {names}: no take serves"),
                )));
            }
        };
        Ok(Entry {
            lead: self.lead,
            follower: self.follower,
            constant_samples: constant.samples,
            sigma_samples: constant.sigma,
            takes: constant.takes,
            scatter_samples: constant.scatter,
            date: self.date,
            note: String::new(),
            sources: self.sources,
        })
    }
}
