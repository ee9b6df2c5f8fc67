//! A file that was written in, what its medium holds out: read past the system's cache where that is possible, so that the
//! medium answers and not the memory the bytes passed through.

use std::fs::File;
use std::io::{self, IoSliceMut};
use std::ops::Range;
use std::os::unix::fs::FileExt;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

use rustix::fs::{Advice, Mode, OFlags};
use serde::Serialize;

use super::aligned::{ALIGNED, Aligned, BLOCK};

/// How far reading back went.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum ReadBack {
    /// Past the system's cache.
    Direct,
    /// After the system dropped what it had in its cache, and said so.
    Dropped,
    /// Perhaps from the system's cache: it does not let itself be passed here.
    Cached,
}

/// A file as its medium holds it, read from any place by any number of threads.
pub(crate) struct OnMedium {
    plain: File,
    /// The same past the cache, where that is possible.
    direct: Option<File>,
    /// Whether a reading past the cache was refused after all.
    refused: AtomicBool,
    size: u64,
    otherwise: ReadBack,
}

/// Bytes of a block that may lie anywhere in a file: the pages at its ends are read whole.
pub(crate) const ANYWHERE: usize = BLOCK - 2 * ALIGNED;

impl OnMedium {
    /// Opens a file and asks the system to drop what it has of it in its cache.
    pub(crate) fn open(path: &Path) -> io::Result<Self> {
        let plain = File::open(path)?;
        let size = plain.metadata()?.len();
        // some file systems take the way past the cache and answer from it all the same
        let asked = rustix::fs::fadvise(&plain, 0, None, Advice::DontNeed).is_ok();
        let gone = || [0, size - 1].iter().all(|&at| is_out_of_cache(&plain, at));
        let otherwise = match size == 0 || asked && gone() {
            true => ReadBack::Dropped,
            false => ReadBack::Cached,
        };
        Ok(Self {
            direct: open_direct(path).ok(),
            plain,
            refused: AtomicBool::new(false),
            size,
            otherwise,
        })
    }

    /// Its size when it was opened, bytes.
    pub(crate) fn size(&self) -> u64 {
        self.size
    }

    /// The file as it is read through the system's cache.
    pub(crate) fn through_cache(&self) -> &File {
        &self.plain
    }

    /// How everything so far was read.
    pub(crate) fn how(&self) -> ReadBack {
        match self.direct {
            Some(_) if !self.refused.load(Ordering::Relaxed) => ReadBack::Direct,
            _ => self.otherwise,
        }
    }

    /// Reads the bytes of `range`, at most [`ANYWHERE`] of them, or [`BLOCK`] from a multiple of [`ALIGNED`] on, and says
    /// where in `memory` they are; fewer when the file ends before.
    pub(crate) fn read(&self, range: Range<u64>, memory: &mut Aligned) -> io::Result<Range<usize>> {
        let page = ALIGNED as u64;
        let begin = range.start / page * page;
        let wanted = (range.end.next_multiple_of(page) - begin) as usize;
        let room = memory.bytes_mut();
        if wanted > room.len() {
            return Err(io::ErrorKind::InvalidInput.into());
        }
        let mut held = 0;
        while held < wanted {
            let at = begin + held as u64;
            let read = match self.read_some(&mut room[held..wanted], at) {
                Ok(read) => read,
                Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
                Err(error) => return Err(error),
            };
            held += read;
            if read == 0 {
                break;
            }
        }
        let from = ((range.start - begin) as usize).min(held);
        let to = ((range.end - begin) as usize).min(held);
        Ok(from..to)
    }

    fn read_some(&self, room: &mut [u8], at: u64) -> io::Result<usize> {
        // past the cache only whole pages can be asked for: after a part of one in the middle, another way is needed
        let whole = at.is_multiple_of(ALIGNED as u64);
        if let Some(direct) = &self.direct
            && !self.refused.load(Ordering::Relaxed)
            && at < self.size
        {
            match direct.read_at(room, at) {
                // a system that accepts the way and then refuses the reading
                Err(error) if error.kind() == io::ErrorKind::InvalidInput || !whole => {
                    self.refused.store(true, Ordering::Relaxed);
                }
                done => return done,
            }
        }
        self.plain.read_at(room, at)
    }
}

#[cfg(target_os = "linux")]
fn open_direct(path: &Path) -> io::Result<File> {
    let flags = OFlags::RDONLY | OFlags::DIRECT | OFlags::CLOEXEC;
    Ok(File::from(rustix::fs::open(path, flags, Mode::empty())?))
}

#[cfg(not(target_os = "linux"))]
fn open_direct(_path: &Path) -> io::Result<File> {
    Err(io::ErrorKind::Unsupported.into())
}

/// Whether a byte of a file is in no cache: a reading that may not wait then answers that it would have to.
#[cfg(target_os = "linux")]
fn is_out_of_cache(file: &File, at: u64) -> bool {
    let mut byte = [0];
    let flags = rustix::io::ReadWriteFlags::NOWAIT;
    rustix::io::preadv2(file, &mut [IoSliceMut::new(&mut byte)], at, flags)
        == Err(rustix::io::Errno::AGAIN)
}

#[cfg(not(target_os = "linux"))]
fn is_out_of_cache(_file: &File, _at: u64) -> bool {
    false
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write;

    #[test]
    fn any_stretch_is_what_was_written() {
        let mut file = tempfile::NamedTempFile::new().expect("a file");
        let bytes: Vec<u8> = (0..100_003_u32).map(|i| (i * 31 % 251) as u8).collect();
        file.write_all(&bytes).expect("written");
        file.as_file().sync_all().expect("on its medium");
        let medium = OnMedium::open(file.path()).expect("opened");
        assert_eq!(medium.size(), bytes.len() as u64);
        let mut memory = Aligned::new();
        for (from, to) in [
            (0, 4096),
            (1, 2),
            (4095, 4097),
            (5000, 100_003),
            (0, 100_003),
            (99_999, 100_003),
            (8192, 8192),
        ] {
            let found = medium
                .read(from as u64..to as u64, &mut memory)
                .expect("read");
            assert!(memory.bytes()[found] == bytes[from..to], "{from} to {to}");
        }
        // fewer where the file ends, none behind it
        let beyond = medium.read(100_000..100_100, &mut memory).expect("read");
        assert_eq!(memory.bytes()[beyond], bytes[100_000..]);
        assert!(
            medium
                .read(200_000..200_001, &mut memory)
                .expect("read")
                .is_empty()
        );
        assert!(medium.read(1..BLOCK as u64 + 1, &mut memory).is_err());
    }
}
