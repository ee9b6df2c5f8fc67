//! The sound of a take in, the least and the greatest of every so many samples out: built from its first sample on while it is
//! looked at already, kept as bytes for the next time.

use std::sync::{PoisonError, RwLock};

use super::seen::{both, extremes};
use crate::error::Result;
use crate::progress::{Progress, go_on};
use crate::signal::Sound;

/// Samples of a peak.
pub const PER_PEAK: u64 = 1024;
/// Peaks that are made between two looks at whether anybody still wants them.
const AT_ONCE: u64 = 64;
/// What a file of peaks begins with; the number changes with what stands in it.
const HEAD: [u8; 8] = *b"ctpeaks1";

/// The peaks of all channels of one take.
pub struct Peaks {
    channels: usize,
    length: u64,
    /// `[peak][channel]`, as far as they are there.
    built: RwLock<Vec<[f32; 2]>>,
}

impl Peaks {
    /// Peaks that are still to be built.
    #[must_use]
    pub fn of(sound: &dyn Sound) -> Self {
        Self {
            channels: sound.channels(),
            length: sound.length().0,
            built: RwLock::new(Vec::new()),
        }
    }

    /// Builds what is not there yet.
    ///
    /// # Errors
    /// When the sound cannot be read; [`Kind::Stopped`](crate::Kind::Stopped) when nobody wants it any more.
    pub fn build(&self, sound: &dyn Sound, progress: &dyn Progress) -> Result<()> {
        let all: Vec<usize> = (0..self.channels).collect();
        let step = (AT_ONCE * PER_PEAK) as usize;
        let mut planes = vec![vec![0.0; step]; self.channels];
        let mut peak = (self.read().len() / self.channels.max(1)) as u64;
        while peak * PER_PEAK < self.length {
            go_on(progress)?;
            let first = peak * PER_PEAK;
            let length = (self.length - first).min(step as u64) as usize;
            let mut parts: Vec<&mut [f64]> = planes
                .iter_mut()
                .map(|plane| &mut plane[..length])
                .collect();
            sound.read(&all, first as i64, &mut parts)?;
            let peaks = length.div_ceil(PER_PEAK as usize);
            let mut new = Vec::with_capacity(peaks * self.channels);
            for part in 0..peaks {
                let from = part * PER_PEAK as usize;
                let to = length.min(from + PER_PEAK as usize);
                new.extend(planes.iter().map(|plane| extremes(&plane[from..to])));
            }
            let mut built = self.built.write().unwrap_or_else(PoisonError::into_inner);
            built.extend(new);
            peak += peaks as u64;
        }
        Ok(())
    }

    /// Whether all are there.
    #[must_use]
    pub fn is_complete(&self) -> bool {
        let peaks = self.length.div_ceil(PER_PEAK) as usize;
        self.read().len() == peaks * self.channels
    }

    /// The extremes of a channel, counted from 0, over the peaks that own samples `first .. end` touch; `None` while they are
    /// not there.
    #[must_use]
    pub fn between(&self, channel: usize, first: i64, end: i64) -> Option<[f32; 2]> {
        let built = self.read();
        let (first, end) = (
            first.max(0) as usize / PER_PEAK as usize,
            (end.max(0) as usize).div_ceil(PER_PEAK as usize),
        );
        let rows = built.get(first * self.channels..end * self.channels)?;
        let mut all = rows.iter().skip(channel).step_by(self.channels.max(1));
        let one = *all.next()?;
        Some(all.fold(one, |seen, peak| both(seen, *peak)))
    }

    /// As bytes, to be kept.
    #[must_use]
    pub fn to_bytes(&self) -> Vec<u8> {
        let mut bytes = HEAD.to_vec();
        bytes.extend((self.channels as u64).to_le_bytes());
        bytes.extend(self.length.to_le_bytes());
        let built = self.read();
        bytes.extend(built.iter().flatten().flat_map(|value| value.to_le_bytes()));
        bytes
    }

    /// From bytes that were kept; `None` when they are not the complete peaks of this sound.
    #[must_use]
    pub fn from_bytes(sound: &dyn Sound, bytes: &[u8]) -> Option<Self> {
        let rest = bytes.strip_prefix(&HEAD)?;
        let (head, rest) = rest.split_at_checked(16)?;
        let number = |at: usize| head[at..at + 8].try_into().ok().map(u64::from_le_bytes);
        let empty = Self::of(sound);
        if number(0) != Some(empty.channels as u64) || number(8) != Some(empty.length) {
            return None;
        }
        let (pairs, left) = rest.as_chunks::<8>();
        let value = |bytes: &[u8]| bytes.try_into().map_or(f32::NAN, f32::from_le_bytes);
        let built = pairs
            .iter()
            .map(|pair| [value(&pair[..4]), value(&pair[4..])]);
        let peaks = Self {
            built: RwLock::new(built.collect()),
            ..empty
        };
        (left.is_empty() && peaks.is_complete()).then_some(peaks)
    }

    fn read(&self) -> std::sync::RwLockReadGuard<'_, Vec<[f32; 2]>> {
        self.built.read().unwrap_or_else(PoisonError::into_inner)
    }
}
