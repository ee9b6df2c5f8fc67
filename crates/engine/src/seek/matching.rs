//! The onsets of many takes of two units in, where they fit each other out: correlations of stretches of some minutes at
//! every lag, their peaks collected take by take.

use std::borrow::Borrow;
use std::ops::Range;
use std::sync::Arc;

use rayon::prelude::*;
use realfft::num_complex::Complex32;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};

use super::onsets::{BANDS, Onsets, PER_S};
use crate::progress::Progress;

/// Steps in a stretch: five and a half minutes, in which a clock 30 ppm off drifts by one step.
const STRETCH: usize = 1 << 15;
/// Stretches of the lead whose spectra are held at once (4 MB each).
const HELD: usize = 24;
/// Less than this many steps together say nothing.
const LEAST: usize = 500;
/// Peaks closer than this are one, steps.
const APART: usize = 50;
/// Peaks kept of one pair of stretches.
const KEPT: usize = 3;
/// A peak lower than this many standard deviations is chance.
const OUTSTANDING: f32 = 5.0;
/// Peaks of several stretches within this of one line are one place, seconds, and a ratio of the time between them.
const SAME_PLACE: (f64, f64) = (0.06, 200e-6);

/// A stretch of one take.
#[derive(Clone)]
struct Stretch {
    take: usize,
    part: Range<usize>,
}

/// A place where two takes fit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit {
    /// The lead's take.
    pub lead: usize,
    /// The follower's take.
    pub take: usize,
    /// The lead's time at the follower's start, seconds from the lead's start, by nominal rates.
    pub offset_s: f64,
    /// Height over the scatter of everything else; the root of the sum of squares over the stretches that agree.
    pub height: f64,
    /// The part of the follower that heard it, seconds from its start.
    pub heard_s: (f64, f64),
}

/// Every place where a take of the one and a take of the other fit, the highest first.
#[must_use]
pub fn fits<A, B>(lead: &[A], follower: &[B], progress: &dyn Progress) -> Vec<Fit>
where
    A: Borrow<Onsets> + Sync,
    B: Borrow<Onsets> + Sync,
{
    let (ours, theirs) = (stretches(lead), stretches(follower));
    let longest = |all: &[Stretch]| all.iter().map(|own| own.part.len()).max().unwrap_or(0);
    let matcher = Matcher::new(longest(&ours) + longest(&theirs));
    progress.stage(
        "comparing the takes by their sound",
        (ours.len().div_ceil(HELD) * theirs.len()) as u64,
    );
    let mut peaks = Vec::new();
    for held in ours.chunks(HELD) {
        let spectra: Vec<Vec<Complex32>> = held
            .par_iter()
            .map(|own| matcher.spectra(lead[own.take].borrow(), own.part.clone()))
            .collect();
        let found: Vec<Vec<Fit>> = theirs
            .par_iter()
            .map(|their| {
                let other = matcher.spectra(follower[their.take].borrow(), their.part.clone());
                let found = held
                    .iter()
                    .zip(&spectra)
                    .flat_map(|(own, spectrum)| matcher.peaks((own, spectrum), (their, &other)))
                    .collect();
                progress.advance(1);
                found
            })
            .collect();
        peaks.extend(found.into_iter().flatten());
    }
    gathered(peaks)
}

fn stretches<O: Borrow<Onsets>>(takes: &[O]) -> Vec<Stretch> {
    let mut all = Vec::new();
    for (take, onsets) in takes.iter().map(Borrow::borrow).enumerate() {
        // equal stretches, none of them short
        let many = onsets.steps().div_ceil(STRETCH).max(1);
        let each = onsets.steps().div_ceil(many);
        all.extend((0..many).map(|i| Stretch {
            take,
            part: i * each..onsets.steps().min((i + 1) * each),
        }));
    }
    all.retain(|stretch| stretch.part.len() >= LEAST);
    all
}

/// Peaks of one pair of takes that stand on one line become one fit.
fn gathered(mut peaks: Vec<Fit>) -> Vec<Fit> {
    peaks.sort_by(|a, b| b.height.total_cmp(&a.height));
    let mut fits: Vec<Fit> = Vec::new();
    for peak in peaks {
        let middle = |fit: &Fit| 0.5 * (fit.heard_s.0 + fit.heard_s.1);
        let same = fits.iter_mut().find(|fit| {
            let allowed = SAME_PLACE.0 + SAME_PLACE.1 * (middle(fit) - middle(&peak)).abs();
            (fit.lead, fit.take) == (peak.lead, peak.take)
                && (fit.offset_s - peak.offset_s).abs() <= allowed
        });
        match same {
            Some(fit) => {
                fit.height = fit.height.hypot(peak.height);
                fit.heard_s.0 = fit.heard_s.0.min(peak.heard_s.0);
                fit.heard_s.1 = fit.heard_s.1.max(peak.heard_s.1);
            }
            None => fits.push(peak),
        }
    }
    fits.sort_by(|a, b| b.height.total_cmp(&a.height));
    fits
}

struct Matcher {
    bins: usize,
    forward: Arc<dyn RealToComplex<f32>>,
    inverse: Arc<dyn ComplexToReal<f32>>,
}

impl Matcher {
    /// For stretches that have up to `steps` together.
    fn new(steps: usize) -> Self {
        let length = steps.next_power_of_two().max(2);
        let mut planner = RealFftPlanner::new();
        Self {
            bins: length / 2 + 1,
            forward: planner.plan_fft_forward(length),
            inverse: planner.plan_fft_inverse(length),
        }
    }

    /// The spectra of all bands, one after the other.
    fn spectra(&self, onsets: &Onsets, part: Range<usize>) -> Vec<Complex32> {
        let bins = self.bins;
        let mut spectra = vec![Complex32::default(); BANDS * bins];
        let mut input = self.forward.make_input_vec();
        for (band, spectrum) in spectra.chunks_exact_mut(bins).enumerate() {
            input.fill(0.0);
            for (slot, step) in input.iter_mut().zip(onsets.row(band, part.clone())) {
                *slot = step;
            }
            // The buffers have the planned lengths, the only thing that could fail.
            let done = self.forward.process(&mut input, spectrum);
            debug_assert!(done.is_ok());
        }
        spectra
    }

    fn peaks(
        &self,
        (own, ours): (&Stretch, &Vec<Complex32>),
        (their, theirs): (&Stretch, &Vec<Complex32>),
    ) -> Vec<Fit> {
        let bins = self.bins;
        let mut cross = vec![Complex32::default(); bins];
        for (a, b) in ours.chunks_exact(bins).zip(theirs.chunks_exact(bins)) {
            for ((sum, a), b) in cross.iter_mut().zip(a).zip(b) {
                *sum += a * b.conj();
            }
        }
        cross[0].im = 0.0;
        cross[bins - 1].im = 0.0;
        let mut correlation = self.inverse.make_output_vec();
        let done = self.inverse.process(&mut cross, &mut correlation);
        debug_assert!(done.is_ok());
        let (n, m) = (own.part.len() as i64, their.part.len() as i64);
        let length = correlation.len() as i64;
        // what was correlated at a lag, in the scatter that chance gives it
        let mut heights: Vec<(i64, f32)> = (-(m - 1)..n)
            .filter_map(|lag| {
                let together = (n - lag).min(m) - (-lag).max(0);
                (together >= LEAST as i64).then(|| {
                    let value = correlation[lag.rem_euclid(length) as usize];
                    (lag, value / (together as f32).sqrt())
                })
            })
            .collect();
        let mut sizes: Vec<f32> = heights.iter().map(|height| height.1.abs()).collect();
        let Some(middle) = sizes.len().checked_sub(1).map(|last| last / 2) else {
            return Vec::new();
        };
        let sigma = *sizes.select_nth_unstable_by(middle, f32::total_cmp).1 / 0.6745;
        if sigma <= f32::MIN_POSITIVE {
            return Vec::new();
        }
        let mut peaks = Vec::new();
        while peaks.len() < KEPT {
            let highest = heights.iter().max_by(|a, b| a.1.total_cmp(&b.1)).copied();
            let Some((lag, height)) = highest.filter(|best| best.1 > OUTSTANDING * sigma) else {
                break;
            };
            heights.retain(|other| (other.0 - lag).unsigned_abs() as usize > APART);
            let offset = lag + own.part.start as i64 - their.part.start as i64;
            let heard = (-lag).max(0)..(n - lag).min(m);
            let second = |step: i64| (step + their.part.start as i64) as f64 / PER_S;
            peaks.push(Fit {
                lead: own.take,
                take: their.take,
                offset_s: offset as f64 / PER_S,
                height: f64::from(height / sigma),
                heard_s: (second(heard.start), second(heard.end)),
            });
        }
        peaks
    }
}
