//! Long filters and room responses: their design, and streaming convolution by overlap-save (Stockham 1966), block in,
//! block out.

use std::f64::consts::PI;
use std::sync::Arc;

use realfft::num_complex::Complex64;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};

use crate::kernel::{kaiser, kaiser_beta};

/// A pair of transforms of one length, and how much of it is new samples at each step.
#[derive(Clone)]
pub(crate) struct Transform {
    forward: Arc<dyn RealToComplex<f64>>,
    inverse: Arc<dyn ComplexToReal<f64>>,
    size: usize,
    /// New samples a step.
    pub(crate) hop: usize,
}

/// A filter as a spectrum, for one [`Transform`].
pub(crate) type Spectrum = Vec<Complex64>;

impl Transform {
    /// Transforms long enough for filters of up to `filter_len` taps, at least `min_hop` new samples a step.
    pub(crate) fn for_filters(filter_len: usize, min_hop: usize) -> Self {
        let size = (filter_len * 2)
            .max(filter_len + min_hop)
            .next_power_of_two();
        let mut planner = RealFftPlanner::new();
        Self {
            forward: planner.plan_fft_forward(size),
            inverse: planner.plan_fft_inverse(size),
            size,
            hop: size - filter_len + 1,
        }
    }

    /// A filter's spectrum, scaled so that [`Self::back`] needs no scale.
    pub(crate) fn filter(&self, taps: &[f64]) -> Spectrum {
        let scaled: Vec<f64> = taps.iter().map(|tap| tap / self.size as f64).collect();
        self.spectrum(&scaled)
    }

    /// The spectrum of up to `size` samples, padded with silence.
    pub(crate) fn spectrum(&self, samples: &[f64]) -> Spectrum {
        let mut input = self.forward.make_input_vec();
        for (to, from) in input.iter_mut().zip(samples) {
            *to = *from;
        }
        let mut output = self.forward.make_output_vec();
        // The buffers come from the transform itself, so their lengths cannot be refused.
        let _ = self.forward.process(&mut input, &mut output);
        output
    }

    /// The last `hop` samples of a product of spectra: those that hold the whole filter.
    pub(crate) fn back(&self, mut product: Spectrum) -> Vec<f64> {
        if let Some(first) = product.first_mut() {
            first.im = 0.0;
        }
        if let Some(last) = product.last_mut() {
            last.im = 0.0;
        }
        let mut output = self.inverse.make_output_vec();
        let _ = self.inverse.process(&mut product, &mut output);
        output.split_off(self.size - self.hop)
    }
}

/// The last `size` samples of a signal that arrives `hop` samples at a time.
pub(crate) struct History {
    samples: Vec<f64>,
    hop: usize,
}

impl History {
    pub(crate) fn new(transform: &Transform) -> Self {
        Self {
            samples: vec![0.0; transform.size],
            hop: transform.hop,
        }
    }

    /// Makes room for `hop` new samples and hands them out to be filled.
    pub(crate) fn advance(&mut self) -> &mut [f64] {
        self.samples.copy_within(self.hop.., 0);
        let kept = self.samples.len() - self.hop;
        &mut self.samples[kept..]
    }

    pub(crate) fn spectrum(&self, transform: &Transform) -> Spectrum {
        transform.spectrum(&self.samples)
    }
}

/// `sum += a * b`, bin by bin.
pub(crate) fn add_product(sum: &mut [Complex64], a: &[Complex64], b: &[Complex64]) {
    for ((sum, a), b) in sum.iter_mut().zip(a).zip(b) {
        *sum += a * b;
    }
}

/// A band to let through, and how sharply: an odd, symmetric Kaiser-windowed filter.
pub(crate) struct Band {
    /// Lower edge (-6 dB), cycles a sample; 0 for a low-pass.
    pub(crate) low: f64,
    /// Upper edge (-6 dB), cycles a sample.
    pub(crate) high: f64,
    /// From full to nothing, cycles a sample.
    pub(crate) transition: f64,
    /// How far down the stop-band is.
    pub(crate) depth_db: f64,
}

impl Band {
    /// The filter's taps; its delay is `(len - 1) / 2` samples.
    pub(crate) fn taps(&self) -> Vec<f64> {
        // Kaiser's length: (A - 7.95) / (2.285 * 2 pi * transition), Oppenheim and Schafer, Kaiser window design.
        let len = (self.depth_db - 7.95) / (2.285 * 2.0 * PI * self.transition);
        let half = (len / 2.0).ceil().max(1.0);
        let beta = kaiser_beta(self.depth_db);
        let sinc = |cut: f64, x: f64| {
            if x == 0.0 {
                2.0 * cut
            } else {
                (2.0 * PI * cut * x).sin() / (PI * x)
            }
        };
        (0..=2 * half as usize)
            .map(|i| i as f64 - half)
            .map(|x| (sinc(self.high, x) - sinc(self.low, x)) * kaiser(beta, x / (half + 1.0)))
            .collect()
    }
}

/// Two filters one after the other.
pub(crate) fn cascade(first: &[f64], second: &[f64]) -> Vec<f64> {
    let len = first.len() + second.len() - 1;
    let transform = Transform::for_filters(len, 1);
    let mut product = transform.filter(first);
    for (bin, other) in product.iter_mut().zip(transform.spectrum(second)) {
        *bin *= other;
    }
    let mut whole = transform.inverse.make_output_vec();
    let _ = transform.inverse.process(&mut product, &mut whole);
    whole.truncate(len);
    whole
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rng::Rng;

    fn noise(len: usize, key: u64) -> Vec<f64> {
        let mut rng = Rng::new(key);
        (0..len).map(|_| rng.gaussian()).collect()
    }

    fn slow(signal: &[f64], taps: &[f64]) -> Vec<f64> {
        (0..signal.len())
            .map(|i| {
                taps.iter()
                    .take(i + 1)
                    .enumerate()
                    .map(|(j, t)| t * signal[i - j])
                    .sum()
            })
            .collect()
    }

    #[test]
    fn blocks_give_what_the_sum_over_taps_gives() {
        let (taps, transform) = (noise(301, 1), Transform::for_filters(301, 100));
        let signal = noise(transform.hop * 4, 2);
        let filter = transform.filter(&taps);
        let mut history = History::new(&transform);
        let mut found = Vec::new();
        for block in signal.chunks(transform.hop) {
            history.advance().copy_from_slice(block);
            let mut product = vec![Complex64::default(); filter.len()];
            add_product(&mut product, &history.spectrum(&transform), &filter);
            found.extend(transform.back(product));
        }
        for (found, expected) in found.iter().zip(slow(&signal, &taps)) {
            assert!((found - expected).abs() < 1e-11);
        }
    }

    #[test]
    fn a_cascade_is_the_convolution_of_both() {
        let (first, mut second) = (noise(40, 3), noise(25, 4));
        let found = cascade(&first, &second);
        second.resize(64, 0.0);
        for (found, expected) in found.iter().zip(slow(&second, &first)) {
            assert!((found - expected).abs() < 1e-12);
        }
    }

    #[test]
    fn a_band_passes_and_stops_where_it_says() {
        let band = Band {
            low: 0.1,
            high: 0.3,
            transition: 0.02,
            depth_db: 120.0,
        };
        let taps = band.taps();
        let gain_db = |f: f64| {
            let middle = (taps.len() / 2) as f64;
            let sum: f64 = (0..taps.len())
                .map(|i| taps[i] * (2.0 * PI * f * (i as f64 - middle)).cos())
                .sum();
            20.0 * sum.abs().log10()
        };
        assert!([0.111, 0.2, 0.289].iter().all(|&f| gain_db(f).abs() < 1e-4));
        assert!(
            [0.0, 0.089, 0.311, 0.45]
                .iter()
                .all(|&f| gain_db(f) < -115.0)
        );
        assert!((gain_db(0.1) + 6.02).abs() < 0.05);
    }
}
