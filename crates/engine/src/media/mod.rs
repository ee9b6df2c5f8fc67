//! The only door to the disk: folders listed, files opened for reading, never for writing.

pub(crate) mod as_text;
mod sniff;
mod walk;

use std::fs::{self, File};
use std::hash::Hasher;
use std::path::{Component, Path, PathBuf};
use std::sync::Arc;

use twox_hash::XxHash3_64;
use wave::{ReadAt, read_exact_at};

use crate::error::{Error, Kind, Result};
pub use sniff::{OtherSound, sniff};
pub(crate) use walk::{Met, walk};

/// How much of a file's head and tail goes into its digest, bytes.
const DIGEST_BYTES: u64 = 64 << 10;

/// Endings that wave files are given.
const WAVE_ENDINGS: [&str; 5] = ["wav", "wave", "bwf", "rf64", "bw64"];
/// Endings of sound that is not used: other containers and lossy coding.
const OTHER_ENDINGS: [&str; 11] = [
    "aif", "aiff", "aac", "caf", "flac", "m4a", "mp3", "ogg", "opus", "w64", "wma",
];
/// Folders that systems and computers put on cards; no recording of a unit lies in them.
const RUBBISH: [&str; 5] = [
    "$recycle.bin",
    "__macosx",
    "lost+found",
    "recycler",
    "system volume information",
];

/// Hidden folders and files that systems make, without their dot, as they begin (from memory).
const SYSTEM: [&str; 6] = [
    "spotlight-",
    "fseventsd",
    "temporaryitems",
    "documentrevisions",
    "ds_store",
    "apdisk",
];

/// What lies on a card.
#[derive(Debug, Clone, Default)]
pub struct Listing {
    /// Files that claim to be wave files, in natural order (2 before 10).
    pub waves: Vec<PathBuf>,
    /// Other files that carry sound in a form that is not used here.
    pub other_sound: Vec<PathBuf>,
    /// Hidden files, twins of other systems, folders of rubbish, and what is neither file nor folder: passed over.
    pub junk: Vec<PathBuf>,
    /// Folders that could not be listed, with the reason.
    pub unlisted: Vec<(PathBuf, String)>,
}

/// Lists a card: a folder with all its folders, or one file. Links to folders are not followed.
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
    walk(card, &mut |path, met| listing.take(path, met)).map_err(|error| {
        Error::new(Kind::Io, "cannot be listed")
            .at(card)
            .from_source(error)
    })?;
    for list in [
        &mut listing.waves,
        &mut listing.other_sound,
        &mut listing.junk,
    ] {
        list.sort_by_cached_key(|path| (natural_key(&path.to_string_lossy()), path.clone()));
    }
    listing.unlisted.sort();
    Ok(listing)
}

impl Listing {
    /// Puts what a walk meets where it belongs; says whether a folder is entered.
    fn take(&mut self, path: &Path, met: &Met) -> bool {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        let is_folder = *met == Met::Folder;
        if let Met::Failed(why) = met {
            self.unlisted.push((path.to_path_buf(), why.clone()));
        } else if is_rubbish(&name, is_folder) {
            self.junk.push(path.to_path_buf());
        } else if is_folder {
            return true;
        } else {
            let ending = name.rsplit_once('.').map_or("", |(_, ending)| ending);
            let ending = ending.to_lowercase();
            let is_file = fs::metadata(path).is_ok_and(|about| about.is_file());
            let wave = WAVE_ENDINGS.contains(&ending.as_str());
            let list = match wave || OTHER_ENDINGS.contains(&ending.as_str()) {
                // opening a pipe would wait for ever
                true if !is_file => &mut self.junk,
                true if wave => &mut self.waves,
                true => &mut self.other_sound,
                false => return false,
            };
            list.push(path.to_path_buf());
        }
        false
    }
}

/// Whether this is the name of a hidden file, of another system's twin of one, or of a folder that systems and computers
/// put on cards: nothing a unit recorded.
#[must_use]
pub fn is_rubbish(name: &str, is_folder: bool) -> bool {
    let plain = name.to_lowercase();
    let systems = RUBBISH.contains(&plain.as_str()) || plain == "trash";
    name.starts_with('.') || (is_folder && systems)
}

/// Whether this is the name of what a computer's system makes of a card: its own folders, and what was deleted on it.
#[must_use]
pub fn is_of_system(name: &str) -> bool {
    let plain = name.to_lowercase();
    let hidden = plain.trim_start_matches('.');
    RUBBISH.contains(&plain.as_str())
        || plain.starts_with("._")
        || plain.starts_with(".trash")
        || plain.starts_with('.') && SYSTEM.iter().any(|system| hidden.starts_with(system))
}

/// Whether a file is called like a wave file.
#[must_use]
pub fn is_wave(path: &Path) -> bool {
    let ending = path
        .extension()
        .map(|ending| ending.to_string_lossy().to_lowercase());
    ending.is_some_and(|ending| WAVE_ENDINGS.contains(&ending.as_str()))
}

/// A key that sorts numbers within names by their value, without regard to upper and lower case.
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

/// What is said of a file or folder that cannot be read.
pub(crate) fn unreadable(path: &Path, error: std::io::Error) -> Error {
    Error::new(Kind::Io, "cannot be read")
        .at(path)
        .from_source(error)
}

/// `xxh3:` and 16 hexadecimal digits over the size (eight bytes, little-endian), the first and the last 64 KiB: enough to
/// notice that a file is not the one that was measured.
///
/// # Errors
/// When the file cannot be read.
pub fn digest(path: &Path) -> Result<String> {
    let file = open(path)?;
    let failed = |error| unreadable(path, error);
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

/// Whether `place`, which need not exist yet, lies inside `folder` or is it, links followed.
#[must_use]
pub fn is_inside(folder: &Path, place: &Path) -> bool {
    folder
        .canonicalize()
        .is_ok_and(|folder| real_place(place).starts_with(folder))
}

/// Where `place` is or would be: links and `..` resolved as far as folders exist, the rest by the words of the path.
fn real_place(place: &Path) -> PathBuf {
    let mut real = PathBuf::new();
    for component in std::path::absolute(place)
        .unwrap_or_else(|_| place.to_path_buf())
        .components()
    {
        match component {
            Component::ParentDir => {
                real.pop();
            }
            Component::CurDir => {}
            other => real.push(other),
        }
        if let Ok(resolved) = real.canonicalize() {
            real = resolved;
        }
    }
    real
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

/// Whether two places lie on one file system, so that renaming from one to the other is possible; `None` when the system
/// does not tell.
#[must_use]
pub fn same_file_system(a: &Path, b: &Path) -> Option<bool> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::MetadataExt;
        Some(fs::metadata(a).ok()?.dev() == fs::metadata(b).ok()?.dev())
    }
    #[cfg(not(unix))]
    {
        let _ = (a, b);
        None
    }
}

/// Whether two places may lie on one disk: partitions of one disk count as one, and what the system does not tell may be.
#[must_use]
pub fn may_share_disk(a: &Path, b: &Path) -> bool {
    match (disk_of(a), disk_of(b)) {
        (Some(a), Some(b)) => a == b,
        _ => true,
    }
}

/// The disk a place lies on, as the system numbers it; that of the whole disk where it lies on a partition.
#[cfg(target_os = "linux")]
fn disk_of(place: &Path) -> Option<String> {
    use std::os::unix::fs::MetadataExt;
    let device = fs::metadata(place).ok()?.dev();
    let number = format!(
        "{}:{}",
        rustix::fs::major(device),
        rustix::fs::minor(device)
    );
    let known = Path::new("/sys/dev/block").join(&number).canonicalize();
    let whole = known.ok().filter(|known| known.join("partition").exists());
    let whole = whole.and_then(|known| fs::read_to_string(known.parent()?.join("dev")).ok());
    Some(whole.map_or(number, |whole| whole.trim().to_string()))
}

#[cfg(not(target_os = "linux"))]
fn disk_of(_place: &Path) -> Option<String> {
    None
}

/// How Linux names file systems (linux/magic.h).
const FAT: u64 = 0x4d44;
const EXFAT: u64 = 0x2011_bab0;
const MEMORY: [u64; 2] = [0x0102_1994, 0x8584_58f6];

/// The name of the file system a folder lies on; `None` when the system does not tell.
fn file_system_of(folder: &Path) -> Option<u64> {
    #[cfg(target_os = "linux")]
    {
        Some(rustix::fs::statfs(folder).ok()?.f_type as u64)
    }
    #[cfg(not(target_os = "linux"))]
    {
        let _ = folder;
        None
    }
}

/// Whether a folder lies on FAT, which holds no file of 4 GiB; `false` when the system does not tell.
#[must_use]
pub fn is_fat(folder: &Path) -> bool {
    file_system_of(folder) == Some(FAT)
}

/// Whether a folder lies on FAT or exFAT, which take no names with `"*/:<>?\|`; `false` when the system does not tell.
#[must_use]
pub fn is_fat_or_exfat(folder: &Path) -> bool {
    file_system_of(folder).is_some_and(|name| name == FAT || name == EXFAT)
}

/// Whether a folder lies in memory that only looks like a disk; `false` when the system does not tell.
#[must_use]
pub fn is_memory(folder: &Path) -> bool {
    file_system_of(folder).is_some_and(|name| MEMORY.contains(&name))
}

#[cfg(test)]
mod tests;
