//! A take's sound in, its part below 7 kHz out at a rate near 16 kHz and at any rising positions: one windowed sinc
//! decimates and warps at once (Kaiser window; its length by Kaiser's formula, Oppenheim and Schafer, from memory).

use std::f64::consts::PI;

use crate::error::Result;
use crate::signal::Sound;
use crate::units::SampleRate;

/// The rate that is aimed at: the room's coherent sound ends near 7 kHz.
const TARGET_HZ: f64 = 16_000.0;

/// Stop band of the decimation, dB. What folds back is spread over the band and not coherent with it.
const STOP_DB: f64 = 64.0;

/// Between these many stored phases the coefficients are interpolated linearly: at 7.2 kHz of 48 kHz the error is
/// `(2 pi 0.15 / 64)^2 / 8`, -91 dB.
const PHASES: usize = 64;

/// Outputs between two evaluations of the position function, straight in between: 4 ms, in which a clock that wanders
/// by 1 ppm a second bends by less than 1e-6 sample.
const STRAIGHT: usize = 64;

/// Outputs made from one read of the source.
const BATCH: usize = 16 * STRAIGHT;

/// A decimating kernel for one source rate.
#[derive(Debug, Clone)]
pub struct Decimator {
    factor: usize,
    half: usize,
    rows: Vec<f32>,
}

impl Decimator {
    /// The kernel for sources of `rate`.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        let factor = (rate.hz() / TARGET_HZ).round().max(1.0) as usize;
        // The transition spans a tenth of the new rate, centred on its Nyquist frequency.
        let taps = (STOP_DB - 7.95) / (14.36 * 0.1 / factor as f64);
        let half = (taps / 2.0 / 4.0).ceil() as usize * 4;
        let beta = 0.1102 * (STOP_DB - 8.7);
        let cut = 1.0 / factor as f64;
        let rows = (0..=PHASES)
            .flat_map(|phase| {
                let fraction = phase as f64 / PHASES as f64;
                (0..2 * half).map(move |tap| {
                    let t = tap as f64 + 1.0 - half as f64 - fraction;
                    (cut * sinc(cut * t) * kaiser(t / half as f64, beta)) as f32
                })
            })
            .collect();
        Self { factor, half, rows }
    }

    /// How many source samples one output sample stands for.
    #[must_use]
    pub fn factor(&self) -> usize {
        self.factor
    }

    /// `count` outputs of each of `channels`; output `i` is the sound at source position `position(i)`, which must
    /// rise by nearly [`Self::factor`] a step. One plane a channel.
    ///
    /// # Errors
    /// When the sound cannot be read.
    pub fn planes(
        &self,
        sound: &dyn Sound,
        channels: &[usize],
        count: usize,
        position: impl Fn(usize) -> f64,
    ) -> Result<Vec<Vec<f32>>> {
        let mut planes = vec![Vec::with_capacity(count); channels.len()];
        let mut source: Vec<Vec<f64>> = vec![Vec::new(); channels.len()];
        let mut narrow = Vec::new();
        let mut positions = Vec::with_capacity(BATCH);
        for first in (0..count).step_by(BATCH) {
            positions.clear();
            fill_positions(&mut positions, first..count.min(first + BATCH), &position);
            let (low, high) = (positions[0], positions[positions.len() - 1]);
            let start = low.floor() as i64 + 1 - self.half as i64;
            let length = (high.floor() - low.floor()).max(0.0) as usize + 2 * self.half;
            for plane in &mut source {
                plane.resize(length, 0.0);
            }
            let mut views: Vec<&mut [f64]> = source.iter_mut().map(Vec::as_mut_slice).collect();
            sound.read(channels, start, &mut views)?;
            for (plane, source) in planes.iter_mut().zip(&source) {
                narrow.clear();
                narrow.extend(source.iter().map(|&value| value as f32));
                plane.extend(positions.iter().map(|&at| self.value(&narrow, start, at)));
            }
        }
        Ok(planes)
    }

    fn value(&self, source: &[f32], start: i64, at: f64) -> f32 {
        let taps = 2 * self.half;
        let whole = at.floor();
        let from = (whole as i64 + 1 - self.half as i64 - start).max(0) as usize;
        let Some(source) = source.get(from..from + taps) else {
            return 0.0;
        };
        let phase = (at - whole) * PHASES as f64;
        let row = (phase as usize).min(PHASES - 1);
        let blend = (phase - row as f64) as f32;
        let below = dot(&self.rows[row * taps..(row + 1) * taps], source);
        if blend == 0.0 {
            return below;
        }
        let above = dot(&self.rows[(row + 1) * taps..(row + 2) * taps], source);
        below + blend * (above - below)
    }
}

fn fill_positions(
    positions: &mut Vec<f64>,
    outputs: std::ops::Range<usize>,
    position: &impl Fn(usize) -> f64,
) {
    let mut at = outputs.start;
    let mut here = position(at);
    while at < outputs.end {
        let steps = STRAIGHT.min(outputs.end - at);
        let there = position(at + steps);
        let slope = (there - here) / steps as f64;
        positions.extend((0..steps).map(|i| here + slope * i as f64));
        here = there;
        at += steps;
    }
}

/// Eight running sums, so that the compiler may use vector registers.
fn dot(a: &[f32], b: &[f32]) -> f32 {
    let mut sums = [0.0_f32; 8];
    for (a, b) in a.chunks_exact(8).zip(b.chunks_exact(8)) {
        for ((sum, a), b) in sums.iter_mut().zip(a).zip(b) {
            *sum += a * b;
        }
    }
    sums.iter().sum()
}

fn sinc(x: f64) -> f64 {
    if x.abs() < 1e-9 {
        1.0
    } else {
        (PI * x).sin() / (PI * x)
    }
}

/// Kaiser's window at `u` in -1..1, 0 outside.
fn kaiser(u: f64, beta: f64) -> f64 {
    if u.abs() >= 1.0 {
        return 0.0;
    }
    bessel_i0(beta * (1.0 - u * u).sqrt()) / bessel_i0(beta)
}

/// Modified Bessel function of the first kind, order 0, by its power series.
fn bessel_i0(x: f64) -> f64 {
    let quarter = x * x / 4.0;
    let mut term = 1.0;
    let mut sum = 1.0;
    for k in 1..60 {
        term *= quarter / f64::from(k * k);
        sum += term;
        if term < 1e-17 * sum {
            break;
        }
    }
    sum
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use super::*;
    use crate::signal::MemorySound;

    fn worst_miss(rate: u32, tone_hz: f64) -> f64 {
        let source = (0..rate)
            .map(|k| (TAU * tone_hz * f64::from(k) / f64::from(rate)).sin())
            .collect();
        let sound = MemorySound::new(SampleRate(rate), vec![source]);
        let decimator = Decimator::new(SampleRate(rate));
        let step = decimator.factor() as f64 * (1.0 + 30e-6);
        let position = |i: usize| 400.37 + step * i as f64;
        let planes = decimator.planes(&sound, &[0], 8_000, position).unwrap();
        planes[0]
            .iter()
            .enumerate()
            .map(|(i, &found)| {
                let true_value = (TAU * tone_hz * position(i) / f64::from(rate)).sin();
                (f64::from(found) - true_value).abs()
            })
            .fold(0.0, f64::max)
    }

    #[test]
    fn a_tone_comes_out_where_a_sine_says() {
        for (rate, tone_hz) in [
            (48_000, 7_000.0),
            (44_100, 5_000.0),
            (96_000, 440.0),
            (192_000, 3_000.0),
        ] {
            let miss = worst_miss(rate, tone_hz);
            assert!(miss < 3e-3, "{tone_hz} Hz at {rate}: off by {miss}");
        }
    }

    #[test]
    fn what_would_fold_back_is_gone() {
        // 9 kHz would appear at 7 kHz.
        let source = (0..48_000)
            .map(|k| (TAU * 9_000.0 * f64::from(k) / 48_000.0).sin())
            .collect();
        let sound = MemorySound::new(SampleRate(48_000), vec![source]);
        let planes = Decimator::new(SampleRate(48_000))
            .planes(&sound, &[0], 15_000, |i| 300.25 + 3.0 * i as f64)
            .unwrap();
        let peak = planes[0].iter().fold(0.0_f32, |peak, x| peak.max(x.abs()));
        assert!(peak < 2e-3, "{peak}");
    }
}
