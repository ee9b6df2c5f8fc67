//! Phasors of a few stretches in, a first rate out: the constant rate for which the products of phasors some seconds
//! apart line up best, `J(e) = sum_lag Re sum_k A_lag(k) e^(-j omega_k e lag)`.

use rayon::prelude::*;
use realfft::num_complex::{Complex32, Complex64};

use super::listening::{Listening, Warp};
use super::phasors::{Band, HOP};
use crate::error::Result;

/// Lags in seconds, heard all together: short ones are sure of the neighbourhood while everybody keeps still, long ones
/// are sharp and outlast a sway. (From coarse lags to fine ones, a level at a time, was tried: swaying talkers misled the
/// first level.)
const LAGS_S: [f64; 6] = [1.0, 2.0, 4.0, 8.0, 12.0, 16.0];

/// Longest stretch listened to, seconds.
const STRETCH_S: f64 = 60.0;

/// How many stretches, spread over the span.
const STRETCHES: usize = 5;

/// The product sums of one lag.
struct Product {
    lag: f64,
    sum: Vec<Complex64>,
}

/// The rate (a ratio, positive: the follower's clock runs fast) by which `warp` falls short, searched from `lowest` to
/// `highest`.
///
/// # Errors
/// When a take cannot be read.
pub fn vote(listening: &Listening<'_>, warp: Warp<'_>, lowest: f64, highest: f64) -> Result<f64> {
    let products = products(listening, warp)?;
    let band = listening.band;
    let longest = products.iter().map(|p| p.lag).fold(1.0, f64::max);
    // An eighth of a period of the highest frequency at the longest lag.
    let step = 0.25 / longest;
    let steps = ((highest - lowest) / step).ceil() as usize;
    let scores: Vec<(f64, f64)> = (0..=steps)
        .into_par_iter()
        .map(|i| lowest + step * i as f64)
        .map(|rate| (rate, products.iter().map(|p| p.score(band, rate)).sum()))
        .collect();
    let best = scores.into_iter().max_by(|a, b| a.1.total_cmp(&b.1));
    Ok(best.map_or(0.0, |(rate, _)| rate))
}

impl Product {
    fn score(&self, band: Band, rate: f64) -> f64 {
        let delta = rate * self.lag;
        let step = Complex64::cis(-delta * (band.omega(1) - band.omega(0)));
        let mut turn = Complex64::cis(-delta * band.omega(0));
        let mut total = 0.0;
        for value in &self.sum {
            total += (value * turn).re;
            turn *= step;
        }
        total
    }
}

fn products(listening: &Listening<'_>, warp: Warp<'_>) -> Result<Vec<Product>> {
    let windows_per_s = listening.windows_per_s();
    let length = ((STRETCH_S * windows_per_s) as usize).min(listening.windows);
    let count = (listening.windows / length.max(1)).clamp(1, STRETCHES);
    let mut lags: Vec<usize> = LAGS_S
        .iter()
        .map(|lag_s| (lag_s * windows_per_s).round() as usize)
        .filter(|&lag| lag + 8 < length)
        .collect();
    lags.sort_unstable();
    lags.dedup();
    let starts: Vec<usize> = (0..count)
        .map(|i| i * (listening.windows - length) / (count - 1).max(1))
        .collect();
    let sums: Vec<Result<Vec<Vec<Complex64>>>> = starts
        .par_iter()
        .map(|&start| lag_sums(listening, warp, start..start + length, &lags))
        .collect();
    let mut products: Vec<Product> = lags
        .iter()
        .map(|&lag| Product {
            lag: (lag * HOP) as f64,
            sum: vec![Complex64::default(); listening.band.bins],
        })
        .collect();
    for sums in sums {
        for (product, sum) in products.iter_mut().zip(sums?) {
            for (total, value) in product.sum.iter_mut().zip(sum) {
                *total += value;
            }
        }
    }
    Ok(products)
}

/// `sum_t Psi(t) Psi*(t - lag)` over one stretch, all pairs together, one row a lag.
fn lag_sums(
    listening: &Listening<'_>,
    warp: Warp<'_>,
    windows: std::ops::Range<usize>,
    lags: &[usize],
) -> Result<Vec<Vec<Complex64>>> {
    let bins = listening.band.bins;
    let longest = lags.last().copied().unwrap_or(0);
    let mut sums = vec![vec![Complex64::default(); bins]; lags.len()];
    let mut past: Vec<Vec<Vec<Complex32>>> =
        vec![vec![Vec::new(); longest + 1]; listening.pairs.len()];
    let first = windows.start;
    listening.phasors(windows, warp, |window, pair, phasors| {
        let now = window - first;
        let ring = &mut past[pair];
        for (&lag, sum) in lags.iter().zip(&mut sums) {
            let Some(then) = now.checked_sub(lag) else {
                continue;
            };
            let earlier = &ring[then % (longest + 1)];
            for ((sum, later), earlier) in sum.iter_mut().zip(phasors).zip(earlier) {
                let product = later * earlier.conj();
                *sum += Complex64::new(f64::from(product.re), f64::from(product.im));
            }
        }
        let slot = &mut ring[now % (longest + 1)];
        slot.clear();
        slot.extend_from_slice(phasors);
    })?;
    Ok(sums)
}
