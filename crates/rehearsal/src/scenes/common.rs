//! Shoots in which one electrical signal is recorded by two units.

use crate::clock::{Crystal, Sine};
use crate::rig::{Channel, UnitSpec};
use crate::room::Room;
use crate::shoot::{Shoot, Source};
use crate::sound::Sound;

/// What the common signal carries.
#[derive(Debug, Clone, PartialEq)]
pub enum Programme {
    /// Flat noise between 60 Hz and 19 kHz.
    Flat,
    /// A talker with pauses.
    Speech,
    /// Plucked strings.
    Music,
    /// Anything else.
    Other(Sound),
}

/// What can be chosen in [`common_signal`].
#[derive(Debug, Clone, PartialEq)]
pub struct CommonSignal {
    /// Everything random follows from it.
    pub seed: u64,
    /// How long the shoot lasts.
    pub seconds: f64,
    /// RMS of the signal over the density of each unit's noise within the signal's band (60 Hz to 19 kHz), dB.
    pub snr_db: f64,
    /// What is carried.
    pub programme: Programme,
    /// Microphones on each unit beside the common signal.
    pub mics: usize,
    /// How much faster the follower's clock is, parts per million.
    pub ppm: f64,
    /// Peak of its wander (97 s and 41 s periods in the ratio 7 to 3), parts per million.
    pub wander_ppm: f64,
    /// When the follower starts, seconds after the lead.
    pub starts_after_s: f64,
}

impl Default for CommonSignal {
    /// Five minutes of flat programme, 40 dB above the noise, 12 ppm with 0.3 ppm of wander, one microphone each.
    fn default() -> Self {
        Self {
            seed: 1,
            seconds: 300.0,
            snr_db: 40.0,
            programme: Programme::Flat,
            mics: 1,
            ppm: 12.0,
            wander_ppm: 0.3,
            starts_after_s: 1.030_007,
        }
    }
}

/// A wander of this peak with periods of 97 and 41 seconds.
pub(crate) fn slow_wander(ppm: f64) -> Vec<Sine> {
    vec![
        Sine {
            ppm: 0.7 * ppm,
            period_s: 97.0,
            phase: 0.0,
        },
        Sine {
            ppm: 0.3 * ppm,
            period_s: 41.0,
            phase: 1.0,
        },
    ]
}

/// NORTH (lead) and SOUTH record one signal on their last channel, and a small room with microphones of their own on
/// the others.
#[must_use]
pub fn common_signal(choice: &CommonSignal) -> Shoot {
    const LEVEL_DBFS: f64 = -20.0;
    let sound = match &choice.programme {
        Programme::Flat => Sound::programme(),
        Programme::Speech => Sound::Speech { pitch_hz: 130.0 },
        Programme::Music => Sound::Plucked {
            lowest_hz: 110.0,
            notes_per_s: 3.0,
        },
        Programme::Other(sound) => sound.clone(),
    };
    // The noise is white up to 24 kHz; the ratio counts only what lies in the band of 60 Hz to 19 kHz.
    let noise_dbfs = LEVEL_DBFS - choice.snr_db + 10.0 * (24_000.0_f64 / 18_940.0).log10();
    let unit = |name: &str, x_m: f64| {
        let mic = |i: usize| [x_m, 1.2 + 0.4 * i as f64, 1.5];
        (0..choice.mics)
            .fold(UnitSpec::new(name).noise_dbfs(noise_dbfs), |unit, i| {
                unit.channel(Channel::mic(&format!("Mic {}", i + 1), mic(i)))
            })
            .channel(Channel::common("Link", "link"))
    };
    let mut shoot = Shoot::new(choice.seed)
        .seconds(choice.seconds)
        .signal("link", sound, LEVEL_DBFS)
        .unit(unit("NORTH", 2.0))
        .unit(
            unit("SOUTH", 3.6)
                .starts_after_s(choice.starts_after_s)
                .crystal(Crystal {
                    ppm: choice.ppm,
                    wander: if choice.wander_ppm == 0.0 {
                        Vec::new()
                    } else {
                        slow_wander(choice.wander_ppm)
                    },
                    segments: Vec::new(),
                }),
        );
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

/// As [`common_signal`], but SOUTH runs on NORTH's clock and starts a whole number of samples later.
#[must_use]
pub fn identical_clocks(seed: u64, seconds: f64) -> Shoot {
    common_signal(&CommonSignal {
        seed,
        seconds,
        ppm: 0.0,
        wander_ppm: 0.0,
        starts_after_s: 1.25,
        ..CommonSignal::default()
    })
}
