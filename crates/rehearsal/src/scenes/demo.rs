//! The day that `commontime demo` plays: an invented ensemble in an invented hall, recorded on two units.

use crate::clock::{Crystal, Sine};
use crate::rig::{Channel, UnitSpec};
use crate::room::Room;
use crate::shoot::{Shoot, Source};
use crate::sound::Sound;

/// A day's shoots and what to say about them.
#[derive(Debug, Clone, PartialEq)]
pub struct Demo {
    /// Where it takes place.
    pub place: &'static str,
    /// Who plays.
    pub ensemble: &'static str,
    /// The takes, in order. All are written to the same cards.
    pub shoots: Vec<Shoot>,
}

/// Where the microphone on the harp stands that is split to both units.
const SPLIT_M: [f64; 3] = [6.1, 4.3, 1.1];

/// The Larkfen Consort in the Granary at Larkfen: OAK leads, ELM runs some 8 ppm faster. First OAK alone, then the
/// piece with the harp's microphone split to both units, then an encore after that split was taken away.
#[must_use]
pub fn demo() -> Demo {
    let sound_check = in_the_granary("T01", 68_530.417_6, 15.0).unit(oak(harp_split()));
    let piece = in_the_granary("T02", 69_000.283_4, 190.0)
        .unit(oak(harp_split()))
        .unit(
            elm(harp_split())
                .starts_after_s(2.417_311)
                .stops_early_s(1.62),
        );
    let encore = in_the_granary("T03", 69_630.761_1, 60.0)
        .unit(oak(Channel::mic("Floor left", [5.2, 3.1, 0.3])))
        .unit(elm(Channel::mic("Floor right", [8.8, 3.1, 0.3])).starts_after_s(1.104_72));
    Demo {
        place: "the Granary at Larkfen",
        ensemble: "the Larkfen Consort",
        shoots: vec![sound_check, piece, encore],
    }
}

fn harp_split() -> Channel {
    Channel::mic("Harp split", SPLIT_M).gain_db(-12.0)
}

fn in_the_granary(name: &str, time_of_day_s: f64, seconds: f64) -> Shoot {
    let beats: Vec<f64> = (0..)
        .map(|i| f64::from(i) * 1.5 + 0.5)
        .take_while(|&s| s < seconds)
        .collect();
    Shoot::new(time_of_day_s as u64)
        .named(name)
        .time_of_day_s(time_of_day_s)
        .seconds(seconds)
        .room(Room {
            dims_m: [14.0, 9.0, 5.5],
            t60_s: 0.8,
        })
        .source(Source::new(
            [6.4, 4.6, 1.0],
            Sound::Plucked {
                lowest_hz: 98.0,
                notes_per_s: 4.0,
            },
        ))
        .source(Source::new(
            [8.1, 4.9, 1.1],
            Sound::Bowed { lowest_hz: 98.0 },
        ))
        .source(Source::new([5.1, 5.8, 1.6], Sound::Choir { lowest_hz: 196.0 }).level_dbfs(-23.0))
        .source(Source::new([9.2, 5.9, 1.6], Sound::Speech { pitch_hz: 115.0 }).level_dbfs(-24.0))
        .source(Source::new([7.2, 6.6, 0.8], Sound::Claps { at_s: beats }).level_dbfs(-10.0))
}

fn oak(last: Channel) -> UnitSpec {
    UnitSpec::new("OAK")
        .crystal(Crystal::steady(-1.9))
        .noise_dbfs(-86.0)
        .channel(Channel::mic("Main left", [6.7, 2.6, 2.4]))
        .channel(Channel::mic("Main right", [7.3, 2.6, 2.4]))
        .channel(Channel::mic("Harp", [6.2, 4.1, 1.2]).gain_db(-6.0))
        .channel(Channel::mic("Viol", [8.0, 4.2, 1.2]).gain_db(-6.0))
        .channel(Channel::mic("Hall", [7.0, 0.9, 3.1]))
        .channel(last)
}

fn elm(last: Channel) -> UnitSpec {
    let wander = vec![
        Sine {
            ppm: 0.21,
            period_s: 97.0,
            phase: 0.3,
        },
        Sine {
            ppm: 0.09,
            period_s: 41.0,
            phase: 1.0,
        },
    ];
    UnitSpec::new("ELM")
        .crystal(Crystal {
            ppm: 6.2,
            wander,
            segments: Vec::new(),
        })
        .noise_dbfs(-84.0)
        .channel(Channel::mic("Voice high", [5.2, 5.1, 1.6]).gain_db(-4.0))
        .channel(Channel::mic("Voice low", [9.1, 5.2, 1.6]).gain_db(-4.0))
        .channel(Channel::mic("Drum", [7.2, 6.1, 1.0]).gain_db(-8.0))
        .channel(Channel::mic("Gallery left", [4.0, 1.0, 4.4]))
        .channel(Channel::mic("Gallery right", [10.0, 1.0, 4.4]))
        .channel(last)
}
