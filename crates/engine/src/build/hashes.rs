//! Files that were written in, a list of their hashes beside them out: one line a file, 32 hexadecimal digits of xxh3-128
//! (high word first), two spaces, the name. Lines of other files in the folder are kept.

use std::collections::BTreeMap;
use std::fs;
use std::io::Write;
use std::path::PathBuf;

use super::OutputFile;
use super::target::Target;
use crate::error::{Error, Kind, Result};

const NAME: &str = "hashes.xxh3.txt";

/// Writes the list and says where it is.
pub(super) fn write(target: &Target, outputs: &[OutputFile]) -> Result<PathBuf> {
    let path = target.path(NAME);
    let earlier = fs::read_to_string(&path).unwrap_or_default();
    let mut lines: BTreeMap<String, String> = earlier
        .lines()
        .filter_map(|line| line.split_once("  "))
        .map(|(hash, name)| (name.to_string(), hash.to_string()))
        .collect();
    for output in outputs {
        let name = output
            .path
            .file_name()
            .unwrap_or_default()
            .to_string_lossy();
        lines.insert(name.into_owned(), output.hash.clone());
    }
    let text: String = lines
        .iter()
        .map(|(name, hash)| format!("{hash}  {name}\n"))
        .collect();
    let failed = |error| {
        Error::new(Kind::Io, "cannot be written")
            .at(&path)
            .from_source(error)
    };
    let mut file = target.temporary()?;
    file.write_all(text.as_bytes()).map_err(failed)?;
    file.as_file().sync_all().map_err(failed)?;
    // the list is ours alone, so it is replaced without asking
    let path = target.rename(file, NAME, true)?;
    target.synchronise()?;
    Ok(path)
}
