//! Planar random access to the sound of one take; what lies outside the take reads as silence.

use crate::error::Result;
use crate::units::{SampleCount, SampleRate};

/// The sound of one take on one unit, whatever files it is stored in.
pub trait Sound: Sync {
    /// The nominal sampling rate.
    fn rate(&self) -> SampleRate;
    /// How many channels there are.
    fn channels(&self) -> usize;
    /// The length in samples per channel.
    fn length(&self) -> SampleCount;
    /// Fills `out[i]` with channel `channels[i]` (0-based), from position `start` on the unit's clock. Integers become
    /// `value / 2^(bits-1)`, floats are kept; every sample of 16, 24 and 32-bit integer and 32 and 64-bit float is
    /// represented exactly. All of `out` have one length; positions outside the take read as 0.
    ///
    /// # Errors
    /// When the file cannot be read.
    fn read(&self, channels: &[usize], start: i64, out: &mut [&mut [f64]]) -> Result<()>;
}

/// Sound held in memory, planar.
#[derive(Debug, Clone)]
pub struct MemorySound {
    rate: SampleRate,
    planes: Vec<Vec<f64>>,
}

impl MemorySound {
    /// Sound from planes of equal length, one a channel.
    #[must_use]
    pub fn new(rate: SampleRate, planes: Vec<Vec<f64>>) -> Self {
        Self { rate, planes }
    }
}

impl Sound for MemorySound {
    fn rate(&self) -> SampleRate {
        self.rate
    }

    fn channels(&self) -> usize {
        self.planes.len()
    }

    fn length(&self) -> SampleCount {
        SampleCount(self.planes.first().map_or(0, |plane| plane.len() as u64))
    }

    fn read(&self, channels: &[usize], start: i64, out: &mut [&mut [f64]]) -> Result<()> {
        for (&channel, out) in channels.iter().zip(out.iter_mut()) {
            let plane = &self.planes[channel];
            for (i, value) in out.iter_mut().enumerate() {
                let position = start + i as i64;
                *value = usize::try_from(position)
                    .ok()
                    .and_then(|position| plane.get(position).copied())
                    .unwrap_or(0.0);
            }
        }
        Ok(())
    }
}
