//! A pitch in, something like speech out: some four syllables a second, voiced or not, shaped by four resonances each,
//! with pauses between phrases.

use std::f64::consts::{PI, TAU};

use super::events::{Event, normalise, overlaid};
use super::{Begin, Generator};
use crate::rng::Rng;

pub(crate) fn begin(pitch_hz: f64, begin: Begin) -> Box<dyn Generator> {
    let rate_hz = begin.rate_hz;
    overlaid(begin, move |rng| {
        if rng.unit() < 0.12 {
            let pause = (rng.range(0.15, 0.6) * rate_hz) as usize;
            return Event {
                samples: Vec::new(),
                next_after: pause,
            };
        }
        let len = (rng.range(0.12, 0.3) * rate_hz) as usize;
        let mut samples = if rng.unit() < 0.72 {
            voiced(rng, len, pitch_hz, rate_hz)
        } else {
            hiss(rng, len)
        };
        for (low_hz, high_hz, width_hz) in [
            (280.0, 850.0, 90.0),
            (900.0, 2300.0, 120.0),
            (2300.0, 3300.0, 180.0),
            (3400.0, 4500.0, 300.0),
        ] {
            resonate(
                &mut samples,
                rng.range(low_hz, high_hz) / rate_hz,
                width_hz / rate_hz,
            );
        }
        normalise(&mut samples);
        let size = 10_f64.powf(3.0 * rng.gaussian() / 20.0);
        for (i, sample) in samples.iter_mut().enumerate() {
            let rise = (i as f64 / (0.25 * len as f64)).min(1.0);
            let fall = ((len - i) as f64 / (0.35 * len as f64)).min(1.0);
            *sample *= size * (rise * PI / 2.0).sin() * (fall * PI / 2.0).sin();
        }
        Event {
            samples,
            next_after: (len as f64 * rng.range(0.85, 1.1)) as usize,
        }
    })
}

/// Glottal pulses: one kick a period, smoothed, with a little breath.
fn voiced(rng: &mut Rng, len: usize, pitch_hz: f64, rate_hz: f64) -> Vec<f64> {
    let (bend_hz, start) = (rng.range(1.0, 3.0), rng.range(0.0, TAU));
    let pitch_hz = pitch_hz * rng.range(0.9, 1.15);
    let (mut phase, mut smooth) = (0.0, 0.0);
    (0..len)
        .map(|i| {
            let t_s = i as f64 / rate_hz;
            let glide = 1.0 - 0.1 * i as f64 / len as f64;
            phase +=
                pitch_hz * glide * (1.0 + 0.15 * (TAU * bend_hz * t_s + start).sin()) / rate_hz;
            let mut kick = 0.03 * rng.gaussian();
            if phase >= 1.0 {
                phase -= 1.0;
                kick += 1.0;
            }
            smooth = 0.92 * smooth + kick;
            smooth
        })
        .collect()
}

/// Unvoiced sound: noise, rising with frequency.
fn hiss(rng: &mut Rng, len: usize) -> Vec<f64> {
    let mut last = 0.0;
    (0..len)
        .map(|_| {
            let now = rng.gaussian();
            now - std::mem::replace(&mut last, now)
        })
        .collect()
}

/// A resonance at `centre`, `width` wide (both in cycles a sample), over a little of the sound as it was.
pub(crate) fn resonate(samples: &mut [f64], centre: f64, width: f64) {
    let radius = (-PI * width).exp();
    let (a1, a2) = (2.0 * radius * (TAU * centre).cos(), -radius * radius);
    let (mut y1, mut y2) = (0.0, 0.0);
    for sample in samples {
        let y = (1.0 - radius) * *sample + a1 * y1 + a2 * y2;
        (y2, y1) = (y1, y);
        *sample = y + 0.15 * *sample;
    }
}
