//! What is planned of a shoot: what it is set to, its units, its sources.

use serde::{Deserialize, Serialize};
use timecode::Counting;

use crate::units::SampleRate;

/// What a shoot is set to.
#[derive(Debug, Clone, PartialEq)]
pub struct Shoot {
    /// What it is called; may be empty.
    pub name: String,
    /// Its day as written; may be empty.
    pub date: String,
    /// How long will be recorded in all, hours.
    pub hours: f64,
    /// The longest take, minutes.
    pub longest_take_minutes: f64,
    /// Samples a second on every unit.
    pub sample_rate: SampleRate,
    /// What a sample is stored as.
    pub format: SampleFormat,
    /// How timecode labels are counted.
    pub counting: Counting,
    /// What all units will record alike.
    pub common: CommonPlan,
    /// The largest distance between microphones on different units, metres.
    pub spacing_m: f64,
    /// How often timecode is set again, hours; absent: once, at the beginning.
    pub jam_every_hours: Option<f64>,
    /// Who receives the recording, and what they asked for; may be empty.
    pub receiver: String,
}

impl Shoot {
    /// How long a timecode frame lasts, seconds.
    #[must_use]
    pub fn timecode_frame_s(&self) -> f64 {
        1.0 / self.counting.rate().per_second()
    }
}

/// What a sample is stored as.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SampleFormat {
    /// 16-bit integers.
    Int16,
    /// 24-bit integers.
    Int24,
    /// 32-bit floating point.
    Float32,
}

impl SampleFormat {
    /// Bytes of a sample.
    #[must_use]
    pub const fn bytes(self) -> u64 {
        match self {
            Self::Int16 => 2,
            Self::Int24 => 3,
            Self::Float32 => 4,
        }
    }

    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Int16 => "16-bit",
            Self::Int24 => "24-bit",
            Self::Float32 => "32-bit float",
        }
    }
}

/// What all units record alike, so that their clocks can be measured on each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum CommonKind {
    /// A source of the lead goes into an input of every follower as well.
    SplitSource,
    /// Timecode as sound into an input of every unit.
    Timecode,
    /// A marker played into an input of every unit, again and again.
    Marker,
    /// A steady tone into an input of every unit.
    Tone,
    /// A clap before the microphones at head and tail.
    Clap,
    /// Nothing.
    None,
}

impl CommonKind {
    /// All of them, the most telling first.
    pub const ALL: [Self; 6] = [
        Self::SplitSource,
        Self::Timecode,
        Self::Marker,
        Self::Tone,
        Self::Clap,
        Self::None,
    ];

    /// The name in a session file.
    #[must_use]
    pub const fn key(self) -> &'static str {
        match self {
            Self::SplitSource => "split-source",
            Self::Timecode => "timecode",
            Self::Marker => "marker",
            Self::Tone => "tone",
            Self::Clap => "clap",
            Self::None => "none",
        }
    }

    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::SplitSource => "one source split to every unit",
            Self::Timecode => "timecode on a track of every unit",
            Self::Marker => "a marker on a track of every unit",
            Self::Tone => "a steady tone on a track of every unit",
            Self::Clap => "a clap at head and tail",
            Self::None => "no common signal",
        }
    }

    /// Whether the lead needs an input for it.
    #[must_use]
    pub const fn takes_input_of_lead(self) -> bool {
        matches!(self, Self::Timecode | Self::Marker | Self::Tone)
    }

    /// Whether every follower needs an input for it.
    #[must_use]
    pub const fn takes_input_of_follower(self) -> bool {
        matches!(self, Self::SplitSource) || self.takes_input_of_lead()
    }
}

/// The common signal of a shoot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CommonPlan {
    /// What it is.
    pub kind: CommonKind,
    /// Of a split source: which.
    pub source: Option<usize>,
}

/// A unit of a rig.
#[derive(Debug, Clone, PartialEq)]
pub struct RigUnit {
    /// Its name, as its cards will have it.
    pub name: String,
    /// How many inputs it has.
    pub inputs: u32,
    /// Tracks that it records beside its inputs, such as a mix.
    pub mix_tracks: u32,
    /// How much its medium holds, bytes; absent when not said.
    pub media_bytes: Option<f64>,
    /// How many bytes of sound a file of it may hold before the next begins; absent: any number.
    pub file_limit_bytes: Option<u64>,
    /// How long a battery lasts, hours; absent: on the mains.
    pub battery_hours: Option<f64>,
    /// How far its clock may be from nominal.
    pub clock: ClockPlan,
    /// What should be remembered at it.
    pub note: String,
}

/// How far a clock may be from nominal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ClockPlan {
    /// By its kind.
    Grade(ClockGrade),
    /// By a data sheet or a measurement: plus or minus so many ppm.
    Within(f64),
    /// Nobody said.
    Unknown,
}

impl ClockPlan {
    /// Plus or minus, ppm.
    #[must_use]
    pub const fn within_ppm(self) -> f64 {
        match self {
            Self::Grade(grade) => grade.within_ppm(),
            Self::Within(ppm) => ppm,
            Self::Unknown => ClockGrade::Professional.within_ppm(),
        }
    }

    /// In words.
    #[must_use]
    pub fn words(self) -> String {
        match self {
            Self::Grade(grade) => format!("{}, ±{} ppm", grade.words(), grade.within_ppm()),
            Self::Within(ppm) => format!("±{ppm} ppm"),
            Self::Unknown => format!(
                "not said, taken as ±{} ppm",
                ClockGrade::Professional.within_ppm()
            ),
        }
    }
}

/// A kind of clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ClockGrade {
    /// A plain crystal.
    Crystal,
    /// What professional audio units hold.
    Professional,
    /// A crystal whose temperature is measured and allowed for.
    TemperatureControlled,
    /// A crystal in an oven.
    Oven,
}

impl ClockGrade {
    /// All of them, the worst first.
    pub const ALL: [Self; 4] = [
        Self::Crystal,
        Self::Professional,
        Self::TemperatureControlled,
        Self::Oven,
    ];

    /// The name in a session file.
    #[must_use]
    pub const fn key(self) -> &'static str {
        match self {
            Self::Crystal => "crystal",
            Self::Professional => "professional",
            Self::TemperatureControlled => "temperature-controlled",
            Self::Oven => "oven",
        }
    }

    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Crystal => "a plain crystal",
            Self::Professional => "a professional audio clock",
            Self::TemperatureControlled => "a temperature-controlled clock",
            Self::Oven => "an oven clock",
        }
    }

    /// Plus or minus, ppm. Crystals 1e-5 to 1e-4, temperature-compensated ones 1e-6, ovens 1e-8: accuracy with environment and a
    /// year, Vig, "Quartz crystal resonators and oscillators", table 1. Professional audio clocks 10 ppm: Digital Interface
    /// Handbook, 6.1.
    #[must_use]
    pub const fn within_ppm(self) -> f64 {
        match self {
            Self::Crystal => 100.0,
            Self::Professional => 10.0,
            Self::TemperatureControlled => 1.0,
            Self::Oven => 0.01,
        }
    }
}

/// What is to be recorded on one channel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Source {
    /// Its name.
    pub name: String,
    /// The unit it must go to, when a person wants that: its place among the units.
    pub unit: Option<usize>,
    /// The input it must go to, counted from 1; only with a unit.
    pub input: Option<u32>,
    /// Whether it needs phantom power.
    pub phantom: bool,
    /// Stands, cables, what is to be remembered.
    pub note: String,
}
