//! One channel in, its largest value between samples out (ITU-R BS.1770 annex 2), by a library that is only asked where a
//! new maximum is possible.

use ebur128::{Channel, EbuR128, Mode};

use super::keep_last;
use crate::signal::{largest, widest};
use crate::units::Db;

/// Samples that are judged together.
const BLOCK: usize = 1024;
/// Samples before a block that reach into it through the library's interpolation.
const REACH: usize = 64;
/// No value between samples is larger than so many times the largest sample around it: the interpolation's coefficients of
/// any phase add up to less.
const BETWEEN: f64 = 3.0;

pub(super) struct PeakMeter {
    state: EbuR128,
    before: [f64; REACH],
    /// Whether the library heard what came before.
    listening: bool,
    largest: f64,
}

impl PeakMeter {
    /// A meter at `rate` samples a second; `None` for rates that the library does not take.
    pub(super) fn new(rate: u32) -> Option<Self> {
        let mut state = EbuR128::new(1, rate, Mode::TRUE_PEAK).ok()?;
        state.set_channel(0, Channel::Left).ok()?;
        Some(Self {
            state,
            before: [0.0; REACH],
            listening: false,
            largest: 0.0,
        })
    }

    /// Takes the next samples, numbers all of them.
    pub(super) fn add(&mut self, samples: &[f64]) {
        for block in samples.chunks(BLOCK) {
            let most = widest!(largest(block)).max(largest(&self.before));
            if most * BETWEEN > self.largest {
                self.listen(block);
            } else {
                self.listening = false;
            }
            keep_last(&mut self.before, block);
        }
    }

    fn listen(&mut self, block: &[f64]) {
        if !self.listening {
            // beginning afresh, the step from nothing to what came before stays below the largest: that was not heard
            // because it is far below
            self.state.reset();
            let _ = self.state.add_frames_f64(&self.before);
            self.listening = true;
        }
        // it refuses no number of samples
        let _ = self.state.add_frames_f64(block);
        let peak = self.state.true_peak(0).unwrap_or(0.0);
        self.largest = self.largest.max(peak);
    }

    /// In dBTP; `None` for silence.
    pub(super) fn finish(&self) -> Option<f64> {
        (self.largest > 0.0).then(|| Db::of_amplitude(self.largest).0)
    }
}
