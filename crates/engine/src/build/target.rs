//! The output folder: made, kept from cards and from a second build at the same time, asked for room; temporary files in
//! it, renamed when they are verified.

use std::fs::{self, File, Permissions};
use std::io;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rustix::fs::{FlockOperation, flock};
use rustix::io::Errno;
use tempfile::NamedTempFile;

use super::BuildOptions;
use super::plan::Plan;
use crate::alignment::Alignment;
use crate::error::{Error, Kind, Result};
use crate::media;

const PREFIX: &str = ".commontime-";
const SUFFIX: &str = ".part";

/// Room that is left for headers, lists and what the file system itself needs, bytes.
const SPARE_BYTES: u64 = 4 << 20;

/// The folder files are written to, held for as long as this lives.
pub(super) struct Target {
    folder: PathBuf,
    /// The open folder: its lock ends with the process, however that ends.
    held: File,
}

/// A new file in a folder that has no finished name and goes when it is dropped.
pub(super) fn temporary_in(folder: &Path) -> io::Result<NamedTempFile> {
    tempfile::Builder::new()
        .prefix(PREFIX)
        .suffix(SUFFIX)
        .permissions(Permissions::from_mode(0o666))
        .tempfile_in(folder)
}

impl Target {
    /// Makes the folder, refuses cards and a second build, and clears away what a killed one left.
    pub(super) fn prepare(alignment: &Alignment, options: &BuildOptions) -> Result<Self> {
        let folder = options.out.clone();
        refuse_cards(alignment, options)?;
        let failed = |error| {
            Error::new(Kind::Io, "the output folder cannot be made or opened")
                .at(&folder)
                .from_source(error)
        };
        fs::create_dir_all(&folder).map_err(failed)?;
        let held = File::open(&folder).map_err(failed)?;
        // file systems without locks answer otherwise and are taken as they are
        if !is_ours(&held) {
            return Err(Error::new(Kind::Refused, "another build is writing here")
                .at(&folder)
                .then("wait for it, or choose another folder"));
        }
        let target = Self { folder, held };
        target.clear_leftovers();
        Ok(target)
    }

    /// A new file in the folder.
    pub(super) fn temporary(&self) -> Result<NamedTempFile> {
        temporary_in(&self.folder).map_err(|error| {
            Error::new(Kind::Io, "no file can be made in the output folder")
                .at(&self.folder)
                .then("check that the folder may be written to")
                .from_source(error)
        })
    }

    pub(super) fn path(&self, name: &str) -> PathBuf {
        self.folder.join(name)
    }

    pub(super) fn refuse_existing(&self, names: &[String], replace: bool) -> Result<()> {
        let existing = names
            .iter()
            .map(|name| self.path(name))
            .find(|path| path.symlink_metadata().is_ok());
        match existing {
            Some(path) if path.is_dir() => {
                Err(Error::new(Kind::Refused, "a folder has this name").at(path))
            }
            Some(path) if !replace => Err(exists(&path)),
            _ => Ok(()),
        }
    }

    pub(super) fn refuse_without_room(&self, plan: &Plan<'_>) -> Result<()> {
        let needed = plan.bytes().saturating_add(SPARE_BYTES);
        match media::free_bytes(&self.folder) {
            Some(free) if free < needed => Err(Error::new(
                Kind::Io,
                format!(
                    "not enough room: {} needed, {} free",
                    megabytes(needed),
                    megabytes(free)
                ),
            )
            .at(&self.folder)
            .then("free some room or choose another folder")),
            _ => Ok(()),
        }
    }

    /// Gives a verified file its name. An existing one is replaced only when that was asked for.
    pub(super) fn rename(&self, file: NamedTempFile, name: &str, replace: bool) -> Result<PathBuf> {
        let path = self.path(name);
        let kept = if replace {
            file.persist(&path)
        } else {
            file.persist_noclobber(&path)
        };
        match kept {
            Ok(_) => Ok(path),
            Err(failed) if failed.error.kind() == io::ErrorKind::AlreadyExists => {
                Err(exists(&path))
            }
            Err(failed) => Err(Error::new(Kind::Io, "cannot be given its name")
                .at(&path)
                .from_source(failed.error)),
        }
    }

    /// Makes renamed files last.
    pub(super) fn synchronise(&self) -> Result<()> {
        self.held.sync_all().map_err(|error| {
            Error::new(Kind::Io, "the output folder cannot be synchronised")
                .at(&self.folder)
                .from_source(error)
        })
    }

    fn clear_leftovers(&self) {
        let Ok(entries) = fs::read_dir(&self.folder) else {
            return;
        };
        for entry in entries.flatten() {
            let name = entry.file_name();
            let name = name.to_string_lossy();
            if name.starts_with(PREFIX) && name.ends_with(SUFFIX) {
                // one that cannot go does no harm: it has no finished name
                #[expect(
                    clippy::disallowed_methods,
                    reason = "a temporary file of a build that was killed, in the folder this build holds"
                )]
                let _ = fs::remove_file(entry.path());
            }
        }
    }
}

/// Takes the folder's lock, if it is free within a quarter of a second: a build that has just ended may still be held for
/// a moment by a process that its program started.
fn is_ours(folder: &File) -> bool {
    const WAIT: Duration = Duration::from_millis(25);
    for _ in 0..10 {
        if flock(folder, FlockOperation::NonBlockingLockExclusive) != Err(Errno::WOULDBLOCK) {
            return true;
        }
        std::thread::sleep(WAIT);
    }
    false
}

fn exists(path: &Path) -> Error {
    Error::new(Kind::Refused, "exists already")
        .at(path)
        .then("use --replace to replace it once the new one is verified, or choose another folder")
}

fn refuse_cards(alignment: &Alignment, options: &BuildOptions) -> Result<()> {
    let refuse = |folder: &Path| {
        Error::new(
            Kind::Refused,
            format!(
                "the output folder lies among the sources in {}",
                folder.display()
            ),
        )
        .at(&options.out)
        .then("choose a folder outside the cards")
    };
    if let Some(card) = options
        .cards
        .iter()
        .find(|card| card.is_dir() && media::is_inside(card, &options.out))
    {
        return Err(refuse(card));
    }
    let parts = alignment
        .joint_takes
        .iter()
        .flat_map(|take| &take.members)
        .flat_map(|member| &member.parts);
    for part in parts {
        let folder = Path::new(&part.path)
            .parent()
            .filter(|folder| !folder.as_os_str().is_empty());
        let folder = folder.unwrap_or(Path::new("."));
        // the very folder of a source; whether a folder above it is a card only the caller knows
        if media::is_inside(folder, &options.out) && media::is_inside(&options.out, folder) {
            return Err(refuse(folder));
        }
    }
    Ok(())
}

fn megabytes(bytes: u64) -> String {
    format!("{:.1} MB", bytes as f64 / 1e6)
}
