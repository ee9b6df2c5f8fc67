//! A first label and a length in, a file of linear timecode out, to be played into units.

use std::io::BufWriter;
use std::path::Path;

use timecode::ltc::{Encoder, Signal};
use wave::{Bext, Encoding, Format, WaveWriter, WriteSpec};

use crate::error::Result;
use crate::output::{Replace, failed, finished, temporary_beside};

/// Samples written at a time.
const PIECE: usize = 1 << 14;

/// Writes `length` samples of the code to a mono file of 24 bits, its stamp that of the first label.
///
/// # Errors
/// As for [`write_text`](crate::output::write_text).
pub fn write_timecode(path: &Path, signal: Signal, length: u64, replace: Replace) -> Result<()> {
    let rate = signal.sample_rate;
    let spec = WriteSpec {
        bext: Some(Bext {
            description: format!(
                "linear timecode from {}, {}",
                signal.first,
                signal.first.counting()
            ),
            originator: "commontime".into(),
            time_reference: signal.first.to_samples(rate),
            version: 1,
            ..Bext::default()
        }),
        ..WriteSpec::new(Format::plain(1, rate, Encoding::Int24))
    };
    let file = temporary_beside(path)?;
    let mut writer =
        WaveWriter::new(BufWriter::new(file), &spec).map_err(|error| failed(path, error))?;
    let mut encoder = Encoder::new(signal);
    let mut left = length;
    while left > 0 {
        let count = usize::try_from(left).map_or(PIECE, |left| left.min(PIECE));
        let mut samples = [0.0_f32; PIECE];
        encoder.fill(&mut samples[..count]);
        let plane: Vec<f64> = samples[..count].iter().map(|x| f64::from(*x)).collect();
        writer
            .write_planar(&[&plane])
            .map_err(|error| failed(path, error))?;
        left -= count as u64;
    }
    let (_, out) = writer.finish().map_err(|error| failed(path, error))?;
    let file = out
        .into_inner()
        .map_err(|error| failed(path, error.into_error()))?;
    finished(file, path, replace)
}
