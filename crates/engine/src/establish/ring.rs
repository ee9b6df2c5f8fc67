//! Two followers with their clocks on the lead in, how far the second measured on the first is from what those clocks say out.

use crate::clock::acoustic::{AcousticRequest, measure_acoustic};
use crate::clock::common::measure_common;
use crate::clock::compose::Ring;
use crate::clock::{Clock, Knot, Outcome};
use crate::error::Result;
use crate::signal::{Mended, Sound, Stretch};
use crate::tie::Guess;
use crate::tie::common::{CommonPair, Verdict, search_common, verify_common};
use crate::units::{LeadPos, Ppm, Samples, UnitPos};

use super::closure::{FLOOR, Gap, Kind, Rings};
use super::several::{Placed, pairs};

/// Stretches of a common signal that are measured, seconds, and how many.
const STRETCH_S: f64 = 30.0;
const STRETCHES: u32 = 3;
/// The stretch of the room's sound that is measured, seconds.
const ROOM_S: f64 = 300.0;
/// What is shorter is not looked at, seconds.
const SHORTEST_S: f64 = 4.0;
/// How far a ring may be open and still be looked for, seconds: longer than radio links and effects delay.
const OPEN_S: f64 = 0.1;

/// The same where timecode carries it: within a quarter of a word, for the next one looks nearly the same.
const OPEN_WORDS_S: f64 = 0.008;

/// The gap of the ring of the lead and two followers; `None` when they share nothing that locks.
///
/// # Errors
/// When a file cannot be read.
pub fn gap(rings: &Rings<'_>, (a, b): (&Placed<'_>, &Placed<'_>)) -> Result<Option<Gap>> {
    let by_wire = |placed: &Placed<'_>| {
        let direct = placed.evidences.common.is_some() || placed.is_coded();
        direct || placed.claim.through.is_some()
    };
    let wired = by_wire(a) && by_wire(b);
    let by_room = a.claim.rate_measured && b.claim.rate_measured;
    let rate_hz = a.candidate.take.rate.hz();
    let open_s = match a.is_coded() || b.is_coded() {
        true => OPEN_WORDS_S,
        false => OPEN_S,
    };
    let (a, b) = (Mate::of(a), Mate::of(b));
    let from = a.from.max(b.from).max(0.0);
    let to = a.to.min(b.to).min(rings.lead_length as f64);
    let pair = Pair {
        rings,
        a: &a,
        b: &b,
        from,
        to,
        rate_hz,
        open_s,
    };
    match (wired, by_room) {
        _ if to - from < SHORTEST_S * rate_hz => Ok(None),
        (true, _) => pair.by_wire(),
        (false, true) => pair.by_room(),
        (false, false) => Ok(None),
    }
}

/// One of the two followers, its slips mended.
struct Mate<'a> {
    placed: &'a Placed<'a>,
    sound: Mended<'a>,
    clock: Clock,
    /// Lead positions of its first sample and of its end.
    from: f64,
    to: f64,
}

impl<'a> Mate<'a> {
    fn of(placed: &'a Placed<'a>) -> Self {
        let (sound, clock) = (placed.mended(), placed.clock());
        Self {
            from: clock.lead_at(UnitPos(0.0)).0,
            to: clock.lead_at(UnitPos(sound.length().0 as f64)).0,
            placed,
            sound,
            clock,
        }
    }

    /// Its first whole position from a lead position on.
    fn first(&self, lead: f64) -> u64 {
        self.clock.follower_at(LeadPos(lead)).0.max(0.0).round() as u64
    }
}

struct Pair<'a> {
    rings: &'a Rings<'a>,
    a: &'a Mate<'a>,
    b: &'a Mate<'a>,
    /// What all three recorded, in lead positions.
    from: f64,
    to: f64,
    rate_hz: f64,
    /// How far the ring may be open, seconds.
    open_s: f64,
}

impl Pair<'_> {
    fn by_wire(&self) -> Result<Option<Gap>> {
        let start = self.b.clock.lead_at(UnitPos(0.0));
        let guess = Guess {
            offset: LeadPos(self.a.clock.follower_at(start).0.round()),
            within: Samples(self.open_s * self.rate_hz),
        };
        let progress = self.rings.progress;
        let wired = pairs(self.a.placed, self.b.placed).wired;
        let (a, b) = (&self.a.sound, &self.b.sound);
        let mut pairs = search_common(a, b, &guess, &wired, progress)?.common;
        pairs.retain(|pair| !pair.is_ambiguous());
        let used = |pair: &CommonPair| {
            usize::from(self.a.placed.used_channel() == Some(pair.lead))
                + usize::from(self.b.placed.used_channel() == Some(pair.follower))
        };
        // stable: the best of those that check most comes first
        pairs.sort_by_key(used);
        for pair in pairs.iter().take(3) {
            let kind = match used(pair) {
                0 => Kind::OwnChannels,
                _ => Kind::SameChannels,
            };
            let worst = self.worst((pair.lead, pair.follower), kind)?;
            if worst.is_some() {
                return Ok(worst);
            }
        }
        Ok(None)
    }

    /// The gap of the stretch in which the ring is furthest from closing, on one pair of channels.
    fn worst(&self, channels: (usize, usize), kind: Kind) -> Result<Option<Gap>> {
        let mut worst: Option<Gap> = None;
        let length = (self.to - self.from).min(STRETCH_S * self.rate_hz);
        for middle in self.middles() {
            let Some(direct) = self.direct(channels, middle - length / 2.0, length)? else {
                continue;
            };
            let ring = Ring {
                first: &self.a.clock,
                second: &self.b.clock,
                direct: &direct,
            };
            let (value, sigma) = ring.gap(LeadPos(middle));
            let gap = Gap {
                value: value.0,
                sigma: sigma.0,
                floor: FLOOR.0,
                kind,
            };
            let openness = |gap: &Gap| gap.value.abs() / gap.limit();
            if worst.is_none_or(|worst| openness(&gap) > openness(&worst)) {
                worst = Some(gap);
            }
        }
        Ok(worst)
    }

    /// The middles of the stretches that are measured.
    fn middles(&self) -> Vec<f64> {
        let stretch = STRETCH_S * self.rate_hz;
        let room = self.to - self.from - stretch;
        if room <= stretch {
            return vec![0.5 * (self.from + self.to)];
        }
        (0..STRETCHES)
            .map(|i| self.from + stretch / 2.0 + room * f64::from(i) / f64::from(STRETCHES - 1))
            .collect()
    }

    /// The second follower on the first in a stretch from a lead position on, in positions of the whole takes; `None`
    /// when the channels do not lock there.
    fn direct(&self, channels: (usize, usize), from: f64, length: f64) -> Result<Option<Clock>> {
        let lead = Stretch::of(&self.a.sound, self.a.first(from), length as u64);
        let follower = Stretch::of(&self.b.sound, self.b.first(from), length as u64);
        let guess = Guess {
            offset: LeadPos(0.0),
            within: Samples(self.open_s * self.rate_hz),
        };
        let Verdict::Common(pair) = verify_common(&lead, &follower, &guess, channels)? else {
            return Ok(None);
        };
        let outcome = measure_common(&lead, &follower, &pair, self.rings.progress)?;
        let Outcome::Locked(measured) = outcome else {
            return Ok(None);
        };
        let knots = measured.clock.knots().iter().map(|knot| Knot {
            follower: knot.follower + Samples(follower.first() as f64),
            lead: knot.lead + Samples(lead.first() as f64),
            sigma: knot.sigma,
        });
        Ok(Clock::new(knots.collect()))
    }

    fn by_room(&self) -> Result<Option<Gap>> {
        let length = (self.to - self.from).min(ROOM_S * self.rate_hz);
        let from = 0.5 * (self.from + self.to - length);
        let lead = Stretch::of(&self.a.sound, self.a.first(from), length as u64);
        let follower = Stretch::of(&self.b.sound, self.b.first(from), length as u64);
        let (a, b) = (&self.a.placed.claim, &self.b.placed.claim);
        let request = AcousticRequest {
            lead: &lead,
            follower: &follower,
            pairs: Some(pairs(self.a.placed, self.b.placed).heard),
            guess: Guess {
                offset: LeadPos(0.0),
                within: Samples(a.offset_bound.0 + b.offset_bound.0),
            },
            spacing_m: self.rings.spacing_m,
        };
        let heard = measure_acoustic(&request, self.rings.progress)?;
        let Outcome::Locked(direct) = heard.outcome else {
            return Ok(None);
        };
        let counted = |clock: &Clock| {
            (clock.follower_at(LeadPos(from + length)) - clock.follower_at(LeadPos(from))).0
        };
        let expected = Ppm(1e6 * (counted(&self.b.clock) / counted(&self.a.clock) - 1.0));
        let sigmas = [direct.rate_sigma, a.rate_sigma, b.rate_sigma];
        let square: f64 = sigmas.iter().map(|sigma| sigma.0.powi(2)).sum();
        Ok(Some(Gap {
            value: direct.rate.0 - expected.0,
            sigma: square.sqrt(),
            // air that warms by one kelvin meanwhile feigns as much
            floor: heard.per_kelvin.0,
            kind: Kind::Rates,
        }))
    }
}
