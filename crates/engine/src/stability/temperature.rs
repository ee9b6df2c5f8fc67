//! Phases and a log of temperatures in, how much the rate follows the temperature out: a straight line through the mean rates
//! of equal pieces of the test against their mean temperatures.
//!
//! The slope is a sum of phases, so the noise that is left once the temperature's share is taken out says how sure it is
//! ([`Model::sum`]). A temperature that goes up and down but once looks like a rate that walks, and the line takes some of that
//! noise away with it: the degrees of freedom are no more than how often the temperature crosses its mean, and one (tried
//! out, no source). The crystal is taken to follow the log at once.

use std::collections::BTreeMap;

use serde::Serialize;

use super::judge::{levelled, seen};
use super::model::{Model, Weighted};
use super::quantile::student;
use super::series::Spaced;

/// Pieces of a test, at most.
const MOST_PIECES: usize = 64;
/// Fewer pieces with a temperature tell nothing.
const LEAST_PIECES: usize = 8;
/// A piece spans so many phases at least.
const LEAST_PHASES: usize = 4;
/// Less between the coldest and the warmest piece tells nothing, degrees.
const LEAST_RANGE_C: f64 = 0.5;
/// A log that is silent for this many pieces says nothing of them.
const SILENT_PIECES: f64 = 2.0;

/// One reading of a thermometer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// When, seconds as the phases count them.
    pub at_s: f64,
    /// Degrees Celsius.
    pub celsius: f64,
}

/// How a clock's rate follows the temperature.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Temperature {
    /// What the rate gains with a degree, ppm; absent where the log does not tell.
    pub slope: Option<Slope>,
    /// The part of the test that the log covers.
    pub covered: f64,
    /// The mean temperature over it, degrees Celsius; absent where it covers nothing.
    pub mean_c: Option<f64>,
    /// The coldest and the warmest piece.
    pub range_c: Option<[f64; 2]>,
    /// Why there is no slope; empty where there is one.
    pub why_not: String,
}

/// What a rate gains with a degree.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Slope {
    /// A degree, ppm.
    pub ppm_per_c: f64,
    /// One standard deviation.
    pub sigma_ppm_per_c: f64,
    /// It lies within so much either way with 95 % confidence.
    pub within_ppm_per_c: f64,
}

impl Temperature {
    /// Holds a test against a log.
    #[must_use]
    pub fn of(spaced: &Spaced, log: &[Reading]) -> Self {
        let steps = spaced.ahead_s.len() - 1;
        let pieces = (steps / LEAST_PHASES).clamp(1, MOST_PIECES);
        let both: Vec<Piece> = (0..pieces)
            .filter_map(|piece| {
                let [from, to] = [piece, piece + 1].map(|end| end * steps / pieces);
                let seconds = spaced.interval_s * (to - from) as f64;
                Some(Piece {
                    ends: [from, to],
                    seconds,
                    rate: (spaced.ahead_s[to] - spaced.ahead_s[from]) / seconds,
                    celsius: mean_between(log, spaced.at(from), seconds)?,
                })
            })
            .collect();
        let range = both.iter().fold(None, |range: Option<[f64; 2]>, piece| {
            let [low, high] = range.unwrap_or([piece.celsius; 2]);
            Some([low.min(piece.celsius), high.max(piece.celsius)])
        });
        let why_not = match range {
            None => "the log has no temperature of the time of the test",
            _ if both.len() < LEAST_PIECES => "the log covers too little of the test",
            Some([low, high]) if high - low < LEAST_RANGE_C => {
                "the temperature stayed within half a degree"
            }
            Some(_) => "",
        };
        Self {
            slope: why_not.is_empty().then(|| slope_of(spaced, log, &both)),
            covered: both.len() as f64 / pieces as f64,
            mean_c: (!both.is_empty()).then(|| mean(&both, |piece| piece.celsius)),
            range_c: range,
            why_not: why_not.into(),
        }
    }
}

/// The mean of a log over a stretch, straight lines between its readings; `None` where it is silent there.
fn mean_between(log: &[Reading], from: f64, seconds: f64) -> Option<f64> {
    const PARTS: u32 = 8;
    let values: Option<Vec<f64>> = (0..PARTS)
        .map(|part| {
            let at = from + seconds * (f64::from(part) + 0.5) / f64::from(PARTS);
            let after = log.partition_point(|reading| reading.at_s <= at);
            let (a, b) = (log.get(after.checked_sub(1)?)?, log.get(after));
            let Some(b) = b else {
                return (at - a.at_s <= seconds).then_some(a.celsius);
            };
            let apart = b.at_s - a.at_s;
            let near = apart <= SILENT_PIECES * seconds;
            near.then(|| a.celsius + (b.celsius - a.celsius) * (at - a.at_s) / apart)
        })
        .collect();
    Some(values?.iter().sum::<f64>() / f64::from(PARTS))
}

/// A piece of a test with its temperature.
struct Piece {
    /// Its first and its last phase.
    ends: [usize; 2],
    seconds: f64,
    rate: f64,
    celsius: f64,
}

fn mean(pieces: &[Piece], of: fn(&Piece) -> f64) -> f64 {
    pieces.iter().map(of).sum::<f64>() / pieces.len() as f64
}

/// The least squares line of rates against temperatures.
fn slope_of(spaced: &Spaced, log: &[Reading], pieces: &[Piece]) -> Slope {
    let middle = mean(pieces, |piece| piece.celsius);
    let away = |piece: &Piece| piece.celsius - middle;
    let spread: f64 = pieces.iter().map(|piece| away(piece).powi(2)).sum();
    let mut weights: BTreeMap<usize, f64> = BTreeMap::new();
    let mut slope = 0.0;
    for piece in pieces {
        let weight = away(piece) / spread;
        slope += weight * piece.rate;
        let [from, to] = piece.ends;
        *weights.entry(from).or_default() -= weight / piece.seconds;
        *weights.entry(to).or_default() += weight / piece.seconds;
    }
    let phases: Vec<Weighted> = weights
        .into_iter()
        .map(|(i, weight)| Weighted {
            at_s: spaced.at(i),
            weight,
            measured: 1,
        })
        .collect();
    let mut gained = 0.0;
    let left = spaced.ahead_s.iter().enumerate().map(|(i, ahead)| {
        let rest = ahead - slope * gained;
        let celsius = celsius_at(log, spaced.at(i) + 0.5 * spaced.interval_s);
        gained += (celsius.unwrap_or(middle) - middle) * spaced.interval_s;
        rest
    });
    let left = Spaced {
        ahead_s: left.collect(),
        ..spaced.clone()
    };
    let model = Model::of(&seen(&levelled(&left).ahead_s, spaced.interval_s));
    let (variance, freedom) = model.sum(&phases);
    let sides = pieces.windows(2).map(|p| away(&p[0]) * away(&p[1]));
    let crossings = sides.filter(|product| *product <= 0.0).count();
    let freedom = freedom.min(1.0 + crossings as f64);
    let sigma = 1e6 * variance.sqrt();
    Slope {
        ppm_per_c: 1e6 * slope,
        sigma_ppm_per_c: sigma,
        within_ppm_per_c: student(0.975, freedom) * sigma,
    }
}

/// The temperature at a moment, straight lines between readings, however far apart.
fn celsius_at(log: &[Reading], at: f64) -> Option<f64> {
    let after = log.partition_point(|reading| reading.at_s <= at);
    let (a, b) = (log.get(after.checked_sub(1)?)?, log.get(after)?);
    Some(a.celsius + (b.celsius - a.celsius) * (at - a.at_s) / (b.at_s - a.at_s))
}
