//! Real samples in, spectra out, and back: one planned transform of a fixed length, and the Hann window.

use std::cell::{Cell, RefCell};
use std::f64::consts::PI;
use std::sync::Arc;

use realfft::num_complex::Complex64;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};

thread_local! {
    /// What a thread planned before: planning takes as long as a few transforms, and there are a handful of lengths.
    static PLANNER: RefCell<RealFftPlanner<f64>> = RefCell::new(RealFftPlanner::new());

    /// What a thread transforms in, so that no memory is asked for at every transform.
    static WORK: Cell<Work> = Cell::default();
}

#[derive(Default)]
struct Work {
    samples: Vec<f64>,
    scratch: Vec<Complex64>,
}

/// Plans and memory of longer transforms, megabytes each, are not kept.
const LONGEST_KEPT: usize = 1 << 16;

/// A planned real transform of one length, shareable between threads.
#[derive(Clone)]
pub struct Transform {
    length: usize,
    forward: Arc<dyn RealToComplex<f64>>,
    inverse: Arc<dyn ComplexToReal<f64>>,
}

impl Transform {
    /// A transform of `length` samples; even.
    #[must_use]
    pub fn new(length: usize) -> Self {
        let planned = |planner: &mut RealFftPlanner<f64>| Self {
            length,
            forward: planner.plan_fft_forward(length),
            inverse: planner.plan_fft_inverse(length),
        };
        if length <= LONGEST_KEPT {
            PLANNER.with_borrow_mut(planned)
        } else {
            planned(&mut RealFftPlanner::new())
        }
    }

    /// How many samples go in.
    #[must_use]
    pub fn length(&self) -> usize {
        self.length
    }

    /// How many bins come out: half the length and one.
    #[must_use]
    pub fn bins(&self) -> usize {
        self.length / 2 + 1
    }

    /// The spectrum of `samples`, which are zero-padded to the length; longer input is cut.
    #[must_use]
    pub fn spectrum(&self, samples: &[f64]) -> Vec<Complex64> {
        let mut spectrum = Vec::new();
        self.transform(samples.iter().copied(), &mut spectrum);
        spectrum
    }

    /// The same of samples times a window, into a spectrum that may have been used before.
    pub fn spectrum_under(&self, window: &[f64], samples: &[f64], spectrum: &mut Vec<Complex64>) {
        self.transform(samples.iter().zip(window).map(|(s, w)| s * w), spectrum);
    }

    #[inline]
    fn transform(&self, samples: impl Iterator<Item = f64>, spectrum: &mut Vec<Complex64>) {
        let mut work = WORK.take();
        work.samples.clear();
        work.samples.extend(samples.take(self.length));
        work.samples.resize(self.length, 0.0);
        work.scratch
            .resize(self.forward.get_scratch_len(), Complex64::default());
        spectrum.resize(self.bins(), Complex64::default());
        // The buffers have the planned lengths, the only thing that could fail.
        let done =
            self.forward
                .process_with_scratch(&mut work.samples, spectrum, &mut work.scratch);
        debug_assert!(done.is_ok());
        self.keep(work);
    }

    fn keep(&self, work: Work) {
        if self.length <= LONGEST_KEPT {
            WORK.set(work);
        }
    }

    /// The samples of `spectrum`, scaled so that a round trip is the identity.
    #[must_use]
    pub fn samples(&self, mut spectrum: Vec<Complex64>) -> Vec<f64> {
        spectrum.resize(self.bins(), Complex64::default());
        spectrum[0].im = 0.0;
        if let Some(last) = spectrum.last_mut() {
            last.im = 0.0;
        }
        let mut output = vec![0.0; self.length];
        let mut work = WORK.take();
        work.scratch
            .resize(self.inverse.get_scratch_len(), Complex64::default());
        let done = self
            .inverse
            .process_with_scratch(&mut spectrum, &mut output, &mut work.scratch);
        self.keep(work);
        debug_assert!(done.is_ok());
        let scale = 1.0 / self.length as f64;
        output.iter_mut().for_each(|value| *value *= scale);
        output
    }
}

/// The periodic Hann window: `0.5 - 0.5 cos(2 pi i / n)`.
#[must_use]
pub fn hann(n: usize) -> Vec<f64> {
    (0..n)
        .map(|i| 0.5 - 0.5 * (2.0 * PI * i as f64 / n as f64).cos())
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cosine_stands_in_its_bin_and_comes_back() {
        let transform = Transform::new(64);
        let samples: Vec<f64> = (0..64)
            .map(|i| (2.0 * PI * 5.0 * f64::from(i) / 64.0).cos())
            .collect();
        let spectrum = transform.spectrum(&samples);
        assert!((spectrum[5].re - 32.0).abs() < 1e-9 && spectrum[6].norm() < 1e-9);
        for (a, b) in transform.samples(spectrum).iter().zip(&samples) {
            assert!((a - b).abs() < 1e-12);
        }
    }
}
