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

use crate::error::{Error, Result};
use crate::rig::{Feed, UnitSpec};
use crate::room::Room;
use crate::sound::Sound;
use crate::stamp::FrameRate;

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
        if !unit.take.as_deref().is_none_or(can_be_a_file_name) {
            return refuse("its take's name cannot be part of a file's");
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
            if !(0.0..=10.0).contains(&channel.late_s) {
                return refuse("an input is late by 0 to 10 seconds");
            }
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
