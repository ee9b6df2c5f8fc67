//! A level and a distance in, markers out: pairs of sweeps, the second the first one played backwards, whose
//! autocorrelation is known in closed form, at distances that do not repeat.
//!
//! One sweep is `sin^2(pi t / T) sin(2 pi (F0 t + (F1 - F0) t^2 / 2 T))`, `0 <= t <= T`. While the band holds thousands of
//! `1/T`, the spectrum of a linear sweep is its own fade laid along the band (stationary phase; Klauder, Price, Darlington
//! and Albersheim, "The theory and design of chirp radars", Bell System Technical Journal 39, 1960). So its power has the
//! shape `sin^4` from `F0` to `F1`, and the envelope of its autocorrelation at a lag `d` is the transform of that shape
//! ([`envelope`]): one main lobe of 3/(F1 - F0) to its first zero, side lobes below -46 dB (Harris, "On the use of windows
//! for harmonic analysis with the discrete Fourier transform", Proceedings of the IEEE 66, 1978, table I, `cos^4`: -47 dB).
//!
//! The second sweep runs backwards. A sweep heard at a wrong rate seems to come earlier or later, up and down the opposite
//! way round, so the two together do not; and the halves of a marker share their band and no sample, which is what tells a
//! wire from a microphone (`tie::common`). Two sweeps alike would fit one another shifted as well.

use std::f64::consts::{PI, TAU};

use super::TestSound;

/// Where a sweep begins, Hz: what low-cut filters turn lies below.
pub const LOWEST_HZ: f64 = 300.0;
/// Where it ends, Hz: radio links and the inputs of most equipment pass this.
pub const HIGHEST_HZ: f64 = 15_000.0;
/// How long one sweep lasts, seconds.
pub const SWEEP_S: f64 = 0.3;
/// The pause between the two, seconds: lags shorter than this see one sweep alone.
pub const PAUSE_S: f64 = 0.1;
/// How long a marker lasts, seconds: a block of the measurement (`clock::common`, 0.68 s at 48 kHz) holds most of it.
pub const MARKER_S: f64 = 2.0 * SWEEP_S + PAUSE_S;
/// Silence before the first, seconds.
pub const FIRST_S: f64 = 0.5;
/// The shortest distance, seconds.
pub const CLOSEST_S: f64 = 2.0;
/// Of the distance, but half a second at most, a marker is up to so much late.
const LATE: f64 = 0.1;
/// The golden ratio less one: the number worst told by fractions.
const GOLDEN: f64 = 0.618_033_988_749_894_9;

/// Markers over and over.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Marker {
    /// Samples a second; at least 2.2 times [`HIGHEST_HZ`].
    pub sample_rate: u32,
    /// Peak, 1 at full scale.
    pub amplitude: f64,
    /// From marker to marker on average, seconds, at least [`CLOSEST_S`].
    pub every_s: f64,
}

impl Marker {
    /// When marker `number` begins, seconds. It is late by `L frac(n^2 g)`: for every shift by whole markers the differences
    /// of two such numbers lie evenly over 0 to 1 (Weyl, "Über die Gleichverteilung von Zahlen mod. Eins", Mathematische
    /// Annalen 77, 1916), so that no shift makes more than a few markers meet.
    #[must_use]
    pub fn begins_s(&self, number: u32) -> f64 {
        let n = f64::from(number);
        let most_late = (LATE * self.every_s).min(0.5);
        n * self.every_s + FIRST_S + most_late * (n * n * GOLDEN).fract()
    }

    /// How many markers end within so many seconds.
    #[must_use]
    pub fn within(&self, seconds: f64) -> u32 {
        let most = (seconds / self.every_s).ceil().clamp(0.0, 1e7) as u32;
        (0..most)
            .filter(|&number| self.begins_s(number) + MARKER_S <= seconds)
            .count() as u32
    }
}

impl TestSound for Marker {
    fn fill(&self, first: u64, out: &mut [f64]) {
        let rate_hz = f64::from(self.sample_rate);
        for (i, out) in out.iter_mut().enumerate() {
            let t_s = (first + i as u64) as f64 / rate_hz;
            let number = (t_s / self.every_s).floor().clamp(0.0, 1e7) as u32;
            *out = self.amplitude * shape(t_s - self.begins_s(number));
        }
    }
}

/// One marker, `t_s` seconds after it begins; 0 before and after it.
#[must_use]
pub fn shape(t_s: f64) -> f64 {
    // the same from either end
    let t_s = t_s.min(MARKER_S - t_s);
    if !(0.0..SWEEP_S).contains(&t_s) {
        return 0.0;
    }
    let fade = (PI * t_s / SWEEP_S).sin().powi(2);
    let cycles = LOWEST_HZ * t_s + (HIGHEST_HZ - LOWEST_HZ) * t_s * t_s / (2.0 * SWEEP_S);
    fade * (TAU * cycles.fract()).sin()
}

/// The envelope of the autocorrelation at a lag, 1 at lag 0: the transform of `sin^4`, which is
/// `3/8 - 1/2 cos 2x + 1/8 cos 4x`, over the band. Holds for lags shorter than [`PAUSE_S`].
#[must_use]
pub fn envelope(lag_s: f64) -> f64 {
    let x = (HIGHEST_HZ - LOWEST_HZ) * lag_s;
    let sinc = |x: f64| {
        if x.abs() < 1e-9 {
            1.0
        } else {
            (PI * x).sin() / (PI * x)
        }
    };
    let sides = |by: f64| sinc(x - by) + sinc(x + by);
    sinc(x) + 2.0 / 3.0 * sides(1.0) + 1.0 / 6.0 * sides(2.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::Transform;

    const RATE: u32 = 48_000;

    fn one() -> Vec<f64> {
        let marker = Marker {
            sample_rate: RATE,
            amplitude: 1.0,
            every_s: 10.0,
        };
        let mut samples = vec![0.0; 2 * RATE as usize];
        marker.fill(0, &mut samples);
        samples
    }

    /// The envelope of the autocorrelation at lags of whole samples, 1 at lag 0: the size of the correlation that only
    /// positive frequencies make.
    fn measured(samples: &[f64]) -> Vec<f64> {
        let length = 4 * RATE as usize;
        let transform = Transform::new(length);
        let power: Vec<_> = transform
            .spectrum(samples)
            .iter()
            .map(|value| value.norm_sqr())
            .collect();
        let part = |quarter: f64| {
            let turned = power
                .iter()
                .map(|&p| realfft::num_complex::Complex64::from_polar(p, quarter));
            transform.samples(turned.collect())
        };
        let (real, imaginary) = (part(0.0), part(-PI / 2.0));
        let whole = real[0];
        real.iter()
            .zip(&imaginary)
            .map(|(re, im)| re.hypot(*im) / whole)
            .collect()
    }

    #[test]
    fn the_autocorrelation_is_the_one_that_was_designed() {
        let found = measured(&one());
        for (lag, found) in found.iter().enumerate().take(RATE as usize / 20) {
            let designed = envelope(lag as f64 / f64::from(RATE)).abs();
            assert!((found - designed).abs() < 1e-3, "{lag}: {found} {designed}");
        }
        // the first zero at 3/B, 204 us; half height at 2.59/2B, 88 us (Harris 1978, table I: 2.59 bins at -6 dB)
        let band = HIGHEST_HZ - LOWEST_HZ;
        assert!(envelope(3.0 / band).abs() < 1e-9);
        assert!((envelope(2.59 / 2.0 / band) - 0.5).abs() < 2e-3);
        let beside = found[10..RATE as usize / 20]
            .iter()
            .fold(0.0, |most: f64, value| most.max(*value));
        assert!(20.0 * beside.log10() < -46.0, "{beside}");
        let beyond = found[RATE as usize / 20..2 * RATE as usize]
            .iter()
            .fold(0.0, |most: f64, value| most.max(*value));
        assert!(20.0 * beyond.log10() < -36.0, "{beyond}");
    }

    #[test]
    fn it_is_the_same_from_either_end_and_silent_between() {
        for t_s in [0.01, 0.1234, 0.29, 0.35] {
            let apart = shape(t_s) - shape(MARKER_S - t_s);
            assert!(apart.abs() < 1e-9, "{t_s}: {apart}");
        }
        assert_eq!((shape(-0.001), shape(0.35), shape(0.701)), (0.0, 0.0, 0.0));
        let peak = one().iter().fold(0.0, |most: f64, x| most.max(x.abs()));
        assert!((0.995..=1.0).contains(&peak), "{peak}");
    }

    #[test]
    fn however_it_is_cut_it_is_the_same() {
        let marker = Marker {
            sample_rate: RATE,
            amplitude: 0.1,
            every_s: 2.0,
        };
        let mut whole = vec![0.0; 9 * RATE as usize];
        marker.fill(0, &mut whole);
        for first in [0, 24_001, 100_000] {
            let mut part = vec![0.0; 5000];
            marker.fill(first, &mut part);
            assert_eq!(part, whole[first as usize..][..5000]);
        }
        assert_eq!(marker.within(9.0), 4);
    }

    /// Shifted by any number of markers and anything in between, few of sixty meet within a millisecond.
    #[test]
    fn no_shift_makes_the_markers_meet() {
        let marker = Marker {
            sample_rate: RATE,
            amplitude: 0.1,
            every_s: 10.0,
        };
        let begins: Vec<f64> = (0..60).map(|number| marker.begins_s(number)).collect();
        for by in 1..30 {
            let shifts: Vec<f64> = begins
                .windows(by + 1)
                .map(|some| some[by] - some[0])
                .collect();
            let most = shifts
                .iter()
                .map(|a| shifts.iter().filter(|b| (a - *b).abs() < 1e-3).count())
                .max();
            assert!(most <= Some(6), "{by}: {most:?} of {}", shifts.len());
        }
    }
}
