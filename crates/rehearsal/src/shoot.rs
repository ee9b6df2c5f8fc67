//! The plan of a shoot: rooms, sources, signals and units, all with known positions, levels and clocks.
//!
//! ```
//! use rehearsal::{Channel, Crystal, Room, Shoot, Sound, Source, UnitSpec};
//!
//! let shoot = Shoot::new(7)
//!     .seconds(2.0)
//!     .room(Room { dims_m: [7.2, 5.6, 3.0], t60_s: 0.3 })
//!     .source(Source::new([2.0, 2.0, 1.4], Sound::Speech { pitch_hz: 120.0 }))
//!     .unit(UnitSpec::new("NORTH").channel(Channel::mic("Left", [4.0, 3.0, 1.5])))
//!     .unit(
//!         UnitSpec::new("SOUTH")
//!             .crystal(Crystal::steady(11.0))
//!             .starts_after_s(0.25)
//!             .channel(Channel::mic("Right", [4.3, 3.0, 1.5])),
//!     );
//! let performance = shoot.perform()?;
//! let truth = performance.truth.unit("SOUTH").ok_or("no such unit")?;
//! assert!((truth.rate_ppm - 11.0).abs() < 1e-9);
//! assert!((truth.offset_samples - 12_000.0).abs() < 1e-9);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use serde::{Deserialize, Serialize};

use crate::clock::{ClockTruth, Crystal, Slip};
use crate::error::{Error, Result};
use crate::room::Room;
use crate::sound::Sound;
use crate::stamp::{FrameRate, Stamp};

/// A shoot that can be performed: one stretch of time in which each unit records one take. The first unit is the lead.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Shoot {
    /// What the take is called.
    pub name: String,
    /// Everything random follows from it.
    pub seed: u64,
    /// How long it lasts, true seconds.
    pub seconds: f64,
    /// Time of day at its start, seconds since midnight.
    pub time_of_day_s: f64,
    /// The frame rate of all units' timecode unless a unit has its own.
    pub frame_rate: FrameRate,
    /// Rooms; sources and units say by index where they are.
    pub rooms: Vec<Room>,
    /// What sounds in the rooms.
    pub sources: Vec<Source>,
    /// What is wired to several inputs.
    pub signals: Vec<Signal>,
    /// The units, lead first.
    pub units: Vec<UnitSpec>,
}

/// Something that sounds in a room.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Source {
    /// Where, metres from the room's corner.
    pub position_m: [f64; 3],
    /// What.
    pub sound: Sound,
    /// RMS (peak, for single events) of the direct sound 1 m away, dB below full scale.
    pub level_dbfs: f64,
    /// Index of the room.
    pub room: usize,
}

/// An electrical signal that can be wired to inputs of several units.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Signal {
    /// What channels call it.
    pub name: String,
    /// What it carries.
    pub sound: Sound,
    /// RMS (peak, for single events) at an input of 0 dB gain, dB below full scale.
    pub level_dbfs: f64,
}

/// What an input is connected to.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Feed {
    /// A microphone that hears the unit's room from this place, metres from the corner.
    Mic([f64; 3]),
    /// The [`Signal`] of this name.
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

impl Shoot {
    /// A minute in the open field at ten in the morning, with nothing in it yet.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        Self {
            name: "T01".to_owned(),
            seed,
            seconds: 60.0,
            time_of_day_s: 36_000.0,
            frame_rate: FrameRate::default(),
            rooms: Vec::new(),
            sources: Vec::new(),
            signals: Vec::new(),
            units: Vec::new(),
        }
    }

    /// Calls the take something else.
    #[must_use]
    pub fn named(mut self, name: &str) -> Self {
        name.clone_into(&mut self.name);
        self
    }

    /// Lasts this long.
    #[must_use]
    pub fn seconds(mut self, seconds: f64) -> Self {
        self.seconds = seconds;
        self
    }

    /// Starts at this time of day, seconds since midnight.
    #[must_use]
    pub fn time_of_day_s(mut self, time_of_day_s: f64) -> Self {
        self.time_of_day_s = time_of_day_s;
        self
    }

    /// Timecode runs at this rate.
    #[must_use]
    pub fn frame_rate(mut self, frame_rate: FrameRate) -> Self {
        self.frame_rate = frame_rate;
        self
    }

    /// Adds a room; the first is where sources and units are unless they say otherwise.
    #[must_use]
    pub fn room(mut self, room: Room) -> Self {
        self.rooms.push(room);
        self
    }

    /// Adds a source.
    #[must_use]
    pub fn source(mut self, source: Source) -> Self {
        self.sources.push(source);
        self
    }

    /// Adds a signal.
    #[must_use]
    pub fn signal(mut self, name: &str, sound: Sound, level_dbfs: f64) -> Self {
        self.signals.push(Signal {
            name: name.to_owned(),
            sound,
            level_dbfs,
        });
        self
    }

    /// Adds a unit; the first is the lead.
    #[must_use]
    pub fn unit(mut self, unit: UnitSpec) -> Self {
        self.units.push(unit);
        self
    }

    /// Where a unit or source is.
    pub(crate) fn room_of(&self, index: usize) -> Option<Room> {
        match self.rooms.get(index) {
            None if self.rooms.is_empty() && index == 0 => Some(Room::open_field()),
            room => room.copied(),
        }
    }

    /// Refuses what cannot be performed.
    pub(crate) fn validate(&self) -> Result<()> {
        if self.units.is_empty() {
            return Err(Error::invalid("there is no unit"));
        }
        if !(self.seconds > 0.0 && self.seconds <= 172_800.0) {
            return Err(Error::invalid(
                "its length must be above 0 and at most two days",
            ));
        }
        if !can_be_a_file_name(&self.name) {
            return Err(Error::invalid("its name cannot be part of a file's"));
        }
        for source in &self.sources {
            match self.room_of(source.room) {
                Some(room) if room.holds(source.position_m) => {}
                _ => return Err(Error::invalid("a source is outside its room")),
            }
        }
        self.units
            .iter()
            .try_for_each(|unit| self.validate_unit(unit))
    }

    fn validate_unit(&self, unit: &UnitSpec) -> Result<()> {
        let refuse = |what: &str| Err(Error::invalid(format!("unit {}: {what}", unit.name)));
        if !can_be_a_file_name(&unit.name) {
            return refuse("its name cannot be a folder's");
        }
        if self
            .units
            .iter()
            .filter(|other| other.name == unit.name)
            .count()
            > 1
        {
            return refuse("another unit has the same name");
        }
        if unit.part_samples == Some(0) {
            return refuse("its parts must hold samples");
        }
        if unit.channels.is_empty() {
            return refuse("it has no channel");
        }
        if !(8_000..=192_000).contains(&unit.rate_hz) {
            return refuse("its rate must be from 8 to 192 kHz");
        }
        if unit.starts_after_s < 0.0 || unit.seconds(self) <= 0.0 {
            return refuse("it must start within the shoot and run for a while");
        }
        if unit.crystal.wander.iter().any(|sine| sine.period_s <= 0.0) {
            return refuse("a wander's period must be above 0");
        }
        if !unit.slips.is_sorted_by_key(|slip| slip.at_sample) {
            return refuse("its slips must be in order");
        }
        if unit
            .slips
            .iter()
            .any(|slip| slip.samples.unsigned_abs() > 1_000_000)
        {
            return refuse("a slip of more than a million samples is not possible");
        }
        for channel in &unit.channels {
            match &channel.feed {
                Feed::Mic(place) => match self.room_of(unit.room) {
                    Some(room) if room.holds(*place) => {}
                    _ => return refuse("a microphone is outside its room"),
                },
                Feed::Common(name) if !self.signals.iter().any(|s| s.name == *name) => {
                    return refuse("a channel is wired to a signal that does not exist");
                }
                Feed::Common(_) | Feed::Open => {}
            }
        }
        Ok(())
    }
}

fn can_be_a_file_name(name: &str) -> bool {
    !name.is_empty() && !name.starts_with('.') && !name.contains(['/', '\\', '\0'])
}

impl Source {
    /// A source of -20 dB below full scale at 1 m, in the first room.
    #[must_use]
    pub fn new(position_m: [f64; 3], sound: Sound) -> Self {
        Self {
            position_m,
            sound,
            level_dbfs: -20.0,
            room: 0,
        }
    }

    /// Sounds at this level.
    #[must_use]
    pub fn level_dbfs(mut self, level_dbfs: f64) -> Self {
        self.level_dbfs = level_dbfs;
        self
    }

    /// Stands in this room.
    #[must_use]
    pub fn in_room(mut self, room: usize) -> Self {
        self.room = room;
        self
    }
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
    fn seconds(&self, shoot: &Shoot) -> f64 {
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
