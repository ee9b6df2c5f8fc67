//! Shoots in which the units share nothing but the air, or not even that.

use crate::clock::{Crystal, Sine};
use crate::rig::{Channel, UnitSpec};
use crate::room::Room;
use crate::shoot::{Shoot, Source};
use crate::sound::Sound;
use crate::stamp::Stamp;

/// What can be chosen in [`two_arrays`].
#[derive(Debug, Clone, PartialEq)]
pub struct TwoArrays {
    /// Everything random follows from it.
    pub seed: u64,
    /// How long the shoot lasts.
    pub seconds: f64,
    /// Distance between the centres of the arrays, metres; up to 4.
    pub apart_m: f64,
    /// Reverberation time, seconds.
    pub t60_s: f64,
    /// Microphones in each array.
    pub mics: usize,
    /// The three sources.
    pub sounds: [Sound; 3],
    /// How much faster the follower's clock is, parts per million.
    pub ppm: f64,
    /// Both units' stamps.
    pub stamp: Stamp,
}

impl Default for TwoArrays {
    /// Four minutes; 1.5 m apart; 0.45 s; two microphones each; a talker, a bowed string and plucked strings; 8 ppm.
    fn default() -> Self {
        Self {
            seed: 1,
            seconds: 240.0,
            apart_m: 1.5,
            t60_s: 0.45,
            mics: 2,
            sounds: [
                Sound::Speech { pitch_hz: 120.0 },
                Sound::Bowed { lowest_hz: 196.0 },
                Sound::Plucked {
                    lowest_hz: 98.0,
                    notes_per_s: 3.0,
                },
            ],
            ppm: 8.0,
            stamp: Stamp::default(),
        }
    }
}

/// NORTH (lead) and SOUTH hear three sources in one room of 7.2 by 5.6 by 3 m through arrays of their own.
#[must_use]
pub fn two_arrays(choice: &TwoArrays) -> Shoot {
    let unit = |name: &str, side: f64| {
        (0..choice.mics).fold(
            UnitSpec::new(name).noise_dbfs(-75.0).stamp(choice.stamp),
            |unit, i| {
                let x_m = 3.6 + side * choice.apart_m / 2.0;
                let y_m = 2.6 + 0.17 * i as f64;
                unit.channel(Channel::mic(&format!("Mic {}", i + 1), [x_m, y_m, 1.4]))
            },
        )
    };
    let wander = vec![
        Sine {
            ppm: 0.22,
            period_s: 430.0,
            phase: 0.4,
        },
        Sine {
            ppm: 0.08,
            period_s: 140.0,
            phase: 2.1,
        },
    ];
    let crystal = Crystal {
        ppm: choice.ppm,
        wander,
        segments: Vec::new(),
    };
    let places = [[1.3, 4.4, 1.5], [3.9, 4.9, 1.3], [6.1, 3.7, 1.1]];
    let shoot = Shoot::new(choice.seed)
        .seconds(choice.seconds)
        .room(Room {
            dims_m: [7.2, 5.6, 3.0],
            t60_s: choice.t60_s,
        })
        .unit(unit("NORTH", -1.0))
        .unit(
            unit("SOUTH", 1.0)
                .crystal(crystal)
                .starts_after_s(0.730_003),
        );
    choice
        .sounds
        .iter()
        .zip(places)
        .fold(shoot, |shoot, (sound, place)| {
            shoot.source(Source::new(place, sound.clone()).level_dbfs(-22.0))
        })
}

/// NORTH and SOUTH in two rooms that share nothing, their stamps nearly equal all the same.
#[must_use]
pub fn unrelated(seed: u64, seconds: f64) -> Shoot {
    let unit = |name: &str, room: usize| {
        UnitSpec::new(name)
            .noise_dbfs(-75.0)
            .in_room(room)
            .channel(Channel::mic("Mic 1", [2.1, 2.2, 1.4]))
            .channel(Channel::mic("Mic 2", [2.4, 2.2, 1.4]))
    };
    Shoot::new(seed)
        .seconds(seconds)
        .room(Room {
            dims_m: [7.2, 5.6, 3.0],
            t60_s: 0.45,
        })
        .room(Room {
            dims_m: [5.1, 4.2, 2.6],
            t60_s: 0.3,
        })
        .source(Source::new(
            [4.0, 3.8, 1.5],
            Sound::Speech { pitch_hz: 120.0 },
        ))
        .source(Source::new(
            [1.2, 4.1, 1.2],
            Sound::Bowed { lowest_hz: 196.0 },
        ))
        .source(Source::new([3.6, 3.0, 1.5], Sound::Speech { pitch_hz: 175.0 }).in_room(1))
        .unit(unit("NORTH", 0))
        .unit(
            unit("SOUTH", 1)
                .crystal(Crystal::steady(-5.0))
                .starts_after_s(0.41),
        )
}
