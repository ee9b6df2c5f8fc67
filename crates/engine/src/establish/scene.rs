//! One follower's take and the lead's in, all that is known of where it lies and how its clock runs out.

use crate::clock::acoustic::{AcousticRequest, measure_acoustic};
use crate::clock::common::{find_past_slips, measure_common};
use crate::clock::slips::seams;
use crate::clock::timecode::{measure_words, words_apart};
use crate::clock::{Measured, Outcome, Side, Slip};
use crate::error::Result;
use crate::finding::{Finding, Weight};
use crate::pair::{Candidate, Joint};
use crate::progress::Progress;
use crate::signal::{AtRate, Mended, Sound, Stretch};
use crate::take::TakeSound;
use crate::tie::common::{CommonPair, Search, Verdict, search_common, verify_common};
use crate::tie::timecode::{Shared, Track, likely_timecode_tracks, shared};
use crate::tie::{Guess, Pairs, all_pairs};
use crate::units::{LeadPos, Ppm, Samples, UnitPos};

use super::claim::{Circumstances, Evidences, ManualEvidence, StampEvidence, claim};
use super::coded::{RoomCheck, TimecodeEvidence, find_on_tracks};
use super::level::common_level;
use super::options::{ManualTie, NamedPair, Options, sides};
use super::room::RoomEvidence;
use super::several::Placed;
use super::slips::on_lead;

/// The search for a common signal goes this far either side of the stamps, seconds; and this far without stamps.
pub(super) const SEARCH_S: (f64, f64) = (0.5, 10.0);
/// And this far about a place that was found by its sound or by the timecode on its tracks.
const HEARD_S: f64 = 0.2;
/// So many words of timecode either side of where labels place it, the wave of timecode is looked for: the next word looks
/// nearly the same.
const WORDS: f64 = 0.25;

/// The room's sound is held against the code for as long, seconds: its rate is then known to some thousandths of a part per
/// million.
const BESIDE_S: f64 = 300.0;

/// A declared pair whose signal stands on other channels.
const SWAPPED: &str = "declared-pair-elsewhere";

/// One follower's take against the lead's.
pub(super) struct Scene<'s, 'j> {
    pub joint: &'s Joint<'j>,
    /// The follower's take, its length and rate told at the lead's nominal rate.
    pub candidate: &'j Candidate<'j>,
    pub lead: &'s Mended<'s>,
    /// The timecode on the lead's tracks.
    pub lead_code: &'s [Track],
    pub options: &'s Options,
    pub progress: &'s dyn Progress,
}

impl<'j> Scene<'_, 'j> {
    /// The follower with what is claimed of it, and the slips of the lead's file that it brought to light.
    pub(super) fn placed(&self) -> Result<(Placed<'j>, Vec<Slip>)> {
        let take = self.candidate.take;
        let sound = AtRate::new(TakeSound::open(&take.parts)?, self.joint.lead.rate);
        let evidences = self.evidences(&sound)?;
        let around = Circumstances {
            rate: take.rate,
            follower_length: take.length.0,
            spacing_m: self.options.spacing_m,
            timecode_frame: self.timecode_frame(),
        };
        let claim = claim(&evidences, around);
        let measured = claim.measured.as_ref();
        let slips = measured.map_or_else(Vec::new, |m| on_lead(m, self.lead.seams()));
        let placed = Placed {
            candidate: self.candidate,
            sound,
            evidences,
            claim,
        };
        Ok((placed, slips))
    }

    fn evidences(&self, follower: &AtRate<TakeSound>) -> Result<Evidences> {
        let candidate = self.candidate;
        let mut found = Evidences {
            stamps: candidate.by_stamps.map(|offset| StampEvidence {
                offset,
                resolution: Samples(candidate.resolution.max(self.joint.lead_resolution)),
            }),
            manual: self.manual(follower),
            heard: candidate.by_sound.as_ref().map(|heard| heard.ground),
            calibration: self
                .options
                .calibrations
                .as_ref()
                // what is stored holds for units at one rate
                .filter(|_| !follower.is_converted())
                .and_then(|stored| stored.evidence(self.joint.lead, candidate.take)),
            ..Evidences::default()
        };
        let tracks = likely_timecode_tracks(follower, self.progress)?;
        found.code = channels_of(&tracks);
        found.on_tracks = find_on_tracks(candidate.take, &tracks);
        let shared = shared(self.lead_code, &tracks, candidate.take.rate);
        let expected = self.expected();
        let by_labels = shared.as_ref().filter(|shared| shared.is_firm());
        let guess = match by_labels {
            Some(shared) if candidate.by_sound.is_none() => self.about(shared.offset(), HEARD_S),
            _ => expected,
        };
        let lead_code = channels_of(self.lead_code);
        let pairs = Pairs::beside((&lead_code, &found.code), self.lead, follower);
        self.common(follower, &guess, &pairs.wired, &mut found)?;
        if let Some(shared) = shared {
            self.timecode(follower, shared, &pairs.heard, &mut found)?;
        }
        let code = found.timecode.as_ref();
        let confirmed = code.is_some_and(|code| {
            let rate = candidate.take.rate;
            code.room.is_some() && code.against(self.options.spacing_m, rate).is_none()
        });
        if found.common.is_some() || confirmed {
            return Ok(found);
        }
        self.room(follower, &guess, &pairs.heard, &mut found)?;
        let elsewhere = (guess.offset - expected.offset).0.abs() > expected.within.0;
        if elsewhere && found.room.is_none() {
            // labels that stand for nothing: the timecode of units that were never linked
            self.common(follower, &expected, &pairs.wired, &mut found)?;
            if found.common.is_none() {
                self.room(follower, &expected, &pairs.heard, &mut found)?;
            }
        }
        if let (Some(code), Some(room)) = (&mut found.timecode, &found.room) {
            code.check_by(room);
        }
        Ok(found)
    }

    /// How long a timecode frame of the stamps lasts.
    fn timecode_frame(&self) -> Option<Samples> {
        let stamps = [self.joint.lead, self.candidate.take].map(|take| take.stamp.as_ref());
        let counting = stamps
            .into_iter()
            .flatten()
            .find_map(|stamp| stamp.counting)?;
        let per_second = counting.rate().per_second();
        Some(Samples(self.candidate.take.rate.hz() / per_second))
    }

    /// Where the follower should be by what was known before its sound was looked at.
    fn expected(&self) -> Guess {
        let candidate = self.candidate;
        let rate_hz = candidate.take.rate.hz();
        let by_sound = candidate
            .by_sound
            .as_ref()
            .map(|heard| LeadPos(heard.offset_s * rate_hz));
        let (offset, reach_s) = match (by_sound, candidate.by_stamps) {
            (Some(offset), _) => (offset, HEARD_S),
            (None, Some(offset)) => (offset, SEARCH_S.0),
            (None, None) => (candidate.by_calendar.unwrap_or(LeadPos(0.0)), SEARCH_S.1),
        };
        self.about(offset, reach_s)
    }

    fn about(&self, offset: LeadPos, reach_s: f64) -> Guess {
        Guess {
            offset: LeadPos(offset.0.round()),
            within: Samples(reach_s * self.candidate.take.rate.hz()),
        }
    }

    fn common(
        &self,
        follower: &AtRate<TakeSound>,
        guess: &Guess,
        pairs: &[(usize, usize)],
        found: &mut Evidences,
    ) -> Result<()> {
        let named = self.named_pair(follower);
        let verified = match named {
            Some(named) => match verify_common(self.lead, follower, guess, named)? {
                Verdict::Common(pair) => Some(pair),
                Verdict::Other { signs, why } => {
                    found.unlocked_signs.extend(signs);
                    found.unlocked_reasons.push(format!(
                        "the channels named with --common do not serve: {why}"
                    ));
                    None
                }
            },
            None => None,
        };
        let named_alone = named.map(|named| vec![named]);
        let (all, pairs) = (pairs, named_alone.as_deref().unwrap_or(pairs));
        let search = match verified {
            Some(pair) => Search {
                common: vec![*pair],
                likely: Vec::new(),
            },
            None => search_common(self.lead, follower, guess, pairs, self.progress)?,
        };
        if search.common.is_empty() && named.is_none() && !pairs.is_empty() {
            let every = pairs.len() == all_pairs(self.lead, follower).len();
            let which = if every { "pair" } else { "other pair" };
            found.unlocked_reasons.push(format!(
                "no {which} of channels carries one electrical signal"
            ));
        }
        if let Some((measured, pair)) = self.locked(follower, guess, &search, found)? {
            found.level = common_level(&pair, &self.joint.lead.unit);
            found.common = Some((measured, self.channels((pair.lead, pair.follower))));
        } else if let Some(named) = named {
            self.elsewhere(follower, guess, (named, all), found)?;
        }
        Ok(())
    }

    /// Whether the signal that was named stands on other channels than was said: told, not used.
    fn elsewhere(
        &self,
        follower: &AtRate<TakeSound>,
        guess: &Guess,
        (named, all): ((usize, usize), &[(usize, usize)]),
        found: &mut Evidences,
    ) -> Result<()> {
        let others: Vec<(usize, usize)> =
            all.iter().copied().filter(|pair| *pair != named).collect();
        let told = found
            .on_tracks
            .iter()
            .any(|finding| finding.code == SWAPPED);
        if others.is_empty() || told {
            return Ok(());
        }
        let search = search_common(self.lead, follower, guess, &others, self.progress)?;
        let (lead, unit) = (&self.joint.lead.unit, &self.candidate.take.unit);
        let words = |(a, b): (usize, usize)| format!("{lead}:{}={unit}:{}", a + 1, b + 1);
        if let Some(pair) = search.common.first() {
            let (named, other) = (words(named), words((pair.lead, pair.follower)));
            found.on_tracks.push(
                Finding::new(
                    SWAPPED,
                    Weight::Warn,
                    format!("no clock from {named}, but {other} carries a common signal"),
                )
                .measured(other.clone(), named)
                .because("cables that were swapped, or channels that were named wrongly")
                .then(format!(
                    "check which it is, then give --common {other}, or leave --common away to have the pair looked for"
                )),
            );
        }
        Ok(())
    }

    /// The first of the pairs found on which a clock locks; why others did not is noted.
    fn locked(
        &self,
        follower: &AtRate<TakeSound>,
        guess: &Guess,
        search: &Search,
        found: &mut Evidences,
    ) -> Result<Option<(Measured, CommonPair)>> {
        let past = if search.common.is_empty() {
            find_past_slips(self.lead, follower, guess, &search.likely, self.progress)?
        } else {
            None
        };
        let measured = search.common.iter().take(3).map(|pair| {
            let outcome = measure_common(self.lead, follower, pair, self.progress)?;
            Ok((pair.clone(), outcome))
        });
        for found_pair in measured.chain(past.map(Ok)) {
            let (pair, outcome) = found_pair?;
            match outcome {
                Outcome::Locked(measured) => return Ok(Some((*measured, pair))),
                Outcome::NotEstablished {
                    signs,
                    why,
                    candidates,
                } => {
                    let channels = self.channels((pair.lead, pair.follower));
                    found.unlocked_signs.extend(signs);
                    found.unlocked_reasons.push(format!("{channels}: {why}"));
                    found.candidates.extend(candidates);
                }
            }
        }
        Ok(None)
    }

    /// The timecode that both units recorded, read as words and, where nothing else is common, measured as a wave.
    fn timecode(
        &self,
        follower: &AtRate<TakeSound>,
        shared: Shared,
        heard: &[(usize, usize)],
        found: &mut Evidences,
    ) -> Result<()> {
        let pair = (shared.lead.channel, shared.follower.channel);
        let channels = self.channels(pair);
        let mut wave = None;
        if found.common.is_none() && shared.is_firm() {
            let near = Guess {
                offset: LeadPos(shared.offset().0.round()),
                within: Samples((WORDS * shared.word.0).floor()),
            };
            let search = search_common(self.lead, follower, &near, &[pair], self.progress)?;
            wave = self.locked(follower, &near, &search, found)?;
        }
        let wave = wave.map(|(measured, _)| measured);
        let clock = found.common.as_ref().map(|common| &common.0);
        let apart = clock.or(wave.as_ref()).and_then(|measured| {
            let of_file = measured.slips.iter().all(|slip| slip.side != Side::Lead);
            of_file.then(|| words_apart(&shared, &measured.clock))
        });
        let words = match measure_words(self.lead, follower, &shared) {
            Outcome::Locked(words) => Some(*words),
            Outcome::NotEstablished {
                signs,
                why,
                candidates,
            } => {
                if wave.is_none() && found.common.is_none() {
                    found.unlocked_signs.extend(signs);
                    found.unlocked_reasons.push(format!("{channels}: {why}"));
                    found.candidates.extend(candidates);
                }
                None
            }
        };
        let room = match wave.as_ref().or(words.as_ref()) {
            Some(measured) if found.common.is_none() => {
                self.room_beside(follower, measured, heard)?
            }
            _ => None,
        };
        found.timecode = Some(TimecodeEvidence {
            units: [
                self.joint.lead.unit.clone(),
                self.candidate.take.unit.clone(),
            ],
            channels,
            wave,
            words,
            apart,
            room,
            shared,
        });
        Ok(())
    }

    /// The room's sound held against a clock by the code, on a stretch that is long enough to tell two generators apart;
    /// `None` when it does not lock there.
    fn room_beside(
        &self,
        follower: &AtRate<TakeSound>,
        code: &Measured,
        pairs: &[(usize, usize)],
    ) -> Result<Option<RoomCheck>> {
        if pairs.is_empty() {
            return Ok(None);
        }
        let follower = Mended::new(follower, &seams(&code.slips, Side::Follower));
        let clock = code.clock.mended(&code.slips);
        let from = clock.lead_at(UnitPos(0.0)).0.max(0.0);
        let end = clock.lead_at(UnitPos(follower.length().0 as f64)).0;
        let together = end.min(self.lead.length().0 as f64) - from;
        let length = together.min(BESIDE_S * self.lead.rate().hz());
        let first = LeadPos((from + 0.5 * (together - length)).ceil());
        let begins = clock.follower_at(first);
        let lead = Stretch::of(self.lead, first.0 as u64, length as u64);
        let follower = Stretch::of(&follower, begins.0.max(0.0).round() as u64, length as u64);
        let request = AcousticRequest {
            lead: &lead,
            follower: &follower,
            pairs: Some(pairs.to_vec()),
            guess: self.about(LeadPos(0.0), HEARD_S),
            spacing_m: self.options.spacing_m,
        };
        let heard = measure_acoustic(&request, self.progress)?;
        let (Outcome::Locked(room), Some(lag)) = (heard.outcome, heard.lag) else {
            return Ok(None);
        };
        let counted = clock.follower_at(first + Samples(length)) - begins;
        let rate = Ppm(1e6 * (counted.0 / length - 1.0));
        Ok(Some(RoomCheck {
            rate: Ppm(room.rate.0 - rate.0),
            rate_sigma: Ppm(room.rate_sigma.0.hypot(code.rate_sigma.0)),
            lag: lag
                .pooled
                .later(Samples(follower.first() as f64 - begins.0)),
        }))
    }

    /// Two channels as they are called together.
    fn channels(&self, (lead, follower): (usize, usize)) -> String {
        format!(
            "{} {} and {} {}",
            self.joint.lead.unit,
            lead + 1,
            self.candidate.take.unit,
            follower + 1
        )
    }

    fn room(
        &self,
        follower: &AtRate<TakeSound>,
        guess: &Guess,
        pairs: &[(usize, usize)],
        found: &mut Evidences,
    ) -> Result<()> {
        if pairs.is_empty() {
            return Ok(());
        }
        let request = AcousticRequest {
            lead: self.lead,
            follower,
            pairs: Some(pairs.to_vec()),
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

    fn named_pair(&self, follower: &AtRate<TakeSound>) -> Option<(usize, usize)> {
        let (lead, other) = (&self.joint.lead.unit, &self.candidate.take.unit);
        self.options.common.iter().find_map(|NamedPair { a, b }| {
            let (x, y) = sides(lead, other, (&a.unit, a), (&b.unit, b))?;
            let (x, y) = (x.channel as usize - 1, y.channel as usize - 1);
            (x < self.lead.channels() && y < follower.channels()).then_some((x, y))
        })
    }

    fn manual(&self, sound: &AtRate<TakeSound>) -> Option<ManualEvidence> {
        let (lead, other) = (&self.joint.lead.unit, &self.candidate.take.unit);
        self.options
            .ties
            .iter()
            .find_map(|ManualTie { a, b, reason }| {
                let (x, y) = sides(lead, other, (&a.unit, a), (&b.unit, b))?;
                // a person counts the follower's own samples
                let follower = y.position * sound.rate().hz() / sound.own_rate().hz();
                let inside = x.position < self.joint.lead.length.0 as f64
                    && follower < self.candidate.take.length.0 as f64;
                inside.then_some(ManualEvidence {
                    lead: LeadPos(self.lead.seams().mended(x.position)),
                    follower: UnitPos(follower),
                    reason: reason.clone(),
                })
            })
    }
}

fn channels_of(tracks: &[Track]) -> Vec<usize> {
    tracks.iter().map(|track| track.channel).collect()
}
