//! A file that was written in, the hashes of what its medium holds out: read past the system's cache where that is
//! possible, so that the medium answers and not the memory the bytes passed through.

use std::fs::File;
use std::io::{self, IoSliceMut};
use std::os::unix::fs::FileExt;
use std::path::Path;

use rustix::fs::{Advice, Mode, OFlags};
use serde::Serialize;

use super::block::{ALIGNED, Aligned};
use super::hash::{Hash, HashKind, Hasher};

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

/// Hashes a file as its medium holds it. `told` hears of the bytes as they are read.
pub(super) fn read_back(
    path: &Path,
    kinds: &[HashKind],
    memory: &mut Aligned,
    told: &dyn Fn(u64),
) -> io::Result<(Vec<Hash>, u64, ReadBack)> {
    if let Ok(file) = open_direct(path) {
        // some file systems take this way and answer from their cache all the same
        let _ = rustix::fs::fadvise(&file, 0, None, Advice::DontNeed);
        match hash(&file, kinds, memory, told) {
            // a system that accepts the way and then refuses the reading
            Err(error) if error.kind() == io::ErrorKind::InvalidInput => {}
            done => return done.map(|(hashes, size)| (hashes, size, ReadBack::Direct)),
        }
    }
    let file = File::open(path)?;
    let size = file.metadata()?.len();
    let asked = rustix::fs::fadvise(&file, 0, None, Advice::DontNeed).is_ok();
    let how = if size == 0 || asked && [0, size - 1].iter().all(|&at| is_out_of_cache(&file, at)) {
        ReadBack::Dropped
    } else {
        ReadBack::Cached
    };
    let (hashes, size) = hash(&file, kinds, memory, told)?;
    Ok((hashes, size, how))
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

fn hash(
    file: &File,
    kinds: &[HashKind],
    memory: &mut Aligned,
    told: &dyn Fn(u64),
) -> io::Result<(Vec<Hash>, u64)> {
    let mut hasher = Hasher::new(kinds);
    let size = file.metadata()?.len();
    let mut at = 0;
    while at < size {
        let room = memory.bytes_mut();
        let read = match file.read_at(room, at) {
            Ok(read) => read,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
            Err(error) => return Err(error),
        };
        if read == 0 {
            break;
        }
        hasher.update(&room[..read]);
        told(read as u64);
        at += read as u64;
        // past the cache only whole pages can be asked for: after a part of one in the middle, another way is needed
        if at < size && !read.is_multiple_of(ALIGNED) && is_direct(file) {
            return Err(io::ErrorKind::InvalidInput.into());
        }
    }
    Ok((hasher.finish(), at))
}

fn is_direct(file: &File) -> bool {
    #[cfg(target_os = "linux")]
    {
        rustix::fs::fcntl_getfl(file).is_ok_and(|flags| flags.contains(OFlags::DIRECT))
    }
    #[cfg(not(target_os = "linux"))]
    {
        let _ = file;
        false
    }
}
