//! Channels in, their loudness together out: ITU-R BS.1770 and EBU Tech 3341 and 3342, the weighting filter and the values
//! between samples by a library, with every channel of weight 1, because channels are microphones without a place around a
//! listener.

use ebur128::{Channel, EbuR128, Mode};
use serde::{Deserialize, Serialize};

use super::gate::Gate;
use crate::units::Db;

/// What a file came to. Absent values could not be measured: nothing above the gate, or too short.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Loudness {
    /// Integrated loudness, LUFS.
    pub integrated_lufs: Option<f64>,
    /// Loudness range, LU.
    pub range_lu: Option<f64>,
    /// The largest true peak of all channels, dBTP.
    pub true_peak_dbtp: Option<f64>,
    /// The loudest 400 ms, LUFS.
    pub momentary_lufs: Option<f64>,
    /// The loudest 3 s, LUFS.
    pub short_term_lufs: Option<f64>,
}

/// Gathers [`Loudness`].
pub struct LoudnessMeter {
    state: EbuR128,
    channels: usize,
    /// Samples between two looks, and looks in a tenth of a second.
    step: u64,
    looks: u64,
    samples: u64,
    gate: Gate,
    momentary: f64,
    short_term: f64,
}

/// Looks in a tenth of a second at the momentary window: Tech 3341, table 1, case 13 has bursts as long as the window that
/// begin on multiples of 20 ms.
const LOOKS: u64 = 5;

impl LoudnessMeter {
    /// A meter for `channels` together at `rate` samples a second; `None` for more channels than the library takes.
    #[must_use]
    pub fn new(channels: usize, rate: u32) -> Option<Self> {
        Self::looking(channels, rate, LOOKS, Mode::M | Mode::TRUE_PEAK)
    }

    /// A meter for one channel that leaves true peak and momentary loudness out, which take most of the time.
    pub(super) fn gated(rate: u32) -> Option<Self> {
        Self::looking(1, rate, 1, Mode::M)
    }

    fn looking(channels: usize, rate: u32, looks: u64, mode: Mode) -> Option<Self> {
        let mut state = EbuR128::new(u32::try_from(channels).ok()?, rate, mode).ok()?;
        state.set_channel_map(&vec![Channel::Left; channels]).ok()?;
        Some(Self {
            state,
            channels,
            step: (u64::from(rate) / (10 * looks)).max(1),
            looks,
            samples: 0,
            gate: Gate::new(),
            momentary: f64::NEG_INFINITY,
            short_term: f64::NEG_INFINITY,
        })
    }

    /// Takes the next samples of every channel. The same result however they are divided.
    pub fn add(&mut self, planes: &[&[f64]]) {
        let length = planes.first().map_or(0, |plane| plane.len());
        let mut from = 0;
        while from < length {
            let left = self.step - self.samples % self.step;
            let to = length.min(from + usize::try_from(left).unwrap_or(usize::MAX));
            let part: Vec<&[f64]> = planes.iter().map(|plane| &plane[from..to]).collect();
            // it refuses no number of samples that all channels have
            let _ = self.state.add_frames_planar_f64(&part);
            self.samples += (to - from) as u64;
            from = to;
            if self.samples.is_multiple_of(self.step) {
                self.look();
            }
        }
    }

    fn look(&mut self) {
        let found = |loudness: Result<f64, _>| loudness.unwrap_or(f64::NEG_INFINITY);
        if self.looks > 1 && self.samples >= 4 * self.looks * self.step {
            self.momentary = self.momentary.max(found(self.state.loudness_momentary()));
        }
        if self.samples.is_multiple_of(self.looks * self.step) {
            self.gate.add(found(self.state.loudness_window(100)));
            let last = self.gate.short_term_lufs().unwrap_or(f64::NEG_INFINITY);
            self.short_term = self.short_term.max(last);
        }
    }

    /// What it came to.
    #[must_use]
    pub fn finish(&self) -> Loudness {
        let finite = |value: f64| value.is_finite().then_some(value);
        let peaks =
            (0..self.channels as u32).filter_map(|channel| self.state.true_peak(channel).ok());
        Loudness {
            integrated_lufs: self.gate.integrated_lufs(),
            range_lu: self.gate.range_lu(),
            true_peak_dbtp: finite(Db::of_amplitude(peaks.fold(0.0, f64::max)).0),
            momentary_lufs: finite(self.momentary),
            short_term_lufs: finite(self.short_term),
        }
    }
}

impl Loudness {
    /// As the broadcast extension stores it: hundredths, rounded to the nearest (EBU Tech 3285 v2, 2.4).
    #[must_use]
    pub fn stored(self) -> wave::Loudness {
        let hundredths = |value: Option<f64>| {
            let value = (value? * 100.0).round();
            // beyond what the field's definition allows it says that it is not used
            (-9999.0..=9999.0).contains(&value).then_some(value as i16)
        };
        wave::Loudness {
            value: hundredths(self.integrated_lufs),
            range: hundredths(self.range_lu),
            max_true_peak: hundredths(self.true_peak_dbtp),
            max_momentary: hundredths(self.momentary_lufs),
            max_short_term: hundredths(self.short_term_lufs),
        }
    }
}
