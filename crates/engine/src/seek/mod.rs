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

use std::borrow::Borrow;
use std::collections::HashMap;

use crate::pair::Heard;
use crate::progress::Progress;
use crate::take::{Survey, Take, TakeSound};

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

/// Listens to takes of a survey, to none of them twice: what was heard is kept, 1600 bytes a second.
pub struct Ears<'a> {
    survey: &'a Survey,
    /// By the place of the unit and of the take; a take that cannot be read has no onsets.
    heard: HashMap<(usize, usize), Onsets>,
}

impl<'a> Ears<'a> {
    /// Nothing heard yet.
    #[must_use]
    pub fn new(survey: &'a Survey) -> Self {
        Self {
            survey,
            heard: HashMap::new(),
        }
    }

    /// Which of the takes that are wanted belongs to which of the lead's, as far as sound and stamps can tell. What cannot be
    /// told is left out.
    #[must_use]
    pub fn listen(&mut self, lead: usize, wanted: &Wanted, progress: &dyn Progress) -> Vec<Heard> {
        let units = &self.survey.units;
        let (Some(lead_unit), Some(unit)) = (units.get(lead), units.get(wanted.unit)) else {
            return Vec::new();
        };
        let scope = Scope {
            lead: lead_unit,
            unit,
            index: wanted.unit,
            leads: &wanted.leads,
            takes: &wanted.takes,
        };
        let [leads, takes] = self.onsets(lead, wanted, progress);
        scope.settle(&among(&leads, &takes, progress))
    }

    /// The speed at which the takes that are wanted would fit the lead's; `None` when none stands out.
    #[must_use]
    pub fn speed(
        &mut self,
        lead: usize,
        wanted: &Wanted,
        progress: &dyn Progress,
    ) -> Option<Speed> {
        let [leads, takes] = self.onsets(lead, wanted, progress);
        speed(&leads, &takes, progress)
    }

    /// The onsets of the lead's and of the follower's takes, in the order wanted.
    fn onsets(
        &mut self,
        lead: usize,
        wanted: &Wanted,
        progress: &dyn Progress,
    ) -> [Vec<&Onsets>; 2] {
        let both = [(lead, &wanted.leads), (wanted.unit, &wanted.takes)]
            .map(|(unit, takes)| takes.iter().map(|&take| (unit, take)).collect::<Vec<_>>());
        let units = &self.survey.units;
        let new: Vec<((usize, usize), &Take)> = both
            .iter()
            .flatten()
            .filter(|key| !self.heard.contains_key(key))
            .filter_map(|&key| Some((key, units.get(key.0)?.takes.get(key.1)?)))
            .collect();
        if !new.is_empty() {
            let seconds: f64 = new.iter().map(|(_, take)| take.seconds()).sum();
            progress.stage("listening for onsets on both units", seconds as u64);
        }
        for (key, take) in new {
            let sound = TakeSound::open(&take.parts);
            let onsets = sound.and_then(|sound| Onsets::of(&sound, progress));
            self.heard.insert(key, onsets.unwrap_or_default());
        }
        both.map(|keys| keys.iter().filter_map(|key| self.heard.get(key)).collect())
    }
}

/// Finds where takes of a follower that were listened to fit takes of the lead. Indices in the answer are those of the
/// slices; the highest place comes first, and a pair of takes appears once.
#[must_use]
pub fn among<A, B>(lead: &[A], follower: &[B], progress: &dyn Progress) -> Vec<Place>
where
    A: Borrow<Onsets> + Sync,
    B: Borrow<Onsets> + Sync,
{
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
