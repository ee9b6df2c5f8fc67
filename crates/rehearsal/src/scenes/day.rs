//! A day of takes in one room on two units whose timecode may be right, wrong, lost or missing.

use crate::scenes::arrays::{TwoArrays, two_arrays};
use crate::shoot::Shoot;
use crate::sound::Sound;
use crate::stamp::{FrameRate, Stamp};

/// What can be chosen in [`day`].
#[derive(Debug, Clone, PartialEq)]
pub struct Day {
    /// Everything random follows from it.
    pub seed: u64,
    /// How many takes.
    pub takes: usize,
    /// How long each lasts, seconds; every other one lasts a quarter longer.
    pub seconds: f64,
    /// Time of day of the first, seconds.
    pub begins_s: f64,
    /// From the start of one take to the start of the next, seconds.
    pub every_s: f64,
    /// SOUTH's timecode rate.
    pub south_counts: FrameRate,
}

impl Default for Day {
    /// Six takes of 25 s, one every ten minutes from ten o'clock on.
    fn default() -> Self {
        Self {
            seed: 1,
            takes: 6,
            seconds: 25.0,
            begins_s: 36_000.0,
            every_s: 600.0,
            south_counts: FrameRate::default(),
        }
    }
}

/// NORTH (lead) and SOUTH in one room all day, a talker and strings before them; `stamp` says how SOUTH stamps the take
/// of this number (from 0), which begins at this time of day.
#[must_use]
pub fn day(choice: &Day, stamp: impl Fn(usize, f64) -> Stamp) -> Vec<Shoot> {
    (0..choice.takes)
        .map(|take| {
            let at_s = choice.begins_s + choice.every_s * take as f64 + 0.37 * (take % 5) as f64;
            let longer = if take % 2 == 1 { 1.25 } else { 1.0 };
            let mut shoot = two_arrays(&TwoArrays {
                seed: choice.seed * 1000 + take as u64,
                seconds: choice.seconds * longer,
                mics: 1,
                sounds: [
                    Sound::Speech { pitch_hz: 118.0 },
                    Sound::Bowed { lowest_hz: 196.0 },
                    Sound::Plucked {
                        lowest_hz: 98.0,
                        notes_per_s: 3.0,
                    },
                ],
                ..TwoArrays::default()
            })
            .named(&format!("T{:02}", take + 1))
            .time_of_day_s(at_s);
            for unit in &mut shoot.units {
                if unit.name == "SOUTH" {
                    unit.stamp = stamp(take, at_s);
                    unit.frame_rate = Some(choice.south_counts);
                }
            }
            shoot
        })
        .collect()
}
