//! The finished files of a joint take in, how far each follower still is from the lead out: the common signal that the alignment names is
//! measured again on the output, at its start, middle and end, by the phase of the averaged cross-spectrum.

use std::fmt;
use std::ops::Range;

use rayon::prelude::*;
use realfft::num_complex::Complex64;
use serde::Serialize;

use crate::alignment::{JointTake, Member, Placement, Role};
use crate::build::OutputFile;
use crate::error::{Error, Result};
use crate::finding::{Finding, Weight};
use crate::signal::{Sound, Transform, hann};
use crate::take::{TakePart, TakeSound};
use crate::tie::correlate::refine;
use crate::units::Samples;

/// Samples in one block of the averaged cross-spectrum.
const BLOCK: usize = 8192;
/// Longest stretch that is measured at one place, seconds: hundreds of blocks, a hundredth of a second to compute.
const STRETCH_S: f64 = 10.0;
/// The band that is used, as parts of the Nyquist frequency: without mains hum and without converters' filters.
const BAND: (f64, f64) = (0.01, 0.9);
/// Below this correlation over the band the two channels do not carry one signal here.
const BELIEVED: f64 = 0.5;
/// Farther off than this is found, but not searched for, samples.
const WITHIN: usize = 1024;
/// What a rendering may add to a measured offset's bound, samples: the contract's 0.001 twice.
const RENDERING: f64 = 0.002;
/// What a clock that was taken for common with the lead's may be off, samples (the largest that `clock` lets pass).
const COPYING: f64 = 0.05;

/// Where on the output a residual was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Place {
    /// Where both units first run.
    Start,
    /// Halfway.
    Middle,
    /// Where both units last run.
    End,
}

/// How far a follower is from the lead on the finished file.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Residual {
    /// The joint take.
    pub joint_take: String,
    /// The follower.
    pub unit: String,
    /// Start, middle or end.
    pub place: Place,
    /// The middle of the measured stretch, samples from the start of the recording.
    pub position: f64,
    /// The follower's lag in the file, samples; positive: it comes later than the lead.
    pub lag_samples: f64,
    /// One sigma of the lag.
    pub sigma_samples: f64,
    /// Correlation of the two channels over the band, 0 to 1.
    pub correlation: f64,
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Start => "start",
            Self::Middle => "middle",
            Self::End => "end",
        })
    }
}

/// The files of one joint take as one recording, whatever their shape.
struct Whole {
    sound: TakeSound,
    /// Unit and 1-based channel of every channel of the sound.
    channels: Vec<(String, u32)>,
    /// The lead position of its first sample.
    start: i64,
    length: u64,
    rate: u32,
}

impl Whole {
    /// Opens them; `None` when there are none.
    fn open(outputs: &[&OutputFile]) -> Result<Option<Self>> {
        let Some(first) = outputs.first() else {
            return Ok(None);
        };
        let start = outputs
            .iter()
            .map(|output| output.first_lead_position)
            .min()
            .unwrap_or(first.first_lead_position);
        let mut channels: Vec<(String, u32)> = Vec::new();
        let mut parts = Vec::new();
        let mut length = 0;
        for output in outputs {
            let own: Vec<(String, u32)> = output
                .channels
                .iter()
                .map(|channel| (channel.unit.clone(), channel.unit_channel))
                .collect();
            // files that were cut by size hold the same channels one after the other
            let known = channels
                .iter()
                .position(|channel| own.first() == Some(channel));
            let first_channel = known.unwrap_or(channels.len());
            if known.is_none() {
                channels.extend(own);
            }
            let first_sample = (output.first_lead_position - start) as u64;
            length = length.max(first_sample + output.length_samples);
            parts.push(TakePart {
                path: output.path.clone(),
                first_sample,
                length: output.length_samples,
                first_channel,
                channels: output.channels.len(),
            });
        }
        Ok(Some(Self {
            sound: TakeSound::open(&parts)?,
            channels,
            start,
            length,
            rate: first.sample_rate,
        }))
    }
}

/// Measures every follower of `take` that rests on a common signal whose two channels are in `outputs`, the files of that
/// joint take.
///
/// # Errors
/// When a file cannot be read.
pub fn residuals(outputs: &[&OutputFile], take: &JointTake) -> Result<Vec<Residual>> {
    let Some(whole) = Whole::open(outputs)? else {
        return Ok(Vec::new());
    };
    let followers = take
        .members
        .iter()
        .filter(|member| member.role == Role::Follower);
    let places: Vec<_> = followers
        .filter_map(|member| Some((member, channels(&whole, take, member)?)))
        .flat_map(|(member, channels)| {
            let places = stretches(&whole, take, member).into_iter();
            places.map(move |(place, stretch)| (member, channels, place, stretch))
        })
        .collect();
    let found: Vec<Option<Residual>> = places
        .into_par_iter()
        .map(|(member, channels, place, stretch)| {
            let position = (stretch.start + stretch.end) as f64 / 2.0;
            let lag = lag(&whole.sound, channels, stretch)?;
            Ok(lag.map(|lag| Residual {
                joint_take: take.name.clone(),
                unit: member.unit.clone(),
                place,
                position,
                lag_samples: lag.samples.0,
                sigma_samples: lag.sigma.0,
                correlation: lag.correlation,
            }))
        })
        .collect::<Result<_>>()?;
    Ok(found.into_iter().flatten().collect())
}

/// Says what lies beyond what the alignment claims.
pub(super) fn findings(take: &JointTake, residuals: &[Residual]) -> Vec<Finding> {
    let bound = |unit: &str| {
        let member = take.members.iter().find(|member| member.unit == unit)?;
        let rounding = (member.offset_samples - member.offset_samples.round()).abs();
        let copied = member.placement == Placement::Exact;
        Some(
            member.offset_bound_samples
                + if copied {
                    COPYING + rounding
                } else {
                    RENDERING
                },
        )
    };
    residuals
        .iter()
        .filter_map(|residual| {
            let allowed = bound(&residual.unit)? + 3.0 * residual.sigma_samples;
            (residual.lag_samples.abs() > allowed).then(|| {
                Finding::new(
                    "residual-lag",
                    Weight::Warn,
                    format!("{} is off the lead in the finished file", residual.unit),
                )
                .at(format!(
                    "{} {} {}",
                    residual.joint_take, residual.unit, residual.place
                ))
                .measured(
                    format!("{:+.4} samples", residual.lag_samples),
                    format!("within {allowed:.4} samples"),
                )
                .because("the clock changed in a way the measurement did not follow")
                .then("look at the lag plot of the report before the recording is used")
            })
        })
        .collect()
}

/// Says that a joint take could not be measured again.
pub(super) fn unmeasured(take: &JointTake, error: &Error) -> Finding {
    Finding::new(
        "not-checked",
        Weight::Warn,
        format!("not measured again: {error}"),
    )
    .at(&take.name)
}

/// The recording's channels that carry the common signal of lead and `member`, by the ties' source `common-signal L=F`; of a
/// member placed through another, that one's channel and its own, by `through UNIT: common-signal L=F`.
fn channels(whole: &Whole, take: &JointTake, member: &Member) -> Option<(usize, usize)> {
    let evidence = member.evidence.as_ref()?;
    let named = |source| -> Option<(&str, &str)> {
        match str::strip_prefix(source, "through ") {
            Some(rest) => rest.split_once(": common-signal "),
            None => Some((&take.lead, source.strip_prefix("common-signal ")?)),
        }
    };
    let mut used = evidence.ties.iter().filter(|tie| tie.used);
    let (unit, pair) = used.find_map(|tie| named(tie.source.as_str()))?;
    let (lead, own) = pair.split_once('=')?;
    let place = |unit: &str, channel: &str| {
        let channel: u32 = channel.trim().parse().ok()?;
        whole
            .channels
            .iter()
            .position(|(found, of_it)| found == unit && *of_it == channel)
    };
    Some((place(unit, lead)?, place(&member.unit, own)?))
}

/// Three stretches of the recording in which both units run.
fn stretches(whole: &Whole, take: &JointTake, member: &Member) -> Vec<(Place, Range<i64>)> {
    let ends = match (member.knots.first(), member.knots.last()) {
        (Some([_, from]), Some([_, to])) => (*from, *to),
        _ => (
            member.offset_samples,
            member.offset_samples + member.length_samples as f64,
        ),
    };
    let start = whole.start;
    let (from, to) = (ends.0.ceil() as i64 - start, ends.1.floor() as i64 - start);
    let lead = (-start, (take.length_samples as i64).saturating_sub(start));
    let from = from.max(lead.0).max(0);
    let to = to.min(lead.1).min(whole.length as i64);
    let longest = (STRETCH_S * f64::from(whole.rate)) as i64;
    let length = (to.saturating_sub(from) / 3).min(longest);
    if length < 4 * BLOCK as i64 {
        return Vec::new();
    }
    // whole blocks, so that the middle of the stretch is the middle of what is measured
    let length = length - length % (BLOCK / 2) as i64;
    let middle = from + (to - from - length) / 2;
    vec![
        (Place::Start, from..from + length),
        (Place::Middle, middle..middle + length),
        (Place::End, to - length..to),
    ]
}

struct Lag {
    samples: Samples,
    sigma: Samples,
    correlation: f64,
}

/// The lag of the second channel behind the first over a stretch; `None` when they do not carry one signal there.
fn lag(sound: &dyn Sound, channels: (usize, usize), stretch: Range<i64>) -> Result<Option<Lag>> {
    let transform = Transform::new(BLOCK);
    let window = hann(BLOCK);
    let bins =
        (BAND.0 * transform.bins() as f64) as usize..(BAND.1 * transform.bins() as f64) as usize;
    let mut cross = vec![Complex64::default(); transform.bins()];
    let mut powers = (0.0, 0.0);
    let mut blocks = 0;
    let mut planes = [vec![0.0; BLOCK], vec![0.0; BLOCK]];
    let (mut x, mut y) = (Vec::new(), Vec::new());
    for start in (stretch.start..=stretch.end - BLOCK as i64).step_by(BLOCK / 2) {
        let [lead, own] = &mut planes;
        sound.read(
            &[channels.0, channels.1],
            start,
            &mut [&mut *lead, &mut *own],
        )?;
        transform.spectrum_under(&window, lead, &mut x);
        transform.spectrum_under(&window, own, &mut y);
        for bin in bins.clone() {
            cross[bin] += x[bin] * y[bin].conj();
            powers.0 += x[bin].norm_sqr();
            powers.1 += y[bin].norm_sqr();
        }
        blocks += 1;
    }
    let power = (powers.0 * powers.1).sqrt();
    if blocks == 0 || power == 0.0 {
        return Ok(None);
    }
    // the cross-spectrum X conj(Y) of a later Y turns forwards, so its inverse peaks at minus the lag
    let correlation = transform.samples(cross.clone());
    let at = |lag: i64| correlation[(-lag).rem_euclid(BLOCK as i64) as usize];
    let within = WITHIN as i64;
    let coarse = (-within..=within)
        .max_by(|a, b| at(*a).abs().total_cmp(&at(*b).abs()))
        .unwrap_or(0);
    let sign = if at(coarse) < 0.0 { -1.0 } else { 1.0 };
    let omega: Vec<f64> = bins
        .clone()
        .map(|bin| std::f64::consts::TAU * bin as f64 / BLOCK as f64)
        .collect();
    let cross: Vec<Complex64> = cross[bins].iter().map(|value| value * sign).collect();
    let Some(refined) = refine(&cross, &omega, coarse as f64) else {
        return Ok(None);
    };
    let along: f64 = cross
        .iter()
        .zip(&omega)
        .map(|(value, w)| (value * Complex64::from_polar(1.0, -w * refined.delay)).re)
        .sum();
    let correlation = along / power;
    Ok((correlation >= BELIEVED).then_some(Lag {
        samples: Samples(refined.delay),
        sigma: Samples(refined.sigma),
        correlation,
    }))
}
