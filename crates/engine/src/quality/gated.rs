//! One channel in, its integrated loudness and its loudness range out. The weighting filter is the library's; the gates are
//! worked out here from tenths of a second, because the library's range looks at one window a second, as the first edition
//! of EBU Tech 3342 had it, where the present one asks for ten.
//!
//! ITU-R BS.1770: blocks of 400 ms overlapping by three quarters, those below -70 LUFS left out, then those 10 LU below the
//! mean of the rest. EBU Tech 3342: windows of 3 s, those below -70 LUFS left out, then those 20 LU below the mean of the rest;
//! the range lies between the 10th and the 95th of a hundred.

use ebur128::{Channel, EbuR128, Mode};

/// Nothing below is counted, LUFS.
const GATE_LUFS: f64 = -70.0;
/// Classes of levels are so wide, LU.
const STEP_LU: f64 = 0.01;
/// Classes up to +30 LUFS.
const CLASSES: usize = 10_000;
/// What BS.1770 adds to ten logarithms of the energy.
const OFFSET_LU: f64 = -0.691;

/// Tenths of a second of a block and of a window.
const BLOCK: usize = 4;
const WINDOW: usize = 30;

pub(super) struct GatedMeter {
    state: EbuR128,
    tenth: usize,
    /// Samples of the tenth that is not full yet.
    held: usize,
    /// Energies of the last tenths, and how many there were in all.
    tenths: [f64; WINDOW],
    seen: usize,
    blocks: Classes,
    windows: Classes,
}

impl GatedMeter {
    /// A meter at `rate` samples a second; `None` for rates that the library does not take.
    pub(super) fn new(rate: u32) -> Option<Self> {
        let mut state = EbuR128::new(1, rate, Mode::M).ok()?;
        state.set_channel(0, Channel::Left).ok()?;
        Some(Self {
            state,
            tenth: (rate / 10).max(1) as usize,
            held: 0,
            tenths: [0.0; WINDOW],
            seen: 0,
            blocks: Classes::new(),
            windows: Classes::new(),
        })
    }

    /// Takes the next samples, numbers all of them.
    pub(super) fn add(&mut self, mut samples: &[f64]) {
        while !samples.is_empty() {
            let (now, later) = samples.split_at((self.tenth - self.held).min(samples.len()));
            // it refuses no number of samples
            let _ = self.state.add_frames_f64(now);
            self.held += now.len();
            samples = later;
            if self.held == self.tenth {
                self.held = 0;
                self.end_tenth();
            }
        }
    }

    fn end_tenth(&mut self) {
        let loudness = self.state.loudness_window(100).unwrap_or(f64::NEG_INFINITY);
        self.tenths[self.seen % WINDOW] = energy(loudness);
        self.seen += 1;
        let mean = |many: usize| {
            let last = (self.seen - many..self.seen).map(|tenth| self.tenths[tenth % WINDOW]);
            last.sum::<f64>() / many as f64
        };
        if self.seen >= BLOCK {
            self.blocks.add(mean(BLOCK));
        }
        if self.seen >= WINDOW {
            self.windows.add(mean(WINDOW));
        }
    }

    /// Integrated loudness, LUFS; `None` where nothing is above the gate.
    pub(super) fn integrated_lufs(&self) -> Option<f64> {
        let gate = loudness(self.blocks.mean_from(GATE_LUFS)?) - 10.0;
        self.blocks.mean_from(gate).map(loudness)
    }

    /// Loudness range, LU; `None` where nothing is above the gate for 3 s.
    pub(super) fn range_lu(&self) -> Option<f64> {
        let gate = loudness(self.windows.mean_from(GATE_LUFS)?) - 20.0;
        let level = |part| self.windows.level_below_which(gate, part);
        Some(level(0.95)? - level(0.10)?)
    }
}

/// How many levels fall into each class.
struct Classes(Vec<u32>);

impl Classes {
    fn new() -> Self {
        Self(vec![0; CLASSES])
    }

    fn add(&mut self, energy: f64) {
        let class = (loudness(energy) - GATE_LUFS) / STEP_LU;
        if class >= 0.0 {
            self.0[(class as usize).min(CLASSES - 1)] += 1;
        }
    }

    /// The classes from a level on: middle and number.
    fn from(&self, lufs: f64) -> impl Iterator<Item = (f64, f64)> {
        let first = ((lufs - GATE_LUFS) / STEP_LU).ceil().max(0.0) as usize;
        let classes = self.0.iter().enumerate().skip(first);
        classes
            .map(|(class, &count)| (GATE_LUFS + (class as f64 + 0.5) * STEP_LU, f64::from(count)))
    }

    /// The mean energy of what lies at a level and above.
    fn mean_from(&self, lufs: f64) -> Option<f64> {
        let (sum, count) = self
            .from(lufs)
            .fold((0.0, 0.0), |(sum, all), (level, count)| {
                (sum + count * energy(level), all + count)
            });
        (count > 0.0).then(|| sum / count)
    }

    /// The level that a part of what lies at `lufs` and above stays below.
    fn level_below_which(&self, lufs: f64, part: f64) -> Option<f64> {
        let wanted = part * self.from(lufs).map(|(_, count)| count).sum::<f64>();
        let mut below = 0.0;
        self.from(lufs).find_map(|(level, count)| {
            below += count;
            (below >= wanted && below > 0.0).then_some(level)
        })
    }
}

fn loudness(energy: f64) -> f64 {
    OFFSET_LU + 10.0 * energy.log10()
}

fn energy(lufs: f64) -> f64 {
    10.0_f64.powf((lufs - OFFSET_LU) / 10.0)
}
