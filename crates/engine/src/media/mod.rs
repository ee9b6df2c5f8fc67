//! The only door to the disk: folders listed, files opened for reading, never for writing.

use std::fs::{self, File};
use std::hash::Hasher;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use twox_hash::XxHash3_64;
use wave::{ReadAt, read_exact_at};

use crate::error::{Error, Kind, Result};

/// How much of a file's head and tail goes into its digest, bytes.
const DIGEST_BYTES: u64 = 64 << 10;
/// How deep folders on a card are followed.
const DEPTH: usize = 8;

/// What lies on a card.
#[derive(Debug, Clone, Default)]
pub struct Listing {
    /// Files that claim to be wave files, in natural order (2 before 10).
    pub waves: Vec<PathBuf>,
    /// Other files that carry sound in a form that is not used here.
    pub other_sound: Vec<PathBuf>,
    /// Hidden files, twins of other systems, and folders of rubbish: passed over.
    pub junk: Vec<PathBuf>,
}

/// Lists a card: a folder with all its folders, or one file.
///
/// # Errors
/// When the card does not exist or cannot be listed.
pub fn list(card: &Path) -> Result<Listing> {
    let about = fs::metadata(card).map_err(|error| {
        Error::new(Kind::Io, "cannot be read")
            .at(card)
            .then("check that the card is mounted and the path is right")
            .from_source(error)
    })?;
    let mut listing = Listing::default();
    if about.is_file() {
        listing.waves.push(card.to_path_buf());
        return Ok(listing);
    }
    walk(card, DEPTH, &mut listing)?;
    for list in [
        &mut listing.waves,
        &mut listing.other_sound,
        &mut listing.junk,
    ] {
        list.sort_by_cached_key(|path| natural_key(&path.to_string_lossy()));
    }
    Ok(listing)
}

fn walk(folder: &Path, depth: usize, listing: &mut Listing) -> Result<()> {
    let entries = fs::read_dir(folder).map_err(|error| {
        Error::new(Kind::Io, "cannot list this folder")
            .at(folder)
            .from_source(error)
    })?;
    for entry in entries {
        let entry = entry.map_err(|error| {
            Error::new(Kind::Io, "cannot list this folder")
                .at(folder)
                .from_source(error)
        })?;
        let path = entry.path();
        let name = entry.file_name().to_string_lossy().to_lowercase();
        let is_folder = entry.file_type().is_ok_and(|kind| kind.is_dir());
        if name.starts_with('.') || name.contains("trash") || name.starts_with('$') {
            listing.junk.push(path);
        } else if is_folder {
            if depth > 0 {
                walk(&path, depth - 1, listing)?;
            }
        } else {
            match name.rsplit_once('.').map(|(_, ending)| ending) {
                Some("wav" | "wave" | "bwf" | "rf64" | "bw64") => listing.waves.push(path),
                Some("aif" | "aiff" | "flac" | "mp3" | "m4a" | "ogg" | "opus" | "w64" | "caf") => {
                    listing.other_sound.push(path);
                }
                _ => {}
            }
        }
    }
    Ok(())
}

/// A key that sorts numbers within names by their value.
#[must_use]
pub fn natural_key(name: &str) -> Vec<(String, u64)> {
    let mut key = Vec::new();
    let mut rest = name;
    while !rest.is_empty() {
        let digits = rest
            .find(|c: char| c.is_ascii_digit())
            .unwrap_or(rest.len());
        let (text, after) = rest.split_at(digits);
        let end = after
            .find(|c: char| !c.is_ascii_digit())
            .unwrap_or(after.len());
        let (number, next) = after.split_at(end);
        key.push((text.to_lowercase(), number.parse().unwrap_or(u64::MAX)));
        rest = next;
    }
    key
}

/// Opens a file for reading from any place by any number of threads.
///
/// # Errors
/// When it cannot be opened.
pub fn open(path: &Path) -> Result<Arc<File>> {
    File::open(path).map(Arc::new).map_err(|error| {
        Error::new(Kind::Io, "cannot be opened")
            .at(path)
            .from_source(error)
    })
}

/// `xxh3:` and 16 hexadecimal digits over the size (eight bytes, little-endian), the first and the last 64 KiB: enough to
/// notice that a file is not the one that was measured.
///
/// # Errors
/// When the file cannot be read.
pub fn digest(path: &Path) -> Result<String> {
    let file = open(path)?;
    let failed = |error| {
        Error::new(Kind::Io, "cannot be read")
            .at(path)
            .from_source(error)
    };
    let size = file.size().map_err(failed)?;
    let part = size.min(DIGEST_BYTES);
    let mut bytes = vec![0; part as usize];
    let mut hasher = XxHash3_64::with_seed(0);
    hasher.write(&size.to_le_bytes());
    for start in [0, size - part] {
        read_exact_at(&file, &mut bytes, start).map_err(failed)?;
        hasher.write(&bytes);
    }
    Ok(format!("xxh3:{:016x}", hasher.finish()))
}

/// Whether `place`, which need not exist yet, lies inside `folder`, links followed.
#[must_use]
pub fn is_inside(folder: &Path, place: &Path) -> bool {
    let Ok(folder) = folder.canonicalize() else {
        return false;
    };
    let full = std::path::absolute(place).unwrap_or_else(|_| place.to_path_buf());
    let existing = full.ancestors().find_map(|ancestor| {
        let real = ancestor.canonicalize().ok()?;
        Some(real.join(full.strip_prefix(ancestor).ok()?))
    });
    existing.unwrap_or(full).starts_with(folder)
}

/// Free bytes where `folder` lies; `None` when the system does not tell.
#[must_use]
pub fn free_bytes(folder: &Path) -> Option<u64> {
    #[cfg(unix)]
    {
        let about = rustix::fs::statvfs(folder).ok()?;
        Some(about.f_bavail.saturating_mul(about.f_frsize))
    }
    #[cfg(not(unix))]
    {
        let _ = folder;
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ten_comes_after_two() {
        let mut names = ["T_10.wav", "T_2.wav", "t_1.wav"];
        names.sort_by_cached_key(|name| natural_key(name));
        assert_eq!(names, ["t_1.wav", "T_2.wav", "T_10.wav"]);
    }

    #[test]
    fn a_place_that_does_not_exist_yet_can_lie_inside() {
        let folder = tempfile::tempdir().expect("temporary folder");
        assert!(is_inside(folder.path(), &folder.path().join("out/deep")));
        assert!(!is_inside(&folder.path().join("out"), folder.path()));
    }
}
