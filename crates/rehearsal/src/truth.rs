//! A shoot in, all there is to know about it out: exact offsets, rates and positions, and how far a found clock is off.

use serde::{Deserialize, Serialize};

use crate::clock::ClockTruth;
use crate::error::{Error, Result};
use crate::shoot::Shoot;

/// Everything there is to know about one performed shoot.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Truth {
    /// The lead's name.
    pub lead: String,
    /// One entry a unit, lead first.
    pub units: Vec<UnitTruth>,
    /// The plan that was performed.
    pub shoot: Shoot,
}

/// What is true of one unit's take.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct UnitTruth {
    /// Its name.
    pub name: String,
    /// Length in samples per channel.
    pub length_samples: u64,
    /// The lead position at which its sample 0 falls.
    pub offset_samples: f64,
    /// Mean rate against the lead's over the span both ran, parts per million; positive: fast.
    pub rate_ppm: f64,
    /// The stamp it wrote, samples since midnight.
    pub stamp_samples: Option<u64>,
    /// Its clock.
    pub clock: ClockTruth,
    /// Its files, relative to where the shoot was written; empty when it was not.
    pub files: Vec<String>,
}

/// How a found clock differs from the true one, in samples of the lead, over the span both units ran.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Comparison {
    /// Found less true lead position of the follower's sample 0.
    pub offset_error: f64,
    /// Mean of found less true lead position.
    pub mean: f64,
    /// Root of the mean square of found less true.
    pub rms: f64,
    /// Largest amount of found less true.
    pub max: f64,
    /// The RMS that is left after taking the mean away.
    pub rms_about_mean: f64,
    /// Found less true rate, parts per million, from the straight line through the differences.
    pub rate_error_ppm: f64,
}

impl Truth {
    pub(crate) fn of(shoot: &Shoot) -> Result<Self> {
        let lead = shoot
            .units
            .first()
            .ok_or_else(|| Error::invalid("there is no unit"))?;
        let lead_clock = lead.clock();
        let lead_length = lead.length(shoot) as f64;
        let units = shoot.units.iter().map(|unit| {
            let clock = unit.clock();
            let length_samples = unit.length(shoot);
            let (from, to) = shared_span(&clock, length_samples, &lead_clock, lead_length);
            let since_jam_s = unit.stamp.jammed_before_s;
            let ahead_s = unit.stamp.jam_error_s
                + clock
                    .crystal
                    .gained_s(-since_jam_s, since_jam_s + unit.starts_after_s);
            let ahead_s = if since_jam_s > 0.0 {
                ahead_s
            } else {
                unit.stamp.jam_error_s
            };
            let time_of_day_s = shoot.time_of_day_s + unit.starts_after_s + ahead_s;
            let rate_hz = f64::from(unit.rate_hz);
            let frame_rate = unit.frame_rate.unwrap_or(shoot.frame_rate);
            UnitTruth {
                name: unit.name.clone(),
                length_samples,
                offset_samples: clock.position_on(&lead_clock, 0.0),
                rate_ppm: clock.mean_ppm(&lead_clock, from, to),
                stamp_samples: unit.stamp.samples(time_of_day_s, rate_hz, frame_rate),
                clock,
                files: Vec::new(),
            }
        });
        Ok(Self {
            lead: lead.name.clone(),
            units: units.collect(),
            shoot: shoot.clone(),
        })
    }

    /// What is true of the unit of this name.
    #[must_use]
    pub fn unit(&self, name: &str) -> Option<&UnitTruth> {
        self.units.iter().find(|unit| unit.name == name)
    }

    fn lead_unit(&self) -> Option<&UnitTruth> {
        self.units.first()
    }

    /// The lead position of a unit's file position `k`.
    #[must_use]
    pub fn lead_position(&self, unit: &str, k: f64) -> Option<f64> {
        Some(
            self.unit(unit)?
                .clock
                .position_on(&self.lead_unit()?.clock, k),
        )
    }

    /// The file position of a unit at lead position `n`.
    #[must_use]
    pub fn follower_position(&self, unit: &str, n: f64) -> Option<f64> {
        Some(
            self.lead_unit()?
                .clock
                .position_on(&self.unit(unit)?.clock, n),
        )
    }

    /// How far a found clock, follower position to lead position, is from the true one; `None` when there is no such
    /// unit or it never ran together with the lead.
    pub fn compare(&self, unit: &str, found: impl Fn(f64) -> f64) -> Option<Comparison> {
        const POINTS: u32 = 4001;
        let (follower, lead) = (self.unit(unit)?, self.lead_unit()?);
        let (from, to) = shared_span(
            &follower.clock,
            follower.length_samples,
            &lead.clock,
            lead.length_samples as f64,
        );
        if to <= from {
            return None;
        }
        let misses: Vec<(f64, f64)> = (0..POINTS)
            .map(|i| from + (to - from) * f64::from(i) / f64::from(POINTS - 1))
            .map(|k| (k, found(k) - follower.clock.position_on(&lead.clock, k)))
            .collect();
        let count = f64::from(POINTS);
        let mean = misses.iter().map(|m| m.1).sum::<f64>() / count;
        let middle = 0.5 * (from + to);
        let across: f64 = misses.iter().map(|m| (m.0 - middle) * (m.1 - mean)).sum();
        let along: f64 = misses.iter().map(|m| (m.0 - middle).powi(2)).sum();
        let square = misses.iter().map(|m| m.1 * m.1).sum::<f64>() / count;
        Some(Comparison {
            offset_error: found(0.0) - follower.offset_samples,
            mean,
            rms: square.sqrt(),
            max: misses.iter().map(|m| m.1.abs()).fold(0.0, f64::max),
            rms_about_mean: (misses.iter().map(|m| (m.1 - mean).powi(2)).sum::<f64>() / count)
                .sqrt(),
            // A found lead position that grows too fast means a follower taken for too slow.
            rate_error_ppm: -1e6 * across / along,
        })
    }
}

/// The first and last file position of a unit at which the lead ran too.
fn shared_span(clock: &ClockTruth, length: u64, lead: &ClockTruth, lead_length: f64) -> (f64, f64) {
    let from = lead.position_on(clock, 0.0).max(0.0);
    let to = lead
        .position_on(clock, lead_length - 1.0)
        .min(length as f64 - 1.0);
    (from, to)
}
