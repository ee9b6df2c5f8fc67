//! Phasors in, one template a node out: the sum of a pair's phasors under a Hann window of two node spacings. All that
//! is kept of a take: 29 kB a node and pair.

use std::f64::consts::PI;

use rayon::prelude::*;
use realfft::num_complex::Complex32;

use super::listening::{Listening, Warp};
use crate::error::Result;
use crate::progress::{Progress, go_on};

/// Segments whose templates are worked out at the same time; bounds the memory on the way.
const AT_ONCE: usize = 8;

/// Node spacing wanted, seconds (half the window).
const SPACING_S: f64 = 10.0;

/// More nodes than this are never used; longer takes get wider spacing.
const MOST_NODES: usize = 400;

/// Fewer nodes than this are not worth a graph; shorter takes get narrower spacing.
const FEWEST_SEGMENTS: usize = 12;

/// Nodes are set irregularly by this share of their spacing, by multiples of the golden ratio: who sways once in 10 s
/// would otherwise look like a slowly wandering clock (seen on synthetic talkers).
const IRREGULARITY: f64 = 0.7;
const GOLDEN: f64 = 0.618_033_988_749_894_9;

/// Where the nodes are: segment `s` holds windows `bounds[s]..bounds[s + 1]`, node `i` the segments `i` and `i + 1`.
#[derive(Debug, Clone, PartialEq)]
pub struct Grid {
    bounds: Vec<usize>,
}

impl Grid {
    /// The grid for `windows` windows at `windows_per_s`.
    #[must_use]
    pub fn new(windows: usize, windows_per_s: f64) -> Self {
        let wanted = (windows as f64 / (SPACING_S * windows_per_s)).round() as usize;
        let segments = wanted.clamp(FEWEST_SEGMENTS, MOST_NODES + 1);
        let length = windows as f64 / segments as f64;
        let bound = |s: usize| {
            let shift = ((s as f64 * GOLDEN).fract() - 0.5) * IRREGULARITY;
            ((s as f64 + shift) * length).round() as usize
        };
        let mut bounds = vec![0];
        bounds.extend((1..segments).map(bound));
        bounds.push(windows);
        Self { bounds }
    }

    /// A grid of evenly set nodes, `spacing` windows apart or as far as the number of nodes allows.
    #[must_use]
    pub fn even(windows: usize, spacing: f64) -> Self {
        let segments = ((windows as f64 / spacing) as usize).clamp(2, MOST_NODES + 1);
        Self {
            bounds: (0..=segments).map(|s| s * windows / segments).collect(),
        }
    }

    /// The windows of `reach` segments on either side of a node's centre.
    #[must_use]
    pub fn around(&self, node: usize, reach: usize) -> std::ops::Range<usize> {
        let last = self.bounds.len() - 1;
        self.bounds[(node + 1).saturating_sub(reach)]..self.bounds[(node + 1 + reach).min(last)]
    }

    /// How many nodes there are.
    #[must_use]
    pub fn nodes(&self) -> usize {
        self.bounds.len() - 2
    }

    /// The window (fractional) at which each node is centred.
    #[must_use]
    pub fn centres(&self) -> Vec<f64> {
        self.bounds[1..self.bounds.len() - 1]
            .iter()
            .map(|&bound| bound as f64 - 0.5)
            .collect()
    }

    /// How many nodes apart two templates share no sound.
    #[must_use]
    pub fn apart(&self) -> usize {
        3
    }

    fn segment(&self, s: usize) -> std::ops::Range<usize> {
        self.bounds[s]..self.bounds[s + 1]
    }
}

/// The templates of all nodes and pairs.
#[derive(Debug, Clone)]
pub struct Templates {
    bins: usize,
    pairs: usize,
    values: Vec<Complex32>,
}

impl Templates {
    /// Listens to the whole common span once.
    ///
    /// # Errors
    /// When a take cannot be read.
    pub fn listen(
        listening: &Listening<'_>,
        grid: &Grid,
        warp: Warp<'_>,
        progress: &dyn Progress,
    ) -> Result<Self> {
        let size = listening.pairs.len() * listening.band.bins;
        let mut values = vec![Complex32::default(); size * grid.nodes()];
        let segments: Vec<usize> = (0..=grid.nodes()).collect();
        for group in segments.chunks(AT_ONCE) {
            go_on(progress)?;
            let halves: Vec<Result<[Vec<Complex32>; 2]>> = group
                .par_iter()
                .map(|&segment| {
                    let halves = segment_halves(listening, grid.segment(segment), warp);
                    progress.advance(1);
                    halves
                })
                .collect();
            for (&segment, halves) in group.iter().zip(halves) {
                let [rising, falling] = halves?;
                // The rising half belongs to the node that begins here, the falling half to the one before.
                let nodes = [Some(segment), segment.checked_sub(1)];
                for (half, node) in [rising, falling].iter().zip(nodes) {
                    let Some(node) = node.filter(|&node| node < grid.nodes()) else {
                        continue;
                    };
                    let template = &mut values[node * size..(node + 1) * size];
                    for (sum, value) in template.iter_mut().zip(half) {
                        *sum += value;
                    }
                }
            }
        }
        Ok(Self {
            bins: listening.band.bins,
            pairs: listening.pairs.len(),
            values,
        })
    }

    /// How many pairs there are.
    #[must_use]
    pub fn pairs(&self) -> usize {
        self.pairs
    }

    /// How many nodes there are.
    #[must_use]
    pub fn nodes(&self) -> usize {
        self.values.len() / (self.pairs * self.bins).max(1)
    }

    /// The template of one node and pair.
    #[must_use]
    pub fn of(&self, node: usize, pair: usize) -> &[Complex32] {
        &self.values[(node * self.pairs + pair) * self.bins..][..self.bins]
    }
}

fn segment_halves(
    listening: &Listening<'_>,
    windows: std::ops::Range<usize>,
    warp: Warp<'_>,
) -> Result<[Vec<Complex32>; 2]> {
    let bins = listening.band.bins;
    let size = listening.pairs.len() * bins;
    let mut halves = [
        vec![Complex32::default(); size],
        vec![Complex32::default(); size],
    ];
    let (first, count) = (windows.start, windows.len());
    listening.phasors(windows, warp, |window, pair, phasors| {
        let at = (window - first) as f64 + 0.5;
        let rising = (0.5 - 0.5 * (PI * at / count as f64).cos()) as f32;
        for (half, weight) in halves.iter_mut().zip([rising, 1.0 - rising]) {
            for (sum, phasor) in half[pair * bins..].iter_mut().zip(phasors) {
                *sum += phasor * weight;
            }
        }
    })?;
    Ok(halves)
}
