//! Blocks in, a file under a temporary name on its medium out: past the system's cache where that is possible, so that
//! errors come when bytes are written and nothing waits in memory; a place that fails for good is not asked again.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use rustix::fs::{OFlags, fcntl_getfl, fcntl_setfl};
use rustix::io::Errno;
use tempfile::NamedTempFile;

use super::contents::CardFile;
use super::copy::NOT_READ;
use crate::error::{Error, Kind, Result};
use crate::output::{ALIGNED, BLOCK, temporary_in};

/// What a place holds of a file before it is read back.
pub(super) enum Drafted {
    /// It was there already.
    There,
    /// It was written.
    New(NamedTempFile),
    /// Nothing was tried: this place had failed before.
    NotTried,
}

/// Writes one file after another to a place.
pub(super) struct Writer<'a> {
    folder: &'a Path,
    state: State,
    /// Whether nothing more is written here.
    dead: bool,
}

enum State {
    /// Between files, or in one that is there already.
    Idle,
    Writing(Draft),
    Failed(Error),
    NotTried,
}

struct Draft {
    file: NamedTempFile,
    path: PathBuf,
    modified: Option<SystemTime>,
    direct: bool,
    written: u64,
}

impl<'a> Writer<'a> {
    /// One for a place.
    pub fn new(folder: &'a Path) -> Self {
        Self {
            folder,
            state: State::Idle,
            dead: false,
        }
    }

    /// The next file is there already.
    pub fn leave(&mut self) {
        self.state = State::Idle;
    }

    /// The next file is to be written.
    pub fn begin(&mut self, file: &CardFile) {
        let path = self.folder.join(&file.path);
        if self.dead {
            self.state = State::NotTried;
            return;
        }
        self.state = match draft(&path, file) {
            Ok(draft) => State::Writing(draft),
            Err(error) => State::Failed(self.failed(&path, error, 0)),
        };
    }

    /// More of the file.
    pub fn write(&mut self, bytes: &[u8]) {
        let State::Writing(draft) = &mut self.state else {
            return;
        };
        if let Err(error) = draft.write(bytes) {
            let (path, written) = (draft.path.clone(), draft.written);
            self.state = State::Failed(self.failed(&path, error, written));
        }
    }

    /// The end of the file; `whole` unless the card could not be read.
    pub fn end(&mut self, whole: bool) -> Result<Drafted> {
        match std::mem::replace(&mut self.state, State::Idle) {
            State::Idle => Ok(Drafted::There),
            State::NotTried => Ok(Drafted::NotTried),
            State::Failed(error) => Err(error),
            // the temporary file goes with the draft
            State::Writing(draft) if !whole => Err(Error::new(Kind::Io, NOT_READ).at(&draft.path)),
            State::Writing(draft) => {
                let (path, written) = (draft.path.clone(), draft.written);
                match draft.finish() {
                    Ok(file) => Ok(Drafted::New(file)),
                    Err(error) => Err(self.failed(&path, error, written)),
                }
            }
        }
    }

    fn failed(&mut self, path: &Path, error: io::Error, written: u64) -> Error {
        let number = Errno::from_io_error(&error);
        let next = match number {
            Some(Errno::NOSPC | Errno::DQUOT) => "free some room, and run the same command again",
            Some(Errno::FBIG) => "this place holds no files of this size: copy to one that does",
            Some(Errno::ROFS | Errno::ACCESS | Errno::PERM) => {
                "check that the place may be written to"
            }
            Some(Errno::NAMETOOLONG | Errno::INVAL | Errno::ILSEQ) => {
                "this place does not hold such names: copy to one that does"
            }
            _ => "check the medium, and run the same command again",
        };
        // of these the next file knows nothing; after all others there is nothing to be hoped for here
        let of_this_file_alone = matches!(
            number,
            Some(Errno::FBIG | Errno::NAMETOOLONG | Errno::INVAL | Errno::ILSEQ)
        );
        if !of_this_file_alone {
            self.dead = true;
        }
        Error::new(Kind::Io, format!("cannot be written at byte {written}"))
            .at(path)
            .then(next)
            .from_source(error)
    }
}

fn draft(path: &Path, file: &CardFile) -> io::Result<Draft> {
    let folder = path.parent().unwrap_or(Path::new("."));
    fs::create_dir_all(folder)?;
    let temporary = temporary_in(folder)?;
    // what is short is flushed as quickly the usual way
    let direct = file.size >= BLOCK as u64 && set_direct(&temporary, true).is_ok();
    Ok(Draft {
        file: temporary,
        path: path.to_path_buf(),
        modified: file.modified,
        direct,
        written: 0,
    })
}

#[cfg(target_os = "linux")]
fn set_direct(file: &NamedTempFile, on: bool) -> io::Result<()> {
    let mut flags = fcntl_getfl(file)?;
    flags.set(OFlags::DIRECT, on);
    Ok(fcntl_setfl(file, flags)?)
}

#[cfg(not(target_os = "linux"))]
fn set_direct(_file: &NamedTempFile, _on: bool) -> io::Result<()> {
    Err(io::ErrorKind::Unsupported.into())
}

impl Draft {
    fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        let mut rest = bytes;
        while !rest.is_empty() {
            if self.direct && rest.len() < ALIGNED {
                self.through_the_cache()?;
            }
            let most = match self.direct {
                true => rest.len() - rest.len() % ALIGNED,
                false => rest.len(),
            };
            // the file itself: its wrapper would hide the system's number of an error
            match self.file.as_file_mut().write(&rest[..most]) {
                Ok(0) => return Err(io::ErrorKind::WriteZero.into()),
                Ok(written) => {
                    self.written += written as u64;
                    rest = &rest[written..];
                    // a part of a page: what follows starts where no medium can be asked directly
                    if !written.is_multiple_of(ALIGNED) {
                        self.through_the_cache()?;
                    }
                }
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                // a system that accepts the way and then refuses the writing
                Err(error) if self.direct && error.kind() == io::ErrorKind::InvalidInput => {
                    self.through_the_cache()?;
                }
                Err(error) => return Err(error),
            }
        }
        Ok(())
    }

    fn through_the_cache(&mut self) -> io::Result<()> {
        if self.direct {
            self.direct = false;
            set_direct(&self.file, false)?;
        }
        Ok(())
    }

    fn finish(self) -> io::Result<NamedTempFile> {
        if let Some(modified) = self.modified {
            // a place that keeps no times keeps the bytes all the same
            let _ = self.file.as_file().set_modified(modified);
        }
        self.file.as_file().sync_all()?;
        Ok(self.file)
    }
}
