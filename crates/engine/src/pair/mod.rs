//! Takes in, joint takes out: which takes of several units ran together, by their stamps, midnight included.
//!
//! Stamps decide. Dates and the time of day by the units' calendar clocks are hints: they tell apart two days with the same
//! time of day, and they serve where there are no stamps. Without a word from the user the lead is the unit with most
//! channels; among equals the one whose takes start earliest, then the first card.

mod lead;
mod place;
mod edges;
mod unstamped;
mod alone;
mod false_start;
mod explain;
mod name;
#[cfg(test)]
pub(crate) mod tests;

use crate::finding::{Finding, Warned};
use crate::take::{Survey, Take, Unit};
use crate::units::LeadPos;

pub use lead::{choose_lead, lead_rule};
pub use place::{placed_by_difference, stamps_difference};

/// Takes that ran together for less than this are no joint take, seconds.
const SHORTEST_OVERLAP_S: f64 = 1.0;

/// A lead's take and the followers' takes that ran at the same time.
#[derive(Debug, Clone)]
pub struct Joint<'a> {
    /// Name of the output: unique, safe for files.
    pub name: String,
    /// The lead's take.
    pub lead: &'a Take,
    /// What the lead's stamps resolve, samples of the lead.
    pub lead_resolution: f64,
    /// The followers' takes, unit by unit in the order of the survey, each unit's in order of time. One unit may have
    /// several: it stopped and started again.
    pub followers: Vec<Candidate<'a>>,
}

/// A follower's take that belongs to a joint take as far as stamps, dates or order tell.
#[derive(Debug, Clone)]
pub struct Candidate<'a> {
    /// The take.
    pub take: &'a Take,
    /// The lead position of its sample 0 by the stamps; `None` when one of the two has no stamp that can be used.
    pub by_stamps: Option<LeadPos>,
    /// The lead position of its sample 0 by the calendar clocks, which know whole seconds and are set by hand; only where
    /// stamps do not tell.
    pub by_calendar: Option<LeadPos>,
    /// Where its sound was found on the lead, when stamps, dates and order could not tell.
    pub by_sound: Option<Heard>,
    /// What its stamps resolve, samples of the lead.
    pub resolution: f64,
    /// What a person must decide before it can be used: the take's own and what speaks against the pairing. Each stands
    /// among the survey's or the pairing's findings as well.
    pub undecided: Vec<Finding>,
}

/// A follower's take whose sound was found within a take of the lead.
#[derive(Debug, Clone, PartialEq)]
pub struct Heard {
    /// The place of the follower among the survey's units.
    pub unit: usize,
    /// The place of the lead's take among its takes.
    pub lead_take: usize,
    /// The place of the follower's take among its takes.
    pub take: usize,
    /// The lead's time at the follower's first sample, seconds from the start of the lead's take, to some hundredths.
    pub offset_s: f64,
    /// What this rests on.
    pub ground: Ground,
}

/// What the place of a take that was looked for by what it holds rests on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Ground {
    /// Its own sound.
    Sound {
        /// Height over the scatter of chance.
        height: f64,
        /// That height over the next best place's.
        margin: f64,
        /// How many takes of the unit, this one included, differ from their stamps by the same; 0 without stamps.
        alike: usize,
    },
    /// The labels of the timecode on its tracks.
    Timecode {
        /// How many words both carry.
        words: usize,
        /// Whether both takes have stamps, which say another place.
        contradicted: bool,
    },
    /// The unit's stamps, wrong by what takes around it were found to be wrong by.
    SameDifference {
        /// How many takes that was found on.
        takes: usize,
    },
}

/// Finds the joint takes of a survey; `lead` is the place of the lead among its units. Takes among `heard` are placed
/// there, whatever their stamps say.
///
/// A joint take has at least one follower; takes that ran alone are told among the findings. A follower's take that ran
/// during two takes of the lead stands in both joint takes.
#[must_use]
pub fn joint_takes<'a>(survey: &'a Survey, lead: usize, heard: &[Heard]) -> Warned<Vec<Joint<'a>>> {
    let mut findings = Vec::new();
    let Some(lead_unit) = survey.units.get(lead) else {
        return Warned::quiet(Vec::new());
    };
    let mut joints: Vec<Joint<'_>> = lead_unit
        .takes
        .iter()
        .map(|take| Joint {
            name: String::new(),
            lead: take,
            lead_resolution: lead_unit
                .stamp_resolution
                .map_or(1.0, |(samples, _)| samples),
            followers: Vec::new(),
        })
        .collect();
    for (index, unit) in survey.units.iter().enumerate() {
        if index == lead {
            continue;
        }
        let own: Vec<&Heard> = heard.iter().filter(|heard| heard.unit == index).collect();
        let pair = Pair {
            lead: lead_unit,
            unit,
            heard: own.iter().map(|heard| heard.take).collect(),
        };
        for heard in own {
            let (Some(joint), Some(take)) =
                (joints.get_mut(heard.lead_take), unit.takes.get(heard.take))
            else {
                continue;
            };
            let mut candidate = pair.candidate(joint.lead, take);
            candidate.by_sound = Some(heard.clone());
            joint.followers.push(candidate);
        }
        edges::join(&pair, &mut joints, &mut findings);
        unstamped::join(&pair, &mut joints, &mut findings);
        explain::find_shifted(&pair, &joints, &mut findings);
    }
    let broken_off = false_start::take_out(&mut joints, &mut findings);
    alone::find(survey, lead_unit, &joints, &broken_off, &mut findings);
    joints.retain(|joint| !joint.followers.is_empty());
    name::name(&mut joints);
    Warned {
        value: joints,
        findings,
    }
}

/// The lead and one follower.
#[derive(Debug, Clone)]
struct Pair<'a> {
    lead: &'a Unit,
    unit: &'a Unit,
    /// Takes of the follower that were placed by their sound.
    heard: Vec<usize>,
}

impl<'a> Pair<'a> {
    /// What both are called together.
    fn place(&self) -> String {
        format!("{} and {}", self.lead.name, self.unit.name)
    }

    /// The follower's takes that were not placed by their sound.
    fn takes(&self) -> impl Iterator<Item = &'a Take> + '_ {
        let takes = self.unit.takes.iter().enumerate();
        takes.filter_map(|(index, take)| (!self.heard.contains(&index)).then_some(take))
    }

    /// Whether stamps tell when the two takes ran.
    fn stamped(&self, lead: &Take, take: &Take) -> bool {
        let usable = |unit: &Unit, take: &Take| take.stamp.is_some() && unit.stamps_tell();
        usable(self.lead, lead) && usable(self.unit, take)
    }

    fn candidate(&self, lead: &Take, take: &'a Take) -> Candidate<'a> {
        let resolution = self
            .unit
            .stamp_resolution
            .map_or(1.0, |(samples, _)| samples);
        Candidate {
            take,
            by_stamps: None,
            by_calendar: None,
            by_sound: None,
            resolution: resolution * lead.rate.hz() / take.rate.hz(),
            undecided: take.undecided.clone(),
        }
    }
}

/// Whether a take of a follower stands in one of the joint takes.
fn is_joined(joints: &[Joint<'_>], take: &Take) -> bool {
    let mut followers = joints.iter().flat_map(|joint| &joint.followers);
    followers.any(|follower| std::ptr::eq(follower.take, take))
}
