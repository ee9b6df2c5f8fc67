//! Sound in, in pieces of any size, the timecode on it out: every word with its place, and what kind of code it is.

use super::edges::{Edges, Heard};
use super::listen::Listener;
use super::pace::Pace;
use super::runs::{Direction, Dropping, Run, Runs, Timed, dropping, runs};
use super::user_bits::UserBits;
use super::word::Layout;
use crate::{Counting, Label};

/// A block lasts at least this long, seconds.
const BLOCK_S: f64 = 5.0;

/// And at most so many samples, whatever rate a file claims: 5 s at 768 kHz.
const LONGEST: usize = 1 << 22;

/// Blocks overlap by this much, seconds: more than a word at a tenth of 24 timecode frames a second.
const OVERLAP_S: f64 = 0.5;

/// Where clean words leave out less than this many of a block nothing more is looked for in it.
const LEFT_OUT: f64 = 2.2;

/// How many times faster or slower than clean words those may be that are looked for beside them.
const OTHER_SPEED: f64 = 4.0;

/// The timecode on a track.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// How labels are counted. 29.97 and 30, 23.976 and 24 are told by the words' rate, so a varied speed may turn one
    /// into the other.
    pub counting: Counting,
    /// What the count says of dropped labels.
    pub dropping: Dropping,
    /// Words by their runs, in the order of time.
    pub runs: Vec<Run>,
    /// Words a second.
    pub words_per_s: f64,
    /// The user bits of most words.
    pub user_bits: UserBits,
    /// The share of the words that have just these: the rest were turned by noise, or user bits change.
    pub user_bits_share: f64,
    /// Whether most words have the colour flag.
    pub colour_flag: bool,
    /// Whether most words have the drop-frame flag, whatever the count says.
    pub drop_flag: bool,
    /// Share of the words whose number of zeros is even, as the polarity bit makes it.
    pub even: f64,
    /// Whether the level rises at the beginning of most words.
    pub rises: bool,
    /// Words that were heard and count with no others.
    pub stray: u64,
    /// Where the count does not go on.
    pub jumps: Vec<Jump>,
}

/// A place where one run ends and another begins.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Jump {
    /// Where the later run begins, samples.
    pub at: f64,
    /// The label before.
    pub from: Label,
    /// The label behind.
    pub to: Label,
    /// By how many labels it is ahead of where the count would be; -1 with the same label again.
    pub ahead: i64,
}

/// Reads timecode off the samples of one channel.
pub struct Decoder {
    sample_rate: u32,
    block: Vec<f32>,
    /// Position of the block's first sample.
    at: u64,
    length: usize,
    overlap: usize,
    /// Made when code is not clean: it holds transforms of a whole block.
    listener: Option<Listener>,
    heard: Vec<Heard>,
}

impl Decoder {
    /// For one channel at this many samples a second; fewer than 8000 are taken for 8000.
    #[must_use]
    pub fn new(sample_rate: u32) -> Self {
        let sample_rate = sample_rate.max(8000);
        let rate = f64::from(sample_rate);
        let length = ((BLOCK_S * rate) as usize).min(LONGEST).next_power_of_two();
        Self {
            sample_rate,
            block: Vec::with_capacity(length),
            at: 0,
            length,
            overlap: ((OVERLAP_S * rate) as usize).min(length / 4),
            listener: None,
            heard: Vec::new(),
        }
    }

    /// Takes the next samples.
    pub fn push(&mut self, mut samples: &[f32]) {
        while !samples.is_empty() {
            let room = (self.length - self.block.len()).min(samples.len());
            let (now, later) = samples.split_at(room);
            // what is no number is no sound
            let numbers = now.iter().map(|x| if x.is_finite() { *x } else { 0.0 });
            self.block.extend(numbers);
            samples = later;
            if self.block.len() == self.length {
                self.listen();
                let gone = self.length - self.overlap;
                self.block.drain(..gone);
                self.at += gone as u64;
            }
        }
    }

    fn listen(&mut self) {
        if self.block.iter().all(|x| *x == 0.0) {
            return;
        }
        let clean = Edges::of(&self.block).words();
        let lengths = || clean.iter().map(|word| word.length);
        let (held, longest) = (lengths().sum::<f64>(), lengths().fold(0.0, f64::max));
        let shortest = lengths().fold(longest, f64::min);
        let whole = self.block.len() as f64 - held < LEFT_OUT * longest;
        // beside clean words there is no code at many times their speed, only their edges' own ringing
        let likely = |word: &Heard| {
            longest == 0.0 || (shortest / OTHER_SPEED..longest * OTHER_SPEED).contains(&word.length)
        };
        let first = self.heard.len();
        self.heard.extend(clean);
        if !whole {
            let (length, rate) = (self.length, self.sample_rate);
            let listener = self
                .listener
                .get_or_insert_with(|| Listener::new(length, rate));
            let words = listener.words(&self.block).into_iter();
            self.heard.extend(words.filter(likely));
        }
        for word in &mut self.heard[first..] {
            word.start += self.at as f64;
        }
    }

    /// What was on it; `None` when no words count on from one another: no timecode.
    #[must_use]
    pub fn finish(mut self) -> Option<Reading> {
        if !self.block.is_empty() {
            self.listen();
        }
        let found = runs(self.heard, self.sample_rate)?;
        Some(Reading::of(found, self.sample_rate))
    }
}

impl Reading {
    /// Reads all of one channel.
    #[must_use]
    pub fn new(samples: &[f32], sample_rate: u32) -> Option<Self> {
        let mut decoder = Decoder::new(sample_rate);
        decoder.push(samples);
        decoder.finish()
    }

    fn of(found: Runs, sample_rate: u32) -> Self {
        let Runs {
            counting,
            runs,
            stray,
        } = found;
        let words = || runs.iter().flat_map(|run| &run.words);
        let count = words().count().max(1) as f64;
        let share =
            |of: &dyn Fn(&Timed) -> bool| words().filter(|word| of(word)).count() as f64 / count;
        let layout = Layout::of(counting);
        let pace = longest(&runs).and_then(Run::pace).map(|pace| pace.samples);
        let length = pace.or_else(|| longest(&runs)?.word_length());
        let length = length.unwrap_or(f64::MAX);
        let (user_bits, alike) = most(words().map(|word| word.word.user_bits(layout)));
        Self {
            counting,
            dropping: dropping(counting, &runs),
            words_per_s: f64::from(sample_rate) / length.abs(),
            user_bits,
            user_bits_share: alike as f64 / count,
            colour_flag: share(&|word| word.word.colour_flag()) > 0.5,
            drop_flag: share(&|word| word.word.drop_flag()) > 0.5,
            even: share(&|word| word.word.is_even()),
            rises: share(&|word| word.rises) > 0.5,
            stray,
            jumps: runs
                .windows(2)
                .filter_map(|pair| jump(&pair[0], &pair[1]))
                .collect(),
            runs,
        }
    }

    /// Every word that counts, in the order of time.
    pub fn words(&self) -> impl Iterator<Item = &Timed> {
        self.runs.iter().flat_map(|run| &run.words)
    }

    /// How long its words are, by the longest run; `None` where that is too short to tell.
    #[must_use]
    pub fn pace(&self) -> Option<Pace> {
        longest(&self.runs)?.pace()
    }

    /// Words that there should be: those of the runs, the missing included, and the stray ones.
    #[must_use]
    pub fn expected(&self) -> u64 {
        self.runs.iter().map(Run::expected).sum::<u64>() + self.stray
    }

    /// The share of them that counts.
    #[must_use]
    pub fn good(&self) -> f64 {
        self.words().count() as f64 / self.expected().max(1) as f64
    }

    /// How fast it was played: words a second over the counting's.
    #[must_use]
    pub fn speed(&self) -> f64 {
        self.words_per_s / self.counting.rate().per_second()
    }
}

fn longest(runs: &[Run]) -> Option<&Run> {
    runs.iter().max_by_key(|run| run.words.len())
}

/// The value that most have, and how many have it.
fn most(values: impl Iterator<Item = UserBits>) -> (UserBits, usize) {
    let mut tally = std::collections::BTreeMap::new();
    for value in values {
        *tally.entry(value).or_insert(0) += 1;
    }
    let best = tally.into_iter().max_by_key(|(_, count)| *count);
    best.unwrap_or_default()
}

fn jump(before: &Run, after: &Run) -> Option<Jump> {
    let (last, first) = (before.words.last()?, after.words.first()?);
    let length = before.word_length()?;
    let words = ((first.start - last.start) / length).round() as i64;
    let step = match before.direction {
        Direction::Forward => 1,
        Direction::Reverse => -1,
        Direction::Still => 0,
    };
    let day = first.label.counting().day() as i64;
    let ahead = first.label.count() as i64 - last.label.count() as i64 - step * words;
    let ahead = (ahead + day / 2).rem_euclid(day) - day / 2;
    Some(Jump {
        at: first.start,
        from: last.label,
        to: first.label,
        ahead,
    })
}
