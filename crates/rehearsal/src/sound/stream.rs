//! A sound, its level and its place in time in; its band-limited samples on the grid out, block by block.

use std::collections::VecDeque;

use super::{Begin, Generator, Sound};
use crate::convolve::{Band, History, Spectrum, Transform, cascade};
use crate::error::Result;
use crate::rng;

/// How long a sound is listened to before its level is set, seconds.
const LISTEN_S: f64 = 20.0;
/// How many samples are filtered at a time, at least.
const MIN_HOP: usize = 16_384;

/// A sound on its way to the microphones.
pub(crate) struct SourceStream {
    generator: Box<dyn Generator>,
    transform: Transform,
    filter: Spectrum,
    history: History,
    ready: VecDeque<f64>,
    gain: f64,
}

impl SourceStream {
    /// A stream whose first sample belongs to grid index `begin.first`. Its RMS over the first seconds of the shoot
    /// (the peak, for single events and timecode) is `level_dbfs`; `seconds` is how long the shoot lasts.
    pub(crate) fn new(sound: &Sound, level_dbfs: f64, seconds: f64, begin: Begin) -> Result<Self> {
        let size = match sound {
            Sound::Silence | Sound::Claps { .. } | Sound::Timecode(_) => 1.0,
            Sound::Tones(tones) => {
                (tones.iter().map(|tone| tone.amplitude.powi(2)).sum::<f64>() / 2.0).sqrt()
            }
            _ => Self::with_gain(sound, 1.0, begin)?.listen(seconds, begin),
        };
        let gain = if size > 0.0 {
            10_f64.powf(level_dbfs / 20.0) / size
        } else {
            0.0
        };
        Self::with_gain(sound, gain, begin)
    }

    /// The RMS over the first seconds from true time 0.
    fn listen(mut self, seconds: f64, begin: Begin) -> f64 {
        let mut block = vec![0.0; (begin.rate_hz * LISTEN_S.min(seconds).max(0.1)) as usize];
        // What sounds before true time 0 only fills the room.
        let mut before = vec![0.0; usize::try_from(-begin.first).unwrap_or(0)];
        self.fill(&mut before);
        self.fill(&mut block);
        (block.iter().map(|x| x * x).sum::<f64>() / block.len() as f64).sqrt()
    }

    fn with_gain(sound: &Sound, gain: f64, begin: Begin) -> Result<Self> {
        let taps = band_limit(sound, begin.rate_hz);
        let delay = (taps.len() - 1) / 2;
        let transform = Transform::for_filters(taps.len(), MIN_HOP);
        let mut stream = Self {
            generator: sound.begin(Begin {
                key: rng::key(begin.key, &[0x50]),
                ..begin
            })?,
            filter: transform.filter(&taps),
            history: History::new(&transform),
            transform,
            ready: VecDeque::new(),
            gain,
        };
        // The filter looks `delay` samples ahead; dropping as many puts its output on the grid again.
        stream.fill(&mut vec![0.0; delay]);
        Ok(stream)
    }

    /// The next samples.
    pub(crate) fn fill(&mut self, out: &mut [f64]) {
        while self.ready.len() < out.len() {
            self.generator.fill(self.history.advance());
            let mut product = self.history.spectrum(&self.transform);
            for (bin, filter) in product.iter_mut().zip(&self.filter) {
                *bin *= filter;
            }
            self.ready.extend(self.transform.back(product));
        }
        let given = self.ready.drain(..out.len());
        for (out, sample) in out.iter_mut().zip(given) {
            *out = sample * self.gain;
        }
    }

    pub(crate) fn gain(&self) -> f64 {
        self.gain
    }
}

/// The filter that leaves nothing above 21.7 kHz on a 48 kHz grid, with the sound's own band before it.
fn band_limit(sound: &Sound, rate_hz: f64) -> Vec<f64> {
    let low_pass = Band {
        low: 0.0,
        high: 20_850.0 / 48_000.0,
        transition: 1_700.0 / 48_000.0,
        depth_db: 165.0,
    }
    .taps();
    match *sound {
        Sound::Noise { low_hz, high_hz } => {
            let band = Band {
                low: low_hz / rate_hz,
                high: high_hz / rate_hz,
                transition: 40.0 / rate_hz,
                depth_db: 100.0,
            };
            cascade(&band.taps(), &low_pass)
        }
        _ => low_pass,
    }
}
