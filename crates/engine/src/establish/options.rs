//! What a person may decide before measuring: lead, named common signals, microphone distance, own ties, resampling.

use crate::error::{Error, Kind, Result};
use crate::take::Survey;

use super::calibrated::NamedCalibrations;

/// How to measure.
#[derive(Debug, Clone, PartialEq)]
pub struct Options {
    /// The unit whose clock everything is put on; otherwise the rule of [`crate::pair`].
    pub lead: Option<String>,
    /// Channel pairs that carry one electrical signal.
    pub common: Vec<NamedPair>,
    /// The largest distance between microphones on different units, metres; 0 or more.
    pub spacing_m: f64,
    /// Instants a person vouches for.
    pub ties: Vec<ManualTie>,
    /// When a follower is resampled.
    pub resample: Resample,
    /// Stored offsets of pairs of units.
    pub calibrations: Option<NamedCalibrations>,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            lead: None,
            common: Vec::new(),
            spacing_m: 10.0,
            ties: Vec::new(),
            resample: Resample::Auto,
            calibrations: None,
        }
    }
}

impl Options {
    /// Refuses units that are not there and distances that are none.
    ///
    /// # Errors
    /// [`Kind::Usage`] naming what was found and what there is.
    pub(super) fn check(&self, survey: &Survey) -> Result<()> {
        let named = |name: &str| {
            let mut units = survey.units.iter();
            units.find(|unit| unit.name.eq_ignore_ascii_case(name))
        };
        let common = self
            .common
            .iter()
            .flat_map(|pair| [&pair.a.unit, &pair.b.unit]);
        let ties = self.ties.iter().flat_map(|tie| [&tie.a.unit, &tie.b.unit]);
        for name in common.chain(ties) {
            if named(name).is_none() {
                let names: Vec<&str> = survey.units.iter().map(|unit| unit.name.as_str()).collect();
                return Err(Error::new(Kind::Usage, format!("there is no unit {name}"))
                    .then(format!("the units are {}", names.join(", "))));
            }
        }
        for NamedChannel {
            unit: name,
            channel,
        } in self.common.iter().flat_map(|pair| [&pair.a, &pair.b])
        {
            let most = named(name)
                .and_then(|unit| unit.takes.iter().map(|take| take.channels.len()).max());
            if let Some(most) = most.filter(|most| *channel as usize > *most) {
                return Err(
                    Error::new(Kind::Usage, format!("{name} has no channel {channel}"))
                        .then(format!("its takes have up to {most}, counted from 1")),
                );
            }
        }
        if !self.spacing_m.is_finite() || self.spacing_m < 0.0 {
            return Err(Error::new(
                Kind::Usage,
                format!("--spacing {} is no distance", self.spacing_m),
            )
            .then("give metres, 0 or more"));
        }
        Ok(())
    }
}

/// When a follower is resampled onto the lead's clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Resample {
    /// When its clock was not common with the lead's.
    Auto,
    /// Never: integer shifts only.
    Never,
    /// Always.
    Always,
}

/// Two channels of two units that carry one electrical signal, as `UNIT:CH=UNIT:CH`, channels 1-based.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NamedPair {
    /// One side.
    pub a: NamedChannel,
    /// The other side, on another unit.
    pub b: NamedChannel,
}

/// One channel of one unit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NamedChannel {
    /// The unit's name.
    pub unit: String,
    /// 1-based channel.
    pub channel: u32,
}

/// Two sample positions on two units that are one instant on a person's word, as `UNIT@POS=UNIT@POS`.
#[derive(Debug, Clone, PartialEq)]
pub struct ManualTie {
    /// One side.
    pub a: NamedPosition,
    /// The other side, on another unit.
    pub b: NamedPosition,
    /// Why, in the person's own words; may be empty.
    pub reason: String,
}

/// A sample position on one unit's take.
#[derive(Debug, Clone, PartialEq)]
pub struct NamedPosition {
    /// The unit's name.
    pub unit: String,
    /// Samples since the first sample of its take; fractions allowed.
    pub position: f64,
}

impl NamedPair {
    /// Reads `UNIT:CH=UNIT:CH`.
    ///
    /// # Errors
    /// [`Kind::Usage`] naming what was found and what is expected.
    pub fn parse(text: &str) -> Result<Self> {
        let usage = |what: &str| {
            Error::new(Kind::Usage, format!("--common {text}: {what}"))
                .then("write it as UNIT:CH=UNIT:CH, e.g. NORTH:6=SOUTH:6, channels counted from 1")
        };
        let side = |side: &str| {
            let (unit, channel) = side
                .rsplit_once(':')
                .ok_or_else(|| usage("no `:` between unit and channel"))?;
            let channel = channel
                .trim()
                .parse()
                .ok()
                .filter(|channel| *channel > 0)
                .ok_or_else(|| usage(&format!("`{channel}` is no channel number")))?;
            Ok(NamedChannel {
                unit: unit.trim().to_string(),
                channel,
            })
        };
        let (a, b) = text
            .split_once('=')
            .ok_or_else(|| usage("no `=` between the two sides"))?;
        let pair = Self {
            a: side(a)?,
            b: side(b)?,
        };
        if pair.a.unit.eq_ignore_ascii_case(&pair.b.unit) {
            return Err(usage("both sides name the same unit"));
        }
        Ok(pair)
    }
}

impl ManualTie {
    /// Reads `UNIT@POS=UNIT@POS`.
    ///
    /// # Errors
    /// [`Kind::Usage`] naming what was found and what is expected.
    pub fn parse(text: &str) -> Result<Self> {
        let usage = |what: &str| {
            Error::new(Kind::Usage, format!("--tie {text}: {what}")).then(
                "write it as UNIT@POS=UNIT@POS, e.g. NORTH@480000=SOUTH@431200, positions in \
                 samples from the take's first sample",
            )
        };
        let side = |side: &str| {
            let (unit, position) = side
                .rsplit_once('@')
                .ok_or_else(|| usage("no `@` between unit and position"))?;
            let position = position
                .trim()
                .parse()
                .ok()
                .filter(|position: &f64| position.is_finite() && *position >= 0.0)
                .ok_or_else(|| usage(&format!("`{position}` is no sample position")))?;
            Ok(NamedPosition {
                unit: unit.trim().to_string(),
                position,
            })
        };
        let (a, b) = text
            .split_once('=')
            .ok_or_else(|| usage("no `=` between the two sides"))?;
        let tie = Self {
            a: side(a)?,
            b: side(b)?,
            reason: String::new(),
        };
        if tie.a.unit.eq_ignore_ascii_case(&tie.b.unit) {
            return Err(usage("both sides name the same unit"));
        }
        Ok(tie)
    }
}

/// The two sides of an option that names this lead and this follower, lead first.
pub(super) fn sides<'b, T>(
    lead: &str,
    follower: &str,
    a: (&'b String, &'b T),
    b: (&'b String, &'b T),
) -> Option<(&'b T, &'b T)> {
    let is = |x: &str, y: &str| x.eq_ignore_ascii_case(y);
    if is(a.0, lead) && is(b.0, follower) {
        Some((a.1, b.1))
    } else if is(b.0, lead) && is(a.0, follower) {
        Some((b.1, a.1))
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_named_pair_reads_both_sides() {
        let pair = NamedPair::parse("NORTH:6=SOUTH: 2").expect("well formed");
        assert_eq!(
            pair.a,
            NamedChannel {
                unit: "NORTH".into(),
                channel: 6
            }
        );
        assert_eq!(
            pair.b,
            NamedChannel {
                unit: "SOUTH".into(),
                channel: 2
            }
        );
    }

    #[test]
    fn a_wrong_pair_says_what_is_wrong_and_how_to_write_it() {
        for (text, what) in [
            ("NORTH:6", "no `=`"),
            ("NORTH=SOUTH:1", "no `:`"),
            ("NORTH:0=SOUTH:1", "no channel number"),
            ("NORTH:1=north:2", "same unit"),
        ] {
            let error = NamedPair::parse(text).expect_err("malformed").to_string();
            assert!(
                error.contains(what) && error.contains("UNIT:CH=UNIT:CH"),
                "{error}"
            );
        }
    }

    #[test]
    fn a_manual_tie_reads_fractions_and_refuses_negative_positions() {
        let tie = ManualTie::parse("NORTH@480000=SOUTH@431200.25").expect("well formed");
        assert_eq!(tie.b.position, 431_200.25);
        assert!(ManualTie::parse("NORTH@-1=SOUTH@0").is_err());
        assert!(ManualTie::parse("NORTH@nan=SOUTH@0").is_err());
    }
}
