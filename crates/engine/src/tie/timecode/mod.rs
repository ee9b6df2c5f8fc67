//! A take's sound in, the timecode recorded on its channels out; two takes' timecode in, the moments that both heard out.

mod told;
mod shared;

pub use shared::{Shared, Side, shared};
pub use told::{ppm_against_generator, timecode_findings};

use std::ops::Range;

use rayon::prelude::*;
use timecode::ltc::{Decoder, Reading};

use crate::error::Result;
use crate::progress::Progress;
use crate::signal::Sound;

/// Samples read at a time.
const PIECE: usize = 1 << 16;
/// So long a piece tells whether there is timecode on a channel, seconds; and so many are looked at.
const PROBE_S: f64 = 5.0;
const PROBES: u64 = 6;

/// The timecode on one channel of a take; positions are samples of the take.
#[derive(Debug, Clone, PartialEq)]
pub struct Track {
    /// The channel, 0-based.
    pub channel: usize,
    /// What was read.
    pub reading: Reading,
}

/// Reads linear timecode off every channel that carries it, in the order of channels.
///
/// # Errors
/// When the take cannot be read.
pub fn timecode_tracks(sound: &dyn Sound, progress: &dyn Progress) -> Result<Vec<Track>> {
    let channels: Vec<usize> = (0..sound.channels()).collect();
    let length = sound.length().0;
    progress.stage("looking for timecode on the tracks", length);
    read(sound, &channels, 0..length, progress)
}

/// As [`timecode_tracks`], but of a long take only the channels are read to their end on which one of some pieces spread
/// over it holds timecode: listening to what is none takes longest.
///
/// # Errors
/// When the take cannot be read.
pub fn likely_timecode_tracks(sound: &dyn Sound, progress: &dyn Progress) -> Result<Vec<Track>> {
    let length = sound.length().0;
    let piece = (PROBE_S * sound.rate().hz()) as u64;
    if length <= 2 * PROBES * piece {
        return timecode_tracks(sound, progress);
    }
    progress.stage("looking for timecode on the tracks", PROBES * piece);
    let mut silent: Vec<usize> = (0..sound.channels()).collect();
    let mut carrying = Vec::new();
    for probe in 0..PROBES {
        let from = (length - piece) * probe / (PROBES - 1);
        let found = read(sound, &silent, from..from + piece, progress)?;
        let found: Vec<usize> = found.iter().map(|track| track.channel).collect();
        silent.retain(|channel| !found.contains(channel));
        carrying.extend(found);
    }
    carrying.sort_unstable();
    if carrying.is_empty() {
        return Ok(Vec::new());
    }
    progress.stage("reading timecode off the tracks", length);
    read(sound, &carrying, 0..length, progress)
}

/// The timecode on `channels` within a part of the take.
fn read(
    sound: &dyn Sound,
    channels: &[usize],
    part: Range<u64>,
    progress: &dyn Progress,
) -> Result<Vec<Track>> {
    let mut decoders: Vec<Decoder> = channels
        .iter()
        .map(|_| Decoder::new(sound.rate().0))
        .collect();
    let mut planes = vec![vec![0.0; PIECE]; channels.len()];
    let mut at = part.start;
    while at < part.end {
        let count = usize::try_from(part.end - at).map_or(PIECE, |left| left.min(PIECE));
        let mut out: Vec<&mut [f64]> = planes.iter_mut().map(|plane| &mut plane[..count]).collect();
        sound.read(channels, at as i64, &mut out)?;
        decoders
            .par_iter_mut()
            .zip(&planes)
            .for_each(|(decoder, plane)| {
                let samples: Vec<f32> = plane[..count].iter().map(|x| *x as f32).collect();
                decoder.push(&samples);
            });
        at += count as u64;
        progress.advance(count as u64);
    }
    let readings: Vec<Option<Reading>> = decoders.into_par_iter().map(Decoder::finish).collect();
    let tracks = channels.iter().zip(readings);
    Ok(tracks
        .filter_map(|(&channel, reading)| {
            Some(Track {
                channel,
                reading: reading?,
            })
        })
        .collect())
}
