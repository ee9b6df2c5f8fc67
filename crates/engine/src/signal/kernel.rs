//! Samples and a position between them in, the band-limited value there out: a Kaiser-windowed sinc designed from its pass
//! band and its stop band, tabulated at equally spaced phases with a parabola through three Chebyshev nodes between them.
//! J. O. Smith, "Digital Audio Resampling", and Kaiser's design formulas (from memory): beta = 0.1102 (A - 8.7), taps =
//! (A - 7.95) / (2.285 times the transition in radians).
//!
//! One fixed order of summation, and multiply-add in one rounding where the processor has it (AVX2, AVX-512, NEON): all of
//! those give the same bits; older processors round twice and may differ in the last bits of 64-bit floating point.
//! Explicit vectors, because compilers narrow the running sums of plain loops to the width of the final reduction (half
//! the speed, measured).

use std::f64::consts::PI;
use std::sync::{Arc, Mutex, PoisonError};

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
    /// The frequency of half amplitude as a part of the input's Nyquist frequency.
    pub half_amplitude: f64,
}

/// Rates that differ by less than this are one rate with two crystals: far beyond any crystal, far below 44.1 against
/// 48 kHz.
const NEAR_ONE: f64 = 0.01;

/// What is written to a file is flat up to here where the rate allows it: the audible band, Hz.
const AUDIBLE_HZ: f64 = 20_000.0;

/// Attenuation that rendering is designed for, dB. What it errs by up to 20 kHz is below -165 dB, 20 dB below the last bit
/// of 24 (docs/decisions/building.md has the measured curve).
const RENDERING_DB: f64 = 160.0;

impl KernelSpec {
    /// For measuring at full rate: about -150 dB up to 20 kHz at 48 kHz.
    pub const MEASURE: Self = Self {
        taps: 64,
        phases: 512,
        stop_band_db: 150.0,
        half_amplitude: 1.0,
    };

    /// For what is written to a file: sound at `own` samples a second brought to about `lead` samples a second. Flat up
    /// to 20 kHz, or to 5/6 of the lower Nyquist frequency where that is higher.
    ///
    /// At (nearly) the same rate the half-amplitude point is the Nyquist frequency: what lies above the pass band stays and
    /// is mirrored at most onto its own neighbourhood. Between different rates the stop band begins at the lower Nyquist
    /// frequency, so that nothing folds and no images remain.
    #[must_use]
    pub fn rendering(own: f64, lead: f64) -> Self {
        Self::designed(own, lead, RENDERING_DB)
    }

    /// The same for measuring sound at another nominal rate: -110 dB are far below what two units have in common.
    #[must_use]
    pub fn converting(own: f64, rate: f64) -> Self {
        Self::designed(own, rate, 110.0)
    }

    fn designed(own: f64, lead: f64, stop_band_db: f64) -> Self {
        let nyquist = own.min(lead) / 2.0;
        // at low rates the transition keeps the width that it has at 44.1 kHz
        let pass = AUDIBLE_HZ
            .min(AUDIBLE_HZ / 22_050.0 * nyquist)
            .max(nyquist * 5.0 / 6.0);
        let (half, width) = if (own / lead - 1.0).abs() < NEAR_ONE {
            (own / 2.0, own - 2.0 * pass)
        } else {
            ((pass + nyquist) / 2.0, nyquist - pass)
        };
        let transition = 2.0 * PI * width / own;
        Self {
            taps: ((stop_band_db - 7.95) / (2.285 * transition)).ceil() as usize,
            phases: 1024,
            stop_band_db,
            half_amplitude: half / (own / 2.0),
        }
    }
}

/// A tabulated kernel.
#[derive(Debug, Clone)]
pub struct Kernel {
    taps: usize,
    phases: usize,
    /// `[phase][tap / 8][power][tap % 8]`, powers 0 to 2 of the position within the phase: what makes eight coefficients
    /// stands together.
    table: Arc<[f64]>,
    level: Level,
}

/// Coefficients of the parabola between two phases.
const POWERS: usize = 3;

/// Coefficients that are computed at once.
const GROUP: usize = 8;

/// Taps are a multiple of this.
const LANES: usize = 16;

/// Positions whose coefficients are computed together and shared by all planes: 32 rows stay in the cache.
const BLOCK: usize = 32;

/// Kernels that are kept to be asked for again: units of more rates than these are seldom on one day.
const MOST_KEPT: usize = 4;

/// Planes whose running sums are kept in registers at the same time: twelve of sixteen with vectors of four.
const TOGETHER: usize = 6;

impl Kernel {
    /// Tabulates a kernel.
    #[must_use]
    pub fn new(spec: KernelSpec) -> Self {
        let taps = spec.taps.max(LANES).next_multiple_of(LANES);
        let phases = spec.phases.max(1);
        let design = Design {
            taps,
            beta: 0.1102 * (spec.stop_band_db - 8.7),
            cut_off: spec.half_amplitude,
        };
        // Chebyshev nodes of the first kind on [0, 1].
        let nodes: [f64; POWERS] = std::array::from_fn(|i| {
            0.5 - 0.5 * ((2 * i + 1) as f64 * PI / (2 * POWERS) as f64).cos()
        });
        let mut table = vec![0.0; phases * POWERS * taps];
        for phase in 0..phases {
            let rows: [Vec<f64>; POWERS] = std::array::from_fn(|node| {
                design.exact_row((phase as f64 + nodes[node]) / phases as f64)
            });
            let block = &mut table[phase * POWERS * taps..][..POWERS * taps];
            for tap in 0..taps {
                let values = std::array::from_fn(|node| rows[node][tap]);
                for (power, value) in parabola_through(&nodes, &values).into_iter().enumerate() {
                    block[(tap / GROUP * POWERS + power) * GROUP + tap % GROUP] = value;
                }
            }
        }
        Self {
            taps,
            phases,
            table: table.into(),
            level: Level::new(),
        }
    }

    /// The same, tabulated once for all who ask: a kernel for rendering takes a tenth of a second. The last few are kept.
    #[must_use]
    pub fn shared(spec: KernelSpec) -> Self {
        static KEPT: Mutex<Vec<(KernelSpec, Kernel)>> = Mutex::new(Vec::new());
        let mut kept = KEPT.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, kernel)) = kept.iter().find(|(of, _)| *of == spec) {
            return kernel.clone();
        }
        let kernel = Self::new(spec);
        kept.truncate(MOST_KEPT - 1);
        kept.insert(0, (spec, kernel.clone()));
        kernel
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
        let mut rows = vec![0.0; BLOCK.min(places.len()) * self.taps];
        for (block, places) in places.chunks(BLOCK).enumerate() {
            for (&(_, fraction), row) in places.iter().zip(rows.chunks_exact_mut(self.taps)) {
                self.row(simd, fraction, row);
            }
            let from = block * BLOCK;
            for (planes, out) in planes.chunks(TOGETHER).zip(out.chunks_mut(TOGETHER)) {
                match planes.len() {
                    1 => self.products::<S, 1>(simd, planes, places, &rows, (from, out)),
                    2 => self.products::<S, 2>(simd, planes, places, &rows, (from, out)),
                    3 => self.products::<S, 3>(simd, planes, places, &rows, (from, out)),
                    4 => self.products::<S, 4>(simd, planes, places, &rows, (from, out)),
                    5 => self.products::<S, 5>(simd, planes, places, &rows, (from, out)),
                    _ => self.products::<S, TOGETHER>(simd, planes, places, &rows, (from, out)),
                }
            }
        }
    }

    /// Writes the coefficients for `fraction` in [0, 1) to `row`. Coefficient `i` belongs to the sample `i - before()`
    /// after `floor(position)`.
    #[inline(always)]
    fn row<S: Simd>(&self, simd: S, fraction: f64, row: &mut [f64]) {
        let load = |values: &[f64]| f64x8::from_slice(simd, values);
        let place = fraction * self.phases as f64;
        let phase = (place as usize).min(self.phases - 1);
        let m = f64x8::splat(simd, place - phase as f64);
        let table = &self.table[phase * POWERS * self.taps..][..POWERS * self.taps];
        let coefficients = table.as_chunks::<{ POWERS * GROUP }>().0;
        for (c, out) in coefficients.iter().zip(row.chunks_exact_mut(GROUP)) {
            let upper = load(&c[16..]).mul_add(m, load(&c[8..16]));
            upper.mul_add(m, load(&c[..8])).store_slice(out);
        }
    }

    /// The products of `N` planes with the rows of a block: each coefficient is fetched once for all of them. A plane's sum
    /// is taken in one order whatever stands beside it: eight running sums, added up pairwise at the end.
    #[inline(always)]
    fn products<S: Simd, const N: usize>(
        &self,
        simd: S,
        planes: &[&[f64]],
        places: &[(usize, f64)],
        rows: &[f64],
        (from, out): (usize, &mut [&mut [f64]]),
    ) {
        let load = |values: &[f64; GROUP]| f64x8::from_slice(simd, values);
        let groups = self.taps / GROUP;
        for (i, (&(whole, _), row)) in places.iter().zip(rows.chunks_exact(self.taps)).enumerate() {
            let row = &row.as_chunks::<GROUP>().0[..groups];
            let first = whole - self.before();
            let parts: [&[[f64; GROUP]]; N] = std::array::from_fn(|plane| {
                &planes[plane][first..][..self.taps].as_chunks().0[..groups]
            });
            let mut sums = [f64x8::splat(simd, 0.0); N];
            for group in 0..groups {
                let row = load(&row[group]);
                for plane in 0..N {
                    sums[plane] = load(&parts[plane][group]).mul_add(row, sums[plane]);
                }
            }
            for plane in 0..N {
                out[plane][from + i] = add_up(sums[plane]);
            }
        }
    }
}

#[inline(always)]
fn add_up<S: Simd>(sums: f64x8<S>) -> f64 {
    let sums: [f64; 8] = sums.into();
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

/// Coefficients, lowest power first, of the parabola through three points: Newton's divided differences, multiplied out.
fn parabola_through(x: &[f64; POWERS], y: &[f64; POWERS]) -> [f64; POWERS] {
    let mut d = *y;
    for order in 1..POWERS {
        for i in (order..POWERS).rev() {
            d[i] = (d[i] - d[i - 1]) / (x[i] - x[i - order]);
        }
    }
    let mut c = [0.0; POWERS];
    c[0] = d[POWERS - 1];
    for i in (0..POWERS - 1).rev() {
        for power in (1..POWERS).rev() {
            c[power] = c[power - 1] - x[i] * c[power];
        }
        c[0] = d[i] - x[i] * c[0];
    }
    c
}

#[cfg(test)]
mod tests;
