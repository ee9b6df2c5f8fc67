//! One clock's measured phases in, everything a test tells of it out.

use serde::Serialize;

use super::deviations::{modified_allan, overlapping_allan, time_deviation};
use super::forecast::{Forecast, Outlook};
use super::line::{Ageing, Line};
use super::model::{Model, Parts, Seen};
use super::noise::{Interval, Kind, Noise, degrees_of_freedom, noise_of};
use super::series::Spaced;

/// Averaging times go up to this part of a test: beyond, an interval is wider than a decade.
const PARTS_OF_A_TEST: usize = 4;
/// A row is ruled by measuring when so much of its variance is.
const RULED: f64 = 0.5;
/// A tenth of a millisecond.
const TENTH_MS_S: f64 = 1e-4;

/// What a test tells of a clock's course.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Judged {
    /// How much faster it ran, ppm; positive: it wrote more samples.
    pub rate_ppm: f64,
    /// One standard deviation of the mean rate of this very stretch of time, ppm.
    pub rate_sigma_ppm: f64,
    /// How long the judged stretch was, seconds.
    pub seconds: f64,
    /// The distance of its phases, seconds.
    pub interval_s: f64,
    /// A row an averaging time, octaves apart.
    pub rows: Vec<Row>,
    /// What noises the rows are made of.
    pub parts: Parts,
    /// What the rate gains with time, where that is beyond doubt; it is taken out of the rows.
    pub ageing: Option<Ageing>,
    /// How much the rate changes by itself over the longest times the test knows about: the upper end of the last row, ppm.
    pub wander_ppm: f64,
    /// When limits are exceeded after a jam.
    pub forecasts: Vec<Forecast>,
}

/// What is known over one averaging time.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Row {
    /// The averaging time, seconds.
    pub averaging_s: f64,
    /// The noise that rules it.
    pub noise: Noise,
    /// The overlapping Allan deviation.
    pub allan: Interval,
    /// Its equivalent degrees of freedom.
    pub freedom: f64,
    /// The modified Allan deviation.
    pub modified: Option<Interval>,
    /// The time deviation, seconds.
    pub time_s: Option<Interval>,
    /// The share of the Allan deviation that white noise of the phase would have by itself.
    pub measuring: f64,
    /// Whether that rules the row: then it tells of the measurement, not of the clock.
    pub is_measuring: bool,
}

impl Judged {
    /// Judges a gapless stretch; `timecode_frame_s` is how long a timecode frame lasts.
    #[must_use]
    pub fn of(spaced: &Spaced, timecode_frame_s: f64) -> Self {
        let (model, line, phases) = taken_apart(spaced);
        let rows = rows(&phases, spaced.interval_s, &model.parts);
        let outlook = Outlook {
            model: &model,
            line: &line,
            end_s: spaced.at(spaced.ahead_s.len() - 1),
            seconds: spaced.seconds(),
        };
        let forecasts = [
            ("a tenth of a millisecond", TENTH_MS_S),
            ("half a timecode frame", 0.5 * timecode_frame_s),
            ("one timecode frame", timecode_frame_s),
        ];
        Self {
            rate_ppm: 1e6 * line.rate,
            rate_sigma_ppm: 1e6 * line.sigma,
            seconds: spaced.seconds(),
            interval_s: spaced.interval_s,
            wander_ppm: rows.last().map_or(0.0, |row| 1e6 * row.allan.high),
            rows,
            parts: model.parts,
            ageing: line.ageing(),
            forecasts: forecasts
                .into_iter()
                .map(|(name, limit_s)| outlook.forecast(name, limit_s))
                .collect(),
        }
    }
}

/// The noise, the line, and the phases the noise was read off: without the bend where it is ageing.
pub(super) fn taken_apart(spaced: &Spaced) -> (Model, Line, Vec<f64>) {
    let levelled = levelled(spaced);
    let bent = Line::of(&levelled, &model_of(&levelled.ahead_s, spaced));
    let unbent = bent.unbent(&levelled);
    let model = model_of(&unbent, spaced);
    let ageing = Line::of(&levelled, &model);
    let rate = overall(spaced);
    let whole = |line: Line| Line {
        rate: line.rate + rate,
        ..line
    };
    if ageing.is_ageing {
        return (model, whole(ageing), unbent);
    }
    let model = model_of(&levelled.ahead_s, spaced);
    let line = Line {
        is_ageing: false,
        ..Line::of(&levelled, &model)
    };
    (model, whole(line), levelled.ahead_s)
}

fn model_of(phases: &[f64], spaced: &Spaced) -> Model {
    Model::of(&seen(phases, spaced.interval_s)).with_claimed(spaced.sigma_s)
}

fn overall(spaced: &Spaced) -> f64 {
    let x = &spaced.ahead_s;
    (x[x.len() - 1] - x[0]) / spaced.seconds()
}

/// The same without its slope: what is left has more digits.
pub(super) fn levelled(spaced: &Spaced) -> Spaced {
    let (rate, first) = (overall(spaced), spaced.ahead_s[0]);
    let phases = spaced.ahead_s.iter().enumerate();
    Spaced {
        ahead_s: phases
            .map(|(i, x)| x - first - rate * spaced.interval_s * i as f64)
            .collect(),
        ..spaced.clone()
    }
}

fn factors(points: usize) -> impl Iterator<Item = usize> {
    let most = points.saturating_sub(1) / PARTS_OF_A_TEST;
    (0..usize::BITS)
        .map(|power| 1_usize << power)
        .take_while(move |factor| *factor <= most)
}

/// The noise of every octave: where too few phases are left to tell, that of the octave before (SP 1065, 5.5.6).
fn noises(phases: &[f64]) -> Vec<(usize, Noise)> {
    let mut last = Noise::WhiteRate;
    factors(phases.len())
        .map(|factor| {
            last = noise_of(phases, factor).unwrap_or(last);
            (factor, last)
        })
        .collect()
}

pub(super) fn seen(phases: &[f64], interval_s: f64) -> Vec<Seen> {
    let octaves = noises(phases).into_iter();
    octaves
        .filter_map(|(factor, noise)| {
            let deviation = overlapping_allan(phases, interval_s, factor)?;
            Some(Seen {
                tau_s: interval_s * factor as f64,
                variance: deviation * deviation,
                freedom: degrees_of_freedom(Kind::Overlapping, noise, phases.len(), factor)?,
            })
        })
        .collect()
}

fn rows(phases: &[f64], interval_s: f64, parts: &Parts) -> Vec<Row> {
    let octaves = noises(phases).into_iter();
    octaves
        .filter_map(|(factor, noise)| {
            let averaging_s = interval_s * factor as f64;
            let value = overlapping_allan(phases, interval_s, factor)?;
            let freedom = degrees_of_freedom(Kind::Overlapping, noise, phases.len(), factor)?;
            let smooth = degrees_of_freedom(Kind::Modified, noise, phases.len(), factor);
            let known = |value: Option<f64>| Some(Interval::of(value?, smooth?));
            let measuring = (3.0 * parts.white_phase_s2).sqrt() / averaging_s;
            let modelled = parts.allan_variance(averaging_s);
            Some(Row {
                averaging_s,
                noise,
                allan: Interval::of(value, freedom),
                freedom,
                modified: known(modified_allan(phases, interval_s, factor)),
                time_s: known(time_deviation(phases, interval_s, factor)),
                measuring,
                is_measuring: measuring * measuring > RULED * modelled && modelled > 0.0,
            })
        })
        .collect()
}
