//! Series of phases in, everything a test tells of each clock out, with what a person should know.

use serde::Serialize;

use super::judge::Judged;
use super::measured::Series;
use super::series::{LEAST_POINTS, Spaced};
use super::temperature::{Reading, Temperature};
use crate::alignment::Basis;
use crate::finding::{Finding, Weight};
use crate::history::Measurement;
use crate::report::length_of_time;

/// What is asked of a test.
#[derive(Debug, Clone, PartialEq)]
pub struct Request {
    /// How long a timecode frame lasts, seconds.
    pub timecode_frame_s: f64,
    /// How timecode counts, in words.
    pub frame_rate: String,
    /// A log of temperatures, where there is one.
    pub temperatures: Option<Vec<Reading>>,
}

/// What a test tells of clocks.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Stability {
    /// How timecode counts.
    pub frame_rate: String,
    /// One entry a clock.
    pub clocks: Vec<ClockTest>,
    /// What a person should know.
    pub findings: Vec<Finding>,
}

/// What a test tells of one clock.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ClockTest {
    /// The unit.
    pub unit: String,
    /// What its clock was held against.
    pub against: String,
    /// What that rests on.
    pub basis: Basis,
    /// The same in words.
    pub rests_on: String,
    /// The day the unit wrote; empty when it wrote none.
    pub date: String,
    /// What is usually claimed for one phase, one standard deviation, seconds.
    pub phase_sigma_s: Option<f64>,
    /// The whole test, seconds.
    pub whole_s: f64,
    /// Stretches without phases, from and to, seconds.
    pub gaps_s: Vec<[f64; 2]>,
    /// What was judged: the longest stretch without a gap.
    #[serde(flatten)]
    pub judged: Judged,
    /// How the rate follows the temperature, where a log was given.
    pub temperature: Option<Temperature>,
    /// The judged phases: when, and by how much the unit was ahead, seconds.
    pub phases: Vec<[f64; 2]>,
}

/// Judges every series.
#[must_use]
pub fn stability(series: &[Series], request: &Request) -> Stability {
    let mut clocks = Vec::new();
    let mut findings = Vec::new();
    for one in series {
        match ClockTest::of(one, request) {
            Some(clock) => {
                findings.extend(clock.findings());
                clocks.push(clock);
            }
            None => findings.push(
                Finding::new(
                    "test-too-short",
                    Weight::Ask,
                    "too little was measured to judge a clock by",
                )
                .at(&one.unit)
                .measured(
                    format!("{} phases", one.phases.len()),
                    format!("{LEAST_POINTS} in one piece at equal distances"),
                )
                .then("let the test run for longer: hours for forecasts of hours"),
            ),
        }
    }
    Stability {
        frame_rate: request.frame_rate.clone(),
        clocks,
        findings,
    }
}

impl ClockTest {
    fn of(series: &Series, request: &Request) -> Option<Self> {
        let spaced = Spaced {
            sigma_s: series.sigma_s.unwrap_or(0.0),
            ..Spaced::of(&series.phases)?
        };
        let log = request.temperatures.as_deref();
        let phases = spaced.ahead_s.iter().enumerate();
        Some(Self {
            unit: series.unit.clone(),
            against: series.against.clone(),
            basis: series.basis,
            rests_on: series.rests_on.clone(),
            date: series.date.clone(),
            phase_sigma_s: series.sigma_s,
            whole_s: spaced.whole[1] - spaced.whole[0],
            gaps_s: spaced.gaps.clone(),
            judged: Judged::of(&spaced, request.timecode_frame_s),
            temperature: log.map(|log| Temperature::of(&spaced, log)),
            phases: phases.map(|(i, x)| [spaced.at(i), *x]).collect(),
        })
    }

    /// The mean rate as a clock history keeps it.
    #[must_use]
    pub fn measurement(&self) -> Measurement {
        let temperature = self.temperature.as_ref();
        // a covariance says what it can; a history holds no more than six digits of it
        let kept = |ppm: f64| (1e6 * ppm).round() / 1e6;
        Measurement {
            unit: self.unit.clone(),
            against: self.against.clone(),
            date: self.date.clone(),
            rate_ppm: kept(self.judged.rate_ppm),
            sigma_ppm: kept(self.judged.rate_sigma_ppm),
            wander_ppm: kept(self.judged.wander_ppm),
            seconds: (10.0 * self.judged.seconds).round() / 10.0,
            temperature_c: temperature
                .and_then(|t| t.mean_c)
                .map(|c| (100.0 * c).round() / 100.0),
            basis: self.basis,
            note: String::new(),
        }
    }

    fn findings(&self) -> Vec<Finding> {
        let mut findings = Vec::new();
        let missing = self.whole_s - self.judged.seconds;
        if !self.gaps_s.is_empty() && missing > 1.5 * self.judged.interval_s {
            findings.push(
                Finding::new(
                    "test-with-gaps",
                    Weight::Note,
                    "the test has gaps: its longest stretch without one was judged",
                )
                .at(&self.unit)
                .measured(
                    format!(
                        "{} of {}",
                        length_of_time(self.judged.seconds),
                        length_of_time(self.whole_s)
                    ),
                    "all of it",
                )
                .because("the common signal was silent there, or could not be read"),
            );
        }
        let still = self.judged.rate_ppm.abs() <= (3.0 * self.judged.rate_sigma_ppm).max(5e-4);
        let quiet = self.judged.rows.iter().all(|row| row.is_measuring);
        if still && quiet && self.basis != Basis::Manual {
            findings.push(
                Finding::new("one-clock", Weight::Note, "the two clocks are one clock")
                    .at(&self.unit)
                    .measured(
                        format!("{:+.4} ppm", self.judged.rate_ppm),
                        "two clocks that differ",
                    )
                    .because(match self.basis {
                        Basis::TimecodeTrack => {
                            "the unit made the timecode itself, or is locked to what made it"
                        }
                        _ => "the units share a word clock",
                    }),
            );
        }
        if let Some(temperature) = &self.temperature
            && temperature.slope.is_none()
        {
            findings.push(
                Finding::new(
                    "temperature-tells-nothing",
                    Weight::Note,
                    format!(
                        "how the rate follows the temperature is not told: {}",
                        temperature.why_not
                    ),
                )
                .at(&self.unit),
            );
        }
        findings
    }
}
