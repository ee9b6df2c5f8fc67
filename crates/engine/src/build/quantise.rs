//! Rendered values in, values out that the file's encoding holds exactly: rounded to the nearest, with triangular dither
//! where integers are rounded. The dither of a value depends on its channel and its lead position alone, so that the same
//! alignment gives the same bytes. Exact zeros stay exact: gaps are digital silence.
//!
//! Triangular dither of two steps peak to peak: Lipshitz, Wannamaker, Vanderkooy, "Quantization and Dither: A
//! Theoretical Survey", JAES 40 (1992).

use wave::Encoding;

use crate::signal::widest;
use crate::units::Db;

/// What did not fit into the encoding.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Beyond {
    /// Values beyond full scale.
    pub(super) count: u64,
    /// The largest magnitude of all values, full scale being 1.
    pub(super) peak: f64,
}

impl Beyond {
    pub(super) fn add(&mut self, other: Self) {
        self.count += other.count;
        self.peak = self.peak.max(other.peak);
    }

    /// The gain that brings the largest value below full scale, in whole tenths of a dB; meant for peaks above it. What it
    /// leaves, 0.05 dB at least, is far more than dither adds.
    pub(super) fn fitting_gain(self) -> Db {
        Db(((-Db::of_amplitude(self.peak).0 - 0.05) * 10.0).floor() / 10.0)
    }
}

/// Whether every sample of `source` is a sample of `encoding`.
pub(super) fn holds(encoding: Encoding, source: Encoding) -> bool {
    use Encoding::{Float32, Float64, Int16, Int24, Int32};
    match encoding {
        Int16 => source == Int16,
        Int24 => matches!(source, Int16 | Int24),
        Int32 => matches!(source, Int16 | Int24 | Int32),
        Float32 => matches!(source, Int16 | Int24 | Float32),
        Float64 => true,
    }
}

/// The smallest encoding that holds every sample of all `sources`.
pub(super) fn smallest_for(sources: &[Encoding]) -> Encoding {
    use Encoding::{Float32, Float64, Int16, Int24, Int32};
    [Int16, Int24, Float32, Int32, Float64]
        .into_iter()
        .find(|&encoding| sources.iter().all(|&source| holds(encoding, source)))
        .unwrap_or(Float64)
}

/// Integer full scale in steps; `None` for floating point.
fn full_scale(encoding: Encoding) -> Option<f64> {
    (!encoding.is_float()).then(|| 2.0_f64.powi(i32::from(encoding.bits()) - 1))
}

/// Puts the values of one channel from lead position `start` on onto the encoding's steps. `exact` says that they stand on
/// them already, so that nothing is added to them.
pub(super) fn quantise(
    encoding: Encoding,
    exact: bool,
    (channel, start): (usize, i64),
    plane: &mut [f64],
) -> Beyond {
    let mut beyond = Beyond::default();
    let Some(full_scale) = full_scale(encoding) else {
        if encoding == Encoding::Float32 && !exact {
            widest!(round_to_single(plane));
        }
        return beyond;
    };
    if exact {
        return beyond;
    }
    for (position, value) in (start..).zip(plane) {
        // integers know no negative zero
        if *value == 0.0 {
            *value = 0.0;
            continue;
        }
        let steps = (*value * full_scale + dither(channel, position)).round_ties_even();
        let kept = steps.clamp(-full_scale, full_scale - 1.0);
        beyond.peak = beyond.peak.max(steps.abs() / full_scale);
        beyond.count += u64::from(kept != steps);
        // a value that is no number becomes silence; the encoder would do the same
        *value = if kept.is_nan() {
            0.0
        } else {
            kept / full_scale + 0.0
        };
    }
    beyond
}

/// Every value to the nearest of 32-bit floating point.
#[inline(always)]
fn round_to_single(plane: &mut [f64]) {
    for value in plane {
        *value = f64::from(*value as f32);
    }
}

/// A random number of triangular density on -1 to 1, the same for the same channel and position.
fn dither(channel: usize, position: i64) -> f64 {
    let bits = mix(mix(position as u64) ^ channel as u64);
    let (a, b) = ((bits >> 32) as f64, (bits & 0xFFFF_FFFF) as f64);
    (a - b) / 4_294_967_296.0
}

/// Spreads every bit over all: the finaliser of SplitMix64 (Steele, Lea, Flood 2014; constants from memory).
fn mix(x: u64) -> u64 {
    let x = x.wrapping_add(0x9E37_79B9_7F4A_7C15);
    let x = (x ^ (x >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    let x = (x ^ (x >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    x ^ (x >> 31)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dither_has_the_triangle_s_mean_and_variance() {
        // of two uniform numbers each of variance 1/12: mean 0, variance 1/6
        let n = 200_000;
        let values: Vec<f64> = (0..n).map(|i| dither(3, i)).collect();
        let mean = values.iter().sum::<f64>() / n as f64;
        let variance = values.iter().map(|v| v * v).sum::<f64>() / n as f64;
        assert!(mean.abs() < 0.005, "{mean}");
        assert!((variance - 1.0 / 6.0).abs() < 0.002, "{variance}");
        let neighbours = values.windows(2).map(|w| w[0] * w[1]).sum::<f64>() / n as f64;
        assert!(neighbours.abs() < 0.002, "{neighbours}");
    }

    #[test]
    fn dither_keeps_what_lies_below_a_step() {
        // a quarter of a step survives as the mean
        let step = 1.0 / 8_388_608.0;
        let mut plane = vec![0.25 * step; 100_000];
        quantise(Encoding::Int24, false, (0, 0), &mut plane);
        let mean = plane.iter().sum::<f64>() / plane.len() as f64 / step;
        assert!((mean - 0.25).abs() < 0.01, "{mean}");
        assert!(plane.iter().all(|value| (value / step).fract() == 0.0));
    }

    #[test]
    fn integers_know_no_negative_zero() {
        // what is digested must be what an integer file gives back
        let tiny = -0.01 / 8_388_608.0;
        let mut plane = vec![tiny; 1000];
        plane[0] = -0.0;
        quantise(Encoding::Int24, false, (0, 0), &mut plane);
        let zeros: Vec<&f64> = plane.iter().filter(|value| **value == 0.0).collect();
        assert!(zeros.len() > 100);
        assert!(zeros.iter().all(|zero| zero.is_sign_positive()));
    }

    #[test]
    fn silence_stays_silent_and_full_scale_is_reported() {
        let mut plane = vec![0.0, 1.5, -0.999, 0.0];
        let beyond = quantise(Encoding::Int24, false, (0, 7), &mut plane);
        assert_eq!((plane[0], plane[3]), (0.0, 0.0));
        assert_eq!(beyond.count, 1);
        assert!((beyond.peak - 1.5).abs() < 1e-6);
    }

    #[test]
    fn the_smallest_encoding_holds_every_source() {
        use Encoding::{Float32, Float64, Int16, Int24, Int32};
        assert_eq!(smallest_for(&[Int24, Int24]), Int24);
        assert_eq!(smallest_for(&[Int24, Int16]), Int24);
        assert_eq!(smallest_for(&[Int24, Float32]), Float32);
        assert_eq!(smallest_for(&[Int32, Int24]), Int32);
        assert_eq!(smallest_for(&[Int32, Float32]), Float64);
        assert_eq!(smallest_for(&[Float64]), Float64);
    }
}
