//! Files in, takes out: files that hold different channels of one recording (`T01_1` ... `T01_12`, or one set by iXML's
//! `FILE_SET`) become one take of all channels, in the natural order of their numbers.

use std::collections::BTreeMap;
use std::path::PathBuf;

use super::TakePart;
use super::file::FileTake;
use super::names::numbered;
use crate::finding::{Finding, Weight};
use crate::media::natural_key;
use crate::units::SampleCount;

/// Without stamps, files of one set were started within this many seconds of each other by the calendar clock.
const STARTED_TOGETHER_S: i64 = 2;

/// What files of one set have in common.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
struct Key {
    folder: PathBuf,
    /// The family's identity, or the name without its number.
    base: String,
    stamp: Option<u64>,
}

/// A file with its place in its set.
#[derive(Debug)]
struct Numbered {
    number: u64,
    file: FileTake,
}

/// Puts sets together; files that belong to none come back as they are.
pub(super) fn join_sets(files: Vec<FileTake>, findings: &mut Vec<Finding>) -> Vec<FileTake> {
    let mut sets: BTreeMap<Key, Vec<Numbered>> = BTreeMap::new();
    let mut alone = Vec::new();
    for file in files {
        match key_of(&file) {
            Some((key, number)) => sets.entry(key).or_default().push(Numbered { number, file }),
            None => alone.push(file),
        }
    }
    let mut whole = Vec::new();
    for (key, mut members) in sets {
        members.sort_by_cached_key(|m| (m.number, natural_key(&m.file.take.name)));
        if is_set(&members) {
            whole.push((key, members));
        } else {
            alone.extend(members.into_iter().map(|member| member.file));
        }
    }
    for (key, members) in whole {
        let mut undecided = irregularities(&members);
        undecided.extend(strayed(&key, &members, &alone));
        let mut joined = join(members);
        if let Some(joined) = &mut joined {
            let place = joined.take.parts[0].path.display().to_string();
            undecided
                .iter_mut()
                .for_each(|finding| finding.place.clone_from(&place));
            let grave = undecided
                .iter()
                .filter(|finding| finding.weight >= Weight::Ask);
            joined.take.undecided.extend(grave.cloned());
        }
        findings.extend(undecided);
        alone.extend(joined);
    }
    alone
}

fn key_of(file: &FileTake) -> Option<(Key, u64)> {
    let by_name = numbered(&file.take.name);
    let (base, number) = match (&file.family, by_name) {
        (Some(family), by_name) => {
            let index = index_number(&family.index);
            let number = index.or(by_name.map(|n| n.number)).unwrap_or(0);
            (format!("family {}", family.uid), number)
        }
        (None, Some(by_name)) => (by_name.base, by_name.number),
        (None, None) => return None,
    };
    let key = Key {
        folder: file.folder.clone(),
        base,
        stamp: file.take.stamp.as_ref().map(|stamp| stamp.samples),
    };
    Some((key, number))
}

/// `1`, `2` ... of mono files or `A`, `B` ... of polyphonic ones (iXML, `FILE_SET_INDEX`).
fn index_number(index: &str) -> Option<u64> {
    if let Ok(number) = index.parse() {
        return Some(number);
    }
    let [letter] = index.as_bytes() else {
        return None;
    };
    letter
        .is_ascii_alphabetic()
        .then(|| u64::from(letter.to_ascii_uppercase() - b'A') + 1)
}

/// Whether files of one name and stamp are channels of one recording. Mono files of one stamp are; wider files and files
/// without a stamp only when their lengths agree too, and the latter only when they were started together.
fn is_set(members: &[Numbered]) -> bool {
    let [first, others @ ..] = members else {
        return false;
    };
    let first = &first.file.take;
    let alike = |n: &Numbered| {
        let take = &n.file.take;
        let equal_length = take.length == first.length;
        let both_mono = take.channels.len() == 1 && first.channels.len() == 1;
        let together = match (take.recorded, first.recorded) {
            (Some(a), Some(b)) => a.duration_since(b).as_secs().abs() <= STARTED_TOGETHER_S,
            (a, b) => a == b,
        };
        let placed = if first.stamp.is_some() {
            both_mono || equal_length
        } else {
            equal_length && together
        };
        placed && take.rate == first.rate && take.bits == first.bits && take.float == first.float
    };
    !others.is_empty() && others.iter().all(alike)
}

fn irregularities(members: &[Numbered]) -> Vec<Finding> {
    let mut found = Vec::new();
    let lengths: Vec<u64> = members.iter().map(|m| m.file.take.length.0).collect();
    let (shortest, longest) = (lengths.iter().min(), lengths.iter().max());
    if shortest != longest {
        let short: Vec<String> = members
            .iter()
            .filter(|m| Some(&m.file.take.length.0) != longest)
            .map(|m| format!("{} {}", m.file.take.name, m.file.take.length.0))
            .collect();
        found.push(
            Finding::new(
                "set-uneven",
                Weight::Ask,
                "files of one set differ in length; the shorter ones read as silence at their ends",
            )
            .measured(
                short.join(", "),
                format!("{} samples", longest.copied().unwrap_or(0)),
            )
            .because("a file is damaged, or it does not belong to this set")
            .then("copy the card again, or take the file out of the folder"),
        );
    }
    let numbers: Vec<u64> = members.iter().map(|m| m.number).collect();
    if numbers.windows(2).any(|pair| pair[0] == pair[1]) {
        found.push(
            Finding::new(
                "set-number-twice",
                Weight::Ask,
                "two files of one set have one number",
            )
            .measured(list(&numbers), "each number once")
            .then("rename the files of the set in a copy of the card"),
        );
    }
    let total = members.iter().find_map(|m| m.file.family.as_ref()?.total);
    let missing = holes(&numbers);
    match total {
        Some(total) if total as usize != members.len() => found.push(
            Finding::new("set-incomplete", Weight::Ask, "files of a set are missing")
                .measured(
                    format!("{} files", members.len()),
                    format!("{total} by FILE_SET"),
                )
                .then("find the missing files before this take is used"),
        ),
        None if !missing.is_empty() => found.push(
            Finding::new(
                "set-has-holes",
                Weight::Warn,
                "numbers are left out in a set of files",
            )
            .measured(format!("no {}", list(&missing)), "consecutive numbers")
            .because("inputs that were switched off, or files that were lost")
            .then("compare with the unit's sound report"),
        ),
        _ => {}
    }
    found
}

/// A file of the same name whose number is missing, but whose stamp is another.
fn strayed(key: &Key, members: &[Numbered], alone: &[FileTake]) -> Option<Finding> {
    let numbers: Vec<u64> = members.iter().map(|m| m.number).collect();
    let next = numbers.last()?.saturating_add(1);
    let length = members.first()?.file.take.length;
    let stray = alone.iter().find(|file| {
        let near = file.take.length.0.abs_diff(length.0) <= u64::from(file.take.rate.0);
        near && file.take.channels.len() == 1
            && key_of(file).is_some_and(|(other, number)| {
                let same_name = other.base == key.base && other.folder == key.folder;
                same_name && (1..=next).contains(&number) && !numbers.contains(&number)
            })
    })?;
    let stamp = |stamp: Option<u64>| stamp.map_or("none".into(), |samples| samples.to_string());
    let theirs = stray.take.stamp.as_ref().map(|stamp| stamp.samples);
    Some(
        Finding::new(
            "set-stamp-strays",
            Weight::Ask,
            "a file of a set has another stamp than the rest",
        )
        .measured(
            format!("{} is stamped {}", stray.take.name, stamp(theirs)),
            stamp(key.stamp),
        )
        .then("correct the stamp in a copy, or take the file out of the folder"),
    )
}

fn holes(numbers: &[u64]) -> Vec<u64> {
    /// More holes than this are another way of counting.
    const MOST: u64 = 128;
    let (Some(&first), Some(&last)) = (numbers.first(), numbers.last()) else {
        return Vec::new();
    };
    (first..=last.min(first.saturating_add(MOST)))
        .filter(|number| !numbers.contains(number))
        .collect()
}

fn list(numbers: &[u64]) -> String {
    numbers
        .iter()
        .map(u64::to_string)
        .collect::<Vec<_>>()
        .join(", ")
}

fn join(members: Vec<Numbered>) -> Option<FileTake> {
    let longest = members.iter().map(|m| m.file.take.length.0).max()?;
    let mut members = members.into_iter().map(|member| member.file);
    let mut whole = members.next()?;
    if let Some(named) = numbered(&whole.take.name) {
        whole.take.name = named.base;
    }
    for file in members {
        let first_channel = whole.take.channels.len();
        whole.take.channels.extend(file.take.channels);
        whole.take.undecided.extend(file.take.undecided);
        whole.bytes = whole.bytes.max(file.bytes);
        let parts = file.take.parts.into_iter();
        whole.take.parts.extend(parts.map(|part| TakePart {
            first_channel,
            ..part
        }));
    }
    whole.take.length = SampleCount(longest);
    Some(whole)
}
