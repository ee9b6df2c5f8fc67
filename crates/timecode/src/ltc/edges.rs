//! A block of samples in, its level changes and the words they spell out: the quick way, for code that is clean.

use super::line::Line;
use super::word::{BITS, SYNC, Word};

/// One word as it was heard, before anything else is known of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Heard {
    pub word: Word,
    /// Where the edge before its bit 0 lies, samples; played in reverse the word comes before it.
    pub start: f64,
    /// How long it lasts, samples.
    pub length: f64,
    pub reverse: bool,
    /// Whether the level rises at `start`, as time passes.
    pub rises: bool,
    /// Sync bits that are right, of 16.
    pub sync: u8,
    /// Bits of the word that may well be the other way round.
    pub weak: u64,
    /// Whether the code's own level tells edges sharper than samples can place: a step from one to the next.
    pub hard: bool,
    /// Whether it was read off its edges.
    pub clean: bool,
}

/// The level's middle and its hysteresis are found anew for so many samples.
const PIECE: usize = 2048;

/// The share of the half swing that a level must pass beyond the middle.
const HYSTERESIS: f32 = 0.3;

/// An edge is a step when the sample before and the one after it are so near their levels, of the half swing.
const STEP: f32 = 0.8;

/// Where the level changes.
pub(super) struct Edges {
    /// Positions between samples.
    at: Vec<f64>,
    /// Whether the first of them rises; they alternate.
    first_rises: bool,
    /// How many go from one level to the other between two samples.
    steps: usize,
}

impl Edges {
    /// Finds them in a block.
    pub(super) fn of(block: &[f32]) -> Self {
        let mut edges = Self {
            at: Vec::with_capacity(block.len() / 16),
            first_rises: true,
            steps: 0,
        };
        let mut high: Option<bool> = None;
        for (number, piece) in block.chunks(PIECE).enumerate() {
            let (low, top) = extremes(piece);
            let (middle, half) = (0.5 * (low + top), 0.5 * (top - low));
            if half <= 0.0 {
                continue;
            }
            let (up, down) = (middle + HYSTERESIS * half, middle - HYSTERESIS * half);
            let from = number * PIECE;
            let mut at = 0;
            while at < piece.len() {
                let rest = &piece[at..];
                let past = match high {
                    Some(true) => first(rest, |x| x < down),
                    Some(false) => first(rest, |x| x > up),
                    None => first(rest, |x| x < down || x > up),
                };
                let Some(past) = past else { break };
                at += past;
                let rises = piece[at] > middle;
                // a block that begins between the levels begins within an edge, or in the silence before the code
                if from + at > 0 {
                    edges.crossed(block, from + at, middle, half, rises);
                }
                high = Some(rises);
            }
        }
        edges
    }

    /// An edge that was noticed at sample `noticed`: where the straight line between two samples passes the middle.
    fn crossed(&mut self, block: &[f32], noticed: usize, middle: f32, half: f32, rises: bool) {
        let beyond = |i: usize| (block[i] > middle) == rises;
        let mut after = noticed;
        while after > 1 && beyond(after - 1) {
            after -= 1;
        }
        let (a, b) = (block[after - 1] - middle, block[after] - middle);
        let share = if a == b { 0.5 } else { f64::from(a / (a - b)) };
        if self.at.is_empty() {
            self.first_rises = rises;
        }
        self.steps += usize::from(a.abs().min(b.abs()) > STEP * half);
        self.at.push((after - 1) as f64 + share.clamp(0.0, 1.0));
    }

    fn are_hard(&self) -> bool {
        2 * self.steps > self.at.len()
    }

    /// The words they spell.
    pub(super) fn words(&self) -> Vec<Heard> {
        let mut reader = Reader::new(self);
        let mut words = Vec::new();
        while reader.step() {
            words.extend(reader.word());
        }
        words
    }
}

/// Where the first sample is of which `is` holds; eight are asked at once.
fn first(samples: &[f32], is: impl Fn(f32) -> bool) -> Option<usize> {
    let (eights, _) = samples.as_chunks::<8>();
    let any = |eight: &&[f32; 8]| eight.iter().fold(false, |any, x| any | is(*x));
    let at = 8 * eights.iter().take_while(|eight| !any(eight)).count();
    let behind = samples[at..].iter().position(|x| is(*x));
    behind.map(|behind| at + behind)
}

fn extremes(piece: &[f32]) -> (f32, f32) {
    let mut lanes = [(f32::MAX, f32::MIN); 8];
    let (whole, rest) = piece.as_chunks::<8>();
    for eight in whole {
        for (lane, x) in lanes.iter_mut().zip(eight) {
            *lane = (lane.0.min(*x), lane.1.max(*x));
        }
    }
    let rest = rest.iter().map(|x| (*x, *x));
    let all = lanes.into_iter().chain(rest);
    all.fold((f32::MAX, f32::MIN), |a, b| (a.0.min(b.0), a.1.max(b.1)))
}

/// Below this share of a cell a distance of edges is half a cell, beyond twice the share it is none of the code's.
const SHORT: f64 = 0.75;

/// By which share of its error the length of a cell follows.
const FOLLOW: f64 = 0.125;

/// So many distances are looked at to find the length of a cell; a word has at least 13 half cells and 3 whole ones among
/// as many.
const LOOKED_AT: usize = 120;

/// After so many cells without a word the length of a cell is found anew.
const PATIENCE: usize = 400;

/// Reads bits off the distances of edges.
struct Reader<'a> {
    edges: &'a Edges,
    /// The edge at which the next cell begins.
    next: usize,
    /// The length of a cell, samples.
    cell: f64,
    /// The last 80 bits, the newest the highest.
    bits: u128,
    /// The edges at which the cells of those bits begin: the last ones count.
    cells: Vec<usize>,
    /// Cells since the last word.
    waited: usize,
}

impl<'a> Reader<'a> {
    fn new(edges: &'a Edges) -> Self {
        let mut reader = Self {
            edges,
            next: 0,
            cell: 0.0,
            bits: 0,
            cells: Vec::new(),
            waited: 0,
        };
        reader.find_cell();
        reader
    }

    fn distance(&self, at: usize) -> Option<f64> {
        let edges = &self.edges.at;
        Some(edges.get(at + 1)? - edges[at])
    }

    /// The length of a cell by the longest distances ahead: those of zeros.
    fn find_cell(&mut self) {
        let ahead = self.next..self.next + LOOKED_AT;
        let mut distances: Vec<f64> = ahead.map_while(|at| self.distance(at)).collect();
        distances.sort_by(f64::total_cmp);
        let long = distances.get(distances.len() * 9 / 10).copied();
        let Some(long) = long else { return };
        let whole = distances
            .iter()
            .filter(|d| (SHORT * long..long / SHORT).contains(*d));
        let (sum, count) = whole.fold((0.0, 0.0), |(sum, count), d| (sum + d, count + 1.0));
        self.cell = sum / f64::max(count, 1.0);
        self.waited = 0;
    }

    fn lose(&mut self) {
        self.bits = 0;
        self.cells.clear();
    }

    /// Reads one cell or passes over one edge; whether there was one.
    fn step(&mut self) -> bool {
        let Some(first) = self.distance(self.next) else {
            return false;
        };
        self.waited += 1;
        if self.waited > PATIENCE {
            self.find_cell();
            self.lose();
        }
        let short = SHORT * self.cell;
        let (bit, length, edges) = if first >= short {
            (false, first, 1)
        } else {
            match self.distance(self.next + 1) {
                Some(second) if second < short => (true, first + second, 2),
                _ => (true, f64::MAX, 1),
            }
        };
        if !(short..2.0 * short).contains(&length) {
            self.lose();
            self.next += 1;
            return true;
        }
        self.cell += FOLLOW * (length - self.cell);
        self.bits = self.bits >> 1 | u128::from(bit) << (BITS - 1);
        self.cells.push(self.next);
        self.next += edges;
        true
    }

    /// The word that ends with the cell just read, if one does.
    fn word(&mut self) -> Option<Heard> {
        if self.cells.len() < BITS {
            return None;
        }
        let last = (self.bits >> 64) as u16;
        // played in reverse the sync word comes first, its last bit first
        let first = (self.bits as u16).reverse_bits();
        let (word, reverse) = if last == SYNC {
            (Word(self.bits as u64), false)
        } else if first == SYNC {
            (Word(((self.bits >> 16) as u64).reverse_bits()), true)
        } else {
            return None;
        };
        self.waited = 0;
        let from = self.cells.len() - BITS;
        let at = |edge: usize| self.edges.at[edge];
        // the edge that begins the code comes from silence, not from the other level: where it lies is not sure
        let unsure = usize::from(self.cells[from] == 0);
        let end = at(self.next);
        let boundaries = self.cells[from..].iter().chain([&self.next]).enumerate();
        let points = boundaries.map(|(cell, edge)| (cell as f64, at(*edge) - end));
        let line = Line::through(points.skip(unsure));
        let half = 0.5 * BITS as f64 * line.slope;
        let centre = end + line.at(0.5 * BITS as f64);
        let edge = if reverse { self.next } else { self.cells[from] };
        let heard = Heard {
            word,
            start: if reverse {
                centre + half
            } else {
                centre - half
            },
            length: 2.0 * half,
            reverse,
            rises: edge.is_multiple_of(2) == self.edges.first_rises,
            sync: 16,
            weak: 0,
            hard: self.edges.are_hard(),
            clean: true,
        };
        // the next word shares no cell with this one
        self.cells.drain(..from + 1);
        Some(heard)
    }
}
