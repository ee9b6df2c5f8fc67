//! Files in, takes out: sets of mono files become one take of many channels, split parts one take of full length.

use std::collections::BTreeMap;

use super::{Take, TakePart};
use crate::finding::{Finding, Weight};
use crate::media::natural_key;
use crate::units::SampleCount;

/// A split part may start this many samples from where the one before ended: stamps at 29.97 are rounded.
const ROUNDING: u64 = 1;
/// A longer hole than this many seconds is a new take, not a gap.
const LONGEST_GAP_S: u64 = 10;

/// Puts files together that are one take; ordered by stamp where there is one, else by name.
pub fn assemble(files: Vec<Take>, findings: &mut Vec<Finding>) -> Vec<Take> {
    let mut takes = join_parts(join_monos(files, findings), findings);
    takes.sort_by_cached_key(|take| {
        (
            take.stamp.as_ref().map(|stamp| stamp.samples),
            natural_key(&take.name),
        )
    });
    takes
}

/// `name_1`, `name_2` ... with one channel, one stamp and one length each.
fn join_monos(files: Vec<Take>, findings: &mut Vec<Finding>) -> Vec<Take> {
    let mut sets: BTreeMap<(String, Option<u64>), Vec<(u64, Take)>> = BTreeMap::new();
    let mut takes = Vec::new();
    for take in files {
        match numbered(&take.name) {
            Some((base, number)) if take.channels.len() == 1 => {
                let folder = take.parts[0]
                    .path
                    .parent()
                    .map(|p| p.to_string_lossy().into_owned());
                let key = format!("{}/{base}", folder.unwrap_or_default());
                let stamp = take.stamp.as_ref().map(|stamp| stamp.samples);
                sets.entry((key, stamp)).or_default().push((number, take));
            }
            _ => takes.push(take),
        }
    }
    for ((_, _), mut set) in sets {
        set.sort_by_key(|(number, _)| *number);
        let (_, first) = &set[0];
        let alike = set
            .iter()
            .all(|(_, take)| take.rate == first.rate && take.length == first.length);
        if set.len() == 1 || !alike {
            if set.len() > 1 {
                findings.push(
                    Finding::new("mono-set-uneven", Weight::Ask, "mono files of one set differ in length")
                        .at(first.parts[0].path.display().to_string())
                        .measured(
                            set.iter().map(|(_, t)| t.length.0.to_string()).collect::<Vec<_>>().join(", "),
                            "equal lengths",
                        )
                        .then("check the card for a damaged member; each file is treated as a take of its own"),
                );
            }
            takes.extend(set.into_iter().map(|(_, take)| take));
            continue;
        }
        let missing = (set[0].0..=set[set.len() - 1].0).count() - set.len();
        if missing > 0 {
            findings.push(
                Finding::new(
                    "mono-set-incomplete",
                    Weight::Warn,
                    "members of a mono set are missing",
                )
                .at(first.parts[0].path.display().to_string())
                .measured(format!("{missing} numbers left out"), "consecutive numbers"),
            );
        }
        takes.extend(one_of_monos(set));
    }
    takes
}

fn one_of_monos(set: Vec<(u64, Take)>) -> Option<Take> {
    let mut set = set.into_iter().map(|(_, take)| take);
    let mut whole = set.next()?;
    if let Some((base, _)) = numbered(&whole.name) {
        whole.name = base;
    }
    for (channel, take) in set.enumerate() {
        whole.channels.extend(take.channels);
        whole
            .parts
            .extend(take.parts.into_iter().map(|part| TakePart {
                first_channel: channel + 1,
                ..part
            }));
    }
    Some(whole)
}

fn numbered(name: &str) -> Option<(String, u64)> {
    let digits = name.len() - name.bytes().rev().take_while(u8::is_ascii_digit).count();
    let (base, number) = name.split_at(digits);
    let base = base.strip_suffix(['_', '-', '.'])?;
    (!base.is_empty()).then_some(())?;
    Some((base.to_string(), number.parse().ok()?))
}

/// A file whose stamp is where another ended goes on with it.
fn join_parts(mut takes: Vec<Take>, findings: &mut Vec<Finding>) -> Vec<Take> {
    takes.sort_by_cached_key(|take| {
        (
            take.stamp.as_ref().map(|stamp| stamp.samples),
            natural_key(&take.name),
        )
    });
    let mut joined: Vec<Take> = Vec::new();
    for take in takes {
        if let Some(whole) = joined.iter_mut().find(|whole| goes_on(whole, &take)) {
            append(whole, take, findings);
        } else {
            joined.push(take);
        }
    }
    joined
}

/// Same shape, names that differ in a number only, and a stamp at the end of `whole` or shortly after it.
fn goes_on(whole: &Take, next: &Take) -> bool {
    let (Some(a), Some(b)) = (&whole.stamp, &next.stamp) else {
        return false;
    };
    let same_shape = whole.channels.len() == next.channels.len()
        && whole.rate == next.rate
        && whole.bits == next.bits
        && whole.float == next.float;
    let last = whole
        .parts
        .last()
        .map(|part| part.path.file_stem().unwrap_or_default());
    let named = last.is_some_and(|last| {
        let (a, b) = (
            natural_key(&last.to_string_lossy()),
            natural_key(&next.name),
        );
        let texts =
            |key: &[(String, u64)]| key.iter().map(|(text, _)| text.clone()).collect::<Vec<_>>();
        texts(&a) == texts(&b)
    });
    let end = a.samples + whole.length.0;
    let exact = end.abs_diff(b.samples) <= ROUNDING;
    // only files of nearly the largest size a card allows are split with a hole
    let large = whole
        .parts
        .last()
        .is_some_and(|part| part.length > 60 * u64::from(whole.rate.0));
    let gap = b.samples > end && b.samples - end <= LONGEST_GAP_S * u64::from(whole.rate.0);
    let consecutive = last.is_some_and(|last| {
        let number = |name: &str| numbered(name).map(|(base, number)| (base, number + 1));
        number(&last.to_string_lossy()) == numbered(&next.name)
    });
    same_shape
        && named
        && (exact || (gap && large && consecutive && next.notes.take == whole.notes.take))
}

fn append(whole: &mut Take, next: Take, findings: &mut Vec<Finding>) {
    let (Some(a), Some(b)) = (&whole.stamp, &next.stamp) else {
        return;
    };
    let end = whole.length.0;
    let at = b.samples - a.samples;
    let first = if at.abs_diff(end) <= ROUNDING {
        end
    } else {
        at
    };
    if first > end {
        findings.push(
            Finding::new(
                "gap-between-parts",
                Weight::Warn,
                "samples are missing between two parts of a take",
            )
            .at(next.parts[0].path.display().to_string())
            .measured(format!("{} samples, kept as silence", first - end), "0")
            .because("the unit lost samples while it changed files"),
        );
    }
    whole
        .parts
        .extend(next.parts.into_iter().map(|part| TakePart {
            first_sample: first,
            ..part
        }));
    whole.length = SampleCount(first + next.length.0);
}
