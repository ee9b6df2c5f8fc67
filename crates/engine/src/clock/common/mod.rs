//! A common signal in, a measured clock out: blocks measured along the map so far, smoothed, measured again until nothing
//! moves. Signs: a follower whose clock is fast has positions that grow faster than the lead's.

pub(super) mod blocks;
mod hunt;
pub(super) mod track;
#[cfg(test)]
mod tests;
#[cfg(test)]
mod slip_tests;

use blocks::{BLOCK, GROUP, HOP, Meter, Pass, Plan, Wire};
use hunt::{Caught, Hunt};
use track::Track;

use crate::clock::slips::{continuous, mended, on_files, steps};
use crate::clock::{Clock, Knot, Measured, Outcome};
use crate::error::Result;
use crate::finding::Sign;
use crate::progress::Progress;
use crate::signal::{Sound, median};
use crate::tie::common::{CommonPair, LikelyPair, Verdict, climb, is_common_along, verify_common};
use crate::tie::{Guess, Source, Tie};
use crate::units::{LeadPos, Ppm, Samples, UnitPos};

/// The shortest overlap this chain measures, samples: three blocks.
pub const SHORTEST: u64 = 2 * BLOCK as u64;
/// A pass over everything that moves the map by less than this, samples, and evenly, is the last.
const SETTLED: f64 = 0.01;
/// Passes over everything, at most.
const PASSES: usize = 3;
/// Looks at a few blocks before that, at most: a second one where the first moves the map by a sample and more.
const LOOKS: usize = 2;
const ROUGH: f64 = 1.0;
/// How far the whole sample is searched from the straight lines between the places where the signal was found, samples:
/// in six minutes a heating cycle of 1 ppm bends a clock by three.
const SEARCH: usize = 16;
/// Looks are at one group of blocks in so many seconds; wander is slower.
const THINNED_S: f64 = 20.0;
/// ... of so many at least.
const FEWEST_GROUPS: u64 = 32;
/// Least share of believed blocks among the loudest quarter.
const CARRYING: f64 = 0.8;
/// Least share of the believed blocks that follow one clock.
const FOLLOWING: f64 = 0.8;
/// Least median correlation of the aligned signal.
const ALIGNED: f64 = 0.1;
/// Largest difference between the rates of the first and the last third, ppm.
const THIRDS_PPM: f64 = 5.0;
/// Largest scatter of the blocks about the clock, samples.
const SCATTER: f64 = 0.5;
/// Pairs that are followed past slips when none keeps one clock.
const LIKELY: usize = 2;
/// Where slips are looked for, a pair that was found starts within so many samples of its first place.
const ABOUT: f64 = 9600.0;
/// Least median height of such a pair's correlation.
const STRONG: f64 = 0.1;
/// Over so many seconds such a pair must be a common signal before all of it is followed.
const NEAR_S: f64 = 90.0;
/// A block with less weight than this is not followed: four sigma off.
const FOLLOWED: f64 = 0.25;

/// Measures the follower's clock on `pair`, past any slips.
///
/// # Errors
/// When a file cannot be read.
pub fn measure_common(
    lead: &dyn Sound,
    follower: &dyn Sound,
    pair: &CommonPair,
    progress: &dyn Progress,
) -> Result<Outcome> {
    if lead.rate() != follower.rate() {
        return Ok(refused(
            Vec::new(),
            "the units run at different nominal rates",
        ));
    }
    let Some(map) = seed(pair) else {
        return Ok(refused(
            Vec::new(),
            "the common signal was heard in fewer than two places",
        ));
    };
    let first = if pair.is_ambiguous() {
        Settled {
            outcome: ambiguous(pair),
            steps: true,
        }
    } else {
        settle(lead, follower, pair, map, progress)?
    };
    if !first.steps {
        return Ok(first.outcome);
    }
    let hunt = Hunt {
        lead,
        follower,
        wire: Wire::of(pair),
        offset: pair.places[0].1,
        certain: true,
        progress,
    };
    let guess = Guess {
        offset: hunt.offset,
        within: Samples(ABOUT),
    };
    Ok(match hunt.run()? {
        Some(caught) => match measure_past(&hunt, &guess, caught)? {
            Some((_, past @ Outcome::Locked(_))) => past,
            _ => first.outcome,
        },
        None => first.outcome,
    })
}

/// A signal that slips part seems to fit in several places, but so does one that repeats.
fn ambiguous(pair: &CommonPair) -> Outcome {
    let places = pair.places.first().map(|place| (place.1, 1.0));
    let rivals = pair.rivals.iter().map(|rival| (*rival, pair.second_peak));
    Outcome::NotEstablished {
        signs: pair.signs(),
        why: "the common signal repeats: several places fit alike".into(),
        candidates: places.into_iter().chain(rivals).collect(),
    }
}

/// Looks for a common signal that slips part: where [`crate::tie::common::search_common`] finds no pair that keeps one
/// clock, only `likely` ones. What comes of the first pair that proves to be a common signal once its slips are
/// mended; `None` when there is none.
///
/// # Errors
/// When a file cannot be read.
pub fn find_past_slips(
    lead: &dyn Sound,
    follower: &dyn Sound,
    guess: &Guess,
    likely: &[LikelyPair],
    progress: &dyn Progress,
) -> Result<Option<(CommonPair, Outcome)>> {
    if lead.rate() != follower.rate() {
        return Ok(None);
    }
    for likely in likely.iter().take(LIKELY).filter(|l| l.height >= STRONG) {
        if !is_common_near(lead, follower, likely, progress)? {
            continue;
        }
        let top = 0.42 * lead.rate().hz();
        let hunt = Hunt {
            lead,
            follower,
            wire: Wire {
                lead: likely.lead,
                follower: likely.follower,
                inverted: likely.inverted,
                band_hz: (60.0, top),
            },
            offset: likely.offset,
            certain: false,
            progress,
        };
        let Some(caught) = hunt.run()? else {
            continue;
        };
        if let Some(found) = measure_past(&hunt, guess, caught)? {
            return Ok(Some(found));
        }
    }
    Ok(None)
}

/// Whether a pair is a common signal between any slips, close to where it correlates most.
fn is_common_near(
    lead: &dyn Sound,
    follower: &dyn Sound,
    likely: &LikelyPair,
    progress: &dyn Progress,
) -> Result<bool> {
    let channels = (likely.lead, likely.follower);
    let (at, offset) = likely.best;
    let reach = 0.5 * NEAR_S * lead.rate().hz();
    let span = (at.0 - reach, at.0 + reach);
    match climb(lead, follower, channels, (offset, span), progress)? {
        Some(ladder) => is_common_along(lead, follower, (channels, likely.inverted), &ladder),
        None => Ok(false),
    }
}

/// Measures on the files mended of what was caught, if the pair is a common signal there.
fn measure_past(
    hunt: &Hunt<'_>,
    guess: &Guess,
    caught: Caught,
) -> Result<Option<(CommonPair, Outcome)>> {
    let (lead, follower) = mended(hunt.lead, hunt.follower, &caught.slips);
    let channels = (hunt.wire.lead, hunt.wire.follower);
    let Verdict::Common(pair) = verify_common(&lead, &follower, guess, channels)? else {
        return Ok(None);
    };
    if pair.is_ambiguous() {
        return Ok(None);
    }
    let settled = settle(&lead, &follower, &pair, caught.map, hunt.progress)?;
    let outcome = match settled.outcome {
        Outcome::Locked(measured) => {
            let length = hunt.follower.length().0;
            Outcome::Locked(Box::new(on_files(*measured, caught.slips, length)))
        }
        refused @ Outcome::NotEstablished { .. } => refused,
    };
    Ok(Some((*pair, outcome)))
}

/// What measuring along one continuous clock came to.
struct Settled {
    outcome: Outcome,
    /// Whether the clock seems to step.
    steps: bool,
}

/// Measures along `map` and what comes of it until nothing moves.
fn settle(
    lead: &dyn Sound,
    follower: &dyn Sound,
    pair: &CommonPair,
    mut map: Clock,
    progress: &dyn Progress,
) -> Result<Settled> {
    let rate_hz = lead.rate().hz();
    let meter = Meter::new(lead, follower, Wire::of(pair));
    let length = follower.length().0;
    let groups = lead.length().0.min(length) / (GROUP * HOP) as u64;
    let every = ((THINNED_S * rate_hz / (GROUP * HOP) as f64) as usize)
        .clamp(1, (groups / FEWEST_GROUPS).max(1) as usize);
    let (mut looks, mut passes, mut moved, mut steps) = (0, 0, f64::INFINITY, false);
    let (track, pass) = loop {
        let looking = passes == 0 && looks < LOOKS && moved >= ROUGH;
        let plan = Plan {
            span: overlap(&map, lead, follower),
            every: if looking { every } else { 1 },
            search: if looks == 0 || (!looking && passes == 0) {
                SEARCH
            } else {
                0
            },
        };
        let pass = meter.pass(&map, plan, progress)?;
        let Some(track) = Track::of(&pass.blocks, rate_hz) else {
            let found = pass.blocks.len() as f64;
            return Ok(Settled {
                outcome: refused(
                    vec![Sign::at_least("blocks that carry the signal", found, 3.0)],
                    "too little of the take carries the common signal",
                ),
                steps: true,
            });
        };
        let next = track.clock(length);
        let moves: Vec<f64> = (track.lead.iter().map(|&lead| LeadPos(lead)))
            .map(|at| (next.follower_at(at) - map.follower_at(at)).0)
            .collect();
        moved = moves.iter().fold(0.0, |most: f64, by| most.max(by.abs()));
        map = next;
        if looking {
            looks += 1;
            continue;
        }
        if passes == 0 {
            steps = pass.has_holes() || !steps::find(&pass.delays(), &[], rate_hz).is_empty();
        }
        passes += 1;
        let settled = moved < SETTLED && uneven(&moves) <= track.typical_sigma();
        if settled || passes == PASSES {
            break (track, pass);
        }
    };
    let span = overlap(&map, lead, follower);
    let conclusion = Conclusion {
        pair,
        track: &track,
        pass: &pass,
        map: &map,
        rate_hz,
    };
    let outcome = conclusion.drawn(span);
    Ok(Settled {
        steps: steps || !matches!(outcome, Outcome::Locked(_)),
        outcome,
    })
}

/// How far the moves at block middles are from those that the blocks around them see on the average: a block measures the
/// mean of what lies within it. A fifth of this at most is what another pass would move the map by: measured 0.17 for a
/// clock that wanders by 2 ppm within 19 s, 0.03 for one that does by 0.3 ppm within minutes.
fn uneven(moves: &[f64]) -> f64 {
    let bend = |m: &[f64]| (0.25 * (m[0] + m[2]) - 0.5 * m[1]).abs();
    moves.windows(3).map(bend).fold(0.0, f64::max)
}

/// The whole shift at which the samples are copied when the clocks were common. The rule: along the whole take lead and
/// follower positions differ by one number within `max(3 sigma, 0.005)` samples, 0.1 at most, and the mean rate is within
/// `max(3 sigma, 0.0005)` ppm of none, 0.05 at most. Two free-running crystals come so close by a chance of one in hundreds
/// at most. The number need not be whole: converters delay by fractions of a sample; what rounding it leaves is told.
#[must_use]
pub fn common_clock_shift(measured: &Measured) -> Option<i64> {
    let none = (3.0 * measured.rate_sigma.0).clamp(0.0005, 0.05);
    let apart = |knot: &Knot| knot.lead.0 - knot.follower.0;
    let knots = continuous(measured);
    let mean = knots.iter().map(apart).sum::<f64>() / knots.len() as f64;
    let common = knots
        .iter()
        .all(|knot| (apart(knot) - mean).abs() <= (3.0 * knot.sigma.0).clamp(0.005, 0.1));
    (common && measured.rate.0.abs() <= none).then_some(mean.round() as i64)
}

fn refused(signs: Vec<Sign>, why: &str) -> Outcome {
    Outcome::NotEstablished {
        signs,
        why: why.into(),
        candidates: Vec::new(),
    }
}

/// Straight lines between the places where the signal was found, the outermost prolonged.
fn seed(pair: &CommonPair) -> Option<Clock> {
    let knots = pair.places.iter().map(|&(lead, offset)| Knot {
        follower: UnitPos((lead - offset).0),
        lead,
        sigma: Samples(1.0),
    });
    Clock::new(knots.collect())
}

/// Lead positions that both units recorded.
fn overlap(map: &Clock, lead: &dyn Sound, follower: &dyn Sound) -> (i64, i64) {
    let first = map.lead_at(UnitPos(0.0)).0.max(0.0).ceil() as i64;
    let last = map
        .lead_at(UnitPos(follower.length().0 as f64))
        .0
        .min(lead.length().0 as f64);
    (first, last.floor() as i64)
}

/// What the last pass left.
struct Conclusion<'a> {
    pair: &'a CommonPair,
    track: &'a Track,
    pass: &'a Pass,
    map: &'a Clock,
    rate_hz: f64,
}

impl Conclusion<'_> {
    /// The outcome for units that both recorded `from` to `to` on the lead.
    fn drawn(&self, (from, to): (i64, i64)) -> Outcome {
        let ties = self.ties();
        let used: Vec<&Tie> = ties.iter().filter(|tie| tie.used).collect();
        let square: f64 = used
            .iter()
            .map(|tie| (tie.follower - self.map.follower_at(tie.lead)).0.powi(2))
            .sum();
        let residual = Samples((square / used.len().max(1) as f64).sqrt());
        let share = used.len() as f64 / ties.len().max(1) as f64;
        let mut signs = self.pair.signs();
        signs.extend(self.signs(share, residual));
        let clock = self.map.thinned(self.rate_hz, self.track.knot_error());
        let head = clock.knots()[0];
        if signs.iter().any(|sign| !sign.passed) {
            return Outcome::NotEstablished {
                signs,
                why: "the signs on the common signal do not agree".into(),
                candidates: vec![(head.lead, 1.0)],
            };
        }
        let (from, to) = (LeadPos(from as f64), LeadPos(to as f64));
        let gained = self.map.follower_at(to) - self.map.follower_at(from);
        Outcome::Locked(Box::new(Measured {
            offset: head.lead,
            offset_sigma: head.sigma,
            rate: Ppm((gained.0 / (to - from).0 - 1.0) * 1e6),
            rate_sigma: self.track.rate_sigma((from.0, to.0)),
            clock,
            ties,
            residual_rms: residual,
            signs,
            slips: Vec::new(),
        }))
    }

    fn ties(&self) -> Vec<Tie> {
        self.pass
            .blocks
            .iter()
            .zip(self.track.weights())
            .map(|(block, weight)| Tie {
                lead: LeadPos(block.lead),
                follower: UnitPos(block.follower),
                sigma: Samples(block.sigma),
                used: *weight > FOLLOWED,
                source: Source::CommonSignal {
                    lead: self.pair.lead,
                    follower: self.pair.follower,
                },
            })
            .collect()
    }

    fn signs(&self, share: f64, residual: Samples) -> Vec<Sign> {
        let mut correlations: Vec<f64> = self.pass.blocks.iter().map(|b| b.correlation).collect();
        let correlation = median(&mut correlations).unwrap_or(0.0);
        vec![
            Sign::at_least(
                "loudest quarter of the blocks that carries the signal, share",
                self.pass.believed_share(),
                CARRYING,
            ),
            Sign::at_least("blocks that follow one clock, share", share, FOLLOWING),
            Sign::at_least("correlation of the aligned signal", correlation, ALIGNED),
            Sign::at_most(
                "rates of the first and the last third differ by, ppm",
                self.track.thirds_apart().0,
                THIRDS_PPM,
            ),
            Sign::at_most("scatter about the clock, samples", residual.0, SCATTER),
        ]
    }
}
