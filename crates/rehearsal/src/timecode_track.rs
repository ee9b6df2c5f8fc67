//! What is recorded on a timecode track, and how badly, in; its samples and the truth of every word on it out.
//!
//! Labels are counted up one by one and words put together bit by bit, by other arithmetic than the code under test.

use std::f64::consts::{PI, TAU};

use serde::{Deserialize, Serialize};

use crate::error::Result;
use crate::rng::{self, Rng};
use crate::sound::{Begin, Sound};

/// A track of linear timecode (SMPTE ST 12-1, 9) and what was done to it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TimecodeTrack {
    /// Everything random follows from it.
    pub seed: u64,
    /// Samples a second.
    pub sample_rate: u32,
    /// How long it lasts, seconds.
    pub seconds: f64,
    /// Timecode frames ...
    pub frames: u32,
    /// ... in this many seconds.
    pub in_seconds: u32,
    /// Whether two labels are left out at the start of minutes that are no multiple of ten.
    pub drop_frame: bool,
    /// The drop-frame flag says the opposite.
    pub wrong_flag: bool,
    /// Hours, minutes, seconds and timecode frames of the first word.
    pub first: [u8; 4],
    /// The user bits, group 8 the highest four.
    pub user_bits: u32,
    /// 1 as sent, 2 twice as fast.
    pub speed: f64,
    /// Played from its end to its beginning.
    pub reversed: bool,
    /// The other polarity.
    pub inverted: bool,
    /// 10 to 90 % of an edge as sent, seconds: played faster it is shorter.
    pub rise_s: f64,
    /// Peak level of the code before filters.
    pub level_dbfs: f64,
    /// Silence before the code begins, seconds.
    pub late_s: f64,
    /// Times during which the code is missing, seconds from the start: from, to.
    pub gaps_s: Vec<(f64, f64)>,
    /// At this time the label goes ahead by so many, seconds and labels.
    pub jump: Option<(f64, i64)>,
    /// All words have the same label.
    pub still: bool,
    /// A fourth-order low pass, Hz.
    pub low_pass_hz: Option<f64>,
    /// A second-order high pass, Hz.
    pub high_pass_hz: Option<f64>,
    /// White noise up to 24 kHz, the code's power over it in dB.
    pub snr_db: Option<f64>,
    /// Hum of 50 Hz with odd harmonics, dB over the code.
    pub hum_db: Option<f64>,
    /// Speech, dB over the code.
    pub speech_db: Option<f64>,
    /// Everything is clipped at this share of the peak.
    pub clip: Option<f64>,
}

/// One word of a track.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrackWord {
    /// Where the edge before its first bit lies, samples.
    pub start: f64,
    /// How long it lasts, samples.
    pub length: f64,
    /// Hours, minutes, seconds and timecode frames.
    pub label: [u8; 4],
    /// Its first 64 bits, bit 0 the lowest.
    pub bits: u64,
    /// Whether all of it can be heard.
    pub whole: bool,
}

impl Default for TimecodeTrack {
    /// Ten seconds at 25 from 01:02:03:04, clean, at -20 dBFS.
    fn default() -> Self {
        Self {
            seed: 1,
            sample_rate: 48_000,
            seconds: 10.0,
            frames: 25,
            in_seconds: 1,
            drop_frame: false,
            wrong_flag: false,
            first: [1, 2, 3, 4],
            user_bits: 0,
            speed: 1.0,
            reversed: false,
            inverted: false,
            rise_s: 40e-6,
            level_dbfs: -20.0,
            late_s: 0.0,
            gaps_s: Vec::new(),
            jump: None,
            still: false,
            low_pass_hz: None,
            high_pass_hz: None,
            snr_db: None,
            hum_db: None,
            speech_db: None,
            clip: None,
        }
    }
}

impl TimecodeTrack {
    /// The samples and every word on them, as it was sent.
    ///
    /// # Errors
    /// When the speech cannot be made.
    pub fn record(&self) -> Result<(Vec<f32>, Vec<TrackWord>)> {
        let rate = f64::from(self.sample_rate);
        let length = (self.seconds * rate) as usize;
        let amplitude = 10_f64.powf(self.level_dbfs / 20.0);
        let (edges, mut words) = self.edges();
        let mut sound = self.levels(&edges, length);
        if self.reversed {
            sound.reverse();
            for word in &mut words {
                word.start = (length - 1) as f64 - word.start;
            }
        }
        for word in &mut words {
            let (from, to) = if self.reversed {
                (word.start - word.length, word.start)
            } else {
                (word.start, word.start + word.length)
            };
            let missing = |(a, b): &(f64, f64)| to > a * rate && from < b * rate;
            word.whole = from >= -0.5 && to <= length as f64 && !self.gaps_s.iter().any(missing);
        }
        for (from, to) in &self.gaps_s {
            let last = ((to * rate) as usize).min(length);
            sound[((from * rate) as usize).min(last)..last].fill(0.0);
        }
        let sign = if self.inverted { -amplitude } else { amplitude };
        sound.iter_mut().for_each(|x| *x *= sign);
        if let Some(hz) = self.low_pass_hz {
            // Butterworth of the fourth order: two sections of these qualities
            for quality in [0.541_196_1, 1.306_563] {
                section(&mut sound, hz / rate, quality, Kind::Low);
            }
        }
        if let Some(hz) = self.high_pass_hz {
            section(
                &mut sound,
                hz / rate,
                std::f64::consts::FRAC_1_SQRT_2,
                Kind::High,
            );
        }
        self.add_others(&mut sound)?;
        if let Some(share) = self.clip {
            let peak = sound.iter().fold(0.0, |most: f64, x| most.max(x.abs()));
            let limit = share * peak;
            sound.iter_mut().for_each(|x| *x = x.clamp(-limit, limit));
        }
        Ok((sound.into_iter().map(|x| x as f32).collect(), words))
    }

    /// The edges of the whole track, samples, and its words, before it is reversed.
    fn edges(&self) -> (Vec<f64>, Vec<TrackWord>) {
        let rate = f64::from(self.sample_rate);
        let a_second = f64::from(self.frames) / f64::from(self.in_seconds) * self.speed;
        let length = rate / a_second;
        let cell = length / 80.0;
        let end = self.seconds * rate;
        let mut label = self.first;
        let (mut edges, mut words) = (Vec::new(), Vec::new());
        for index in 0_u32.. {
            let start = self.late_s * rate + f64::from(index) * length;
            if start > end {
                break;
            }
            if let Some((at_s, by)) = self.jump
                && words
                    .last()
                    .is_some_and(|word: &TrackWord| word.start < at_s * rate)
                && start >= at_s * rate
            {
                for _ in 0..by.rem_euclid(24 * 3600 * i64::from(self.nominal())) {
                    label = self.next(label);
                }
            }
            let bits = self.bits(label);
            for bit in 0..80 {
                let at = start + f64::from(bit) * cell;
                edges.push(at);
                let one = if bit < 64 {
                    bits >> bit & 1 == 1
                } else {
                    // 0011 1111 1111 1101
                    !matches!(bit, 64 | 65 | 78)
                };
                if one {
                    edges.push(at + 0.5 * cell);
                }
            }
            words.push(TrackWord {
                start,
                length,
                label,
                bits,
                whole: true,
            });
            if !self.still {
                label = self.next(label);
            }
        }
        (edges, words)
    }

    fn nominal(&self) -> u32 {
        self.frames.div_ceil(self.in_seconds)
    }

    fn next(&self, [h, m, s, f]: [u8; 4]) -> [u8; 4] {
        if u32::from(f) + 1 < self.nominal() {
            return [h, m, s, f + 1];
        }
        if s < 59 {
            return [h, m, s + 1, 0];
        }
        let (h, m) = match (h, m) {
            (23, 59) => (0, 0),
            (_, 59) => (h + 1, 0),
            _ => (h, m + 1),
        };
        let skips = self.drop_frame && !m.is_multiple_of(10);
        [h, m, 0, if skips { 2 } else { 0 }]
    }

    fn bits(&self, [h, m, s, f]: [u8; 4]) -> u64 {
        let mut bits = [false; 64];
        for (place, value) in [(0, f), (16, s), (32, m), (48, h)] {
            for bit in 0..4 {
                bits[place + bit] = (value % 10) >> bit & 1 == 1;
                bits[place + 8 + bit] |= (value / 10) >> bit & 1 == 1;
            }
        }
        for group in 0..8 {
            for bit in 0..4 {
                bits[8 * group + 4 + bit] = self.user_bits >> (4 * group + bit) & 1 == 1;
            }
        }
        bits[10] |= self.drop_frame != self.wrong_flag;
        let polarity = if self.nominal() == 25 { 59 } else { 27 };
        // three zeros stand in the sync word
        let zeros = bits.iter().filter(|bit| !**bit).count() + 3;
        bits[polarity] = !zeros.is_multiple_of(2);
        let places = bits.iter().enumerate();
        places.fold(0, |all, (place, bit)| all | u64::from(*bit) << place)
    }

    /// The code at level 1: between edges one level or the other, over an edge half a cosine; nothing before the first.
    fn levels(&self, edges: &[f64], length: usize) -> Vec<f64> {
        let rate = f64::from(self.sample_rate);
        let tenth = f64::acos(0.8) / PI;
        let whole = (self.rise_s / self.speed * rate / (1.0 - 2.0 * tenth)).max(1e-9);
        let mut sound = vec![0.0; length];
        let mut level = 0.0;
        let mut settled = 0;
        for (at, edge) in edges.iter().enumerate() {
            let next = if at.is_multiple_of(2) { 1.0 } else { -1.0 };
            let first = ((edge - 0.5 * whole).ceil().max(0.0) as usize).min(length);
            let last = ((edge + 0.5 * whole).ceil().max(0.0) as usize).min(length);
            // what an edge before has left stays until this one begins
            sound[settled.min(first)..first].fill(level);
            for (sample, x) in sound.iter_mut().enumerate().take(last).skip(first) {
                let past = (sample as f64 - edge) / whole + 0.5;
                let risen = 0.5 - 0.5 * (PI * past.clamp(0.0, 1.0)).cos();
                let begun = if sample < settled { *x } else { level };
                *x = begun + risen * (next - level);
            }
            settled = settled.max(last);
            level = next;
        }
        sound[settled.min(length)..].fill(level);
        sound
    }

    fn add_others(&self, sound: &mut [f64]) -> Result<()> {
        let rate = f64::from(self.sample_rate);
        let heard: Vec<f64> = sound.iter().copied().filter(|x| *x != 0.0).collect();
        let power = heard.iter().map(|x| x * x).sum::<f64>() / heard.len().max(1) as f64;
        let rms = power.sqrt();
        if let Some(db) = self.hum_db {
            let size = rms * 10_f64.powf(db / 20.0) * 2_f64.sqrt();
            for (i, x) in sound.iter_mut().enumerate() {
                let turn = TAU * 50.0 * i as f64 / rate;
                *x += size * (turn.sin() + 0.3 * (3.0 * turn).sin() + 0.1 * (5.0 * turn).sin());
            }
        }
        if let Some(db) = self.speech_db {
            let begin = Begin {
                rate_hz: rate,
                first: 0,
                key: rng::key(self.seed, &[1]),
            };
            let mut speech = vec![0.0; sound.len()];
            Sound::Speech { pitch_hz: 120.0 }
                .begin(begin)?
                .fill(&mut speech);
            let own = speech.iter().map(|x| x * x).sum::<f64>() / speech.len() as f64;
            let size = rms * 10_f64.powf(db / 20.0) / own.sqrt();
            sound
                .iter_mut()
                .zip(&speech)
                .for_each(|(x, s)| *x += size * s);
        }
        if let Some(db) = self.snr_db {
            let mut rng = Rng::new(rng::key(self.seed, &[2]));
            let size = rms * 10_f64.powf(-db / 20.0) * (rate / 48_000.0).sqrt();
            sound.iter_mut().for_each(|x| *x += size * rng.gaussian());
        }
        Ok(())
    }
}

enum Kind {
    Low,
    High,
}

/// One section of the second order at a corner (a share of the sample rate), by the bilinear transform.
fn section(sound: &mut [f64], corner: f64, quality: f64, kind: Kind) {
    let k = (PI * corner.min(0.499)).tan();
    let norm = 1.0 / (1.0 + k / quality + k * k);
    let [b0, b1] = match kind {
        Kind::Low => [k * k * norm, 2.0 * k * k * norm],
        Kind::High => [norm, -2.0 * norm],
    };
    let (a1, a2) = (
        2.0 * (k * k - 1.0) * norm,
        (1.0 - k / quality + k * k) * norm,
    );
    let (mut s1, mut s2) = (0.0, 0.0);
    for x in sound {
        let y = b0 * *x + s1;
        s1 = b1 * *x - a1 * y + s2;
        s2 = b0 * *x - a2 * y;
        *x = y;
    }
}
