//! Two takes and the pairs of channels to compare in, phasors of any stretch of their common span out, read block by
//! block with the follower warped by whatever clock is believed so far.

use realfft::num_complex::Complex32;

use super::decimate::Decimator;
use super::phasors::{Band, HOP, Phasors, REACH, Stretch, WINDOW};
use crate::error::Result;
use crate::signal::Sound;

/// The clock believed so far: lead position in, follower position out.
pub type Warp<'a> = &'a (dyn Fn(f64) -> f64 + Sync);

/// Two takes, listened to at the analysis rate over the span both recorded.
pub struct Listening<'a> {
    /// The lead's take.
    pub lead: &'a dyn Sound,
    /// The follower's take.
    pub follower: &'a dyn Sound,
    /// The decimation both go through.
    pub decimator: Decimator,
    /// Where the analysis looks.
    pub band: Band,
    /// Channel pairs (lead, follower), 0-based.
    pub pairs: Vec<(usize, usize)>,
    /// The lead position of analysis sample 0.
    pub origin: f64,
    /// How many whole windows the common span holds.
    pub windows: usize,
}

impl<'a> Listening<'a> {
    /// Listens from lead position `from` to `to`, to no pairs yet.
    #[must_use]
    pub fn new(lead: &'a dyn Sound, follower: &'a dyn Sound, from: f64, to: f64) -> Self {
        let decimator = Decimator::new(lead.rate());
        let factor = decimator.factor() as f64;
        let samples = ((to - from) / factor).max(0.0) as usize;
        Self {
            lead,
            follower,
            band: Band::new(lead.rate().hz() / factor),
            decimator,
            pairs: Vec::new(),
            origin: from,
            windows: (samples + HOP).saturating_sub(WINDOW) / HOP,
        }
    }

    /// Windows a second.
    #[must_use]
    pub fn windows_per_s(&self) -> f64 {
        self.band.hz / HOP as f64
    }

    /// The lead position at which (fractional) window `window` is centred.
    #[must_use]
    pub fn centre(&self, window: f64) -> f64 {
        self.lead_at(window * HOP as f64 + 0.5 * WINDOW as f64)
    }

    /// The lead position of (fractional) analysis sample `sample`.
    #[must_use]
    pub fn lead_at(&self, sample: f64) -> f64 {
        self.origin + sample * self.decimator.factor() as f64
    }

    /// Planes of `channels` of both units: `samples` analysis samples from analysis sample `first` on.
    ///
    /// # Errors
    /// When a take cannot be read.
    pub fn planes(
        &self,
        channels: [&[usize]; 2],
        first: i64,
        samples: usize,
        warp: Warp<'_>,
    ) -> Result<[Vec<Vec<f32>>; 2]> {
        let lead_at = |i: usize| self.lead_at((first + i as i64) as f64);
        Ok([
            self.decimator
                .planes(self.lead, channels[0], samples, lead_at)?,
            self.decimator
                .planes(self.follower, channels[1], samples, |i| warp(lead_at(i)))?,
        ])
    }

    /// Calls `take(window, pair, phasors)` for every pair and every window of `windows`, in order.
    ///
    /// # Errors
    /// When a take cannot be read.
    pub fn phasors(
        &self,
        windows: std::ops::Range<usize>,
        warp: Warp<'_>,
        mut take: impl FnMut(usize, usize, &[Complex32]),
    ) -> Result<()> {
        let lead = distinct(self.pairs.iter().map(|pair| pair.0));
        let follower = distinct(self.pairs.iter().map(|pair| pair.1));
        let place = |of: &[usize], channel| of.iter().position(|&c| c == channel).unwrap_or(0);
        let pairs: Vec<(usize, usize)> = self
            .pairs
            .iter()
            .map(|&(a, b)| (place(&lead, a), place(&follower, b)))
            .collect();
        let first = (windows.start as i64 - REACH as i64) * HOP as i64;
        let samples = Stretch::samples(windows.len());
        let planes = self.planes([&lead, &follower], first, samples, warp)?;
        let stretch = Stretch {
            lead: &planes[0],
            follower: &planes[1],
            pairs: &pairs,
            windows: windows.len(),
        };
        Phasors::new(self.band).run(stretch, |window, pair, phasors| {
            take(windows.start + window, pair, phasors);
        })
    }
}

fn distinct(channels: impl Iterator<Item = usize>) -> Vec<usize> {
    let mut channels: Vec<usize> = channels.collect();
    channels.sort_unstable();
    channels.dedup();
    channels
}
