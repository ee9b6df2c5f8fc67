//! When a unit starts in, the stamp it writes out: right to a sample or to a timecode frame, wrong, or missing.

use serde::{Deserialize, Serialize};

/// Timecode frames a second, as an exact fraction.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct FrameRate {
    /// Timecode frames ...
    pub frames: u32,
    /// ... in this many seconds.
    pub seconds: u32,
    /// How labels are counted.
    pub counting: Counting,
}

/// How timecode labels are counted.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Counting {
    /// Every label is used.
    #[default]
    NonDrop,
    /// Some labels are left out so that labels follow the clock.
    Drop,
}

/// How fine a unit's stamps are.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Resolution {
    /// The nearest sample.
    #[default]
    Sample,
    /// The start of the timecode frame in which it started.
    TimecodeFrame,
    /// No stamp at all.
    Absent,
}

/// How a unit stamps its files, and what is wrong with that.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Stamp {
    /// How fine.
    pub resolution: Resolution,
    /// How far its time of day was from the lead's when it was jammed, seconds; positive: ahead.
    pub jam_error_s: f64,
    /// How long before the shoot it was jammed, seconds: its own clock ran alone since then.
    pub jammed_before_s: f64,
    /// Wrong by this many timecode frames on top; positive: later.
    pub wrong_frames: i64,
    /// Wrong by this many hours on top; positive: later.
    pub wrong_hours: i64,
}

impl Default for FrameRate {
    /// 30 frames a second, every label used.
    fn default() -> Self {
        Self {
            frames: 30,
            seconds: 1,
            counting: Counting::NonDrop,
        }
    }
}

impl FrameRate {
    /// As metadata write it, "30/1".
    #[must_use]
    pub fn fraction(self) -> String {
        format!("{}/{}", self.frames, self.seconds)
    }

    /// Timecode frames a second.
    #[must_use]
    pub fn per_second(self) -> f64 {
        f64::from(self.frames) / f64::from(self.seconds)
    }
}

impl Stamp {
    /// The timecode frame in which the unit started.
    #[must_use]
    pub fn to_timecode_frame() -> Self {
        Self {
            resolution: Resolution::TimecodeFrame,
            ..Self::default()
        }
    }

    /// No stamp at all.
    #[must_use]
    pub fn absent() -> Self {
        Self {
            resolution: Resolution::Absent,
            ..Self::default()
        }
    }

    /// The stamp, samples since midnight at `rate_hz`, of a file whose sample 0 fell at `time_of_day_s`.
    pub(crate) fn samples(
        &self,
        time_of_day_s: f64,
        rate_hz: f64,
        frame_rate: FrameRate,
    ) -> Option<u64> {
        let frame_s = 1.0 / frame_rate.per_second();
        let right_s = match self.resolution {
            Resolution::Absent => return None,
            Resolution::Sample => time_of_day_s,
            // A start within a nanosecond of a boundary is on it.
            Resolution::TimecodeFrame => ((time_of_day_s + 1e-9) / frame_s).floor() * frame_s,
        };
        let wrong_s = self.wrong_frames as f64 * frame_s + self.wrong_hours as f64 * 3600.0;
        let day_s = 86_400.0;
        Some(((right_s + wrong_s).rem_euclid(day_s) * rate_hz).round() as u64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stamps_are_as_fine_as_they_say() {
        let rate = FrameRate::default();
        let t_s = 36_001.03;
        assert_eq!(
            Stamp::default().samples(t_s, 48_000.0, rate),
            Some(1_728_049_440)
        );
        // 36 001.03 s is 0.9 timecode frames of 1600 samples after 36 001 s.
        assert_eq!(
            Stamp::to_timecode_frame().samples(t_s, 48_000.0, rate),
            Some(1_728_048_000)
        );
        assert_eq!(Stamp::absent().samples(t_s, 48_000.0, rate), None);
        let wrong = Stamp {
            wrong_frames: 1,
            wrong_hours: -1,
            ..Stamp::default()
        };
        assert_eq!(wrong.samples(t_s, 48_000.0, rate), Some(1_555_251_040));
    }
}
