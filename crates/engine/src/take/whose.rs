//! Takes by card in, takes by unit out: one folder is one unit unless serial numbers, or takes that ran at the same time,
//! say otherwise; several cards of one unit are one unit.

use std::collections::{BTreeMap, HashMap};
use std::path::{Path, PathBuf};

use super::learn::{stamp_resolution, timecode_of};
use super::{Take, Unit};
use crate::finding::{Finding, Weight};
use crate::media;

/// Takes of one unit that run together for longer than this are not of one unit, seconds.
const TOGETHER_S: f64 = 1.0;
/// The part of a reference number that is the same for all recordings of a unit: country, facility and serial number
/// (EBU R 99).
const UNIT_REFERENCE: std::ops::Range<usize> = 0..17;

/// The units whose takes lie on one card; their names come later.
pub(super) fn apart(card: &Path, takes: Vec<Take>, findings: &mut Vec<Finding>) -> Vec<Unit> {
    let one = |card: PathBuf, takes: Vec<Take>| Unit {
        name: String::new(),
        stamp_resolution: stamp_resolution(&takes),
        timecode: timecode_of(&takes),
        cards: vec![card],
        takes,
    };
    let Some((groups, because)) = groups(card, &takes) else {
        return vec![one(card.to_path_buf(), takes)];
    };
    let mut by_group: BTreeMap<String, Vec<Take>> = BTreeMap::new();
    for (take, group) in takes.into_iter().zip(groups) {
        by_group.entry(group).or_default().push(take);
    }
    findings.push(
        Finding::new(
            "several-units-one-card",
            Weight::Note,
            "this folder holds recordings of several units; each was taken by itself",
        )
        .at(card.display().to_string())
        .measured(
            format!("{} units by {because}", by_group.len()),
            "one unit a folder",
        )
        .then("give each unit's card as a folder of its own, if this is wrong"),
    );
    by_group
        .into_values()
        .map(|takes| one(common_folder(card, &takes), takes))
        .collect()
}

/// The group of each take of one card, and what tells them apart; `None` when they are of one unit.
fn groups(card: &Path, takes: &[Take]) -> Option<(Vec<String>, &'static str)> {
    let several = |groups: &[String]| groups.windows(2).any(|pair| pair[0] != pair[1]);
    let serials: Option<Vec<String>> = takes
        .iter()
        .map(|take| serial(take).map(String::from))
        .collect();
    if let Some(serials) = serials {
        return several(&serials).then_some((serials, "their serial numbers"));
    }
    let folders: Vec<String> = takes.iter().map(|take| folder_on(card, take)).collect();
    let takes: Vec<&Take> = takes.iter().collect();
    // folders tell them apart only when each by itself could be of one unit
    let in_one = |x: usize, y: usize| folders[x] == folders[y];
    let apart =
        several(&folders) && any_together(&takes, |_, _| true) && !any_together(&takes, in_one);
    apart.then_some((
        folders,
        "takes that ran at the same time in different folders",
    ))
}

/// The first folder inside the card that a take lies in.
fn folder_on(card: &Path, take: &Take) -> String {
    let inside = take.parts[0].path.strip_prefix(card).ok();
    let first = inside.and_then(|inside| {
        let folder = inside.parent()?;
        folder.components().next()
    });
    first.map_or(String::new(), |first| {
        first.as_os_str().to_string_lossy().into_owned()
    })
}

/// The deepest folder that holds all takes.
fn common_folder(card: &Path, takes: &[Take]) -> PathBuf {
    let folders = takes.iter().flat_map(|take| &take.parts);
    let mut folders = folders.filter_map(|part| part.path.parent());
    let Some(first) = folders.next() else {
        return card.to_path_buf();
    };
    let mut common = first.to_path_buf();
    for folder in folders {
        while !folder.starts_with(&common) && common.pop() {}
    }
    match common.starts_with(card) {
        true => common,
        false => card.to_path_buf(),
    }
}

/// The part of a take's reference number that is its unit's, if it is written as EBU R 99 has it: 32 characters, the time of
/// day behind the serial number, nine digits at the end.
fn serial(take: &Take) -> Option<&str> {
    let reference = &take.notes.reference;
    let time: u32 = reference.get(17..23)?.parse().ok()?;
    let plausible = time / 10_000 < 24 && time / 100 % 100 < 60 && time % 100 < 60;
    let digits = reference
        .get(23..)?
        .bytes()
        .all(|byte| byte.is_ascii_digit());
    let as_written = reference.len() == 32 && plausible && digits;
    reference.get(UNIT_REFERENCE).filter(|_| as_written)
}

/// Whether two takes ran at the same time, among the pairs that are asked for by their places in the list.
fn any_together(takes: &[&Take], asked: impl Fn(usize, usize) -> bool) -> bool {
    let mut order: Vec<usize> = (0..takes.len())
        .filter(|&index| takes[index].stamp.is_some())
        .collect();
    let start = |index: &usize| takes[*index].stamp_seconds().unwrap_or(0.0);
    order.sort_by(|a, b| start(a).total_cmp(&start(b)));
    let mut open: Vec<usize> = Vec::new();
    for index in order {
        let now = start(&index);
        open.retain(|before| start(before) + takes[*before].seconds() > now);
        let mut others = open.iter().filter(|&&before| asked(before, index));
        if others.any(|&before| run_together(takes[before], takes[index])) {
            return true;
        }
        open.push(index);
    }
    false
}

/// Puts cards of one unit together: the same serial number on all takes, and no two of them at the same time.
pub(super) fn together(units: Vec<Unit>, findings: &mut Vec<Finding>) -> Vec<Unit> {
    let mut whole: Vec<Unit> = Vec::new();
    for unit in units {
        let found = whole
            .iter()
            .enumerate()
            .find_map(|(index, earlier)| Some((index, one_serial(earlier, &unit)?.to_string())));
        let Some((index, reference)) = found else {
            whole.push(unit);
            continue;
        };
        let earlier = &mut whole[index];
        findings.push(
            Finding::new(
                "same-unit-two-cards",
                Weight::Note,
                "two cards are of one unit and were read as one",
            )
            .at(format!(
                "{} and {}",
                earlier.cards[0].display(),
                unit.cards[0].display()
            ))
            .measured(
                format!("both are of {reference}"),
                "cards of different units",
            )
            .because("the unit's card was changed during the shoot"),
        );
        earlier.cards.extend(unit.cards);
        earlier.takes.extend(unit.takes);
        earlier.takes.sort_by_cached_key(super::scan::order);
        earlier.stamp_resolution = stamp_resolution(&earlier.takes);
        earlier.timecode = timecode_of(&earlier.takes);
    }
    whole
}

/// The serial part of the reference numbers when all takes of both units have one and the same, none of them lies on both
/// cards, and no two of them ran together.
fn one_serial<'a>(a: &'a Unit, b: &Unit) -> Option<&'a str> {
    let first = serial(a.takes.first()?)?;
    let all = |unit: &Unit| unit.takes.iter().all(|take| serial(take) == Some(first));
    let takes: Vec<&Take> = a.takes.iter().chain(&b.takes).collect();
    let of_both = |x: usize, y: usize| (x < a.takes.len()) != (y < a.takes.len());
    let one = all(a) && all(b) && !b.takes.is_empty() && equal_takes(a, b) == 0;
    (one && !any_together(&takes, of_both)).then_some(first)
}

/// One unit cannot record two takes at once.
pub(super) fn find_two_in_one(unit: &Unit, findings: &mut Vec<Finding>) {
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

/// One card twice.
pub(super) fn find_same_unit(units: &[Unit], findings: &mut Vec<Finding>) {
    for (i, a) in units.iter().enumerate() {
        for b in &units[i + 1..] {
            let same = equal_takes(a, b);
            if same > 0 {
                findings.push(
                    Finding::new(
                        "same-unit-twice",
                        Weight::Ask,
                        "two cards hold the same recordings",
                    )
                    .at(format!(
                        "{} and {}",
                        a.cards[0].display(),
                        b.cards[0].display()
                    ))
                    .measured(format!("{same} equal takes"), "cards of different units")
                    .because("one card was copied to two folders")
                    .then("give each unit's card once"),
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
