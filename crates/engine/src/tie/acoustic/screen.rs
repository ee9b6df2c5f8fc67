//! A guess in, the content's coarse place and the channel pairs worth listening to out.
//!
//! At a few positions of the common span the phase transform of all pairs is correlated; squared heights in cells of
//! half a millisecond are summed without regard to phase, then along straight lines of plausible rate. Pairs are ranked
//! by their short-time coherence there.

use std::sync::Arc;

use rayon::prelude::*;
use realfft::num_complex::Complex32;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};

use super::listening::Listening;
use super::phasors::{HOP, Phasors, REACH, Stretch};
use crate::error::{Error, Kind, Result};

/// Positions listened to.
const POSITIONS: usize = 6;

/// Seconds listened to at each, at least one correlation window.
const LISTEN_S: f64 = 5.0;

/// Analysis samples in a cell.
const CELL: usize = 8;

/// The share of a correlation window in which it rises, and in which it falls: one over this.
const TAPER: usize = 16;

/// No single correlation counts for more than twelve times its root mean square.
const CLIP: f32 = 144.0;

/// Largest rate that a clock may have, a ratio (design section 5).
pub const PLAUSIBLE_RATE: f64 = 200e-6;

/// The widest search, seconds.
const WIDEST_S: f64 = 4.0;

/// A place this close to the end of the search is none, seconds.
const EDGE_S: f64 = 0.01;

/// Windows by whose coherence the pairs are ranked, at each position.
const RANKED_WINDOWS: usize = 12;

/// Pairs worth listening to: more cost time and, sharing channels, add little.
pub const MOST_PAIRS: usize = 4;

/// What is searched.
#[derive(Debug, Clone, Copy)]
pub struct Search {
    /// The lead position of the follower's sample 0, as guessed.
    pub offset: f64,
    /// Plus or minus how much the guess may be wrong, seconds.
    pub within_s: f64,
    /// The largest acoustic delay between microphones, seconds.
    pub spacing_s: f64,
}

/// Where the content lies.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// How much later than guessed the follower hears the lead's content, seconds, at the follower's sample 0.
    pub lag_s: f64,
    /// A rate (a ratio) that keeps the content in place over the span; no measurement.
    pub rate: f64,
    /// The best score over the best one elsewhere; 0 at the end of the search, where an answer is none.
    pub margin: f64,
    /// Other places, best first: seconds later than guessed, and score relative to the best.
    pub others: Vec<(f64, f64)>,
}

/// Finds the content's coarse place.
///
/// # Errors
/// When a take cannot be read.
pub fn place(listening: &Listening<'_>, search: Search) -> Result<Place> {
    let hz = listening.band.hz;
    let rate_hz = hz * listening.decimator.factor() as f64;
    let offset_s = (search.within_s + search.spacing_s + EDGE_S).min(WIDEST_S);
    let span_s = listening.windows as f64 / listening.windows_per_s();
    let spots = spots(listening);
    let elapsed_s = |sample: f64| (listening.lead_at(sample) - search.offset) / rate_hz;
    let reach_s = (offset_s + PLAUSIBLE_RATE * elapsed_s(spots[spots.len() - 1])).min(WIDEST_S);
    let correlator = Correlator::new(hz, reach_s, span_s);
    let maps: Vec<(f64, Vec<f32>)> = spots
        .par_iter()
        .map(|&spot| {
            let cells = correlator.cells(listening, spot, search.offset)?;
            Ok((
                elapsed_s(spot),
                smoothed(&cells, search.spacing_s * hz / CELL as f64),
            ))
        })
        .collect::<Result<_>>()?;
    Ok(best_line(&maps, offset_s, search.spacing_s, hz))
}

/// The pairs that cohere best, best first, at most [`MOST_PAIRS`].
///
/// # Errors
/// When a take cannot be read.
pub fn best_pairs(
    listening: &Listening<'_>,
    warp: super::listening::Warp<'_>,
) -> Result<Vec<(usize, usize)>> {
    let windows = RANKED_WINDOWS.min(listening.windows);
    let channels = [
        (0..listening.lead.channels()).collect::<Vec<_>>(),
        (0..listening.follower.channels()).collect(),
    ];
    let coherence: Vec<Vec<f64>> = spots(listening)
        .par_iter()
        .map(|&spot| {
            let first = spot as i64 - (REACH * HOP) as i64;
            let samples = Stretch::samples(windows);
            let planes = listening.planes([&channels[0], &channels[1]], first, samples, warp)?;
            let stretch = Stretch {
                lead: &planes[0],
                follower: &planes[1],
                pairs: &listening.pairs,
                windows,
            };
            let mut sums = vec![0.0; listening.pairs.len()];
            Phasors::new(listening.band).run(stretch, |_, pair, phasors| {
                sums[pair] += phasors.iter().map(|p| f64::from(p.norm_sqr())).sum::<f64>();
            })?;
            Ok(sums)
        })
        .collect::<Result<_>>()?;
    let mut ranked: Vec<(f64, (usize, usize))> = listening
        .pairs
        .iter()
        .enumerate()
        .map(|(i, &pair)| (coherence.iter().map(|row| row[i]).sum(), pair))
        .filter(|&(sum, _): &(f64, _)| sum > 0.0)
        .collect();
    ranked.sort_by(|a, b| b.0.total_cmp(&a.0));
    ranked.truncate(MOST_PAIRS);
    Ok(ranked.into_iter().map(|(_, pair)| pair).collect())
}

/// The analysis samples at which to listen, spread over the span.
fn spots(listening: &Listening<'_>) -> Vec<f64> {
    let span = (listening.windows * HOP) as f64;
    (0..POSITIONS)
        .map(|i| {
            (span * (i as f64 + 0.5) / POSITIONS as f64 - 0.5 * LISTEN_S * listening.band.hz)
                .max(0.0)
        })
        .collect()
}

struct Correlator {
    length: usize,
    windows: usize,
    reach: usize,
    forward: Arc<dyn RealToComplex<f32>>,
    inverse: Arc<dyn ComplexToReal<f32>>,
    band: std::ops::Range<usize>,
}

impl Correlator {
    fn new(hz: f64, reach_s: f64, span_s: f64) -> Self {
        // Three quarters of the windows overlap at the widest lag, as far as the take is long enough.
        let least = (4.0 * reach_s * hz) as usize;
        let most = (0.5 * span_s * hz) as usize;
        let mut length = 16_384;
        while length < least && 2 * length < most {
            length *= 2;
        }
        let mut planner = RealFftPlanner::new();
        let bin = |at: f64| (at / hz * length as f64) as usize;
        Self {
            length,
            windows: ((2.0 * LISTEN_S * hz) as usize / length)
                .saturating_sub(1)
                .max(1),
            reach: ((reach_s * hz) as usize).min(length / 4) / CELL,
            forward: planner.plan_fft_forward(length),
            inverse: planner.plan_fft_inverse(length),
            band: bin(150.0)..bin(7200.0_f64.min(0.45 * hz)),
        }
    }

    /// Heights by lag: cell `i` holds lags from `(i - reach) * CELL` on.
    fn cells(&self, listening: &Listening<'_>, spot: f64, offset: f64) -> Result<Vec<f32>> {
        let channels = [
            (0..listening.lead.channels()).collect::<Vec<_>>(),
            (0..listening.follower.channels()).collect(),
        ];
        let samples = self.length / 2 * (self.windows + 1);
        let guess = |lead: f64| lead - offset;
        let planes =
            listening.planes([&channels[0], &channels[1]], spot as i64, samples, &guess)?;
        let mut cells = vec![0.0; 2 * self.reach + 1];
        let mut correlation = self.inverse.make_output_vec();
        for window in 0..self.windows {
            let spectra = |planes: &[Vec<f32>], margin| -> Result<Vec<Vec<Complex32>>> {
                planes
                    .iter()
                    .map(|plane| &plane[window * self.length / 2..][..self.length])
                    .map(|samples| self.spectrum(samples, margin))
                    .collect()
            };
            // The follower's window is so much shorter than the lead's that it lies wholly within it at every lag:
            // otherwise the lag guessed would look best whatever is heard.
            let lead = spectra(&planes[0], 0)?;
            let follower = spectra(&planes[1], self.reach * CELL + self.length / TAPER)?;
            for &(a, b) in &listening.pairs {
                let mut cross = self.inverse.make_input_vec();
                for bin in self.band.clone() {
                    let product = lead[a][bin] * follower[b][bin].conj();
                    let size = product.norm();
                    if size > f32::MIN_POSITIVE {
                        cross[bin] = product / size;
                    }
                }
                self.inverse
                    .process(&mut cross, &mut correlation)
                    .map_err(transform_failed)?;
                self.add(&mut cells, &correlation);
            }
        }
        Ok(cells)
    }

    /// The spectrum under a window that rises and falls within a sixteenth of the length, `margin` samples in from
    /// either end.
    fn spectrum(&self, samples: &[f32], margin: usize) -> Result<Vec<Complex32>> {
        let slope = (self.length / TAPER) as f32;
        let mut windowed: Vec<f32> = samples
            .iter()
            .enumerate()
            .map(|(i, x)| {
                let inside = i.min(self.length - 1 - i) as f32 + 0.5 - margin as f32;
                let at = (inside / slope).clamp(0.0, 1.0);
                x * (0.5 - 0.5 * (std::f32::consts::PI * at).cos())
            })
            .collect();
        let mut spectrum = self.forward.make_output_vec();
        self.forward
            .process(&mut windowed, &mut spectrum)
            .map_err(transform_failed)?;
        Ok(spectrum)
    }

    fn add(&self, cells: &mut [f32], correlation: &[f32]) {
        let power = correlation.iter().map(|x| x * x).sum::<f32>() / correlation.len() as f32;
        if power <= f32::MIN_POSITIVE {
            return;
        }
        for (i, cell) in cells.iter_mut().enumerate() {
            let from = (i as i64 - self.reach as i64) * CELL as i64;
            let peak = (from..from + CELL as i64)
                .map(|lag| correlation[(-lag).rem_euclid(correlation.len() as i64) as usize])
                .fold(0.0_f32, |peak, x| peak.max(x * x));
            *cell += (peak / power).min(CLIP);
        }
    }
}

fn transform_failed(wrong: realfft::FftError) -> Error {
    Error::new(Kind::Usage, "transform failed").from_source(wrong)
}

/// The mean over the lags that one place can have because of the microphones' distance, less the median.
fn smoothed(cells: &[f32], spacing_cells: f64) -> Vec<f32> {
    let reach = spacing_cells.ceil().max(1.0) as usize;
    let mut sorted = cells.to_vec();
    sorted.sort_by(f32::total_cmp);
    let median = sorted[sorted.len() / 2];
    (0..cells.len())
        .map(|i| {
            let near = &cells[i.saturating_sub(reach)..(i + reach + 1).min(cells.len())];
            near.iter().map(|x| x - median).sum::<f32>() / (2 * reach + 1) as f32
        })
        .collect()
}

/// All straight lines that are searched.
struct Lines {
    /// When the last map was taken, seconds since the follower's start.
    last_s: f64,
    /// Largest lag that a rate adds by then, cells.
    rates: i64,
    /// Largest lag at the follower's start, cells.
    offsets: i64,
}

impl Lines {
    /// The cell of a line in the map taken at `at_s`.
    fn cell(&self, at_s: f64, cells: usize, offset: i64, rate: i64) -> i64 {
        offset + (rate as f64 * at_s / self.last_s).round() as i64 + (cells / 2) as i64
    }

    fn score(&self, maps: &[(f64, Vec<f32>)], offset: i64, rate: i64) -> f32 {
        maps.iter()
            .map(|(at_s, cells)| {
                usize::try_from(self.cell(*at_s, cells.len(), offset, rate))
                    .ok()
                    .and_then(|cell| cells.get(cell))
                    .copied()
                    .unwrap_or(0.0)
            })
            .sum()
    }

    /// Offset, rate (cells by the last map) and height of the highest line; the least offset and rate among equals.
    fn best(&self, maps: &[(f64, Vec<f32>)]) -> (i64, i64, f32) {
        let higher = |a: (i64, i64, f32), b: (i64, i64, f32)| {
            let order =
                b.2.total_cmp(&a.2)
                    .then((a.0.abs() + a.1.abs()).cmp(&(b.0.abs() + b.1.abs())))
                    .then(a.0.cmp(&b.0));
            if order.is_le() { a } else { b }
        };
        (-self.offsets..=self.offsets)
            .into_par_iter()
            .map(|offset| {
                (-self.rates..=self.rates)
                    .map(|rate| (offset, rate, self.score(maps, offset, rate)))
                    .fold((offset, 0, f32::NEG_INFINITY), higher)
            })
            .reduce(|| (0, 0, f32::NEG_INFINITY), higher)
    }
}

/// The straight line (lag at the follower's start, rate) along which the maps sum to most, and the best ones elsewhere.
/// A line of another rate that crosses the best one is no other place: the best one's ridge is taken out of every map
/// before the next is looked for.
fn best_line(maps: &[(f64, Vec<f32>)], offset_s: f64, spacing_s: f64, hz: f64) -> Place {
    let cell_s = CELL as f64 / hz;
    let last_s = maps.iter().map(|map| map.0).fold(1.0, f64::max);
    let lines = Lines {
        last_s,
        rates: (PLAUSIBLE_RATE * last_s / cell_s).ceil() as i64,
        offsets: (offset_s / cell_s).ceil() as i64,
    };
    let ridge = ((2.0 * spacing_s + 0.02) / cell_s).ceil() as i64;
    let mut left: Vec<(f64, Vec<f32>)> = maps.to_vec();
    let (offset, rate, top) = lines.best(&left);
    let mut others: Vec<(i64, f32)> = vec![(offset, top)];
    let (mut at, mut along) = (offset, rate);
    while others.len() <= 3 {
        for (at_s, cells) in &mut left {
            let centre = lines.cell(*at_s, cells.len(), at, along);
            for cell in (centre - ridge).max(0)..=(centre + ridge).min(cells.len() as i64 - 1) {
                cells[cell as usize] = 0.0;
            }
        }
        let next = lines.best(&left);
        (at, along) = (next.0, next.1);
        others.push((next.0, next.2));
    }
    let at_edge = offset.abs() as f64 * cell_s > offset_s - 0.5 * EDGE_S;
    let relative = |height: f32| f64::from(height) / f64::from(top).max(1e-12);
    Place {
        lag_s: offset as f64 * cell_s,
        rate: rate as f64 * cell_s / last_s,
        margin: match others.get(1) {
            _ if top <= 0.0 || at_edge => 0.0,
            Some(other) => 1.0 / relative(other.1).max(1e-6),
            None => f64::INFINITY,
        },
        others: others[1..]
            .iter()
            .map(|&(place, height)| (place as f64 * cell_s, relative(height)))
            .collect(),
    }
}
