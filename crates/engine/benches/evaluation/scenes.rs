//! Choices in, performed shoots with their truth out.

use engine::signal::{MemorySound, Sound as _};
use engine::units::SampleRate;
use rehearsal::scenes::{CommonSignal, Programme, TwoArrays, common_signal, two_arrays};
use rehearsal::{Channel, Crystal, Performance, Segment, Shoot, Sine, Sound, Truth, UnitSpec};

use super::moving::{Motion, Stage};

/// The band of the flat programme in the tie case, Hz.
pub const BAND_HZ: (f64, f64) = (60.0, 19_000.0);

/// What the follower's crystal does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Course {
    /// Nothing.
    Constant,
    /// 0.3 ppm of wander, periods of 97 and 41 s.
    Quick,
    /// 0.3 ppm of thermal wander, periods of 430 and 140 s.
    Thermal,
    /// 3 ppm of warming up, two minutes its time constant.
    WarmUp,
    /// 8, 14 and 8 ppm, a third of the take each.
    Segments,
    /// A sine of 2 ppm over 30 minutes.
    SlowSine,
}

pub const COURSES: [(Course, &str); 6] = [
    (Course::Constant, "constant"),
    (Course::Quick, "0.3 ppm, 97 s and 41 s"),
    (Course::Thermal, "0.3 ppm, 430 s and 140 s"),
    (Course::WarmUp, "warming up by 3 ppm"),
    (Course::Segments, "8, 14, 8 ppm"),
    (Course::SlowSine, "2 ppm over 30 min"),
];

impl Course {
    /// The crystal of this course for a take of `seconds`.
    pub fn crystal(self, seed: u64, seconds: f64) -> Crystal {
        let turn = std::f64::consts::TAU * (seed as f64 * 0.618_034).fract();
        let sine = |ppm, period_s, phase| Sine {
            ppm,
            period_s,
            phase,
        };
        let steady = Crystal::steady(8.0 + (seed % 5) as f64);
        let wander = |wander| Crystal {
            wander,
            ..steady.clone()
        };
        match self {
            Self::Constant => steady,
            Self::Quick => wander(vec![
                sine(0.21, 97.0, turn),
                sine(0.09, 41.0, 1.0 + 2.0 * turn),
            ]),
            Self::Thermal => wander(vec![
                sine(0.22, 430.0, turn),
                sine(0.08, 140.0, 1.0 + 2.0 * turn),
            ]),
            Self::WarmUp => Crystal {
                segments: warming(seconds),
                ..steady
            },
            Self::Segments => Crystal {
                ppm: 8.0,
                segments: vec![step(seconds / 3.0, 6.0), step(seconds / 1.5, -6.0)],
                ..Crystal::default()
            },
            Self::SlowSine => wander(vec![sine(2.0, 1800.0, turn)]),
        }
    }
}

fn step(from_s: f64, ppm: f64) -> Segment {
    Segment { from_s, ppm }
}

/// `3 (1 - exp(-t / tau))` ppm in steps of half a second, each below 0.013 ppm.
fn warming(seconds: f64) -> Vec<Segment> {
    let tau = 120.0;
    let at = |t: f64| 3.0 * (1.0 - (-t / tau).exp());
    (0..(2.0 * seconds) as u32)
        .map(|i| 0.5 * f64::from(i))
        .map(|t| step(t, at(t + 0.5) - at(t)))
        .collect()
}

/// What was recorded and what is true.
pub struct Scene {
    pub sounds: [MemorySound; 2],
    pub offset: f64,
    pub spacing_m: f64,
    lead_at: Box<dyn Fn(f64) -> f64>,
}

impl Scene {
    pub fn of(shoot: &Shoot, spacing_m: f64) -> Self {
        let Performance { truth, units } = shoot.perform().expect("a performance");
        let mut sounds = units
            .into_iter()
            .map(|unit| MemorySound::new(SampleRate(unit.rate_hz), unit.planes));
        let sounds = [(); 2].map(|()| sounds.next().expect("two units"));
        Self {
            sounds,
            offset: truth.units[1].offset_samples,
            spacing_m,
            lead_at: Box::new(move |k| lead_position(&truth, k)),
        }
    }

    /// The true lead position of the follower's position `k`.
    pub fn lead_at(&self, k: f64) -> f64 {
        (self.lead_at)(k)
    }

    /// The follower positions that both recorded: first and last.
    pub fn shared(&self) -> (f64, f64) {
        let last = self.sounds[1].length().0 as f64 - 1.0;
        let lead_last = self.sounds[0].length().0 as f64 - 1.0;
        let over = (self.lead_at(last) - lead_last).max(0.0);
        (0.0, last - over.ceil())
    }

    /// The true mean rate over what both recorded.
    pub fn rate_ppm(&self) -> f64 {
        let (first, last) = self.shared();
        1e6 * ((last - first) / (self.lead_at(last) - self.lead_at(first)) - 1.0)
    }
}

fn lead_position(truth: &Truth, k: f64) -> f64 {
    truth.lead_position("SOUTH", k).unwrap_or(k)
}

/// A flat programme on a wire between two units alone.
pub fn tie(seed: u64, seconds: f64, snr_db: f64, course: Course) -> Scene {
    let (low_hz, high_hz) = BAND_HZ;
    let noise_dbfs = -20.0 - snr_db + 10.0 * (24_000.0 / (high_hz - low_hz)).log10();
    let unit = |name: &str| {
        UnitSpec::new(name)
            .noise_dbfs(noise_dbfs)
            .channel(Channel::common("Link", "link"))
    };
    let shoot = Shoot::new(seed)
        .seconds(seconds)
        .signal("link", Sound::Noise { low_hz, high_hz }, -20.0)
        .unit(unit("NORTH"))
        .unit(
            unit("SOUTH")
                .crystal(course.crystal(seed, seconds))
                .starts_after_s(0.030_007 + 1e-6 * seed as f64),
        );
    Scene::of(&shoot, 0.0)
}

/// A common signal of another programme.
pub fn common(choice: &CommonSignal, course: Course) -> Scene {
    let mut shoot = common_signal(&CommonSignal {
        mics: 0,
        ..choice.clone()
    });
    shoot.units[1].crystal = course.crystal(choice.seed, choice.seconds);
    Scene::of(&shoot, 0.0)
}

/// A talker on a wire.
pub fn talker(seed: u64, seconds: f64, snr_db: f64, course: Course) -> Scene {
    let choice = CommonSignal {
        seed,
        seconds,
        snr_db,
        programme: Programme::Speech,
        ..CommonSignal::default()
    };
    common(&choice, course)
}

/// Two arrays of two microphones in a room, three players who keep still.
pub fn arrays(choice: &TwoArrays, course: Course) -> Scene {
    let mut shoot = two_arrays(choice);
    shoot.units[1].crystal = course.crystal(choice.seed, choice.seconds);
    Scene::of(&shoot, choice.apart_m)
}

/// Three talkers who sway or walk, a fan 25 dB below each; 8 ppm and 0.3 ppm of thermal wander.
pub fn moving(seed: u64, seconds: f64, apart_m: f64, motion: Motion) -> Scene {
    let stage = Stage {
        seed,
        seconds,
        talkers: 3,
        motion,
        fan_db: Some(-25.0),
        apart_m,
        reflections: 2,
        ppm: 8.0,
    };
    Scene {
        sounds: stage.perform(),
        offset: 0.0,
        spacing_m: apart_m,
        lead_at: Box::new(move |k| stage.lead_at(k)),
    }
}
