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
mod explain;
mod name;
#[cfg(test)]
mod tests;

use crate::finding::{Finding, Warned};
use crate::take::{Survey, Take, Unit};
use crate::units::LeadPos;

pub use lead::{choose_lead, lead_rule};

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
    /// What its stamps resolve, samples of the lead.
    pub resolution: f64,
    /// What a person must decide before it can be used: the take's own and what speaks against the pairing. Each stands
    /// among the survey's or the pairing's findings as well.
    pub undecided: Vec<Finding>,
}

/// Finds the joint takes of a survey; `lead` is the place of the lead among its units.
///
/// A joint take has at least one follower; takes that ran alone are told among the findings. A follower's take that ran
/// during two takes of the lead stands in both joint takes.
#[must_use]
pub fn joint_takes(survey: &Survey, lead: usize) -> Warned<Vec<Joint<'_>>> {
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
        let pair = Pair {
            lead: lead_unit,
            unit,
        };
        edges::join(&pair, &mut joints, &mut findings);
        unstamped::join(&pair, &mut joints, &mut findings);
        explain::find_shifted(&pair, &joints, &mut findings);
    }
    alone::find(survey, lead_unit, &joints, &mut findings);
    joints.retain(|joint| !joint.followers.is_empty());
    name::name(&mut joints);
    Warned {
        value: joints,
        findings,
    }
}

/// The lead and one follower.
#[derive(Debug, Clone, Copy)]
struct Pair<'a> {
    lead: &'a Unit,
    unit: &'a Unit,
}

impl<'a> Pair<'a> {
    /// What both are called together.
    fn place(&self) -> String {
        format!("{} and {}", self.lead.name, self.unit.name)
    }

    /// Whether stamps tell when the two takes ran.
    fn stamped(&self, lead: &Take, take: &Take) -> bool {
        let usable = |unit: &Unit, take: &Take| take.stamp.is_some() && !unit.record_run;
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
