//! Positions, lengths, differences, rates, parts per million and decibels: distinct types, so that a place on one
//! unit's clock can never be taken for a place on another's.
//!
//! Signs (design section 3): `offset` is the lead position of a follower's sample 0, positive when the follower
//! started later; `ppm` is `1e6 * (dk/dn - 1)`, positive when the follower's clock runs fast.

use std::fmt;

use serde::{Deserialize, Serialize};

/// A place on a follower's (or any unit's own) clock: samples since the first sample of its take, `k` in the papers.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct UnitPos(pub f64);

/// A place on the lead's clock: samples since the first sample of the lead's take, `n` in the papers.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct LeadPos(pub f64);

/// A signed difference of two places on one clock, in samples.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Samples(pub f64);

/// A length in whole samples per channel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct SampleCount(pub u64);

/// A nominal sampling rate in samples a second, as the file declares it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct SampleRate(pub u32);

/// A relative rate difference in parts per million.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Ppm(pub f64);

/// A level or a gain in decibels.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Db(pub f64);

/// The speed of sound used wherever a distance becomes a delay, in metres a second: dry air at 20 degrees Celsius,
/// 343.2 * sqrt(T / 293.15), ISO 9613-1 (formula from memory).
pub const SPEED_OF_SOUND_M_PER_S: f64 = 343.2;

impl SampleRate {
    /// The rate as a real number, for arithmetic.
    #[must_use]
    pub fn hz(self) -> f64 {
        f64::from(self.0)
    }
}

impl SampleCount {
    /// The length in seconds at `rate`.
    #[must_use]
    pub fn seconds(self, rate: SampleRate) -> f64 {
        self.0 as f64 / rate.hz()
    }
}

impl Samples {
    /// The difference in seconds at `rate`.
    #[must_use]
    pub fn seconds(self, rate: SampleRate) -> f64 {
        self.0 / rate.hz()
    }

    /// The sound path in metres that takes this long at `rate`, in air at 20 degrees Celsius.
    #[must_use]
    pub fn metres_of_air(self, rate: SampleRate) -> f64 {
        self.seconds(rate) * SPEED_OF_SOUND_M_PER_S
    }

    /// The delay, in samples at `rate`, of a sound path of `metres` in air at 20 degrees Celsius.
    #[must_use]
    pub fn of_air(metres: f64, rate: SampleRate) -> Self {
        Self(metres / SPEED_OF_SOUND_M_PER_S * rate.hz())
    }
}

impl Db {
    /// The decibels of an amplitude ratio: `20 log10(ratio)`.
    #[must_use]
    pub fn of_amplitude(ratio: f64) -> Self {
        Self(20.0 * ratio.abs().log10())
    }

    /// The amplitude ratio: `10^(dB / 20)`.
    #[must_use]
    pub fn amplitude(self) -> f64 {
        10_f64.powf(self.0 / 20.0)
    }
}

impl std::ops::Sub for UnitPos {
    type Output = Samples;
    fn sub(self, other: Self) -> Samples {
        Samples(self.0 - other.0)
    }
}

impl std::ops::Sub for LeadPos {
    type Output = Samples;
    fn sub(self, other: Self) -> Samples {
        Samples(self.0 - other.0)
    }
}

impl std::ops::Add<Samples> for UnitPos {
    type Output = Self;
    fn add(self, shift: Samples) -> Self {
        Self(self.0 + shift.0)
    }
}

impl std::ops::Add<Samples> for LeadPos {
    type Output = Self;
    fn add(self, shift: Samples) -> Self {
        Self(self.0 + shift.0)
    }
}

impl fmt::Display for SampleRate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} Hz", self.0)
    }
}

impl fmt::Display for Ppm {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:+.3} ppm", self.0)
    }
}

impl fmt::Display for Db {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:+.1} dB", self.0)
    }
}

/// So many decimals with their sign; what rounds to nothing is `+0.00`.
#[must_use]
pub fn signed(value: f64, decimals: u8) -> String {
    let scale = 10_f64.powi(i32::from(decimals));
    // -0.0 + 0.0 is 0.0
    let rounded = (scale * value).round() / scale + 0.0;
    format!("{rounded:+.*}", usize::from(decimals))
}

/// Decimals that show two figures of an uncertainty, at most six.
#[must_use]
pub fn decimals_of(uncertainty: f64) -> u8 {
    let figures = 1.0 - uncertainty.abs().max(1e-9).log10().floor();
    figures.clamp(0.0, 6.0) as u8
}

/// A number of things in words: `1 file`, `2 files`.
#[must_use]
pub fn counted(number: usize, noun: &str) -> String {
    format!("{number} {noun}{}", if number == 1 { "" } else { "s" })
}

/// Words with a capital letter at their beginning.
#[must_use]
pub fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or(String::new(), |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

/// Every value once, in the order in which they first stand; for a few.
pub fn distinct<T: PartialEq>(values: impl IntoIterator<Item = T>) -> Vec<T> {
    let mut all = Vec::new();
    for value in values {
        if !all.contains(&value) {
            all.push(value);
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ten_milliseconds_are_three_metres_forty_three() {
        let rate = SampleRate(48_000);
        assert!((Samples(480.0).metres_of_air(rate) - 3.432).abs() < 1e-12);
        assert!((Samples::of_air(3.432, rate).0 - 480.0).abs() < 1e-9);
    }

    #[test]
    fn what_rounds_to_nothing_has_no_minus() {
        let found = [-0.7, -0.004, 0.004, 1.006].map(|value| signed(value, 2));
        assert_eq!(found, ["-0.70", "+0.00", "+0.00", "+1.01"]);
    }

    #[test]
    fn half_amplitude_is_six_decibels_down() {
        assert!((Db::of_amplitude(0.5).0 + 6.0206).abs() < 1e-4);
    }
}
