//! One channel in; runs at full scale and runs of zeros amid sound out.

use super::{Runs, keep_last};

/// Samples that are looked over at once for anything suspicious.
const PIECE: usize = 64;
/// What an integer converter's last step lies above, full scale being 1: 16 bits have their largest value here.
const FULL_SCALE: f64 = 1.0 - 1.0 / 32_768.0;
/// Fewer samples at full scale are a peak that was just reached. Common practice, no source.
const SHORTEST_CLIP: u64 = 3;
/// Fewer zeros are a zero crossing of something quiet. Common practice, no source.
const SHORTEST_DROP_OUT: u64 = 8;
/// The longest that is a drop-out and not silence, parts of a second.
const LONGEST_DROP_OUT: u32 = 10;
/// RMS of the 64 samples before and after that make zeros improbable: a slope of a 16-bit step in eight samples, which gives
/// as many zeros by itself, comes to a quarter of this.
const SOUND: f64 = 16.0 / 32_768.0;

pub(super) struct FaultMeter {
    position: u64,
    /// The samples before those that come next.
    before: [f64; PIECE],
    clip: Clip,
    zeros: Zeros,
    longest: u64,
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
        loud: bool,
    },
    Ended {
        start: u64,
        samples: u64,
        after: u64,
        squares: f64,
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
            clips: Runs::default(),
            drop_outs: Runs::default(),
        }
    }

    pub(super) fn add(&mut self, samples: &[f64]) {
        for piece in samples.chunks(PIECE) {
            let (mut most, mut least) = (0.0_f64, f64::INFINITY);
            for value in piece {
                let magnitude = value.abs();
                most = if magnitude > most { magnitude } else { most };
                least = if magnitude < least { magnitude } else { least };
            }
            let plain = most < FULL_SCALE && least > 0.0;
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
            let squares = match self.zeros {
                // the last 64 samples before this one
                Zeros::None if value == 0.0 => {
                    let old = self.before[i..].iter().map(|x| x * x).sum::<f64>();
                    old + piece[..i].iter().map(|x| x * x).sum::<f64>()
                }
                _ => 0.0,
            };
            self.zero(value, squares);
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

    fn zero(&mut self, value: f64, squares_before: f64) {
        let loud = |squares: f64| squares >= SOUND * SOUND * PIECE as f64;
        let position = self.position;
        let silent = value == 0.0;
        self.zeros = match std::mem::replace(&mut self.zeros, Zeros::None) {
            Zeros::None if silent => Zeros::Running {
                start: position,
                loud: loud(squares_before),
            },
            Zeros::None => Zeros::None,
            running @ Zeros::Running { .. } if silent => running,
            Zeros::Running { start, loud } => {
                let samples = position - start;
                let fits = (SHORTEST_DROP_OUT..self.longest).contains(&samples);
                match loud && fits {
                    true => Zeros::Ended {
                        start,
                        samples,
                        after: 1,
                        squares: value * value,
                    },
                    false => Zeros::None,
                }
            }
            Zeros::Ended {
                start,
                samples,
                after,
                squares,
            } => {
                let squares = squares + value * value;
                if after + 1 < PIECE as u64 {
                    Zeros::Ended {
                        start,
                        samples,
                        after: after + 1,
                        squares,
                    }
                } else {
                    if loud(squares) {
                        self.drop_outs.add(start, samples);
                    }
                    Zeros::None
                }
            }
        };
    }

    pub(super) fn finish(mut self) -> (Runs, Runs) {
        self.end_clip();
        (self.clips, self.drop_outs)
    }
}
