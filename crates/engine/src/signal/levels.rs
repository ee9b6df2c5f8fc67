//! One channel's samples in, what can be said of its level out: peak, mean square, values that are no numbers, runs of
//! digital silence. In pieces of any size; memory does not grow with the length.

use serde::Serialize;

use super::widest;

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

/// Running sums and peaks side by side: eight doubles are one or two vectors on every processor.
const LANES: usize = 8;

/// Gathers [`Levels`].
#[derive(Debug, Clone)]
pub struct LevelMeter {
    levels: Levels,
    /// Sums of squares; a sample's lane is its position, so that the result does not depend on how it is cut.
    sums: [f64; LANES],
    run: u64,
    shortest_run: u64,
}

impl LevelMeter {
    /// A meter to which exact zeros are digital silence from `shortest_run` in a row on.
    #[must_use]
    pub fn new(shortest_run: u64) -> Self {
        Self {
            levels: Levels::default(),
            sums: [0.0; LANES],
            run: 0,
            shortest_run: shortest_run.max(1),
        }
    }

    /// Takes the next samples.
    pub fn add(&mut self, samples: &[f64]) {
        let lane = (self.levels.samples % LANES as u64) as usize;
        let (head, rest) = samples.split_at(((LANES - lane) % LANES).min(samples.len()));
        self.add_each(head);
        let (blocks, tail) = rest.as_chunks::<LANES>();
        for group in blocks.chunks(64) {
            if !widest!(self.add_plain(group)) {
                self.add_each(group.as_flattened());
            }
        }
        self.add_each(tail);
    }

    /// Takes samples among which there is no zero and none that is not finite, which is nearly all; otherwise takes none
    /// and says so.
    #[inline(always)]
    fn add_plain(&mut self, blocks: &[[f64; LANES]]) -> bool {
        let mut sums = self.sums;
        let mut peaks = [0.0_f64; LANES];
        let mut least = [f64::INFINITY; LANES];
        for block in blocks {
            for lane in 0..LANES {
                let magnitude = block[lane].abs();
                sums[lane] += block[lane] * block[lane];
                // what is no number is seen in the sums
                peaks[lane] = if magnitude > peaks[lane] {
                    magnitude
                } else {
                    peaks[lane]
                };
                least[lane] = if magnitude < least[lane] {
                    magnitude
                } else {
                    least[lane]
                };
            }
        }
        let plain =
            sums.iter().all(|sum| sum.is_finite()) && least.iter().all(|least| *least > 0.0);
        let peak = peaks.into_iter().fold(0.0, f64::max);
        // the place of a new peak, and how many reach full scale, are looked for one by one
        if !plain || self.run > 0 || peak > self.levels.peak || peak >= 1.0 {
            return false;
        }
        self.sums = sums;
        self.levels.samples += (blocks.len() * LANES) as u64;
        true
    }

    fn add_each(&mut self, samples: &[f64]) {
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
                    self.sums[(levels.samples % LANES as u64) as usize] += value * value;
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
            self.sums.iter().sum::<f64>() / counted as f64
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
    fn however_it_is_cut_it_comes_to_the_same() {
        // noise with zeros, a peak, values at full scale and one that is no number
        let mut samples: Vec<f64> = (0..5000_i64)
            .map(|i| ((i * 7919 + 13) % 1009) as f64 / 1010.0 - 0.4)
            .collect();
        samples[1000..1200].fill(0.0);
        samples[2000] = f64::NAN;
        samples[3000] = -1.5;
        samples[3001] = 1.0;
        let by = |length: usize| {
            let mut meter = LevelMeter::new(50);
            samples.chunks(length).for_each(|piece| meter.add(piece));
            meter.finish()
        };
        let one_by_one = by(1);
        assert_eq!(one_by_one.peak_at, 3000);
        assert_eq!((one_by_one.at_full_scale, one_by_one.not_finite), (2, 1));
        assert_eq!(one_by_one.silences, [[1000, 200]]);
        for length in [3, 8, 511, 512, 513, 5000] {
            assert_eq!(by(length), one_by_one, "{length}");
        }
    }

    #[test]
    fn nothing_is_silent() {
        assert_eq!(LevelMeter::new(1).finish(), Levels::default());
    }
}
