//! A survey in, the lead out, and the rule that chose it.

use std::cmp::Reverse;

use crate::error::{Error, Kind, Result};
use crate::take::{Survey, Unit};

/// Chooses the lead's place among the units of a survey: the one named, upper and lower case alike; else the unit with
/// most channels, among equals the one whose takes start earliest, then the first card.
///
/// # Errors
/// [`Kind::Usage`] when the named unit is not among the cards or has no recording, [`Kind::Format`] when no unit has one.
pub fn choose_lead(survey: &Survey, named: Option<&str>) -> Result<usize> {
    match named {
        Some(named) => named_lead(survey, named),
        None => (0..survey.units.len())
            .filter(|&index| !survey.units[index].takes.is_empty())
            .min_by_key(|&index| {
                let unit = &survey.units[index];
                (Reverse(channels(unit)), first_nanosecond(unit), index)
            })
            .ok_or_else(|| Error::new(Kind::Format, "no card holds a readable recording")),
    }
}

/// Which rule made the unit at place `lead` the lead, in words; `named` as given to [`choose_lead`].
#[must_use]
pub fn lead_rule(survey: &Survey, lead: usize, named: Option<&str>) -> String {
    if named.is_some() {
        return "named with --lead".into();
    }
    let Some(unit) = survey.units.get(lead) else {
        return String::new();
    };
    let others = || {
        let units = survey.units.iter().enumerate();
        units
            .filter(|(index, other)| *index != lead && !other.takes.is_empty())
            .map(|(_, other)| other)
    };
    let most = channels(unit);
    let Some(next) = others().map(channels).max() else {
        return "the only unit with a recording".into();
    };
    if next < most {
        return format!("most channels ({most}, the next has {next})");
    }
    let first = first_nanosecond(unit);
    let equals = || others().filter(|other| channels(other) == most);
    if equals().all(|other| first < first_nanosecond(other)) {
        return format!("among the units with most channels ({most}) its takes start first");
    }
    format!("among the units with most channels ({most}) that start alike, the first card given")
}

fn named_lead(survey: &Survey, named: &str) -> Result<usize> {
    let named = named.trim();
    let alike = |unit: &Unit| unit.name.to_uppercase() == named.to_uppercase();
    let Some(index) = survey.units.iter().position(alike) else {
        let names: Vec<&str> = survey.units.iter().map(|unit| unit.name.as_str()).collect();
        return Err(Error::new(Kind::Usage, format!("there is no unit {named}"))
            .then(format!("the units are {}", names.join(", "))));
    };
    if survey.units[index].takes.is_empty() {
        return Err(
            Error::new(Kind::Usage, "the lead has no readable recording")
                .at(&survey.units[index].cards[0])
                .then("name another unit as the lead"),
        );
    }
    Ok(index)
}

fn channels(unit: &Unit) -> usize {
    unit.takes
        .iter()
        .map(|take| take.channels.len())
        .max()
        .unwrap_or(0)
}

/// The earliest stamp as a time, so that units of different rates compare.
fn first_nanosecond(unit: &Unit) -> u128 {
    let stamps = unit.takes.iter().filter_map(|take| {
        let samples = u128::from(take.stamp.as_ref()?.samples);
        Some(samples * 1_000_000_000 / u128::from(take.rate.0.max(1)))
    });
    stamps.min().unwrap_or(u128::MAX)
}
