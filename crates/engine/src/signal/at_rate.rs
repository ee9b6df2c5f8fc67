//! The sound of a take at one nominal rate in, the same at another out: what runs at 44.1 kHz is heard as if it had been
//! sampled 48 000 times a second by its own crystal. For measuring; what is written to a file is resampled once, from the
//! take itself.

use super::{Kernel, KernelSpec, Sound};
use crate::error::Result;
use crate::units::{SampleCount, SampleRate};

/// Outputs made from one read of the source.
const BATCH: usize = 4096;

/// A sound as it is, or brought to another nominal rate.
pub struct AtRate<S> {
    sound: S,
    rate: SampleRate,
    /// `None` when the sound is at this rate already.
    kernel: Option<Kernel>,
}

impl<S: Sound> AtRate<S> {
    /// `sound` at `rate`: itself when that is its own.
    #[must_use]
    pub fn new(sound: S, rate: SampleRate) -> Self {
        let own = sound.rate();
        let kernel = (own != rate && own.0 > 0 && rate.0 > 0)
            .then(|| Kernel::shared(KernelSpec::converting(own.hz(), rate.hz())));
        Self {
            sound,
            rate,
            kernel,
        }
    }

    /// The nominal rate of the sound itself.
    #[must_use]
    pub fn own_rate(&self) -> SampleRate {
        self.sound.rate()
    }

    /// Whether it is brought to another rate than its own.
    #[must_use]
    pub fn is_converted(&self) -> bool {
        self.kernel.is_some()
    }

    /// The own position of position `n`, exact: a whole sample and a fraction in [0, 1).
    fn own_position(&self, n: i64) -> (i64, f64) {
        let (own, rate) = (i128::from(self.sound.rate().0), i128::from(self.rate.0));
        let place = i128::from(n) * own;
        let rest = place.rem_euclid(rate) as f64;
        (place.div_euclid(rate) as i64, rest / rate as f64)
    }
}

/// How many samples `length` at `own` samples a second are at `rate`: those whose instants lie within it.
#[must_use]
pub fn length_at(length: SampleCount, own: SampleRate, rate: SampleRate) -> SampleCount {
    if own == rate || own.0 == 0 || length.0 == 0 {
        return length;
    }
    // the last one at or before the last sample's instant
    let last = (u128::from(length.0) - 1) * u128::from(rate.0) / u128::from(own.0);
    SampleCount(u64::try_from(last + 1).unwrap_or(u64::MAX))
}

impl<S: Sound> Sound for AtRate<S> {
    fn rate(&self) -> SampleRate {
        self.rate
    }

    fn channels(&self) -> usize {
        self.sound.channels()
    }

    fn length(&self) -> SampleCount {
        length_at(self.sound.length(), self.sound.rate(), self.rate)
    }

    fn read(&self, channels: &[usize], start: i64, out: &mut [&mut [f64]]) -> Result<()> {
        let Some(kernel) = &self.kernel else {
            return self.sound.read(channels, start, out);
        };
        let length = out.iter().map(|plane| plane.len()).min().unwrap_or(0);
        let mut source: Vec<Vec<f64>> = channels.iter().map(|_| Vec::new()).collect();
        for from in (0..length).step_by(BATCH) {
            let to = length.min(from + BATCH);
            let positions = (from..to).map(|i| self.own_position(start + i as i64));
            let positions: Vec<(i64, f64)> = positions.collect();
            let (Some(first), Some(last)) = (positions.first(), positions.last()) else {
                break;
            };
            let begin = first.0 - kernel.before() as i64;
            let held = (last.0 - begin) as usize + kernel.taps();
            for plane in &mut source {
                plane.resize(held, 0.0);
            }
            let mut planes: Vec<&mut [f64]> = source.iter_mut().map(Vec::as_mut_slice).collect();
            // what lies outside the take reads as silence
            self.sound.read(channels, begin, &mut planes)?;
            let places: Vec<(usize, f64)> = positions
                .iter()
                .map(|&(whole, fraction)| ((whole - begin) as usize, fraction))
                .collect();
            let planes: Vec<&[f64]> = source.iter().map(Vec::as_slice).collect();
            let mut part: Vec<&mut [f64]> =
                out.iter_mut().map(|plane| &mut plane[from..to]).collect();
            kernel.resample_at(&planes, &places, &mut part);
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use super::*;
    use crate::signal::MemorySound;

    #[test]
    fn a_tone_at_44_1_khz_is_heard_at_48() {
        let tone = |seconds: f64| (TAU * 7000.0 * seconds).sin();
        let plane: Vec<f64> = (0..44_100).map(|k| tone(f64::from(k) / 44_100.0)).collect();
        let own = MemorySound::new(SampleRate(44_100), vec![plane]);
        let sound = AtRate::new(own, SampleRate(48_000));
        // the last of 44 100 samples stands at 44 099 / 44 100 s
        assert_eq!(sound.length(), SampleCount(47_999));
        let mut found = vec![0.0; 20_000];
        sound.read(&[0], 10_007, &mut [&mut found]).expect("read");
        for (value, n) in found.iter().zip(10_007..) {
            assert!((value - tone(f64::from(n) / 48_000.0)).abs() < 1e-5, "{n}");
        }
        // in pieces the same bits
        let mut piece = vec![0.0; 333];
        sound.read(&[0], 12_345, &mut [&mut piece]).expect("read");
        assert_eq!(piece, found[12_345 - 10_007..][..333]);
    }

    #[test]
    fn the_own_rate_is_left_alone() {
        let own = MemorySound::new(SampleRate(48_000), vec![vec![0.25, 0.5]]);
        let sound = AtRate::new(own, SampleRate(48_000));
        assert!(!sound.is_converted());
        assert_eq!(sound.length(), SampleCount(2));
        let mut found = [0.0; 3];
        sound.read(&[0], 0, &mut [&mut found]).expect("read");
        assert_eq!(found, [0.25, 0.5, 0.0]);
    }
}
