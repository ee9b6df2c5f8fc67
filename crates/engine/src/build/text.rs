//! Text in, a finished file out: temporary name, flush, rename, as for recordings.

use std::fs::{self, File, Permissions};
use std::io::Write;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;

use crate::error::{Error, Kind, Result};

/// Writes `text` to `path`, whose folder is made when it is not there.
///
/// # Errors
/// [`Kind::Refused`] when the file exists and `replace` was not asked for; [`Kind::Io`] when it cannot be written.
pub fn write_text(path: &Path, text: &str, replace: Replace) -> Result<()> {
    let failed = |error: std::io::Error| {
        Error::new(Kind::Io, "cannot be written")
            .at(path)
            .from_source(error)
    };
    let folder = path
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty());
    let folder = folder.unwrap_or(Path::new("."));
    fs::create_dir_all(folder).map_err(failed)?;
    let mut file = tempfile::Builder::new()
        .prefix(".commontime-")
        .suffix(".part")
        .permissions(Permissions::from_mode(0o666))
        .tempfile_in(folder)
        .map_err(failed)?;
    file.write_all(text.as_bytes()).map_err(failed)?;
    file.as_file().sync_all().map_err(failed)?;
    let kept = match replace {
        Replace::Yes => file.persist(path),
        Replace::No => file.persist_noclobber(path),
    };
    match kept {
        Ok(_) => {}
        Err(failure) if failure.error.kind() == std::io::ErrorKind::AlreadyExists => {
            return Err(Error::new(Kind::Refused, "exists already")
                .at(path)
                .then("use --replace to replace it, or choose another place"));
        }
        Err(failure) => return Err(failed(failure.error)),
    }
    File::open(folder)
        .and_then(|folder| folder.sync_all())
        .map_err(failed)
}

/// Whether a file that exists may be replaced.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Replace {
    /// It may.
    Yes,
    /// It is refused.
    No,
}
