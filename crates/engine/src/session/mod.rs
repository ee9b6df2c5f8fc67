//! A session file in, what the person at the units planned and declared out: units, sources and which input each gets, which
//! channels belong together, and how far apart in time they may come to lie for what they are used for. The same file serves
//! before the shoot and after it.
//!
//! ```toml
//! [[unit]]
//! name = "NORTH"
//! inputs = 8
//!
//! [[source]]
//! name = "Hall left"
//!
//! [[group]]
//! name = "main pair"
//! class = "stereo-pair"
//! sources = ["Hall left", "Hall right"]    # or, of recordings there are: channels = ["NORTH:1", "SOUTH:3-4"]
//! ```

mod file;
mod plan;
mod rig;
#[cfg(test)]
mod plan_tests;

pub use plan::{Plan, Wired, plan};
pub use rig::{
    ClockGrade, ClockPlan, CommonKind, CommonPlan, RigUnit, SampleFormat, Shoot, Source,
};

use serde::Deserialize;

use crate::error::Result;

/// The most bytes that a file with 32-bit sizes holds (RIFF size fields, Microsoft, "Multimedia Programming Interface", 1991; FAT
/// directory entries).
pub const LARGEST_OF_32_BITS: u64 = u32::MAX as u64;

/// What was planned and declared for a session.
#[derive(Debug, Clone, PartialEq)]
pub struct Session {
    /// Channels that belong together: those declared, and those of planned groups where their sources found inputs.
    pub groups: Vec<Group>,
    /// What the shoot is set to.
    pub shoot: Shoot,
    /// Its units; none when only groups of channels are declared.
    pub units: Vec<RigUnit>,
    /// The unit that leads, by its place among them.
    pub lead: usize,
    /// What is recorded.
    pub sources: Vec<Source>,
    /// Groups of sources.
    pub planned: Vec<PlannedGroup>,
    /// Which source goes into which input.
    pub plan: Plan,
}

/// Sources that belong together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlannedGroup {
    /// What they are called.
    pub name: String,
    /// What they are used for.
    pub class: Class,
    /// Their places in the list of sources.
    pub sources: Vec<usize>,
}

/// Channels that belong together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Group {
    /// What they are called.
    pub name: String,
    /// What they are used for.
    pub class: Class,
    /// Unit and 1-based channel of each.
    pub channels: Vec<(String, u32)>,
}

/// What a group's channels are used for, which says how far apart they may lie.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Class {
    /// Capsules of one array.
    Array,
    /// Two halves of one stereo pair.
    StereoPair,
    /// Signals that will be summed, flat to 20 kHz.
    Summed,
    /// Spots beside a main pair.
    Spots,
    /// Ambience, unrelated microphones.
    Ambience,
}

impl Class {
    /// All of them, the most demanding first.
    pub const ALL: [Self; 5] = [
        Self::Array,
        Self::StereoPair,
        Self::Summed,
        Self::Spots,
        Self::Ambience,
    ];

    /// The name in a session file.
    #[must_use]
    pub const fn key(self) -> &'static str {
        match self {
            Self::Array => "array",
            Self::StereoPair => "stereo-pair",
            Self::Summed => "summed",
            Self::Spots => "spots",
            Self::Ambience => "ambience",
        }
    }

    /// What it is, in words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Array => "capsules of one array",
            Self::StereoPair => "two halves of one stereo pair",
            Self::Summed => "summed, flat to 20 kHz",
            Self::Spots => "spot against main",
            Self::Ambience => "ambience, unrelated microphones",
        }
    }

    /// The largest error in time between two of its channels, seconds. The pair: Klumpp and Eady 1956 found 7 to 10
    /// microseconds (from memory); the sum: a quarter of a sample at 48 kHz loses half a decibel at 20 kHz (arithmetic); the
    /// rest is common practice, no source.
    #[must_use]
    pub const fn allowed_s(self) -> f64 {
        match self {
            Self::Array => 2e-6,
            Self::StereoPair => 5e-6,
            Self::Summed => 0.25 / 48_000.0,
            Self::Spots => 1e-3,
            Self::Ambience => 10e-3,
        }
    }

    /// Whether two of its channels may lie that far apart, seconds; what is exactly allowed does not fail by the last bit of a
    /// product.
    #[must_use]
    pub fn allows(self, error_s: f64) -> bool {
        error_s <= self.allowed_s() * (1.0 + 1e-9)
    }

    /// Whether its channels should stay on one unit even where the clocks are known well.
    #[must_use]
    pub const fn wants_one_unit(self) -> bool {
        matches!(self, Self::Array | Self::StereoPair)
    }
}

impl Session {
    /// Reads a session file's text.
    ///
    /// # Errors
    /// [`Kind::Format`](crate::Kind::Format) with line and column where it is no TOML or has unknown fields,
    /// [`Kind::Usage`](crate::Kind::Usage) for what makes no sense.
    pub fn from_toml(text: &str) -> Result<Self> {
        file::read(text)
    }

    /// The names of the sources that found no input.
    #[must_use]
    pub fn without_input(&self) -> Vec<&str> {
        let unplaced = self.plan.unplaced.iter();
        unplaced
            .map(|source| self.sources[*source].name.as_str())
            .collect()
    }

    /// The units that record anything, by their places.
    #[must_use]
    pub fn recording(&self) -> Vec<usize> {
        let units = 0..self.units.len();
        units.filter(|unit| self.plan.used(*unit) > 0).collect()
    }

    /// The group of a unit's 1-based channel.
    #[must_use]
    pub fn group_of(&self, unit: &str, channel: u32) -> Option<&Group> {
        self.groups.iter().find(|group| group.has(unit, channel))
    }
}

impl Group {
    /// Whether it has a unit's 1-based channel. Units are told apart without case.
    #[must_use]
    pub fn has(&self, unit: &str, channel: u32) -> bool {
        let mut channels = self.channels.iter();
        channels.any(|(own, number)| *number == channel && own.eq_ignore_ascii_case(unit))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn groups_are_read_with_their_channels() {
        let text = "[[group]]\nname = \"main pair\"\nclass = \"stereo-pair\"\nchannels = [\"NORTH:1\", \"South : 3 - 4\"]\n";
        let session = Session::from_toml(text).expect("a session");
        let group = session.group_of("SOUTH", 4).expect("a group");
        assert_eq!(
            (group.name.as_str(), group.class),
            ("main pair", Class::StereoPair)
        );
        assert_eq!(group.channels.len(), 3);
        assert!(session.group_of("NORTH", 2).is_none());
        let nothing = Session::from_toml("").expect("nothing declared");
        assert!(nothing.groups.is_empty() && nothing.units.is_empty());
    }

    #[test]
    fn what_makes_no_sense_is_refused_with_its_place() {
        let group = |class: &str, channels: &str| {
            let text =
                format!("[[group]]\nname = \"a\"\nclass = \"{class}\"\nchannels = [{channels}]\n");
            Session::from_toml(&text).expect_err("refused")
        };
        for channels in [
            "\"NORTH\"",
            "\"NORTH:0\"",
            "\":3\"",
            "\"NORTH:4-2\"",
            "\"NORTH:x\"",
        ] {
            assert!(
                group("array", channels)
                    .message()
                    .contains("names no channels")
            );
        }
        assert!(
            group("array", "")
                .message()
                .contains("at least one channel")
        );
        let twice = group("array", "\"NORTH:1-3\", \"north:2\"");
        assert!(
            twice
                .message()
                .contains("north:2 stands in a group already")
        );
        let unknown = group("arrray", "\"NORTH:1\"");
        let cause = std::error::Error::source(&unknown)
            .expect("a cause")
            .to_string();
        assert!(
            cause.contains("line 3") && cause.contains("arrray"),
            "{cause}"
        );
        assert!(Session::from_toml("[[groop]]\n").is_err());
    }
}
