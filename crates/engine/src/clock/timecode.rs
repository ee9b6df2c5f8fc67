//! Words of timecode that two takes share in, the follower's clock by them out; and how far they lie from a clock that was
//! measured otherwise.

use crate::clock::common::blocks::{Block, delays};
use crate::clock::common::track::Track;
use crate::clock::slips::steps::{self, Delay};
use crate::clock::{Clock, Measured, Outcome};
use crate::finding::Sign;
use crate::signal::{Sound, median};
use crate::tie::Tie;
use crate::tie::timecode::Shared;
use crate::units::{LeadPos, Ppm, Samples, UnitPos};

/// Least share of the words that follow one clock.
const FOLLOWING: f64 = 0.8;
/// A word with less weight than this does not follow it: four sigma off.
const FOLLOWED: f64 = 0.25;
/// Largest scatter about the clock, samples.
const SCATTER: f64 = 0.5;
/// Largest difference between the rates of the first and the last third, ppm.
const THIRDS_PPM: f64 = 5.0;
/// Edges on two inputs are not better alike than this, samples: what places of clean code were found to be off by at most
/// (`timecode/tests/corpus.rs`).
const ALIKE: f64 = 0.05;

/// The follower's clock by the words alone.
#[must_use]
pub fn measure_words(lead: &dyn Sound, follower: &dyn Sound, shared: &Shared) -> Outcome {
    let rate_hz = lead.rate().hz();
    let mut signs = vec![shared.sign()];
    let blocks: Vec<Block> = shared.ties.iter().map(block).collect();
    let delays: Vec<Delay> = delays(&blocks);
    let steps = steps::find(&delays, &[], rate_hz).len() as f64;
    signs.push(Sign::at_most("places where the words step", steps, 0.0));
    let Some(track) = Track::of(&blocks, rate_hz) else {
        return refused(signs, "there are too few words", shared);
    };
    let clock = track.clock(follower.length().0);
    let ties: Vec<Tie> = shared
        .ties
        .iter()
        .zip(track.weights())
        .map(|(tie, weight)| Tie {
            used: *weight > FOLLOWED,
            ..tie.clone()
        })
        .collect();
    let used: Vec<&Tie> = ties.iter().filter(|tie| tie.used).collect();
    let square: f64 = used
        .iter()
        .map(|tie| (tie.follower - clock.follower_at(tie.lead)).0.powi(2))
        .sum();
    let residual = (square / used.len().max(1) as f64).sqrt();
    let following = used.len() as f64 / ties.len() as f64;
    signs.push(Sign::at_least(
        "words that follow one clock, share",
        following,
        FOLLOWING,
    ));
    signs.push(Sign::at_most(
        "scatter of the words, samples",
        residual,
        SCATTER,
    ));
    signs.push(Sign::at_most(
        "rates of the first and the last third differ by, ppm",
        track.thirds_apart().0,
        THIRDS_PPM,
    ));
    if signs.iter().any(|sign| !sign.passed) {
        return refused(
            signs,
            "the words of the two tracks do not keep one clock",
            shared,
        );
    }
    let from = clock.lead_at(UnitPos(0.0)).0.max(0.0);
    let end = clock.lead_at(UnitPos(follower.length().0 as f64)).0;
    let to = end.min(lead.length().0 as f64);
    let gained = clock.follower_at(LeadPos(to)) - clock.follower_at(LeadPos(from));
    let clock = clock.thinned(rate_hz, track.knot_error());
    let head = clock.knots()[0];
    Outcome::Locked(Box::new(Measured {
        offset: head.lead,
        offset_sigma: Samples(head.sigma.0.hypot(ALIKE)),
        rate: Ppm((gained.0 / (to - from) - 1.0) * 1e6),
        rate_sigma: track.rate_sigma((from, to)),
        clock,
        ties,
        residual_rms: Samples(residual),
        signs,
        slips: Vec::new(),
    }))
}

/// By how much the words lie later on the follower than a clock has them, with one standard deviation.
#[must_use]
pub fn words_apart(shared: &Shared, clock: &Clock) -> (Samples, Samples) {
    let away = |tie: &Tie| (tie.follower - clock.follower_at(tie.lead)).0;
    let mut apart: Vec<f64> = shared.ties.iter().map(away).collect();
    let middle = median(&mut apart).unwrap_or(0.0);
    let mut sizes: Vec<f64> = apart.iter().map(|x| (x - middle).abs()).collect();
    // 0.6745: the median of |x| for a normal distribution of unit variance
    let scatter = median(&mut sizes).unwrap_or(0.0) / 0.6745;
    (
        Samples(middle),
        Samples((scatter / (apart.len().max(1) as f64).sqrt()).hypot(ALIKE)),
    )
}

fn block(tie: &Tie) -> Block {
    Block {
        lead: tie.lead.0,
        follower: tie.follower.0,
        sigma: tie.sigma.0,
        // words have no spectrum to halve
        halves: [tie.follower.0; 2],
        correlation: 1.0,
    }
}

fn refused(signs: Vec<Sign>, why: &str, shared: &Shared) -> Outcome {
    Outcome::NotEstablished {
        signs,
        why: why.into(),
        candidates: std::iter::once((shared.offset(), 1.0))
            .chain(shared.others.iter().copied())
            .collect(),
    }
}
