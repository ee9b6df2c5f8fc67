//! What is recorded in, how much that is, when files split, how long a medium and a battery last out.

use serde::Serialize;

use crate::finding::{Finding, Weight};
use crate::report::length_of_time;
use crate::session::{LARGEST_OF_32_BITS, Session};

/// How much one unit records, and how long its medium and its battery last.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Storage {
    /// Tracks that are recorded, mix tracks included.
    pub tracks: u32,
    /// Bytes a second: tracks x rate x bytes of a sample.
    pub bytes_per_s: u64,
    /// Bytes of all that will be recorded.
    pub total_bytes: f64,
    /// How much its medium holds, bytes; absent when not said.
    pub media_bytes: Option<f64>,
    /// How long its medium lasts, seconds; absent as above, and where nothing is recorded.
    pub media_s: Option<f64>,
    /// After how long a file is full and the next begins, seconds; absent when files may grow or nothing is recorded.
    pub split_s: Option<f64>,
    /// How long a battery lasts, hours; absent on the mains.
    pub battery_hours: Option<f64>,
    /// How many batteries all that takes; absent as above.
    pub batteries: Option<u64>,
    /// How long will be recorded, seconds.
    pub recorded_s: f64,
    /// The longest take, seconds.
    pub longest_take_s: f64,
}

/// How large the joint recording becomes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct JointSize {
    /// Its channels.
    pub channels: u32,
    /// Bytes a second.
    pub bytes_per_s: u64,
    /// Bytes of all that will be recorded.
    pub total_bytes: f64,
    /// From which length on a file of it is larger than 4 GiB, seconds.
    pub four_gib_s: f64,
}

impl Storage {
    /// Of the unit at this place.
    #[must_use]
    pub fn of(session: &Session, unit: usize) -> Self {
        let (rig, shoot) = (&session.units[unit], &session.shoot);
        let tracks = session.plan.used(unit) + rig.mix_tracks;
        let bytes_per_s = u64::from(tracks) * u64::from(shoot.sample_rate.0) * shoot.format.bytes();
        let recorded_s = shoot.hours * 3600.0;
        let lasts = |bytes: f64| (bytes_per_s > 0).then(|| bytes / bytes_per_s as f64);
        Self {
            tracks,
            bytes_per_s,
            total_bytes: bytes_per_s as f64 * recorded_s,
            media_bytes: rig.media_bytes,
            media_s: rig.media_bytes.and_then(lasts),
            split_s: rig.file_limit_bytes.and_then(|bytes| lasts(bytes as f64)),
            battery_hours: rig.battery_hours,
            batteries: rig
                .battery_hours
                .map(|hours| (shoot.hours / hours).ceil().max(1.0) as u64),
            recorded_s,
            longest_take_s: shoot.longest_take_minutes * 60.0,
        }
    }

    /// How many media it takes.
    #[must_use]
    pub fn media(&self) -> Option<u64> {
        let media = self.media_bytes?;
        Some((self.total_bytes / media).ceil().max(1.0) as u64)
    }

    /// What a person should know of it.
    #[must_use]
    pub fn findings(&self, unit: &str) -> Vec<Finding> {
        let mut findings = Vec::new();
        if let (Some(media), Some(bytes), Some(lasts)) =
            (self.media(), self.media_bytes, self.media_s)
            && media > 1
        {
            findings.push(
                Finding::new(
                    "medium-too-small",
                    Weight::Warn,
                    format!("one medium lasts {}", length_of_time(lasts)),
                )
                .at(unit)
                .measured(
                    format!("{} of sound", gigabytes(self.total_bytes)),
                    format!("at most {}", gigabytes(bytes)),
                )
                .then(format!(
                    "bring {media}, freshly formatted, and change all units' media in the same break"
                )),
            );
        }
        if let (Some(split), true) = (self.split_s, self.split_s < Some(self.longest_take_s)) {
            findings.push(
                Finding::new(
                    "take-splits",
                    Weight::Note,
                    format!(
                        "the longest take comes in parts: a file is full after {}",
                        clock_time(split)
                    ),
                )
                .at(unit)
                .then("nothing to do: parts are joined without a seam; copy all of them"),
            );
        }
        if let (Some(batteries), Some(hours)) = (self.batteries, self.battery_hours)
            && batteries > 1
        {
            findings.push(
                Finding::new(
                    "battery-too-short",
                    Weight::Warn,
                    format!("a battery lasts {hours} h, the shoot {:.1} h", self.recorded_s / 3600.0),
                )
                .at(unit)
                .then(format!(
                    "bring {batteries}; timecode is lost when a unit goes off, so jam again after every change and roll a test"
                )),
            );
        }
        findings
    }
}

impl JointSize {
    /// Of the whole session.
    #[must_use]
    pub fn of(session: &Session) -> Self {
        let shoot = &session.shoot;
        let channels = (0..session.units.len())
            .map(|unit| session.plan.used(unit))
            .sum::<u32>();
        let bytes_per_s =
            u64::from(channels) * u64::from(shoot.sample_rate.0) * shoot.format.bytes();
        Self {
            channels,
            bytes_per_s,
            total_bytes: bytes_per_s as f64 * shoot.hours * 3600.0,
            four_gib_s: LARGEST_OF_32_BITS as f64 / bytes_per_s.max(1) as f64,
        }
    }
}

/// Bytes in thousand millions and in 2^30.
#[must_use]
pub(super) fn gigabytes(bytes: f64) -> String {
    format!("{:.2} GB ({:.2} GiB)", bytes / 1e9, bytes / 1_073_741_824.0)
}

/// A length as hours, minutes and seconds, rounded down: nobody is helped by a second that is not there.
#[must_use]
pub(super) fn clock_time(seconds: f64) -> String {
    let whole = seconds.max(0.0) as u64;
    format!("{}:{:02}:{:02}", whole / 3600, whole / 60 % 60, whole % 60)
}
