//! Takes in, joint takes out: which takes of several units ran together, by their stamps, midnight included.
//!
//! Without a word from the user the lead is the unit with most channels; among equals the one whose takes start
//! earliest, then the first card.

use timecode::day_in_samples;

use crate::error::{Error, Kind, Result};
use crate::finding::{Finding, Warned, Weight};
use crate::take::{Survey, Take, Unit};
use crate::units::LeadPos;

/// Takes shorter than this together are no joint take, seconds.
const SHORTEST_OVERLAP_S: f64 = 1.0;

/// A lead's take and the followers' takes that ran at the same time.
#[derive(Debug, Clone)]
pub struct Joint<'a> {
    /// Name of the output: unique, safe for files.
    pub name: String,
    /// The lead's take.
    pub lead: &'a Take,
    /// What the lead's stamps resolve, samples.
    pub lead_resolution: f64,
    /// The followers' takes.
    pub followers: Vec<Candidate<'a>>,
}

/// A follower's take that may belong to a joint take.
#[derive(Debug, Clone)]
pub struct Candidate<'a> {
    /// The take.
    pub take: &'a Take,
    /// The lead position of its sample 0 by the stamps; `None` when one of the two has no stamp.
    pub by_stamps: Option<LeadPos>,
    /// What its stamps resolve, samples.
    pub resolution: f64,
}

/// Chooses the lead's index in the survey.
///
/// # Errors
/// [`Kind::Usage`] when the named unit is not among the cards, or there is no unit with a take.
pub fn choose_lead(survey: &Survey, named: Option<&str>) -> Result<usize> {
    if let Some(named) = named {
        let found = survey
            .units
            .iter()
            .position(|unit| unit.name.eq_ignore_ascii_case(named));
        return found.ok_or_else(|| {
            let names: Vec<&str> = survey.units.iter().map(|unit| unit.name.as_str()).collect();
            Error::new(Kind::Usage, format!("there is no unit {named}"))
                .then(format!("the units are {}", names.join(", ")))
        });
    }
    let first_stamp = |unit: &Unit| {
        unit.takes
            .iter()
            .filter_map(|t| Some(t.stamp.as_ref()?.samples))
            .min()
    };
    let channels = |unit: &Unit| unit.takes.iter().map(|take| take.channels.len()).max();
    (0..survey.units.len())
        .filter(|&i| !survey.units[i].takes.is_empty())
        .min_by_key(|&i| {
            let unit = &survey.units[i];
            (
                std::cmp::Reverse(channels(unit)),
                first_stamp(unit).unwrap_or(u64::MAX),
                i,
            )
        })
        .ok_or_else(|| Error::new(Kind::Format, "no card holds a readable recording"))
}

/// Finds the joint takes of a survey.
#[must_use]
pub fn joint_takes(survey: &Survey, lead: usize) -> Warned<Vec<Joint<'_>>> {
    let mut findings = Vec::new();
    let lead_unit = &survey.units[lead];
    let mut joints = Vec::new();
    for (index, take) in lead_unit.takes.iter().enumerate() {
        let mut followers = Vec::new();
        for unit in survey
            .units
            .iter()
            .filter(|unit| unit.name != lead_unit.name)
        {
            followers.extend(candidates(take, unit, lead_unit, index, &mut findings));
        }
        joints.push(Joint {
            name: String::new(),
            lead: take,
            lead_resolution: lead_unit
                .stamp_resolution
                .map_or(1.0, |(samples, _)| samples),
            followers,
        });
    }
    find_alone(survey, lead_unit, &joints, &mut findings);
    joints.retain(|joint| !joint.followers.is_empty());
    name(&mut joints);
    Warned {
        value: joints,
        findings,
    }
}

fn candidates<'a>(
    lead: &Take,
    unit: &'a Unit,
    lead_unit: &Unit,
    index: usize,
    findings: &mut Vec<Finding>,
) -> Vec<Candidate<'a>> {
    let resolution = unit.stamp_resolution.map_or(1.0, |(samples, _)| samples);
    let stamped: Vec<Candidate> = unit
        .takes
        .iter()
        .filter_map(|take| {
            let offset = offset_by_stamps(lead, take)?;
            let overlap = overlap_s(lead, take, offset);
            (overlap >= SHORTEST_OVERLAP_S).then_some(Candidate {
                take,
                by_stamps: Some(offset),
                resolution,
            })
        })
        .collect();
    if !stamped.is_empty() {
        return stamped;
    }
    // without stamps: the take of the same place in the order, when both units hold as many
    let unstamped = unit.takes.iter().all(|take| take.stamp.is_none())
        || lead_unit.takes.iter().all(|take| take.stamp.is_none());
    if unstamped && unit.takes.len() == lead_unit.takes.len() {
        findings.push(
            Finding::new(
                "paired-by-order",
                Weight::Warn,
                "paired by their order on the cards: no stamps",
            )
            .at(format!("{} and {}", lead.name, unit.takes[index].name))
            .then("check in the report that these belong together"),
        );
        return vec![Candidate {
            take: &unit.takes[index],
            by_stamps: None,
            resolution,
        }];
    }
    Vec::new()
}

/// The lead position of a take's sample 0 by the stamps of both, the shorter way round midnight.
fn offset_by_stamps(lead: &Take, follower: &Take) -> Option<LeadPos> {
    let (a, b) = (lead.stamp.as_ref()?, follower.stamp.as_ref()?);
    let day = |take: &Take| {
        let counting = take.stamp.as_ref().and_then(|stamp| stamp.counting);
        counting.map_or(86_400.0 * take.rate.hz(), |counting| {
            day_in_samples(counting, take.rate.0) as f64
        })
    };
    // follower stamp on the lead's nominal rate
    let on_lead = b.samples as f64 * lead.rate.hz() / follower.rate.hz();
    let day = day(lead);
    let mut offset = on_lead - a.samples as f64;
    if offset > day / 2.0 {
        offset -= day;
    } else if offset < -day / 2.0 {
        offset += day;
    }
    Some(LeadPos(offset))
}

fn overlap_s(lead: &Take, follower: &Take, offset: LeadPos) -> f64 {
    let start = offset.0 / lead.rate.hz();
    (start + follower.seconds()).min(lead.seconds()) - start.max(0.0)
}

/// Takes that ran with no other unit's, with the nearest one and the time between.
fn find_alone(
    survey: &Survey,
    lead_unit: &Unit,
    joints: &[Joint<'_>],
    findings: &mut Vec<Finding>,
) {
    for unit in &survey.units {
        for take in &unit.takes {
            let is_lead = unit.name == lead_unit.name;
            let joined = joints.iter().any(|joint| {
                if is_lead {
                    std::ptr::eq(joint.lead, take) && !joint.followers.is_empty()
                } else {
                    joint
                        .followers
                        .iter()
                        .any(|follower| std::ptr::eq(follower.take, take))
                }
            });
            if !joined {
                findings.push(alone(survey, unit, take));
            }
        }
    }
}

fn alone(survey: &Survey, unit: &Unit, take: &Take) -> Finding {
    let nearest = survey
        .units
        .iter()
        .filter(|other| other.name != unit.name)
        .flat_map(|other| other.takes.iter().map(move |near| (other, near)))
        .filter_map(|(other, near)| {
            let between = -overlap_s(take, near, offset_by_stamps(take, near)?);
            Some((between, format!("{} {}", other.name, near.name)))
        })
        .min_by(|a, b| a.0.total_cmp(&b.0));
    let finding = Finding::new(
        "ran-alone",
        Weight::Note,
        "no other unit ran during this take; not joined",
    )
    .at(format!("{} {}", unit.name, take.name));
    match nearest {
        Some((between, name)) => finding.measured(
            format!("nearest is {name}, {between:.1} s away by the stamps"),
            format!("an overlap of {SHORTEST_OVERLAP_S} s"),
        ),
        None => finding
            .because("no stamps to compare")
            .then("record with linked timecode"),
    }
}

/// Names outputs after the lead's take, made safe for any file system and unique.
fn name(joints: &mut [Joint<'_>]) {
    let mut used = std::collections::HashSet::new();
    for joint in joints {
        let safe: String = joint
            .lead
            .name
            .chars()
            .map(|c| {
                if c.is_control() || r#"/\:*?"<>|"#.contains(c) {
                    '-'
                } else {
                    c
                }
            })
            .take(120)
            .collect();
        let base = if safe.trim().is_empty() {
            "joint-take".into()
        } else {
            safe
        };
        let mut candidate = base.clone();
        let mut number = 2;
        while !used.insert(candidate.to_lowercase()) {
            candidate = format!("{base}-{number}");
            number += 1;
        }
        joint.name = candidate;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::take::Stamp;
    use crate::units::{SampleCount, SampleRate};
    use timecode::{Counting, FrameRate};

    fn take(unit: &str, name: &str, stamp_s: f64, seconds: f64) -> Take {
        Take {
            unit: unit.into(),
            name: name.into(),
            parts: Vec::new(),
            channels: vec![String::new(); 2],
            rate: SampleRate(48_000),
            length: SampleCount((seconds * 48_000.0) as u64),
            bits: 24,
            float: false,
            stamp: Some(Stamp {
                samples: (stamp_s * 48_000.0) as u64,
                counting: Counting::new(FrameRate::F30, false).ok(),
                source: "bext",
            }),
            date: String::new(),
            time: String::new(),
            recorded: None,
            notes: crate::take::Notes::default(),
            other_chunks: Vec::new(),
            undecided: Vec::new(),
        }
    }

    fn survey(units: Vec<(&str, Vec<Take>)>) -> Survey {
        let units = units
            .into_iter()
            .map(|(name, takes)| Unit {
                name: name.into(),
                card: name.into(),
                takes,
                stamp_resolution: Some((1.0, 1)),
                record_run: false,
            })
            .collect();
        Survey {
            units,
            cards: Vec::new(),
        }
    }

    #[test]
    fn takes_either_side_of_midnight_run_together() {
        // NORTH rolls from 23:50:00, SOUTH starts at 00:01:00: eleven minutes later
        let survey = survey(vec![
            ("NORTH", vec![take("NORTH", "N1", 85_800.0, 1800.0)]),
            ("SOUTH", vec![take("SOUTH", "S1", 60.0, 600.0)]),
        ]);
        let joints = joint_takes(&survey, 0).value;
        assert_eq!(
            joints[0].followers[0].by_stamps,
            Some(LeadPos(660.0 * 48_000.0))
        );
    }

    #[test]
    fn takes_that_never_overlap_are_told_with_the_nearest() {
        let survey = survey(vec![
            ("NORTH", vec![take("NORTH", "N1", 1000.0, 60.0)]),
            ("SOUTH", vec![take("SOUTH", "S1", 1090.0, 60.0)]),
        ]);
        let found = joint_takes(&survey, 0);
        assert!(found.value.is_empty());
        assert_eq!(found.findings.len(), 2);
        assert!(
            found.findings[0].value.contains("SOUTH S1, 30.0 s away"),
            "{:?}",
            found.findings[0]
        );
    }

    #[test]
    fn the_lead_is_the_user_s_or_the_one_with_most_channels() {
        let mut wide = take("SOUTH", "S1", 2.0, 60.0);
        wide.channels = vec![String::new(); 6];
        let survey = survey(vec![
            ("NORTH", vec![take("NORTH", "N1", 1.0, 60.0)]),
            ("SOUTH", vec![wide]),
        ]);
        assert_eq!(choose_lead(&survey, None).expect("two units"), 1);
        assert_eq!(
            choose_lead(&survey, Some("north")).expect("there is one"),
            0
        );
        let error = choose_lead(&survey, Some("WEST"))
            .expect_err("none")
            .to_string();
        assert!(error.contains("NORTH, SOUTH"), "{error}");
    }
}
