//! The channels of a recording in, how good they are out: peaks between samples, loudness, noise floor, offset, clipping,
//! drop-outs, mains hum, timecode as sound, how loud they were along their length, and how alike they are. In one pass, in
//! blocks; memory does not grow with the length.

mod classes;
mod code;
mod envelope;
mod faults;
mod floor;
mod gate;
mod hum;
mod loudness;
mod pairs;
mod peak;
#[cfg(test)]
mod tests;

use std::borrow::Cow;

use rayon::prelude::*;
use serde::{Deserialize, Serialize};

pub use code::Code;
use code::CodeMeter;
use envelope::EnvelopeMeter;
pub use envelope::{Envelope, Loud};
use faults::FaultMeter;
use floor::FloorMeter;
use hum::HumMeter;
pub use hum::{Hum, Line};
pub use loudness::{Loudness, LoudnessMeter};
pub use pairs::Pair;
use pairs::PairMeter;
use peak::PeakMeter;

use crate::signal::widest;

/// Samples of a channel that go through all its meters before the next ones: 32 kB.
const IN_CACHE: usize = 4096;

/// Runs of samples that are listed one by one; beyond that they are only counted.
const MOST_RUNS: usize = 50;

/// What a recording's channels came to.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Quality {
    /// One entry a channel, in the order of the channels.
    pub channels: Vec<ChannelQuality>,
    /// Every two channels that have sound; empty for more than 64 channels.
    pub pairs: Vec<Pair>,
}

/// What one channel came to. Levels are relative to full scale 1: a sine that just fills it has an RMS of -3.01 dBFS. Absent
/// values could not be measured: too short, or nothing above the gate.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct ChannelQuality {
    /// The largest value between samples, dBTP (ITU-R BS.1770 annex 2).
    pub true_peak_dbtp: Option<f64>,
    /// Integrated loudness of this channel by itself, LUFS (ITU-R BS.1770, EBU Tech 3341).
    pub integrated_lufs: Option<f64>,
    /// Loudness range, LU (EBU Tech 3342).
    pub range_lu: Option<f64>,
    /// Root of the mean square, dBFS.
    pub rms_dbfs: Option<f64>,
    /// What a tenth of all tenths of a second stay below, dBFS RMS; digital silence left out. Common practice, no source.
    pub noise_floor_dbfs: Option<f64>,
    /// The mean of all samples, full scale being 1.
    pub offset: f64,
    /// Runs of three and more samples at integer full scale, of one sign.
    pub clips: Runs,
    /// Runs of exact zeros amid sound, shorter than a tenth of a second.
    pub drop_outs: Runs,
    /// Mains hum, where there is some; none where there is timecode, which has lines of its own there.
    pub hum: Option<Hum>,
    /// Timecode as sound, where there is some.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub timecode: Option<Code>,
    /// How loud it was along its length; for pictures, not for files.
    #[serde(skip)]
    pub envelope: Envelope,
}

/// Runs of samples.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Runs {
    /// How many there are.
    pub count: u64,
    /// How many samples the longest has.
    pub longest: u64,
    /// First sample and number of samples of the first fifty.
    pub first: Vec<[u64; 2]>,
}

impl Runs {
    fn add(&mut self, start: u64, samples: u64) {
        self.count += 1;
        self.longest = self.longest.max(samples);
        if self.first.len() < MOST_RUNS {
            self.first.push([start, samples]);
        }
    }
}

/// Gathers [`Quality`].
pub struct QualityMeter {
    channels: Vec<ChannelMeter>,
    pairs: PairMeter,
}

struct ChannelMeter {
    loudness: Option<LoudnessMeter>,
    peak: Option<PeakMeter>,
    floor: FloorMeter,
    faults: FaultMeter,
    hum: HumMeter,
    code: CodeMeter,
    envelope: EnvelopeMeter,
}

impl QualityMeter {
    /// A meter for `channels` at `rate` samples a second.
    #[must_use]
    pub fn new(channels: usize, rate: u32) -> Self {
        let hum = HumMeter::new(rate);
        Self {
            channels: (0..channels)
                .map(|_| ChannelMeter {
                    loudness: LoudnessMeter::gated(rate),
                    peak: PeakMeter::new(rate),
                    floor: FloorMeter::new(rate),
                    faults: FaultMeter::new(rate),
                    hum: hum.clone(),
                    code: CodeMeter::new(rate),
                    envelope: EnvelopeMeter::new(rate),
                })
                .collect(),
            pairs: PairMeter::new(channels),
        }
    }

    /// Takes the next samples of all channels, slices of one length.
    pub fn add(&mut self, planes: &[&[f64]]) {
        self.add_all(&[planes.to_vec()]);
    }

    /// The same for successive pieces, each with a slice a channel. All cores share them: give it a second or so at a time.
    /// What it comes to depends on the pieces in its last bits, not on how many are given at a time.
    pub fn add_all(&mut self, pieces: &[Vec<&[f64]>]) {
        let planes = pieces.par_iter().map(|planes| planes.iter());
        let numbers: Vec<Vec<Cow<'_, [f64]>>> = planes
            .map(|planes| planes.map(|plane| numbers(plane)).collect())
            .collect();
        let meters = self.channels.par_iter_mut().enumerate();
        meters.for_each(|(channel, meter)| {
            for (planes, numbers) in pieces.iter().zip(&numbers) {
                meter.add(planes[channel], &numbers[channel]);
            }
        });
        let numbers = numbers
            .iter()
            .map(|planes| planes.iter().map(AsRef::as_ref));
        let numbers: Vec<Vec<&[f64]>> = numbers.map(Iterator::collect).collect();
        self.pairs.add_all(&numbers);
    }

    /// What it came to.
    #[must_use]
    pub fn finish(self) -> Quality {
        Quality {
            channels: self
                .channels
                .into_iter()
                .map(ChannelMeter::finish)
                .collect(),
            pairs: self.pairs.finish(),
        }
    }
}

/// Samples with 0 for every value that is no number: one of them would spoil all that filters and sums say afterwards.
fn numbers(plane: &[f64]) -> Cow<'_, [f64]> {
    if widest!(all_finite(plane)) {
        return Cow::Borrowed(plane);
    }
    let finite = |value: &f64| if value.is_finite() { *value } else { 0.0 };
    Cow::Owned(plane.iter().map(finite).collect())
}

/// In stretches, so that each is one loop without a way out.
#[inline(always)]
fn all_finite(values: &[f64]) -> bool {
    values
        .chunks(1024)
        .all(|part| part.iter().fold(true, |all, value| all & value.is_finite()))
}

/// Puts new samples behind those that are kept, of which the oldest go.
fn keep_last<const N: usize>(kept: &mut [f64; N], new: &[f64]) {
    match new.last_chunk::<N>() {
        Some(last) => *kept = *last,
        None => {
            kept.rotate_left(new.len());
            kept[N - new.len()..].copy_from_slice(new);
        }
    }
}

impl ChannelMeter {
    /// Takes the next samples, as they are and with 0 for what is no number; a little at a time through all meters, so that
    /// it stays in the cache.
    fn add(&mut self, plane: &[f64], numbers: &[f64]) {
        for (plane, numbers) in plane.chunks(IN_CACHE).zip(numbers.chunks(IN_CACHE)) {
            self.add_few(plane, numbers);
        }
    }

    fn add_few(&mut self, plane: &[f64], numbers: &[f64]) {
        // what is no number is no zero, and no drop-out
        self.faults.add(plane);
        self.floor.add(numbers);
        self.hum.add(numbers);
        self.code.add(numbers);
        self.envelope.add(numbers);
        if let Some(loudness) = &mut self.loudness {
            loudness.add(&[numbers]);
        }
        if let Some(peak) = &mut self.peak {
            peak.add(numbers);
        }
    }

    fn finish(self) -> ChannelQuality {
        let loudness = self.loudness.map(|meter| meter.finish());
        let loudness = loudness.unwrap_or_default();
        let floor = self.floor.finish();
        let (clips, drop_outs) = self.faults.finish();
        let timecode = self.code.finish();
        ChannelQuality {
            true_peak_dbtp: self.peak.and_then(|meter| meter.finish()),
            integrated_lufs: loudness.integrated_lufs,
            range_lu: loudness.range_lu,
            rms_dbfs: floor.rms_dbfs,
            noise_floor_dbfs: floor.noise_floor_dbfs,
            offset: floor.offset,
            clips,
            drop_outs,
            // code repeats as often as its timecode frames: its lines are no hum
            hum: self.hum.finish().filter(|_| timecode.is_none()),
            timecode,
            envelope: self.envelope.finish(),
        }
    }
}
