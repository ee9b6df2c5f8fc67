//! A frequency, a level and a length in, a sine that begins and ends softly out.

use std::f64::consts::{PI, TAU};

use super::TestSound;

/// How long it takes to begin and to end, seconds: no click.
const FADE_S: f64 = 0.02;

/// A sine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tone {
    /// Samples a second.
    pub sample_rate: u32,
    /// Peak, 1 at full scale.
    pub amplitude: f64,
    /// Below half the sampling rate.
    pub frequency_hz: f64,
    /// How many samples there are in all.
    pub length: u64,
}

impl TestSound for Tone {
    fn fill(&self, first: u64, out: &mut [f64]) {
        let rate_hz = f64::from(self.sample_rate);
        for (position, out) in (first..).zip(out.iter_mut()) {
            let to_end = self.length.saturating_sub(1).saturating_sub(position);
            let into = position.min(to_end) as f64 / (FADE_S * rate_hz);
            let fade = (0.5 * PI * into.min(1.0)).sin().powi(2);
            // whole seconds apart, so that the phase keeps its digits for days
            let seconds = position / u64::from(self.sample_rate);
            let rest_s = (position % u64::from(self.sample_rate)) as f64 / rate_hz;
            let whole = (self.frequency_hz * seconds as f64).fract();
            let cycles = whole + self.frequency_hz * rest_s;
            *out = self.amplitude * fade * (TAU * cycles.fract()).sin();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quarter_of_a_cycle_is_the_peak_and_the_ends_are_soft() {
        let tone = Tone {
            sample_rate: 48_000,
            amplitude: 0.1,
            frequency_hz: 1000.0,
            length: 96_000,
        };
        let mut samples = vec![0.0; 96_000];
        tone.fill(0, &mut samples);
        // 12 samples are a quarter of a cycle
        assert!((samples[48_012] - 0.1).abs() < 1e-12 && samples[48_000].abs() < 1e-12);
        assert_eq!((samples[0], samples[95_999]), (0.0, 0.0));
        let mut part = vec![0.0; 100];
        tone.fill(70_001, &mut part);
        assert_eq!(part, samples[70_001..70_101]);
    }
}
