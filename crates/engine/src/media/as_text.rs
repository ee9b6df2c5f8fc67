//! Paths in, text for machine output out: names that are no UTF-8 are shown with a mark in place of what cannot be.
//! For `#[serde(serialize_with = ...)]`; JSON holds nothing else, and a name must not keep a report from being written.

use std::path::{Path, PathBuf};

use serde::Serializer;

/// One path.
pub(crate) fn path<S: Serializer>(path: &Path, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_str(&path.display())
}

/// Several paths.
pub(crate) fn paths<S: Serializer>(paths: &[PathBuf], serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_seq(paths.iter().map(|path| path.to_string_lossy()))
}

/// A path that may not be there.
pub(crate) fn some_path<S: Serializer>(
    path: &Option<PathBuf>,
    serializer: S,
) -> Result<S::Ok, S::Error> {
    match path {
        Some(path) => serializer.serialize_some(&path.to_string_lossy()),
        None => serializer.serialize_none(),
    }
}
