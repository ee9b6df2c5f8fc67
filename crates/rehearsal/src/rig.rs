//! The rig: units with their clocks, inputs, stamps and files.

use serde::{Deserialize, Serialize};

use crate::clock::{ClockTruth, Crystal, Slip};
use crate::shoot::Shoot;
use crate::stamp::{FrameRate, Stamp};

/// What an input is connected to.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Feed {
    /// A microphone that hears the unit's room from this place, metres from the corner.
    Mic([f64; 3]),
    /// The [`Signal`](crate::Signal) of this name.
    Common(String),
    /// Nothing but the input's own noise.
    Open,
}

/// One channel of a unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Channel {
    /// Its name in the file's metadata; may be empty.
    pub name: String,
    /// What it is connected to.
    pub feed: Feed,
    /// Gain in dB; the noise floor is not affected.
    pub gain_db: f64,
    /// Whether its polarity is reversed.
    pub polarity: Polarity,
    /// Its own noise floor instead of the unit's, RMS in dB below full scale.
    pub noise_dbfs: Option<f64>,
    /// How much later than at any other input what it is connected to arrives, true seconds, 0 or more (a radio link, a
    /// delayed copy); to the nearest 1/48 000 s.
    pub late_s: f64,
}

/// Which way round an input is wired.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Polarity {
    /// As it should be.
    #[default]
    Straight,
    /// Upside down.
    Inverted,
}

/// How samples are stored.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Encoding {
    /// 16-bit integers.
    Int16,
    /// 24-bit integers.
    Int24,
    /// 32-bit floating point.
    #[default]
    Float32,
}

/// One unit: its clock, its inputs, its files.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct UnitSpec {
    /// Its name: the card folder, and the originator in the metadata.
    pub name: String,
    /// What it calls its take, where that is not the shoot's name.
    #[serde(default)]
    pub take: Option<String>,
    /// Nominal rate, samples a second.
    pub rate_hz: u32,
    /// What its clock does.
    pub crystal: Crystal,
    /// When it starts, true seconds after the shoot.
    pub starts_after_s: f64,
    /// When it stops, true seconds before the shoot ends.
    pub stops_early_s: f64,
    /// Index of the room its microphones are in.
    pub room: usize,
    /// RMS of each input's own noise, white up to half its rate, dB below full scale; `None`: none at all.
    pub noise_dbfs: Option<f64>,
    /// Its channels, in file order.
    pub channels: Vec<Channel>,
    /// Its start stamp.
    pub stamp: Stamp,
    /// The frame rate it writes, if not the shoot's.
    pub frame_rate: Option<FrameRate>,
    /// The date it believes it is, `yyyy-mm-dd`.
    pub date: String,
    /// Samples lost from its file or doubled in it.
    pub slips: Vec<Slip>,
    /// How its samples are stored.
    pub encoding: Encoding,
    /// Length of each part when its file is split, samples; `None`: one file.
    pub part_samples: Option<u64>,
}

impl Channel {
    fn new(name: &str, feed: Feed) -> Self {
        let polarity = Polarity::default();
        Self {
            name: name.to_owned(),
            feed,
            gain_db: 0.0,
            polarity,
            noise_dbfs: None,
            late_s: 0.0,
        }
    }

    /// A microphone at a place, metres from the room's corner.
    #[must_use]
    pub fn mic(name: &str, position_m: [f64; 3]) -> Self {
        Self::new(name, Feed::Mic(position_m))
    }

    /// An input wired to a signal.
    #[must_use]
    pub fn common(name: &str, signal: &str) -> Self {
        Self::new(name, Feed::Common(signal.to_owned()))
    }

    /// An input with nothing connected.
    #[must_use]
    pub fn open(name: &str) -> Self {
        Self::new(name, Feed::Open)
    }

    /// Amplified by this much.
    #[must_use]
    pub fn gain_db(mut self, gain_db: f64) -> Self {
        self.gain_db = gain_db;
        self
    }

    /// Wired upside down.
    #[must_use]
    pub fn inverted(mut self) -> Self {
        self.polarity = Polarity::Inverted;
        self
    }

    /// With its own noise floor.
    #[must_use]
    pub fn noise_dbfs(mut self, noise_dbfs: f64) -> Self {
        self.noise_dbfs = Some(noise_dbfs);
        self
    }

    /// Hears what it is connected to this much later, true seconds.
    #[must_use]
    pub fn late_s(mut self, late_s: f64) -> Self {
        self.late_s = late_s;
        self
    }

    /// The factor from feed to file.
    pub(crate) fn factor(&self) -> f64 {
        let gain = 10_f64.powf(self.gain_db / 20.0);
        match self.polarity {
            Polarity::Straight => gain,
            Polarity::Inverted => -gain,
        }
    }
}

impl UnitSpec {
    /// A noiseless unit with a perfect 48 kHz clock and stamps good to the sample, running through the whole shoot.
    #[must_use]
    pub fn new(name: &str) -> Self {
        Self {
            name: name.to_owned(),
            take: None,
            rate_hz: 48_000,
            crystal: Crystal::default(),
            starts_after_s: 0.0,
            stops_early_s: 0.0,
            room: 0,
            noise_dbfs: None,
            channels: Vec::new(),
            stamp: Stamp::default(),
            frame_rate: None,
            date: "2026-05-16".to_owned(),
            slips: Vec::new(),
            encoding: Encoding::default(),
            part_samples: None,
        }
    }

    /// Calls its take something else than the shoot.
    #[must_use]
    pub fn take(mut self, take: &str) -> Self {
        self.take = Some(take.to_owned());
        self
    }

    /// Runs at this nominal rate.
    #[must_use]
    pub fn rate_hz(mut self, rate_hz: u32) -> Self {
        self.rate_hz = rate_hz;
        self
    }

    /// Has this clock.
    #[must_use]
    pub fn crystal(mut self, crystal: Crystal) -> Self {
        self.crystal = crystal;
        self
    }

    /// Starts later than the shoot, true seconds.
    #[must_use]
    pub fn starts_after_s(mut self, starts_after_s: f64) -> Self {
        self.starts_after_s = starts_after_s;
        self
    }

    /// Stops before the shoot ends, true seconds.
    #[must_use]
    pub fn stops_early_s(mut self, stops_early_s: f64) -> Self {
        self.stops_early_s = stops_early_s;
        self
    }

    /// Stands in this room.
    #[must_use]
    pub fn in_room(mut self, room: usize) -> Self {
        self.room = room;
        self
    }

    /// Its inputs have this noise floor.
    #[must_use]
    pub fn noise_dbfs(mut self, noise_dbfs: f64) -> Self {
        self.noise_dbfs = Some(noise_dbfs);
        self
    }

    /// Adds a channel.
    #[must_use]
    pub fn channel(mut self, channel: Channel) -> Self {
        self.channels.push(channel);
        self
    }

    /// Stamps its files like this.
    #[must_use]
    pub fn stamp(mut self, stamp: Stamp) -> Self {
        self.stamp = stamp;
        self
    }

    /// Loses or doubles samples.
    #[must_use]
    pub fn slip(mut self, slip: Slip) -> Self {
        self.slips.push(slip);
        self
    }

    /// Stores samples like this.
    #[must_use]
    pub fn encoding(mut self, encoding: Encoding) -> Self {
        self.encoding = encoding;
        self
    }

    /// Splits its file into parts of this many samples.
    #[must_use]
    pub fn part_samples(mut self, part_samples: u64) -> Self {
        self.part_samples = Some(part_samples);
        self
    }

    /// How long it runs, true seconds.
    pub(crate) fn seconds(&self, shoot: &Shoot) -> f64 {
        shoot.seconds - self.starts_after_s - self.stops_early_s
    }

    /// Its clock through `shoot`.
    #[must_use]
    pub fn clock(&self) -> ClockTruth {
        ClockTruth {
            rate_hz: self.rate_hz,
            starts_s: self.starts_after_s,
            crystal: self.crystal.clone(),
            slips: self.slips.clone(),
        }
    }

    /// How many samples its file holds.
    pub(crate) fn length(&self, shoot: &Shoot) -> u64 {
        let clock = self.clock();
        let taken = clock.counter_at(self.starts_after_s + self.seconds(shoot));
        clock.positions_through(taken.floor() as i64 - 1)
    }
}
