//! Text in, a finished file out, and the steps to one for any other single file: temporary name, flush, rename, as for
//! recordings.

use std::fs::{self, File};
use std::io::Write;
use std::path::Path;

use tempfile::NamedTempFile;

use super::{exists, give_name, temporary_in};
use crate::error::{Error, Kind, Result};

/// Writes `text` to `path`, whose folder is made when it is not there.
///
/// # Errors
/// [`Kind::Refused`] when the file exists and `replace` was not asked for; [`Kind::Io`] when it cannot be written.
pub fn write_text(path: &Path, text: &str, replace: Replace) -> Result<()> {
    write_bytes(path, text.as_bytes(), replace)
}

/// The same for bytes.
///
/// # Errors
/// As for text.
pub fn write_bytes(path: &Path, bytes: &[u8], replace: Replace) -> Result<()> {
    let mut file = temporary_beside(path)?;
    file.write_all(bytes).map_err(|error| failed(path, error))?;
    finished(file, path, replace)
}

pub(crate) fn failed(
    path: &Path,
    error: impl Into<Box<dyn std::error::Error + Send + Sync>>,
) -> Error {
    Error::new(Kind::Io, "cannot be written")
        .at(path)
        .from_source(error)
}

fn folder_of(path: &Path) -> &Path {
    let folder = path.parent().filter(|f| !f.as_os_str().is_empty());
    folder.unwrap_or(Path::new("."))
}

/// A file with a temporary name in the folder of `path`, which is made when it is not there.
pub(crate) fn temporary_beside(path: &Path) -> Result<NamedTempFile> {
    let folder = folder_of(path);
    fs::create_dir_all(folder).map_err(|error| failed(path, error))?;
    temporary_in(folder).map_err(|error| failed(path, error))
}

/// Gives a temporary file its name, once all of it is on the disk.
pub(crate) fn finished(file: NamedTempFile, path: &Path, replace: Replace) -> Result<()> {
    file.as_file()
        .sync_all()
        .map_err(|error| failed(path, error))?;
    give_name(file, path, replace)?;
    File::open(folder_of(path))
        .and_then(|folder| folder.sync_all())
        .map_err(|error| failed(path, error))
}

/// Refuses, before any work is done for it, a file that is there and may not be replaced.
///
/// # Errors
/// When it is there.
pub fn refuse_existing(path: &Path, replace: Replace) -> Result<()> {
    if replace == Replace::No && path.symlink_metadata().is_ok() {
        return Err(exists(path));
    }
    Ok(())
}

/// Whether a file that exists may be replaced.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Replace {
    /// It may.
    Yes,
    /// It is refused.
    No,
}

impl From<bool> for Replace {
    /// `true` replaces.
    fn from(replace: bool) -> Self {
        if replace { Self::Yes } else { Self::No }
    }
}
