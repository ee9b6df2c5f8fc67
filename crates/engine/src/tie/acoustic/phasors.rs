//! Two units' decimated sound in, short-time coherence phasors out: `X Y* / sqrt(|X|^2 |Y|^2)`, each term smoothed over
//! five windows by a triangle (magnitude near 1 where one sound reaches both microphones, phase `omega * delay`).

use std::f64::consts::TAU;
use std::sync::Arc;

use realfft::num_complex::Complex32;
use realfft::{RealFftPlanner, RealToComplex};

use crate::error::{Error, Kind, Result};
use crate::signal::hann;

/// Samples of the analysis window (0.512 s at 16 kHz).
pub const WINDOW: usize = 8192;

/// Samples between windows.
pub const HOP: usize = 2048;

/// How many windows the smoothing reaches to each side.
pub const REACH: usize = 2;

const SMOOTHING: [f32; 2 * REACH + 1] = [1.0 / 3.0, 2.0 / 3.0, 1.0, 2.0 / 3.0, 1.0 / 3.0];

/// Below this product of smoothed powers (both near -140 dB of full scale) there is nothing to compare.
const SILENCE: f32 = 1e-20;

/// Where the analysis looks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// The analysis rate, samples a second.
    pub hz: f64,
    /// The first bin used.
    pub first: usize,
    /// How many bins are used.
    pub bins: usize,
}

impl Band {
    /// 150 Hz to 7200 Hz, or to what the decimation leaves whole when the analysis rate is lower.
    #[must_use]
    pub fn new(analysis_hz: f64) -> Self {
        let bin = |hz: f64| hz / analysis_hz * WINDOW as f64;
        let first = bin(150.0).ceil() as usize;
        let last = bin(7200.0_f64.min(0.45 * analysis_hz)).floor() as usize;
        Self {
            hz: analysis_hz,
            first,
            bins: last + 1 - first,
        }
    }

    /// The angular frequency of the `i`-th bin used, radians a sample of the analysis rate.
    #[must_use]
    pub fn omega(&self, i: usize) -> f64 {
        TAU * (self.first + i) as f64 / WINDOW as f64
    }
}

/// Makes phasors from planes; holds the transform and the last few spectra.
pub struct Phasors {
    band: Band,
    fft: Arc<dyn RealToComplex<f32>>,
    hann: Vec<f32>,
    windowed: Vec<f32>,
    spectrum: Vec<Complex32>,
    scratch: Vec<Complex32>,
    smoothed: Vec<Complex32>,
    power: [Vec<f32>; 2],
}

/// One stretch to analyse: planes of both units that begin [`REACH`] windows before the first window wanted and end as
/// many after the last, and the pairs of planes to compare.
#[derive(Debug, Clone, Copy)]
pub struct Stretch<'a> {
    /// The lead's planes.
    pub lead: &'a [Vec<f32>],
    /// The follower's planes.
    pub follower: &'a [Vec<f32>],
    /// Indices into both.
    pub pairs: &'a [(usize, usize)],
    /// How many windows are wanted.
    pub windows: usize,
}

impl Stretch<'_> {
    /// Plane length for `windows` windows.
    #[must_use]
    pub fn samples(windows: usize) -> usize {
        (windows + 2 * REACH - 1) * HOP + WINDOW
    }
}

/// The spectra of one window: one row of bins a channel.
#[derive(Default, Clone)]
struct Slot {
    lead: Vec<Vec<Complex32>>,
    follower: Vec<Vec<Complex32>>,
    cross: Vec<Vec<Complex32>>,
}

impl Phasors {
    /// A maker of phasors in `band`.
    #[must_use]
    pub fn new(band: Band) -> Self {
        let fft = RealFftPlanner::new().plan_fft_forward(WINDOW);
        Self {
            band,
            hann: hann(WINDOW).into_iter().map(|w| w as f32).collect(),
            windowed: fft.make_input_vec(),
            spectrum: fft.make_output_vec(),
            scratch: fft.make_scratch_vec(),
            fft,
            smoothed: vec![Complex32::default(); band.bins],
            power: [vec![0.0; band.bins], vec![0.0; band.bins]],
        }
    }

    /// Calls `take(window, pair, phasors)` for every window and pair of a stretch, windows in order.
    ///
    /// # Errors
    /// When a plane is shorter than [`Stretch::samples`].
    pub fn run(
        &mut self,
        stretch: Stretch<'_>,
        mut take: impl FnMut(usize, usize, &[Complex32]),
    ) -> Result<()> {
        let mut ring: Vec<Slot> = vec![Slot::default(); 2 * REACH + 1];
        for window in 0..stretch.windows + 2 * REACH {
            let slots = ring.len();
            self.fill(&mut ring[window % slots], stretch, window * HOP)?;
            let Some(wanted) = window.checked_sub(2 * REACH) else {
                continue;
            };
            for (pair, &(lead, follower)) in stretch.pairs.iter().enumerate() {
                self.smooth(&ring, wanted, (pair, lead, follower));
                take(wanted, pair, &self.smoothed);
            }
        }
        Ok(())
    }

    fn fill(&mut self, slot: &mut Slot, stretch: Stretch<'_>, start: usize) -> Result<()> {
        self.spectra(&mut slot.lead, stretch.lead, start)?;
        self.spectra(&mut slot.follower, stretch.follower, start)?;
        slot.cross.resize(
            stretch.pairs.len(),
            vec![Complex32::default(); self.band.bins],
        );
        for (cross, &(lead, follower)) in slot.cross.iter_mut().zip(stretch.pairs) {
            let spectra = slot.lead[lead].iter().zip(&slot.follower[follower]);
            for (cross, (x, y)) in cross.iter_mut().zip(spectra) {
                *cross = x * y.conj();
            }
        }
        Ok(())
    }

    fn spectra(
        &mut self,
        rows: &mut Vec<Vec<Complex32>>,
        planes: &[Vec<f32>],
        start: usize,
    ) -> Result<()> {
        rows.resize(planes.len(), Vec::new());
        for (row, plane) in rows.iter_mut().zip(planes) {
            let samples = plane
                .get(start..start + WINDOW)
                .ok_or_else(|| Error::new(Kind::Usage, "a plane is shorter than its windows"))?;
            for ((out, &sample), &weight) in self.windowed.iter_mut().zip(samples).zip(&self.hann) {
                *out = sample * weight;
            }
            self.fft
                .process_with_scratch(&mut self.windowed, &mut self.spectrum, &mut self.scratch)
                .map_err(|wrong| Error::new(Kind::Usage, "transform failed").from_source(wrong))?;
            row.clear();
            row.extend_from_slice(&self.spectrum[self.band.first..][..self.band.bins]);
        }
        Ok(())
    }

    fn smooth(&mut self, ring: &[Slot], wanted: usize, which: (usize, usize, usize)) {
        let (pair, lead, follower) = which;
        self.smoothed.fill(Complex32::default());
        self.power.iter_mut().for_each(|power| power.fill(0.0));
        for (i, weight) in SMOOTHING.into_iter().enumerate() {
            let slot = &ring[(wanted + i) % ring.len()];
            for (sum, cross) in self.smoothed.iter_mut().zip(&slot.cross[pair]) {
                *sum += cross * weight;
            }
            let rows = [&slot.lead[lead], &slot.follower[follower]];
            for (power, row) in self.power.iter_mut().zip(rows) {
                for (sum, value) in power.iter_mut().zip(row) {
                    *sum += weight * value.norm_sqr();
                }
            }
        }
        let [a, b] = &self.power;
        for ((phasor, a), b) in self.smoothed.iter_mut().zip(a).zip(b) {
            let power = a * b;
            if power > SILENCE {
                *phasor /= power.sqrt();
            } else {
                *phasor = Complex32::default();
            }
        }
    }
}
