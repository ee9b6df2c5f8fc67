//! Cards in, verified copies with hash lists out; and copies in, what became of them since out. Cards are only read.
//! Copies are never written over: what is there and equal counts as copied, what is there and differs is left alone.

mod block;
mod back;
mod contents;
mod hash;
mod list;
mod put;
mod copy;
mod place;
mod record;
mod repair;
mod verdict;
mod verify;

use std::collections::HashSet;
use std::path::{Path, PathBuf};

use jiff::Timestamp;
use serde::Serialize;

use crate::error::{Error, Kind, Result};
use crate::finding::{Finding, Weight};
use crate::media;
use crate::output::Folder;
pub use crate::output::ReadBack;
use crate::progress::Progress;
use crate::take::refuse_nested as refuse_nested_cards;

pub use hash::{Hash, HashKind, Hasher};
pub use list::{
    Action, ChainLink, FolderHashes, HashList, History, KnownFile, ListedFile, ListedFolder,
    ListedHash, Process, Reference,
};
pub use verdict::Release;
pub use verify::{Scope, Verified, verify};

use contents::{Contents, contents};
use copy::{Copied, Job, copy};
use place::{Place, Reserved};
use verdict::Trouble;

/// What to copy, and where to.
#[derive(Debug, Clone)]
pub struct OffloadOptions {
    /// The cards: folders.
    pub cards: Vec<PathBuf>,
    /// What the cards are called at the places, in their order; empty: as their folders.
    pub names: Vec<String>,
    /// The places: folders, made when they are not there; each card gets a folder of its own in each.
    pub to: Vec<PathBuf>,
    /// Whether hidden files and what systems leave on cards are copied too.
    pub everything: bool,
    /// The kind of hash that lists are written with.
    pub kind: HashKind,
    /// Whether recordings that were never closed get a repaired copy beside the card's.
    pub repair: bool,
}

/// What came of it.
#[derive(Debug, Clone, Serialize)]
pub struct Offloaded {
    /// One entry a card, in their order.
    pub cards: Vec<OffloadedCard>,
    /// What a person should know.
    pub findings: Vec<Finding>,
    /// The gravest class of failure there was.
    #[serde(skip)]
    pub failed: Option<Kind>,
}

/// What came of a card.
#[derive(Debug, Clone, Serialize)]
pub struct OffloadedCard {
    /// What it is called at the places.
    pub name: String,
    /// Where it is.
    #[serde(serialize_with = "crate::media::as_text::path")]
    pub card: PathBuf,
    /// Files on it, those left out not counted.
    pub files: usize,
    /// Their bytes.
    pub bytes: u64,
    /// Hidden files and what systems leave on cards, relative to the card: not copied.
    #[serde(serialize_with = "crate::media::as_text::paths")]
    pub left_out: Vec<PathBuf>,
    /// One entry a place, in their order.
    pub copies: Vec<CopyAt>,
    /// Whether the card may be used for something else.
    pub release: Release,
}

/// A copy of a card.
#[derive(Debug, Clone, Serialize)]
pub struct CopyAt {
    /// The folder it is in.
    #[serde(serialize_with = "crate::media::as_text::path")]
    pub folder: PathBuf,
    /// Files that were copied now and found equal when they were read back.
    pub copied: usize,
    /// Files that were there before and are equal.
    pub was_there: usize,
    /// Whether every file of the card is there, verified, and on a hash list.
    pub complete: bool,
    /// How far reading back went, at the file where it went least far.
    pub read_back: Option<ReadBack>,
    /// The hash list that was written.
    #[serde(serialize_with = "crate::media::as_text::some_path")]
    pub list: Option<PathBuf>,
    /// Repaired copies of recordings that were never closed, in a folder beside.
    #[serde(serialize_with = "crate::media::as_text::paths")]
    pub repaired: Vec<PathBuf>,
}

/// Copies cards to places, reading each file once, verifies every copy and writes hash lists.
///
/// # Errors
/// [`Kind::Usage`] when cards and places make no sense together, [`Kind::Refused`] when another run writes to a place,
/// [`Kind::Io`] when a card cannot be listed or no place can be used. What fails for a file or for one place of several
/// is among the findings.
pub fn offload(options: &OffloadOptions, progress: &dyn Progress) -> Result<Offloaded> {
    refuse_nested(options)?;
    let names = names_of(options)?;
    let mut trouble = Trouble::default();
    let mut folders = Vec::new();
    for to in &options.to {
        match Folder::hold(to) {
            Ok(folder) => folders.push(folder),
            Err(error) if error.kind() == Kind::Refused || options.to.len() == 1 => {
                return Err(error);
            }
            Err(error) => trouble.add("place-unusable", error),
        }
    }
    if folders.is_empty() {
        return Err(Error::new(Kind::Io, "no place can be written to")
            .then("check that the media are there and may be written to"));
    }
    // all cards are looked at before any is copied: what makes no sense is said at once
    let listed: Vec<Contents> = options
        .cards
        .iter()
        .map(|card| contents(card, options.everything))
        .collect::<Result<_>>()?;
    let mut cards = Vec::new();
    for ((card, name), all) in options.cards.iter().zip(names).zip(listed) {
        cards.push(one_card(
            options,
            card,
            name,
            &all,
            &folders,
            &mut trouble,
            progress,
        ));
    }
    let (findings, failed) = trouble.told();
    Ok(Offloaded {
        cards,
        findings,
        failed,
    })
}

/// The names of the cards: unique, and names of folders.
fn names_of(options: &OffloadOptions) -> Result<Vec<String>> {
    let usage = |message: String| Error::new(Kind::Usage, message);
    if !options.names.is_empty() && options.names.len() != options.cards.len() {
        let message = format!(
            "{} names for {} cards",
            options.names.len(),
            options.cards.len()
        );
        return Err(usage(message).then("give one --name a card, in the order of the cards"));
    }
    let mut names = Vec::new();
    for (index, card) in options.cards.iter().enumerate() {
        let name = match options.names.get(index) {
            Some(name) => name.clone(),
            None => {
                let real = card.canonicalize().unwrap_or_else(|_| card.clone());
                let name = real
                    .file_name()
                    .map(|name| name.to_string_lossy().into_owned());
                name.unwrap_or_default()
            }
        };
        let plain = Path::new(&name).components().count() == 1 && !name.contains(['/', '\\']);
        if !plain || name.starts_with('.') {
            return Err(usage(format!("\"{name}\" is no name for a folder"))
                .at(card)
                .then("say what the card is called with --name"));
        }
        names.push(name);
    }
    if options.repair
        && let Some(name) = names.iter().find(|name| name.ends_with(repair::BESIDE))
    {
        return Err(usage(format!(
            "{name} is what repaired recordings of another card would be called"
        ))
        .then("say what the card is called with --name"));
    }
    let mut seen = HashSet::new();
    if let Some(twice) = names.iter().find(|name| !seen.insert(name.to_lowercase())) {
        return Err(usage(format!("two cards are called {twice}"))
            .then("say what each card is called with --name, once a card"));
    }
    Ok(names)
}

fn refuse_nested(options: &OffloadOptions) -> Result<()> {
    refuse_nested_cards(&options.cards)?;
    if options.to.is_empty() {
        return Err(Error::new(Kind::Usage, "no place to copy to was given"));
    }
    let same = |a: &PathBuf, b: &PathBuf| media::is_inside(a, b) && media::is_inside(b, a);
    for (index, path) in options.to.iter().enumerate() {
        let mut earlier = options.to[..index].iter();
        if earlier.any(|other| same(other, path) || other == path) {
            return Err(Error::new(Kind::Usage, "the same place was given twice").at(path));
        }
    }
    for card in &options.cards {
        if card.is_file() {
            return Err(Error::new(Kind::Usage, "is a file; a card is a folder").at(card));
        }
        for to in &options.to {
            if media::is_inside(card, to) {
                return Err(
                    Error::new(Kind::Usage, "lies on the card that is to be copied")
                        .at(to)
                        .then("choose a folder outside the cards: nothing is written to a card"),
                );
            }
            if media::is_inside(to, card) {
                return Err(
                    Error::new(Kind::Usage, "lies in the place it is to be copied to")
                        .at(card)
                        .then("choose another place"),
                );
            }
        }
    }
    Ok(())
}

/// Copies one card to every place that can take it.
fn one_card(
    options: &OffloadOptions,
    card: &Path,
    name: String,
    all: &Contents,
    folders: &[Folder],
    trouble: &mut Trouble,
    progress: &dyn Progress,
) -> OffloadedCard {
    trouble.card(card, all);
    let now = Timestamp::now();
    let mut reserved = Reserved::default();
    let mut places = Vec::new();
    for folder in folders {
        match Place::prepare(folder, &name, card, all, &mut reserved) {
            Ok(place) => places.push(place),
            Err(error) => trouble.add("place-refused", error),
        }
    }
    let jobs: Vec<Job<'_>> = all
        .files
        .iter()
        .enumerate()
        .map(|(index, file)| Job {
            file,
            kinds: record::kinds(options.kind, file, &places),
            there: places.iter().map(|place| place.there[index]).collect(),
        })
        .collect();
    let results = match places.is_empty() {
        true => Vec::new(),
        false => {
            let amount = all.bytes().saturating_mul(1 + places.len() as u64);
            progress.stage(&format!("copying {name}"), amount);
            let roots: Vec<PathBuf> = places.iter().map(|place| place.root.clone()).collect();
            copy(card, &jobs, &roots, progress)
        }
    };
    let mut copies = Vec::new();
    for (index, place) in places.iter().enumerate() {
        let copied = CopiedCard {
            all,
            jobs: &jobs,
            results: &results,
            began: now,
        };
        copies.push(one_copy(options, &copied, (index, place), trouble));
    }
    trouble.files(card, results, &places);
    trouble.looked_again(card, all, contents(card, options.everything));
    let release = verdict::release(card, all, &copies, options.to.len(), trouble);
    trouble.next_card();
    OffloadedCard {
        name,
        card: card.to_path_buf(),
        files: all.files.len(),
        bytes: all.bytes(),
        left_out: all.rubbish.clone(),
        copies,
        release,
    }
}

/// A card and what became of its files.
struct CopiedCard<'a> {
    all: &'a Contents,
    jobs: &'a [Job<'a>],
    results: &'a [Copied],
    began: Timestamp,
}

/// Counts what one place holds and writes its list, when it holds everything.
fn one_copy(
    options: &OffloadOptions,
    &CopiedCard {
        all,
        jobs,
        results,
        began,
    }: &CopiedCard<'_>,
    (index, place): (usize, &Place<'_>),
    trouble: &mut Trouble,
) -> CopyAt {
    let kept: Vec<_> = results
        .iter()
        .filter(|copied| matches!(copied.read, Ok(Some(_))))
        .filter_map(|copied| copied.places.get(index)?.as_ref().ok()?.as_ref())
        .collect();
    let was_there = kept.iter().filter(|kept| kept.was_there).count();
    let mut copy = CopyAt {
        folder: place.root.clone(),
        copied: kept.len() - was_there,
        was_there,
        complete: false,
        // what lies in memory has no other medium to ask
        read_back: match media::is_memory(&place.root) {
            true => Some(ReadBack::Cached).filter(|_| !kept.is_empty()),
            false => kept.iter().map(|kept| kept.how).max(),
        },
        list: None,
        repaired: Vec::new(),
    };
    trouble.brought(&place.brought);
    if kept.len() < jobs.len()
        || jobs.is_empty()
        || !all.missed.is_empty()
        || !place.history.is_sound()
    {
        return copy;
    }
    match record::record(options.kind, place, all, jobs, results, began) {
        Ok((list, changed)) => {
            copy.complete = changed.is_empty();
            copy.list = Some(list);
            trouble.changed(place, changed);
        }
        Err(error) => trouble.add("list-unwritten", error),
    }
    if options.repair {
        copy.repaired = repair::repair(&place.root, all, trouble);
    }
    if copy.read_back == Some(ReadBack::Cached) {
        trouble.finding(
            Finding::new(
                "read-from-memory",
                Weight::Warn,
                "copies here could be read back only through the system's memory, not surely from the medium",
            )
            .at(place.root.display().to_string())
            .because("this place does not let its cache be passed")
            .then("disconnect and connect the medium, then run `commontime verify` on it"),
        );
    }
    copy
}
