//! Single events one after the other in (syllables, notes, claps), one continuous sound out.

use super::{Begin, Generator};
use crate::rng::Rng;

/// One event and how long after its start the next one starts, in samples.
pub(crate) struct Event {
    pub(crate) samples: Vec<f64>,
    pub(crate) next_after: usize,
}

/// Events laid over each other as they come.
pub(crate) struct Overlaid<F> {
    make: F,
    rng: Rng,
    /// Sound already begun, from the next sample to give.
    pending: Vec<f64>,
    /// When the next event starts, counted from the next sample to give.
    next_in: usize,
}

/// A sound of the events that `make` gives.
pub(crate) fn overlaid<F>(begin: Begin, make: F) -> Box<dyn Generator>
where
    F: FnMut(&mut Rng) -> Event + Send + 'static,
{
    Box::new(Overlaid {
        make,
        rng: Rng::new(begin.key),
        pending: Vec::new(),
        next_in: 0,
    })
}

impl<F: FnMut(&mut Rng) -> Event + Send> Generator for Overlaid<F> {
    fn fill(&mut self, out: &mut [f64]) {
        while self.next_in < out.len() {
            let event = (self.make)(&mut self.rng);
            let end = self.next_in + event.samples.len();
            self.pending.resize(self.pending.len().max(end), 0.0);
            for (to, from) in self.pending[self.next_in..end]
                .iter_mut()
                .zip(&event.samples)
            {
                *to += from;
            }
            self.next_in += event.next_after.max(1);
        }
        let given = out.len().min(self.pending.len());
        out[..given].copy_from_slice(&self.pending[..given]);
        out[given..].fill(0.0);
        self.pending.drain(..given);
        self.next_in -= out.len();
    }
}

/// Makes the mean of an event 0 and its RMS 1.
pub(crate) fn normalise(samples: &mut [f64]) {
    let count = samples.len().max(1) as f64;
    let mean = samples.iter().sum::<f64>() / count;
    samples.iter_mut().for_each(|x| *x -= mean);
    let size = (samples.iter().map(|x| x * x).sum::<f64>() / count).sqrt();
    if size > 0.0 {
        samples.iter_mut().for_each(|x| *x /= size);
    }
}

/// Hand claps: a few close bursts of noise, dying away within some hundredths of a second; peak 1.
pub(crate) fn claps(at_s: &[f64], begin: Begin) -> Box<dyn Generator> {
    let mut starts = at_s
        .iter()
        .map(|at_s| (at_s * begin.rate_hz).round() as i64)
        .filter(|&start| start >= begin.first)
        .collect::<Vec<_>>()
        .into_iter()
        .peekable();
    let mut now = begin.first;
    let rate_hz = begin.rate_hz;
    overlaid(begin, move |rng| {
        let mut samples = Vec::new();
        if starts.next_if_eq(&now).is_some() {
            samples = clap(rng, rate_hz);
        }
        let next = starts.peek().copied().unwrap_or(i64::MAX / 2);
        let next_after = (next - now).max(1);
        now += next_after;
        Event {
            samples,
            next_after: usize::try_from(next_after).unwrap_or(1),
        }
    })
}

fn clap(rng: &mut Rng, rate_hz: f64) -> Vec<f64> {
    let mut samples = vec![0.0; (0.08 * rate_hz) as usize];
    for (start_s, size) in [(0.0, 0.5), (0.007, 0.7), (0.013, 1.0)] {
        let start = (start_s * rate_hz) as usize;
        for (i, sample) in samples.iter_mut().skip(start).enumerate() {
            *sample += size * rng.gaussian() * (-(i as f64) / (0.006 * rate_hz)).exp();
        }
    }
    let peak = samples.iter().fold(0.0_f64, |peak, x| peak.max(x.abs()));
    samples.iter_mut().for_each(|x| *x /= peak.max(1e-9));
    samples
}
