//! Labels in, counts and samples since midnight out, and back.

use std::fmt;

use crate::rate::reduced;
use crate::{Counting, Error};

/// What a label shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Digits {
    /// 0 to 23.
    pub hours: u8,
    /// 0 to 59.
    pub minutes: u8,
    /// 0 to 59.
    pub seconds: u8,
    /// Below the timecode frames a second.
    pub frames: u8,
}

/// One label of one counting.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Label {
    counting: Counting,
    count: u64,
}

impl Label {
    /// Reads `hh:mm:ss:ff`; `;` or `.` before `ff` is taken as well, whatever the counting: the mark only shows how
    /// labels were counted, `counting` says it.
    ///
    /// # Errors
    /// [`Error::Form`] or [`Error::NoSuchLabel`] with the rule that is broken.
    pub fn parse(text: &str, counting: Counting) -> Result<Self, Error> {
        let form = || Error::Form(text.into());
        let (clock, f) = text.trim().rsplit_once([':', ';', '.']).ok_or_else(form)?;
        let fields: Vec<&str> = clock.split(':').collect();
        let [h, m, s] = fields[..] else {
            return Err(form());
        };
        let number = |field: &str| {
            let digits = field.len() == 2 && field.bytes().all(|b| b.is_ascii_digit());
            if digits {
                field.parse::<u32>().map_err(|_| form())
            } else {
                Err(form())
            }
        };
        Self::of_fields([number(h)?, number(m)?, number(s)?, number(f)?], counting).map_err(|why| {
            Error::NoSuchLabel {
                label: text.into(),
                why,
            }
        })
    }

    fn of_fields([h, m, s, f]: [u32; 4], counting: Counting) -> Result<Self, &'static str> {
        let nominal = counting.rate().nominal();
        let dropped = counting.dropped_a_minute();
        if h > 23 {
            return Err("hours run from 00 to 23");
        }
        if m > 59 || s > 59 {
            return Err("minutes and seconds run from 00 to 59");
        }
        if f >= nominal {
            return Err("the last field must be below the timecode frames a second");
        }
        if m % 10 != 0 && s == 0 && f < dropped {
            return Err("drop-frame counting skips it at the start of this minute");
        }
        let minutes = u64::from(h) * 60 + u64::from(m);
        let count = (minutes * 60 + u64::from(s)) * u64::from(nominal) + u64::from(f)
            - u64::from(dropped) * (minutes - minutes / 10);
        Ok(Self { counting, count })
    }

    /// The label of the timecode frame `count` since 00:00:00:00, wrapped at the end of the day.
    #[must_use]
    pub fn of_count(count: u64, counting: Counting) -> Self {
        Self {
            counting,
            count: count % counting.day(),
        }
    }

    /// The label of the timecode frame that holds the sample position `samples` since midnight. A position less than one
    /// sample before a timecode frame's start belongs to that timecode frame: stamps are whole samples, starts often are
    /// not (01:00:00;00 at 48 kHz is 172799827.2).
    #[must_use]
    pub fn of_samples(samples: u64, sample_rate: u32, counting: Counting) -> Self {
        let (num, den) = counting.rate().samples_each(sample_rate.max(1));
        let count = (u128::from(samples) + 1) * u128::from(den) / u128::from(num);
        let start = u128::from(num) * count; // in 1/den samples
        let exact = u128::from(samples) * u128::from(den);
        let count = if start < exact + u128::from(den) {
            count
        } else {
            count - 1
        };
        Self::of_count(u64::try_from(count).unwrap_or(u64::MAX), counting)
    }

    /// How it is counted.
    #[must_use]
    pub fn counting(self) -> Counting {
        self.counting
    }

    /// Timecode frames since 00:00:00:00.
    #[must_use]
    pub fn count(self) -> u64 {
        self.count
    }

    /// Hours, minutes, seconds and timecode frames as they are shown.
    #[must_use]
    pub fn digits(self) -> Digits {
        let nominal = u64::from(self.counting.rate().nominal());
        let dropped = u64::from(self.counting.dropped_a_minute());
        let ten = 600 * nominal - 9 * dropped;
        let (tens, rest) = (self.count / ten, self.count % ten);
        // the first minute of ten is whole, the others begin `dropped` labels late
        let skipped = if rest < 60 * nominal {
            0
        } else {
            dropped * (1 + (rest - 60 * nominal) / (60 * nominal - dropped))
        };
        let label = self.count + 9 * dropped * tens + skipped;
        let (seconds, frames) = (label / nominal, label % nominal);
        Digits {
            hours: (seconds / 3600) as u8,
            minutes: (seconds / 60 % 60) as u8,
            seconds: (seconds % 60) as u8,
            frames: frames as u8,
        }
    }

    /// The label of digits; `None` when there is none in this counting.
    #[must_use]
    pub fn of_digits(digits: Digits, counting: Counting) -> Option<Self> {
        let Digits {
            hours,
            minutes,
            seconds,
            frames,
        } = digits;
        Self::of_fields([hours, minutes, seconds, frames].map(u32::from), counting).ok()
    }

    /// The label that follows, past midnight too.
    #[must_use]
    pub fn next(self) -> Self {
        Self::of_count(self.count + 1, self.counting)
    }

    /// Samples since midnight of the start of this timecode frame as a fraction in lowest terms: 01:00:00;00 at 48 kHz
    /// is 863999136 / 5.
    #[must_use]
    pub fn to_exact_samples(self, sample_rate: u32) -> (u64, u64) {
        let (num, den) = self.counting.rate().samples_each(sample_rate);
        reduced(num.saturating_mul(self.count), den)
    }

    /// Samples since midnight of the start of this timecode frame, rounded to the nearest sample, halves up.
    #[must_use]
    pub fn to_samples(self, sample_rate: u32) -> u64 {
        round(self.count, self.counting.rate().samples_each(sample_rate))
    }
}

impl fmt::Display for Label {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Digits {
            hours,
            minutes,
            seconds,
            frames,
        } = self.digits();
        let mark = if self.counting.drop_frame() { ';' } else { ':' };
        write!(f, "{hours:02}:{minutes:02}:{seconds:02}{mark}{frames:02}")
    }
}

/// Samples in 24 label-hours at `sample_rate`, rounded to the nearest sample: where stamps wrap.
#[must_use]
pub fn day_in_samples(counting: Counting, sample_rate: u32) -> u64 {
    round(counting.day(), counting.rate().samples_each(sample_rate))
}

fn round(count: u64, (num, den): (u64, u64)) -> u64 {
    let (num, den) = (u128::from(num) * u128::from(count), u128::from(den));
    u64::try_from((2 * num + den) / (2 * den)).unwrap_or(u64::MAX)
}
