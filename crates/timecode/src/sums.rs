//! What a recordist looks up in, exact answers out: labels plus and minus labels, labels, samples and seconds from one
//! another, what dropped labels and pulled rates do to them, and what a difference in rate comes to.

use std::fmt;

use crate::rate::gcd;
use crate::{Counting, Error, FrameRate, Label};

/// A non-negative number as a fraction in lowest terms.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Exact {
    num: u128,
    den: u128,
}

impl Exact {
    /// `num / den`; a zero below is taken for one.
    #[must_use]
    pub fn new(num: u128, den: u128) -> Self {
        let den = den.max(1);
        let divisor = gcd(num, den);
        Self {
            num: num / divisor,
            den: den / divisor,
        }
    }

    /// As a number.
    #[must_use]
    pub fn value(self) -> f64 {
        self.num as f64 / self.den as f64
    }

    /// Numerator and denominator.
    #[must_use]
    pub fn fraction(self) -> (u128, u128) {
        (self.num, self.den)
    }

    fn times(self, num: u128, den: u128) -> Self {
        Self::new(self.num.saturating_mul(num), self.den.saturating_mul(den))
    }

    /// The nearest whole number, halves up.
    #[must_use]
    pub fn rounded(self) -> u64 {
        let twice = self.num.saturating_mul(2).saturating_add(self.den);
        u64::try_from(twice / self.den.saturating_mul(2)).unwrap_or(u64::MAX)
    }
}

impl fmt::Display for Exact {
    /// Up to six decimals, rounded: `172799827.2`; with `~` before it when more would follow.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let million = self.times(1_000_000, 1);
        let mark = if million.den == 1 { "" } else { "~" };
        let digits = (2 * million.num + million.den) / (2 * million.den);
        let (whole, part) = (digits / 1_000_000, digits % 1_000_000);
        let part = format!("{part:06}");
        let part = part.trim_end_matches('0');
        if part.is_empty() {
            write!(f, "{mark}{whole}")
        } else {
            write!(f, "{mark}{whole}.{part}")
        }
    }
}

/// What is asked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Answer {
    /// An instant of the day.
    Place(Place),
    /// How long something lasts.
    Span(Span),
    /// What a difference in rate comes to.
    Drift(Drift),
}

/// An instant of the day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// The label that is shown then.
    pub label: Label,
    /// Seconds since midnight.
    pub seconds: Exact,
}

/// How long something lasts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    /// Whether the second label is the later one.
    pub backwards: bool,
    /// Timecode frames.
    pub frames: u64,
    /// How they are counted.
    pub counting: Counting,
    /// Seconds.
    pub seconds: Exact,
}

/// What a difference in rate comes to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drift {
    /// Parts per million; the sign says which way.
    pub ppm: f64,
    /// At which timecode frames are counted.
    pub rate: FrameRate,
}

impl Drift {
    /// Seconds apart after a day of 86 400 s.
    #[must_use]
    pub fn seconds_a_day(self) -> f64 {
        self.ppm * 86_400e-6
    }

    /// Timecode frames apart after a day.
    #[must_use]
    pub fn frames_a_day(self) -> f64 {
        self.seconds_a_day() * self.rate.per_second()
    }

    /// Seconds until they are so many seconds apart; endless without a difference.
    #[must_use]
    pub fn until(self, apart_s: f64) -> f64 {
        apart_s / (self.ppm.abs() * 1e-6)
    }
}

impl Place {
    fn of_label(label: Label) -> Self {
        let (num, den) = label.counting().rate().fraction();
        let count = u128::from(label.count());
        Self {
            label,
            seconds: Exact::new(count * u128::from(den), u128::from(num)),
        }
    }

    fn of_seconds(seconds: Exact, counting: Counting) -> Self {
        let (num, den) = counting.rate().fraction();
        let frames = seconds.times(u128::from(num), u128::from(den));
        let count = u64::try_from(frames.num / frames.den).unwrap_or(u64::MAX);
        Self {
            label: Label::of_count(count, counting),
            seconds,
        }
    }

    /// Samples since midnight.
    #[must_use]
    pub fn samples(self, sample_rate: u32) -> Exact {
        self.seconds.times(u128::from(sample_rate), 1)
    }

    /// The label shown at the same instant in another counting that also began at midnight.
    #[must_use]
    pub fn in_counting(self, counting: Counting) -> Label {
        Self::of_seconds(self.seconds, counting).label
    }

    /// Labels left out from midnight to this one.
    #[must_use]
    pub fn dropped(self) -> u64 {
        let digits = self.label.digits();
        let minutes = u64::from(digits.hours) * 60 + u64::from(digits.minutes);
        u64::from(self.label.counting().dropped_a_minute()) * (minutes - minutes / 10)
    }

    /// What the label says in seconds, as if it were a clock's: hours, minutes and seconds, and timecode frames as parts.
    #[must_use]
    pub fn shown(self) -> Exact {
        let digits = self.label.digits();
        let seconds = (u128::from(digits.hours) * 60 + u128::from(digits.minutes)) * 60
            + u128::from(digits.seconds);
        let nominal = u128::from(self.label.counting().rate().nominal());
        Exact::new(seconds * nominal + u128::from(digits.frames), nominal)
    }
}

impl Span {
    fn of(frames: i128, counting: Counting) -> Self {
        let (num, den) = counting.rate().fraction();
        let count = frames.unsigned_abs();
        Self {
            backwards: frames < 0,
            frames: u64::try_from(count).unwrap_or(u64::MAX),
            counting,
            seconds: Exact::new(count.saturating_mul(u128::from(den)), u128::from(num)),
        }
    }

    /// Samples.
    #[must_use]
    pub fn samples(self, sample_rate: u32) -> Exact {
        self.seconds.times(u128::from(sample_rate), 1)
    }
}

/// A day of labels in seconds: 86 486.4 for 29.97 without dropping.
#[must_use]
pub fn day_in_seconds(counting: Counting) -> Exact {
    let (num, den) = counting.rate().fraction();
    Exact::new(
        u128::from(counting.day()) * u128::from(den),
        u128::from(num),
    )
}

/// A sample rate pulled down by 1000/1001 and up by 1001/1000, Hz.
#[must_use]
pub fn pulled(sample_rate: u32) -> [Exact; 2] {
    let rate = u128::from(sample_rate);
    [Exact::new(rate * 1000, 1001), Exact::new(rate * 1001, 1000)]
}

/// One value of a sum.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Value {
    Label(Label),
    /// Timecode frames.
    Frames(u64),
    /// Samples at a rate.
    Samples(u64, u32),
    Seconds(Exact),
    Ppm(f64),
}

/// Works out a sum: a value, or two with `+` or `-` between them. Values are labels (`10:00:00:00`), or numbers with a
/// unit: `frames`, `samples` at `sample_rate`, `seconds`, `ppm`. A label added to a label counts as so many timecode frames.
///
/// # Errors
/// [`Error::Sum`] when it is none; the errors of [`Label::parse`].
pub fn answer(words: &[&str], counting: Counting, sample_rate: u32) -> Result<Answer, Error> {
    let refused = || Error::Sum(words.join(" "));
    let at = words.iter().position(|word| matches!(*word, "+" | "-"));
    let Some(at) = at else {
        return match value(words, counting, sample_rate)? {
            Value::Label(label) => Ok(Answer::Place(Place::of_label(label))),
            Value::Seconds(seconds) => Ok(Answer::Place(Place::of_seconds(seconds, counting))),
            // stamps are whole samples, the starts of timecode frames often are not
            Value::Samples(samples, rate) => Ok(Answer::Place(Place {
                label: Label::of_samples(samples, rate, counting),
                seconds: seconds_of(samples, rate),
            })),
            Value::Frames(frames) => Ok(Answer::Span(Span::of(i128::from(frames), counting))),
            Value::Ppm(ppm) => {
                let rate = counting.rate();
                Ok(Answer::Drift(Drift { ppm, rate }))
            }
        };
    };
    let plus = words[at] == "+";
    let Value::Label(first) = value(&words[..at], counting, sample_rate)? else {
        return Err(refused());
    };
    let day = i128::from(counting.day());
    let moved = |by: i128| {
        let by = if plus { by } else { -by };
        let count = (i128::from(first.count()) + by).rem_euclid(day);
        let count = u64::try_from(count).unwrap_or_default();
        Answer::Place(Place::of_label(Label::of_count(count, counting)))
    };
    let later = |seconds: Exact| {
        let start = Place::of_label(first).seconds;
        let whole = day_in_seconds(counting);
        let den = start.den.saturating_mul(seconds.den);
        let day = (whole.num.saturating_mul(den) / whole.den).max(1);
        let from = start.num.saturating_mul(seconds.den);
        let by = seconds.num.saturating_mul(start.den) % day;
        let sum = if plus { from + by } else { from + day - by };
        Answer::Place(Place::of_seconds(Exact::new(sum % day, den), counting))
    };
    Ok(match value(&words[at + 1..], counting, sample_rate)? {
        Value::Label(second) if !plus => {
            let apart = i128::from(first.count()) - i128::from(second.count());
            Answer::Span(Span::of(apart, counting))
        }
        Value::Label(second) => moved(i128::from(second.count())),
        Value::Frames(frames) => moved(i128::from(frames)),
        Value::Samples(samples, rate) => later(seconds_of(samples, rate)),
        Value::Seconds(seconds) => later(seconds),
        Value::Ppm(_) => return Err(refused()),
    })
}

fn seconds_of(samples: u64, sample_rate: u32) -> Exact {
    Exact::new(u128::from(samples), u128::from(sample_rate))
}

fn value(words: &[&str], counting: Counting, sample_rate: u32) -> Result<Value, Error> {
    let refused = || Error::Sum(words.join(" "));
    let (text, unit) = match *words {
        [text] if text.contains(':') => return Ok(Value::Label(Label::parse(text, counting)?)),
        [text] => {
            let end = text
                .find(|c: char| c.is_ascii_alphabetic())
                .ok_or_else(refused)?;
            text.split_at(end)
        }
        [number, unit] => (number, unit),
        _ => return Err(refused()),
    };
    match unit {
        "ppm" => {
            let ppm: f64 = text.parse().map_err(|_| refused())?;
            let known = ppm.is_finite() && ppm.abs() < 1e6;
            known.then_some(Value::Ppm(ppm)).ok_or_else(refused)
        }
        "frame" | "frames" => Ok(Value::Frames(text.parse().map_err(|_| refused())?)),
        "sample" | "samples" => {
            let samples = text.parse().map_err(|_| refused())?;
            Ok(Value::Samples(samples, sample_rate.max(1)))
        }
        "s" | "second" | "seconds" => decimal(text).map(Value::Seconds).ok_or_else(refused),
        _ => Err(refused()),
    }
}

/// A decimal number of at most twelve digits on either side of the point.
fn decimal(text: &str) -> Option<Exact> {
    let (whole, part) = text.split_once('.').unwrap_or((text, ""));
    let digits = |text: &str| text.len() <= 12 && text.bytes().all(|b| b.is_ascii_digit());
    if whole.is_empty() || !digits(whole) || !digits(part) {
        return None;
    }
    let den = 10_u128.pow(u32::try_from(part.len()).ok()?);
    let num: u128 = format!("{whole}{part}").parse().ok()?;
    Some(Exact::new(num, den))
}
