//! The output folder of a build: kept from cards, held, asked for room; verified files are renamed in it.

use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

use super::BuildOptions;
use super::plan::{Plan, PlannedFile};
use crate::alignment::Alignment;
use crate::error::{Error, Kind, Result};
use crate::media;
use crate::output::{Folder, Replace, exists, give_name};

/// The folder files are written to, held for as long as this lives.
pub(super) struct Target(Folder);

impl Target {
    /// Makes the folder, refuses cards and a second build, and clears away what a killed one left.
    pub(super) fn prepare(alignment: &Alignment, options: &BuildOptions) -> Result<Self> {
        refuse_cards(alignment, options)?;
        let folder = Folder::hold(&options.out)?;
        folder.clear_leftovers();
        Ok(Self(folder))
    }

    /// A new file in the folder.
    pub(super) fn temporary(&self) -> Result<NamedTempFile> {
        self.0.temporary()
    }

    pub(super) fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    pub(super) fn refuse_existing(&self, files: &[PlannedFile], replace: bool) -> Result<()> {
        let existing = files
            .iter()
            .map(|file| self.path(&file.name))
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
        self.0.refuse_without_room(plan.bytes())
    }

    /// Gives a verified file its name. An existing one is replaced only when that was asked for.
    pub(super) fn rename(&self, file: NamedTempFile, name: &str, replace: bool) -> Result<PathBuf> {
        let path = self.path(name);
        give_name(file, &path, Replace::from(replace))?;
        Ok(path)
    }

    /// Makes renamed files last.
    pub(super) fn synchronise(&self) -> Result<()> {
        self.0.synchronise()
    }
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
