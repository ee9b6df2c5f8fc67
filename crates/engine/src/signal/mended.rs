//! A take's sound and the slips of its file in, the sound as it would stand without them out: missing samples read as
//! silence, samples too many are left out. Sample counts as in design section 3: below 0 missing, above 0 too many.

use std::ops::Range;

use super::Sound;
use crate::error::Result;
use crate::units::{SampleCount, SampleRate};

/// One slip of a file: `at` is the first sample after the missing ones, or the first of those too many.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Seam {
    /// The position in the file.
    pub at: u64,
    /// Below 0: that many are missing; above 0: that many too many.
    pub samples: i64,
}

/// How positions in a file and positions in the mended take go together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Seams {
    pieces: Vec<Piece>,
    length: i64,
}

/// A stretch of the file that stands in the mended take at `own + shift`.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Piece {
    own: Range<i64>,
    shift: i64,
}

impl Seams {
    /// The seams of a file of `length` samples, in any order; those beyond its end are cut off.
    #[must_use]
    pub fn new(seams: &[Seam], length: u64) -> Self {
        let length = i64::try_from(length).unwrap_or(i64::MAX);
        let mut seams = seams.to_vec();
        seams.sort_unstable();
        let mut pieces = Vec::new();
        let (mut from, mut shift) = (0, 0i64);
        for seam in seams {
            let at = i64::try_from(seam.at)
                .unwrap_or(i64::MAX)
                .clamp(from, length);
            pieces.push(Piece {
                own: from..at,
                shift,
            });
            from = at.saturating_add(seam.samples.max(0)).min(length);
            shift = shift.saturating_sub(seam.samples);
        }
        pieces.push(Piece {
            own: from..length,
            shift,
        });
        pieces.retain(|piece| !piece.own.is_empty());
        let length = pieces
            .last()
            .map_or(0, |last| last.own.end.saturating_add(last.shift));
        Self { pieces, length }
    }

    /// The length of the mended take.
    #[must_use]
    pub fn length(&self) -> u64 {
        self.length.max(0) as u64
    }

    /// The mended position of a position in the file; what is left out stands where it was cut.
    #[must_use]
    pub fn mended(&self, own: f64) -> f64 {
        let after = self
            .pieces
            .partition_point(|piece| piece.own.start as f64 <= own);
        let last = after == self.pieces.len();
        match self.pieces.get(after.max(1) - 1) {
            None => own,
            Some(piece) if last => own + piece.shift as f64,
            Some(piece) => own.min(piece.own.end as f64) + piece.shift as f64,
        }
    }

    /// The position in the file of a mended position; in a gap, that of the first sample after it.
    #[must_use]
    pub fn own(&self, mended: f64) -> f64 {
        let after = self
            .pieces
            .partition_point(|piece| (piece.own.start + piece.shift) as f64 <= mended);
        let last = after == self.pieces.len();
        match self.pieces.get(after.max(1) - 1) {
            None => mended,
            Some(piece) if last => mended - piece.shift as f64,
            Some(piece) => (mended - piece.shift as f64).min(piece.own.end as f64),
        }
    }
}

/// The sound of a take as it would stand without its slips.
pub struct Mended<'a> {
    sound: &'a dyn Sound,
    seams: Seams,
}

impl<'a> Mended<'a> {
    /// `sound` with these seams.
    #[must_use]
    pub fn new(sound: &'a dyn Sound, seams: &[Seam]) -> Self {
        Self {
            seams: Seams::new(seams, sound.length().0),
            sound,
        }
    }

    /// How its positions go together with the file's.
    #[must_use]
    pub fn seams(&self) -> &Seams {
        &self.seams
    }
}

impl Sound for Mended<'_> {
    fn rate(&self) -> SampleRate {
        self.sound.rate()
    }

    fn channels(&self) -> usize {
        self.sound.channels()
    }

    fn length(&self) -> SampleCount {
        SampleCount(self.seams.length())
    }

    fn read(&self, channels: &[usize], start: i64, out: &mut [&mut [f64]]) -> Result<()> {
        let length = out.first().map_or(0, |plane| plane.len()) as i64;
        out.iter_mut().for_each(|plane| plane.fill(0.0));
        for piece in &self.seams.pieces {
            let from = (piece.own.start + piece.shift).max(start);
            let to = (piece.own.end + piece.shift).min(start.saturating_add(length));
            if from >= to {
                continue;
            }
            let inside = (from - start) as usize..(to - start) as usize;
            let mut planes: Vec<&mut [f64]> = out
                .iter_mut()
                .map(|plane| &mut plane[inside.clone()])
                .collect();
            self.sound.read(channels, from - piece.shift, &mut planes)?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::MemorySound;

    const SEAMS: [Seam; 2] = [
        Seam {
            at: 10,
            samples: -3,
        },
        Seam { at: 20, samples: 5 },
    ];

    #[test]
    fn missing_samples_are_silent_and_doubled_ones_gone() {
        let counted = (0..40).map(f64::from).collect();
        let sound = MemorySound::new(SampleRate(48_000), vec![counted]);
        let mended = Mended::new(&sound, &SEAMS);
        assert_eq!(mended.length(), SampleCount(38));
        let mut all = vec![-1.0; 42];
        mended.read(&[0], -2, &mut [&mut all]).expect("memory");
        let mut expected = vec![0.0; 2];
        expected.extend((0..10).map(f64::from));
        expected.extend([0.0; 3]);
        expected.extend((10..20).map(f64::from));
        expected.extend((25..40).map(f64::from));
        expected.extend([0.0; 2]);
        assert_eq!(all, expected);
    }

    #[test]
    fn positions_go_there_and_back() {
        let seams = Seams::new(&SEAMS, 40);
        for (own, mended) in [(-5.0, -5.0), (9.0, 9.0), (10.0, 13.0), (19.0, 22.0)] {
            assert_eq!((seams.mended(own), seams.own(mended)), (mended, own));
        }
        for (own, mended) in [(25.0, 23.0), (39.0, 37.0), (60.0, 58.0)] {
            assert_eq!((seams.mended(own), seams.own(mended)), (mended, own));
        }
        // a doubled sample stands where it was cut, a gap before the first sample after it
        assert_eq!((seams.mended(22.0), seams.own(11.5)), (23.0, 10.0));
    }

    #[test]
    fn no_seams_change_nothing() {
        let seams = Seams::new(&[], 7);
        assert_eq!(
            (seams.length(), seams.mended(3.5), seams.own(3.5)),
            (7, 3.5, 3.5)
        );
        assert_eq!(Seams::new(&[], 0).length(), 0);
    }
}
