//! Places found by sound in, what each take of the follower is taken to belong to out: the clear ones first, then those
//! that the stamps of clear ones speak for, then takes too quiet to be heard, by their stamps and what those were found
//! to be wrong by.

use super::Place;
use super::matching::Fit;
use crate::pair::{Ground, Heard, placed_by_difference, stamps_difference};
use crate::take::{Take, Unit};

/// A place must stand this high over the scatter. Unrelated takes stay below 5 but for shared loops and metronomes
/// (measured, `seek_table heights`).
const LEAST_HEIGHT: f64 = 8.0;
/// And this much higher than the best other place of the same seconds.
const LEAST_MARGIN: f64 = 1.3;
/// Stamps that are wrong by one cause differ by one number: within this, seconds, and this for every second between them.
const ALIKE: (f64, f64) = (0.1, 50e-6);

/// Stamps off by less than this have been looked about already, seconds.
const AGREES_S: f64 = 0.5;

/// What a place is settled between.
pub(super) struct Scope<'a> {
    pub lead: &'a Unit,
    pub unit: &'a Unit,
    /// The follower's place among the survey's units.
    pub index: usize,
    /// Which of the lead's and of the follower's takes the places speak of.
    pub leads: &'a [usize],
    pub takes: &'a [usize],
}

/// A place that was accepted.
struct Accepted {
    fit: Fit,
    margin: f64,
    difference_s: Option<f64>,
}

impl Scope<'_> {
    pub fn settle(&self, places: &[Place]) -> Vec<Heard> {
        let mut accepted: Vec<Accepted> = Vec::new();
        for place in places.iter().filter(|place| is_clear(place)) {
            self.accept(&mut accepted, place.fit, place.margin);
        }
        // among places that are not clear the one that other takes' stamps speak for
        let clear = accepted.len();
        for place in places {
            let fits = std::iter::once(&place.fit).chain(&place.rivals);
            let spoken_for = fits
                .filter(|fit| fit.height >= LEAST_HEIGHT)
                .find(|fit| self.alike(&accepted[..clear], fit, self.difference(fit)) >= 2);
            if let Some(fit) = spoken_for.copied() {
                self.accept(&mut accepted, fit, place.margin);
            }
        }
        // where the sound agrees with the stamps, the stamps place
        let contradicts = |own: &&Accepted| own.difference_s.is_none_or(|d| d.abs() > AGREES_S);
        let mut heard: Vec<Heard> = accepted
            .iter()
            .filter(contradicts)
            .map(|own| Heard {
                unit: self.index,
                lead_take: self.leads[own.fit.lead],
                take: self.takes[own.fit.take],
                offset_s: own.fit.offset_s,
                ground: Ground::Sound {
                    height: own.fit.height,
                    margin: own.margin,
                    alike: self.alike(&accepted, &own.fit, own.difference_s)
                        + usize::from(own.difference_s.is_some()),
                },
            })
            .collect();
        heard.extend(self.by_difference(&accepted));
        heard
    }

    fn accept(&self, accepted: &mut Vec<Accepted>, fit: Fit, margin: f64) {
        if !accepted
            .iter()
            .any(|other| super::are_rivals(&other.fit, &fit))
        {
            accepted.push(Accepted {
                fit,
                margin,
                difference_s: self.difference(&fit),
            });
        }
    }

    fn takes_of(&self, fit: &Fit) -> (&Take, &Take) {
        (
            &self.lead.takes[self.leads[fit.lead]],
            &self.unit.takes[self.takes[fit.take]],
        )
    }

    fn difference(&self, fit: &Fit) -> Option<f64> {
        let (lead, take) = self.takes_of(fit);
        let usable = self.lead.stamps_tell() && self.unit.stamps_tell();
        stamps_difference(lead, take, fit.offset_s).filter(|_| usable)
    }

    /// How many other takes' stamps are wrong by the same.
    fn alike(&self, accepted: &[Accepted], fit: &Fit, difference_s: Option<f64>) -> usize {
        let Some(own_s) = difference_s else { return 0 };
        let at = |fit: &Fit| self.takes_of(fit).1.stamp_seconds().unwrap_or(0.0);
        accepted
            .iter()
            .filter(|other| other.fit.take != fit.take)
            .filter(|other| {
                let allowed = ALIKE.0 + ALIKE.1 * (at(&other.fit) - at(fit)).abs();
                let other_s = other.difference_s;
                other_s.is_some_and(|other_s| (other_s - own_s).abs() <= allowed)
            })
            .count()
    }

    /// Takes that were not heard, by the difference of the heard ones next to them, where these agree.
    fn by_difference(&self, accepted: &[Accepted]) -> Vec<Heard> {
        let mut known: Vec<(usize, f64)> = accepted
            .iter()
            .filter_map(|own| Some((self.takes[own.fit.take], own.difference_s?)))
            .collect();
        known.sort_by_key(|known| known.0);
        let mut heard = Vec::new();
        for &take in self.takes {
            if known.iter().any(|known| known.0 == take) {
                continue;
            }
            let after = known.partition_point(|known| known.0 < take);
            let near = (known[..after].last(), known.get(after));
            let (Some(before), Some(next)) = (near.0.or(near.1), near.1.or(near.0)) else {
                continue;
            };
            let agree = (before.1 - next.1).abs() <= 2.0 * ALIKE.0;
            if known.len() < 2 || !agree || before.1.abs() <= AGREES_S {
                continue;
            }
            let takes = known
                .iter()
                .filter(|known| (known.1 - before.1).abs() <= 2.0 * ALIKE.0)
                .count();
            heard.extend(self.leads.iter().filter_map(|&lead_take| {
                let offset_s = placed_by_difference(
                    &self.lead.takes[lead_take],
                    &self.unit.takes[take],
                    0.5 * (before.1 + next.1),
                )?;
                Some(Heard {
                    unit: self.index,
                    lead_take,
                    take,
                    offset_s,
                    ground: Ground::SameDifference { takes },
                })
            }));
        }
        heard
    }
}

fn is_clear(place: &Place) -> bool {
    place.fit.height >= LEAST_HEIGHT && place.margin >= LEAST_MARGIN
}
