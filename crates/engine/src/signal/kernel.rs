//! Samples and a position between them in, the band-limited value there out: a Kaiser-windowed sinc designed from its pass
//! band and its stop band, tabulated at equally spaced phases with a parabola through three Chebyshev nodes between them.
//! J. O. Smith, "Digital Audio Resampling", and Kaiser's design formulas (from memory): beta = 0.1102 (A - 8.7), taps =
//! (A - 7.95) / (2.285 times the transition in radians).
//!
//! One fixed order of summation, and multiply-add in one rounding where the processor has it (AVX2, AVX-512, NEON): all of
//! those give the same bits; older processors round twice and may differ in the last bits of 64-bit floating point.
//! Explicit vectors, because compilers narrow the running sums of plain loops to the width of the final reduction (half
//! the speed, measured).

mod abreast;
mod design;
mod rows;

use std::f64::consts::PI;
use std::sync::{Arc, Mutex, PoisonError};

use fearless_simd::prelude::*;
use fearless_simd::{Level, dispatch};

use abreast::{ABREAST, STREAMS};
use design::{Design, parabola_through};
use rows::Rows;

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
    /// `[phase][tap / 8][power]`, powers 0 to 2 of the position within the phase: what makes eight coefficients stands
    /// together.
    table: Arc<[Eight]>,
    level: Level,
}

/// Coefficients of the parabola between two phases.
const POWERS: usize = 3;

/// Coefficients of neighbouring taps that stand together; each has a running sum of its own.
const GROUP: usize = 8;

/// One vector, which lies in one line of the cache.
#[derive(Debug, Clone, Copy)]
#[repr(align(64))]
struct Eight([f64; GROUP]);

/// Taps are a multiple of this.
const LANES: usize = 16;

/// Kernels that are kept to be asked for again: units of more rates than these are seldom on one day.
const MOST_KEPT: usize = 4;

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
        let mut table = Vec::with_capacity(phases * POWERS * taps / GROUP);
        for phase in 0..phases {
            let rows: [Vec<f64>; POWERS] = std::array::from_fn(|node| {
                design.exact_row((phase as f64 + nodes[node]) / phases as f64)
            });
            for group in 0..taps / GROUP {
                let mut powers = [Eight([0.0; GROUP]); POWERS];
                for lane in 0..GROUP {
                    let tap = group * GROUP + lane;
                    let parabola = parabola_through(&nodes, &rows.each_ref().map(|row| row[tap]));
                    for (power, value) in powers.iter_mut().zip(parabola) {
                        power.0[lane] = value;
                    }
                }
                table.extend(powers);
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
        let places: Vec<(usize, f64)> = positions.iter().map(|at| place(*at)).collect();
        self.resample_at(planes, &places, out);
    }

    /// The same with each position as a whole sample and a fraction in [0, 1], so that the result does not depend on how
    /// far into the planes it lies.
    pub fn resample_at(&self, planes: &[&[f64]], places: &[(usize, f64)], out: &mut [&mut [f64]]) {
        dispatch!(self.level, simd => self.resample_with(simd, planes, places, out));
    }

    /// Groups of positions side by side where the processor's vectors and the positions allow it, the others by rows: every
    /// value is the same sum in the same order either way.
    #[inline(always)]
    fn resample_with<S: Simd>(
        &self,
        simd: S,
        planes: &[&[f64]],
        places: &[(usize, f64)],
        out: &mut [&mut [f64]],
    ) {
        let wide = <S::f64s as SimdBase<S>>::LEN == ABREAST && !planes.is_empty();
        let mut rows = Rows::default();
        // up to here everything is done; up to there it waits for its rows
        let (mut done, mut at) = (0, 0);
        while wide && at + ABREAST <= places.len() {
            let values = (&places[done..at], done);
            let rest = &places[at..];
            let many = (planes.len() == 1).then(|| self.abreast(rest)).flatten();
            if let Some(groups) = many {
                self.by_rows(simd, &mut rows, planes, values, out);
                self.side_by_side::<S, 1, STREAMS>(simd, planes, &groups, (at, out));
                at += STREAMS * ABREAST;
            } else if let Some(groups) = self.abreast(rest) {
                self.by_rows(simd, &mut rows, planes, values, out);
                let together = planes.len().div_ceil(planes.len().div_ceil(STREAMS));
                for (planes, out) in planes.chunks(together).zip(out.chunks_mut(together)) {
                    match planes.len() {
                        1 => self.side_by_side::<S, 1, 1>(simd, planes, &groups, (at, out)),
                        2 => self.side_by_side::<S, 2, 1>(simd, planes, &groups, (at, out)),
                        3 => self.side_by_side::<S, 3, 1>(simd, planes, &groups, (at, out)),
                        4 => self.side_by_side::<S, 4, 1>(simd, planes, &groups, (at, out)),
                        5 => self.side_by_side::<S, 5, 1>(simd, planes, &groups, (at, out)),
                        _ => self.side_by_side::<S, STREAMS, 1>(simd, planes, &groups, (at, out)),
                    }
                }
                at += ABREAST;
            } else {
                at += ABREAST;
                continue;
            }
            done = at;
        }
        self.by_rows(simd, &mut rows, planes, (&places[done..], done), out);
    }

    /// The coefficients of a phase: for every eight taps three powers of the position within it, lowest first.
    #[inline(always)]
    fn phase(&self, phase: usize) -> &[[Eight; POWERS]] {
        let length = self.taps / GROUP;
        &self.table.as_chunks().0[phase * length..][..length]
    }

    /// The phase in which `fraction`, in [0, 1], lies, as a whole number, and the position within it.
    #[inline(always)]
    fn within(&self, fraction: f64) -> (f64, f64) {
        let place = fraction * self.phases as f64;
        let (phase, last) = (place.trunc(), (self.phases - 1) as f64);
        let phase = if phase < last { phase } else { last };
        (phase, place - phase)
    }
}

/// A position, 0 at least, as a whole sample and a fraction.
#[inline]
pub(super) fn place(position: f64) -> (usize, f64) {
    let whole = position as usize;
    (whole, position - whole as f64)
}

#[cfg(test)]
mod tests;
