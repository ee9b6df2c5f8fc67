//! A card in, everything on it out: files with their sizes and times, folders that are empty, and what is not copied.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use super::list::FOLDER;
use crate::error::{Error, Kind, Result};
use crate::media::{self, Met, natural_key};

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

/// Everything on a card but hash lists of its own; paths are relative to it.
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
    media::walk(card, &mut |path, met| all.take(card, path, met, everything)).map_err(|error| {
        Error::new(Kind::Io, "cannot be listed")
            .at(card)
            .then("check that the card is mounted and that it is a folder")
            .from_source(error)
    })?;
    all.files
        .sort_by_cached_key(|file| (natural_key(&file.path.to_string_lossy()), file.path.clone()));
    all.folders.sort();
    all.rubbish.sort();
    all.missed.sort();
    Ok(all)
}

impl Contents {
    /// Puts what a walk meets where it belongs; says whether a folder is entered.
    fn take(&mut self, card: &Path, whole: &Path, met: &Met, everything: bool) -> bool {
        let path = whole.strip_prefix(card).unwrap_or(whole).to_path_buf();
        let name = whole.file_name().unwrap_or_default().to_string_lossy();
        // units have folders of this name for takes that were deleted on them
        let deleted = name.eq_ignore_ascii_case("trash");
        let rubbish = media::is_rubbish(&name, *met == Met::Folder) && !deleted;
        match met {
            Met::Failed(why) => self.missed.push((path, why.clone())),
            _ if rubbish && !everything => {
                if !media::is_of_system(&name) {
                    self.hidden_recordings += recordings(whole);
                }
                self.rubbish.push(path);
            }
            // a history of the card's own is taken over as one, not file by file
            Met::Folder if path == Path::new(FOLDER) => {}
            Met::Folder => {
                self.folders.push(path);
                return true;
            }
            Met::File => match fs::symlink_metadata(whole) {
                Ok(about) => self.files.push(CardFile {
                    path,
                    size: about.len(),
                    modified: about.modified().ok(),
                }),
                Err(error) => self.missed.push((path, error.to_string())),
            },
            Met::Link => self.missed.push((path, "a link".into())),
            Met::Other => self.missed.push((path, "no file".into())),
        }
        false
    }
}

/// How many wave files a file or folder is or holds, twins that other systems make of them left aside.
fn recordings(path: &Path) -> usize {
    let is_recording = |path: &Path| {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        media::is_wave(path) && !name.starts_with("._")
    };
    let mut count = usize::from(path.is_file() && is_recording(path));
    // what is no folder, or cannot be looked into, holds none that could be counted
    let _ = media::walk(path, &mut |path, met| {
        count += usize::from(*met == Met::File && is_recording(path));
        true
    });
    count
}
