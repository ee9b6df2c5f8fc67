//! Measured places in, what they say about the units' timecode out: spans of a day between two jams, by how much the stamps
//! of each are wrong, and which mistake explains that. Nothing is shifted by it.

#[cfg(test)]
mod tests;

use timecode::Counting;

use super::day::followers;
use crate::alignment::{Basis, JointTake, Member};
use crate::finding::{Finding, Weight};
use crate::pair::{Joint, stamps_difference};
use crate::take::{Survey, Take, Unit};
use crate::units::SPEED_OF_SOUND_M_PER_S;

/// Stamps that are wrong by less than this are right as far as anyone can tell, seconds, beyond what they resolve.
const RIGHT_S: f64 = 0.002;
/// Free-running clocks move stamps apart by no more than this (a ratio) between two takes of one epoch: twice what two
/// ordinary crystals differ by (common practice, no source).
const DRIFT: f64 = 50e-6;
/// Labels of 29.97 read as 30, or of 23.976 as 24: 1.001 to 1 (SMPTE ST 12-1:2014, 5.2).
const PULLED: f64 = 1e-3;
/// Drop-frame labels read as non-drop or back: 108 labels of 1001/30000 s an hour (SMPTE ST 12-1:2014, 5.2.2).
const DROPPED: f64 = 108.0 * 1001.0 / 30_000.0 / 3600.0;
/// A difference that grows with the time of day shows as such over at least this long, seconds.
const GROWS_OVER_S: f64 = 1800.0;

/// A take that starts this close to the end of the one before follows on, seconds: about a timecode frame.
const FOLLOWS_ON_S: f64 = 0.05;

/// One take whose place was measured.
struct Entry<'a> {
    take: &'a Take,
    /// When it ran by the lead's stamps, seconds since midnight.
    at_s: f64,
    /// By how much its stamp is too early, seconds.
    difference_s: f64,
    /// Plus or minus how much of that may be distance, resolution or scatter.
    within_s: f64,
}

/// Takes in a row whose stamps are wrong by the same.
struct Epoch<'a, 'b> {
    entries: &'b [Entry<'a>],
    difference_s: f64,
    within_s: f64,
}

impl Epoch<'_, '_> {
    fn is_right(&self) -> bool {
        self.difference_s.abs() <= self.within_s + RIGHT_S
    }

    fn words(&self) -> String {
        let way = if self.difference_s > 0.0 {
            "early"
        } else {
            "late"
        };
        if self.is_right() {
            "right".into()
        } else {
            format!("{:.2} s too {way}", self.difference_s.abs())
        }
    }
}

/// What the measured takes of every follower say about its stamps.
pub(super) fn explain(
    survey: &Survey,
    lead: usize,
    measured: &[(Joint<'_>, JointTake)],
) -> Vec<Finding> {
    let Some(lead_unit) = survey.units.get(lead) else {
        return Vec::new();
    };
    let followers = survey.units.iter().enumerate().filter(|(i, _)| *i != lead);
    followers
        .filter(|(_, unit)| unit.stamps_tell() && lead_unit.stamps_tell())
        .flat_map(|(_, unit)| {
            let entries = entries_of(unit, measured);
            told(lead_unit, unit, &entries)
        })
        .collect()
}

fn entries_of<'a>(unit: &Unit, measured: &[(Joint<'a>, JointTake)]) -> Vec<Entry<'a>> {
    let mut entries = Vec::new();
    for (joint, aligned) in measured {
        for (candidate, member) in followers(joint, aligned) {
            if candidate.take.unit == unit.name {
                let resolution = candidate.resolution.max(joint.lead_resolution);
                entries.extend(entry(joint.lead, candidate.take, member, resolution));
            }
        }
    }
    entries.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    entries
}

fn entry<'a>(lead: &Take, take: &'a Take, member: &Member, resolution: f64) -> Option<Entry<'a>> {
    let rate_hz = lead.rate.hz();
    let offset_s = member.offset_samples / rate_hz;
    let difference_s = stamps_difference(lead, take, offset_s)?;
    let resolves_s = resolution / rate_hz;
    let (difference_s, within_s) = match member.basis {
        Basis::CommonSignal | Basis::TimecodeTrack | Basis::Manual => (difference_s, resolves_s),
        Basis::Acoustic => {
            let bound_s = member.offset_bound_samples / rate_hz;
            (difference_s, resolves_s + bound_s)
        }
        // the sound of the room agreed with them
        Basis::Stamps if member.rate_measured => (0.0, resolves_s + 5.0 / SPEED_OF_SOUND_M_PER_S),
        _ => return None,
    };
    Some(Entry {
        take,
        at_s: lead.stamp_seconds()?,
        difference_s,
        within_s,
    })
}

fn epochs<'a, 'b>(entries: &'b [Entry<'a>]) -> Vec<Epoch<'a, 'b>> {
    let mut epochs = Vec::new();
    let mut from = 0;
    for at in 1..=entries.len() {
        let goes_on = at < entries.len() && {
            let (a, b) = (&entries[at - 1], &entries[at]);
            let drift_s = DRIFT * (b.at_s - a.at_s).abs();
            (b.difference_s - a.difference_s).abs() <= a.within_s + b.within_s + RIGHT_S + drift_s
        };
        if goes_on {
            continue;
        }
        let own = &entries[from..at];
        let sum: f64 = own.iter().map(|entry| entry.difference_s).sum();
        epochs.push(Epoch {
            entries: own,
            difference_s: sum / own.len() as f64,
            within_s: own.iter().map(|entry| entry.within_s).fold(0.0, f64::max),
        });
        from = at;
    }
    epochs
}

fn told(lead: &Unit, unit: &Unit, entries: &[Entry<'_>]) -> Vec<Finding> {
    let whole = growing(lead, unit, entries).or_else(|| standing_still(unit, entries));
    if let Some(whole) = whole {
        return vec![whole];
    }
    let epochs = epochs(entries);
    let mut findings: Vec<Finding> = epochs
        .windows(2)
        .map(|pair| changed(unit, &pair[0], &pair[1]))
        .collect();
    findings.extend(
        epochs
            .iter()
            .filter(|epoch| !epoch.is_right())
            .map(|epoch| wrong(lead, unit, epoch)),
    );
    findings
}

/// Stamps that are wrong by a part of the time of day: labels counted at one rate and read at another, all day long.
fn growing(lead: &Unit, unit: &Unit, entries: &[Entry<'_>]) -> Option<Finding> {
    let (first, last) = (entries.first()?, entries.last()?);
    let label_s = |entry: &Entry<'_>| entry.take.stamp_seconds().unwrap_or(0.0);
    if label_s(last) - label_s(first) < GROWS_OVER_S {
        return None;
    }
    let countings = (counting(lead), counting(unit));
    let names = |part: f64| match (part, countings) {
        (PULLED, (Some(a), Some(b))) => is_pulled(a, b),
        (DROPPED, (Some(a), Some(b))) => is_dropped(a, b),
        _ => false,
    };
    // what the units say of themselves first
    let mut parts = [PULLED, DROPPED];
    parts.sort_by_key(|&part| !names(part));
    let way = if first.difference_s + last.difference_s > 0.0 {
        1.0
    } else {
        -1.0
    };
    let part = parts.into_iter().find(|part| {
        entries.iter().all(|entry| {
            let expected_s = way * part * label_s(entry);
            (entry.difference_s - expected_s).abs()
                <= entry.within_s + 2e-3 * expected_s.abs() + 0.05
                && entry.difference_s.abs() > entry.within_s + RIGHT_S
        })
    })?;
    Some(
        Finding::new(
            "stamps-explained",
            Weight::Warn,
            format!("the stamps are wrong by {:.4} s for every hour of the day: {}", 3600.0 * part, cause(part, countings)),
        )
        .at(unit.name.clone())
        .measured(
            format!(
                "{:+.2} s at {}, {:+.2} s at {}",
                first.difference_s,
                clock_words(label_s(first)),
                last.difference_s,
                clock_words(label_s(last))
            ),
            "0 s",
        )
        .because("timecode was fed all day, or stamps were made from labels, with the units' timecode rates set differently")
        .then("set all units to one timecode rate; these takes were placed by their sound, not by the stamps"),
    )
}

/// Stamps that follow on each other although the takes did not: timecode that ran only while the unit recorded.
fn standing_still(unit: &Unit, entries: &[Entry<'_>]) -> Option<Finding> {
    if entries.len() < 3 {
        return None;
    }
    let follow_on = entries.windows(2).all(|pair| {
        let (a, b) = (pair[0].take, pair[1].take);
        let stamps = a.stamp_seconds().zip(b.stamp_seconds());
        let gap_s = stamps.map(|(a_s, b_s)| b_s - a_s - a.seconds());
        let passed_s = pair[1].difference_s - pair[0].difference_s;
        gap_s.is_some_and(|gap_s| gap_s.abs() <= FOLLOWS_ON_S) && passed_s > FOLLOWS_ON_S
    });
    follow_on.then(|| {
        Finding::new(
            "record-run",
            Weight::Warn,
            "the unit's timecode stood still between takes: its stamps do not tell when a take was recorded",
        )
        .at(unit.name.clone())
        .measured(format!("{} takes follow on each other by their stamps", entries.len()), "gaps as on the lead")
        .because("the unit's timecode mode was set to run only while it records")
        .then("set it to run freely and jam it from the lead; these takes were placed by their sound")
    })
}

fn changed(unit: &Unit, before: &Epoch<'_, '_>, after: &Epoch<'_, '_>) -> Finding {
    let name = |entry: Option<&Entry<'_>>| entry.map_or(String::new(), |e| e.take.name.clone());
    let (last, next) = (name(before.entries.last()), name(after.entries.first()));
    Finding::new(
        "jam-changed",
        Weight::Warn,
        format!("the timecode jumped between {last} and {next}: another epoch begins"),
    )
    .at(unit.name.clone())
    .measured(
        format!(
            "stamps {} up to {last}, {} from {next} on",
            before.words(),
            after.words()
        ),
        "one difference all day",
    )
    .because("power or battery was lost or changed, or the unit was jammed again")
    .then("jam again after every loss of power; these takes were placed by their sound")
}

fn wrong(lead: &Unit, unit: &Unit, epoch: &Epoch<'_, '_>) -> Finding {
    let first = epoch.entries.first().map(|entry| entry.take);
    let label_s = first.and_then(Take::stamp_seconds).unwrap_or(0.0);
    let (message, why) = signature(epoch, (counting(lead), counting(unit)), label_s);
    let weight = if epoch.difference_s.abs() < 0.1 {
        Weight::Note
    } else {
        Weight::Warn
    };
    let range = match epoch.entries {
        [only] => only.take.name.clone(),
        [first, .., last] => format!("{} to {}", first.take.name, last.take.name),
        [] => String::new(),
    };
    Finding::new("stamps-explained", weight, message)
        .at(format!("{} {range}", unit.name))
        .measured(
            format!("stamps {} on {} takes", epoch.words(), epoch.entries.len()),
            format!("within {:.3} s", epoch.within_s + RIGHT_S),
        )
        .because(why)
        .then("nothing to these takes: they were placed by what was measured, not by the stamps")
}

/// What an epoch's difference looks like, and its cause.
fn signature(
    epoch: &Epoch<'_, '_>,
    countings: (Option<Counting>, Option<Counting>),
    label_s: f64,
) -> (String, String) {
    let difference_s = epoch.difference_s;
    let allowed_s = epoch.within_s + 0.05;
    let way = if difference_s > 0.0 { "early" } else { "late" };
    let hours = (difference_s / 3600.0).round();
    if hours != 0.0 && (difference_s - 3600.0 * hours).abs() <= allowed_s + DRIFT * 86_400.0 {
        return (
            format!("the stamps are exactly {:.0} h too {way}", hours.abs()),
            "another time zone, summer time, or a start at 01:00:00:00".into(),
        );
    }
    let timecode_frame_s = countings
        .1
        .or(countings.0)
        .map(|counting| 1.0 / counting.rate().per_second());
    if let Some(one_s) = timecode_frame_s {
        let many = (difference_s / one_s).round();
        let off_s = (difference_s - many * one_s).abs();
        if (1.0..=2.0).contains(&many.abs()) && off_s <= 0.3 * one_s {
            let many_words = if many.abs() == 1.0 {
                "one timecode frame"
            } else {
                "two timecode frames"
            };
            return (
                format!("the stamps are {many_words} too {way}"),
                "how the unit reads or rounds timecode; constant, and taken out by what was measured".into(),
            );
        }
    }
    if let (Some(a), Some(b)) = countings {
        let part = [(PULLED, is_pulled(a, b)), (DROPPED, is_dropped(a, b))]
            .into_iter()
            .find(|(_, named)| *named)
            .map(|(part, _)| part);
        if let Some(part) = part {
            let jam_s = difference_s.abs() / part;
            if jam_s > 60.0 && jam_s <= label_s + allowed_s / part {
                return (
                    format!(
                        "the stamps are {:.2} s too {way}, as after one jam at about {} with {}",
                        difference_s.abs(),
                        minute_words(jam_s),
                        cause(part, countings)
                    ),
                    "the units' timecode rates are set differently; the label at the jam was counted at the wrong rate".into(),
                );
            }
        }
    }
    (
        format!("the stamps are {:.2} s too {way}", difference_s.abs()),
        "its timecode was not jammed from the lead's, or was lost and set by hand".into(),
    )
}

fn counting(unit: &Unit) -> Option<Counting> {
    unit.takes
        .iter()
        .find_map(|take| take.stamp.as_ref()?.counting)
}

/// Whether the two differ by 1.001 to 1.
fn is_pulled(a: Counting, b: Counting) -> bool {
    a.rate() != b.rate() && a.rate().nominal() == b.rate().nominal()
}

/// Whether one of the two leaves labels out and the other does not.
fn is_dropped(a: Counting, b: Counting) -> bool {
    a.rate() == b.rate() && a.drop_frame() != b.drop_frame()
}

fn cause(part: f64, countings: (Option<Counting>, Option<Counting>)) -> String {
    let named = match countings {
        (Some(a), Some(b)) if a != b => format!(" (the lead says {a}, this unit {b})"),
        _ => String::new(),
    };
    let what = if part == PULLED {
        "labels of 29.97 taken for 30, or of 23.976 for 24"
    } else {
        "drop-frame labels taken for non-drop ones, or the other way round"
    };
    format!("{what}{named}")
}

fn clock_words(seconds: f64) -> String {
    let whole = seconds.round().max(0.0) as u64;
    format!(
        "{:02}:{:02}:{:02}",
        whole / 3600,
        whole / 60 % 60,
        whole % 60
    )
}

/// To a minute, as a jam is known.
fn minute_words(seconds: f64) -> String {
    clock_words((seconds / 60.0).round() * 60.0)[..5].to_string()
}
