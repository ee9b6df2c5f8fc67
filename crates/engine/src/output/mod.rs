//! Bytes that are ready in, files with finished names out: a folder held against a second run, temporary names in it, and
//! the one way to a finished name, and the one way to read back what a medium holds. What is built, what is offloaded and every paper beside them go through here.

mod aligned;
mod back;
mod folder;
mod table;
mod text;

pub(crate) use aligned::{ALIGNED, Aligned, BLOCK};
pub use back::ReadBack;
pub(crate) use back::{ANYWHERE, OnMedium};
pub use folder::Folder;
pub(crate) use folder::temporary_in;
pub(crate) use table::{no_table, report_table, table_text};
pub use text::{Replace, refuse_existing, write_bytes, write_text};
pub(crate) use text::{failed, finished, temporary_beside};

use std::io;
use std::path::Path;

use tempfile::NamedTempFile;

use crate::error::{Error, Kind, Result};

/// Gives a file that is on the disk its name. One that has the name already stays unless replacing it was asked for.
pub(crate) fn give_name(file: NamedTempFile, path: &Path, replace: Replace) -> Result<()> {
    let kept = match replace {
        Replace::Yes => file.persist(path),
        Replace::No => file.persist_noclobber(path),
    };
    match kept {
        Ok(_) => Ok(()),
        Err(failure) if failure.error.kind() == io::ErrorKind::AlreadyExists => Err(exists(path)),
        Err(failure) => Err(Error::new(Kind::Io, "cannot be given its name")
            .at(path)
            .from_source(failure.error)),
    }
}

/// What is said of a name that is taken.
pub(crate) fn exists(path: &Path) -> Error {
    Error::new(Kind::Refused, "exists already")
        .at(path)
        .then("use --replace to replace it once the new one is verified, or choose another place")
}
