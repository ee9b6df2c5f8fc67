//! A lowest pitch in; plucked strings, bowed strings or a choir out, playing on a five-tone scale over two octaves.

use std::f64::consts::TAU;

use super::events::{Event, normalise, overlaid};
use super::speech::resonate;
use super::{Begin, Generator};
use crate::rng::Rng;

/// Steps of the scale, semitones above the lowest pitch.
const SCALE: [i32; 11] = [0, 2, 4, 7, 9, 12, 14, 16, 19, 21, 24];

fn step(lowest_hz: f64, semitones: i32) -> f64 {
    lowest_hz * (f64::from(semitones) / 12.0).exp2()
}

/// Strings after Karplus and Strong, "Digital synthesis of plucked-string and drum timbres", Computer Music Journal
/// 7(2), 1983: a burst of noise round a loop that averages neighbours.
pub(crate) fn plucked(lowest_hz: f64, notes_per_s: f64, begin: Begin) -> Box<dyn Generator> {
    let rate_hz = begin.rate_hz;
    overlaid(begin, move |rng| {
        let pitch_hz = step(lowest_hz, rng.pick(&SCALE));
        let mut string: Vec<f64> = (0..((rate_hz / pitch_hz) as usize).max(2))
            .map(|_| rng.range(-1.0, 1.0))
            .collect();
        normalise(&mut string);
        let len = (rng.range(1.2, 2.5) * rate_hz) as usize;
        let bright = rng.range(0.05, 0.35);
        let mut samples = Vec::with_capacity(len);
        let mut last = 0.0;
        for i in 0..len {
            let place = i % string.len();
            let now = string[place];
            string[place] = 0.9985 * ((1.0 - bright) * now + bright * last);
            last = now;
            let release = ((len - i) as f64 / (0.1 * rate_hz)).min(1.0);
            samples.push(now * release * 10_f64.powf(-0.4 * i as f64 / rate_hz));
        }
        let size = rng.range(0.4, 1.0);
        samples.iter_mut().for_each(|x| *x *= size);
        let wait_s = rng.pick(&[0.5, 1.0, 1.0, 1.0, 1.5, 2.0]) * rng.range(0.95, 1.05);
        Event {
            samples,
            next_after: (wait_s / notes_per_s * rate_hz) as usize,
        }
    })
}

/// One saw-toothed string at a time: slow attack, vibrato, a little noise of the bow.
pub(crate) fn bowed(lowest_hz: f64, begin: Begin) -> Box<dyn Generator> {
    let rate_hz = begin.rate_hz;
    overlaid(begin, move |rng| {
        let note = Note {
            pitch_hz: step(lowest_hz, rng.pick(&SCALE)),
            vibrato: 0.006,
            noise: 0.02,
            len_s: rng.range(0.35, 1.6),
            attack_s: 0.08,
        };
        let mut samples = note.sound(rng, rate_hz);
        resonate(&mut samples, 480.0 / rate_hz, 200.0 / rate_hz);
        resonate(&mut samples, 2_600.0 / rate_hz, 900.0 / rate_hz);
        normalise(&mut samples);
        let size = rng.range(0.5, 1.2);
        samples.iter_mut().for_each(|x| *x *= size);
        Event {
            next_after: (samples.len() as f64 * 0.92) as usize,
            samples,
        }
    })
}

/// Four-part chords, three slightly detuned voices to a part, vowels changing from chord to chord.
pub(crate) fn choir(lowest_hz: f64, begin: Begin) -> Box<dyn Generator> {
    let rate_hz = begin.rate_hz;
    overlaid(begin, move |rng| {
        let len_s = rng.range(2.0, 4.0);
        let mut samples = vec![0.0; (len_s * rate_hz) as usize];
        let root = rng.pick(&[0, 2, 5, 7]);
        for part in [0, 7, 12, 16] {
            for _ in 0..3 {
                let note = Note {
                    pitch_hz: step(lowest_hz, root + part) * rng.range(0.996, 1.004),
                    vibrato: 0.008,
                    noise: 0.05,
                    len_s,
                    attack_s: rng.range(0.15, 0.35),
                };
                for (sum, voice) in samples.iter_mut().zip(note.sound(rng, rate_hz)) {
                    *sum += voice;
                }
            }
        }
        let (first_hz, second_hz) = rng.pick(&[(700.0, 1_150.0), (400.0, 2_000.0), (350.0, 800.0)]);
        resonate(&mut samples, first_hz / rate_hz, 110.0 / rate_hz);
        resonate(&mut samples, second_hz / rate_hz, 160.0 / rate_hz);
        resonate(&mut samples, 2_900.0 / rate_hz, 300.0 / rate_hz);
        normalise(&mut samples);
        Event {
            next_after: (samples.len() as f64 * 0.95) as usize,
            samples,
        }
    })
}

struct Note {
    pitch_hz: f64,
    /// Peak change of the pitch, as a ratio.
    vibrato: f64,
    noise: f64,
    len_s: f64,
    attack_s: f64,
}

impl Note {
    fn sound(&self, rng: &mut Rng, rate_hz: f64) -> Vec<f64> {
        let len = (self.len_s * rate_hz) as usize;
        // sin(a + d) = 2 cos(d) sin(a) - sin(a - d): a sine without a sine a sample.
        let step = TAU * rng.range(4.8, 6.2) / rate_hz;
        let start = rng.range(0.0, TAU);
        let (twice_cos, mut last, mut now) = (2.0 * step.cos(), (start - step).sin(), start.sin());
        let mut phase = rng.unit();
        (0..len)
            .map(|i| {
                let t_s = i as f64 / rate_hz;
                phase += self.pitch_hz * (1.0 + self.vibrato * now) / rate_hz;
                phase -= if phase >= 1.0 { 1.0 } else { 0.0 };
                (last, now) = (now, twice_cos * now - last);
                let rise = (t_s / self.attack_s).min(1.0);
                let fall = ((self.len_s - t_s) / 0.12).clamp(0.0, 1.0);
                (2.0 * phase - 1.0 + self.noise * rng.range(-1.7, 1.7)) * rise * fall
            })
            .collect()
    }
}
