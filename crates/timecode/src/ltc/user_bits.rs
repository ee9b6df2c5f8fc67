//! The 32 user bits and three flags of a word in, what they mean out: digits, characters, or a date and time zone
//! (SMPTE ST 12-1, 8.4 and table 1; ST 309:2012).

use std::fmt;

/// Eight groups of four bits, and what the flags say they are.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct UserBits {
    /// Binary groups 1 to 8, four bits each.
    pub groups: [u8; 8],
    /// Binary group flags: bit 0 is BGF0, bit 1 BGF1, bit 2 BGF2.
    pub flags: u8,
}

/// What user bits hold, by their flags.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Meaning {
    /// Anything: flags 000, or a combination that is reserved.
    Unspecified,
    /// Four characters of eight bits: flags 001. Kept as bytes: the standard leaves the character set open.
    Characters([u8; 4]),
    /// A date: flag BGF2 alone or with BGF1.
    Date(Date),
    /// Page and line of a multiplex (SMPTE RP 135): flags 101 and 111.
    PageAndLine,
}

/// A date in user bits (ST 309).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Date {
    /// Which day.
    pub day: Day,
    /// The time zone.
    pub zone: Zone,
    /// Whether daylight saving time is in force.
    pub daylight_saving: bool,
}

/// Which day it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Day {
    /// Of the calendar; the century is not sent.
    Calendar {
        /// 0 to 99.
        year: u8,
        /// 1 to 12.
        month: u8,
        /// 1 to 31.
        day: u8,
    },
    /// The Modified Julian Day, six digits; labels then count UTC.
    Julian(u32),
    /// Digits that are no date.
    None,
}

/// A time zone by its code of six bits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Zone {
    /// Minutes ahead of UTC.
    Minutes(i16),
    /// Agreed between the parties.
    Private,
    /// A code that is reserved.
    Reserved(u8),
}

impl UserBits {
    /// Eight hexadecimal digits, group 8 first (ST 12-1, 8.4.2).
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let value = u32::from_str_radix(text, 16).ok()?;
        (text.len() == 8).then(|| Self::of_number(value))
    }

    /// Group 8 from the highest four bits, group 1 from the lowest.
    #[must_use]
    pub fn of_number(value: u32) -> Self {
        let mut groups = [0; 8];
        for (at, group) in groups.iter_mut().enumerate() {
            *group = (value >> (4 * at) & 0xF) as u8;
        }
        Self { groups, flags: 0 }
    }

    /// Four characters of eight bits (flags 001): the first in groups 7 and 8, the last in 1 and 2.
    #[must_use]
    pub fn of_characters(characters: [u8; 4]) -> Self {
        Self {
            flags: 0b001,
            ..Self::of_number(u32::from_be_bytes(characters))
        }
    }

    /// A day of the calendar in a zone so many minutes ahead of UTC (flags 100); `None` when it is no date or no code
    /// exists for the zone.
    #[must_use]
    pub fn of_date(date: Date) -> Option<Self> {
        let mut groups = [0; 8];
        let julian = match date.day {
            Day::Calendar { year, month, day } => {
                let valid = year < 100 && (1..=12).contains(&month) && (1..=31).contains(&day);
                for (at, value) in [day, month, year].into_iter().enumerate() {
                    groups[2 * at] = value % 10;
                    groups[2 * at + 1] = value / 10;
                }
                valid.then_some(false)?
            }
            Day::Julian(mut day) => {
                for group in &mut groups[..6] {
                    *group = (day % 10) as u8;
                    day /= 10;
                }
                (day == 0).then_some(true)?
            }
            Day::None => return None,
        };
        let code = date.zone.code()?;
        groups[6] = code & 0xF;
        groups[7] = code >> 4 | u8::from(date.daylight_saving) << 2 | u8::from(julian) << 3;
        Some(Self {
            groups,
            flags: 0b100,
        })
    }

    /// What they mean.
    #[must_use]
    pub fn meaning(self) -> Meaning {
        match self.flags & 0b111 {
            0b001 => Meaning::Characters(self.number().to_be_bytes()),
            0b100 | 0b110 => Meaning::Date(self.date()),
            0b101 | 0b111 => Meaning::PageAndLine,
            _ => Meaning::Unspecified,
        }
    }

    /// Whether labels are the time of day by a clock: BGF1.
    #[must_use]
    pub fn is_clock_time(self) -> bool {
        self.flags & 0b010 != 0
    }

    fn number(self) -> u32 {
        let groups = self.groups.into_iter().rev();
        groups.fold(0, |all, group| all << 4 | u32::from(group & 0xF))
    }

    fn date(self) -> Date {
        let [g1, g2, g3, g4, g5, g6, low, high] = self.groups;
        let code = low & 0xF | (high & 0b11) << 4;
        let digits = [g1, g2, g3, g4, g5, g6];
        let two = |units: u8, tens: u8| units + 10 * tens;
        let day = if digits.iter().any(|digit| *digit > 9) {
            Day::None
        } else if high & 0b1000 != 0 {
            let digits = digits.into_iter().rev();
            Day::Julian(digits.fold(0, |all, digit| 10 * all + u32::from(digit)))
        } else {
            let (day, month) = (two(g1, g2), two(g3, g4));
            if (1..=31).contains(&day) && (1..=12).contains(&month) {
                let year = two(g5, g6);
                Day::Calendar { year, month, day }
            } else {
                Day::None
            }
        };
        Date {
            day,
            zone: Zone::of_code(code),
            daylight_saving: high & 0b100 != 0,
        }
    }
}

impl fmt::Display for UserBits {
    /// Eight hexadecimal digits, group 8 first.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:08X}", self.number())
    }
}

impl Zone {
    /// The zone of a code: whole hours west are 00 to 12, the others follow in ST 309's order (value from memory, held
    /// against libltc's table in `tests/libltc.rs`).
    #[must_use]
    pub fn of_code(code: u8) -> Self {
        match code {
            0x00..=0x09 => Self::Minutes(-60 * i16::from(code)),
            0x10..=0x12 => Self::Minutes(-60 * (10 + i16::from(code & 0xF))),
            0x13 => Self::Minutes(60 * 13),
            0x14..=0x19 => Self::Minutes(60 * (12 - i16::from(code - 0x14))),
            0x20..=0x25 => Self::Minutes(60 * (6 - i16::from(code - 0x20))),
            0x0A..=0x0F => Self::Minutes(-30 - 60 * i16::from(code - 0x0A)),
            0x1A..=0x1F => Self::Minutes(-390 - 60 * i16::from(code - 0x1A)),
            0x2A..=0x2F => Self::Minutes(690 - 60 * i16::from(code - 0x2A)),
            0x3A..=0x3F => Self::Minutes(330 - 60 * i16::from(code - 0x3A)),
            0x32 => Self::Minutes(765),
            0x38 => Self::Private,
            _ => Self::Reserved(code),
        }
    }

    /// The code of a zone; `None` when there is none.
    #[must_use]
    pub fn code(self) -> Option<u8> {
        (0..0x40).find(|code| Self::of_code(*code) == self)
    }
}

impl fmt::Display for Zone {
    /// `+0530`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::Minutes(minutes) => {
                let sign = if minutes < 0 { '-' } else { '+' };
                let size = minutes.unsigned_abs();
                write!(f, "{sign}{:02}{:02}", size / 60, size % 60)
            }
            Self::Private => f.write_str("private zone"),
            Self::Reserved(code) => write!(f, "reserved zone {code:02X}"),
        }
    }
}
