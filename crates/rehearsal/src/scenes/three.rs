//! Shoots of three units, with a choice of who shares a common signal with whom.

use super::common::slow_wander;
use crate::clock::Crystal;
use crate::rig::{Channel, UnitSpec};
use crate::room::Room;
use crate::shoot::{Shoot, Source};
use crate::sound::Sound;
use crate::stamp::Stamp;

/// Who shares a common signal with whom.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shared {
    /// One signal stands on all three units.
    All,
    /// NORTH and SOUTH share one, SOUTH and WEST another; NORTH and WEST share none.
    Chain,
    /// Each pair has a signal of its own.
    Pairs,
    /// None at all.
    None,
}

/// What can be chosen in [`three_units`].
#[derive(Debug, Clone, PartialEq)]
pub struct ThreeUnits {
    /// Everything random follows from it.
    pub seed: u64,
    /// How long the shoot lasts.
    pub seconds: f64,
    /// Who shares a common signal with whom.
    pub shared: Shared,
    /// By how many samples at 48 kHz the signal that NORTH and WEST share ([`Shared::Pairs`]) is late on WEST.
    pub late_samples: f64,
    /// Microphones on each unit beside the common signals.
    pub mics: usize,
    /// How much faster than NORTH's the clocks of SOUTH and WEST are, parts per million.
    pub ppm: [f64; 2],
    /// Stamps of NORTH, SOUTH and WEST.
    pub stamps: [Stamp; 3],
}

impl Default for ThreeUnits {
    /// Half a minute, one signal on all, one microphone each, 12 and -7.5 ppm, stamps good to the sample.
    fn default() -> Self {
        Self {
            seed: 1,
            seconds: 30.0,
            shared: Shared::All,
            late_samples: 0.0,
            mics: 1,
            ppm: [12.0, -7.5],
            stamps: [Stamp::default(); 3],
        }
    }
}

/// NORTH (lead), SOUTH and WEST in one small room, their common signals on the last channels.
#[must_use]
pub fn three_units(choice: &ThreeUnits) -> Shoot {
    const LEVEL_DBFS: f64 = -20.0;
    let wired = |name: &str| -> Vec<Channel> {
        let wire = |label: &str, signal: &str| Channel::common(label, signal);
        match (choice.shared, name) {
            (Shared::All, _) => vec![wire("Link", "link")],
            (Shared::Chain, "NORTH") => vec![wire("Link", "link")],
            (Shared::Chain, "SOUTH") => vec![wire("Link", "link"), wire("Relay", "relay")],
            (Shared::Chain, _) => vec![wire("Relay", "relay")],
            (Shared::Pairs, "NORTH") => vec![wire("Link", "link"), wire("Radio", "radio")],
            (Shared::Pairs, "SOUTH") => vec![wire("Link", "link"), wire("Relay", "relay")],
            (Shared::Pairs, _) => vec![
                wire("Radio", "radio").late_s(choice.late_samples / 48_000.0),
                wire("Relay", "relay"),
            ],
            (Shared::None, _) => Vec::new(),
        }
    };
    let unit = |name: &str, number: usize| {
        let mics = (0..choice.mics).map(|i| {
            let place = [1.8 + number as f64, 1.2 + 0.4 * i as f64, 1.5];
            Channel::mic(&format!("Mic {}", i + 1), place)
        });
        mics.chain(wired(name)).fold(
            UnitSpec::new(name)
                .noise_dbfs(LEVEL_DBFS - 40.0)
                .stamp(choice.stamps[number]),
            UnitSpec::channel,
        )
    };
    let crystal = |ppm: f64, wander_ppm: f64| Crystal {
        ppm,
        wander: slow_wander(wander_ppm),
        segments: Vec::new(),
    };
    let mut shoot = Shoot::new(choice.seed)
        .seconds(choice.seconds)
        .unit(unit("NORTH", 0))
        .unit(
            unit("SOUTH", 1)
                .crystal(crystal(choice.ppm[0], 0.2))
                .starts_after_s(1.030_007),
        )
        .unit(
            unit("WEST", 2)
                .crystal(crystal(choice.ppm[1], 0.1))
                .starts_after_s(2.000_31),
        );
    let carried = ["link", "relay", "radio"]
        .into_iter()
        .filter(|signal| match choice.shared {
            Shared::All => *signal == "link",
            Shared::Chain => *signal != "radio",
            Shared::Pairs => true,
            Shared::None => false,
        });
    for signal in carried {
        shoot = shoot.signal(signal, Sound::programme(), LEVEL_DBFS);
    }
    if choice.mics > 0 {
        shoot = shoot
            .room(Room {
                dims_m: [6.0, 4.5, 2.8],
                t60_s: 0.35,
            })
            .source(Source::new(
                [4.8, 3.2, 1.4],
                Sound::Speech { pitch_hz: 105.0 },
            ))
            .source(Source::new(
                [1.1, 3.6, 1.2],
                Sound::Bowed { lowest_hz: 196.0 },
            ));
    }
    shoot
}
