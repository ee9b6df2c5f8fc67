//! All channels in, how alike every two of them are out: correlation without delay and the ratio of their levels.

use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use crate::signal::{total, widest};
use crate::units::Db;

/// More channels are not compared: their pairs grow with the square.
pub const MOST_CHANNELS: usize = 64;
/// Positions that are multiplied for all channels before going on: a first-level cache holds a dozen.
const STRETCH: usize = 512;
/// Channels that are multiplied by one other at the same time.
const ABREAST: usize = 4;
/// Sums side by side: eight doubles are one or two vectors on every processor.
const LANES: usize = 8;

/// How alike two channels are.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Pair {
    /// Places of the channels, counted from 0; the first is the smaller.
    pub channels: [usize; 2],
    /// Correlation without delay, -1 to 1, means left out.
    pub correlation: f64,
    /// The second's RMS over the first's, dB.
    pub gain_db: f64,
}

impl Pair {
    /// How much of one is not the other at another level, dB: 0 where they have nothing in common.
    #[must_use]
    pub fn unlike_db(&self) -> f64 {
        let unlike = (1.0 - self.correlation * self.correlation).max(0.0);
        Db::of_amplitude(unlike.sqrt()).0
    }
}

pub(super) struct PairMeter {
    samples: u64,
    sums: Vec<f64>,
    /// For every channel, its products with itself and all later ones.
    products: Vec<Vec<f64>>,
}

impl PairMeter {
    pub(super) fn new(channels: usize) -> Self {
        let channels = if channels > MOST_CHANNELS {
            0
        } else {
            channels
        };
        Self {
            samples: 0,
            sums: vec![0.0; channels],
            products: (0..channels)
                .map(|first| vec![0.0; channels - first])
                .collect(),
        }
    }

    /// Takes successive pieces of all channels.
    pub(super) fn add_all(&mut self, pieces: &[Vec<&[f64]>]) {
        let channels = self.sums.len();
        if channels == 0 {
            return;
        }
        let parts = pieces.par_iter().map(|planes| {
            let mut part = Self::new(channels);
            part.add(planes);
            part
        });
        // in the order of the pieces, so that the sums are the same on every number of cores
        for part in parts.collect::<Vec<_>>() {
            self.samples += part.samples;
            let products = self.products.iter_mut().zip(&part.products);
            for (own, other) in products.chain([(&mut self.sums, &part.sums)]) {
                own.iter_mut().zip(other).for_each(|(a, b)| *a += b);
            }
        }
    }

    fn add(&mut self, planes: &[&[f64]]) {
        let length = planes.first().map_or(0, |plane| plane.len());
        self.samples += length as u64;
        for from in (0..length).step_by(STRETCH) {
            let stretch = from..length.min(from + STRETCH);
            let planes = planes.iter().map(|plane| &plane[stretch.clone()]);
            let planes: Vec<&[f64]> = planes.collect();
            widest!(self.add_stretch(&planes));
        }
    }

    #[inline(always)]
    fn add_stretch(&mut self, planes: &[&[f64]]) {
        let rows = self.products.iter_mut().zip(&mut self.sums);
        for (first, (row, sum)) in rows.enumerate() {
            let (own, others) = (planes[first], &planes[first..]);
            *sum += total(own);
            let (fours, rest) = row.as_chunks_mut::<ABREAST>();
            let (planes, rest_planes) = others.as_chunks::<ABREAST>();
            for (products, planes) in fours.iter_mut().zip(planes) {
                add_products(own, planes, products);
            }
            for (product, plane) in rest.iter_mut().zip(rest_planes) {
                add_products(own, &[plane], std::array::from_mut(product));
            }
        }
    }

    pub(super) fn finish(self) -> Vec<Pair> {
        let n = self.samples.max(1) as f64;
        let common = |first: usize, second: usize| {
            let product = self.products[first][second - first];
            product / n - self.sums[first] / n * (self.sums[second] / n)
        };
        let channels = 0..self.sums.len();
        let all = channels
            .clone()
            .flat_map(|a| (a + 1..self.sums.len()).map(move |b| [a, b]));
        all.filter_map(|[a, b]| {
            let (own, other) = (common(a, a), common(b, b));
            let correlation = common(a, b) / (own * other).sqrt();
            let sound = own > 0.0 && other > 0.0 && correlation.is_finite();
            sound.then(|| Pair {
                channels: [a, b],
                correlation: correlation.clamp(-1.0, 1.0),
                gain_db: Db::of_amplitude((other / own).sqrt()).0,
            })
        })
        .collect()
    }
}

/// Adds the sums of products of one channel with `N` others.
#[inline(always)]
fn add_products<const N: usize>(own: &[f64], others: &[&[f64]; N], products: &mut [f64; N]) {
    let mut lanes = [[0.0; LANES]; N];
    let (blocks, rest) = own.as_chunks::<LANES>();
    let mut their = [blocks; N];
    for (their, other) in their.iter_mut().zip(others) {
        *their = &other.as_chunks().0[..blocks.len()];
    }
    for (at, block) in blocks.iter().enumerate() {
        for other in 0..N {
            for lane in 0..LANES {
                lanes[other][lane] += block[lane] * their[other][at][lane];
            }
        }
    }
    for (product, (lanes, other)) in products.iter_mut().zip(lanes.iter().zip(others)) {
        let others = &other[other.len() - rest.len()..];
        let rest: f64 = rest.iter().zip(others).map(|(x, y)| x * y).sum();
        *product += lanes.iter().sum::<f64>() + rest;
    }
}
