//! All channels in, how alike every two of them are out: correlation without delay and the ratio of their levels.

use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use crate::units::Db;

/// More channels are not compared: their pairs grow with the square.
pub const MOST_CHANNELS: usize = 64;
/// Positions of all channels that are multiplied before going on, so that they stay in the cache.
const STRETCH: usize = 2048;

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

    pub(super) fn add(&mut self, planes: &[&[f64]]) {
        let length = planes.first().map_or(0, |plane| plane.len());
        self.samples += length as u64;
        let rows = self.products.par_iter_mut().zip(&mut self.sums).enumerate();
        rows.for_each(|(first, (row, sum))| {
            for from in (0..length).step_by(STRETCH) {
                let stretch = from..length.min(from + STRETCH);
                let own = &planes[first][stretch.clone()];
                *sum += own.iter().sum::<f64>();
                for (product, plane) in row.iter_mut().zip(&planes[first..]) {
                    *product += dot(own, &plane[stretch.clone()]);
                }
            }
        });
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

/// The sum of products.
fn dot(a: &[f64], b: &[f64]) -> f64 {
    let mut lanes = [0.0; 8];
    let ((a8, a_rest), (b8, b_rest)) = (a.as_chunks::<8>(), b.as_chunks::<8>());
    for (x, y) in a8.iter().zip(b8) {
        for lane in 0..8 {
            lanes[lane] += x[lane] * y[lane];
        }
    }
    let rest: f64 = a_rest.iter().zip(b_rest).map(|(x, y)| x * y).sum();
    lanes.iter().sum::<f64>() + rest
}
