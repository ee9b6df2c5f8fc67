//! One unit's samples in, the files of its card out: parts, names, encoding and metadata as a unit writes them.

use std::fs::{self, File};
use std::path::{Path, PathBuf};

use wave::{Bext, Format, Ixml, Speed, Track, WaveWriter, WriteSpec};

use crate::error::{Error, Result};
use crate::rig::{Encoding, UnitSpec};
use crate::shoot::Shoot;
use crate::stamp::Counting;
use crate::truth::UnitTruth;

/// Writes one take of one unit.
pub(crate) struct CardWriter<'a> {
    shoot: &'a Shoot,
    unit: &'a UnitSpec,
    truth: &'a UnitTruth,
    root: PathBuf,
    open: Option<WaveWriter<File>>,
    /// Samples written, all parts together.
    written: u64,
    /// Files begun, relative to the root.
    files: Vec<String>,
}

impl<'a> CardWriter<'a> {
    /// A take of the unit of this index, to be written to its card below `root`; makes the card's folder.
    pub(crate) fn new(
        shoot: &'a Shoot,
        truth: &'a UnitTruth,
        index: usize,
        root: &Path,
    ) -> Result<Self> {
        let unit = &shoot.units[index];
        let card = root.join(&unit.name);
        fs::create_dir_all(&card).map_err(|error| Error::file(&card, error))?;
        Ok(Self {
            shoot,
            unit,
            truth,
            root: root.to_owned(),
            open: None,
            written: 0,
            files: Vec::new(),
        })
    }

    /// Writes the next stretch, one plane a channel.
    pub(crate) fn write(&mut self, planes: &[Vec<f64>]) -> Result<()> {
        let len = planes.first().map_or(0, Vec::len);
        let mut done = 0;
        while done < len {
            let part = self.unit.part_samples.unwrap_or(u64::MAX).max(1);
            if self.written.is_multiple_of(part) {
                self.next_file()?;
            }
            let left = part - self.written % part;
            let now = usize::try_from(left).unwrap_or(usize::MAX).min(len - done);
            let slices: Vec<&[f64]> = planes
                .iter()
                .map(|plane| &plane[done..done + now])
                .collect();
            let path = self.path();
            if let Some(writer) = &mut self.open {
                writer
                    .write_planar(&slices)
                    .map_err(|error| Error::file(&path, error))?;
            }
            done += now;
            self.written += now as u64;
        }
        Ok(())
    }

    /// Closes the last file; gives the files' names relative to the root.
    pub(crate) fn finish(mut self) -> Result<Vec<String>> {
        self.close()?;
        Ok(self.files)
    }

    /// What the unit calls the take.
    fn take(&self) -> &str {
        self.unit.take.as_ref().unwrap_or(&self.shoot.name)
    }

    fn path(&self) -> PathBuf {
        self.root.join(self.files.last().map_or("", String::as_str))
    }

    fn close(&mut self) -> Result<()> {
        let path = self.path();
        if let Some(writer) = self.open.take() {
            writer.finish().map_err(|error| Error::file(&path, error))?;
        }
        Ok(())
    }

    fn next_file(&mut self) -> Result<()> {
        self.close()?;
        let (unit, take) = (&self.unit.name, self.take());
        self.files.push(match self.unit.part_samples {
            None => format!("{unit}/{unit}_{take}.WAV"),
            Some(_) => format!("{unit}/{unit}_{take}_{}.WAV", self.files.len() + 1),
        });
        let path = self.path();
        #[expect(
            clippy::disallowed_methods,
            reason = "rehearsal makes the files of a shoot"
        )]
        let file = File::create_new(&path).map_err(|error| Error::file(&path, error))?;
        let writer = WaveWriter::new(file, &self.spec());
        self.open = Some(writer.map_err(|error| Error::file(&path, error))?);
        Ok(())
    }

    /// What stands around the samples of the file that begins now.
    fn spec(&self) -> WriteSpec {
        let encoding = match self.unit.encoding {
            Encoding::Int16 => wave::Encoding::Int16,
            Encoding::Int24 => wave::Encoding::Int24,
            Encoding::Float32 => wave::Encoding::Float32,
        };
        let channels = u16::try_from(self.unit.channels.len()).unwrap_or(u16::MAX);
        let format = Format::plain(channels, self.unit.rate_hz, encoding);
        let stamp = self.truth.stamp_samples.map(|stamp| stamp + self.written);
        WriteSpec {
            bext: stamp.map(|stamp| self.bext(stamp)),
            ixml: Some(self.ixml(stamp, &format)),
            ..WriteSpec::new(format)
        }
    }

    fn bext(&self, stamp: u64) -> Bext {
        // the unit's calendar clock is right whatever its timecode is
        let starts_s = self.shoot.time_of_day_s + self.unit.starts_after_s;
        let written_s = self.written as f64 / f64::from(self.unit.rate_hz);
        let second = (starts_s + written_s) as u64 % 86_400;
        let (hours, minutes, seconds) = (second / 3600, second / 60 % 60, second % 60);
        Bext {
            description: format!("take {}", self.take()),
            originator: self.unit.name.clone(),
            date: self.unit.date.clone(),
            time: format!("{hours:02}:{minutes:02}:{seconds:02}"),
            time_reference: stamp,
            version: 1,
            ..Bext::default()
        }
    }

    fn ixml(&self, stamp: Option<u64>, format: &Format) -> Ixml {
        let frame_rate = self.unit.frame_rate.unwrap_or(self.shoot.frame_rate);
        let tracks = self
            .unit
            .channels
            .iter()
            .zip(1..)
            .map(|(channel, number)| Track {
                channel_index: Some(number),
                interleave_index: Some(number),
                name: Some(channel.name.clone()).filter(|name| !name.is_empty()),
                ..Track::default()
            });
        Ixml {
            version: Some("2.0".to_owned()),
            project: Some("Rehearsal".to_owned()),
            take: Some(self.take().to_owned()),
            tape: Some(self.unit.date.clone()),
            file_uid: Some(self.files.last().cloned().unwrap_or_default()),
            speed: Speed {
                timecode_rate: Some((frame_rate.frames, frame_rate.seconds)),
                drop_frame: Some(frame_rate.counting == Counting::Drop),
                file_sample_rate: Some(format.sample_rate),
                audio_bit_depth: Some(u32::from(format.valid_bits)),
                timestamp_samples_since_midnight: stamp,
                timestamp_sample_rate: stamp.map(|_| format.sample_rate),
                ..Speed::default()
            },
            tracks: tracks.collect(),
            ..Ixml::default()
        }
    }
}
