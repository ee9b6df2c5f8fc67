//! A path in, the folder there out: made when it is not there, held against a second run, cleared of what a killed one
//! left, asked for room.

use std::fs::{self, File, Permissions};
use std::io;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rustix::fs::{FlockOperation, flock};
use rustix::io::Errno;
use tempfile::NamedTempFile;

use crate::error::{Error, Kind, Result};
use crate::media::{self, Met};

const PREFIX: &str = ".commontime-";
const SUFFIX: &str = ".part";

/// Room that is left for headers, lists and what the file system itself needs, bytes.
const SPARE_BYTES: u64 = 4 << 20;

/// The folder files are written to, held for as long as this lives.
#[derive(Debug)]
pub struct Folder {
    path: PathBuf,
    /// The open folder: its lock ends with the process, however that ends.
    held: File,
}

/// A new file in a folder that has no finished name and goes when it is dropped.
pub(crate) fn temporary_in(folder: &Path) -> io::Result<NamedTempFile> {
    tempfile::Builder::new()
        .prefix(PREFIX)
        .suffix(SUFFIX)
        .permissions(Permissions::from_mode(0o666))
        .tempfile_in(folder)
}

impl Folder {
    /// Makes the folder and refuses a second run in it.
    ///
    /// # Errors
    /// [`Kind::Refused`] while another run holds it; [`Kind::Io`] when it cannot be made.
    pub fn hold(path: &Path) -> Result<Self> {
        let failed = |error| {
            Error::new(Kind::Io, "the output folder cannot be made or opened")
                .at(path)
                .then("check that the medium is there and may be written to")
                .from_source(error)
        };
        fs::create_dir_all(path).map_err(failed)?;
        let held = File::open(path).map_err(failed)?;
        // file systems without locks answer otherwise and are taken as they are
        if !is_ours(&held) {
            return Err(
                Error::new(Kind::Refused, "another run is writing to this folder")
                    .at(path)
                    .then("wait for it, or choose another folder"),
            );
        }
        Ok(Self {
            path: path.to_path_buf(),
            held,
        })
    }

    /// Where it is.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// A new file in the folder.
    pub(crate) fn temporary(&self) -> Result<NamedTempFile> {
        temporary_in(&self.path).map_err(|error| {
            Error::new(Kind::Io, "no file can be made in the output folder")
                .at(&self.path)
                .then("check that the folder may be written to")
                .from_source(error)
        })
    }

    /// Refuses work that needs more room than there is.
    pub(crate) fn refuse_without_room(&self, bytes: u64) -> Result<()> {
        let needed = bytes.saturating_add(SPARE_BYTES);
        match media::free_bytes(&self.path) {
            Some(free) if free < needed => Err(Error::new(
                Kind::Io,
                format!(
                    "not enough room: {} needed, {} free",
                    megabytes(needed),
                    megabytes(free)
                ),
            )
            .at(&self.path)
            .then("free some room or choose another folder")),
            _ => Ok(()),
        }
    }

    /// Makes renamed files last.
    pub(crate) fn synchronise(&self) -> Result<()> {
        self.held.sync_all().map_err(|error| {
            Error::new(Kind::Io, "the output folder cannot be synchronised")
                .at(&self.path)
                .from_source(error)
        })
    }

    /// Removes what a run that was killed left in the folder itself: files under temporary names.
    pub(crate) fn clear_leftovers(&self) {
        clear(&self.path, false);
    }

    /// The same for a folder inside it, with all its folders.
    pub(crate) fn clear_leftovers_below(&self, inside: &Path) {
        clear(&self.path.join(inside), true);
    }
}

fn clear(folder: &Path, deep: bool) {
    // a folder that is not there holds nothing to be cleared
    let _ = media::walk(folder, &mut |path, met| {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        if *met == Met::File && is_temporary(&name) {
            // one that cannot go does no harm: it has no finished name
            #[expect(
                clippy::disallowed_methods,
                reason = "a temporary file of a run that was killed, in the folder this run holds"
            )]
            let _ = fs::remove_file(path);
        }
        deep
    });
}

/// Whether a name is one that only unfinished files carry.
fn is_temporary(name: &str) -> bool {
    name.starts_with(PREFIX) && name.ends_with(SUFFIX)
}

/// Takes the folder's lock, if it is free within a quarter of a second: a run that has just ended may still be held for a
/// moment by a process that its program started.
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

fn megabytes(bytes: u64) -> String {
    format!("{:.1} MB", bytes as f64 / 1e6)
}
