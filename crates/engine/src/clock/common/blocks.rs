//! A common signal and the map so far in, one delay a block out: blocks of 32768 samples under Hann windows, half
//! overlapping, the follower warped onto the lead by the map, the rest refined on the cross-spectrum.

use std::f64::consts::PI;

use rayon::prelude::*;
use realfft::num_complex::Complex64;

use crate::clock::Clock;
use crate::error::Result;
use crate::progress::Progress;
use crate::signal::{Kernel, KernelSpec, Sound, Transform, hann};
use crate::tie::common::CommonPair;
use crate::tie::correlate::refine;
use crate::units::LeadPos;

/// Length of a block, samples.
pub const BLOCK: usize = 1 << 15;
/// Distance of neighbouring blocks, samples.
pub const HOP: usize = BLOCK / 2;
/// Blocks that share one read.
const GROUP: usize = 8;
/// Bins that belong to one comb before the other takes over.
const COMB: usize = 32;
/// Least normalised correlation of a block that is believed; chance gives about 0.02 over a wide band.
const BELIEVED: f64 = 0.15;

/// One block's measurement.
#[derive(Debug, Clone, Copy)]
pub struct Block {
    /// The middle of the block on the lead.
    pub lead: f64,
    /// The follower position of that instant.
    pub follower: f64,
    /// One sigma, samples.
    pub sigma: f64,
    /// The same from the even and the odd comb of bins only.
    pub halves: [f64; 2],
    /// Normalised correlation at the delay, -1 to 1.
    pub correlation: f64,
}

/// Measures delays of one channel pair along the take.
pub struct Meter<'a> {
    lead: &'a dyn Sound,
    follower: &'a dyn Sound,
    pair: &'a CommonPair,
    kernel: Kernel,
    transform: Transform,
    window: Vec<f64>,
    bins: std::ops::Range<usize>,
    omega: Vec<f64>,
}

/// The blocks of one pass, and how many held any signal at all.
pub struct Pass {
    /// The believed blocks, in order.
    pub blocks: Vec<Block>,
    /// Blocks that held signal on both sides.
    pub sounding: usize,
}

impl<'a> Meter<'a> {
    /// A meter for `pair`.
    #[must_use]
    pub fn new(lead: &'a dyn Sound, follower: &'a dyn Sound, pair: &'a CommonPair) -> Self {
        let bin_hz = lead.rate().hz() / BLOCK as f64;
        let top = (BLOCK / 2) as f64 * 0.95;
        let first = (pair.band_hz.0 / bin_hz).max(20.0) as usize;
        let last = (pair.band_hz.1 / bin_hz).min(top) as usize;
        let bins = first..last.max(first + 2 * COMB);
        Self {
            lead,
            follower,
            pair,
            kernel: Kernel::new(KernelSpec::MEASURE),
            transform: Transform::new(BLOCK),
            window: hann(BLOCK),
            omega: bins
                .clone()
                .map(|i| 2.0 * PI * i as f64 / BLOCK as f64)
                .collect(),
            bins,
        }
    }

    /// Measures every `every`-th group of blocks between two lead positions along `map`.
    ///
    /// # Errors
    /// When a file cannot be read.
    pub fn pass(
        &self,
        map: &Clock,
        (from, to): (i64, i64),
        every: usize,
        progress: &dyn Progress,
    ) -> Result<Pass> {
        let blocks = usize::try_from((to - from - BLOCK as i64) / HOP as i64 + 1).unwrap_or(0);
        let starts: Vec<usize> = (0..blocks).step_by(GROUP * every).collect();
        progress.stage("measuring the common signal", starts.len() as u64);
        let groups: Vec<Vec<Option<Option<Block>>>> = starts
            .par_iter()
            .map(|&first| {
                let many = GROUP.min(blocks - first);
                let group = self.group(map, from + (first * HOP) as i64, many);
                progress.advance(1);
                group
            })
            .collect::<Result<_>>()?;
        let sounding = groups.iter().flatten().flatten().count();
        Ok(Pass {
            blocks: groups.into_iter().flatten().flatten().flatten().collect(),
            sounding,
        })
    }

    /// `many` neighbouring blocks from lead position `start`; outer `None`: silence, inner `None`: not believed.
    fn group(&self, map: &Clock, start: i64, many: usize) -> Result<Vec<Option<Option<Block>>>> {
        let length = HOP * (many + 1);
        let mut lead = vec![0.0; length];
        self.lead.read(&[self.pair.lead], start, &mut [&mut lead])?;
        let warped = self.warped(map, start, length)?;
        Ok((0..many)
            .map(|i| {
                let middle = (start + (i * HOP + HOP) as i64) as f64;
                let part = i * HOP..i * HOP + BLOCK;
                self.block(&lead[part.clone()], &warped[part], middle)
                    .map(|found| {
                        found.map(|mut block| {
                            let base = map.follower_at(LeadPos(middle)).0;
                            block.follower += base;
                            block.halves = block.halves.map(|half| half + base);
                            block
                        })
                    })
            })
            .collect())
    }

    /// The follower's sound at the lead positions from `start` on.
    fn warped(&self, map: &Clock, start: i64, length: usize) -> Result<Vec<f64>> {
        const STEP: usize = 64;
        let at = |i: usize| map.follower_at(LeadPos((start + i as i64) as f64)).0;
        let mut positions = Vec::with_capacity(length);
        let mut here = at(0);
        for i in (0..length).step_by(STEP) {
            let next = at(i + STEP);
            for j in 0..STEP.min(length - i) {
                positions.push(here + (next - here) * j as f64 / STEP as f64);
            }
            here = next;
        }
        let margin = self.kernel.taps();
        let first = positions[0].floor() as i64 - margin as i64;
        let span = (positions[length - 1] - positions[0]).ceil() as usize + 2 * margin + 2;
        let mut plane = vec![0.0; span];
        self.follower
            .read(&[self.pair.follower], first, &mut [&mut plane])?;
        positions
            .iter_mut()
            .for_each(|position| *position -= first as f64);
        let mut out = vec![0.0; length];
        self.kernel.resample(&[&plane], &positions, &mut [&mut out]);
        Ok(out)
    }

    fn block(&self, x: &[f64], y: &[f64], middle: f64) -> Option<Option<Block>> {
        let windowed =
            |s: &[f64]| -> Vec<f64> { s.iter().zip(&self.window).map(|(s, w)| s * w).collect() };
        let (sx, sy) = (
            self.transform.spectrum(&windowed(x)),
            self.transform.spectrum(&windowed(y)),
        );
        let power = |s: &[Complex64]| s[self.bins.clone()].iter().map(Complex64::norm_sqr).sum();
        let (px, py): (f64, f64) = (power(&sx), power(&sy));
        // below -120 dBFS there is nothing to hear on any converter
        let floor = 1e-12 * (BLOCK as f64) * (BLOCK as f64) / 16.0;
        if px < floor || py < floor {
            return None;
        }
        let sign = if self.pair.inverted { -1.0 } else { 1.0 };
        let cross: Vec<Complex64> = self
            .bins
            .clone()
            .map(|i| sx[i] * sy[i].conj() * sign)
            .collect();
        Some(self.delay(&cross, (px * py).sqrt(), middle))
    }

    fn delay(&self, cross: &[Complex64], power: f64, middle: f64) -> Option<Block> {
        let whole = refine(cross, &self.omega, 0.0)?;
        let along: f64 = cross
            .iter()
            .zip(&self.omega)
            .map(|(c, w)| (c * Complex64::from_polar(1.0, -w * whole.delay)).re)
            .sum();
        let correlation = along / power;
        if correlation < BELIEVED {
            return None;
        }
        let half = |odd: usize| {
            let pick = |i: &usize| (i / COMB) % 2 == odd;
            let cross: Vec<Complex64> = (0..cross.len()).filter(pick).map(|i| cross[i]).collect();
            let omega: Vec<f64> = (0..self.omega.len())
                .filter(pick)
                .map(|i| self.omega[i])
                .collect();
            refine(&cross, &omega, whole.delay).map_or(whole.delay, |half| half.delay)
        };
        Some(Block {
            lead: middle,
            follower: whole.delay,
            sigma: whole.sigma,
            halves: [half(0), half(1)],
            correlation,
        })
    }
}
