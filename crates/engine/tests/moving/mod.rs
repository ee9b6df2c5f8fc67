//! Talkers who move in a room in, what two microphones on clocks of their own hear of them out, with the truth. Images of
//! the room's walls, each with its own changing delay, are read off between the samples of a voice: nothing of the engine
//! takes part.

use std::f64::consts::{PI, TAU};

use engine::signal::MemorySound;
use engine::units::SampleRate;
use rayon::prelude::*;
use rehearsal::{Channel, Shoot, Sound, Source, UnitSpec};

/// What the talkers do.
#[expect(dead_code, reason = "the test and the table each use some")]
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Motion {
    /// They stand still.
    Still,
    /// They sway by four centimetres about their seats.
    Sway,
    /// They walk up and down and never stop.
    Walk,
}

/// A room of 7.2 by 5.6 by 3 m with a microphone of each unit in it.
#[derive(Debug, Clone)]
pub struct Stage {
    /// Everything random follows from it.
    pub seed: u64,
    /// How long it lasts, seconds.
    pub seconds: f64,
    /// How many talk, all at once.
    pub talkers: usize,
    /// What they do meanwhile.
    pub motion: Motion,
    /// Level of a fan in a corner against one talker, dB; `None`: no fan.
    pub fan_db: Option<f64>,
    /// Distance of the microphones, metres.
    pub apart_m: f64,
    /// Walls that a sound may meet on its way.
    pub reflections: i32,
    /// The follower's rate, parts per million; 0.3 ppm of wander come on top.
    pub ppm: f64,
}

/// Analysis needs no more than this, and the test no longer than it must.
pub const RATE: u32 = 16_000;

const DIMS: [f64; 3] = [7.2, 5.6, 3.0];

impl Stage {
    /// The lead's and the follower's take, which start together.
    pub fn perform(&self) -> [MemorySound; 2] {
        let mut sounds = vec![Sound::Speech { pitch_hz: 120.0 }; self.talkers];
        sounds.extend(self.fan_db.map(|_| Sound::programme()));
        let voices: Vec<Vec<f64>> = sounds
            .into_iter()
            .enumerate()
            .map(|(i, sound)| self.voice(sound, i as u64))
            .collect();
        let middle = [3.6 + 0.3 * self.draw(90), 2.8 + 0.3 * self.draw(91), 1.3];
        let side = 0.5 * self.apart_m;
        let hear = |x: f64, clock: &(dyn Fn(f64) -> f64 + Sync)| {
            let mic = [middle[0] + x, middle[1], middle[2]];
            let length = (self.seconds * f64::from(RATE)) as u32;
            let plane = (0..length)
                .into_par_iter()
                .map(|k| self.heard(&voices, mic, clock(f64::from(k) / f64::from(RATE))))
                .collect();
            MemorySound::new(SampleRate(RATE), vec![plane])
        };
        [
            hear(-side, &|t| t),
            hear(side, &|counted| self.true_time(counted)),
        ]
    }

    /// The lead position (true time in samples) of the follower's position `k`.
    pub fn lead_at(&self, k: f64) -> f64 {
        self.true_time(k / f64::from(RATE)) * f64::from(RATE)
    }

    fn counted(&self, t: f64) -> f64 {
        let sine = |ppm: f64, period: f64, phase: f64| {
            let turn = TAU / period;
            ppm * 1e-6 * ((phase).cos() - (turn * t + phase).cos()) / turn
        };
        let phase = TAU * self.draw(92);
        t * (1.0 + self.ppm * 1e-6) + sine(0.22, 430.0, phase) + sine(0.08, 140.0, 2.0 * phase)
    }

    fn true_time(&self, counted: f64) -> f64 {
        let mut t = counted;
        for _ in 0..4 {
            t -= self.counted(t) - counted;
        }
        t
    }

    /// A number in -0.5..0.5 that belongs to the seed and `which`.
    fn draw(&self, which: u64) -> f64 {
        let mut x = (self.seed << 8 | which).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        for _ in 0..3 {
            x = (x ^ (x >> 31)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        }
        (x >> 11) as f64 / (1_u64 << 53) as f64 - 0.5
    }

    fn voice(&self, sound: Sound, which: u64) -> Vec<f64> {
        let unit = UnitSpec::new("NORTH").rate_hz(RATE);
        Shoot::new(self.seed * 16 + which)
            .seconds(self.seconds)
            .source(Source::new([0.0; 3], sound).level_dbfs(-20.0))
            .unit(unit.channel(Channel::mic("", [1.0, 0.0, 0.0])))
            .perform()
            .expect("a voice")
            .units
            .remove(0)
            .planes
            .remove(0)
    }

    fn heard(&self, voices: &[Vec<f64>], mic: [f64; 3], t: f64) -> f64 {
        let mut sum = 0.0;
        for (i, voice) in voices.iter().enumerate() {
            let fan = i >= self.talkers;
            let level = if fan {
                self.fan_db.map_or(0.0, |db| 10_f64.powf(db / 20.0))
            } else {
                1.0
            };
            let place = if fan {
                [0.6, 5.1, 2.2]
            } else {
                self.place(i as u64, t)
            };
            for (image, gain) in images(place, self.reflections) {
                let distance = (0..3)
                    .map(|a| (image[a] - mic[a]).powi(2))
                    .sum::<f64>()
                    .sqrt();
                let at = (t - distance / 343.2) * f64::from(RATE);
                sum += level * gain / distance * between(voice, at);
            }
        }
        sum
    }

    fn place(&self, talker: u64, t: f64) -> [f64; 3] {
        let draw = |which: u64| self.draw(talker * 8 + which);
        let seat = [
            3.6 + 5.6 * draw(0),
            2.8 + 4.0 * draw(1),
            1.5 + 0.4 * draw(2),
        ];
        let turn = |i: u64| TAU * (t / (12.0 + 10.0 * draw(3 + i)) + draw(5 + i));
        match self.motion {
            Motion::Still => seat,
            Motion::Sway => [
                seat[0] + 0.04 * turn(0).sin(),
                seat[1] + 0.04 * turn(1).sin(),
                seat[2],
            ],
            Motion::Walk => {
                let along = (t * 0.14 + draw(0)).rem_euclid(2.0);
                let along = 1.0 - (along - 1.0).abs();
                [
                    1.0 + 5.0 * along,
                    1.2 + 2.2 * along + 0.6 * turn(1).sin(),
                    1.6,
                ]
            }
        }
    }
}

/// The mirror images of a place behind up to `reflections` walls, and their gains.
fn images(place: [f64; 3], reflections: i32) -> impl Iterator<Item = ([f64; 3], f64)> {
    let range = move || -reflections..=reflections;
    range()
        .flat_map(move |x| range().flat_map(move |y| range().map(move |z| [x, y, z])))
        .filter(move |walls| walls.iter().map(|w| w.abs()).sum::<i32>() <= reflections)
        .map(move |walls| {
            let mut image = place;
            for (axis, wall) in walls.into_iter().enumerate() {
                let inside = if wall % 2 == 0 {
                    place[axis]
                } else {
                    DIMS[axis] - place[axis]
                };
                image[axis] = f64::from(wall) * DIMS[axis] + inside;
            }
            (image, 0.75_f64.powi(walls.iter().map(|w| w.abs()).sum()))
        })
}

/// The sound between its samples: sixteen samples under a raised-cosine sinc.
fn between(samples: &[f64], at: f64) -> f64 {
    let first = at.floor() as i64 - 7;
    let Some(near) = usize::try_from(first)
        .ok()
        .and_then(|i| samples.get(i..i + 16))
    else {
        return 0.0;
    };
    let start = at - first as f64;
    let sine = (PI * start).sin() / PI;
    // sin(pi (start - i)) = (-1)^i sin(pi start), and the window's cosine by the rotation of its angle.
    let (mut cos, mut sin) = ((PI * start / 8.5).cos(), (PI * start / 8.5).sin());
    let (turn_sin, turn_cos) = (-PI / 8.5).sin_cos();
    let mut sum = 0.0;
    for (i, x) in near.iter().enumerate() {
        let t = start - i as f64;
        let sign = if i % 2 == 0 { 1.0 } else { -1.0 };
        let sinc = if t.abs() < 1e-9 { 1.0 } else { sign * sine / t };
        sum += x * sinc * (0.5 + 0.5 * cos);
        (cos, sin) = (
            cos * turn_cos - sin * turn_sin,
            sin * turn_cos + cos * turn_sin,
        );
    }
    sum
}
