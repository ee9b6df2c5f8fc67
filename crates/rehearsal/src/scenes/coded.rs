//! Two arrays in one room whose units record timecode on their last track.

use crate::clock::Crystal;
use crate::rig::Channel;
use crate::scenes::arrays::{TwoArrays, two_arrays};
use crate::shoot::Shoot;
use crate::sound::Sound;
use crate::timecode_track::TimecodeTrack;

/// Where the timecode on the two units' tracks comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Generators {
    /// One generator feeds both.
    One,
    /// Each unit makes its own, in step with its own clock (which then keeps one rate).
    Own,
    /// Two boxes that run this fast, parts per million.
    Boxes([f64; 2]),
}

/// What can be chosen in [`coded`].
#[derive(Debug, Clone, PartialEq)]
pub struct Coded {
    /// The room, the units and their clocks.
    pub arrays: TwoArrays,
    /// Whose code it is.
    pub generators: Generators,
    /// The code, from the beginning of the shoot on.
    pub code: TimecodeTrack,
    /// What comes to SOUTH, where that is not the same: another line, or another generator that was set differently.
    pub other: Option<TimecodeTrack>,
    /// Peak level of the code on the tracks.
    pub level_dbfs: f64,
}

impl Default for Coded {
    /// A minute, one generator at 25 from 10:00:00:00 on, when the shoot begins by its stamps too.
    fn default() -> Self {
        Self {
            arrays: TwoArrays {
                seconds: 60.0,
                ..TwoArrays::default()
            },
            generators: Generators::One,
            code: TimecodeTrack {
                first: [10, 0, 0, 0],
                ..TimecodeTrack::default()
            },
            other: None,
            level_dbfs: -20.0,
        }
    }
}

/// NORTH (lead) and SOUTH as in [`two_arrays`], each with one track more: timecode.
#[must_use]
pub fn coded(choice: &Coded) -> Shoot {
    let mut shoot = two_arrays(&choice.arrays).time_of_day_s(36_000.0);
    let speeds = match choice.generators {
        Generators::One => [0.0; 2],
        Generators::Own => [0.0, choice.arrays.ppm],
        Generators::Boxes(ppm) => ppm,
    };
    let one = choice.generators == Generators::One && choice.other.is_none();
    for (at, unit) in shoot.units.iter_mut().enumerate() {
        let signal = if one { 0 } else { at };
        unit.channels
            .push(Channel::common("Code", &format!("code {signal}")));
        if choice.generators == Generators::Own {
            unit.crystal = Crystal::steady(speeds[at]);
        }
    }
    let signals = if one { 1 } else { 2 };
    for (at, ppm) in speeds.into_iter().enumerate().take(signals) {
        let other = choice.other.as_ref().filter(|_| at == 1);
        let code = other.unwrap_or(&choice.code);
        let code = TimecodeTrack {
            seconds: choice.arrays.seconds + 1.0,
            speed: code.speed * (1.0 + 1e-6 * ppm),
            ..code.clone()
        };
        let sound = Sound::Timecode(Box::new(code));
        shoot = shoot.signal(&format!("code {at}"), sound, choice.level_dbfs);
    }
    shoot
}
