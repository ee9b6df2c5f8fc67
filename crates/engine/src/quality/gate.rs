//! The loudness of tenths of a second in, integrated loudness and loudness range out. Worked out here, because the library's
//! range looks at one window a second, as the first edition of EBU Tech 3342 had it, where the present one asks for ten.
//!
//! ITU-R BS.1770: blocks of 400 ms overlapping by three quarters, those below -70 LUFS left out, then those 10 LU below the
//! mean of the rest. EBU Tech 3342: windows of 3 s, those below -70 LUFS left out, then those 20 LU below the mean of the rest;
//! the range lies between the 10th and the 95th of a hundred.

use super::classes::Classes;

/// Nothing below is counted, LUFS.
const GATE_LUFS: f64 = -70.0;
/// Classes of levels are so wide, LU, and end here, LUFS.
const STEP_LU: f64 = 0.01;
const HIGHEST_LUFS: f64 = 30.0;
/// What BS.1770 adds to ten logarithms of the energy.
const OFFSET_LU: f64 = -0.691;

/// Tenths of a second of a block and of a window.
const BLOCK: usize = 4;
const WINDOW: usize = 30;

pub(super) struct Gate {
    /// Energies of the last tenths, and how many there were in all.
    tenths: [f64; WINDOW],
    seen: usize,
    blocks: Classes,
    windows: Classes,
}

impl Gate {
    pub(super) fn new() -> Self {
        let classes = || Classes::new(GATE_LUFS, STEP_LU, HIGHEST_LUFS);
        Self {
            tenths: [0.0; WINDOW],
            seen: 0,
            blocks: classes(),
            windows: classes(),
        }
    }

    /// Takes the loudness of the next tenth of a second, LUFS; minus infinity for silence.
    pub(super) fn add(&mut self, lufs: f64) {
        self.tenths[self.seen % WINDOW] = energy(lufs);
        self.seen += 1;
        if let Some(block) = self.last(BLOCK) {
            self.blocks.add(block);
        }
        if let Some(window) = self.short_term_lufs() {
            self.windows.add(window);
        }
    }

    /// The loudness of the last 3 s, LUFS; `None` before there were as many.
    pub(super) fn short_term_lufs(&self) -> Option<f64> {
        self.last(WINDOW)
    }

    fn last(&self, many: usize) -> Option<f64> {
        let tenths = self.seen.checked_sub(many)?..self.seen;
        let sum: f64 = tenths.map(|tenth| self.tenths[tenth % WINDOW]).sum();
        Some(loudness(sum / many as f64))
    }

    /// Integrated loudness, LUFS; `None` where nothing is above the gate.
    pub(super) fn integrated_lufs(&self) -> Option<f64> {
        let gate = mean_from(&self.blocks, GATE_LUFS)? - 10.0;
        mean_from(&self.blocks, gate)
    }

    /// Loudness range, LU; `None` where nothing is above the gate for 3 s.
    pub(super) fn range_lu(&self) -> Option<f64> {
        let gate = mean_from(&self.windows, GATE_LUFS)? - 20.0;
        let level = |share| self.windows.below_which(gate, share);
        Some(level(0.95)? - level(0.10)?)
    }
}

/// The loudness of the mean energy of what lies at a level and above.
fn mean_from(classes: &Classes, lufs: f64) -> Option<f64> {
    let classes = classes.from(lufs);
    let (sum, count) = classes.fold((0.0, 0.0), |(sum, all), (level, count)| {
        (sum + count * energy(level), all + count)
    });
    (count > 0.0).then(|| loudness(sum / count))
}

fn loudness(energy: f64) -> f64 {
    OFFSET_LU + 10.0 * energy.log10()
}

fn energy(lufs: f64) -> f64 {
    10.0_f64.powf((lufs - OFFSET_LU) / 10.0)
}
