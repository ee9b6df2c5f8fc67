//! Samples and a position between them in, the band-limited value there out: a Kaiser-windowed sinc whose half-amplitude
//! point is the Nyquist frequency, tabulated at equally spaced phases with a cubic through four Chebyshev nodes between
//! them. J. O. Smith, "Digital Audio Resampling", and Kaiser's design formulas (from memory): beta = 0.1102 (A - 8.7).
//!
//! No fused multiply-add and one fixed order of summation: every processor gives the same bits. Explicit vectors, because
//! compilers narrow the running sums of plain loops to the width of the final reduction (half the speed, measured).

use std::f64::consts::PI;

use fearless_simd::prelude::*;
use fearless_simd::{Level, dispatch, f64x8};

/// How a kernel is designed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KernelSpec {
    /// Samples that take part in one value; rounded up to a multiple of 16.
    pub taps: usize,
    /// Tabulated positions between two samples.
    pub phases: usize,
    /// Stop-band attenuation, dB.
    pub stop_band_db: f64,
}

impl KernelSpec {
    /// For what is written to a file: about -180 dB up to 20 kHz at 48 kHz (measured in this module's tests).
    pub const RENDER: Self = Self {
        taps: 128,
        phases: 256,
        stop_band_db: 180.0,
    };
    /// For measuring at full rate: about -150 dB.
    pub const MEASURE: Self = Self {
        taps: 64,
        phases: 128,
        stop_band_db: 150.0,
    };
}

/// A tabulated kernel.
#[derive(Debug, Clone)]
pub struct Kernel {
    taps: usize,
    phases: usize,
    /// `[phase][power][tap]`, powers 0 to 3 of the position within the phase.
    table: Vec<f64>,
    level: Level,
}

/// Running sums of a dot product; taps are a multiple of it.
const LANES: usize = 16;

/// Rates that differ by less than this are one rate with two crystals: far beyond any crystal, far below 44.1 against
/// 48 kHz.
const NEAR_ONE: f64 = 0.01;

/// Positions whose coefficients are computed together and shared by all planes: 32 rows of 128 taps stay in the cache.
const BLOCK: usize = 32;

impl Kernel {
    /// Tabulates a kernel whose half-amplitude point is the input's Nyquist frequency: for outputs at (nearly) the input's
    /// own rate.
    #[must_use]
    pub fn new(spec: KernelSpec) -> Self {
        Self::tabulate(spec, 1.0)
    }

    /// Tabulates a kernel for an output whose samples lie `step` input samples apart. Near 1 it is [`Self::new`]; away from
    /// it the pass band ends below the lower of the two Nyquist frequencies, so that nothing folds and no images remain:
    /// the half-amplitude point is 22/24 of that frequency and the stop band begins at it.
    #[must_use]
    pub fn for_step(spec: KernelSpec, step: f64) -> Self {
        if (step - 1.0).abs() < NEAR_ONE {
            return Self::new(spec);
        }
        let cut_off = 22.0 / 24.0 / step.max(1.0);
        // 160 instead of 128 taps make the transition fit between 20 and 24 of 24 (Kaiser's formula for its width)
        let taps = (spec.taps as f64 * 1.25 * step.max(1.0)).ceil() as usize;
        Self::tabulate(KernelSpec { taps, ..spec }, cut_off)
    }

    /// `cut_off` is the half-amplitude frequency as a part of the input's Nyquist frequency.
    fn tabulate(spec: KernelSpec, cut_off: f64) -> Self {
        let taps = spec.taps.max(LANES).next_multiple_of(LANES);
        let phases = spec.phases.max(1);
        let design = Design {
            taps,
            beta: 0.1102 * (spec.stop_band_db - 8.7),
            cut_off,
        };
        // Chebyshev nodes of the first kind on [0, 1].
        let nodes: [f64; 4] =
            std::array::from_fn(|i| 0.5 - 0.5 * ((2 * i + 1) as f64 * PI / 8.0).cos());
        let mut table = vec![0.0; phases * 4 * taps];
        for phase in 0..phases {
            let rows: [Vec<f64>; 4] = std::array::from_fn(|node| {
                design.exact_row((phase as f64 + nodes[node]) / phases as f64)
            });
            let block = &mut table[phase * 4 * taps..][..4 * taps];
            for tap in 0..taps {
                let values = std::array::from_fn(|node| rows[node][tap]);
                for (power, value) in cubic_through(&nodes, &values).into_iter().enumerate() {
                    block[power * taps + tap] = value;
                }
            }
        }
        Self {
            taps,
            phases,
            table,
            level: Level::new(),
        }
    }

    /// How many samples before `floor(position)` take part; as many and one more follow it.
    #[must_use]
    pub fn before(&self) -> usize {
        self.taps / 2 - 1
    }

    /// How many samples take part in one value.
    #[must_use]
    pub fn taps(&self) -> usize {
        self.taps
    }

    /// The values of `planes` at `positions`, the same positions for every plane. `positions[i]` counts from the first
    /// sample of the planes; each must lie in `before() ..= len - 1 - taps / 2`, so that all taps fall inside.
    /// `out[p]` receives as many values as there are positions.
    pub fn resample(&self, planes: &[&[f64]], positions: &[f64], out: &mut [&mut [f64]]) {
        let places: Vec<(usize, f64)> = positions
            .iter()
            .map(|&position| (position as usize, position - position.floor()))
            .collect();
        self.resample_at(planes, &places, out);
    }

    /// The same with each position as a whole sample and a fraction in [0, 1], so that the result does not depend on how
    /// far into the planes it lies.
    pub fn resample_at(&self, planes: &[&[f64]], places: &[(usize, f64)], out: &mut [&mut [f64]]) {
        dispatch!(self.level, simd => self.resample_with(simd, planes, places, out));
    }

    #[inline(always)]
    fn resample_with<S: Simd>(
        &self,
        simd: S,
        planes: &[&[f64]],
        places: &[(usize, f64)],
        out: &mut [&mut [f64]],
    ) {
        let mut rows = vec![0.0; BLOCK * self.taps];
        for (block, places) in places.chunks(BLOCK).enumerate() {
            for (&(_, fraction), row) in places.iter().zip(rows.chunks_exact_mut(self.taps)) {
                self.row(simd, fraction, row);
            }
            for (plane, out) in planes.iter().zip(out.iter_mut()) {
                let out = &mut out[block * BLOCK..][..places.len()];
                for ((&(whole, _), row), out) in
                    places.iter().zip(rows.chunks_exact(self.taps)).zip(out)
                {
                    *out = dot(simd, &plane[whole - self.before()..][..self.taps], row);
                }
            }
        }
    }

    /// Writes the coefficients for `fraction` in [0, 1) to `row`. Coefficient `i` belongs to the sample `i - before()`
    /// after `floor(position)`.
    #[inline(always)]
    fn row<S: Simd>(&self, simd: S, fraction: f64, row: &mut [f64]) {
        let place = fraction * self.phases as f64;
        let phase = (place as usize).min(self.phases - 1);
        let m = f64x8::splat(simd, place - phase as f64);
        let block = &self.table[phase * 4 * self.taps..][..4 * self.taps];
        let (c0, rest) = block.split_at(self.taps);
        let (c1, rest) = rest.split_at(self.taps);
        let (c2, c3) = rest.split_at(self.taps);
        let load = |values: &[f64]| f64x8::from_slice(simd, values);
        for ((((c0, c1), c2), c3), out) in c0
            .chunks_exact(8)
            .zip(c1.chunks_exact(8))
            .zip(c2.chunks_exact(8))
            .zip(c3.chunks_exact(8))
            .zip(row.chunks_exact_mut(8))
        {
            (((load(c3) * m + load(c2)) * m + load(c1)) * m + load(c0)).store_slice(out);
        }
    }
}

/// The dot product in a fixed order: sixteen running sums, added up pairwise at the end.
#[inline(always)]
fn dot<S: Simd>(simd: S, a: &[f64], b: &[f64]) -> f64 {
    let load = |values: &[f64]| f64x8::from_slice(simd, values);
    let mut low = f64x8::splat(simd, 0.0);
    let mut high = low;
    for (a, b) in a.chunks_exact(LANES).zip(b.chunks_exact(LANES)) {
        low += load(&a[..8]) * load(&b[..8]);
        high += load(&a[8..]) * load(&b[8..]);
    }
    let sums: [f64; 8] = (low + high).into();
    ((sums[0] + sums[4]) + (sums[2] + sums[6])) + ((sums[1] + sums[5]) + (sums[3] + sums[7]))
}

/// A windowed sinc.
struct Design {
    taps: usize,
    /// Of Kaiser's window.
    beta: f64,
    /// Half-amplitude frequency as a part of the Nyquist frequency.
    cut_off: f64,
}

impl Design {
    /// The exact coefficients at `fraction`, normalised to unit gain at 0 Hz.
    fn exact_row(&self, fraction: f64) -> Vec<f64> {
        let half = self.taps as f64 / 2.0;
        let mut row: Vec<f64> = (0..self.taps)
            .map(|tap| {
                let t = tap as f64 - (half - 1.0) - fraction;
                let x = PI * t * self.cut_off;
                let sinc = if x.abs() < 1e-12 { 1.0 } else { x.sin() / x };
                let inside = 1.0 - (t / half) * (t / half);
                if inside > 0.0 {
                    sinc * bessel_i0(self.beta * inside.sqrt())
                } else {
                    0.0
                }
            })
            .collect();
        let sum: f64 = row.iter().sum();
        row.iter_mut().for_each(|value| *value /= sum);
        row
    }
}

/// The modified Bessel function of order 0 by its power series.
fn bessel_i0(x: f64) -> f64 {
    let quarter = x * x / 4.0;
    let (mut term, mut sum, mut k) = (1.0, 1.0, 1.0);
    while term > sum * 1e-18 {
        term *= quarter / (k * k);
        sum += term;
        k += 1.0;
    }
    sum
}

/// Coefficients, lowest power first, of the cubic through four points: Newton's divided differences, multiplied out.
fn cubic_through(x: &[f64; 4], y: &[f64; 4]) -> [f64; 4] {
    let mut d = *y;
    for order in 1..4 {
        for i in (order..4).rev() {
            d[i] = (d[i] - d[i - 1]) / (x[i] - x[i - order]);
        }
    }
    let mut c = [d[3], 0.0, 0.0, 0.0];
    for i in (0..3).rev() {
        for power in (1..4).rev() {
            c[power] = c[power - 1] - x[i] * c[power];
        }
        c[0] = d[i] - x[i] * c[0];
    }
    c
}

#[cfg(test)]
mod tests;
