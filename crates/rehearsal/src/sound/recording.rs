//! Sound files in; their mono mixes on the grid of true time, one after the other in random order, out.

use std::fs::File;
use std::path::{Path, PathBuf};

use wave::WaveFile;

use super::events::{Event, overlaid};
use super::{Begin, Generator};
use crate::error::{Error, Result};
use crate::kernel::{HALF, Kernel, TAPS, weigh};

/// Longest recording taken as a source, seconds: it is held in memory.
const LONGEST_S: u64 = 1200;

/// A sound of all files in random order, `pause_s` between them; one file alone comes round and round.
pub(crate) fn begin(paths: &[PathBuf], pause_s: f64, begin: Begin) -> Result<Box<dyn Generator>> {
    let files: Vec<Vec<f64>> = paths
        .iter()
        .map(|path| read(path, begin.rate_hz))
        .collect::<Result<_>>()?;
    if files.is_empty() {
        return Err(Error::invalid("a source plays recordings but names none"));
    }
    let pause = (pause_s * begin.rate_hz) as usize;
    Ok(overlaid(begin, move |rng| {
        let which = (rng.unit() * files.len() as f64) as usize;
        let samples = files.get(which).cloned().unwrap_or_default();
        Event {
            next_after: samples.len() + pause,
            samples,
        }
    }))
}

/// The whole file, mixed to mono and put on a grid of `rate_hz`.
fn read(path: &Path, rate_hz: f64) -> Result<Vec<f64>> {
    let file = File::open(path).map_err(|error| Error::file(path, error))?;
    let file = WaveFile::open(file).map_err(|error| Error::file(path, error))?;
    let header = file.header();
    let own_rate = header.format.sample_rate;
    if f64::from(own_rate) > rate_hz || header.length > LONGEST_S * u64::from(own_rate) {
        let limits = format!("at most {rate_hz} Hz and {LONGEST_S} s can be a source");
        return Err(Error::file(path, limits));
    }
    let channels: Vec<usize> = (0..usize::from(header.format.channels)).collect();
    let mut planes = vec![vec![0.0; header.length as usize]; channels.len()];
    let mut slices: Vec<&mut [f64]> = planes.iter_mut().map(Vec::as_mut_slice).collect();
    file.read(&channels, 0, &mut slices)
        .map_err(|error| Error::file(path, error))?;
    let mix: Vec<f64> = (0..header.length as usize)
        .map(|i| planes.iter().map(|plane| plane[i]).sum::<f64>() / channels.len() as f64)
        .collect();
    Ok(resample(&mix, f64::from(own_rate), rate_hz))
}

/// Samples at `from_hz` read at instants `1 / to_hz` apart.
fn resample(samples: &[f64], from_hz: f64, to_hz: f64) -> Vec<f64> {
    let mut padded = vec![0.0; HALF - 1];
    padded.extend_from_slice(samples);
    padded.resize(padded.len() + HALF + 1, 0.0);
    let mut row = [0.0; TAPS];
    let len = (samples.len() as f64 * to_hz / from_hz) as usize;
    (0..len)
        .map(|i| {
            let place = i as f64 * from_hz / to_hz;
            Kernel::shared().row(place.fract(), &mut row);
            padded
                .get(place as usize..place as usize + TAPS)
                .map_or(0.0, |near| weigh(&row, near))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A sinusoid at 44.1 kHz read at 48 kHz, against the closed form; away from the ends, where there is nothing.
    #[test]
    fn another_rate_is_put_on_the_grid() {
        let tone =
            |rate_hz: f64, i: usize| (std::f64::consts::TAU * 997.0 * i as f64 / rate_hz).sin();
        let samples: Vec<f64> = (0..4410).map(|i| tone(44_100.0, i)).collect();
        let found = resample(&samples, 44_100.0, 48_000.0);
        assert_eq!(found.len(), 4800);
        for (i, found) in found.iter().enumerate().take(4700).skip(100) {
            assert!((found - tone(48_000.0, i)).abs() < 1e-8);
        }
    }
}
