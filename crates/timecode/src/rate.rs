//! Frame rates as fractions, and how labels are counted at them.

use std::fmt;

use crate::Error;

/// Timecode frames a second as an exact fraction in lowest terms.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct FrameRate {
    num: u32,
    den: u32,
}

impl FrameRate {
    /// 24000/1001.
    pub const F23_976: Self = Self {
        num: 24_000,
        den: 1001,
    };
    /// 24.
    pub const F24: Self = Self { num: 24, den: 1 };
    /// 25.
    pub const F25: Self = Self { num: 25, den: 1 };
    /// 30000/1001.
    pub const F29_97: Self = Self {
        num: 30_000,
        den: 1001,
    };
    /// 30.
    pub const F30: Self = Self { num: 30, den: 1 };
    /// 48000/1001.
    pub const F47_952: Self = Self {
        num: 48_000,
        den: 1001,
    };
    /// 48.
    pub const F48: Self = Self { num: 48, den: 1 };
    /// 50.
    pub const F50: Self = Self { num: 50, den: 1 };
    /// 60000/1001.
    pub const F59_94: Self = Self {
        num: 60_000,
        den: 1001,
    };
    /// 60.
    pub const F60: Self = Self { num: 60, den: 1 };
    /// Every rate of SMPTE ST 12-1, in rising order.
    pub const ALL: [Self; 10] = [
        Self::F23_976,
        Self::F24,
        Self::F25,
        Self::F29_97,
        Self::F30,
        Self::F47_952,
        Self::F48,
        Self::F50,
        Self::F59_94,
        Self::F60,
    ];

    /// The known rate equal to `num / den`, or `None`.
    #[must_use]
    pub fn of_fraction(num: u32, den: u32) -> Option<Self> {
        Self::ALL
            .into_iter()
            .find(|rate| {
                u64::from(rate.num) * u64::from(den) == u64::from(rate.den) * u64::from(num)
            })
            .filter(|_| den > 0)
    }

    /// Reads `30000/1001`, `25/1`, `25`, `29.97`, `23.98`, `029.970`: what is no exact fraction is taken for the nearest
    /// known rate within 0.005.
    ///
    /// # Errors
    /// [`Error::Rate`] for anything else.
    pub fn parse(text: &str) -> Result<Self, Error> {
        let text = text.trim();
        let refused = || Error::Rate(text.into());
        let (num, den) = text.split_once('/').unwrap_or((text, "1"));
        let (num, den) = (num.trim(), den.trim());
        if let (Ok(num), Ok(den)) = (num.parse(), den.parse())
            && let Some(exact) = Self::of_fraction(num, den)
        {
            return Ok(exact);
        }
        let (Ok(num), Ok(den)) = (num.parse::<f64>(), den.parse::<f64>()) else {
            return Err(refused());
        };
        Self::ALL
            .into_iter()
            .find(|rate| (rate.per_second() - num / den).abs() < 0.005)
            .ok_or_else(refused)
    }

    /// Numerator and denominator.
    #[must_use]
    pub fn fraction(self) -> (u32, u32) {
        (self.num, self.den)
    }

    /// Timecode frames a second as a real number.
    #[must_use]
    pub fn per_second(self) -> f64 {
        f64::from(self.num) / f64::from(self.den)
    }

    /// Labels a second of label time: 24 for 24000/1001, 30 for 30000/1001.
    #[must_use]
    pub fn nominal(self) -> u32 {
        self.num.div_ceil(self.den)
    }

    /// Audio samples a timecode frame at `sample_rate`, as a fraction in lowest terms.
    #[must_use]
    pub fn samples_each(self, sample_rate: u32) -> (u64, u64) {
        let (num, den) = (
            u64::from(sample_rate) * u64::from(self.den),
            u64::from(self.num),
        );
        reduced(num, den)
    }
}

impl fmt::Display for FrameRate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.num, self.den)
    }
}

/// A frame rate and whether labels are dropped.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Counting {
    rate: FrameRate,
    drop_frame: bool,
}

impl Counting {
    /// How labels are counted at `rate`. Drop-frame at exactly 30 and 60 is recorder practice, not ST 12-1, and accepted.
    ///
    /// # Errors
    /// [`Error::NoDrop`] for drop-frame at other counts than 30 and 60.
    pub fn new(rate: FrameRate, drop_frame: bool) -> Result<Self, Error> {
        if drop_frame && !matches!(rate.nominal(), 30 | 60) {
            return Err(Error::NoDrop(rate));
        }
        Ok(Self { rate, drop_frame })
    }

    /// Reads a rate with what recorders put behind it: `029.970-DF`, `29.97 NDF`, `25-ND`, `30000/1001 DF`; without a
    /// flag, or with `ND`, no labels are dropped.
    ///
    /// # Errors
    /// [`Error::Rate`] when it is no rate or the flag is none, [`Error::NoDrop`] as for [`Counting::new`].
    pub fn parse(text: &str) -> Result<Self, Error> {
        let text = text.trim();
        let end = text
            .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | '/')))
            .unwrap_or(text.len());
        let (number, flag) = text.split_at(end);
        let flag = flag.trim_matches(|c: char| matches!(c, '-' | '_' | ' '));
        let drop_frame = match flag.to_ascii_uppercase().as_str() {
            "DF" => true,
            "" | "ND" | "NDF" => false,
            _ => return Err(Error::Rate(text.into())),
        };
        Self::new(FrameRate::parse(number)?, drop_frame)
    }

    /// The frame rate.
    #[must_use]
    pub fn rate(self) -> FrameRate {
        self.rate
    }

    /// Whether labels are dropped.
    #[must_use]
    pub fn drop_frame(self) -> bool {
        self.drop_frame
    }

    /// Labels dropped at the start of a minute that is no multiple of ten (ST 12-1, 5.2): 2 of 30, 4 of 60.
    #[must_use]
    pub fn dropped_a_minute(self) -> u32 {
        if self.drop_frame {
            self.rate.nominal() / 15
        } else {
            0
        }
    }

    /// Timecode frames in 24 label-hours.
    #[must_use]
    pub fn day(self) -> u64 {
        let nominal = u64::from(self.rate.nominal());
        24 * (3600 * nominal - 54 * u64::from(self.dropped_a_minute()))
    }
}

impl fmt::Display for Counting {
    /// `30000/1001 DF`, `25/1 NDF`: iXML's `TIMECODE_RATE` and `TIMECODE_FLAG`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let flag = if self.drop_frame { "DF" } else { "NDF" };
        write!(f, "{} {flag}", self.rate)
    }
}

/// The greatest common divisor.
pub(crate) fn gcd(a: u128, b: u128) -> u128 {
    if b == 0 { a } else { gcd(b, a % b) }
}

/// A fraction in lowest terms; nothing over nothing stays.
pub(crate) fn reduced(num: u64, den: u64) -> (u64, u64) {
    let divisor = gcd(num.into(), den.into()).max(1) as u64;
    (num / divisor, den / divisor)
}
