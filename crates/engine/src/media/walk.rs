//! A folder in, everything below it out, one after another: the one way folders are followed. Links are shown and not
//! followed; what cannot be looked into is shown with the reason.

use std::fs::{self, ReadDir};
use std::io;
use std::path::Path;

/// How deep folders are followed.
const DEPTH: usize = 64;

/// What is met on the way.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Met {
    /// A folder: whoever is shown it says whether it is entered.
    Folder,
    /// A file.
    File,
    /// A link to whatever it may be.
    Link,
    /// A pipe, a device and the like.
    Other,
    /// Something that could not be looked at or into, and why.
    Failed(String),
}

/// Shows everything below a folder to `visit`, which says of a folder whether it is entered.
///
/// # Errors
/// When the folder itself cannot be listed.
pub(crate) fn walk(folder: &Path, visit: &mut dyn FnMut(&Path, &Met) -> bool) -> io::Result<()> {
    walk_in(fs::read_dir(folder)?, folder, DEPTH, visit);
    Ok(())
}

fn walk_in(
    entries: ReadDir,
    folder: &Path,
    depth: usize,
    visit: &mut dyn FnMut(&Path, &Met) -> bool,
) {
    for entry in entries {
        let looked_at = entry.and_then(|entry| Ok((entry.path(), entry.file_type()?)));
        let (path, kind) = match looked_at {
            Ok(looked_at) => looked_at,
            Err(error) => {
                visit(folder, &Met::Failed(error.to_string()));
                continue;
            }
        };
        let met = match kind {
            kind if kind.is_dir() => Met::Folder,
            kind if kind.is_file() => Met::File,
            kind if kind.is_symlink() => Met::Link,
            _ => Met::Other,
        };
        if !visit(&path, &met) || met != Met::Folder {
            continue;
        }
        let failed = match (depth.checked_sub(1), fs::read_dir(&path)) {
            (None, _) => Some(format!("more than {DEPTH} folders deep")),
            (_, Err(error)) => Some(error.to_string()),
            (Some(depth), Ok(inner)) => {
                walk_in(inner, &path, depth, visit);
                None
            }
        };
        if let Some(why) = failed {
            visit(&path, &Met::Failed(why));
        }
    }
}
