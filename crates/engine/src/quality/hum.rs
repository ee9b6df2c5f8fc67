//! One channel in, mains hum out. Of every few spectra the least of each frequency is kept, so that a talker or music hides a
//! line only where they leave no gap; the logarithms of these are averaged: what stands in all of them adds up, and what comes
//! and goes does not. Hum is a series of steady narrow lines on multiples of one frequency close to 50 or 60 Hz.
//!
//! Mains frequency: within 1 % of 50 Hz nearly always (EN 50160, from memory), within 0.2 Hz mostly; the rest of the figures
//! is our own, held to rehearsal sounds.

use std::sync::Arc;

use realfft::num_complex::Complex64;
use serde::{Deserialize, Serialize};

use crate::signal::{Transform, hann, median};
use crate::units::Db;

/// Harmonics that are looked for.
const HARMONICS: u32 = 10;
/// Above this the averaged spectrum is not kept, Hz.
const HIGHEST_HZ: f64 = 650.0;
/// How far mains may be from its nominal frequency, Hz.
const OFF_HZ: f64 = 0.25;
/// Spectra of which the least is kept. Where there are no two such groups there is no telling hum from a note.
const GROUP: u32 = 4;
const FEWEST_GROUPS: u32 = 2;
/// How far lines must stand above what is around them, dB; and how much more for one group, less by the root of their
/// number.
const ABOVE_DB: f64 = 10.0;
const ABOVE_ONE_DB: f64 = 12.0;

/// Mains hum.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Hum {
    /// 50 or 60.
    pub mains_hz: u32,
    /// The frequency that the lines are multiples of, Hz.
    pub found_hz: f64,
    /// All lines together, dBFS RMS.
    pub level_dbfs: f64,
    /// The lines.
    pub lines: Vec<Line>,
}

/// A line of it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Line {
    /// Which multiple.
    pub harmonic: u32,
    /// Its frequency, Hz.
    pub hz: f64,
    /// Its level, dBFS RMS.
    pub level_dbfs: f64,
    /// How far it stands above what is around it, dB.
    pub above_db: f64,
}

#[derive(Clone)]
pub(super) struct HumMeter {
    transform: Transform,
    /// Shared by the meters of all channels.
    window: Arc<[f64]>,
    bin_hz: f64,
    held: Vec<f64>,
    /// The least power of each bin in the group that is not full yet.
    least: Vec<f64>,
    in_group: u32,
    /// Sums over the groups of the least levels, dB, from bin 0 on.
    sums: Vec<f64>,
    groups: u32,
}

impl HumMeter {
    pub(super) fn new(rate: u32) -> Self {
        // bins of 0.5 to 1 Hz
        let length = (rate.max(2) as usize).next_power_of_two();
        let bin_hz = f64::from(rate) / length as f64;
        let kept = ((HIGHEST_HZ / bin_hz) as usize).min(length / 2);
        Self {
            transform: Transform::new(length),
            window: hann(length).into(),
            bin_hz,
            held: Vec::with_capacity(length),
            least: vec![f64::INFINITY; kept],
            in_group: 0,
            sums: vec![0.0; kept],
            groups: 0,
        }
    }

    pub(super) fn add(&mut self, mut samples: &[f64]) {
        while !samples.is_empty() {
            let wanted = self.window.len() - self.held.len();
            let (now, later) = samples.split_at(wanted.min(samples.len()));
            self.held.extend_from_slice(now);
            samples = later;
            if self.held.len() == self.window.len() {
                self.take_spectrum();
            }
        }
    }

    fn take_spectrum(&mut self) {
        let length = self.window.len() as f64;
        let mut spectrum = Vec::new();
        self.transform
            .spectrum_under(&self.window, &self.held, &mut spectrum);
        self.held.clear();
        // a sine in the middle of its bin has its mean square here: half the window's mean is lost, and half is at -f
        let power = |bin: &Complex64| 8.0 * bin.norm_sqr() / (length * length);
        let kept = spectrum.get(..self.sums.len()).unwrap_or_default();
        let all: f64 = kept.iter().map(power).sum();
        // digital silence and values that are no numbers say nothing
        if all.is_finite() && all > 1e-20 {
            for (least, bin) in self.least.iter_mut().zip(kept) {
                *least = least.min(power(bin));
            }
            self.in_group += 1;
        }
        if self.in_group == GROUP {
            self.end_group();
        }
    }

    fn end_group(&mut self) {
        for (sum, least) in self.sums.iter_mut().zip(&mut self.least) {
            *sum += 10.0 * least.max(1e-30).log10();
            *least = f64::INFINITY;
        }
        self.in_group = 0;
        self.groups += 1;
    }

    pub(super) fn finish(self) -> Option<Hum> {
        if self.groups < FEWEST_GROUPS {
            return None;
        }
        let n = f64::from(self.groups);
        let levels: Vec<f64> = self.sums.iter().map(|sum| sum / n).collect();
        let wanted = ABOVE_DB + ABOVE_ONE_DB / n.sqrt();
        let found = [50, 60].map(|mains| series(&levels, self.bin_hz, mains, wanted));
        let lines = |hum: &Hum| hum.lines.len();
        found.into_iter().flatten().max_by_key(lines)
    }
}

/// The lines on multiples of one frequency close to `mains`; `None` where there are too few for hum.
fn series(levels: &[f64], bin_hz: f64, mains: u32, wanted: f64) -> Option<Hum> {
    let lines = (1..=HARMONICS).filter_map(|harmonic| line(levels, bin_hz, mains, harmonic));
    let mut lines: Vec<Line> = lines.filter(|line| line.above_db >= wanted).collect();
    let base = |line: &Line| line.hz / f64::from(line.harmonic);
    let found_hz = median(&mut lines.iter().map(base).collect::<Vec<_>>())?;
    // a line is found to a small part of a bin, and its base to as much less as its harmonic is higher
    lines.retain(|line| {
        (base(line) - found_hz).abs() < 0.02 + 0.2 * bin_hz / f64::from(line.harmonic)
    });
    let low = lines.iter().any(|line| line.harmonic <= 3);
    let power: f64 = lines
        .iter()
        .map(|line| 10.0_f64.powf(line.level_dbfs / 10.0))
        .sum();
    (lines.len() >= 2 && low).then(|| Hum {
        mains_hz: mains,
        found_hz,
        level_dbfs: Db::of_amplitude(power.sqrt()).0,
        lines,
    })
}

/// The highest peak where a harmonic may be.
fn line(levels: &[f64], bin_hz: f64, mains: u32, harmonic: u32) -> Option<Line> {
    let centre = f64::from(mains * harmonic);
    let bin = |hz: f64| (hz / bin_hz).round() as usize;
    let reach = OFF_HZ * f64::from(harmonic);
    let (from, to) = (bin(centre - reach), bin(centre + reach));
    let peak = (from.max(1)..=to)
        .filter(|&i| i + 1 < levels.len())
        .filter(|&i| levels[i] > levels[i - 1] && levels[i] >= levels[i + 1])
        .max_by(|&a, &b| levels[a].total_cmp(&levels[b]))?;
    // around it: beyond its own foot, nearer than half way to the next harmonic
    let distance = |i: usize| (i as f64 - peak as f64).abs() * bin_hz;
    let around = bin(centre - 0.4 * f64::from(mains))..bin(centre + 0.4 * f64::from(mains));
    let around = around.filter(|&i| distance(i) > 5.0 * bin_hz);
    let mut around: Vec<f64> = around.filter_map(|i| levels.get(i).copied()).collect();
    let around = median(&mut around)?;
    let (a, b, c) = (levels[peak - 1], levels[peak], levels[peak + 1]);
    let bend = a - 2.0 * b + c;
    let shift = if bend < 0.0 {
        0.5 * (a - c) / bend
    } else {
        0.0
    };
    let level = b - 0.25 * (a - c) * shift;
    Some(Line {
        harmonic,
        hz: (peak as f64 + shift) * bin_hz,
        level_dbfs: level,
        above_db: level - around,
    })
}
