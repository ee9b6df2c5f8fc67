//! Takes of two units whose stamps do not tell in, where each of them fits the other's by its sound out: over any lag,
//! whole cards at a time.
//!
//! This finds candidates to a hundredth of a second; ties and clocks are measured there afterwards, and decide. A place is
//! believed only when it stands clear of every other place the same seconds could have (repeats, playback, the next take
//! of the same piece).

mod onsets;
mod matching;
mod settle;
mod speed;
#[cfg(test)]
mod tests;

pub use matching::Fit;
use matching::fits;
pub use onsets::Onsets;
use settle::Scope;
pub use speed::{Speed, speed};

use crate::pair::Heard;
use crate::progress::Progress;
use crate::take::{Survey, Take, TakeSound, Unit};

/// Takes that share less than this of the follower's time are no rivals, seconds.
const SAME_SECONDS: f64 = 2.0;

/// Where a follower's take fits a lead's.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// The best place.
    pub fit: Fit,
    /// The height of the best over that of the next best place of the same seconds; infinite without one.
    pub margin: f64,
    /// Other places of the same seconds, best first.
    pub rivals: Vec<Fit>,
}

/// What is looked for: takes of one follower among takes of the lead, by their places in the survey.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wanted {
    /// The follower among the units.
    pub unit: usize,
    /// Its takes that have no place yet.
    pub takes: Vec<usize>,
    /// The lead's takes that have none of its takes yet.
    pub leads: Vec<usize>,
}

/// Listens to the takes that are wanted and says which belongs to which, as far as sound and stamps can tell. What cannot
/// be told is left out.
#[must_use]
pub fn listen(
    survey: &Survey,
    lead: usize,
    wanted: &Wanted,
    progress: &dyn Progress,
) -> Vec<Heard> {
    let (Some(lead), Some(unit)) = (survey.units.get(lead), survey.units.get(wanted.unit)) else {
        return Vec::new();
    };
    let scope = Scope {
        lead,
        unit,
        index: wanted.unit,
        leads: &wanted.leads,
        takes: &wanted.takes,
    };
    let [leads, takes] = listened(lead, unit, wanted, progress);
    scope.settle(&among(&leads, &takes, progress))
}

/// The speed at which the takes that are wanted would fit the lead's; `None` when none stands out.
#[must_use]
pub fn speed_of(
    survey: &Survey,
    lead: usize,
    wanted: &Wanted,
    progress: &dyn Progress,
) -> Option<Speed> {
    let (lead, unit) = (survey.units.get(lead)?, survey.units.get(wanted.unit)?);
    let [leads, takes] = listened(lead, unit, wanted, progress);
    speed(&leads, &takes, progress)
}

/// The onsets of the lead's and the follower's takes; a take that cannot be read has none.
fn listened(
    lead: &Unit,
    unit: &Unit,
    wanted: &Wanted,
    progress: &dyn Progress,
) -> [Vec<Onsets>; 2] {
    let both = [(lead, &wanted.leads), (unit, &wanted.takes)].map(|(unit, places)| {
        let takes = places.iter().filter_map(|&place| unit.takes.get(place));
        takes.collect::<Vec<&Take>>()
    });
    let seconds: f64 = both.iter().flatten().map(|take| take.seconds()).sum();
    progress.stage("listening for onsets on both units", seconds as u64);
    both.map(|takes| {
        let opened = takes.iter().map(|take| TakeSound::open(&take.parts));
        opened
            .map(|sound| sound.and_then(|sound| Onsets::of(&sound, progress)))
            .map(Result::unwrap_or_default)
            .collect()
    })
}

/// Finds where takes of a follower that were listened to fit takes of the lead. Indices in the answer are those of the
/// slices; the highest place comes first, and a pair of takes appears once.
#[must_use]
pub fn among(lead: &[Onsets], follower: &[Onsets], progress: &dyn Progress) -> Vec<Place> {
    clear_of_each_other(&fits(lead, follower, progress))
}

/// The best place of each pair of takes with its rivals: other places for the same seconds of either take.
fn clear_of_each_other(all: &[Fit]) -> Vec<Place> {
    let mut places: Vec<Place> = Vec::new();
    for fit in all {
        let known = places
            .iter()
            .any(|place| (place.fit.lead, place.fit.take) == (fit.lead, fit.take));
        if known {
            continue;
        }
        let rivals: Vec<Fit> = all
            .iter()
            .filter(|other| *other != fit && are_rivals(fit, other))
            .copied()
            .take(8)
            .collect();
        let margin = rivals
            .first()
            .map_or(f64::INFINITY, |rival| fit.height / rival.height);
        places.push(Place {
            fit: *fit,
            margin,
            rivals,
        });
    }
    places
}

/// Whether the two cannot both be true: the same seconds of the follower, or the same seconds of the lead.
fn are_rivals(a: &Fit, b: &Fit) -> bool {
    let together = |x: (f64, f64), y: (f64, f64)| x.1.min(y.1) - x.0.max(y.0) > SAME_SECONDS;
    let on_lead = |fit: &Fit| (fit.heard_s.0 + fit.offset_s, fit.heard_s.1 + fit.offset_s);
    (a.take == b.take && together(a.heard_s, b.heard_s))
        || (a.lead == b.lead && together(on_lead(a), on_lead(b)))
}
