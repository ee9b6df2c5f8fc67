//! One channel in; its mean, its mean square and the level of its quiet moments out.

use crate::units::Db;

/// Windows whose levels are sorted, a second.
const WINDOWS_A_SECOND: u32 = 10;
/// What share of the windows lies below the noise floor. Common practice, no source.
const QUIET: f64 = 0.1;
/// The lowest level that is told from silence, dBFS; classes above it are so many dB wide.
const LOWEST: f64 = -200.0;
const STEP: f64 = 0.25;
/// Classes up to +40 dBFS.
const CLASSES: usize = 960;

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
    classes: Vec<u32>,
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
            classes: vec![0; CLASSES],
        }
    }

    pub(super) fn add(&mut self, mut samples: &[f64]) {
        while !samples.is_empty() {
            let wanted = self.window - self.held.samples as usize;
            let (now, later) = samples.split_at(wanted.min(samples.len()));
            self.held.add(sums(now));
            samples = later;
            if self.held.samples as usize == self.window {
                self.end_window();
            }
        }
    }

    fn end_window(&mut self) {
        let held = std::mem::take(&mut self.held);
        self.whole.add(held);
        let level = level(held);
        if level > LOWEST {
            let class = ((level - LOWEST) / STEP) as usize;
            self.classes[class.min(CLASSES - 1)] += 1;
        }
    }

    pub(super) fn finish(mut self) -> Floor {
        let windows: u32 = self.classes.iter().sum();
        let wanted = f64::from(windows) * QUIET;
        let mut below = 0.0;
        let floor = self.classes.iter().position(|&class| {
            below += f64::from(class);
            below >= wanted && windows > 0
        });
        self.whole.add(self.held);
        let whole = level(self.whole);
        let mean = self.whole.sum / self.whole.samples.max(1) as f64;
        Floor {
            rms_dbfs: (whole > LOWEST).then_some(whole),
            noise_floor_dbfs: floor.map(|class| LOWEST + (class as f64 + 0.5) * STEP),
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

/// Values that are no numbers are left out.
fn sums(samples: &[f64]) -> Sums {
    let mut lanes = [(0.0, 0.0); 8];
    let (blocks, rest) = samples.as_chunks::<8>();
    for block in blocks {
        for (lane, value) in lanes.iter_mut().zip(block) {
            lane.0 += value;
            lane.1 += value * value;
        }
    }
    let rest = rest.iter().map(|value| (*value, value * value));
    let both = lanes.into_iter().chain(rest);
    let (mut sum, mut squares) =
        both.fold((0.0, 0.0), |sums, lane| (sums.0 + lane.0, sums.1 + lane.1));
    if !squares.is_finite() {
        let numbers = || samples.iter().filter(|value| value.is_finite());
        sum = numbers().sum();
        squares = numbers().map(|x| x * x).sum();
    }
    Sums {
        samples: samples.len() as u64,
        sum,
        squares,
    }
}
