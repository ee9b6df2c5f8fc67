//! A kind of practice and a seed in, its shoots out.

use serde::{Deserialize, Serialize};

use crate::clock::Slip;
use crate::rng::{self, Rng};
use crate::scenes::{
    CommonSignal, Day, Programme, TwoArrays, common_signal, day, two_arrays, unrelated,
};
use crate::shoot::Shoot;
use crate::stamp::{FrameRate, Stamp};

/// What happened on the shoot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// Both units recorded one signal.
    Linked,
    /// The units share the room's sound alone, and wrote no stamps.
    Distance,
    /// The timecode was right in the morning and then lost.
    JamLost,
    /// Both units recorded one signal, and one of them lost or doubled samples.
    Slip,
    /// One unit counted timecode at another rate.
    WrongRate,
    /// Nothing shared, no stamps.
    NoSigns,
}

/// How hard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Level {
    /// What was wired, and stamps that changed.
    Easy,
    /// Slips, wrong rates, distance.
    Middle,
    /// The same and no signs at all.
    Hard,
}

impl Level {
    /// The kind that a seed draws at this level.
    #[must_use]
    pub fn drawn(self, seed: u64) -> Kind {
        let kinds: &[Kind] = match self {
            Self::Easy => &[Kind::Linked, Kind::JamLost],
            Self::Middle => &[Kind::Linked, Kind::Slip, Kind::WrongRate, Kind::Distance],
            Self::Hard => &[Kind::Slip, Kind::Distance, Kind::WrongRate, Kind::NoSigns],
        };
        let index = (Rng::new(rng::key(seed, &[1])).unit() * kinds.len() as f64) as usize;
        kinds.get(index).copied().unwrap_or(Kind::Linked)
    }
}

impl Kind {
    /// Its name as it is typed.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Linked => "linked",
            Self::Distance => "distance",
            Self::JamLost => "jam-lost",
            Self::Slip => "slip",
            Self::WrongRate => "wrong-rate",
            Self::NoSigns => "no-signs",
        }
    }

    /// What happened, for whoever may know.
    #[must_use]
    pub fn story(self) -> &'static str {
        match self {
            Self::Linked => "one signal was recorded on the last channel of both units",
            Self::Distance => "the units shared the sound of a room and wrote no stamps",
            Self::JamLost => {
                "the follower's timecode was right at first and jumped between two takes"
            }
            Self::Slip => {
                "one signal was recorded on both units, and the follower's file lost or doubled samples"
            }
            Self::WrongRate => {
                "the follower counted 29.97 where the lead counted 30, and was jammed once"
            }
            Self::NoSigns => "the units stood in two rooms and wrote no stamps",
        }
    }

    /// The shoots of this kind that follow from a seed. The lead is NORTH; SOUTH numbers its takes by itself.
    #[must_use]
    pub fn shoots(self, seed: u64) -> Vec<Shoot> {
        let mut rng = Rng::new(rng::key(seed, &[2]));
        let mut shoots = match self {
            Self::Linked => vec![wired(seed, 60.0, Programme::Music)],
            Self::Slip => {
                let mut shoot = wired(seed, 60.0, Programme::Flat);
                let sizes = [-1024, -441, -64, 64, 480];
                shoot.units[1].slips.push(Slip {
                    at_sample: rng.range(15.0 * 48_000.0, 40.0 * 48_000.0) as u64,
                    samples: rng.pick(&sizes),
                });
                vec![shoot]
            }
            Self::Distance => vec![two_arrays(&TwoArrays {
                seed,
                seconds: 120.0,
                mics: 1,
                stamp: Stamp::absent(),
                ..TwoArrays::default()
            })],
            Self::JamLost => {
                let lost_s = rng.range(4.0, 15.0);
                day(&a_day(seed, FrameRate::default()), |take, _| Stamp {
                    jam_error_s: if take >= 2 { -lost_s } else { 0.0 },
                    ..Stamp::default()
                })
            }
            Self::WrongRate => {
                let counts = FrameRate {
                    frames: 30_000,
                    seconds: 1001,
                    ..FrameRate::default()
                };
                // jammed at ten: 36 000 s counted as 36 036 s, and from then on its own clock
                day(&a_day(seed, counts), |_, _| Stamp {
                    jam_error_s: 36.0,
                    ..Stamp::default()
                })
            }
            Self::NoSigns => vec![unrelated(seed, 60.0)],
        };
        let ppm = rng.range(3.0, 19.0) * if rng.unit() < 0.5 { -1.0 } else { 1.0 };
        let inverted = rng.unit() < 0.5;
        for (number, shoot) in shoots.iter_mut().enumerate() {
            let starts_after_s = rng.range(0.3, 2.2);
            for unit in shoot.units.iter_mut().skip(1) {
                unit.take = Some(format!("T{:02}", 11 + number));
                unit.starts_after_s = starts_after_s;
                unit.crystal.ppm = ppm;
                let wired = matches!(self, Self::Linked | Self::Slip);
                if let Some(last) = unit.channels.last_mut().filter(|_| wired && inverted) {
                    last.polarity = crate::rig::Polarity::Inverted;
                }
            }
            if self == Self::NoSigns {
                shoot
                    .units
                    .iter_mut()
                    .for_each(|unit| unit.stamp = Stamp::absent());
            }
        }
        shoots
    }
}

fn wired(seed: u64, seconds: f64, programme: Programme) -> Shoot {
    common_signal(&CommonSignal {
        seed,
        seconds,
        programme,
        ..CommonSignal::default()
    })
}

fn a_day(seed: u64, south_counts: FrameRate) -> Day {
    Day {
        seed,
        takes: 4,
        seconds: 40.0,
        every_s: 900.0,
        south_counts,
        ..Day::default()
    }
}
