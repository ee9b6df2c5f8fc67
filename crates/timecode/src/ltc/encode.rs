//! A first label, a sample rate and a level in, LTC as sound out, of any length and in pieces of any size (SMPTE ST 12-1,
//! 9.3 to 9.6).

use std::f64::consts::PI;

use super::user_bits::UserBits;
use super::word::{BITS, Word};
use crate::{Counting, FrameRate, Label};

/// 10 to 90 % of a rising edge in seconds: 40 us, give or take 10 (ST 12-1, 9.6.1).
pub const RISE_S: f64 = 40e-6;

/// The share of a raised cosine's whole rise that lies between 10 and 90 %.
const RAISED_COSINE: f64 = 0.590_334_470_601_733;

/// What is written.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Signal {
    /// The label of the first word. At 48, 50 and 60 timecode frames a second a word holds a pair of them.
    pub first: Label,
    /// The user bits of every word.
    pub user_bits: UserBits,
    /// The colour flag of every word.
    pub colour: bool,
    /// Samples a second.
    pub sample_rate: u32,
    /// Peak level, 1 for full scale.
    pub amplitude: f64,
    /// 10 to 90 % of an edge, seconds; below a sample it is a step from one sample to the next.
    pub rise_s: f64,
}

/// Gives the samples of a signal in order, without end.
#[derive(Debug, Clone)]
pub struct Encoder {
    signal: Signal,
    words: Counting,
    /// Samples a half cell.
    half: f64,
    /// Half of an edge's whole duration, samples.
    reach: f64,
    /// The position of the next sample.
    at: u64,
    /// The next half cell that may begin with an edge.
    next: u64,
    /// The word that half cell lies in, and its number.
    word: (Word, u64),
    /// Positions of the edges near the next sample, and the level after each.
    edges: Vec<(f64, f64)>,
    /// The level after the last edge made.
    level: f64,
}

/// How the words of a counting are counted: pairs of 48, 50 and 60 as 24, 25 and 30.
fn of_words(counting: Counting) -> Counting {
    let (num, den) = counting.rate().fraction();
    let pairs = counting.rate().nominal() > 30;
    let rate = FrameRate::of_fraction(if pairs { num / 2 } else { num }, den);
    rate.and_then(|rate| Counting::new(rate, counting.drop_frame()).ok())
        .unwrap_or(counting)
}

/// Word `index` of a signal whose words are counted so.
fn nth(signal: &Signal, words: Counting, index: u64) -> Word {
    let pair = signal.first.counting().rate().nominal() / words.rate().nominal();
    let label = Label::of_count(signal.first.count() / u64::from(pair) + index, words);
    Word::new(label, signal.user_bits, signal.colour)
}

impl Encoder {
    /// Begins with the first edge of the first word at sample 0.
    #[must_use]
    pub fn new(signal: Signal) -> Self {
        let counting = signal.first.counting();
        let words = of_words(counting);
        let (num, den) = words.rate().samples_each(signal.sample_rate);
        Self {
            signal,
            words,
            half: num as f64 / den as f64 / (2 * BITS) as f64,
            reach: 0.5 * signal.rise_s / RAISED_COSINE * f64::from(signal.sample_rate),
            at: 0,
            next: 0,
            word: (nth(&signal, words, 0), 0),
            edges: Vec::new(),
            level: -1.0,
        }
    }

    /// The position of the first edge of word `index`, samples.
    #[must_use]
    pub fn start_of(&self, index: u64) -> f64 {
        let (num, den) = self.words.rate().samples_each(self.signal.sample_rate);
        let exact = u128::from(index) * u128::from(num);
        (exact / u128::from(den)) as f64 + (exact % u128::from(den)) as f64 / den as f64
    }

    /// The next samples.
    pub fn fill(&mut self, out: &mut [f32]) {
        for sample in out {
            let at = self.at as f64;
            self.edges_until(at + self.reach);
            // only the last edge that is over may go: it says what came before the others
            while self.edges.len() > 1 && self.edges[1].0 + self.reach <= at {
                self.edges.remove(0);
            }
            let level: f64 = match self.edges.first() {
                None => 0.0,
                Some((_, after)) => {
                    let before = -after;
                    let rises = self.edges.iter().map(|(edge, after)| {
                        let (from, to) = if *after > 0.0 {
                            (-1.0, 1.0)
                        } else {
                            (1.0, -1.0)
                        };
                        0.5 * (to - from) * self.risen(at - edge)
                    });
                    before + rises.sum::<f64>()
                }
            };
            *sample = (self.signal.amplitude * level) as f32;
            self.at += 1;
        }
    }

    /// How far an edge has come, 0 to 2, `past` samples after its middle.
    fn risen(&self, past: f64) -> f64 {
        if past >= self.reach {
            2.0
        } else if past <= -self.reach {
            0.0
        } else {
            1.0 + (0.5 * PI * past / self.reach).sin()
        }
    }

    fn edges_until(&mut self, position: f64) {
        let halves = 2 * BITS as u64;
        loop {
            let (index, half) = (self.next / halves, self.next % halves);
            let at = self.start_of(index) + half as f64 * self.half;
            if at > position {
                return;
            }
            if index != self.word.1 {
                self.word = (nth(&self.signal, self.words, index), index);
            }
            let boundary = half.is_multiple_of(2);
            if boundary || self.word.0.bit((half / 2) as usize) {
                self.level = -self.level;
                self.edges.push((at, self.level));
            }
            self.next += 1;
        }
    }
}
