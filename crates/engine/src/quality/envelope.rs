//! One channel in, how loud it was along its length out: peak and mean square of equal stretches, at most a thousand or so
//! whatever the length.

use crate::signal::{largest, squares, widest};

/// A stretch at the beginning: a hundredth of a second.
const FIRST_A_SECOND: u32 = 100;
/// When there are so many stretches, every two become one.
const MOST: usize = 1024;

/// How loud a channel was along its length.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Envelope {
    /// Samples of a stretch; the last may have fewer.
    pub stretch: u64,
    /// The stretches, in order.
    pub cells: Vec<Loud>,
}

/// How loud a stretch was, full scale being 1.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Loud {
    /// The largest sample.
    pub peak: f64,
    /// The mean of the squares.
    pub mean_square: f64,
}

/// Gathers an [`Envelope`].
pub(super) struct EnvelopeMeter {
    stretch: u64,
    /// Peak and sum of squares of every full stretch.
    full: Vec<(f64, f64)>,
    /// Of the stretch that is not full yet, with its samples.
    held: (f64, f64),
    samples: u64,
}

impl EnvelopeMeter {
    pub(super) fn new(rate: u32) -> Self {
        Self {
            stretch: u64::from((rate / FIRST_A_SECOND).max(1)),
            full: Vec::with_capacity(MOST),
            held: (0.0, 0.0),
            samples: 0,
        }
    }

    pub(super) fn add(&mut self, mut samples: &[f64]) {
        while !samples.is_empty() {
            let wanted = (self.stretch - self.samples) as usize;
            let (now, later) = samples.split_at(wanted.min(samples.len()));
            self.held = both(self.held, widest!((largest(now), squares(now))));
            self.samples += now.len() as u64;
            samples = later;
            if self.samples == self.stretch {
                self.full.push(std::mem::take(&mut self.held));
                self.samples = 0;
                if self.full.len() == MOST {
                    self.halve();
                }
            }
        }
    }

    fn halve(&mut self) {
        let pairs = self.full.as_chunks::<2>().0;
        self.full = pairs.iter().map(|[a, b]| both(*a, *b)).collect();
        self.stretch *= 2;
    }

    pub(super) fn finish(self) -> Envelope {
        let loud = |(peak, squares): (f64, f64), samples: u64| Loud {
            peak,
            mean_square: squares / samples as f64,
        };
        let full = self.full.into_iter();
        let mut cells: Vec<Loud> = full.map(|cell| loud(cell, self.stretch)).collect();
        if self.samples > 0 {
            cells.push(loud(self.held, self.samples));
        }
        Envelope {
            stretch: self.stretch,
            cells,
        }
    }
}

fn both(a: (f64, f64), b: (f64, f64)) -> (f64, f64) {
    (a.0.max(b.0), a.1 + b.1)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Silence, then 1 s at a half, then 1 s of a sine's worth of squares, in pieces of odd sizes; over lengths that are
    /// halved never and often.
    #[test]
    fn peaks_and_squares_stay_what_they_were_however_long_it_is() {
        let rate = 1000;
        for seconds in [1, 9, 300, 4000] {
            let mut meter = EnvelopeMeter::new(rate);
            let length = seconds * rate as usize;
            let value = |at: usize| match at * 4 / length {
                0 => 0.0,
                1 => 0.5,
                _ if at.is_multiple_of(2) => -0.25,
                _ => 0.25,
            };
            let samples: Vec<f64> = (0..length).map(value).collect();
            samples.chunks(777).for_each(|part| meter.add(part));
            let envelope = meter.finish();
            let cells = &envelope.cells;
            assert!(cells.len() <= MOST, "{}", cells.len());
            assert_eq!(
                cells.len() as u64,
                (length as u64).div_ceil(envelope.stretch)
            );
            // the squares of all stretches are those of all samples
            let last = length as u64 - (cells.len() as u64 - 1) * envelope.stretch;
            let sum: f64 = cells
                .iter()
                .enumerate()
                .map(|(place, cell)| {
                    let samples = if place + 1 == cells.len() {
                        last
                    } else {
                        envelope.stretch
                    };
                    cell.mean_square * samples as f64
                })
                .sum();
            let meant: f64 = samples.iter().map(|value| value * value).sum();
            assert!((sum / meant - 1.0).abs() < 1e-9, "{sum} {meant}");
            for (place, cell) in cells.iter().enumerate() {
                let from = place * envelope.stretch as usize;
                let until = (from + envelope.stretch as usize).min(length);
                let peak = samples[from..until]
                    .iter()
                    .fold(0.0_f64, |peak, value| peak.max(value.abs()));
                assert_eq!(cell.peak, peak, "{seconds} s, stretch {place}");
            }
        }
    }
}
