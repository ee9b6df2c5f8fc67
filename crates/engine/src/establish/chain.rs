//! Followers without a common signal with the lead in, the same placed through another follower out, where they share one
//! with that.
//!
//! The rule. A follower is placed through another when it has no common signal with the lead, timecode included, and no person's tie, when a
//! signal common to both followers locks, when the other's place is established, and when going through it costs no more
//! than a sample of bound: so two followers that heard one wire stay together even where stamps would place each alike
//! well. The basis is the other's, the bound is the sum of the two bounds, sigmas add up. A follower goes only through one
//! with a smaller bound (among equals the earlier card), so that no ring comes about.

use crate::alignment::Basis;
use crate::clock::common::measure_common;
use crate::clock::{Clock, Measured, Outcome, Side};
use crate::error::Result;
use crate::finding::{Finding, Weight};
use crate::progress::Progress;
use crate::tie::common::{CommonPair, search_common};
use crate::tie::{Guess, Source, Tie};
use crate::units::{LeadPos, Ppm, Samples, UnitPos};

use super::claim::{Claim, SMALLEST_BOUND};
use super::level::common_level;
use super::scene::SEARCH_S;
use super::several::{Placed, pairs};

/// Going through another follower may cost this much bound, samples.
const COST: f64 = 1.0;

/// Places every follower through another where the rule allows.
///
/// # Errors
/// When a file cannot be read.
pub fn place_through(placed: &mut [Placed<'_>], progress: &dyn Progress) -> Result<()> {
    let mut tried: Vec<(usize, usize)> = Vec::new();
    while let Some((own, via)) = next(placed, &tried) {
        tried.push((own, via));
        let Some((near, pair)) = between(&placed[via], &placed[own], progress)? else {
            continue;
        };
        let link = Link {
            near: &near,
            via: &placed[via].claim,
            via_clock: &placed[via].clock(),
            via_unit: placed[via].unit(),
            own_unit: placed[own].unit(),
            channels: (pair.lead, pair.follower),
        };
        let own_bound = placed[own]
            .is_firm()
            .then_some(placed[own].claim.offset_bound);
        let Some(mut claim) = link.claim(own_bound) else {
            continue;
        };
        // how the takes came together stays worth telling
        let paired = placed[own].claim.findings.iter();
        let paired: Vec<Finding> = paired
            .filter(|f| f.code == "paired-by-sound")
            .cloned()
            .collect();
        claim.findings.extend(paired);
        let level = common_level(&pair, placed[via].unit());
        placed[own].evidences.level = level;
        placed[own].claim = claim;
    }
    Ok(())
}

/// The next follower to try and the one to go through, most certain first.
fn next(placed: &[Placed<'_>], tried: &[(usize, usize)]) -> Option<(usize, usize)> {
    let bound = |index: usize| match placed[index].is_firm() {
        true => placed[index].claim.offset_bound.0,
        false => f64::INFINITY,
    };
    let may_go = |own: usize| {
        let own = &placed[own];
        own.evidences.common.is_none()
            && own.claim.through.is_none()
            && !matches!(own.claim.basis, Basis::Manual | Basis::TimecodeTrack)
    };
    let mut open: Vec<(usize, usize)> = (0..placed.len())
        .filter(|&own| may_go(own))
        .flat_map(|own| (0..placed.len()).map(move |via| (own, via)))
        .filter(|&(own, via)| {
            let smaller = bound(via)
                .total_cmp(&bound(own))
                .then(via.cmp(&own))
                .is_lt();
            placed[own].unit() != placed[via].unit()
                && placed[via].is_firm()
                && smaller
                && placed[own].candidate.take.rate == placed[via].candidate.take.rate
                && !tried.contains(&(own, via))
        })
        .collect();
    open.sort_by(|a, b| bound(a.1).total_cmp(&bound(b.1)).then(a.cmp(b)));
    open.first().copied()
}

/// The second follower measured on the first by a common signal; `None` when none locks.
fn between(
    via: &Placed<'_>,
    own: &Placed<'_>,
    progress: &dyn Progress,
) -> Result<Option<(Measured, CommonPair)>> {
    let rate_hz = own.candidate.take.rate.hz();
    let (a, b) = (via.candidate, own.candidate);
    // stamps against stamps where both have one: what both were jammed wrong by drops out
    let by_sound = b.by_sound.as_ref().map(|heard| heard.offset_s * rate_hz);
    let (expected, reach_s) = match (by_sound, a.by_stamps, b.by_stamps) {
        (Some(own), ..) => (own - via.claim.offset.0, SEARCH_S.0),
        (None, Some(via), Some(own)) => ((own - via).0, SEARCH_S.0),
        _ => {
            let own = b.by_stamps.or(b.by_calendar).unwrap_or(LeadPos(0.0));
            ((own - via.claim.offset).0, SEARCH_S.1)
        }
    };
    let guess = Guess {
        offset: LeadPos(expected.round()),
        within: Samples(reach_s * rate_hz),
    };
    let lead = via.mended();
    let wired = pairs(via, own).wired;
    let found = search_common(&lead, &own.sound, &guess, &wired, progress)?;
    for pair in found.common.into_iter().take(3) {
        let Outcome::Locked(measured) = measure_common(&lead, &own.sound, &pair, progress)? else {
            continue;
        };
        // a middle unit that turns out to slip after all is nothing to rest on
        let firm = !measured
            .slips
            .iter()
            .any(|slip| slip.side == Side::Lead && slip.certain);
        if firm {
            return Ok(Some((*measured, pair)));
        }
    }
    Ok(None)
}

/// Two measurements after each other.
pub struct Link<'a> {
    /// The follower on the one in the middle.
    pub near: &'a Measured,
    /// What is claimed of the one in the middle.
    pub via: &'a Claim,
    /// Its clock, its slips mended.
    pub via_clock: &'a Clock,
    /// Its name.
    pub via_unit: &'a str,
    /// The follower's name.
    pub own_unit: &'a str,
    /// The channels of the common signal: the middle's, the follower's; 0-based.
    pub channels: (usize, usize),
}

impl Link<'_> {
    /// The claim through the unit in the middle; `None` when it would cost more than the rule allows against the bound
    /// that the follower has of its own.
    pub fn claim(&self, own_bound: Option<Samples>) -> Option<Claim> {
        let near_bound = (3.0 * self.near.offset_sigma.0).max(SMALLEST_BOUND.0);
        let bound = near_bound + self.via.offset_bound.0;
        if own_bound.is_some_and(|own| bound > own.0 + COST) {
            return None;
        }
        let measured = self.measured()?;
        let mut claim = Claim::of_measured(self.via.basis, &measured);
        claim.offset_bound = Samples(bound.max(3.0 * claim.offset_sigma.0));
        claim.rate_measured = self.via.rate_measured;
        claim.through = Some(self.via_unit.into());
        let (own_unit, via_unit) = (self.own_unit, self.via_unit);
        let (a, b) = (self.channels.0 + 1, self.channels.1 + 1);
        claim.story = vec![
            format!(
                "{own_unit} shares no common signal with the lead; it was placed through {via_unit}: the same electrical \
                 signal stands on {via_unit} {a} and {own_unit} {b}"
            ),
            format!(
                "the clock of {own_unit} on {via_unit} and that of {via_unit} on the lead were put one after the other; \
                 sigmas and bounds were added"
            ),
        ];
        claim.story.extend(
            self.via
                .story
                .iter()
                .map(|sentence| format!("{via_unit}: {sentence}")),
        );
        claim.findings.push(
            Finding::new(
                "placed-through",
                Weight::Note,
                format!("{own_unit} was placed through {via_unit}"),
            )
            .measured(
                format!(
                    "±{bound:.3} samples: ±{near_bound:.3} of {own_unit} on {via_unit} and ±{:.3} of {via_unit} on the lead",
                    self.via.offset_bound.0
                ),
                "a common signal with the lead itself",
            )
            .because(format!(
                "{own_unit} shares a common signal with {via_unit} and none with the lead"
            ))
            .then("nothing; wire one signal to all units next time and each is measured on its own"),
        );
        claim.ask_implausible_rate();
        Some(claim)
    }

    fn measured(&self) -> Option<Measured> {
        let clock = self.near.clock.then(self.via_clock)?;
        let ties = self.near.ties.iter().map(|tie| Tie {
            lead: self.via_clock.lead_at(UnitPos(tie.lead.0)),
            source: Source::Through {
                unit: self.via_unit.into(),
                lead: self.channels.0,
                follower: self.channels.1,
            },
            ..tie.clone()
        });
        let ties: Vec<Tie> = ties.collect();
        // the mean rate over what was measured: what lies outside is only prolonged
        let (first, last) = (ties.first()?, ties.last()?);
        let counted = clock.follower_at(last.lead) - clock.follower_at(first.lead);
        let ratio = counted.0 / (last.lead - first.lead).0;
        Some(Measured {
            offset: clock.lead_at(UnitPos(0.0)),
            offset_sigma: Samples(self.near.offset_sigma.0 + self.via.offset_sigma.0),
            rate: Ppm((ratio - 1.0) * 1e6),
            rate_sigma: Ppm(self.near.rate_sigma.0 + self.via.rate_sigma.0),
            ties,
            clock,
            ..self.near.clone()
        })
    }
}
