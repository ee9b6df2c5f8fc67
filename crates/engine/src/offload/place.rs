//! A folder files are copied to, and a card, in; the folder of the card's copy out: what is there already, and why the
//! copy cannot be made, before anything is written.

use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};

use super::contents::{CardFile, Contents};
use super::list::{FOLDER, History, KnownFile};
use super::repair::BESIDE;
use super::verdict::of_error;
use crate::error::{Error, Kind, Result};
use crate::finding::{Finding, Weight};
use crate::media;
use crate::output::{Folder, Replace, write_bytes};

/// What FAT32 holds of a file: its size is a 32-bit number (Microsoft, FAT32 File System Specification 1.03, directory
/// entry).
const FAT_LARGEST: u64 = u32::MAX as u64;

/// How many files that cannot be copied are named one by one.
const NAMED: usize = 5;

/// The copy of a card at a place.
#[derive(Debug)]
pub(super) struct Place<'a> {
    /// The folder files keep their paths in.
    pub root: PathBuf,
    /// For each file of the card, whether one of its name and size is there.
    pub there: Vec<bool>,
    /// The hash lists that are there, those that came with the card among them.
    pub history: History,
    /// What is wrong with the lists that came with the card.
    pub brought: Vec<Finding>,
    /// What those lists know of files.
    pub known: BTreeMap<String, KnownFile>,
    /// The place itself, held.
    pub folder: &'a Folder,
}

impl<'a> Place<'a> {
    /// Looks at what is there, clears what a killed run left, and says all that stands against the copy.
    pub fn prepare(
        folder: &'a Folder,
        name: &str,
        card: &Path,
        all: &Contents,
        reserved: &mut Reserved,
    ) -> Result<Self> {
        let root = folder.path().join(name);
        refuse_links(&root, all)?;
        folder.clear_leftovers_below(Path::new(name));
        folder.clear_leftovers_below(Path::new(&format!("{name}{BESIDE}")));
        let mut there = Vec::new();
        let mut others = Vec::new();
        for file in &all.files {
            let about = fs::symlink_metadata(root.join(&file.path)).ok();
            let equal = about
                .as_ref()
                .is_some_and(|about| about.is_file() && about.len() == file.size);
            if about.is_some() && !equal {
                others.push(file);
            }
            there.push(equal);
        }
        refuse(
            &root,
            &others,
            "other files of these names are there",
            "choose another folder, or another --name for the card: nothing is ever written over",
        )?;
        refuse_large(&root, all, media::is_fat(folder.path()))?;
        refuse_names(&root, all, media::is_fat_or_exfat(folder.path()))?;
        let missing: u64 = all
            .files
            .iter()
            .zip(&there)
            .filter(|(_, there)| !**there)
            .map(|(file, _)| file.size)
            .sum();
        let others = reserved.on_the_disk_of(folder.path());
        folder.refuse_without_room(missing.saturating_add(others))?;
        reserved.0.push((folder.path().to_path_buf(), missing));
        make_folders(&root, all)?;
        let (history, brought) = take_history(card, &root)?;
        Ok(Self {
            root,
            there,
            known: history.files(),
            history,
            brought,
            folder,
        })
    }

    /// Makes new names in every folder of the copy last.
    pub fn synchronise(&self, all: &Contents) -> Result<()> {
        let inner = all.folders.iter().map(|inner| self.root.join(inner));
        for path in inner.chain([self.root.clone()]) {
            fs::File::open(&path)
                .and_then(|folder| folder.sync_all())
                .map_err(|error| {
                    Error::new(Kind::Io, "the folder cannot be synchronised")
                        .at(&path)
                        .from_source(error)
                })?;
        }
        self.folder.synchronise()
    }
}

/// Room that places of this run will need.
#[derive(Debug, Default)]
pub(super) struct Reserved(Vec<(PathBuf, u64)>);

impl Reserved {
    /// Bytes that other places on the same file system will need.
    fn on_the_disk_of(&self, folder: &Path) -> u64 {
        let same =
            |(other, _): &&(PathBuf, u64)| media::same_file_system(folder, other) == Some(true);
        self.0.iter().filter(same).map(|(_, bytes)| bytes).sum()
    }
}

/// A link in the place of a folder could lead anywhere, onto the card too.
fn refuse_links(root: &Path, all: &Contents) -> Result<()> {
    let inner = all.folders.iter().map(|inner| root.join(inner));
    let mut folders = [root.to_path_buf(), root.join(FOLDER)]
        .into_iter()
        .chain(inner);
    match folders.find(|path| path.is_symlink()) {
        Some(link) => Err(Error::new(
            Kind::Refused,
            "a link stands where a folder of the copy should be",
        )
        .at(link)
        .then("choose another place, or put a folder there")),
        None => Ok(()),
    }
}

/// Refuses a copy because of some files of the card, a few of them by name.
fn refuse(root: &Path, files: &[&CardFile], why: &str, next: &str) -> Result<()> {
    if files.is_empty() {
        return Ok(());
    }
    let mut names: Vec<String> = files
        .iter()
        .take(NAMED)
        .map(|file| file.path.display().to_string())
        .collect();
    if files.len() > NAMED {
        names.push(format!("{} more", files.len() - NAMED));
    }
    let message = format!("{why}: {}; nothing was written", names.join(", "));
    Err(Error::new(Kind::Refused, message).at(root).then(next))
}

/// Files that FAT cannot hold for their size; `fat` says whether the place has it.
fn refuse_large(root: &Path, all: &Contents, fat: bool) -> Result<()> {
    let large = all
        .files
        .iter()
        .filter(|file| fat && file.size > FAT_LARGEST);
    refuse(
        root,
        &large.collect::<Vec<_>>(),
        "this place holds no files of 4 GiB",
        "copy to a medium with another file system; do not split the recordings themselves",
    )
}

/// Names with these characters, or that end with a blank or a dot, are none on FAT and exFAT (Microsoft, exFAT file system
/// specification, 7.7.3, and FAT32 File System Specification 1.03, long names; the ends from memory).
fn refuse_names(root: &Path, all: &Contents, fat: bool) -> Result<()> {
    let is_bad = |name: &OsStr| {
        let name = name.to_string_lossy();
        let forbidden = |c: char| c.is_control() || r#""*/:<>?\|"#.contains(c);
        name.contains(forbidden) || name.ends_with([' ', '.'])
    };
    let bad = all
        .files
        .iter()
        .filter(|file| fat && file.path.iter().any(is_bad));
    refuse(
        root,
        &bad.collect::<Vec<_>>(),
        "this place takes no such names",
        "copy to a medium with another file system; do not rename files on the card",
    )
}

fn make_folders(root: &Path, all: &Contents) -> Result<()> {
    let inner = all.folders.iter().map(|inner| root.join(inner));
    for path in [root.to_path_buf()].into_iter().chain(inner) {
        fs::create_dir_all(&path).map_err(|error| {
            Error::new(Kind::Io, "the folder cannot be made")
                .at(&path)
                .then("check that the place may be written to")
                .from_source(error)
        })?;
    }
    Ok(())
}

/// The history that is there, after that of the card was taken over, and what is wrong with that one.
fn take_history(card: &Path, root: &Path) -> Result<(History, Vec<Finding>)> {
    // lists that are damaged must not keep the recordings from being copied
    let (from, mut brought) = match History::load(card) {
        Ok(history) if history.is_sound() => (Some(history), Vec::new()),
        Ok(history) => (None, history.findings),
        Err(error) => (None, vec![of_error("card-lists-damaged", &error)]),
    };
    if from.is_some() && History::is_in(card) && !History::has_chain(root) {
        take_lists(card, root)?;
    }
    let history = History::load(root)?;
    if from.is_some_and(|from| !history.holds(&from)) {
        brought.push(
            Finding::new(
                "card-lists-differ",
                Weight::Ask,
                "the card brings hash lists that the lists of its copy do not go on from",
            )
            .at(card.join(FOLDER).display().to_string())
            .because("the card's lists and the copy's went separate ways")
            .then("copy the card to another place, or under another --name"),
        );
    }
    Ok((history, brought))
}

/// Copies the lists of a card that are not there yet, the chain last.
fn take_lists(card: &Path, root: &Path) -> Result<()> {
    let from = card.join(FOLDER);
    let entries = fs::read_dir(&from).map_err(|error| media::unreadable(&from, error))?;
    let mut files: Vec<PathBuf> = entries.flatten().map(|entry| entry.path()).collect();
    files.retain(|path| {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        path.is_file() && !name.starts_with('.')
    });
    // without the chain nothing looks finished
    files.sort_by_key(|path| path.extension().is_none_or(|ending| ending != "mhl"));
    for path in &files {
        let to = root.join(FOLDER).join(path.file_name().unwrap_or_default());
        let bytes = fs::read(path).map_err(|error| media::unreadable(path, error))?;
        // what a killed run copied is there
        if fs::read(&to).is_ok_and(|there| there == bytes) {
            continue;
        }
        write_bytes(&to, &bytes, Replace::No)?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_that_fat_does_not_take_are_refused_before_anything_is_written() {
        let with = |name: &str, fat| {
            let all = Contents {
                files: vec![CardFile {
                    path: name.into(),
                    size: 1,
                    modified: None,
                }],
                ..Contents::default()
            };
            refuse_names(Path::new("place"), &all, fat)
        };
        for name in [
            "a:b.wav",
            "x?/T01.WAV",
            "end. /T01.WAV",
            "T01.WAV.",
            "a|b",
            "\"q\".wav",
        ] {
            assert!(with(name, false).is_ok());
            let error = with(name, true).expect_err("refused");
            assert!(error.to_string().contains("no such names"), "{error}");
        }
        assert!(with("DAY 1/T\u{e9} 01.WAV", true).is_ok());
    }

    /// FAT32 holds 4294967295 bytes in a file, header included (Microsoft, FAT32 File System Specification 1.03).
    #[test]
    fn fat_refuses_what_it_cannot_hold_before_anything_is_written() {
        let file = |size| CardFile {
            path: "T01.WAV".into(),
            size,
            modified: None,
        };
        let with = |size, fat| {
            let all = Contents {
                files: vec![file(size)],
                ..Contents::default()
            };
            refuse_large(Path::new("place"), &all, fat)
        };
        assert!(with(4_294_967_295, true).is_ok());
        assert!(with(4_294_967_296, false).is_ok());
        let error = with(4_294_967_296, true).expect_err("refused");
        assert_eq!(error.kind(), Kind::Refused);
        assert!(error.to_string().contains("T01.WAV"), "{error}");
    }
}
