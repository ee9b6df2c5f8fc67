//! Length, ratio of signal to noise and band in, the smallest standard deviations of offset and rate that any estimator
//! without bias can have out.
//!
//! One delay `D` from `T` seconds of a Gaussian signal of flat density between `f1` and `f2`, both channels with noise of
//! the same density ratio `S` (Knapp and Carter 1976, Quazi 1981):
//! `var(D) >= [8 pi^2 T int f^2 g^2 / (1 - g^2) df]^-1`, the coherence `g^2 = S^2 / (1 + S)^2`, so
//! `g^2 / (1 - g^2) = S^2 / (1 + 2 S)` and, the integral of `f^2` being `(f2^3 - f1^3) / 3`,
//! `var(D) >= 3 (1 + 2 S) / (8 pi^2 T S^2 (f2^3 - f1^3))`.
//!
//! A clock `D(t) = a + b (t - T/2)`: the information about a delay grows evenly with time, `j = 1 / (T var(D))` a second, and
//! adds up over independent stretches. Fisher's matrix of `(a, b)` is `int_0^T j [1, u; u, u^2] dt` with `u = t - T/2`, that
//! is `diag(j T, j T^3 / 12)`. Hence
//! - middle of the take: `var(a) >= 1 / (j T) = var(D)`,
//! - rate: `var(b) >= 12 / (j T^3) = 12 var(D) / T^2`,
//! - offset, the line at `t = 0`: `var(a) + (T/2)^2 var(b) >= 4 var(D)`.
//!
//! All samples of both units are used; the bound is of the whole estimate, not of one window.

use std::f64::consts::PI;

/// Smallest standard deviations.
#[derive(Debug, Clone, Copy)]
pub struct Bound {
    /// Of the offset, samples.
    pub offset: f64,
    /// Of the rate, parts per million.
    pub rate_ppm: f64,
}

impl Bound {
    /// For `seconds` of a flat band at a ratio of `snr_db` in it, at 48 kHz.
    pub fn new(seconds: f64, snr_db: f64, band_hz: (f64, f64)) -> Self {
        let ratio = 10f64.powf(snr_db / 10.0);
        let cubes = band_hz.1.powi(3) - band_hz.0.powi(3);
        let variance =
            3.0 * (1.0 + 2.0 * ratio) / (8.0 * PI * PI * seconds * ratio * ratio * cubes);
        Self {
            offset: 2.0 * variance.sqrt() * 48_000.0,
            rate_ppm: 1e6 * 12f64.sqrt() * variance.sqrt() / seconds,
        }
    }
}
