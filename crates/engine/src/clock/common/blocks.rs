//! A common signal and the map so far in, one delay a block out: blocks of 32768 samples under Hann windows, half
//! overlapping, the follower warped onto the lead by the map, the rest refined on the cross-spectrum.

use std::cell::Cell;
use std::f64::consts::PI;

use rayon::prelude::*;
use realfft::num_complex::Complex64;

use crate::clock::Clock;
use crate::clock::slips::steps::Delay;
use crate::error::Result;
use crate::progress::{Progress, go_on};
use crate::signal::{Kernel, KernelSpec, Sound, Transform, hann, median, warp};
use crate::tie::common::CommonPair;
use crate::tie::correlate::{Bins, COMB};
use crate::units::LeadPos;

/// Length of a block, samples.
pub const BLOCK: usize = 1 << 15;
/// Distance of neighbouring blocks, samples.
pub const HOP: usize = BLOCK / 2;
/// Blocks that share one read.
pub const GROUP: usize = 8;
/// Variance of a delay over the one that independent bins would give: `N sum w^4 / (sum w^2)^2 = 35/18` for a Hann window,
/// whose neighbouring bins share noise, times `1 + 2 * 3/35` for half-overlapping blocks, which share it too.
const SHARED_NOISE: f64 = 35.0 / 18.0 * 41.0 / 35.0;
/// A block is believed when its correlation is so many times what chance gives.
const BELIEVED: f64 = 4.0;
/// Bounds of what is asked of that correlation: a few bins that ring alike are still asked for no more than the second.
const ASKED: (f64, f64) = (0.05, 0.7);

/// Blocks of less than this share of the power that believed ones have are pauses: 20 dB down.
const PAUSE: f64 = 0.01;
/// So many loud blocks in a row that do not carry the signal are a hole.
const HOLE: usize = 4;

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

/// The channels that carry the signal.
#[derive(Debug, Clone, Copy)]
pub struct Wire {
    /// The lead's channel.
    pub lead: usize,
    /// The follower's channel.
    pub follower: usize,
    /// Whether one side is inverted.
    pub inverted: bool,
    /// Lowest and highest frequency that is measured, Hz.
    pub band_hz: (f64, f64),
}

impl Wire {
    /// The wire that a pair was found to be.
    pub fn of(pair: &CommonPair) -> Self {
        Self {
            lead: pair.lead,
            follower: pair.follower,
            inverted: pair.inverted,
            band_hz: pair.band_hz,
        }
    }
}

/// Measures delays of one channel pair along the take.
pub struct Meter<'a> {
    lead: &'a dyn Sound,
    follower: &'a dyn Sound,
    pair: Wire,
    kernel: Kernel,
    transform: Transform,
    window: Vec<f64>,
    bins: std::ops::Range<usize>,
}

/// How a pass goes over the take.
#[derive(Debug, Clone, Copy)]
pub struct Plan {
    /// First and last lead position.
    pub span: (i64, i64),
    /// Of so many groups of blocks one is measured.
    pub every: usize,
    /// How far from the map the whole sample is searched, samples; 0: the map is that good already.
    pub search: usize,
}

/// The blocks of one pass.
pub struct Pass {
    /// The believed blocks, in order.
    pub blocks: Vec<Block>,
    /// Of every block that was not silent: its power, and whether it was believed.
    pub heard: Vec<(f64, bool)>,
}

impl Pass {
    /// The share of believed blocks among the loudest quarter: where there is sound, it must be the common one. What is far
    /// below the believed ones is a pause between sounds that come seldom.
    #[must_use]
    pub fn believed_share(&self) -> f64 {
        let mut believed = self.believed();
        let typical = median(&mut believed).unwrap_or(0.0);
        let mut heard = self.heard.clone();
        heard.sort_by(|a, b| b.0.total_cmp(&a.0));
        heard.truncate(heard.len().div_ceil(4));
        heard.retain(|block| block.0 >= PAUSE * typical);
        heard.iter().filter(|block| block.1).count() as f64 / heard.len().max(1) as f64
    }
}

impl Pass {
    /// The powers of the believed blocks.
    fn believed(&self) -> Vec<f64> {
        let believed = self.heard.iter().filter(|block| block.1);
        believed.map(|block| block.0).collect()
    }

    /// The believed blocks as delays.
    pub fn delays(&self) -> Vec<Delay> {
        delays(&self.blocks)
    }

    /// Whether somewhere several neighbouring blocks nearly as loud as most that are believed are not believed: there the follower
    /// is not where the map has it, or the signal is another.
    pub fn has_holes(&self) -> bool {
        let mut believed = self.believed();
        believed.sort_by(f64::total_cmp);
        let Some(fifth) = believed.get(believed.len() / 5) else {
            return true;
        };
        let loud = 0.7 * fifth;
        let doubtful: Vec<bool> = self.heard.iter().map(|h| !h.1 && h.0 >= loud).collect();
        doubtful
            .windows(HOLE)
            .any(|run| run.iter().all(|doubt| *doubt))
    }
}

/// Blocks as delays.
pub fn delays(blocks: &[Block]) -> Vec<Delay> {
    let delay = |block: &Block| Delay {
        lead: block.lead,
        follower: block.follower,
        sigma: block.sigma,
    };
    blocks.iter().map(delay).collect()
}

/// What a thread measures in, so that no memory is asked for at every group.
#[derive(Default)]
struct Work {
    lead: Vec<f64>,
    /// The follower's sound where the map has it.
    own: Vec<f64>,
    spectra: Spectra,
}

#[derive(Default)]
struct Spectra {
    lead: Vec<Complex64>,
    own: Vec<Complex64>,
    cross: Vec<Complex64>,
}

thread_local! {
    static WORK: Cell<Work> = Cell::default();
}

/// A block that was not silent.
struct Heard {
    power: f64,
    block: Option<Block>,
}

impl<'a> Meter<'a> {
    /// A meter for `wire`.
    #[must_use]
    pub fn new(lead: &'a dyn Sound, follower: &'a dyn Sound, wire: Wire) -> Self {
        let bin_hz = lead.rate().hz() / BLOCK as f64;
        let top = BLOCK / 2 * 19 / 20;
        let first = ((wire.band_hz.0 / bin_hz).max(20.0) as usize).min(top - 2 * COMB);
        let last = ((wire.band_hz.1 / bin_hz) as usize).clamp(first + 2 * COMB, top);
        Self {
            lead,
            follower,
            pair: wire,
            kernel: Kernel::shared(KernelSpec::MEASURE),
            transform: Transform::new(BLOCK),
            window: hann(BLOCK),
            bins: first..last,
        }
    }

    /// Measures the blocks of `plan` along `map`.
    ///
    /// # Errors
    /// When a file cannot be read.
    pub fn pass(&self, map: &Clock, plan: Plan, progress: &dyn Progress) -> Result<Pass> {
        let (from, to) = plan.span;
        let blocks =
            usize::try_from((to - from - BLOCK as i64).div_euclid(HOP as i64) + 1).unwrap_or(0);
        let starts: Vec<usize> = (0..blocks).step_by(GROUP * plan.every.max(1)).collect();
        progress.stage("measuring the common signal", starts.len() as u64);
        let groups: Vec<Vec<Heard>> = starts
            .par_iter()
            .map(|&first| {
                go_on(progress)?;
                let many = GROUP.min(blocks - first);
                let group = self.group(map, from + (first * HOP) as i64, many, plan.search);
                progress.advance(1);
                group
            })
            .collect::<Result<_>>()?;
        let heard = groups.iter().flatten();
        Ok(Pass {
            heard: heard.map(|h| (h.power, h.block.is_some())).collect(),
            blocks: groups
                .into_iter()
                .flatten()
                .filter_map(|h| h.block)
                .collect(),
        })
    }

    /// `many` neighbouring blocks from lead position `start`, the silent ones left out.
    fn group(&self, map: &Clock, start: i64, many: usize, search: usize) -> Result<Vec<Heard>> {
        let length = HOP * (many + 1);
        let mut work = WORK.take();
        let (lead, own) = (&mut work.lead, &mut work.own);
        lead.resize(length, 0.0);
        own.resize(length, 0.0);
        self.lead
            .read(&[self.pair.lead], start, &mut [&mut *lead])?;
        warp(
            (self.follower, self.pair.follower),
            &self.kernel,
            own,
            |i| map.follower_at(LeadPos((start + i as i64) as f64)).0,
        )?;
        let (lead, own) = (&lead[..], &own[..]);
        let found = (0..many)
            .filter_map(|i| {
                let middle = (start + (i * HOP + HOP) as i64) as f64;
                let part = i * HOP..i * HOP + BLOCK;
                let sounds = [&lead[part.clone()], &own[part]];
                let mut heard = self.block(sounds, &mut work.spectra, search)?;
                if let Some(block) = &mut heard.block {
                    let base = map.follower_at(LeadPos(middle)).0;
                    block.lead = middle;
                    block.follower += base;
                    block.halves = block.halves.map(|half| half + base);
                }
                Some(heard)
            })
            .collect();
        WORK.set(work);
        Ok(found)
    }

    /// One block of lead and warped follower; `None` when either is silent.
    fn block(&self, sounds: [&[f64]; 2], spectra: &mut Spectra, search: usize) -> Option<Heard> {
        let Spectra { lead, own, cross } = spectra;
        for (sound, spectrum) in sounds.into_iter().zip([&mut *lead, &mut *own]) {
            self.transform.spectrum_under(&self.window, sound, spectrum);
        }
        let (lead, own) = (&lead[self.bins.clone()], &own[self.bins.clone()]);
        let power = |s: &[Complex64]| s.iter().map(Complex64::norm_sqr).sum();
        let (px, py): (f64, f64) = (power(lead), power(own));
        // below -140 dBFS there is nothing to hear on any converter
        let floor = 1e-14 * (BLOCK as f64) * (BLOCK as f64) / 16.0;
        if !(px > floor && py > floor) {
            return None;
        }
        let sign = if self.pair.inverted { -1.0 } else { 1.0 };
        cross.clear();
        cross.extend(lead.iter().zip(own).map(|(x, y)| x * y.conj() * sign));
        let power = (px * py).sqrt();
        Some(Heard {
            power,
            block: self.delay(cross, power, search),
        })
    }

    fn delay(&self, cross: &[Complex64], power: f64, search: usize) -> Option<Block> {
        let bins = Bins {
            cross,
            first: self.bins.start,
            step: 2.0 * PI / BLOCK as f64,
        };
        let start = if search == 0 {
            0.0
        } else {
            self.whole(cross, search)
        };
        let found = bins.refine(start)?;
        // an answer at the edge of the search is none
        if search > 0 && found.delay.abs() > search as f64 - 1.0 {
            return None;
        }
        let correlation = found.height / power;
        let shares: f64 = cross.iter().map(Complex64::norm_sqr).sum();
        let chance = (0.5 * 35.0 / 18.0 * shares).sqrt() / power;
        if correlation < (BELIEVED * chance).clamp(ASKED.0, ASKED.1) {
            return None;
        }
        Some(Block {
            lead: 0.0,
            follower: found.delay,
            sigma: (SHARED_NOISE * found.variance).sqrt(),
            halves: found.halves,
            correlation,
        })
    }

    /// The whole sample within `search` at which the correlation is highest.
    fn whole(&self, cross: &[Complex64], search: usize) -> f64 {
        let mut spectrum = vec![Complex64::default(); self.transform.bins()];
        for (bin, c) in self.bins.clone().zip(cross) {
            spectrum[bin] = c.conj();
        }
        let correlation = self.transform.samples(spectrum);
        let search = search as i64;
        (-search..=search)
            .map(|lag| {
                (
                    lag as f64,
                    correlation[lag.rem_euclid(BLOCK as i64) as usize],
                )
            })
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map_or(0.0, |best| best.0)
    }
}
