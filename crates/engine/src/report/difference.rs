//! Lead and follower after alignment in, the spectrum of what is left when one is taken from the other out: how deep two
//! recordings of one electrical signal cancel, band by band.

use super::overlay::{OverlayRequest, Pair, places};
use super::say;
use super::span;
use crate::alignment::Placement;
use crate::error::Result;
use crate::signal::{Transform, hann};
use crate::units::Db;

/// How much is looked at in each place, seconds.
const LOOKED_S: f64 = 4.0;
/// The transform's length, seconds at least.
const WINDOW_S: f64 = 0.5;
/// Bands of a third of an octave, IEC 61260-1:2014 (5.2 to 5.4, base ten): 1000 Hz times 10 to the n/10, n from -17 (20 Hz)
/// to 13 (20 kHz).
const BANDS: std::ops::RangeInclusive<i32> = -17..=13;
/// The band over which one figure is told, Hz.
const TOLD_HZ: [f64; 2] = [90.0, 11_000.0];
/// Below this nothing is told from silence, dBFS.
const SILENT_DB: f64 = -120.0;
/// What is no longer told from nothing, dBFS.
const LOWEST_DB: f64 = -160.0;

/// What is left of a follower's channel when it is taken from the lead's, both recordings of one signal.
#[derive(Debug, Clone, PartialEq)]
pub struct Difference {
    /// The follower.
    pub follower: String,
    /// The lead's channel and the follower's, 1-based.
    pub channels: [u32; 2],
    /// By what the follower's channel was multiplied first; negative: turned round.
    pub gain: f64,
    /// The bands, from low to high.
    pub bands: Vec<Band>,
    /// By how much the difference lies below the lead from 100 Hz to 10 kHz, or as far as the rate goes, dB; positive.
    pub depth_db: f64,
}

/// One band.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// Its middle, Hz.
    pub hz: f64,
    /// The lead's level, dBFS RMS.
    pub lead_db: f64,
    /// The difference's.
    pub left_db: f64,
    /// What a delay of the claim's size would leave.
    pub claim_db: f64,
}

/// The difference of one follower; `None` where it shares no electrical signal with the lead, or none that is heard.
///
/// # Errors
/// What `read` returns.
pub fn difference(request: &OverlayRequest<'_>) -> Result<Option<Difference>> {
    let joint = request.joint_take;
    let Some(member) = joint.members.get(request.follower) else {
        return Ok(None);
    };
    let lead_index = joint.members.iter().position(|one| one.unit == joint.lead);
    let shared = span::span_of(member, joint).and_then(|span| span.shared(span::lead_span(joint)));
    let (Some(lead_index), Some(shared)) = (lead_index, shared) else {
        return Ok(None);
    };
    let rate = say::rate_of(joint).hz();
    if member.placement == Placement::NotPlaced || shared.length() < 2.0 * WINDOW_S * rate {
        return Ok(None);
    }
    let Some(pair) = Pair::named(request, lead_index) else {
        return Ok(None);
    };
    let mut windows = Vec::new();
    for (_, place) in places(shared, rate) {
        let length = place.length().min(LOOKED_S * rate) as usize;
        let first = (place.first + (place.length() - length as f64) / 2.0).ceil() as i64;
        let lead = (request.read)(pair.lead_index, pair.lead_channel, first, length)?;
        let follower = (request.read)(request.follower, pair.follower_channel, first, length)?;
        if lead.iter().chain(&follower).all(|value| value.is_finite()) {
            windows.push([lead, follower]);
        }
    }
    let delay_s = member.offset_bound_samples / rate;
    Ok(
        of_windows(&windows, rate, delay_s).map(|(gain, bands, depth_db)| Difference {
            follower: member.unit.clone(),
            channels: [pair.lead_channel, pair.follower_channel],
            gain,
            bands,
            depth_db,
        }),
    )
}

/// Gain, bands and depth of pairs of windows.
fn of_windows(windows: &[[Vec<f64>; 2]], rate: f64, delay_s: f64) -> Option<(f64, Vec<Band>, f64)> {
    let sum = |of: fn(f64, f64) -> f64| -> f64 {
        let pairs = windows
            .iter()
            .flat_map(|[lead, follower]| lead.iter().zip(follower));
        pairs.map(|(lead, follower)| of(*lead, *follower)).sum()
    };
    // by the levels, not by least squares: those would turn a late copy down and so hide that it is late
    let own = sum(|_, follower| follower * follower);
    let alike = sum(|lead, follower| lead * follower);
    let gain = (sum(|lead, _| lead * lead) / own).sqrt().copysign(alike);
    if !(own > 0.0 && gain.is_finite() && gain != 0.0) {
        return None;
    }
    let length = ((WINDOW_S * rate) as usize).next_power_of_two().max(2);
    let transform = Transform::new(length);
    let (mut lead_power, mut left_power) = (Power::new(&transform), Power::new(&transform));
    for [lead, follower] in windows {
        let left: Vec<f64> = lead
            .iter()
            .zip(follower)
            .map(|(a, b)| a - gain * b)
            .collect();
        lead_power.add(lead);
        left_power.add(&left);
    }
    let bands: Vec<Band> = BANDS
        .map(|number| 1000.0 * 10_f64.powf(f64::from(number) / 10.0))
        .filter(|hz| hz * 10_f64.powf(0.05) < rate / 2.0)
        .filter_map(|hz| {
            let edges = [-0.05, 0.05].map(|step| hz * 10_f64.powf(step));
            let lead_db = decibels(lead_power.between(edges, rate)?);
            Some(Band {
                hz,
                lead_db,
                left_db: decibels(left_power.between(edges, rate)?),
                claim_db: (lead_db + delay_db(hz, delay_s)).max(LOWEST_DB),
            })
        })
        .collect();
    let (lead, left) = (
        lead_power.between(TOLD_HZ, rate)?,
        left_power.between(TOLD_HZ, rate)?,
    );
    let heard = decibels(lead) > SILENT_DB;
    heard.then(|| (gain, bands, decibels(lead) - decibels(left)))
}

/// What taking a copy from a signal leaves of it at `hz` when the copy is `delay_s` late, dB: the size of
/// `1 - exp(-2 pi i f d)` is `2 |sin(pi f d)|`.
fn delay_db(hz: f64, delay_s: f64) -> f64 {
    let turned = std::f64::consts::PI * hz * delay_s.abs();
    let left = if turned > std::f64::consts::FRAC_PI_2 {
        2.0
    } else {
        2.0 * turned.sin()
    };
    Db::of_amplitude(left).0
}

fn decibels(mean_square: f64) -> f64 {
    Db::of_amplitude(mean_square.sqrt()).0.max(LOWEST_DB)
}

/// The mean power spectrum of windows that overlap by half.
struct Power<'a> {
    transform: &'a Transform,
    window: Vec<f64>,
    sums: Vec<f64>,
    windows: usize,
}

impl<'a> Power<'a> {
    fn new(transform: &'a Transform) -> Self {
        Self {
            transform,
            window: hann(transform.length()),
            sums: vec![0.0; transform.bins()],
            windows: 0,
        }
    }

    fn add(&mut self, samples: &[f64]) {
        let length = self.transform.length();
        let mut spectrum = Vec::new();
        for part in samples.windows(length).step_by(length / 2) {
            self.transform
                .spectrum_under(&self.window, part, &mut spectrum);
            for (sum, value) in self.sums.iter_mut().zip(&spectrum) {
                *sum += value.norm_sqr();
            }
            self.windows += 1;
        }
    }

    /// The mean square of what lies between two frequencies; `None` where no bin does.
    fn between(&self, [low, high]: [f64; 2], rate: f64) -> Option<f64> {
        let length = self.transform.length() as f64;
        let bin = |hz: f64| (hz * length / rate).ceil() as usize;
        let bins = self.sums.get(bin(low)..bin(high).min(self.sums.len()))?;
        if bins.is_empty() || self.windows == 0 {
            return None;
        }
        let squares: f64 = self.window.iter().map(|value| value * value).sum();
        Some(2.0 * bins.iter().sum::<f64>() / (length * squares * self.windows as f64))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: f64 = 48_000.0;
    const LENGTH: usize = 192_000;

    /// White noise of so many dB RMS: a linear congruential generator (Knuth's MMIX figures), uniform, so RMS is 1/sqrt 3
    /// of the peak.
    fn noise(level_db: f64, seed: u64) -> Vec<f64> {
        let peak = 10_f64.powf(level_db / 20.0) * 3_f64.sqrt();
        let mut state = seed;
        let mut next = || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (state >> 11) as f64 / (1_u64 << 53) as f64 * 2.0 - 1.0
        };
        (0..LENGTH).map(|_| peak * next()).collect()
    }

    fn sum(a: &[f64], b: &[f64]) -> Vec<f64> {
        a.iter().zip(b).map(|(a, b)| a + b).collect()
    }

    #[test]
    fn the_difference_of_one_signal_is_the_noise_of_the_two_inputs() {
        let signal = noise(-20.0, 1);
        let lead = sum(&signal, &noise(-80.0, 2));
        let follower: Vec<f64> = sum(&signal, &noise(-80.0, 3))
            .iter()
            .map(|value| -0.5 * value)
            .collect();
        let (gain, bands, depth) = of_windows(&[[lead, follower]], RATE, 1e-6).expect("a signal");
        assert!((gain + 2.0).abs() < 1e-4, "{gain}");
        // two noises of -80 dB: -77, 57 below the signal
        assert!((depth - 57.0).abs() < 0.3, "{depth}");
        for band in bands.iter().filter(|band| band.hz > 400.0) {
            // of white noise a band holds its share of the bandwidth
            let share =
                10.0 * (band.hz * (10_f64.powf(0.05) - 10_f64.powf(-0.05)) / (RATE / 2.0)).log10();
            assert!(
                (band.lead_db - (-20.0 + share)).abs() < 1.0,
                "{band:?} {share}"
            );
            assert!(
                (band.left_db - (-77.0 + share)).abs() < 1.0,
                "{band:?} {share}"
            );
        }
    }

    #[test]
    fn a_delay_leaves_what_the_formula_says() {
        // four samples late: 12 dB an octave below the first maximum at 6 kHz
        let signal = noise(-20.0, 5);
        let late: Vec<f64> = [vec![0.0; 4], signal[..LENGTH - 4].to_vec()].concat();
        let delay_s = 4.0 / RATE;
        let windows = [[signal, late]];
        let (gain, bands, _) = of_windows(&windows, RATE, delay_s).expect("a signal");
        assert!((gain - 1.0).abs() < 1e-3, "{gain}");
        for band in bands
            .iter()
            .filter(|band| (100.0..5000.0).contains(&band.hz))
        {
            // worked out here, not by the function: 20 log10(2 sin(pi f d))
            let meant =
                20.0 * (2.0 * (std::f64::consts::PI * band.hz * 4.0 / 48_000.0).sin()).log10();
            let found = band.left_db - band.lead_db;
            assert!(
                (found - meant).abs() < 0.5,
                "{}: {found}, meant {meant}",
                band.hz
            );
            assert!((band.claim_db - band.lead_db - meant).abs() < 1e-6);
        }
        assert!((delay_db(20_000.0, delay_s) - 6.02).abs() < 0.01);
    }

    #[test]
    fn silence_has_no_difference() {
        assert_eq!(
            of_windows(&[[vec![0.0; LENGTH], vec![0.0; LENGTH]]], RATE, 1e-6),
            None
        );
        assert_eq!(of_windows(&[], RATE, 1e-6), None);
    }
}
