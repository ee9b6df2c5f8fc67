//! A description of a sound in, its samples on the grid of true time out, block by block, in order and without end.
//!
//! Whatever a sound is made of, what leaves here is band-limited to 20 kHz, so that reading it between the samples of
//! the grid is exact.

mod code;
mod events;
mod notes;
mod recording;
mod speech;
mod stream;

use std::path::PathBuf;

use serde::{Deserialize, Serialize};

pub(crate) use stream::SourceStream;

use crate::error::Result;
use crate::rng::{self, Rng};
use crate::timecode_track::TimecodeTrack;

/// One sinusoid: `amplitude * sin(2 pi frequency_hz t + phase)`, `t` in true seconds from the start of the shoot.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Tone {
    /// Frequency, below 20 kHz.
    pub frequency_hz: f64,
    /// Peak amplitude before the sound's level is set.
    pub amplitude: f64,
    /// Phase in radians.
    pub phase: f64,
}

/// What a source or a common signal sounds like.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Sound {
    /// Nothing.
    Silence,
    /// Gaussian noise with a flat spectrum between two edges (-6 dB each, about 40 Hz wide).
    Noise {
        /// Lower edge, Hz.
        low_hz: f64,
        /// Upper edge, Hz, at most 20 000.
        high_hz: f64,
    },
    /// Sinusoids; as a common signal each unit evaluates them in closed form at its own instants.
    Tones(Vec<Tone>),
    /// Syllables, voiced and unvoiced, with pauses between phrases.
    Speech {
        /// Mean pitch of the voice, Hz.
        pitch_hz: f64,
    },
    /// Plucked strings over some two octaves, several ringing at once.
    Plucked {
        /// Lowest pitch, Hz.
        lowest_hz: f64,
        /// Notes a second.
        notes_per_s: f64,
    },
    /// One bowed string after the other, with vibrato.
    Bowed {
        /// Lowest pitch, Hz.
        lowest_hz: f64,
    },
    /// Long chords of many slightly detuned voices.
    Choir {
        /// Lowest pitch, Hz.
        lowest_hz: f64,
    },
    /// Single hand claps; their level is that of the peak.
    Claps {
        /// True times, seconds from the start of the shoot, rising.
        at_s: Vec<f64>,
    },
    /// A harmonic sound that never changes.
    Drone {
        /// Pitch, Hz.
        pitch_hz: f64,
    },
    /// The first `period_s` of another sound, over and over.
    Loop {
        /// What is repeated.
        sound: Box<Sound>,
        /// After how long, seconds.
        period_s: f64,
    },
    /// Sound files, mixed to mono, one after the other in an order that follows from the seed.
    Recordings {
        /// The files; at most 48 kHz and 20 minutes each.
        paths: Vec<PathBuf>,
        /// Silence between them, seconds.
        pause_s: f64,
    },
    /// Timecode from true time 0 on; its level is that of the peak. Its sample rate must be the grid's, 48 kHz.
    Timecode(Box<TimecodeTrack>),
    /// Several sounds one after the other, each for a while, over and over.
    Turns {
        /// Who takes turns.
        sounds: Vec<Sound>,
        /// How long a turn lasts, seconds.
        turn_s: f64,
    },
}

/// Where on the grid a generator begins, and what makes it differ from others of its kind.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Begin {
    pub(crate) rate_hz: f64,
    /// Grid index of the first sample; index 0 is true time 0.
    pub(crate) first: i64,
    pub(crate) key: u64,
}

/// Gives a sound's samples in order.
pub(crate) trait Generator: Send {
    fn fill(&mut self, out: &mut [f64]);
}

impl Sound {
    /// Speech, music or noise of one's own from a flat spectrum between 60 Hz and 19 kHz.
    #[must_use]
    pub fn programme() -> Self {
        Self::Noise {
            low_hz: 60.0,
            high_hz: 19_000.0,
        }
    }

    /// One sinusoid of amplitude 1.
    #[must_use]
    pub fn tone(frequency_hz: f64) -> Self {
        Self::Tones(vec![Tone {
            frequency_hz,
            amplitude: 1.0,
            phase: 0.0,
        }])
    }

    pub(crate) fn begin(&self, begin: Begin) -> Result<Box<dyn Generator>> {
        let rng = Rng::new(begin.key);
        Ok(match self {
            Self::Silence => Box::new(Silence),
            Self::Noise { .. } => Box::new(White(rng)),
            Self::Tones(tones) => Box::new(Sinusoids {
                tones: tones.clone(),
                begin,
            }),
            Self::Speech { pitch_hz } => speech::begin(*pitch_hz, begin),
            Self::Plucked {
                lowest_hz,
                notes_per_s,
            } => notes::plucked(*lowest_hz, *notes_per_s, begin),
            Self::Bowed { lowest_hz } => notes::bowed(*lowest_hz, begin),
            Self::Choir { lowest_hz } => notes::choir(*lowest_hz, begin),
            Self::Claps { at_s } => events::claps(at_s, begin),
            Self::Drone { pitch_hz } => Box::new(Sinusoids {
                tones: drone(*pitch_hz),
                begin,
            }),
            Self::Loop { sound, period_s } => {
                let mut period = vec![0.0; ((period_s * begin.rate_hz) as usize).max(1)];
                sound.begin(begin)?.fill(&mut period);
                Box::new(Round {
                    samples: period,
                    at: 0,
                })
            }
            Self::Recordings { paths, pause_s } => recording::begin(paths, *pause_s, begin)?,
            Self::Timecode(track) => code::begin(track, begin)?,
            Self::Turns { sounds, turn_s } => {
                let each = |(i, sound): (usize, &Self)| {
                    sound.begin(Begin {
                        key: rng::key(begin.key, &[i as u64]),
                        ..begin
                    })
                };
                Box::new(Turns {
                    sounds: sounds.iter().enumerate().map(each).collect::<Result<_>>()?,
                    turn: ((turn_s * begin.rate_hz) as usize).max(1),
                    at: 0,
                })
            }
        })
    }
}

fn drone(pitch_hz: f64) -> Vec<Tone> {
    let partials = (18_000.0 / pitch_hz).clamp(1.0, 24.0) as u32;
    (1..=partials)
        .map(|n| Tone {
            frequency_hz: f64::from(n) * pitch_hz,
            amplitude: 1.0 / f64::from(n),
            phase: f64::from(n * n),
        })
        .collect()
}

struct Silence;

impl Generator for Silence {
    fn fill(&mut self, out: &mut [f64]) {
        out.fill(0.0);
    }
}

struct White(Rng);

impl Generator for White {
    fn fill(&mut self, out: &mut [f64]) {
        out.fill_with(|| self.0.gaussian());
    }
}

struct Sinusoids {
    tones: Vec<Tone>,
    begin: Begin,
}

impl Generator for Sinusoids {
    fn fill(&mut self, out: &mut [f64]) {
        for (i, out) in out.iter_mut().enumerate() {
            let instant = Instant::of_grid(self.begin.first + i as i64, self.begin.rate_hz);
            *out = self.tones.iter().map(|tone| tone.at(instant)).sum();
        }
        self.begin.first += out.len() as i64;
    }
}

/// A true time, split so that the phase of a sinusoid keeps its digits after hours.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Instant {
    pub(crate) whole_s: f64,
    pub(crate) rest_s: f64,
}

impl Instant {
    pub(crate) fn of_grid(index: i64, rate_hz: f64) -> Self {
        let whole_s = (index as f64 / rate_hz).floor();
        Self {
            whole_s,
            rest_s: (index as f64 - whole_s * rate_hz) / rate_hz,
        }
    }
}

impl Tone {
    pub(crate) fn at(&self, instant: Instant) -> f64 {
        let cycles = self.frequency_hz * instant.whole_s;
        let lost = self.frequency_hz.mul_add(instant.whole_s, -cycles);
        let cycles = cycles.fract() + lost + self.frequency_hz * instant.rest_s;
        self.amplitude * (std::f64::consts::TAU * cycles.fract() + self.phase).sin()
    }
}

struct Round {
    samples: Vec<f64>,
    at: usize,
}

impl Generator for Round {
    fn fill(&mut self, out: &mut [f64]) {
        for out in out {
            *out = self.samples.get(self.at).copied().unwrap_or(0.0);
            self.at = if self.at + 1 >= self.samples.len() {
                0
            } else {
                self.at + 1
            };
        }
    }
}

struct Turns {
    sounds: Vec<Box<dyn Generator>>,
    turn: usize,
    at: usize,
}

impl Generator for Turns {
    fn fill(&mut self, out: &mut [f64]) {
        out.fill(0.0);
        let mut one = vec![0.0; out.len()];
        let count = self.sounds.len().max(1);
        let edge = (self.turn / 20).max(1) as f64;
        for (who, sound) in self.sounds.iter_mut().enumerate() {
            sound.fill(&mut one);
            for (i, (out, one)) in out.iter_mut().zip(&one).enumerate() {
                let at = self.at + i;
                if (at / self.turn) % count == who {
                    let into = at % self.turn;
                    let from_edge = into.min(self.turn - into) as f64;
                    *out += one * (from_edge / edge).min(1.0);
                }
            }
        }
        self.at += out.len();
    }
}
