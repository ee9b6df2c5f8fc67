//! One channel in; runs at full scale and runs of zeros amid sound out.

use super::{Runs, keep_last};
use crate::signal::{largest, smallest, widest};

/// Samples that are looked over at once for anything suspicious.
const PIECE: usize = 64;
/// So many pieces before any of them is dealt with.
const PIECES: usize = 16;
/// What an integer converter's last step lies above, full scale being 1: 16 bits have their largest value here.
const FULL_SCALE: f64 = 1.0 - 1.0 / 32_768.0;
/// Fewer samples at full scale are a peak that was just reached. Common practice, no source.
const SHORTEST_CLIP: u64 = 3;
/// Fewer zeros are a zero crossing of something quiet. Common practice, no source.
const SHORTEST_DROP_OUT: u64 = 8;
/// The longest that is a drop-out and not silence, parts of a second.
const LONGEST_DROP_OUT: u32 = 10;
/// A channel's step is not known before it has moved by one; no converter that records sound has a larger one: 16 bits.
const LARGEST_STEP: f64 = 1.0 / 32_768.0;
/// RMS of the 64 samples before and after that make zeros improbable: a slope of a 16-bit step in eight samples, which gives
/// as many zeros by itself, comes to a quarter of this. Below it, in pauses, gates close and nobody hears a hole.
const SOUND: f64 = 16.0 * LARGEST_STEP;

pub(super) struct FaultMeter {
    position: u64,
    /// The samples before those that come next.
    before: [f64; PIECE],
    clip: Clip,
    zeros: Zeros,
    longest: u64,
    /// The smallest magnitude other than 0 so far.
    step: f64,
    clips: Runs,
    drop_outs: Runs,
}

#[derive(Default)]
struct Clip {
    samples: u64,
    positive: bool,
}

/// Where zeros have begun, and what came before and after them.
enum Zeros {
    None,
    Running {
        start: u64,
        squares: f64,
        /// The magnitude before the first.
        before: f64,
    },
    Ended {
        start: u64,
        samples: u64,
        after: u64,
        /// Of the quieter side, before and after; the latter so far.
        squares: [f64; 2],
        /// The larger of the magnitudes just before and after.
        edge: f64,
    },
}

impl FaultMeter {
    pub(super) fn new(rate: u32) -> Self {
        Self {
            position: 0,
            before: [0.0; PIECE],
            clip: Clip::default(),
            zeros: Zeros::None,
            longest: u64::from(rate / LONGEST_DROP_OUT),
            step: LARGEST_STEP,
            clips: Runs::default(),
            drop_outs: Runs::default(),
        }
    }

    pub(super) fn add(&mut self, samples: &[f64]) {
        for many in samples.chunks(PIECES * PIECE) {
            self.add_pieces(many);
        }
    }

    fn add_pieces(&mut self, samples: &[f64]) {
        let extremes = widest!(extremes(samples));
        for (piece, (most, least)) in samples.chunks(PIECE).zip(extremes) {
            let plain = most < FULL_SCALE && least > 0.0;
            if plain && least < self.step {
                self.step = least;
            }
            if plain && self.clip.samples == 0 && matches!(self.zeros, Zeros::None) {
                self.position += piece.len() as u64;
            } else {
                self.add_each(piece);
            }
            keep_last(&mut self.before, piece);
        }
    }

    fn add_each(&mut self, piece: &[f64]) {
        for (i, &value) in piece.iter().enumerate() {
            self.clip(value);
            let magnitude = value.abs();
            if magnitude > 0.0 && magnitude < self.step {
                self.step = magnitude;
            }
            let start = match self.zeros {
                Zeros::None if value == 0.0 => Some(self.zeros_begin(&piece[..i])),
                _ => None,
            };
            self.zeros = match start {
                Some(running) => running,
                None => self.zeros_go_on(magnitude),
            };
            self.position += 1;
        }
    }

    fn clip(&mut self, value: f64) {
        let positive = value > 0.0;
        // beyond 1 only floating point goes, and loses nothing by it
        let full = (FULL_SCALE..=1.0).contains(&value.abs());
        if full && self.clip.samples > 0 && self.clip.positive == positive {
            self.clip.samples += 1;
            return;
        }
        self.end_clip();
        self.clip = Clip {
            samples: u64::from(full),
            positive,
        };
    }

    fn end_clip(&mut self) {
        if self.clip.samples >= SHORTEST_CLIP {
            self.clips
                .add(self.position - self.clip.samples, self.clip.samples);
        }
        self.clip.samples = 0;
    }

    /// The first zero comes after the samples that are kept and `of_piece`.
    fn zeros_begin(&self, of_piece: &[f64]) -> Zeros {
        let last = self.before[of_piece.len()..].iter().chain(of_piece);
        Zeros::Running {
            start: self.position,
            squares: last.clone().map(|value| value * value).sum(),
            before: last.last().map_or(0.0, |value| value.abs()),
        }
    }

    fn zeros_go_on(&mut self, magnitude: f64) -> Zeros {
        match std::mem::replace(&mut self.zeros, Zeros::None) {
            Zeros::None => Zeros::None,
            running @ Zeros::Running { .. } if magnitude == 0.0 => running,
            Zeros::Running {
                start,
                squares,
                before,
            } => {
                let samples = self.position - start;
                if !(SHORTEST_DROP_OUT..self.longest).contains(&samples) {
                    return Zeros::None;
                }
                Zeros::Ended {
                    start,
                    samples,
                    after: 1,
                    squares: [squares, magnitude * magnitude],
                    edge: magnitude.max(before),
                }
            }
            Zeros::Ended {
                start,
                samples,
                after,
                squares: [before, so_far],
                edge,
            } => {
                let squares = [before, so_far + magnitude * magnitude];
                if after + 1 < PIECE as u64 {
                    return Zeros::Ended {
                        start,
                        samples,
                        after: after + 1,
                        squares,
                        edge,
                    };
                }
                if self.breaks_off(squares, edge) {
                    self.drop_outs.add(start, samples);
                }
                Zeros::None
            }
        }
    }

    /// Whether zeros between so much sound are none of its own: it is loud, and does not glide to zero and away by single
    /// steps, as a flat crossing does.
    fn breaks_off(&self, squares: [f64; 2], edge: f64) -> bool {
        let loud = |squares: f64| squares >= SOUND * SOUND * PIECE as f64;
        squares.into_iter().all(loud) && edge > 1.5 * self.step
    }

    pub(super) fn finish(mut self) -> (Runs, Runs) {
        self.end_clip();
        (self.clips, self.drop_outs)
    }
}

/// The largest and the smallest magnitude of every piece.
#[inline(always)]
fn extremes(samples: &[f64]) -> [(f64, f64); PIECES] {
    let mut found = [(0.0, f64::INFINITY); PIECES];
    for (found, piece) in found.iter_mut().zip(samples.chunks(PIECE)) {
        *found = (largest(piece), smallest(piece));
    }
    found
}
