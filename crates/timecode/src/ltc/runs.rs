//! Words as they were heard in, the runs that count on from one another out: what counts with none of the others is no
//! word.

use super::edges::Heard;
use super::line::Line;
use super::user_bits::UserBits;
use super::word::{TIME, Word};
use crate::{Counting, FrameRate, Label};

/// So many words in a row must count on for a run to begin. Bits that noise turned seldom agree even twice.
const NEEDED: usize = 4;

/// What a run costs when countings are compared: a wrong one breaks up at every second or minute.
const RUN_COST: usize = 4;

/// Words on either side that a word's place is smoothed over.
pub(super) const SMOOTHED: usize = 12;

/// A word whose label noise has turned is mended where words that are right stand at most so far apart around it, and so
/// many bits at most were turned, all of them weak.
const MENDED: (u64, u32) = (8, 6);

/// The standard deviation of a place known to a whole sample only.
const WHOLE_SAMPLE: f64 = 0.29;

/// Which way a run counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Direction {
    /// Upwards.
    Forward,
    /// Downwards: played in reverse.
    Reverse,
    /// Not at all: the same label over and over.
    Still,
}

/// Whether labels are dropped, by what was counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dropping {
    /// Two labels were left out at the start of a minute.
    Seen,
    /// A minute began with all of its labels.
    NotSeen,
    /// No minute began that would tell; the flag says this.
    Flagged(bool),
}

/// A word that counts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Timed {
    /// Its bits; those of the label that noise had turned are put right.
    pub word: Word,
    /// How many were turned. The label of such a word is that which its neighbours on both sides count on to.
    pub mended: u32,
    /// Its label in the track's counting.
    pub label: Label,
    /// Where the edge before its bit 0 lies, samples from the first; played in reverse the word comes before it.
    pub start: f64,
    /// One standard deviation of it, samples.
    pub sigma: f64,
    /// Words since the first of its run, those that were missed included.
    pub index: u64,
    /// Whether the level rises at `start`, as time passes.
    pub rises: bool,
}

/// Words that count on from one another.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// Which way they count.
    pub direction: Direction,
    /// The words, as they come in time.
    pub words: Vec<Timed>,
}

impl Run {
    /// Words it should have: those that were missed between its first and its last included.
    #[must_use]
    pub fn expected(&self) -> u64 {
        self.words.last().map_or(0, |word| word.index + 1)
    }

    /// The mean length of a word, samples; `None` for a single one.
    #[must_use]
    pub fn word_length(&self) -> Option<f64> {
        let (first, last) = (self.words.first()?, self.words.last()?);
        let words = last.index - first.index;
        (words > 0).then(|| (last.start - first.start) / words as f64)
    }
}

/// The countings that words can have, 29.97 and 23.976 taken for 30 and 24 at first.
const COUNTINGS: [(FrameRate, bool); 4] = [
    (FrameRate::F30, false),
    (FrameRate::F30, true),
    (FrameRate::F25, false),
    (FrameRate::F24, false),
];

/// What counts.
pub(super) struct Runs {
    pub counting: Counting,
    pub runs: Vec<Run>,
    /// Words heard between the runs, before and behind them, that count with none.
    pub stray: u64,
}

/// The words in runs, in the counting that explains them best; `None` when nothing counts.
pub(super) fn runs(mut heard: Vec<Heard>, sample_rate: u32) -> Option<Runs> {
    heard.sort_by(|a, b| a.start.total_cmp(&b.start));
    let heard = once(heard);
    let countings = COUNTINGS
        .into_iter()
        .filter_map(|(rate, drop)| Counting::new(rate, drop).ok());
    let tried = countings.map(|counting| {
        let found = follow(&heard, counting);
        let counted: usize = found.iter().map(|run| run.1.len()).sum();
        let worth = counted as i64 - (RUN_COST * found.len()) as i64;
        (
            worth,
            likeness(&heard, &found, counting, sample_rate),
            counting,
            found,
        )
    });
    let (_, _, counting, found) = tried.max_by(|a, b| (a.0).cmp(&b.0).then(a.1.total_cmp(&b.1)))?;
    let exact = exact_rate(&heard, &found, counting, sample_rate);
    let within = |(_, members): &(Direction, Vec<usize>)| {
        let (first, last) = (members.first()?, members.last()?);
        Some((last - first + 1) as u64)
    };
    let stray = heard.len() as u64 - found.iter().filter_map(within).sum::<u64>();
    let runs: Vec<Run> = found
        .into_iter()
        .map(|(direction, members)| timed(&heard, direction, &members, exact))
        .collect();
    (!runs.is_empty()).then_some(Runs {
        counting: exact,
        runs,
        stray,
    })
}

/// Every word once: what was heard twice lies in two blocks, or was found in two ways.
fn once(heard: Vec<Heard>) -> Vec<Heard> {
    let mut kept: Vec<Heard> = Vec::with_capacity(heard.len());
    for word in heard {
        match kept.last_mut() {
            Some(last) if word.start - last.start < 0.5 * last.length.min(word.length) => {
                if (word.clean, word.sync) > (last.clean, last.sync) {
                    *last = word;
                }
            }
            _ => kept.push(word),
        }
    }
    kept
}

/// Runs as direction and the indices of their words.
type Found = Vec<(Direction, Vec<usize>)>;

fn follow(heard: &[Heard], counting: Counting) -> Found {
    let counts: Vec<Option<u64>> = heard
        .iter()
        .map(|h| Some(Label::of_digits(h.word.digits()?, counting)?.count()))
        .collect();
    let day = counting.day() as i64;
    let counts_on = |from: usize, to: usize, direction: Direction| {
        let (Some(a), Some(b)) = (counts[from], counts[to]) else {
            return false;
        };
        let step = match (direction, heard[from].reverse, heard[to].reverse) {
            (Direction::Forward, false, false) => 1,
            (Direction::Reverse, true, true) => -1,
            (Direction::Still, ..) => 0,
            _ => return false,
        };
        let words = words_between(heard, from, to);
        words > 0 && (b as i64 - a as i64 - step * words).rem_euclid(day) == 0
    };
    let mut found: Found = Vec::new();
    let mut waiting: Vec<usize> = Vec::new();
    for at in 0..heard.len() {
        if let Some((direction, words)) = found.last_mut()
            && words
                .last()
                .is_some_and(|last| counts_on(*last, at, *direction))
        {
            words.push(at);
            waiting.clear();
            continue;
        }
        waiting.push(at);
        let Some(last) = waiting.last_chunk::<NEEDED>() else {
            continue;
        };
        let begun = [Direction::Forward, Direction::Reverse, Direction::Still]
            .into_iter()
            .find(|direction| {
                let mut pairs = last.windows(2);
                pairs.all(|pair| counts_on(pair[0], pair[1], *direction))
            });
        if let Some(direction) = begun {
            found.push((direction, last.to_vec()));
            waiting.clear();
        }
    }
    found
}

/// How many words after one another comes, by the time between them.
fn words_between(heard: &[Heard], from: usize, to: usize) -> i64 {
    let (a, b) = (&heard[from], &heard[to]);
    ((b.start - a.start) / (0.5 * (a.length + b.length))).round() as i64
}

/// The mean length of a word, samples.
fn mean_length(heard: &[Heard], found: &Found) -> f64 {
    let lengths = found
        .iter()
        .flat_map(|(_, words)| words.iter().map(|word| heard[*word].length));
    let (sum, count) = lengths.fold((0.0, 0.0), |(sum, count), l| (sum + l, count + 1.0));
    sum / f64::max(count, 1.0)
}

/// How near the words' rate is to the counting's, and whether flags agree: between countings that explain as much.
fn likeness(heard: &[Heard], found: &Found, counting: Counting, sample_rate: u32) -> f64 {
    let speed = speed(mean_length(heard, found), counting.rate(), sample_rate);
    let mut words = found.iter().flat_map(|(_, words)| words);
    let flag = words
        .next()
        .is_some_and(|word| heard[*word].word.drop_flag());
    let agrees = flag == counting.drop_frame();
    -speed.ln().abs() - if agrees { 0.0 } else { 1e-4 }
}

fn speed(length: f64, rate: FrameRate, sample_rate: u32) -> f64 {
    f64::from(sample_rate) / length.max(1.0) / rate.per_second()
}

/// The counting with 30 or 29.97, 24 or 23.976 as the words' rate is nearer to.
fn exact_rate(heard: &[Heard], found: &Found, counting: Counting, sample_rate: u32) -> Counting {
    let length = mean_length(heard, found);
    let off = |rate: FrameRate| speed(length, rate, sample_rate).ln().abs();
    let pulled = match counting.rate().nominal() {
        30 => FrameRate::F29_97,
        24 => FrameRate::F23_976,
        _ => return counting,
    };
    let nearer = if off(pulled) < off(counting.rate()) {
        pulled
    } else {
        counting.rate()
    };
    Counting::new(nearer, counting.drop_frame()).unwrap_or(counting)
}

fn timed(heard: &[Heard], direction: Direction, members: &[usize], counting: Counting) -> Run {
    let mut words: Vec<(usize, u64, Label)> = Vec::with_capacity(members.len());
    for member in members {
        let digits = heard[*member].word.digits();
        let Some(label) = digits.and_then(|digits| Label::of_digits(digits, counting)) else {
            continue;
        };
        let Some(&(before, index, last)) = words.last() else {
            words.push((*member, 0, label));
            continue;
        };
        let apart = words_between(heard, before, *member).max(1) as u64;
        if apart <= MENDED.0 {
            let between = (before + 1)..*member;
            let mended = between.filter_map(|at| {
                let by = words_between(heard, before, at).max(0) as u64;
                let label = counted(last, direction, by);
                let inside = (1..apart).contains(&by);
                (inside && is_likely(&heard[at], label)).then_some((at, index + by, label))
            });
            words.extend(mended.collect::<Vec<_>>());
        }
        words.push((*member, index + apart, label));
    }
    let indices: Vec<u64> = words.iter().map(|word| word.1).collect();
    let places: Vec<f64> = words.iter().map(|word| heard[word.0].start).collect();
    let words = words
        .iter()
        .enumerate()
        .map(|(at, (member, index, label))| {
            let heard = &heard[*member];
            let (start, sigma) = smoothed(&indices, &places, at);
            let floor = if heard.hard { WHOLE_SAMPLE } else { 0.0 };
            let turned = turned(heard, *label);
            Timed {
                word: Word(heard.word.0 ^ turned),
                mended: turned.count_ones(),
                label: *label,
                start,
                sigma: sigma.hypot(floor),
                index: *index,
                rises: heard.rises,
            }
        });
    Run {
        direction,
        words: words.collect(),
    }
}

/// The label that is so many words further.
fn counted(from: Label, direction: Direction, words: u64) -> Label {
    let counting = from.counting();
    let count = match direction {
        Direction::Forward => from.count() + words,
        Direction::Reverse => from.count() + counting.day() - words,
        Direction::Still => from.count(),
    };
    Label::of_count(count, counting)
}

/// The bits of the label that differ.
fn turned(heard: &Heard, label: Label) -> u64 {
    (Word::new(label, UserBits::default(), false).0 ^ heard.word.0) & TIME
}

/// Whether the word may well be that of the label: few bits differ and none of them is clear.
fn is_likely(heard: &Heard, label: Label) -> bool {
    let turned = turned(heard, label);
    turned & !heard.weak == 0 && turned.count_ones() <= MENDED.1
}

/// The place of one word by the line through it and its neighbours, and its standard deviation.
fn smoothed(indices: &[u64], places: &[f64], at: usize) -> (f64, f64) {
    let around = at.saturating_sub(SMOOTHED)..(at + SMOOTHED + 1).min(places.len());
    let count = around.len() as f64;
    if count < 4.0 {
        return (places[at], 0.5);
    }
    let points = around.map(|i| {
        (
            indices[i] as f64 - indices[at] as f64,
            places[i] - places[at],
        )
    });
    let line = Line::through(points.clone());
    let left: f64 = points.map(|(x, y)| (y - line.at(x)).powi(2)).sum();
    let variance = left / (count - 2.0) * line.variance(0.0);
    (places[at] + line.at(0.0), variance.sqrt())
}

/// Whether labels are dropped, as far as the runs tell.
pub(super) fn dropping(counting: Counting, runs: &[Run]) -> Dropping {
    let mut pairs = runs.iter().flat_map(|run| run.words.windows(2));
    let tells = pairs.any(|pair| {
        let [a, b] = [pair[0].label.digits(), pair[1].label.digits()];
        let (earlier, later) = match pair[1].label.count().cmp(&pair[0].label.count()) {
            std::cmp::Ordering::Less => (b, a),
            _ => (a, b),
        };
        let next = u32::from(earlier.minutes) + 1 == u32::from(later.minutes);
        next && !later.minutes.is_multiple_of(10)
    });
    if counting.rate().nominal() != 30 {
        return Dropping::NotSeen;
    }
    match (tells, counting.drop_frame()) {
        (true, true) => Dropping::Seen,
        (true, false) => Dropping::NotSeen,
        (false, flagged) => Dropping::Flagged(flagged),
    }
}
