//! A clock history's text in, how fast one unit's clock runs against another's out: every long test leaves a measurement in a
//! plain file that a person may read, correct and comment.
//!
//! ```toml
//! format = "commontime-clock-history"
//! version = 1
//!
//! [[measurement]]
//! unit = "SOUTH"
//! against = "NORTH"
//! date = "2026-11-20"
//! rate_ppm = 7.31       # positive: SOUTH's clock runs fast
//! sigma_ppm = 0.004
//! wander_ppm = 0.012
//! seconds = 3600.0
//! temperature_c = 21.5  # left out where nobody wrote it down
//! basis = "common-signal"
//! note = ""
//! ```

use std::fmt::Write as _;

use serde::{Deserialize, Serialize};

use crate::alignment::Basis;
use crate::error::{Error, Kind, Result};

/// The name of the form.
pub const FORMAT: &str = "commontime-clock-history";
/// The version of the form that is written, and the newest that is read.
pub const VERSION: u32 = 1;

/// A rate beyond this is no clock, ppm (the design's plausibility limit).
const PLAUSIBLE_PPM: f64 = 1000.0;

/// How fast one clock ran against another during one test.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Measurement {
    /// The unit.
    pub unit: String,
    /// The unit, or the generator of timecode, it was measured against.
    pub against: String,
    /// The day of the test as the unit wrote it, `YYYY-MM-DD`; empty when it wrote none.
    #[serde(default)]
    pub date: String,
    /// How much faster the unit's clock ran, ppm.
    pub rate_ppm: f64,
    /// One sigma of that, ppm.
    pub sigma_ppm: f64,
    /// How much the rate changes on its own over the longest times the test knows about (Allan deviation, upper end of its
    /// 95 % interval), ppm.
    pub wander_ppm: f64,
    /// How long the test was, seconds.
    pub seconds: f64,
    /// The mean temperature, degrees Celsius, where it was written down.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature_c: Option<f64>,
    /// What the measurement rests on.
    pub basis: Basis,
    /// What a person adds.
    #[serde(default)]
    pub note: String,
}

/// What was measured of clocks so far.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct History {
    /// In the order of the file.
    pub measurements: Vec<Measurement>,
}

/// What a history knows of one clock against another.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Known {
    /// The mean of what was measured, ppm; positive: the unit's clock is the faster.
    pub rate_ppm: f64,
    /// From where to where it may lie: all that was measured, three sigma and the wander added, ppm.
    pub range_ppm: [f64; 2],
    /// How many tests that rests on.
    pub tests: usize,
    /// The longest of them, seconds.
    pub longest_s: f64,
    /// The latest of their days; empty when none wrote one.
    pub latest: String,
    /// The clock both were measured against, where they were never measured against each other.
    pub through: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    format: String,
    version: u32,
    #[serde(default)]
    measurement: Vec<Measurement>,
}

#[derive(Serialize)]
struct Entry<'a> {
    measurement: [&'a Measurement; 1],
}

impl History {
    /// Reads a history's text.
    ///
    /// # Errors
    /// [`Kind::Format`] with line and column where it is no such file, has unknown fields, or holds numbers that no clock has.
    pub fn from_toml(text: &str) -> Result<Self> {
        let broken = |what: &str| {
            Error::new(Kind::Format, what).then(
                "give the file that `commontime stability --history` wrote, or correct it there",
            )
        };
        let file: File = toml::from_str(text)
            .map_err(|error| broken("is no clock history").from_source(error))?;
        if file.format != FORMAT || file.version > VERSION {
            return Err(broken(&format!(
                "is no clock history that this program knows: {} version {} instead of {FORMAT} version {VERSION}",
                file.format, file.version
            )));
        }
        for (at, one) in file.measurement.iter().enumerate() {
            let number = at + 1;
            let sane = one.rate_ppm.abs() <= PLAUSIBLE_PPM
                && (0.0..=PLAUSIBLE_PPM).contains(&one.sigma_ppm)
                && (0.0..=PLAUSIBLE_PPM).contains(&one.wander_ppm)
                && one.seconds > 0.0
                && one
                    .temperature_c
                    .is_none_or(|t| (-273.15..=200.0).contains(&t));
            if !sane {
                return Err(broken(&format!(
                    "measurement {number}, of {} against {}, has numbers that no clock has",
                    one.unit, one.against
                )));
            }
            if one.unit.trim().is_empty() || one.unit.eq_ignore_ascii_case(&one.against) {
                return Err(broken(&format!(
                    "measurement {number} does not name two clocks"
                )));
            }
        }
        Ok(Self {
            measurements: file.measurement,
        })
    }

    /// The text of a history with `new` measurements after those of `text`, whose comments and order stay as they are; without
    /// one, of a new history. What stands there already, number for number, is not written again: it is the same test.
    ///
    /// # Errors
    /// As [`History::from_toml`] when `text` is none, the same when a measurement is none.
    pub fn extended(text: Option<&str>, new: &[Measurement]) -> Result<String> {
        let mut there = Vec::new();
        let mut whole = match text {
            Some(text) => {
                there = Self::from_toml(text)?.measurements;
                text.trim_end().to_owned() + "\n"
            }
            None => format!(
                "# How fast each unit's clock ran against another's, a test each. Rates in parts per million; positive: the\n\
                 # unit's clock ran fast. Tests may be added, corrected, commented and taken out by hand.\n\
                 format = \"{FORMAT}\"\nversion = {VERSION}\n"
            ),
        };
        for one in new.iter().filter(|one| !there.contains(one)) {
            let entry = toml::to_string(&Entry { measurement: [one] }).map_err(|error| {
                Error::new(Kind::Format, "a measurement cannot be written").from_source(error)
            })?;
            let _ = write!(whole, "\n{entry}");
        }
        Self::from_toml(&whole)?;
        Ok(whole)
    }

    /// What is known of `unit`'s clock against `against`'s: measured on each other, else both on a third.
    #[must_use]
    pub fn known(&self, unit: &str, against: &str) -> Option<Known> {
        if let Some(known) = self.direct(unit, against) {
            return Some(known);
        }
        let chained = self.clocks().into_iter().filter_map(|third| {
            let (own, other) = (self.direct(unit, third)?, self.direct(against, third)?);
            Some(Known {
                rate_ppm: own.rate_ppm - other.rate_ppm,
                range_ppm: [
                    own.range_ppm[0] - other.range_ppm[1],
                    own.range_ppm[1] - other.range_ppm[0],
                ],
                tests: own.tests.min(other.tests),
                longest_s: own.longest_s.min(other.longest_s),
                // the older of the two: a chain is as fresh as its oldest link
                latest: own.latest.min(other.latest),
                through: Some(third.to_owned()),
            })
        });
        chained.min_by(|a, b| a.width().total_cmp(&b.width()))
    }

    /// The clocks it knows, each once, in the order of the file. Names are told apart without case.
    #[must_use]
    pub fn clocks(&self) -> Vec<&str> {
        let mut clocks: Vec<&str> = Vec::new();
        for one in &self.measurements {
            for name in [&one.unit, &one.against] {
                if !clocks.iter().any(|known| known.eq_ignore_ascii_case(name)) {
                    clocks.push(name);
                }
            }
        }
        clocks
    }

    fn direct(&self, unit: &str, against: &str) -> Option<Known> {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        let (mut sum, mut tests, mut latest, mut longest_s) = (0.0, 0_usize, "", 0.0_f64);
        for one in &self.measurements {
            let rate = if one.is_of(unit, against) {
                one.rate_ppm
            } else if one.is_of(against, unit) {
                -one.rate_ppm
            } else {
                continue;
            };
            let margin = 3.0 * one.sigma_ppm + one.wander_ppm;
            low = low.min(rate - margin);
            high = high.max(rate + margin);
            sum += rate;
            tests += 1;
            latest = latest.max(&one.date);
            longest_s = longest_s.max(one.seconds);
        }
        (tests > 0).then(|| Known {
            rate_ppm: sum / tests as f64,
            range_ppm: [low, high],
            tests,
            longest_s,
            latest: latest.to_owned(),
            through: None,
        })
    }
}

impl Measurement {
    fn is_of(&self, unit: &str, against: &str) -> bool {
        self.unit.eq_ignore_ascii_case(unit) && self.against.eq_ignore_ascii_case(against)
    }
}

impl Known {
    /// The largest difference that may be, ppm, without sign.
    #[must_use]
    pub fn worst_ppm(&self) -> f64 {
        self.range_ppm[0].abs().max(self.range_ppm[1].abs())
    }

    fn width(&self) -> f64 {
        self.range_ppm[1] - self.range_ppm[0]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn measured(unit: &str, against: &str, rate_ppm: f64, date: &str) -> Measurement {
        Measurement {
            unit: unit.into(),
            against: against.into(),
            date: date.into(),
            rate_ppm,
            sigma_ppm: 0.01,
            wander_ppm: 0.05,
            seconds: 3600.0,
            temperature_c: None,
            basis: Basis::CommonSignal,
            note: String::new(),
        }
    }

    #[test]
    fn what_a_person_wrote_into_the_file_stays() {
        let first = History::extended(None, &[measured("SOUTH", "NORTH", 7.31, "2026-11-20")])
            .expect("a new history");
        let commented = first.replace("[[measurement]]", "# in the cold store\n[[measurement]]");
        let second = History::extended(
            Some(&commented),
            &[measured("SOUTH", "NORTH", 7.41, "2026-11-21")],
        )
        .expect("a longer history");
        assert!(second.starts_with(commented.trim_end()), "{second}");
        let history = History::from_toml(&second).expect("read again");
        assert_eq!(history.measurements.len(), 2);
        assert_eq!(
            history.measurements[1],
            measured("SOUTH", "NORTH", 7.41, "2026-11-21")
        );
    }

    #[test]
    fn the_same_test_is_written_once() {
        let one = [measured("SOUTH", "NORTH", 7.31, "2026-11-20")];
        let first = History::extended(None, &one).expect("a new history");
        assert_eq!(
            History::extended(Some(&first), &one).expect("the same"),
            first
        );
    }

    #[test]
    fn rates_are_known_in_both_directions_and_through_a_third_clock() {
        let history = History {
            measurements: vec![
                measured("SOUTH", "NORTH", 7.0, "2026-11-20"),
                measured("south", "north", 8.0, "2026-11-22"),
                measured("NORTH", "EAST", -2.0, "2026-11-21"),
            ],
        };
        let known = history.known("SOUTH", "NORTH").expect("measured");
        assert_eq!((known.tests, known.latest.as_str()), (2, "2026-11-22"));
        assert!((known.rate_ppm - 7.5).abs() < 1e-12);
        assert!((known.range_ppm[0] - 6.92).abs() < 1e-12, "{known:?}");
        assert!((known.range_ppm[1] - 8.08).abs() < 1e-12, "{known:?}");
        let back = history.known("NORTH", "SOUTH").expect("measured");
        assert!((back.rate_ppm + 7.5).abs() < 1e-12 && (back.worst_ppm() - 8.08).abs() < 1e-12);
        let chained = history.known("SOUTH", "EAST").expect("through NORTH");
        assert!((chained.rate_ppm - 5.5).abs() < 1e-12, "{chained:?}");
        assert_eq!(chained.through.as_deref(), Some("NORTH"));
        assert_eq!(chained.latest, "2026-11-21");
        assert!(history.known("SOUTH", "WEST").is_none());
    }

    #[test]
    fn what_is_no_history_is_refused_with_its_place() {
        let whole = History::extended(None, &[measured("SOUTH", "NORTH", 7.0, "")]).expect("text");
        for (from, to, said) in [
            ("version = 1", "version = 9", "that this program knows"),
            (FORMAT, "some-history", "that this program knows"),
            ("rate_ppm = 7.0", "rate_ppm = 88435.0", "no clock has"),
            ("rate_ppm = 7.0", "rate_ppm = nan", "no clock has"),
            ("seconds = 3600.0", "seconds = -1.0", "no clock has"),
            ("against = \"NORTH\"", "against = \"south\"", "two clocks"),
            ("rate_ppm = 7.0", "rate = 7.0", "is no clock history"),
        ] {
            assert!(whole.contains(from), "{from} in {whole}");
            let error = History::from_toml(&whole.replace(from, to)).expect_err(to);
            assert!(error.message().contains(said), "{to}: {error:?}");
        }
    }
}
