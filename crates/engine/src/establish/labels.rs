//! Takes of a follower and of the lead in, those that carry the same timecode out: whole cards at a time, whatever their
//! stamps say.

use std::collections::HashMap;

use crate::pair::{Ground, Heard};
use crate::progress::Progress;
use crate::seek::Wanted;
use crate::take::{Survey, TakeSound};
use crate::tie::timecode::{Shared, Track, likely_timecode_tracks, shared};

/// Reads the timecode on the tracks of takes, on none of them twice.
pub(super) struct Labels<'a> {
    survey: &'a Survey,
    /// By the place of the unit and of the take; a take that cannot be read has none.
    read: HashMap<(usize, usize), Vec<Track>>,
}

impl<'a> Labels<'a> {
    /// Nothing read yet.
    pub fn new(survey: &'a Survey) -> Self {
        Self {
            survey,
            read: HashMap::new(),
        }
    }

    /// Which of the takes that are wanted carries the timecode of which of the lead's. Labels come again every day: a take
    /// whose labels stand on several takes of the lead is left out.
    pub fn find(&mut self, lead: usize, wanted: &Wanted, progress: &dyn Progress) -> Vec<Heard> {
        let leads = wanted.leads.iter().map(|take| (lead, *take));
        let takes = wanted.takes.iter().map(|take| (wanted.unit, *take));
        for key in leads.chain(takes) {
            self.read(key, progress);
        }
        let mut found = Vec::new();
        for &take in &wanted.takes {
            let places = wanted.leads.iter().filter_map(|&lead_take| {
                let shared = self.shared((lead, lead_take), (wanted.unit, take))?;
                Some((lead_take, shared))
            });
            let mut places: Vec<(usize, Shared)> = places.collect();
            let Some((lead_take, shared)) = places.pop().filter(|_| places.is_empty()) else {
                continue;
            };
            let units = &self.survey.units;
            let (lead_unit, unit) = (&units[lead], &units[wanted.unit]);
            let (from, to) = (&lead_unit.takes[lead_take], &unit.takes[take]);
            let stamped = [(lead_unit, from), (unit, to)]
                .iter()
                .all(|(unit, take)| unit.stamps_tell() && take.stamp.is_some());
            found.push(Heard {
                unit: wanted.unit,
                lead_take,
                take,
                offset_s: shared.offset().0 / from.rate.hz(),
                ground: Ground::Timecode {
                    words: shared.words,
                    contradicted: stamped,
                },
            });
        }
        found
    }

    fn read(&mut self, key: (usize, usize), progress: &dyn Progress) {
        let take = self
            .survey
            .units
            .get(key.0)
            .and_then(|unit| unit.takes.get(key.1));
        let Some(take) = take.filter(|_| !self.read.contains_key(&key)) else {
            return;
        };
        let sound = TakeSound::open(&take.parts);
        let tracks = sound.and_then(|sound| likely_timecode_tracks(&sound, progress));
        self.read.insert(key, tracks.unwrap_or_default());
    }

    /// What two takes share, when their labels stand for one place.
    fn shared(&self, lead: (usize, usize), take: (usize, usize)) -> Option<Shared> {
        let rate = |key: (usize, usize)| self.survey.units[key.0].takes[key.1].rate;
        let (a, b) = (self.read.get(&lead)?, self.read.get(&take)?);
        let alike = rate(lead) == rate(take);
        shared(a, b, rate(lead)).filter(|shared| alike && shared.is_firm())
    }
}
