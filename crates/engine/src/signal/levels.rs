//! One channel's samples in, what can be said of its level out: peak, mean square, values that are no numbers, runs of
//! digital silence. In pieces of any size; memory does not grow with the length.

use serde::Serialize;

/// Runs of digital silence that are kept one by one; beyond that they are only counted.
const MOST_RUNS: usize = 100;

/// What a channel's samples came to. Full scale is 1.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Levels {
    /// How many samples were seen.
    pub samples: u64,
    /// The largest magnitude, NaN and infinity left out.
    pub peak: f64,
    /// Where the largest magnitude stands first, samples from the start.
    pub peak_at: u64,
    /// The mean of the squares, NaN and infinity left out.
    pub mean_square: f64,
    /// Values of magnitude 1 and above.
    pub at_full_scale: u64,
    /// NaN and infinite values.
    pub not_finite: u64,
    /// Runs of exact zeros of at least the length asked for: position of the first and number; the first hundred.
    pub silences: Vec<[u64; 2]>,
    /// How many such runs there are in all.
    pub silence_runs: u64,
    /// How many samples lie in them.
    pub silent_samples: u64,
}

/// Gathers [`Levels`].
#[derive(Debug, Clone)]
pub struct LevelMeter {
    levels: Levels,
    sum: f64,
    run: u64,
    shortest_run: u64,
}

impl LevelMeter {
    /// A meter to which exact zeros are digital silence from `shortest_run` in a row on.
    #[must_use]
    pub fn new(shortest_run: u64) -> Self {
        Self {
            levels: Levels::default(),
            sum: 0.0,
            run: 0,
            shortest_run: shortest_run.max(1),
        }
    }

    /// Takes the next samples.
    pub fn add(&mut self, samples: &[f64]) {
        let levels = &mut self.levels;
        for &value in samples {
            let magnitude = value.abs();
            if value == 0.0 {
                self.run += 1;
            } else {
                if self.run > 0 {
                    end_run(levels, self.run, self.shortest_run);
                    self.run = 0;
                }
                if magnitude.is_finite() {
                    self.sum += value * value;
                    levels.at_full_scale += u64::from(magnitude >= 1.0);
                    if magnitude > levels.peak {
                        levels.peak = magnitude;
                        levels.peak_at = levels.samples;
                    }
                } else {
                    levels.not_finite += 1;
                }
            }
            levels.samples += 1;
        }
    }

    /// What it came to.
    #[must_use]
    pub fn finish(mut self) -> Levels {
        if self.run > 0 {
            end_run(&mut self.levels, self.run, self.shortest_run);
        }
        let counted = self.levels.samples - self.levels.not_finite;
        self.levels.mean_square = if counted > 0 {
            self.sum / counted as f64
        } else {
            0.0
        };
        self.levels
    }
}

/// A run of `run` zeros ended just before the sample that is counted next.
fn end_run(levels: &mut Levels, run: u64, shortest: u64) {
    if run < shortest {
        return;
    }
    levels.silence_runs += 1;
    levels.silent_samples += run;
    if levels.silences.len() < MOST_RUNS {
        levels.silences.push([levels.samples - run, run]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_one_can_check_by_hand() {
        let samples = [0.5, 0.0, 0.0, 0.0, -1.0, f64::NAN, 0.0, 0.25, 0.0, 0.0];
        let mut meter = LevelMeter::new(2);
        for piece in samples.chunks(3) {
            meter.add(piece);
        }
        let levels = meter.finish();
        assert_eq!((levels.peak, levels.peak_at), (1.0, 4));
        assert_eq!(levels.silences, [[1, 3], [8, 2]]);
        assert_eq!((levels.silence_runs, levels.silent_samples), (2, 5));
        assert_eq!(
            (levels.not_finite, levels.at_full_scale, levels.samples),
            (1, 1, 10)
        );
        // (0.25 + 1 + 0.0625) / 9
        assert!((levels.mean_square - 1.3125 / 9.0).abs() < 1e-15);
    }

    #[test]
    fn nothing_is_silent() {
        assert_eq!(LevelMeter::new(1).finish(), Levels::default());
    }
}
