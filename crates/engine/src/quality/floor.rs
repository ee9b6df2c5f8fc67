//! One channel in; its mean, its mean square and the level of its quiet moments out.

use super::classes::Classes;
use crate::signal::{squares, total, widest};
use crate::units::Db;

/// Windows whose levels are sorted, a second.
const WINDOWS_A_SECOND: u32 = 10;
/// What share of the windows lies below the noise floor. Common practice, no source.
const QUIET: f64 = 0.1;
/// The lowest level that is told from silence, dBFS; classes above it are so many dB wide, up to the highest.
const LOWEST: f64 = -200.0;
const STEP: f64 = 0.25;
const HIGHEST: f64 = 40.0;

/// What the meter came to.
pub(super) struct Floor {
    pub(super) rms_dbfs: Option<f64>,
    pub(super) noise_floor_dbfs: Option<f64>,
    pub(super) offset: f64,
}

pub(super) struct FloorMeter {
    window: usize,
    /// Of the window that is not full yet.
    held: Sums,
    whole: Sums,
    levels: Classes,
}

#[derive(Clone, Copy, Default)]
struct Sums {
    samples: u64,
    sum: f64,
    squares: f64,
}

impl Sums {
    fn add(&mut self, other: Self) {
        self.samples += other.samples;
        self.sum += other.sum;
        self.squares += other.squares;
    }
}

impl FloorMeter {
    pub(super) fn new(rate: u32) -> Self {
        Self {
            window: (rate / WINDOWS_A_SECOND).max(1) as usize,
            held: Sums::default(),
            whole: Sums::default(),
            levels: Classes::new(LOWEST, STEP, HIGHEST),
        }
    }

    pub(super) fn add(&mut self, mut samples: &[f64]) {
        while !samples.is_empty() {
            let wanted = self.window - self.held.samples as usize;
            let (now, later) = samples.split_at(wanted.min(samples.len()));
            self.held.add(Sums {
                samples: now.len() as u64,
                sum: widest!(total(now)),
                squares: widest!(squares(now)),
            });
            samples = later;
            if self.held.samples as usize == self.window {
                self.end_window();
            }
        }
    }

    fn end_window(&mut self) {
        let held = std::mem::take(&mut self.held);
        self.whole.add(held);
        self.levels.add(level(held));
    }

    pub(super) fn finish(mut self) -> Floor {
        self.whole.add(self.held);
        let whole = level(self.whole);
        let mean = self.whole.sum / self.whole.samples.max(1) as f64;
        Floor {
            rms_dbfs: (whole > LOWEST).then_some(whole),
            noise_floor_dbfs: self.levels.below_which(LOWEST, QUIET),
            offset: mean,
        }
    }
}

/// The level of what varies: without the mean, which is no sound.
fn level(sums: Sums) -> f64 {
    let n = sums.samples.max(1) as f64;
    let mean = sums.sum / n;
    Db::of_amplitude((sums.squares / n - mean * mean).max(0.0).sqrt()).0
}
