//! Sound in, a stretch of it out that is sound again: its position 0 is the stretch's first sample.

use super::Sound;
use crate::error::Result;
use crate::units::{SampleCount, SampleRate};

/// Part of a sound; what lies outside it reads as silence.
pub struct Stretch<'a> {
    sound: &'a dyn Sound,
    first: u64,
    length: u64,
}

impl<'a> Stretch<'a> {
    /// `length` samples from position `first` on, or as many as there are.
    #[must_use]
    pub fn of(sound: &'a dyn Sound, first: u64, length: u64) -> Self {
        let all = sound.length().0;
        let first = first.min(all);
        Self {
            sound,
            first,
            length: length.min(all - first),
        }
    }

    /// The sound's position of this one's first sample.
    #[must_use]
    pub fn first(&self) -> u64 {
        self.first
    }
}

impl Sound for Stretch<'_> {
    fn rate(&self) -> SampleRate {
        self.sound.rate()
    }

    fn channels(&self) -> usize {
        self.sound.channels()
    }

    fn length(&self) -> SampleCount {
        SampleCount(self.length)
    }

    fn read(&self, channels: &[usize], start: i64, out: &mut [&mut [f64]]) -> Result<()> {
        self.sound
            .read(channels, start.saturating_add(self.first as i64), out)?;
        let before = usize::try_from(start.saturating_neg()).unwrap_or(0);
        let end = usize::try_from((self.length as i64).saturating_sub(start)).unwrap_or(0);
        for plane in out.iter_mut() {
            let (before, end) = (before.min(plane.len()), end.min(plane.len()));
            plane[..before].fill(0.0);
            plane[end..].fill(0.0);
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::MemorySound;

    #[test]
    fn outside_the_stretch_is_silence() {
        let plane = (0..20).map(f64::from).collect();
        let whole = MemorySound::new(SampleRate(48_000), vec![plane]);
        let stretch = Stretch::of(&whole, 5, 10);
        let mut out = vec![9.0; 14];
        stretch.read(&[0], -2, &mut [&mut out]).expect("memory");
        let inside: Vec<f64> = (5..15).map(f64::from).collect();
        assert_eq!(out[..2], [0.0, 0.0]);
        assert_eq!(out[2..12], inside[..]);
        assert_eq!(out[12..], [0.0, 0.0]);
        let mut far = vec![9.0; 3];
        stretch.read(&[0], 100, &mut [&mut far]).expect("memory");
        assert_eq!(far, [0.0; 3]);
        assert_eq!(Stretch::of(&whole, 15, 10).length(), SampleCount(5));
    }
}
