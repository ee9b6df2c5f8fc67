//! A card in, everything on it out: files with their sizes and times, folders that are empty, and what is not copied.

use std::fs::{self, DirEntry};
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use crate::error::{Error, Kind, Result};
use crate::media::{self, natural_key};

/// How deep folders are followed; beyond, a card is told to be not copied whole.
pub(super) const DEPTH: usize = 64;

/// A file to be copied.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(super) struct CardFile {
    /// Its path on the card.
    pub path: PathBuf,
    /// Bytes.
    pub size: u64,
    /// When it was last changed.
    pub modified: Option<SystemTime>,
}

/// Everything on a card; paths are relative to it.
#[derive(Debug, Clone, Default)]
pub(super) struct Contents {
    /// What is copied, in natural order.
    pub files: Vec<CardFile>,
    /// Folders, the empty ones too.
    pub folders: Vec<PathBuf>,
    /// Hidden files and what systems leave on cards: not copied unless asked for.
    pub rubbish: Vec<PathBuf>,
    /// How many wave files are among what is hidden and was not put there by a system.
    pub hidden_recordings: usize,
    /// What cannot be copied, with the reason.
    pub missed: Vec<(PathBuf, String)>,
}

impl Contents {
    /// Bytes of all files.
    pub fn bytes(&self) -> u64 {
        self.files.iter().map(|file| file.size).sum()
    }
}

/// Lists a card; `everything` takes the rubbish too.
pub(super) fn contents(card: &Path, everything: bool) -> Result<Contents> {
    let mut all = Contents::default();
    let entries = fs::read_dir(card).map_err(|error| {
        Error::new(Kind::Io, "cannot be listed")
            .at(card)
            .then("check that the card is mounted and that it is a folder")
            .from_source(error)
    })?;
    walk(entries, Path::new(""), DEPTH, everything, &mut all);
    all.files
        .sort_by_cached_key(|file| (natural_key(&file.path.to_string_lossy()), file.path.clone()));
    all.folders.sort();
    all.rubbish.sort();
    all.missed.sort();
    Ok(all)
}

fn walk(entries: fs::ReadDir, inside: &Path, depth: usize, everything: bool, all: &mut Contents) {
    for entry in entries {
        let entry = match entry {
            Ok(entry) => entry,
            Err(error) => {
                all.missed.push((inside.to_path_buf(), error.to_string()));
                continue;
            }
        };
        let path = inside.join(entry.file_name());
        if let Err(why) = take(&entry, path.clone(), depth, everything, all) {
            all.missed.push((path, why));
        }
    }
}

fn take(
    entry: &DirEntry,
    path: PathBuf,
    depth: usize,
    everything: bool,
    all: &mut Contents,
) -> std::result::Result<(), String> {
    let words = |error: std::io::Error| error.to_string();
    let kind = entry.file_type().map_err(words)?;
    let name = entry.file_name();
    let shown = name.to_string_lossy();
    // units have folders of this name for takes that were deleted on them
    let deleted = shown.eq_ignore_ascii_case("trash");
    if media::is_rubbish(&shown, kind.is_dir()) && !deleted && !everything {
        if !media::is_of_system(&shown) {
            count_recordings(&entry.path(), depth, &mut all.hidden_recordings);
        }
        all.rubbish.push(path);
    } else if kind.is_dir() {
        let depth = depth
            .checked_sub(1)
            .ok_or_else(|| format!("more than {DEPTH} folders deep"))?;
        let inner = fs::read_dir(entry.path()).map_err(words)?;
        all.folders.push(path.clone());
        walk(inner, &path, depth, everything, all);
    } else if kind.is_file() {
        let about = entry.metadata().map_err(words)?;
        all.files.push(CardFile {
            path,
            size: about.len(),
            modified: about.modified().ok(),
        });
    } else {
        let what = if kind.is_symlink() {
            "a link"
        } else {
            "no file"
        };
        return Err(what.into());
    }
    Ok(())
}

/// Counts wave files, twins that other systems make of them left aside.
fn count_recordings(path: &Path, depth: usize, count: &mut usize) {
    if path.is_dir() && !path.is_symlink() {
        let Some(depth) = depth.checked_sub(1) else {
            return;
        };
        for entry in fs::read_dir(path).into_iter().flatten().flatten() {
            count_recordings(&entry.path(), depth, count);
        }
    } else {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        *count += usize::from(media::is_wave(path) && !name.starts_with("._"));
    }
}
