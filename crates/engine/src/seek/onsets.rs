//! The sound of a take in, its onsets out: a hundred times a second by how much each of sixteen bands became louder, as
//! small whole numbers that two microphones in one room have much in common of.
//!
//! What matters is when sounds begin, not how the room colours them: the logarithm of each band's energy, its difference
//! from one window to the next, slow trends taken out, outliers clipped. Channels count alike, however they are gained.

use std::ops::Range;
use std::sync::Arc;

use rayon::prelude::*;
use realfft::{RealFftPlanner, RealToComplex};

use crate::error::Result;
use crate::progress::Progress;
use crate::signal::{Sound, hann};

/// Onsets a second.
pub(super) const PER_S: f64 = 100.0;
/// Bands.
pub(super) const BANDS: usize = 16;
/// The lowest and the highest edge of the bands, Hz.
const EDGES_HZ: (f64, f64) = (150.0, 6000.0);
/// Steps that are read together.
const STRETCH: usize = 1024;
/// A trend over this many steps is taken out.
const TREND: usize = 100;
/// This part of a band's middle energy is added before the logarithm: silence has no onsets.
const FLOOR: f64 = 1e-3;
/// One standard deviation as a whole number; clipped at three.
const UNIT: f32 = 40.0;

/// A take's onsets: one row of steps a band; none at all by default.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Onsets {
    rows: Vec<Vec<i8>>,
}

impl Onsets {
    /// How many steps there are.
    #[must_use]
    pub fn steps(&self) -> usize {
        self.rows.first().map_or(0, Vec::len)
    }

    /// The steps of one band within `part`, as numbers of about unit variance.
    pub(super) fn row(&self, band: usize, part: Range<usize>) -> impl Iterator<Item = f32> + '_ {
        self.rows[band][part]
            .iter()
            .map(|&step| f32::from(step) / UNIT)
    }

    /// The onsets as they would be if the unit had written `ratio` times fewer samples a second.
    pub(super) fn at_speed(&self, ratio: f64) -> Self {
        let steps = (self.steps() as f64 / ratio) as usize;
        let from = |step: usize| (step as f64 * ratio).round() as usize;
        let stretched = |row: &Vec<i8>| {
            let kept = (0..steps).map(|step| row.get(from(step)).copied().unwrap_or(0));
            kept.collect()
        };
        Self {
            rows: self.rows.iter().map(stretched).collect(),
        }
    }

    /// `steps` in the middle, or all where there are fewer.
    pub(super) fn middle(&self, steps: usize) -> Self {
        let from = self.steps().saturating_sub(steps) / 2;
        let to = (from + steps).min(self.steps());
        Self {
            rows: self.rows.iter().map(|row| row[from..to].to_vec()).collect(),
        }
    }

    /// Listens to a whole take; all its channels together.
    ///
    /// # Errors
    /// When the take cannot be read.
    pub fn of(sound: &dyn Sound, progress: &dyn Progress) -> Result<Self> {
        let rate_hz = sound.rate().hz();
        let steps = (sound.length().0 as f64 / rate_hz * PER_S) as usize;
        let ear = Ear::new(rate_hz);
        let channels: Vec<usize> = (0..sound.channels()).collect();
        let stretches: Vec<Range<usize>> = (0..steps)
            .step_by(STRETCH)
            .map(|from| from..steps.min(from + STRETCH))
            .collect();
        let heard: Vec<Vec<f32>> = stretches
            .into_par_iter()
            .map(|part| {
                let seconds = part.len() as f64 / PER_S;
                let energies = ear.energies(sound, &channels, part)?;
                progress.advance(seconds as u64);
                Ok(energies)
            })
            .collect::<Result<_>>()?;
        let mut sums = vec![vec![0.0_f32; steps]; BANDS];
        let mut levels = Vec::with_capacity(steps);
        for channel in 0..channels.len() {
            for (band, sum) in sums.iter_mut().enumerate() {
                levels.clear();
                let place = channel * BANDS + band;
                let width = channels.len() * BANDS;
                levels.extend(
                    heard
                        .iter()
                        .flat_map(|rows| rows.chunks_exact(width).map(|row| row[place])),
                );
                for (sum, onset) in sum.iter_mut().zip(onsets(&mut levels)) {
                    *sum += onset;
                }
            }
        }
        let rows = sums.iter().map(|sum| whole(sum)).collect();
        Ok(Self { rows })
    }
}

/// Energies of one channel's band in, its onsets with unit variance out; all 0 where nothing was heard.
fn onsets(levels: &mut [f32]) -> Vec<f32> {
    let mut sorted = levels.to_vec();
    let middle = sorted.len() / 2;
    if sorted.is_empty() {
        return Vec::new();
    }
    let floor = *sorted.select_nth_unstable_by(middle, f32::total_cmp).1 * FLOOR as f32;
    if floor <= f32::MIN_POSITIVE {
        // silent for half the time or more: what little there is may still be heard
        let mean = levels.iter().sum::<f32>() / levels.len() as f32;
        if mean <= f32::MIN_POSITIVE {
            return vec![0.0; levels.len()];
        }
        levels
            .iter_mut()
            .for_each(|level| *level = (*level + mean * FLOOR as f32).ln());
    } else {
        levels
            .iter_mut()
            .for_each(|level| *level = (*level + floor).ln());
    }
    let rises: Vec<f32> = std::iter::once(0.0)
        .chain(levels.windows(2).map(|pair| pair[1] - pair[0]))
        .collect();
    scaled(&without_trend(&rises))
}

fn without_trend(rises: &[f32]) -> Vec<f32> {
    let mut sums = Vec::with_capacity(rises.len() + 1);
    sums.push(0.0_f64);
    for rise in rises {
        sums.push(sums[sums.len() - 1] + f64::from(*rise));
    }
    rises
        .iter()
        .enumerate()
        .map(|(i, rise)| {
            let (from, to) = (
                i.saturating_sub(TREND / 2),
                (i + TREND / 2).min(rises.len()),
            );
            rise - ((sums[to] - sums[from]) / (to - from).max(1) as f64) as f32
        })
        .collect()
}

/// To unit variance, clipped at three standard deviations.
fn scaled(values: &[f32]) -> Vec<f32> {
    let power = values.iter().map(|v| f64::from(v * v)).sum::<f64>() / values.len().max(1) as f64;
    let sigma = power.sqrt() as f32;
    if !sigma.is_finite() || sigma < 1e-6 {
        return vec![0.0; values.len()];
    }
    values
        .iter()
        .map(|v| (v / sigma).clamp(-3.0, 3.0))
        .collect()
}

fn whole(values: &[f32]) -> Vec<i8> {
    scaled(values)
        .iter()
        .map(|v| (v * UNIT).round() as i8)
        .collect()
}

/// Short windows under a transform.
struct Ear {
    rate_hz: f64,
    window: Vec<f64>,
    transform: Arc<dyn RealToComplex<f32>>,
    /// The first bin of each band, and the end of the last.
    edges: Vec<usize>,
}

impl Ear {
    fn new(rate_hz: f64) -> Self {
        let length = ((rate_hz / 47.0) as usize).next_power_of_two().max(64);
        let top = EDGES_HZ.1.min(0.45 * rate_hz);
        let bin = |hz: f64| (hz / rate_hz * length as f64).round() as usize;
        let ratio = (top / EDGES_HZ.0).powf(1.0 / BANDS as f64);
        let mut edges = vec![bin(EDGES_HZ.0).max(1)];
        for band in 1..=BANDS {
            let edge = bin(EDGES_HZ.0 * ratio.powi(band as i32));
            edges.push(edge.max(edges[band - 1] + 1).min(length / 2));
        }
        Self {
            rate_hz,
            window: hann(length),
            transform: RealFftPlanner::new().plan_fft_forward(length),
            edges,
        }
    }

    /// Energies step by step, in each step channel by channel, band by band.
    fn energies(
        &self,
        sound: &dyn Sound,
        channels: &[usize],
        part: Range<usize>,
    ) -> Result<Vec<f32>> {
        let length = self.window.len();
        let at = |step: usize| (step as f64 * self.rate_hz / PER_S).round() as i64;
        let start = at(part.start);
        let span = (at(part.end) - start) as usize + length;
        let mut planes = vec![vec![0.0; span]; channels.len()];
        let mut views: Vec<&mut [f64]> = planes.iter_mut().map(Vec::as_mut_slice).collect();
        sound.read(channels, start, &mut views)?;
        let mut energies = Vec::with_capacity(part.len() * channels.len() * BANDS);
        let mut input = self.transform.make_input_vec();
        let mut spectrum = self.transform.make_output_vec();
        for step in part {
            let from = (at(step) - start) as usize;
            for plane in &planes {
                for ((slot, sample), weight) in
                    input.iter_mut().zip(&plane[from..]).zip(&self.window)
                {
                    *slot = (sample * weight) as f32;
                }
                // The buffers have the planned lengths, the only thing that could fail.
                let done = self.transform.process(&mut input, &mut spectrum);
                debug_assert!(done.is_ok());
                for edge in self.edges.windows(2) {
                    let energy: f32 = spectrum[edge[0]..edge[1]]
                        .iter()
                        .map(|bin| bin.norm_sqr())
                        .sum();
                    energies.push(if energy.is_finite() { energy } else { 0.0 });
                }
            }
        }
        Ok(energies)
    }
}
