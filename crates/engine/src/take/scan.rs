//! Cards in, a survey out: every wave file read, files put together to takes, units named; one unreadable file does not
//! stop the others.

use std::collections::{HashMap, HashSet};
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::file::{FileTake, read_file};
use super::parts::join_parts;
use super::sets::join_sets;
use super::whose;
use super::{Survey, Surveyed, Take, Timecode, Unit};
use crate::error::{Error, Kind, Result};
use crate::finding::{Finding, Warned, Weight};
use crate::media::{self, OtherSound};
use crate::progress::Progress;

/// Names that cards carry from the shop or the unit, or that folders have by themselves: no name for a unit.
const NAMELESS: [&str; 8] = [
    "", "NO NAME", "UNTITLED", "AUDIO", "SOUND", "CARD", "SD", "DCIM",
];

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
        units.extend(whose::apart(card, takes, &mut findings));
    }
    let mut units = whose::together(units, &mut findings);
    name_units(&mut units);
    for unit in &units {
        find_timecode(unit, &mut findings);
        whose::find_two_in_one(unit, &mut findings);
    }
    whose::find_same_unit(&units, &mut findings);
    let survey = Survey {
        units,
        cards: cards.to_vec(),
    };
    Ok(Warned {
        value: survey,
        findings,
    })
}

/// Refuses no card, a card twice, and one inside another.
pub(crate) fn refuse_nested(cards: &[PathBuf]) -> Result<()> {
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
    takes.sort_by_cached_key(order);
    Ok(takes)
}

/// The order of a unit's takes: by stamp, then by name.
pub(super) fn order(take: &Take) -> (Option<u64>, Vec<(String, u64)>, PathBuf) {
    let stamp = take.stamp.as_ref().map(|stamp| stamp.samples);
    (
        stamp,
        media::natural_key(&take.name),
        take.parts[0].path.clone(),
    )
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
    findings.extend(listing.other_sound.iter().map(|path| other_sound(path)));
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

/// Sound beside the wave files is told as what it is, and never used unasked.
fn other_sound(path: &Path) -> Finding {
    let sound = media::sniff(path).unwrap_or(OtherSound::Unknown);
    let (weight, message, next) = match sound {
        sound if sound.is_lossless() => (
            Weight::Warn,
            "sound without loss, but no wave sound: not used",
            "if a unit recorded it, unpack a copy of it to a wave file with its stamp, and survey again",
        ),
        OtherSound::Unknown => (
            Weight::Note,
            "called like sound, but none that is known here; not used",
            "hand it over separately if it matters",
        ),
        _ => (
            Weight::Note,
            "sound that may have been coded with loss: its samples are not what was heard, so nothing is measured on it",
            "hand it over separately if it matters",
        ),
    };
    Finding::new("other-sound", weight, message)
        .at(path.display().to_string())
        .measured(sound.to_string(), "wave sound")
        .then(next)
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
                unit.cards[0]
                    .canonicalize()
                    .ok()
                    .as_deref()
                    .unwrap_or(&unit.cards[0]),
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
                let card = units[j].cards[0]
                    .canonicalize()
                    .unwrap_or_else(|_| units[j].cards[0].clone());
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
