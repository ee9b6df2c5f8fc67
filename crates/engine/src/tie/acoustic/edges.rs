//! Templates in, edges out: by how much the apparent delay of one node exceeds another's, from the peak of the secondary
//! cross-correlation (of two phasor templates), refined by Newton steps, with a sandwich sigma and peak against side
//! lobes.
//!
//! Pairs of channels have room responses of their own but one clock, so their products are summed before the peak is
//! sought.

use std::sync::Arc;

use rayon::prelude::*;
use realfft::num_complex::{Complex32, Complex64};
use realfft::{ComplexToReal, RealFftPlanner};

use super::phasors::{Band, WINDOW};
use super::templates::Templates;
use crate::tie::correlate::refine;

/// Zero padding of the secondary cross-correlation.
const UP: usize = 4;

/// Side lobes are looked at up to this many analysis samples away.
const FAR: usize = 600;

/// Bins of one tooth of the combs by which the spectrum is halved.
const TOOTH: usize = 32;

/// A peak must stand out of the side lobes by this factor of their root mean square (measured on synthetic rooms).
const LEAST_PEAK: f64 = 4.5;

/// A peak blunter than this many analysis samples says nothing.
const BLUNTEST: f64 = 0.6;

/// Ratio of the lags at which nodes are compared.
const LAG_RATIO: f64 = 1.35;

/// Which bins take part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Comb {
    /// All of them.
    Whole,
    /// Every other group of 32.
    Even,
    /// The groups between.
    Odd,
}

impl Comb {
    fn has(self, bin: usize) -> bool {
        match self {
            Self::Whole => true,
            Self::Even => (bin / TOOTH).is_multiple_of(2),
            Self::Odd => !(bin / TOOTH).is_multiple_of(2),
        }
    }
}

/// How much later the follower is heard at node `to` than at node `from`, analysis samples.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Edge {
    /// The earlier node.
    pub from: usize,
    /// The later node.
    pub to: usize,
    /// The difference of the apparent delays.
    pub delta: f64,
    /// One standard deviation, by the sandwich.
    pub sigma: f64,
}

/// A peak of a secondary cross-correlation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Peak {
    /// Where, analysis samples.
    pub delta: f64,
    /// One standard deviation.
    pub sigma: f64,
    /// Height over the root mean square of the side lobes.
    pub prominence: f64,
}

/// How far to search for an edge's peak.
#[derive(Debug, Clone, Copy)]
pub struct Reach {
    /// Largest believed error of the rate so far (a ratio), by which the search widens with the lag.
    pub rate_error: f64,
    /// Analysis samples between nodes.
    pub spacing: f64,
    /// Never less than this many analysis samples.
    pub least: f64,
}

/// No search goes further than this many analysis samples.
const FURTHEST: f64 = 12.0;

/// The node distances that are compared: 2, 3, 4, 6, ... by a ratio of 1.35. Neighbours share half their sound, which
/// would confirm whatever clock is believed already.
#[must_use]
pub fn lags(nodes: usize) -> Vec<usize> {
    let mut lags = Vec::new();
    let mut lag = 2.0;
    while lag < nodes as f64 {
        lags.push(f64::round(lag) as usize);
        lag *= LAG_RATIO;
    }
    lags.retain(|&lag| lag < nodes);
    lags.dedup();
    lags
}

/// The pairs of nodes that are compared.
#[must_use]
pub fn comparisons(nodes: usize) -> Vec<(usize, usize)> {
    lags(nodes)
        .into_iter()
        .flat_map(|lag| (0..nodes - lag).map(move |from| (from, from + lag)))
        .collect()
}

/// The edges of a take that were found, of all `comparisons`.
#[must_use]
pub fn edges(
    templates: &Templates,
    band: Band,
    comb: Comb,
    reach: Reach,
    comparisons: &[(usize, usize)],
) -> Vec<Edge> {
    comparisons
        .par_iter()
        .map_init(
            || Meter::new(band),
            |meter, &(from, to)| {
                let lag = (to - from) as f64 * reach.spacing;
                let search = (reach.rate_error * lag).min(FURTHEST).max(reach.least);
                let peak = meter.between(templates, (from, to), comb, search);
                let clear = peak.prominence > LEAST_PEAK
                    && peak.delta.abs() < search + 0.2
                    && peak.sigma < BLUNTEST;
                clear.then_some(Edge {
                    from,
                    to,
                    delta: peak.delta,
                    sigma: peak.sigma,
                })
            },
        )
        .flatten()
        .collect()
}

/// Measures peaks of secondary cross-correlations.
pub struct Meter {
    band: Band,
    inverse: Arc<dyn ComplexToReal<f32>>,
    product: Vec<Complex64>,
    omega: Vec<f64>,
    spectrum: Vec<Complex32>,
    correlation: Vec<f32>,
    scratch: Vec<Complex32>,
}

impl Meter {
    /// A meter for `band`.
    #[must_use]
    pub fn new(band: Band) -> Self {
        let inverse = RealFftPlanner::new().plan_fft_inverse(UP * WINDOW);
        Self {
            band,
            omega: (0..band.bins).map(|i| band.omega(i)).collect(),
            product: vec![Complex64::default(); band.bins],
            spectrum: inverse.make_input_vec(),
            correlation: inverse.make_output_vec(),
            scratch: inverse.make_scratch_vec(),
            inverse,
        }
    }

    /// The peak of the secondary cross-correlation of two nodes, all pairs summed, within `search` analysis samples.
    pub fn between(
        &mut self,
        templates: &Templates,
        nodes: (usize, usize),
        comb: Comb,
        search: f64,
    ) -> Peak {
        self.multiply(templates, nodes, comb);
        self.peak(search)
    }

    /// The peak of any such product, within `search` analysis samples.
    pub fn of_product(&mut self, product: &[Complex64], search: f64) -> Peak {
        self.product.clear();
        self.product.extend_from_slice(product);
        self.peak(search)
    }

    /// How many times higher the peak between two nodes, all pairs summed, is than the highest one elsewhere within
    /// `FAR`: near 1 for a sound that repeats.
    pub fn uniqueness(&mut self, templates: &Templates, nodes: (usize, usize), search: f64) -> f64 {
        self.multiply(templates, nodes, Comb::Whole);
        self.correlate();
        let reach = (search * UP as f64).ceil() as i64;
        let (best, height) = self.highest(reach);
        let far = (FAR * UP) as i64;
        // The peak's own lobe ends where the correlation first falls below zero.
        let lobe = |step: i64| {
            let inside = (1..far).find(|i| self.at(best + step * i) <= 0.0);
            best + step * inside.unwrap_or(far)
        };
        let (low, high) = (lobe(-1), lobe(1));
        let next = (-far..low)
            .chain(high..far)
            .map(|lag| self.at(lag))
            .fold(0.0_f32, f32::max);
        f64::from(height) / f64::from(next).max(f64::MIN_POSITIVE)
    }

    /// The peak of one node's own cross-correlation for one pair: the delay of the follower, analysis samples within
    /// `search`, and its height over the side lobes; of either polarity.
    pub fn delay(&mut self, template: &[Complex32], search: f64) -> Peak {
        for (product, value) in self.product.iter_mut().zip(template) {
            *product = Complex64::new(f64::from(value.re), f64::from(value.im));
        }
        self.correlate();
        let reach = (search * UP as f64).ceil() as i64;
        let best = (-reach..=reach)
            .map(|lag| (lag, self.at(lag)))
            .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
            .unwrap_or((0, 0.0));
        Peak {
            delta: best.0 as f64 / UP as f64,
            sigma: 0.5 / UP as f64,
            prominence: f64::from(best.1.abs()) / self.floor(reach).max(f64::MIN_POSITIVE),
        }
    }

    /// The first and the last delay, analysis samples within `search`, at which the correlation measured last is at least
    /// `share` as high as at its highest, of either polarity.
    pub fn rivals(&self, search: f64, share: f64) -> (f64, f64) {
        let reach = (search * UP as f64).ceil() as i64;
        let height = |lag: i64| f64::from(self.at(lag).abs());
        let enough = share * (-reach..=reach).map(height).fold(0.0, f64::max);
        let high = |lag: &i64| height(*lag) >= enough;
        let first = (-reach..=reach).find(high).unwrap_or(0);
        let last = (-reach..=reach).rev().find(high).unwrap_or(0);
        (first as f64 / UP as f64, last as f64 / UP as f64)
    }

    fn multiply(&mut self, templates: &Templates, nodes: (usize, usize), comb: Comb) {
        self.product.fill(Complex64::default());
        for pair in 0..templates.pairs() {
            let rows = templates
                .of(nodes.1, pair)
                .iter()
                .zip(templates.of(nodes.0, pair));
            for (bin, (sum, (later, earlier))) in self.product.iter_mut().zip(rows).enumerate() {
                if comb.has(bin) {
                    let product = later * earlier.conj();
                    *sum += Complex64::new(f64::from(product.re), f64::from(product.im));
                }
            }
        }
    }

    fn highest(&self, reach: i64) -> (i64, f32) {
        (-reach..=reach)
            .map(|lag| (lag, self.at(lag)))
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .unwrap_or((0, 0.0))
    }

    fn peak(&mut self, search: f64) -> Peak {
        self.correlate();
        let reach = (search * UP as f64).ceil() as i64 + 1;
        let (best, height) = self.highest(reach);
        let prominence = f64::from(height) / self.floor(reach).max(f64::MIN_POSITIVE);
        let start = best as f64 / UP as f64;
        let refined = refine(&self.product, &self.omega, start);
        Peak {
            delta: refined.map_or(start, |refined| refined.delay),
            sigma: refined.map_or(f64::INFINITY, |refined| refined.sigma),
            prominence,
        }
    }

    fn correlate(&mut self) {
        self.spectrum.fill(Complex32::default());
        for (out, value) in self.spectrum[self.band.first..]
            .iter_mut()
            .zip(&self.product)
        {
            *out = Complex32::new(value.re as f32, value.im as f32);
        }
        // Neither end of the spectrum is in the band, so the transform has nothing to refuse; were it to, the
        // correlation stays empty and no peak stands out.
        if self
            .inverse
            .process_with_scratch(&mut self.spectrum, &mut self.correlation, &mut self.scratch)
            .is_err()
        {
            self.correlation.fill(0.0);
        }
    }

    /// The correlation at a delay of `lag` padded samples; positive: the later node hears the follower later.
    fn at(&self, lag: i64) -> f32 {
        let length = self.correlation.len() as i64;
        self.correlation[(-lag).rem_euclid(length) as usize]
    }

    /// Root mean square of the correlation away from the search.
    fn floor(&self, reach: i64) -> f64 {
        let near = reach + 8 * UP as i64;
        let far = ((FAR * UP) as i64).max(near + (FAR * UP) as i64 / 4);
        let (mut sum, mut count) = (0.0, 0.0);
        for lag in near..far.min(self.correlation.len() as i64 / 2) {
            for value in [self.at(lag), self.at(-lag)] {
                sum += f64::from(value).powi(2);
                count += 1.0;
            }
        }
        (sum / f64::max(count, 1.0)).sqrt()
    }
}
