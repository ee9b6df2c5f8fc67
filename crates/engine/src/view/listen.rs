//! A stretch of lead and follower in, a short stereo wave file to be played out.

use std::io::Cursor;

use wave::{Encoding, Format, Tag, WaveWriter, WriteSpec};

use super::{How, View};
use crate::error::{Error, Kind, Result};
use crate::take::wave_error;

/// The longest that is played at once, seconds.
pub const LONGEST_S: f64 = 60.0;

/// What is heard on which side.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Played {
    /// The lead on the left, the follower on the right.
    Sides,
    /// Half of both together on both sides.
    Sum,
    /// Half of what one is not of the other on both sides.
    Difference,
}

/// Two channels, each a unit and a channel counted from 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Two<'a> {
    /// The lead and its channel.
    pub lead: (&'a str, u32),
    /// The follower and its channel.
    pub follower: (&'a str, u32),
}

impl View {
    /// A wave file of 24 bits with `seconds` from a lead position on.
    ///
    /// # Errors
    /// [`Kind::Usage`] for a unit, channel or length that is none; when a source cannot be read.
    pub fn listen(
        &self,
        two: Two<'_>,
        (from, seconds): (i64, f64),
        played: Played,
        how: How,
    ) -> Result<Vec<u8>> {
        if !(seconds > 0.0 && seconds <= LONGEST_S) {
            return Err(
                Error::new(Kind::Usage, format!("{seconds} s cannot be played"))
                    .then(format!("ask for up to {LONGEST_S} s")),
            );
        }
        let length = (seconds * f64::from(self.take().sample_rate)).round() as usize;
        let read = |(unit, channel)| self.rendered(unit, channel, (from, length), how);
        let (mut left, mut right) = (read(two.lead)?, read(two.follower)?);
        for (a, b) in left.iter_mut().zip(&mut right) {
            let (x, y) = (*a, *b);
            (*a, *b) = match played {
                Played::Sides => (x, y),
                Played::Sum => (0.5 * (x + y), 0.5 * (x + y)),
                Played::Difference => (0.5 * (x - y), 0.5 * (x - y)),
            };
            (*a, *b) = (within(*a), within(*b));
        }
        let format = Format {
            channels: 2,
            sample_rate: self.take().sample_rate,
            encoding: Encoding::Int24,
            valid_bits: 24,
            tag: Tag::Plain,
        };
        let mut file = Cursor::new(Vec::new());
        let mut writer = WaveWriter::new(&mut file, &WriteSpec::new(format)).map_err(wave_error)?;
        writer.write_planar(&[&left, &right]).map_err(wave_error)?;
        writer.finish().map_err(wave_error)?;
        Ok(file.into_inner())
    }
}

/// What a loudspeaker can be given.
fn within(value: f64) -> f64 {
    if value.is_finite() {
        value.clamp(-1.0, 1.0 - 1.0 / 8_388_608.0)
    } else {
        0.0
    }
}
