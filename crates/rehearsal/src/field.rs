//! Rooms and sources in; what each microphone and each wire carries, on the grid of true time, out: block by block.

use rayon::prelude::*;
use realfft::num_complex::Complex64;

use crate::convolve::{History, Spectrum, Transform, add_product};
use crate::error::Result;
use crate::rig::Feed;
use crate::rng;
use crate::room::{LEAD_IN, Path};
use crate::shoot::Shoot;
use crate::sound::{Begin, Sound, SourceStream};

/// The grid of true time has this rate; all content lies below 21.7 kHz.
pub(crate) const GRID_HZ: f64 = 48_000.0;
/// Sources sound this long before the shoot, so that the rooms are full when it starts, samples of the grid.
const BEFORE: i64 = 96_000;
/// A block has at least this many samples.
const MIN_HOP: usize = 24_000;

/// Everything that sounds, and all that carries it.
pub(crate) struct Field {
    transform: Transform,
    sources: Vec<SourceStream>,
    histories: Vec<History>,
    /// For each microphone, the response from each source; `None` where no sound gets through.
    responses: Vec<Vec<Option<Spectrum>>>,
    signals: Vec<SourceStream>,
}

/// The same stretch of every microphone and every signal.
pub(crate) struct Block {
    /// One a microphone, in the order of units and channels. Their first grid index is [`LEAD_IN`] less than that of
    /// the signals.
    pub(crate) mics: Vec<Vec<f64>>,
    /// One a signal.
    pub(crate) signals: Vec<Vec<f64>>,
}

impl Field {
    pub(crate) fn new(shoot: &Shoot) -> Result<Self> {
        let stream = |kind: u64| {
            move |(index, (sound, level_dbfs)): (usize, (&Sound, f64))| {
                let key = rng::key(shoot.seed, &[kind, index as u64]);
                let begin = Begin {
                    rate_hz: GRID_HZ,
                    first: -BEFORE,
                    key,
                };
                SourceStream::new(sound, level_dbfs, shoot.seconds, begin)
            }
        };
        let sources: Vec<_> = shoot
            .sources
            .iter()
            .map(|s| (&s.sound, s.level_dbfs))
            .collect();
        let signals: Vec<_> = shoot
            .signals
            .iter()
            .map(|s| (&s.sound, s.level_dbfs))
            .collect();
        let sources = sources
            .into_par_iter()
            .enumerate()
            .map(stream(1))
            .collect::<Result<Vec<_>>>()?;
        let signals = signals
            .into_par_iter()
            .enumerate()
            .map(stream(2))
            .collect::<Result<Vec<_>>>()?;
        let responses = room_responses(shoot);
        let longest = responses
            .iter()
            .flatten()
            .flatten()
            .map(Vec::len)
            .max()
            .unwrap_or(1);
        let transform = Transform::for_filters(longest, MIN_HOP);
        let responses = responses
            .into_par_iter()
            .map(|row| {
                row.into_iter()
                    .map(|taps| taps.map(|taps| transform.filter(&taps)))
                    .collect()
            })
            .collect();
        let histories = sources.iter().map(|_| History::new(&transform)).collect();
        Ok(Self {
            transform,
            sources,
            histories,
            responses,
            signals,
        })
    }

    /// The grid index of the first sample of the first block of a signal; a microphone's is [`LEAD_IN`] less.
    pub(crate) fn first_index() -> i64 {
        -BEFORE
    }

    /// The factor that was found to bring a signal to its level.
    pub(crate) fn signal_gain(&self, signal: usize) -> f64 {
        self.signals[signal].gain()
    }

    /// The length of a stretch.
    pub(crate) fn hop(&self) -> usize {
        self.transform.hop
    }

    /// The next stretch.
    pub(crate) fn next(&mut self) -> Block {
        let hop = self.transform.hop;
        let transform = &self.transform;
        let (spectra, signals) = rayon::join(
            || -> Vec<Spectrum> {
                self.sources
                    .par_iter_mut()
                    .zip(&mut self.histories)
                    .map(|(source, history)| {
                        source.fill(history.advance());
                        history.spectrum(transform)
                    })
                    .collect()
            },
            || -> Vec<Vec<f64>> {
                self.signals
                    .par_iter_mut()
                    .map(|signal| {
                        let mut block = vec![0.0; hop];
                        signal.fill(&mut block);
                        block
                    })
                    .collect()
            },
        );
        let mics = self
            .responses
            .par_iter()
            .map(|responses| {
                let mut sum: Option<Spectrum> = None;
                for (response, spectrum) in responses.iter().zip(&spectra) {
                    let Some(response) = response else { continue };
                    let sum = sum.get_or_insert_with(|| vec![Complex64::default(); spectrum.len()]);
                    add_product(sum, spectrum, response);
                }
                sum.map_or_else(|| vec![0.0; hop], |sum| transform.back(sum))
            })
            .collect();
        Block { mics, signals }
    }
}

/// `[microphone][source]`, microphones in the order of units and channels.
fn room_responses(shoot: &Shoot) -> Vec<Vec<Option<Vec<f64>>>> {
    let reflections: Vec<f64> = shoot
        .rooms
        .par_iter()
        .map(|room| room.reflection())
        .collect();
    let mics: Vec<(usize, [f64; 3])> = shoot
        .units
        .iter()
        .flat_map(|unit| {
            unit.channels
                .iter()
                .filter_map(|channel| match channel.feed {
                    Feed::Mic(place) => Some((unit.room, place)),
                    Feed::Common(_) | Feed::Open => None,
                })
        })
        .collect();
    mics.into_par_iter()
        .map(|(room_index, place)| {
            shoot
                .sources
                .par_iter()
                .map(|source| {
                    let room = shoot
                        .room_of(source.room)
                        .filter(|_| source.room == room_index)?;
                    let reflection = reflections.get(room_index).copied().unwrap_or(0.0);
                    let path = Path {
                        source: source.position_m,
                        place,
                        reflection,
                    };
                    Some(room.response(path, GRID_HZ))
                })
                .collect()
        })
        .collect()
}

/// How much earlier than a signal's a microphone's grid index is.
pub(crate) fn mic_lead_in() -> i64 {
    LEAD_IN as i64
}
