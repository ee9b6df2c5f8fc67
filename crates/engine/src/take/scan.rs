//! Cards in, a survey out: every wave file read, its stamp and names taken, its oddities told; one unreadable file does not
//! stop the others.

use std::collections::HashSet;
use std::path::{Path, PathBuf};

use rayon::prelude::*;
use timecode::{Counting, FrameRate, Label, day_in_samples};
use wave::{Header, OddityKind};

use super::assemble::assemble;
use super::{Notes, Stamp, Survey, Surveyed, Take, TakePart, Unit, complaint_place, unreadable};
use crate::error::{Error, Kind, Result};
use crate::finding::{Finding, Warned, Weight};
use crate::media;
use crate::progress::Progress;
use crate::units::{SampleCount, SampleRate};

/// Surveys the cards of the units of one shoot.
///
/// # Errors
/// When a card cannot be listed at all.
pub fn scan(cards: &[PathBuf], progress: &dyn Progress) -> Result<Surveyed> {
    let mut findings = Vec::new();
    let mut units = Vec::new();
    let mut names = HashSet::new();
    let mut seen = HashSet::new();
    for card in cards {
        let real = card.canonicalize().unwrap_or_else(|_| card.clone());
        if !seen.insert(real) {
            return Err(Error::new(Kind::Usage, "the same card was given twice").at(card));
        }
        let takes = scan_card(card, progress, &mut findings)?;
        let name = unique(&unit_name(card), &mut names);
        units.push(Unit {
            stamp_resolution: stamp_resolution(&takes),
            takes,
            card: card.clone(),
            name,
        });
    }
    for unit in &mut units {
        let name = unit.name.clone();
        unit.takes
            .iter_mut()
            .for_each(|take| take.unit.clone_from(&name));
    }
    find_same_unit(&units, &mut findings);
    Ok(Warned {
        value: Survey {
            units,
            cards: cards.to_vec(),
        },
        findings,
    })
}

fn scan_card(
    card: &Path,
    progress: &dyn Progress,
    findings: &mut Vec<Finding>,
) -> Result<Vec<Take>> {
    let listing = media::list(card)?;
    for path in &listing.junk {
        findings.push(
            Finding::new(
                "passed-over",
                Weight::Note,
                "hidden or rubbish; passed over",
            )
            .at(path.display().to_string()),
        );
    }
    for path in &listing.other_sound {
        findings.push(
            Finding::new(
                "other-sound",
                Weight::Note,
                "sound in a form that is not used here",
            )
            .at(path.display().to_string())
            .then("hand it over separately if it matters"),
        );
    }
    progress.stage(
        &format!("reading {}", card.display()),
        listing.waves.len() as u64,
    );
    let read: Vec<std::result::Result<(Take, Vec<Finding>), Finding>> = listing
        .waves
        .par_iter()
        .map(|path| {
            let result = read_file(path);
            progress.advance(1);
            result
        })
        .collect();
    let mut files = Vec::new();
    for result in read {
        match result {
            Ok((take, more)) => {
                findings.extend(more);
                files.push(take);
            }
            Err(finding) => findings.push(finding),
        }
    }
    if files.is_empty() {
        findings.push(
            Finding::new(
                "no-audio",
                Weight::Stop,
                "this card holds no readable recording",
            )
            .at(card.display().to_string())
            .measured(
                format!("{} wave files, none readable", listing.waves.len()),
                "at least one",
            )
            .then("check that it is the right folder and that the card was copied whole"),
        );
    }
    Ok(assemble(files, findings))
}

/// One file as a take of its own.
fn read_file(path: &Path) -> std::result::Result<(Take, Vec<Finding>), Finding> {
    let file = media::open(path).map_err(|error| {
        Finding::new(
            "file-unreadable",
            Weight::Warn,
            "this file was left out: it cannot be opened",
        )
        .at(path.display().to_string())
        .measured(error.to_string(), "a readable file")
    })?;
    let header = Header::read(&file).map_err(|error| unreadable(path, &error))?;
    if header.length == 0 {
        return Err(Finding::new(
            "file-empty",
            Weight::Warn,
            "this file holds no sound; left out",
        )
        .at(path.display().to_string())
        .because("a recording that was stopped at once, or power lost at the start"));
    }
    let mut findings: Vec<Finding> = header
        .oddities
        .iter()
        .map(|oddity| {
            let weight = if oddity.kind.length_from_file() {
                Weight::Warn
            } else {
                Weight::Note
            };
            Finding::new(oddity.kind.code(), weight, words_of(oddity.kind))
                .at(complaint_place(path, &oddity.what))
                .measured(
                    oddity.what.found.clone(),
                    format!("{} ({})", oddity.what.expected, oddity.what.clause),
                )
        })
        .collect();
    let take = take_of(path, &header, &mut findings);
    Ok((take, findings))
}

fn words_of(kind: OddityKind) -> &'static str {
    match kind {
        OddityKind::Unfinalised => {
            "the recording was not closed; its length was taken from the file"
        }
        OddityKind::DataBeyondFile => "the file was cut short; its length was taken from the file",
        kind if kind.length_from_file() => {
            "the header is wrong; the length was taken from the file"
        }
        _ => "departs from the format; read all the same",
    }
}

fn take_of(path: &Path, header: &Header, findings: &mut Vec<Finding>) -> Take {
    let format = &header.format;
    let ixml = header.ixml.as_ref();
    let text = |value: Option<&Option<String>>| value.and_then(Clone::clone).unwrap_or_default();
    let channels = (1..=u32::from(format.channels))
        .map(|i| {
            ixml.and_then(|x| x.channel_name(i))
                .unwrap_or_default()
                .trim()
                .to_string()
        })
        .collect();
    Take {
        unit: String::new(),
        name: path
            .file_stem()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned(),
        parts: vec![TakePart {
            path: path.to_path_buf(),
            first_sample: 0,
            length: header.length,
            first_channel: 0,
            channels: usize::from(format.channels),
        }],
        channels,
        rate: SampleRate(format.sample_rate),
        length: SampleCount(header.length),
        bits: format.encoding.bits(),
        float: format.encoding.is_float(),
        stamp: stamp_of(path, header, findings),
        date: header
            .bext
            .as_ref()
            .map(|bext| bext.date.clone())
            .unwrap_or_default(),
        time: header
            .bext
            .as_ref()
            .map(|bext| bext.time.clone())
            .unwrap_or_default(),
        notes: Notes {
            project: text(ixml.map(|x| &x.project)),
            scene: text(ixml.map(|x| &x.scene)),
            take: text(ixml.map(|x| &x.take)),
            tape: text(ixml.map(|x| &x.tape)),
            note: text(ixml.map(|x| &x.note)),
            circled: ixml.and_then(|x| x.circled).unwrap_or(false),
            originator: header
                .bext
                .as_ref()
                .map(|bext| bext.originator.clone())
                .unwrap_or_default(),
            ubits: text(ixml.map(|x| &x.ubits)),
        },
    }
}

/// The stamp: `bext` before iXML, both shown when they differ. EBU Tech 3285 v2, 2.3; iXML `SPEED`.
fn stamp_of(path: &Path, header: &Header, findings: &mut Vec<Finding>) -> Option<Stamp> {
    let rate = header.format.sample_rate;
    let speed = header.ixml.as_ref().map(|ixml| &ixml.speed);
    let counting = speed
        .and_then(|speed| {
            let (num, den) = speed.timecode_rate?;
            Counting::new(
                FrameRate::of_fraction(num, den)?,
                speed.drop_frame.unwrap_or(false),
            )
            .ok()
        })
        .or_else(|| counting_in(&header.bext.as_ref()?.description));
    let from_ixml = speed.and_then(|speed| {
        let samples = speed.timestamp_samples_since_midnight?;
        let at = speed
            .timestamp_sample_rate
            .filter(|at| *at > 0)
            .unwrap_or(rate);
        Some((u128::from(samples) * u128::from(rate) / u128::from(at)) as u64)
    });
    let from_bext = header.bext.as_ref().map(|bext| bext.time_reference);
    if let (Some(a), Some(b)) = (from_bext, from_ixml)
        && a != b
    {
        findings.push(
            Finding::new(
                "stamps-differ-in-file",
                Weight::Warn,
                "two stamps in one file; bext was used",
            )
            .at(path.display().to_string())
            .measured(format!("bext {a}, iXML {b} samples"), "one value"),
        );
    }
    let (samples, source) = match (from_bext, from_ixml) {
        (Some(samples), _) if samples > 0 => (samples, "bext"),
        (_, Some(samples)) => (samples, "iXML"),
        (Some(_), None) => {
            findings.push(
                Finding::new(
                    "no-stamp",
                    Weight::Warn,
                    "the stamp is zero; taken as no timecode",
                )
                .at(path.display().to_string())
                .then("set the unit's timecode to run free and link the units before recording"),
            );
            return None;
        }
        (None, None) => return None,
    };
    let day = counting.map_or(86_400 * u64::from(rate), |counting| {
        day_in_samples(counting, rate)
    });
    Some(Stamp {
        samples: samples % day.max(1),
        counting,
        source,
    })
}

/// `xSPEED=025.000-ND` lines that recorders put into the description (common practice, no source).
fn counting_in(description: &str) -> Option<Counting> {
    let line = description
        .lines()
        .find(|line| line.to_uppercase().contains("SPEED="))?;
    let value = line.split_once('=')?.1.trim().to_uppercase();
    let (rate, flag) = value.split_once('-').unwrap_or((&value, "ND"));
    Counting::new(FrameRate::parse(rate).ok()?, flag.starts_with("DF")).ok()
}

/// One sample, or one timecode frame when every stamp falls on the start of one.
fn stamp_resolution(takes: &[Take]) -> Option<(f64, usize)> {
    let stamped: Vec<(&Take, &Stamp)> = takes
        .iter()
        .filter_map(|take| Some((take, take.stamp.as_ref()?)))
        .collect();
    let (first, stamp) = stamped.first()?;
    let on_frames = stamped.iter().all(|(take, stamp)| {
        stamp.counting.is_some_and(|counting| {
            Label::of_samples(stamp.samples, take.rate.0, counting)
                .to_samples(take.rate.0)
                .abs_diff(stamp.samples)
                <= 1
        })
    });
    let each = stamp
        .counting
        .map(|counting| counting.rate().samples_each(first.rate.0));
    match each {
        Some((num, den)) if on_frames => Some((num as f64 / den as f64, stamped.len())),
        _ => Some((1.0, stamped.len())),
    }
}

fn unit_name(card: &Path) -> String {
    let real = card.canonicalize().unwrap_or_else(|_| card.to_path_buf());
    let name = real
        .file_stem()
        .unwrap_or_default()
        .to_string_lossy()
        .trim()
        .to_uppercase();
    let name: String = name
        .chars()
        .map(|c| {
            if matches!(c, '=' | '@' | ':' | '/') {
                '-'
            } else {
                c
            }
        })
        .collect();
    if name.is_empty() { "UNIT".into() } else { name }
}

fn unique(name: &str, names: &mut HashSet<String>) -> String {
    let mut candidate = name.to_string();
    let mut number = 2;
    while !names.insert(candidate.clone()) {
        candidate = format!("{name}-{number}");
        number += 1;
    }
    candidate
}

/// Two folders that carry takes of the same name, stamp and length are one unit's recordings twice.
fn find_same_unit(units: &[Unit], findings: &mut Vec<Finding>) {
    for (i, a) in units.iter().enumerate() {
        for b in &units[i + 1..] {
            let same = a.takes.iter().filter(|x| {
                b.takes.iter().any(|y| {
                    x.name == y.name
                        && x.length == y.length
                        && x.stamp.as_ref().map(|s| s.samples)
                            == y.stamp.as_ref().map(|s| s.samples)
                        && same_digest(x, y)
                })
            });
            let same = same.count();
            if same > 0 {
                findings.push(
                    Finding::new(
                        "same-unit-twice",
                        Weight::Ask,
                        "two cards hold the same recordings",
                    )
                    .at(format!("{} and {}", a.card.display(), b.card.display()))
                    .measured(format!("{same} equal takes"), "cards of different units")
                    .because("one card was copied to two folders")
                    .then("give each unit's card once"),
                );
            }
        }
    }
}

fn same_digest(x: &Take, y: &Take) -> bool {
    let digest = |take: &Take| {
        take.parts
            .first()
            .and_then(|part| media::digest(&part.path).ok())
    };
    digest(x).is_some_and(|x| digest(y) == Some(x))
}
