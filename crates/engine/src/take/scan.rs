//! Cards in, a survey out: every wave file read, files put together to takes, units named; one unreadable file does not
//! stop the others.

use std::collections::{HashMap, HashSet};
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::file::{FileTake, read_file};
use super::learn::{stamp_resolution, timecode_of};
use super::parts::join_parts;
use super::sets::join_sets;
use super::{Survey, Surveyed, Take, Timecode, Unit};
use crate::error::{Error, Kind, Result};
use crate::finding::{Finding, Warned, Weight};
use crate::media;
use crate::progress::Progress;

/// Names that cards carry from the shop or the unit, or that folders have by themselves: no name for a unit.
const NAMELESS: [&str; 8] = [
    "", "NO NAME", "UNTITLED", "AUDIO", "SOUND", "CARD", "SD", "DCIM",
];
/// Takes of one unit that run together for longer than this are not of one unit, seconds.
const TOGETHER_S: f64 = 1.0;
/// The part of a reference number that is the same for all recordings of a unit: country, facility and serial number
/// (EBU R 99).
const UNIT_REFERENCE: std::ops::Range<usize> = 0..17;

/// Surveys the cards of the units of one shoot: one folder (or file) is one unit.
///
/// # Errors
/// When no card is given, a card cannot be listed at all, or one lies inside another.
pub fn scan(cards: &[PathBuf], progress: &dyn Progress) -> Result<Surveyed> {
    refuse_nested(cards)?;
    let mut findings = Vec::new();
    let mut units = Vec::new();
    for card in cards {
        let takes = scan_card(card, progress, &mut findings)?;
        units.push(Unit {
            name: String::new(),
            card: card.clone(),
            stamp_resolution: stamp_resolution(&takes),
            timecode: timecode_of(&takes),
            takes,
        });
    }
    name_units(&mut units);
    for unit in &units {
        find_timecode(unit, &mut findings);
        find_two_in_one(unit, &mut findings);
    }
    find_same_unit(&units, &mut findings);
    let survey = Survey {
        units,
        cards: cards.to_vec(),
    };
    Ok(Warned {
        value: survey,
        findings,
    })
}

fn refuse_nested(cards: &[PathBuf]) -> Result<()> {
    if cards.is_empty() {
        return Err(
            Error::new(Kind::Usage, "no card was given").then("name the folder of each unit")
        );
    }
    let real: Vec<PathBuf> = cards
        .iter()
        .map(|card| card.canonicalize().unwrap_or_else(|_| card.clone()))
        .collect();
    for (i, outer) in real.iter().enumerate() {
        for (j, inner) in real.iter().enumerate().filter(|(j, _)| *j != i) {
            if inner == outer {
                return Err(Error::new(Kind::Usage, "the same card was given twice").at(&cards[j]));
            }
            if inner.starts_with(outer) {
                return Err(Error::new(
                    Kind::Usage,
                    format!("lies inside another card, {}", cards[i].display()),
                )
                .at(&cards[j])
                .then("give each unit's own folder"));
            }
        }
    }
    Ok(())
}

fn scan_card(
    card: &Path,
    progress: &dyn Progress,
    findings: &mut Vec<Finding>,
) -> Result<Vec<Take>> {
    let listing = media::list(card)?;
    tell_passed_over(&listing, findings);
    progress.stage(
        &format!("reading {}", card.display()),
        listing.waves.len() as u64,
    );
    let read: Vec<Warned<Option<FileTake>>> = listing
        .waves
        .par_iter()
        .map(|path| {
            let file = read_file(path);
            progress.advance(1);
            file
        })
        .collect();
    let files: Vec<FileTake> = read
        .into_iter()
        .filter_map(|file| file.drain_into(findings))
        .collect();
    if files.is_empty() {
        let number = listing.waves.len();
        findings.push(
            Finding::new(
                "no-audio",
                Weight::Stop,
                "this card holds no readable recording",
            )
            .at(card.display().to_string())
            .measured(
                format!("{number} wave files, none readable"),
                "at least one",
            )
            .then("check that it is the right folder and that the card was copied whole"),
        );
    }
    let files = without_doubles(files, findings);
    let files = join_parts(join_sets(files, findings), findings);
    let mut takes: Vec<Take> = files.into_iter().map(|file| file.take).collect();
    takes.sort_by_cached_key(|take| {
        let stamp = take.stamp.as_ref().map(|stamp| stamp.samples);
        (
            stamp,
            media::natural_key(&take.name),
            take.parts[0].path.clone(),
        )
    });
    Ok(takes)
}

fn tell_passed_over(listing: &media::Listing, findings: &mut Vec<Finding>) {
    findings.extend(listing.junk.iter().map(|path| {
        Finding::new(
            "passed-over",
            Weight::Note,
            "hidden or rubbish; passed over",
        )
        .at(path.display().to_string())
    }));
    findings.extend(listing.other_sound.iter().map(|path| {
        Finding::new(
            "other-sound",
            Weight::Note,
            "sound in a form that is not used here",
        )
        .at(path.display().to_string())
        .then("hand it over separately if it matters")
    }));
    findings.extend(listing.unlisted.iter().map(|(path, why)| {
        Finding::new(
            "folder-unlisted",
            Weight::Warn,
            "this folder could not be looked into",
        )
        .at(path.display().to_string())
        .measured(why.clone(), "a readable folder")
        .then("copy the card again, with its permissions")
    }));
}

/// Files that are one file twice, by size, length, stamp and digest, are taken once.
fn without_doubles(files: Vec<FileTake>, findings: &mut Vec<Finding>) -> Vec<FileTake> {
    let alike = |file: &FileTake| {
        let stamp = file.take.stamp.as_ref().map(|stamp| stamp.samples);
        (file.bytes, file.take.length, stamp)
    };
    let mut numbers: HashMap<_, usize> = HashMap::new();
    for file in &files {
        *numbers.entry(alike(file)).or_default() += 1;
    }
    let mut seen: HashMap<String, PathBuf> = HashMap::new();
    let mut kept = Vec::new();
    for file in files {
        let path = &file.take.parts[0].path;
        if numbers.get(&alike(&file)).is_some_and(|&n| n > 1)
            && let Ok(digest) = media::digest(path)
        {
            if let Some(first) = seen.get(&digest) {
                findings.push(
                    Finding::new(
                        "file-twice",
                        Weight::Note,
                        "the same file lies here twice; used once",
                    )
                    .at(path.display().to_string())
                    .measured(format!("equal to {}", first.display()), "one copy"),
                );
                continue;
            }
            seen.insert(digest, path.clone());
        }
        kept.push(file);
    }
    kept
}

/// Names units after their folders, in upper case; after what all their files name as their origin when the folder has
/// no name of its own; with the folder above when two would be called alike; with a number at last.
fn name_units(units: &mut [Unit]) {
    let mut names: Vec<String> = units
        .iter()
        .map(|unit| {
            let own = tidy(
                unit.card
                    .canonicalize()
                    .ok()
                    .as_deref()
                    .unwrap_or(&unit.card),
            );
            match NAMELESS.contains(&own.as_str()) {
                true => one_originator(&unit.takes).unwrap_or(own),
                false => own,
            }
        })
        .collect();
    for i in 0..names.len() {
        let alike: Vec<usize> = (i..names.len()).filter(|&j| names[j] == names[i]).collect();
        if alike.len() > 1 {
            for j in alike {
                let card = units[j]
                    .card
                    .canonicalize()
                    .unwrap_or_else(|_| units[j].card.clone());
                let above = card.parent().map(tidy).unwrap_or_default();
                names[j] = format!("{above}-{}", names[j])
                    .trim_matches('-')
                    .to_string();
            }
        }
    }
    let mut used = HashSet::new();
    for (unit, name) in units.iter_mut().zip(names) {
        let name = if name.is_empty() {
            "UNIT".to_string()
        } else {
            name
        };
        let numbered = (2..).map(|number| format!("{name}-{number}"));
        let free = std::iter::once(name.clone())
            .chain(numbered)
            .find(|name| !used.contains(name));
        unit.name = free.unwrap_or(name);
        used.insert(unit.name.clone());
        unit.takes
            .iter_mut()
            .for_each(|take| take.unit.clone_from(&unit.name));
    }
}

/// The last name of a path in upper case, without what has a meaning on the command line; a file without its ending.
fn tidy(path: &Path) -> String {
    let name = if path.is_file() {
        path.file_stem()
    } else {
        path.file_name()
    };
    tidy_text(&name.unwrap_or_default().to_string_lossy())
}

fn tidy_text(text: &str) -> String {
    let replaced = |c: char| {
        if c.is_control() || "=@:/\\,".contains(c) {
            '-'
        } else {
            c
        }
    };
    text.trim()
        .chars()
        .map(replaced)
        .take(40)
        .collect::<String>()
        .to_uppercase()
}

fn one_originator(takes: &[Take]) -> Option<String> {
    let first = &takes.first()?.notes.originator;
    let all = takes.iter().all(|take| take.notes.originator == *first);
    (all && !first.is_empty()).then(|| tidy_text(first))
}

fn find_timecode(unit: &Unit, findings: &mut Vec<Finding>) {
    let (code, message, value, cause) = match unit.timecode {
        Timecode::Free => return,
        Timecode::RecordRun => (
            "record-run",
            "this unit's timecode ran only while it recorded: its stamps do not say when",
            "takes follow each other without a gap in timecode",
            "the unit was set to record run",
        ),
        Timecode::Frozen => (
            "frozen-timecode",
            "this unit's timecode stood still: its takes have one and the same stamp, which does not say when",
            "takes of different times of day with one stamp",
            "the timecode fed to it did not run, or its generator was stopped",
        ),
    };
    findings.push(
        Finding::new(code, Weight::Warn, message)
            .at(unit.name.clone())
            .measured(value, "time of day")
            .because(cause)
            .then("set it to free run and link it before recording; these takes are not paired by stamps"),
    );
}

/// One unit cannot record two takes at once.
fn find_two_in_one(unit: &Unit, findings: &mut Vec<Finding>) {
    if !unit.stamps_tell() {
        return;
    }
    let together = unit
        .takes
        .windows(2)
        .find(|pair| run_together(&pair[0], &pair[1]));
    if let Some([a, b]) = together {
        findings.push(
            Finding::new(
                "unit-overlaps-itself",
                Weight::Warn,
                "two takes of one unit ran at the same time by their stamps",
            )
            .at(unit.name.clone())
            .measured(format!("{} and {}", a.name, b.name), "one take at a time")
            .because("the folder holds recordings of two units or two days, or the timecode was set back")
            .then("give each unit's card as a folder of its own"),
        );
    }
}

/// Whether two takes ran at the same time by stamps, and the dates do not say otherwise.
fn run_together(a: &Take, b: &Take) -> bool {
    let other_day = !a.date.is_empty() && !b.date.is_empty() && a.date != b.date;
    let overlap_s = a
        .stamp_seconds()
        .zip(b.stamp_seconds())
        .map_or(0.0, |(x, y)| {
            (x + a.seconds()).min(y + b.seconds()) - x.max(y)
        });
    !other_day && overlap_s > TOGETHER_S
}

/// Two cards of one unit: the same recordings twice, or the same serial number and never at the same time.
fn find_same_unit(units: &[Unit], findings: &mut Vec<Finding>) {
    for (i, a) in units.iter().enumerate() {
        for b in &units[i + 1..] {
            let same = equal_takes(a, b);
            let place = format!("{} and {}", a.card.display(), b.card.display());
            if same > 0 {
                findings.push(
                    Finding::new(
                        "same-unit-twice",
                        Weight::Ask,
                        "two cards hold the same recordings",
                    )
                    .at(place)
                    .measured(format!("{same} equal takes"), "cards of different units")
                    .because("one card was copied to two folders")
                    .then("give each unit's card once"),
                );
            } else if let Some(reference) = one_serial(a, b) {
                findings.push(
                    Finding::new(
                        "same-unit-two-cards",
                        Weight::Ask,
                        "two cards seem to be of one unit",
                    )
                    .at(place)
                    .measured(
                        format!("both are of {reference}"),
                        "cards of different units",
                    )
                    .because("the unit's card was changed during the shoot")
                    .then("put the recordings of one unit into one folder"),
                );
            }
        }
    }
}

fn equal_takes(a: &Unit, b: &Unit) -> usize {
    let key = |take: &Take| {
        let stamp = take.stamp.as_ref().map(|stamp| stamp.samples);
        (take.name.clone(), take.length, stamp)
    };
    let mut known: HashMap<_, Vec<&Take>> = HashMap::new();
    for take in &a.takes {
        known.entry(key(take)).or_default().push(take);
    }
    let equal = |take: &&Take| {
        let twins = known.get(&key(take));
        twins.is_some_and(|twins| twins.iter().any(|twin| same_digest(twin, take)))
    };
    b.takes.iter().filter(equal).count()
}

fn same_digest(x: &Take, y: &Take) -> bool {
    let digest = |take: &Take| media::digest(&take.parts.first()?.path).ok();
    digest(x).is_some_and(|x| digest(y) == Some(x))
}

/// The serial part of the reference numbers when all takes of both units have one and the same, and no two of them ran
/// together.
fn one_serial<'a>(a: &'a Unit, b: &Unit) -> Option<&'a str> {
    let serial = |take: &'a Take| take.notes.reference.get(UNIT_REFERENCE);
    let first = serial(a.takes.first()?)?;
    let all_a = a.takes.iter().all(|take| serial(take) == Some(first));
    let all_b = b
        .takes
        .iter()
        .all(|take| take.notes.reference.get(UNIT_REFERENCE) == Some(first));
    let together = || {
        a.takes
            .iter()
            .any(|x| b.takes.iter().any(|y| run_together(x, y)))
    };
    (all_a && all_b && !b.takes.is_empty() && !together()).then_some(first)
}
