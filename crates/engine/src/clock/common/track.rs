//! Measured blocks in, the smoothed clock through them out, with the uncertainty that two halves of the spectrum and the
//! smoother together admit.

use super::blocks::{Block, HOP};
use crate::clock::smooth::{Phases, Smooth, smooth, smooth_alike};
use crate::clock::{Clock, Knot};
use crate::signal::median;
use crate::units::{LeadPos, Ppm, Samples, UnitPos};

/// Claimed sigmas are this much larger than the estimate, see `common_table` for what that covers.
const HONESTY: f64 = 1.0;
/// Straight lines between the knots handed over stay within a distance between these from the clock, samples; the contract
/// allows 0.001.
const KNOT_ERROR: (f64, f64) = (1e-5, 1e-4);
/// The least wander believed of a clock while nobody looked, 1/s: 0.3 ppm in an hour, what a crystal does in a room whose
/// heating comes and goes.
const UNSEEN_WANDER: f64 = 2.5e-17;
/// From this gap on nobody looked, s.
const UNSEEN_S: f64 = 2.0;
/// Points of the clock for each hop of blocks.
const POINTS: f64 = 4.0;

/// The smoothed clock at the block middles.
pub struct Track {
    rate_hz: f64,
    /// Block middles on the lead.
    pub lead: Vec<f64>,
    /// The straight line that the phases are about: follower = a + lead + phase * rate.
    a: f64,
    smooth: Smooth,
    /// Variance of the smoothed phase at each block, s^2.
    variance: Vec<f64>,
    /// Factor from the smoother's sigma to the one that is claimed.
    honest: f64,
}

impl Track {
    /// The clock through `blocks`; `None` for fewer than three.
    pub fn of(blocks: &[Block], rate_hz: f64) -> Option<Self> {
        let first = blocks.first()?;
        let a = first.follower - first.lead;
        let phases = |value: &dyn Fn(&Block) -> f64, widen: f64| Phases {
            t: blocks.iter().map(|block| block.lead / rate_hz).collect(),
            z: blocks
                .iter()
                .map(|block| (value(block) - block.lead - a) / rate_hz)
                .collect(),
            variance: blocks
                .iter()
                .map(|block| widen * (block.sigma / rate_hz).powi(2))
                .collect(),
        };
        let smooth = smooth(&phases(&|block| block.follower, 1.0))?;
        let halves = [0, 1].map(|half| {
            smooth_alike(&phases(&|block: &Block| block.halves[half], 2.0), &smooth).phase
        });
        let n = blocks.len() as f64;
        let square: f64 = halves[0]
            .iter()
            .zip(&halves[1])
            .map(|(a, b)| (a - b).powi(2))
            .sum();
        let split_half = (square / n).sqrt() / 2.0;
        let variance = smooth.variance();
        let posterior = (variance.iter().sum::<f64>() / n).sqrt();
        Some(Self {
            rate_hz,
            lead: blocks.iter().map(|block| block.lead).collect(),
            a,
            smooth,
            variance,
            honest: HONESTY * (split_half / posterior).max(1.0),
        })
    }

    /// The weight of each block, 0 to 1.
    pub fn weights(&self) -> &[f64] {
        &self.smooth.weight
    }

    /// The follower position at block `i`.
    pub fn follower(&self, i: usize) -> f64 {
        self.a + self.lead[i] + self.smooth.phase[i] * self.rate_hz
    }

    /// Claimed sigma at block `i`, samples.
    fn sigma(&self, i: usize) -> f64 {
        self.honest * self.variance[i].sqrt() * self.rate_hz
    }

    /// The mean rate over the blocks.
    fn rate(&self) -> Ppm {
        let end = self.lead.len() - 1;
        let span = self.lead[end] - self.lead[0];
        Ppm(((self.follower(end) - self.follower(0)) / span - 1.0) * 1e6)
    }

    /// The claimed sigma of the mean rate from one lead position to another, on either side of all blocks: how far the clock
    /// is prolonged beyond the outer ones counts, seconds where the signal sounds now and then.
    pub fn rate_sigma(&self, (from, to): (f64, f64)) -> Ppm {
        let end = self.lead.len() - 1;
        let outer = [
            (0, (from - self.lead[0]).min(-(HOP as f64))),
            (end, (to - self.lead[end]).max(HOP as f64)),
        ];
        let beyond = outer.map(|(i, by)| {
            let after = by / self.rate_hz;
            self.smooth.beyond(i, after, unseen(after)).1 - self.variance[i]
        });
        let variance = self.smooth.ends_variance + beyond[0].max(0.0) + beyond[1].max(0.0);
        let span_s = (outer[1].1 - outer[0].1 + self.lead[end] - self.lead[0]) / self.rate_hz;
        Ppm(self.honest * variance.sqrt() / span_s * 1e6)
    }

    /// How far straight lines between the knots handed over may stay from the clock, samples: less than what is not known.
    pub fn knot_error(&self) -> f64 {
        (0.3 * self.typical_sigma()).clamp(KNOT_ERROR.0, KNOT_ERROR.1)
    }

    /// The middle one of the sigmas claimed at the blocks, samples.
    pub fn typical_sigma(&self) -> f64 {
        let mut sigmas: Vec<f64> = (0..self.lead.len()).map(|i| self.sigma(i)).collect();
        median(&mut sigmas).unwrap_or(0.0)
    }

    /// By how much the mean rates of the first and the last third of the blocks differ.
    pub fn thirds_apart(&self) -> Ppm {
        let n = self.lead.len();
        if n < 12 {
            return Ppm(0.0);
        }
        let mean = |from: usize, to: usize| {
            (self.follower(to) - self.follower(from)) / (self.lead[to] - self.lead[from])
        };
        Ppm(((mean(0, n / 3) - mean(n - 1 - n / 3, n - 1)) * 1e6).abs())
    }

    /// The clock through every block and between them, prolonged to the follower's first and last sample by the rate there.
    pub fn clock(&self, follower_length: u64) -> Clock {
        let end = self.lead.len() - 1;
        let last = follower_length.saturating_sub(1).max(1) as f64;
        let (head, tail) = (self.prolonged(0, 0.0), self.prolonged(end, last));
        let inside = (0..=end).flat_map(|i| self.up_to_next(i));
        let mut knots = vec![head];
        knots.extend(inside.filter(|knot| {
            (head.follower.0 + 1.0..last - 1.0).contains(&knot.follower.0)
                && (head.lead.0 + 0.5..tail.lead.0 - 0.5).contains(&knot.lead.0)
        }));
        knots.push(tail);
        Clock::new(knots).unwrap_or_else(|| {
            Clock::straight(head.lead, self.rate(), follower_length, self.rate_hz)
        })
    }

    fn knot(&self, lead: f64, follower: f64, sigma: f64) -> Knot {
        Knot {
            follower: UnitPos(follower),
            lead: LeadPos(lead),
            sigma: Samples(sigma),
        }
    }

    /// Where the clock of the outermost block `i` comes to a follower position beyond it.
    fn prolonged(&self, i: usize, follower: f64) -> Knot {
        let mut lead = self.lead[i] + (follower - self.follower(i));
        let mut variance = 0.0;
        // every step gains as many digits as the rate is small: five
        for _ in 0..3 {
            let after = (lead - self.lead[i]) / self.rate_hz;
            let phase;
            (phase, variance) = self.smooth.beyond(i, after, unseen(after));
            lead = follower - self.a - phase * self.rate_hz;
        }
        self.knot(lead, follower, self.honest * variance.sqrt() * self.rate_hz)
    }

    /// The knot of block `i` and those up to the next block: between two known phases and rates the likeliest course of a
    /// clock whose rate walks is the cubic through them.
    fn up_to_next(&self, i: usize) -> Vec<Knot> {
        let mut knots = vec![self.knot(self.lead[i], self.follower(i), self.sigma(i))];
        let Some(next) = self.lead.get(i + 1) else {
            return knots;
        };
        let gap = next - self.lead[i];
        let gap_s = gap / self.rate_hz;
        let (y0, y1) = (self.smooth.phase[i], self.smooth.phase[i + 1]);
        let (r0, r1) = (self.smooth.rate[i] * gap_s, self.smooth.rate[i + 1] * gap_s);
        let pieces = (gap / HOP as f64 * POINTS).round().max(1.0);
        for piece in 1..pieces as u64 {
            let s = piece as f64 / pieces;
            let (s2, s3) = (s * s, s * s * s);
            let phase = y0 * (2.0 * s3 - 3.0 * s2 + 1.0)
                + r0 * (s3 - 2.0 * s2 + s)
                + y1 * (3.0 * s2 - 2.0 * s3)
                + r1 * (s3 - s2);
            let lead = self.lead[i] + s * gap;
            let ends = (1.0 - s) * self.sigma(i).powi(2) + s * self.sigma(i + 1).powi(2);
            let between = self.honest.powi(2)
                * self.smooth.variance_between(i, s, unseen(gap_s))
                * self.rate_hz.powi(2);
            knots.push(self.knot(
                lead,
                self.a + lead + phase * self.rate_hz,
                (ends + between).sqrt(),
            ));
        }
        knots
    }
}

/// The least wander believed of a clock that was not measured for so many seconds, 1/s.
fn unseen(seconds: f64) -> f64 {
    if seconds.abs() > UNSEEN_S {
        UNSEEN_WANDER
    } else {
        0.0
    }
}
