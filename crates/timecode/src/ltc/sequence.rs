//! A block of samples in, the words of the code most likely in it out: for code under noise, hum or other sound.
//!
//! Every cell begins with a change of level, so the square of the sound's slope holds a line at the rate of the cells.
//! With that rate and the phase at which halves of cells integrate to most, the level in either half follows from a
//! search for the likeliest sequence of two states (Viterbi 1967; Forney 1973): a level before the cell, changed at its
//! beginning always and in its middle for a one. Sync words are then found where they repeat every 80 bits.

use super::edges::Heard;
use super::word::{BITS, SYNC, Word};

/// A shift below this share of the distance of the three it came from is not looked for again.
const NEAR: f64 = 0.1;

/// Phases of a cell that are tried, an even number.
const PHASES: usize = 24;

/// Cells over which the phase is taken for constant.
const SEGMENT: usize = 320;

/// What a step of the phase from one segment to the next costs, as a share of the best segment's score.
const STEP_COST: f64 = 0.02;

/// Words before or behind that a sync word's place is taken from.
const AROUND: usize = 12;

/// Sync bits that must be right in the mean around a word, and in the word, of 16; chance gives 8.
const SYNC_RIGHT: (f64, u8) = (12.0, 11);

/// A cell as it was most likely sent.
#[derive(Debug, Clone, Copy)]
struct Cell {
    one: bool,
    /// The level in its first half.
    high: bool,
    /// By how much the best way with this bit is ahead of the best with the other.
    margin: f64,
}

/// A bit may be the other way round when its margin is below this share of the word's median.
const WEAK: f64 = 0.5;

/// Every way through a cell whose halves sum to these: the level before it (0 low), the bit, the level behind it, the sum.
fn ways([a, b]: [f64; 2]) -> [(usize, bool, usize, f64); 4] {
    // the level changes at the beginning always
    [
        (0, false, 1, a + b),
        (0, true, 0, a - b),
        (1, false, 0, -a - b),
        (1, true, 1, b - a),
    ]
}

/// A block read at one length of a cell.
pub(super) struct Sequence<'a> {
    /// Sums of all samples before each.
    sums: &'a [f64],
    cell: f64,
    /// Where each cell begins.
    begins: Vec<f64>,
    cells: Vec<Cell>,
}

/// The sums of all samples before each, and of all.
pub(super) fn sums(sound: &[f32]) -> Vec<f64> {
    let mut sum = 0.0;
    let behind = sound.iter().map(|x| {
        sum += f64::from(*x);
        sum
    });
    std::iter::once(0.0).chain(behind).collect()
}

impl<'a> Sequence<'a> {
    /// Reads the sound of these [`sums`].
    pub(super) fn new(sums: &'a [f64], cell: f64) -> Self {
        let mut sequence = Self {
            sums,
            cell,
            begins: Vec::new(),
            cells: Vec::new(),
        };
        sequence.begins = sequence.phases();
        sequence.cells = sequence.likeliest();
        sequence
    }

    /// The sum of the samples before a position.
    fn before(&self, position: f64) -> f64 {
        let last = self.sums.len() - 1;
        let at = (position.max(0.0) as usize).min(last.saturating_sub(1));
        let share = (position - at as f64).clamp(0.0, 1.0);
        let next = self.sums[(at + 1).min(last)];
        self.sums[at] + share * (next - self.sums[at])
    }

    /// The sums over the two halves of a cell.
    fn halves(&self, begin: f64) -> [f64; 2] {
        let middle = self.before(begin + 0.5 * self.cell);
        [
            middle - self.before(begin),
            self.before(begin + self.cell) - middle,
        ]
    }

    /// Where each cell begins: for every segment the phase at which its cells hold most and change at their beginnings, on
    /// a path through all segments that steps little.
    fn phases(&self) -> Vec<f64> {
        let cells = ((self.sums.len() - 1) as f64 / self.cell) as usize;
        let cells = cells.saturating_sub(1);
        let segments = cells / SEGMENT;
        if segments == 0 {
            return Vec::new();
        }
        let grid: Vec<f64> = (0..=(segments * SEGMENT + 1) * PHASES)
            .map(|at| self.before(at as f64 * self.cell / PHASES as f64))
            .collect();
        let scores: Vec<[f64; PHASES]> = (0..segments)
            .map(|segment| Self::scores(&grid[segment * SEGMENT * PHASES..]))
            .collect();
        let most = scores.iter().flatten().copied().fold(0.0, f64::max);
        let path = smooth_path(&scores, STEP_COST * most);
        let shift = |segment: usize| self.cell * path[segment] / PHASES as f64;
        (0..cells)
            .map(|cell| {
                // straight between the middles of segments
                let along = (cell as f64 / SEGMENT as f64 - 0.5).clamp(0.0, segments as f64 - 1.0);
                let segment = (along as usize).min(segments.saturating_sub(2));
                let next = (segment + 1).min(segments - 1);
                let share = along - segment as f64;
                cell as f64 * self.cell + shift(segment) + share * (shift(next) - shift(segment))
            })
            .collect()
    }

    /// How well each phase suits the cells of a segment, `sums` those before each of its phases.
    fn scores(sums: &[f64]) -> [f64; PHASES] {
        let mut scores = [0.0; PHASES];
        for (phase, score) in scores.iter_mut().enumerate() {
            let (mut held, mut flips, mut size) = (0.0, 0.0, 1e-30);
            let mut last = 0.0;
            for cell in 0..SEGMENT {
                let at = cell * PHASES + phase;
                let middle = sums[at + PHASES / 2];
                let (a, b) = (middle - sums[at], sums[at + PHASES] - middle);
                held += (a + b).abs().max((a - b).abs());
                flips -= last * a;
                size += f64::abs(last * a);
                last = b;
            }
            *score = held * (1.0 + 0.5 * flips / size);
        }
        scores
    }

    /// The likeliest bits: the best way through the levels before every cell, from both ends at once.
    fn likeliest(&self) -> Vec<Cell> {
        let halves: Vec<[f64; 2]> = self
            .begins
            .iter()
            .map(|begin| self.halves(*begin))
            .collect();
        // the best sums of all cells before each, by the level before it
        let mut ahead = vec![[0.0_f64; 2]; halves.len() + 1];
        for (cell, halves) in halves.iter().enumerate() {
            let mut next = [f64::MIN; 2];
            for (before, _, after, value) in ways(*halves) {
                next[after] = next[after].max(ahead[cell][before] + value);
            }
            ahead[cell + 1] = next;
        }
        let mut behind = [0.0_f64; 2];
        let mut cells: Vec<Cell> = Vec::with_capacity(halves.len());
        let mut level = None;
        for (cell, halves) in halves.iter().enumerate().rev() {
            let mut next = [f64::MIN; 2];
            let mut best = [f64::MIN; 2];
            let mut chosen = (f64::MIN, 0, false);
            for (before, one, after, value) in ways(*halves) {
                next[before] = next[before].max(value + behind[after]);
                let whole = ahead[cell][before] + value + behind[after];
                best[usize::from(one)] = best[usize::from(one)].max(whole);
                let fits = level.is_none_or(|level| level == after);
                if fits && ahead[cell][before] + value > chosen.0 {
                    chosen = (ahead[cell][before] + value, before, one);
                }
            }
            behind = next;
            level = Some(chosen.1);
            cells.push(Cell {
                one: chosen.2,
                high: chosen.1 == 0,
                margin: (best[1] - best[0]).abs(),
            });
        }
        cells.reverse();
        cells
    }

    pub(super) fn words(&self) -> Vec<Heard> {
        let bits: Vec<bool> = self.cells.iter().map(|cell| cell.one).collect();
        let count = bits.len().saturating_sub(16);
        let right = |first: usize, reverse: bool| {
            (0..16).fold(0_u8, |sum, i| {
                let sync = SYNC >> (if reverse { 15 - i } else { i }) & 1 == 1;
                sum + u8::from(bits[first + i] == sync)
            })
        };
        let both = [false, true]
            .map(|reverse| -> Vec<u8> { (0..count).map(|first| right(first, reverse)).collect() });
        (0..count / BITS)
            .filter_map(|slot| {
                let last = count / BITS - 1;
                // where the code begins or ends one side holds none of it
                let sides = [
                    slot.saturating_sub(AROUND)..=slot,
                    slot..=(slot + AROUND).min(last),
                ];
                let mut best = (0.0, 0, 0);
                for (reverse, right) in both.iter().enumerate() {
                    for side in sides.clone() {
                        let mut sums = [0_u16; BITS];
                        let slots = side.clone().count() as f64;
                        for slot in side {
                            let places = &right[slot * BITS..(slot + 1) * BITS];
                            sums.iter_mut()
                                .zip(places)
                                .for_each(|(sum, r)| *sum += u16::from(*r));
                        }
                        for (place, sum) in sums.into_iter().enumerate() {
                            let mean = f64::from(sum) / slots;
                            if mean > best.0 {
                                best = (mean, reverse, place);
                            }
                        }
                    }
                }
                let (mean, reverse, place) = best;
                let sync = both[reverse][slot * BITS + place];
                let clear = mean >= SYNC_RIGHT.0 && sync >= SYNC_RIGHT.1;
                let first = slot * BITS + place;
                let first = if reverse == 1 {
                    Some(first)
                } else {
                    first.checked_sub(64)
                };
                let first = first.filter(|first| clear && first + BITS <= bits.len())?;
                Some(self.word(first, reverse == 1, sync))
            })
            .collect()
    }

    /// The word whose cells begin with number `first`.
    fn word(&self, first: usize, reverse: bool, sync: u8) -> Heard {
        let cells = &self.cells[first..first + BITS];
        let mut margins: Vec<f64> = cells.iter().map(|cell| cell.margin).collect();
        margins.sort_by(f64::total_cmp);
        let weak = WEAK * margins[BITS / 2];
        // bits in the order of the word
        let of_word = |is: &dyn Fn(&Cell) -> bool| {
            let from = if reverse { 16 } else { 0 };
            let bits = cells[from..from + 64].iter().rev();
            let value = bits.fold(0_u64, |all, cell| all << 1 | u64::from(is(cell)));
            if reverse { value.reverse_bits() } else { value }
        };
        let begins = &self.begins[first..first + BITS];
        let shift = self.best_shift(begins, cells);
        // a sample stands in the middle of what it adds to the sums
        let from = begins[0] + shift - 0.5;
        let length = (begins[BITS - 1] - begins[0]) * BITS as f64 / (BITS - 1) as f64;
        let (first, last) = (cells[0], cells[BITS - 1]);
        Heard {
            word: Word(of_word(&|cell| cell.one)),
            weak: of_word(&|cell| cell.margin < weak),
            start: if reverse { from + length } else { from },
            length,
            reverse,
            // behind the last cell the level changes from that of its second half
            rises: if reverse {
                last.high == last.one
            } else {
                first.high
            },
            sync,
            hard: false,
            clean: false,
        }
    }

    /// By how much later the word's cells fit best: the vertex of a parabola through three shifts, twice.
    fn best_shift(&self, begins: &[f64], cells: &[Cell]) -> f64 {
        let fit = |shift: f64| {
            begins
                .iter()
                .zip(cells)
                .map(|(begin, cell)| {
                    let [a, b] = self.halves(begin + shift);
                    let first = if cell.high { 1.0 } else { -1.0 };
                    first * (if cell.one { a - b } else { a + b })
                })
                .sum::<f64>()
        };
        let by = self.cell / 8.0;
        let mut shift = 0.0;
        for _ in 0..2 {
            let [early, here, late] = [shift - by, shift, shift + by].map(fit);
            let bend = early - 2.0 * here + late;
            let more = if bend < 0.0 {
                0.5 * by * (early - late) / bend
            } else {
                0.0
            };
            shift += more.clamp(-by, by);
            if more.abs() < NEAR * by {
                break;
            }
        }
        shift
    }
}

/// A phase for every segment, in steps of a cell's share and not wrapped, whose scores sum to most less what steps cost.
fn smooth_path(scores: &[[f64; PHASES]], cost: f64) -> Vec<f64> {
    let step = |from: usize, to: usize| {
        let phases = PHASES as isize;
        let by = (to as isize - from as isize).rem_euclid(phases);
        if by > phases / 2 { by - phases } else { by }
    };
    let mut sums = scores.first().copied().unwrap_or([0.0; PHASES]);
    let mut came: Vec<[usize; PHASES]> = Vec::with_capacity(scores.len());
    for score in scores.iter().skip(1) {
        let mut next = [0.0; PHASES];
        let mut from = [0; PHASES];
        for (to, (next, from)) in next.iter_mut().zip(&mut from).enumerate() {
            let best = (0..PHASES)
                .map(|before| {
                    (
                        before,
                        sums[before] - cost * step(before, to).unsigned_abs() as f64,
                    )
                })
                .max_by(|a, b| a.1.total_cmp(&b.1));
            let (before, sum) = best.unwrap_or((to, 0.0));
            (*next, *from) = (sum + score[to], before);
        }
        sums = next;
        came.push(from);
    }
    let best = |sums: &[f64; PHASES]| {
        let indices = 0..PHASES;
        indices
            .max_by(|a, b| sums[*a].total_cmp(&sums[*b]))
            .unwrap_or(0)
    };
    let mut path = vec![best(&sums)];
    for from in came.iter().rev() {
        path.push(from[path[path.len() - 1]]);
    }
    path.reverse();
    let mut place = path[0] as f64;
    let mut places = vec![place];
    for pair in path.windows(2) {
        place += step(pair[0], pair[1]) as f64;
        places.push(place);
    }
    places
}
