//! What a sound is made of in, a mono file of 24 bits out, to be played into units: timecode, markers, tones.

use std::io::BufWriter;
use std::path::Path;

use timecode::ltc::{Encoder, Signal};
use wave::{Bext, Encoding, Format, WaveWriter, WriteSpec};

use crate::error::Result;
use crate::output::{Replace, failed, finished, temporary_beside};
use crate::sounds::TestSound;

/// Samples written at a time.
const PIECE: usize = 1 << 14;

/// What is written beside the samples.
struct About {
    sample_rate: u32,
    description: String,
    /// Samples since midnight.
    stamp: u64,
}

/// Writes `length` samples of the code to a mono file of 24 bits, its stamp that of the first label.
///
/// # Errors
/// As for [`write_text`](crate::output::write_text).
pub fn write_timecode(path: &Path, signal: Signal, length: u64, replace: Replace) -> Result<()> {
    let about = About {
        sample_rate: signal.sample_rate,
        description: format!(
            "linear timecode from {}, {}",
            signal.first,
            signal.first.counting()
        ),
        stamp: signal.first.to_samples(signal.sample_rate),
    };
    let mut encoder = Encoder::new(signal);
    let mut samples = vec![0.0_f32; PIECE];
    write(path, &about, length, replace, |_, plane| {
        let samples = &mut samples[..plane.len()];
        samples.fill(0.0);
        encoder.fill(samples);
        for (out, sample) in plane.iter_mut().zip(samples) {
            *out = f64::from(*sample);
        }
    })
}

/// A test sound to be written.
pub struct SoundFile<'a> {
    /// What sounds.
    pub sound: &'a dyn TestSound,
    /// Samples a second, as the sound has them.
    pub sample_rate: u32,
    /// How many samples.
    pub length: u64,
    /// What the file says of itself.
    pub description: String,
}

/// Writes a test sound to a mono file of 24 bits, its stamp midnight.
///
/// # Errors
/// As for [`write_text`](crate::output::write_text).
pub fn write_sound(path: &Path, file: &SoundFile<'_>, replace: Replace) -> Result<()> {
    let about = About {
        sample_rate: file.sample_rate,
        description: file.description.clone(),
        stamp: 0,
    };
    write(path, &about, file.length, replace, |first, plane| {
        file.sound.fill(first, plane);
    })
}

/// Asks `fill` for one piece after the other, each with its position, and writes them.
fn write(
    path: &Path,
    about: &About,
    length: u64,
    replace: Replace,
    mut fill: impl FnMut(u64, &mut [f64]),
) -> Result<()> {
    let spec = WriteSpec {
        bext: Some(Bext {
            description: about.description.clone(),
            originator: "commontime".into(),
            time_reference: about.stamp,
            version: 1,
            ..Bext::default()
        }),
        ..WriteSpec::new(Format::plain(1, about.sample_rate, Encoding::Int24))
    };
    let file = temporary_beside(path)?;
    let mut writer =
        WaveWriter::new(BufWriter::new(file), &spec).map_err(|error| failed(path, error))?;
    let mut plane = vec![0.0; PIECE];
    let mut done = 0;
    while done < length {
        let count = usize::try_from(length - done).map_or(PIECE, |left| left.min(PIECE));
        let plane = &mut plane[..count];
        fill(done, plane);
        writer
            .write_planar(&[plane])
            .map_err(|error| failed(path, error))?;
        done += count as u64;
    }
    let (_, out) = writer.finish().map_err(|error| failed(path, error))?;
    let file = out
        .into_inner()
        .map_err(|error| failed(path, error.into_error()))?;
    finished(file, path, replace)
}
