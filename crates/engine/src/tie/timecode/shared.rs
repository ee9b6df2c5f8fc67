//! The timecode of two takes in, the moments at which both heard the same word begin out, as ties.
//!
//! Words are matched by their labels alone. Where a label comes twice, or one track jumps and the other does not, labels
//! stand for several places of one take on the other; they are told apart by how many words agree.

use timecode::Label;
use timecode::ltc::{Direction, INDEPENDENT, Run, Timed};

use super::{Track, ppm_against_generator};
use crate::finding::Sign;
use crate::tie::{Source, Tie};
use crate::units::{LeadPos, Ppm, SampleRate, Samples, UnitPos};

/// So many words must agree.
const LEAST_WORDS: usize = 100;
/// A clock may differ by this much from another, parts of one, and places by so many samples on top, and still be one clock's.
const NEAR: (f64, f64) = (300e-6, 8.0);
/// No place of a word is better known than this, samples.
const LEAST_SIGMA: f64 = 0.005;

/// Timecode that two takes carry.
#[derive(Debug, Clone, PartialEq)]
pub struct Shared {
    /// On the lead.
    pub lead: Side,
    /// On the follower.
    pub follower: Side,
    /// How many words both carry.
    pub words: usize,
    /// The first and the last of them.
    pub labels: (Label, Label),
    /// Where they begin on either unit: those far enough apart for their errors to be independent, in order.
    pub ties: Vec<Tie>,
    /// Other places of the follower's sample 0 that labels stand for, with the share of words against the best.
    pub others: Vec<(LeadPos, f64)>,
    /// The nominal length of a word.
    pub word: Samples,
}

/// One unit's share in it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Side {
    /// The channel, 0-based.
    pub channel: usize,
    /// By how much the unit counts faster than the code's generator, with one standard deviation; `None` where there are
    /// too few words to tell.
    pub against_generator: Option<(Ppm, Ppm)>,
}

/// Labels may stand for other places with this share of the words at most: else the codes are not one.
const OTHERS: f64 = 0.1;

impl Shared {
    /// Where the labels place the follower's sample 0.
    #[must_use]
    pub fn offset(&self) -> LeadPos {
        let first = self.ties.first();
        LeadPos(first.map_or(0.0, |tie| tie.lead.0 - tie.follower.0))
    }

    /// Whether labels stand for one place; what was asked.
    #[must_use]
    pub fn sign(&self) -> Sign {
        let others = self.others.iter().map(|other| other.1);
        let name = "words whose labels stand for another place, share";
        Sign::at_most(name, others.fold(0.0, f64::max), OTHERS)
    }

    /// The same, in a word.
    #[must_use]
    pub fn is_firm(&self) -> bool {
        self.sign().passed
    }
}

/// What two takes of one nominal rate have in common by the labels on their tracks: the pair of tracks that share most.
/// `None` when no hundred words agree.
#[must_use]
pub fn shared(lead: &[Track], follower: &[Track], rate: SampleRate) -> Option<Shared> {
    let pairs = lead
        .iter()
        .flat_map(|a| follower.iter().map(move |b| (a, b)));
    pairs
        .filter_map(|(a, b)| of_pair(a, b, rate))
        .max_by_key(|shared| shared.words)
}

fn of_pair(lead: &Track, follower: &Track, rate: SampleRate) -> Option<Shared> {
    let counting = lead.reading.counting;
    if counting != follower.reading.counting {
        return None;
    }
    let mut groups: Vec<Vec<Match<'_>>> = Vec::new();
    for a in forward(lead) {
        for b in forward(follower) {
            for matches in matched(a, b, counting.day() as i64) {
                match groups.iter_mut().find(|group| goes_on(group, &matches)) {
                    Some(group) => group.extend(matches),
                    None => groups.push(matches),
                }
            }
        }
    }
    groups.sort_by_key(|group| std::cmp::Reverse(group.len()));
    let mut groups = groups.into_iter();
    let mut best = groups.next().filter(|best| best.len() >= LEAST_WORDS)?;
    best.sort_by(|a, b| a.lead.start.total_cmp(&b.lead.start));
    let words = best.len();
    let others = groups
        .filter_map(|group| Some((group.first()?.offset(), group.len() as f64 / words as f64)))
        .collect();
    let source = Source::Timecode {
        lead: lead.channel,
        follower: follower.channel,
    };
    let word = Samples(f64::from(rate.0) / counting.rate().per_second());
    let side = |track: &Track| Side {
        channel: track.channel,
        against_generator: against_generator(track),
    };
    Some(Shared {
        lead: side(lead),
        follower: side(follower),
        words,
        labels: (best.first()?.lead.label, best.last()?.lead.label),
        ties: best
            .iter()
            .step_by(INDEPENDENT)
            .map(|at| at.tie(&source))
            .collect(),
        others,
        word,
    })
}

/// One word on both tracks.
#[derive(Debug, Clone, Copy)]
struct Match<'a> {
    lead: &'a Timed,
    follower: &'a Timed,
}

impl Match<'_> {
    fn offset(&self) -> LeadPos {
        LeadPos(self.lead.start - self.follower.start)
    }

    fn tie(&self, source: &Source) -> Tie {
        Tie {
            lead: LeadPos(self.lead.start),
            follower: UnitPos(self.follower.start),
            sigma: Samples(self.lead.sigma.hypot(self.follower.sigma).max(LEAST_SIGMA)),
            used: true,
            source: source.clone(),
        }
    }
}

fn forward(track: &Track) -> impl Iterator<Item = &Run> {
    let runs = track.reading.runs.iter();
    runs.filter(|run| run.direction == Direction::Forward)
}

/// The words of two runs that have the same labels: once, or twice where a run is longer than a day less the other.
fn matched<'a>(lead: &'a Run, follower: &'a Run, day: i64) -> Vec<Vec<Match<'a>>> {
    let base = |run: &Run| run.words.first().map(|word| word.label.count() as i64);
    let (Some(a), Some(b)) = (base(lead), base(follower)) else {
        return Vec::new();
    };
    let later = (b - a).rem_euclid(day);
    let of = |shift: i64| {
        let mut matches = Vec::new();
        let mut left = lead.words.iter().peekable();
        for follower in &follower.words {
            let index = follower.index as i64 + shift;
            while left.next_if(|word| (word.index as i64) < index).is_some() {}
            let lead = left.peek().copied();
            if let Some(lead) = lead.filter(|word| word.index as i64 == index) {
                matches.push(Match { lead, follower });
            }
        }
        matches
    };
    let both = [later, later - day].map(of).into_iter();
    both.filter(|matches| !matches.is_empty()).collect()
}

/// Whether further matches may belong to the clock of those found.
fn goes_on(group: &[Match<'_>], further: &[Match<'_>]) -> bool {
    group
        .last()
        .zip(further.first())
        .is_some_and(|(last, first)| {
            let apart = (first.offset() - last.offset()).0.abs();
            apart <= NEAR.1 + NEAR.0 * (first.lead.start - last.lead.start).abs()
        })
}

/// As [`ppm_against_generator`], with its standard deviation.
fn against_generator(track: &Track) -> Option<(Ppm, Ppm)> {
    let pace = track.reading.pace()?;
    Some((
        Ppm(ppm_against_generator(&track.reading)),
        Ppm(1e6 * pace.sigma / pace.samples),
    ))
}
