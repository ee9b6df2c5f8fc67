//! A kind of scene and a seed in, two units' sound out in which there is nothing to find, or only one right answer: unrelated
//! places, loops, drones, hum, rain, silence, a lone walker, a search that ends at its edge. Shared by the test and the
//! table of false locks.

use engine::clock::acoustic::{AcousticRequest, measure_acoustic};
use engine::clock::common::{find_past_slips, measure_common};
use engine::clock::{Measured, Outcome};
use engine::progress::Silent;
use engine::signal::{MemorySound, Sound as _};
use engine::tie::common::{Verdict, search_common, verify_common};
use engine::tie::{Guess, all_pairs};
use engine::units::{LeadPos, SampleRate, Samples};
use rehearsal::{Channel, Crystal, Performance, Room, Shoot, Sound, Source, Tone, UnitSpec};

use super::moving::{Motion, Stage};

/// A clock within this of the true rate is right, parts per million.
const RIGHT_PPM: f64 = 0.5;

/// Content within this many samples of where it is, the distance of the microphones aside, is right.
const RIGHT_LAG: f64 = 48.0;

/// A scene; what is right to answer follows from it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Speech,
    OneVoice,
    Plucked,
    Bowed,
    Choirs,
    Flat,
    OneDrone,
    Hum,
    Loops,
    Metronomes,
    Rain,
    Silence,
    DigitalSilence,
    Wires,
    WiredTone,
    OpenInputs,
    Walker,
    WalkerAndFan,
    DrownedTalker,
    LoopInAWideSearch,
    LoopWithinATimecodeFrame,
    BeyondTheSearch,
}

/// Every kind, with what the table calls it.
pub const KINDS: [(Kind, &str); 22] = [
    (Kind::Speech, "two talkers in two places"),
    (
        Kind::OneVoice,
        "one voice saying other things in two places",
    ),
    (Kind::Plucked, "plucked strings in two places"),
    (Kind::Bowed, "bowed strings in two places"),
    (Kind::Choirs, "choirs in two places"),
    (Kind::Flat, "flat noise in two places"),
    (Kind::OneDrone, "the same drone in two places"),
    (Kind::Hum, "hum of one mains in two places"),
    (Kind::Loops, "loops of half a second in two places"),
    (
        Kind::Metronomes,
        "metronomes of nearly one tempo in two places",
    ),
    (Kind::Rain, "pink rain"),
    (Kind::Silence, "noise of the inputs"),
    (Kind::DigitalSilence, "zeros"),
    (Kind::Wires, "different programme on the wires"),
    (Kind::WiredTone, "one steady tone on both wires"),
    (Kind::OpenInputs, "open inputs beside talkers in two places"),
    (Kind::Walker, "a lone walking talker"),
    (Kind::WalkerAndFan, "a walking talker and a fan, 10 ppm"),
    (Kind::DrownedTalker, "a talker 20 dB below rain, 9 ppm"),
    (
        Kind::LoopInAWideSearch,
        "a loop of half a second, searched over a second",
    ),
    (
        Kind::LoopWithinATimecodeFrame,
        "a loop of half a second, stamps good to a timecode frame",
    ),
    (
        Kind::BeyondTheSearch,
        "content beyond the edge of the search",
    ),
];

/// Two units' sound, what is expected of it, and what is true.
pub struct Pair {
    sounds: [MemorySound; 2],
    guess: Guess,
    spacing_m: f64,
    right: Option<Right>,
}

/// The one right answer.
#[derive(Clone, Copy)]
struct Right {
    ppm: f64,
    offset: f64,
}

/// What a chain said of a pair.
#[derive(Debug, Clone, PartialEq)]
pub enum Said {
    /// Not established.
    Nothing,
    /// The one right answer.
    Right,
    /// A clock where there is none, or a wrong one.
    Wrong(String),
}

impl Kind {
    /// The pair of this kind that belongs to `seed`, `seconds` long.
    pub fn pair(self, seed: u64, seconds: f64) -> Pair {
        let places = |sounds: [Sound; 2]| {
            let [a, b] = sounds;
            Pair::unrelated([place(2 * seed, a, seconds), place(2 * seed + 1, b, seconds)])
        };
        let both = |sound: Sound| places([sound.clone(), sound]);
        let speech = |pitch_hz| Sound::Speech { pitch_hz };
        match self {
            Self::Speech => places([speech(120.0), speech(175.0)]),
            Self::OneVoice => both(speech(120.0)),
            Self::Plucked => both(Sound::Plucked {
                lowest_hz: 110.0,
                notes_per_s: 3.0,
            }),
            Self::Bowed => both(Sound::Bowed { lowest_hz: 196.0 }),
            Self::Choirs => both(Sound::Choir { lowest_hz: 130.0 }),
            Self::Flat => both(Sound::programme()),
            Self::OneDrone => both(Sound::Drone { pitch_hz: 220.0 }),
            Self::Hum => both(hum()),
            Self::Loops => both(looped()),
            Self::Metronomes => places([beats(0.5, seconds), beats(0.5003, seconds)]),
            Self::Rain => Pair::unrelated([rain(2 * seed, seconds), rain(2 * seed + 1, seconds)]),
            Self::Silence => both(Sound::Silence),
            Self::DigitalSilence => {
                let zeros = MemorySound::new(
                    SampleRate(48_000),
                    vec![vec![0.0; (seconds * 48e3) as usize]],
                );
                Pair::unrelated([zeros.clone(), zeros])
            }
            Self::Wires => Pair::unrelated([wire(2 * seed, seconds), wire(2 * seed + 1, seconds)]),
            Self::WiredTone => wired_tone(seed, seconds),
            Self::OpenInputs => {
                let [a, b] = [speech(120.0), speech(140.0)];
                Pair::unrelated([
                    place_and_open(2 * seed, a, seconds),
                    place_and_open(2 * seed + 1, b, seconds),
                ])
            }
            Self::Walker => walker(seed, seconds, None),
            Self::WalkerAndFan => walker(seed, seconds, Some(-25.0)),
            Self::DrownedTalker => room(seed, seconds, speech(120.0), -34.0).known(0.0, 480.0),
            Self::LoopInAWideSearch => {
                let wrong = if seed.is_multiple_of(2) {
                    0.0
                } else {
                    11_000.0
                };
                room(seed, seconds, looped(), -75.0).known(wrong, 48_000.0)
            }
            Self::LoopWithinATimecodeFrame => {
                let wrong = if seed.is_multiple_of(2) {
                    -1500.0
                } else {
                    1500.0
                };
                room(seed, seconds, looped(), -75.0).known(wrong, 1600.0)
            }
            Self::BeyondTheSearch => {
                room(seed, seconds, Sound::programme(), -75.0).known(60_000.0, 24_000.0)
            }
        }
    }
}

impl Pair {
    fn unrelated(sounds: [MemorySound; 2]) -> Self {
        Self {
            sounds,
            guess: Guess {
                offset: LeadPos(0.0),
                within: Samples(2000.0),
            },
            spacing_m: 2.0,
            right: None,
        }
    }

    /// The guess is `wrong` samples late and said to be good to `within`.
    fn known(mut self, wrong: f64, within: f64) -> Self {
        self.guess = Guess {
            offset: LeadPos(self.guess.offset.0 + wrong),
            within: Samples(within),
        };
        self
    }

    /// What is said when a common signal is looked for: among all channels, on the last ones as if named, past slips.
    pub fn common(&self) -> Said {
        let [lead, follower] = &self.sounds;
        let pairs = all_pairs(lead, follower);
        let search = search_common(lead, follower, &self.guess, &pairs, &Silent).expect("memory");
        let mut pairs = search.common;
        let named = (lead.channels() - 1, follower.channels() - 1);
        if pairs.is_empty()
            && let Verdict::Common(pair) =
                verify_common(lead, follower, &self.guess, named).expect("memory")
        {
            pairs.push(*pair);
        }
        let outcome = match pairs.first() {
            Some(pair) => measure_common(lead, follower, pair, &Silent).expect("memory"),
            None => {
                let past = find_past_slips(lead, follower, &self.guess, &search.likely, &Silent);
                match past.expect("memory") {
                    Some((_, outcome)) => outcome,
                    None => return Said::Nothing,
                }
            }
        };
        match outcome {
            Outcome::Locked(measured) => self.judged(&measured, measured.offset.0),
            Outcome::NotEstablished { .. } => Said::Nothing,
        }
    }

    /// What is said by the sound of the room.
    pub fn room(&self) -> Said {
        let request = AcousticRequest {
            lead: &self.sounds[0],
            follower: &self.sounds[1],
            pairs: None,
            guess: self.guess,
            spacing_m: self.spacing_m,
        };
        let found = measure_acoustic(&request, &Silent).expect("memory");
        match &found.outcome {
            Outcome::Locked(measured) => {
                let lag = found.lag.as_ref().map_or(f64::NAN, |lag| lag.pooled.best.0);
                self.judged(measured, self.guess.offset.0 - lag)
            }
            Outcome::NotEstablished { .. } => Said::Nothing,
        }
    }

    fn judged(&self, measured: &Measured, offset: f64) -> Said {
        let rate = self.sounds[0].rate();
        let right = self.right.is_some_and(|right| {
            let near = RIGHT_LAG + Samples::of_air(self.spacing_m, rate).0;
            (measured.rate.0 - right.ppm).abs() <= RIGHT_PPM
                && (offset - right.offset).abs() <= near
        });
        if right {
            return Said::Right;
        }
        let signs: Vec<String> = measured
            .signs
            .iter()
            .map(|sign| format!("{:.3}/{:.2}", sign.value, sign.limit))
            .collect();
        Said::Wrong(format!(
            "{} +- {} ppm at {offset:.1}: {}",
            measured.rate.0,
            measured.rate_sigma.0,
            signs.join(" ")
        ))
    }
}

fn performed(shoot: &Shoot) -> Vec<MemorySound> {
    let Performance { units, .. } = shoot.perform().expect("a performance");
    units
        .into_iter()
        .map(|unit| MemorySound::new(SampleRate(unit.rate_hz), unit.planes))
        .collect()
}

fn only(shoot: &Shoot) -> MemorySound {
    performed(shoot).remove(0)
}

/// A room of its own, its size and the places in it by `seed`.
fn room_of(seed: u64) -> Room {
    let turn = (seed as f64 * 0.618).fract();
    Room {
        dims_m: [5.1 + 2.4 * turn, 4.2 + 1.4 * turn, 2.6 + 0.4 * turn],
        t60_s: 0.3 + 0.2 * turn,
    }
}

fn unit(seed: u64) -> UnitSpec {
    UnitSpec::new("NORTH")
        .noise_dbfs(-75.0)
        .crystal(Crystal::steady((seed % 7) as f64 - 3.0))
}

/// One sound in a room of its own, heard by one microphone.
fn place(seed: u64, sound: Sound, seconds: f64) -> MemorySound {
    only(&placed(seed, sound, seconds, unit(seed)))
}

fn place_and_open(seed: u64, sound: Sound, seconds: f64) -> MemorySound {
    only(&placed(
        seed,
        sound,
        seconds,
        unit(seed).channel(Channel::open("Open")),
    ))
}

fn placed(seed: u64, sound: Sound, seconds: f64, unit: UnitSpec) -> Shoot {
    let room = room_of(seed);
    let inside = |x: f64, y: f64, z: f64| [x * room.dims_m[0], y * room.dims_m[1], z];
    Shoot::new(1000 + seed)
        .seconds(seconds)
        .room(room)
        .source(Source::new(inside(0.2, 0.75, 1.5), sound).level_dbfs(-22.0))
        .unit(unit.channel(Channel::mic("Mic", inside(0.55, 0.4, 1.4))))
}

/// Two units in one room, one sound in it, rain of `rain_dbfs` at each microphone of its own.
fn room(seed: u64, seconds: f64, sound: Sound, rain_dbfs: f64) -> Pair {
    let starts_after_s = 0.3 + 0.01 * (seed % 10) as f64;
    let unit = |name: &str, x_m: f64| {
        UnitSpec::new(name)
            .noise_dbfs(rain_dbfs)
            .channel(Channel::mic("Mic", [x_m, 2.6, 1.4]))
    };
    let shoot = Shoot::new(2000 + seed)
        .seconds(seconds)
        .room(Room {
            dims_m: [7.2, 5.6, 3.0],
            t60_s: 0.4,
        })
        .source(Source::new([1.4, 4.3, 1.5], sound).level_dbfs(-22.0))
        .unit(unit("NORTH", 2.6))
        .unit(
            unit("SOUTH", 4.6)
                .crystal(Crystal::steady(-9.0))
                .starts_after_s(starts_after_s),
        );
    let mut sounds = performed(&shoot).into_iter();
    let offset = starts_after_s * 48_000.0;
    Pair {
        sounds: [(); 2].map(|()| sounds.next().expect("two units")),
        guess: Guess {
            offset: LeadPos(offset),
            within: Samples(480.0),
        },
        spacing_m: 2.0,
        right: Some(Right { ppm: -9.0, offset }),
    }
}

fn walker(seed: u64, seconds: f64, fan_db: Option<f64>) -> Pair {
    let stage = Stage {
        seed,
        seconds: 1.5 * seconds,
        talkers: 1,
        motion: Motion::Walk,
        fan_db,
        apart_m: 2.0,
        reflections: 1,
        ppm: 10.0,
    };
    let offset = stage.lead_at(0.0);
    Pair {
        sounds: stage.perform(),
        guess: Guess {
            offset: LeadPos(0.0),
            within: Samples(160.0),
        },
        spacing_m: 2.0,
        right: Some(Right { ppm: 10.0, offset }),
    }
}

fn wire(seed: u64, seconds: f64) -> MemorySound {
    let sound = if seed % 4 < 2 {
        Sound::programme()
    } else {
        Sound::Speech { pitch_hz: 130.0 }
    };
    let shoot = Shoot::new(3000 + seed)
        .seconds(seconds)
        .signal("link", sound, -20.0);
    only(&shoot.unit(unit(seed).channel(Channel::common("Link", "link"))))
}

/// A tone fits at every period.
fn wired_tone(seed: u64, seconds: f64) -> Pair {
    let unit = |name: &str| {
        UnitSpec::new(name)
            .noise_dbfs(-70.0)
            .channel(Channel::common("Link", "link"))
    };
    let shoot = Shoot::new(4000 + seed)
        .seconds(seconds)
        .signal("link", Sound::tone(440.0 + 40.0 * seed as f64), -20.0)
        .unit(unit("NORTH"))
        .unit(
            unit("SOUTH")
                .crystal(Crystal::steady(7.0))
                .starts_after_s(0.02),
        );
    let mut sounds = performed(&shoot).into_iter();
    Pair::unrelated([(); 2].map(|()| sounds.next().expect("two units")))
}

fn hum() -> Sound {
    let tones = [
        1.0, 2.0, 3.0, 5.0, 7.0, 9.0, 11.0, 13.0, 15.0, 17.0, 19.0, 21.0,
    ];
    Sound::Tones(
        tones
            .map(|n| Tone {
                frequency_hz: 50.0 * n,
                amplitude: 1.0 / n,
                phase: n,
            })
            .to_vec(),
    )
}

fn looped() -> Sound {
    Sound::Loop {
        sound: Box::new(Sound::programme()),
        period_s: 0.5,
    }
}

fn beats(every_s: f64, seconds: f64) -> Sound {
    let many = (seconds / every_s) as usize;
    Sound::Claps {
        at_s: (1..many).map(|i| every_s * i as f64).collect(),
    }
}

/// Noise that falls by 3 dB an octave: white noise through three first-order low-passes an octave-and-a-half apart, their
/// gains by the square root of their time.
fn rain(seed: u64, seconds: f64) -> MemorySound {
    let shoot = Shoot::new(5000 + seed).seconds(seconds).unit(
        UnitSpec::new("NORTH")
            .noise_dbfs(-20.0)
            .channel(Channel::open("Rain")),
    );
    let Performance { mut units, .. } = shoot.perform().expect("rain");
    let corners_hz = [40.0, 160.0, 640.0, 2560.0, 10_240.0_f64];
    let mut held = [0.0; 5];
    for sample in &mut units[0].planes[0] {
        let mut sum = 0.0;
        for (held, corner) in held.iter_mut().zip(corners_hz) {
            let step = 1.0 - (-std::f64::consts::TAU * corner / 48_000.0).exp();
            *held += step * (*sample - *held);
            sum += *held / (corner / 640.0).sqrt();
        }
        *sample = 0.5 * sum;
    }
    MemorySound::new(SampleRate(48_000), units.remove(0).planes)
}
