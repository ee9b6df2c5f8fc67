//! A take's sound in, its part below 7 kHz out at a rate near 16 kHz and at any rising positions: one kernel decimates
//! and warps at once.

use crate::error::Result;
use crate::signal::{Kernel, KernelSpec, Lines, Sound};
use crate::units::SampleRate;

/// The rate that is aimed at: the room's coherent sound ends near 7 kHz.
const TARGET_HZ: f64 = 16_000.0;

/// What folds back at -64 dB is spread over the band and not coherent with it. Taps are for each step of the output, whose
/// half-amplitude point is 22/24 of its Nyquist frequency.
fn spec(factor: usize) -> KernelSpec {
    KernelSpec {
        taps: 50 * factor,
        phases: 64,
        stop_band_db: 64.0,
        half_amplitude: match factor {
            1 => 1.0,
            _ => 22.0 / 24.0 / factor as f64,
        },
    }
}

/// Outputs made from one read of the source.
const BATCH: usize = 2048;

/// A decimating kernel for one source rate.
#[derive(Debug, Clone)]
pub struct Decimator {
    factor: usize,
    kernel: Kernel,
}

impl Decimator {
    /// The kernel for sources of `rate`.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        let factor = (rate.hz() / TARGET_HZ).round().max(1.0) as usize;
        Self {
            factor,
            kernel: Kernel::new(spec(factor)),
        }
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
        let mut values: Vec<Vec<f64>> = vec![vec![0.0; BATCH]; channels.len()];
        let (mut lines, mut places) = (Lines::default(), Vec::new());
        for first in (0..count).step_by(BATCH) {
            let outputs = first..count.min(first + BATCH);
            let many = outputs.len();
            lines.lay(outputs, &position);
            let start = lines.first() - self.kernel.before() as i64;
            let length = (lines.last() - lines.first()).max(0) as usize + self.kernel.taps() + 1;
            for plane in &mut source {
                plane.resize(length, 0.0);
            }
            let mut views: Vec<&mut [f64]> = source.iter_mut().map(Vec::as_mut_slice).collect();
            sound.read(channels, start, &mut views)?;
            lines.places(start, &mut places);
            let inputs: Vec<&[f64]> = source.iter().map(Vec::as_slice).collect();
            let mut outputs: Vec<&mut [f64]> =
                values.iter_mut().map(|plane| &mut plane[..many]).collect();
            self.kernel.resample_at(&inputs, &places, &mut outputs);
            for (plane, values) in planes.iter_mut().zip(&outputs) {
                plane.extend(values.iter().map(|&value| value as f32));
            }
        }
        Ok(planes)
    }
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
            (48_000, 6_500.0),
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
