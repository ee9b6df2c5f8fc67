//! Files of a card in, copies at several places out: each file is read once; while it is hashed, every place writes it,
//! and what earlier files became is read back from there. A copy gets its name when it is what was read, not before.
//!
//! One thread reads, one hashes, and every place has one that writes and one that reads back. They share a fixed number
//! of blocks, so memory does not depend on sizes, and the slowest of them sets the pace.

use std::fs::File;
use std::io::Read as _;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, SyncSender, channel, sync_channel};
use std::thread;
use std::time::SystemTime;

use super::back::read_back;
use super::block::{Block, Pool};
use super::contents::CardFile;
use super::hash::{Hash, HashKind, Hasher};
use super::put::{Drafted, Writer};
use crate::error::{Error, Kind, Result};
use crate::output::{Aligned, BLOCK, ReadBack, Replace, give_name};
use crate::progress::Progress;

/// Blocks that may wait for a place to write them.
const WAITING: usize = 2;

/// Files that may wait to be read back at a place; each is an open file.
const UNREAD: usize = 64;

/// What is said of a copy whose original could not be read: the card's own error says it all.
pub(super) const NOT_READ: &str = "was not read from the card";

/// A file to be copied.
pub(super) struct Job<'a> {
    /// The file on the card.
    pub file: &'a CardFile,
    /// The kinds of hashes to take, the quickest first.
    pub kinds: Vec<HashKind>,
    /// For each place, whether a file of this name and size is there.
    pub there: Vec<bool>,
}

/// What became of a file.
pub(super) struct Copied {
    /// The hashes of what was read from the card, one a kind, or why it could not be read; `None` when the card was gone
    /// before.
    pub read: Result<Option<Vec<Hash>>>,
    /// For each place, what is there now; `None` when the place had failed before. Meaningless when the card could not be
    /// read.
    pub places: Vec<Result<Option<Kept>>>,
}

/// A file with its finished name, its bytes those that were read from the card.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Kept {
    /// Whether it was there before.
    pub was_there: bool,
    /// How far reading back went.
    pub how: ReadBack,
}

/// Whether a file was read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Read {
    Whole,
    /// The card was gone before.
    NotTried,
}

/// What the reader tells those who write and hash.
enum Message {
    Begin(usize),
    Block(Arc<Block>),
    /// Whether all of the file was read.
    End(bool),
}

/// Copies files from a card to places: folders that files keep their paths in.
pub(super) fn copy(
    card: &Path,
    jobs: &[Job<'_>],
    places: &[PathBuf],
    progress: &dyn Progress,
) -> Vec<Copied> {
    thread::scope(|scope| {
        let mut listeners: Vec<SyncSender<Message>> = Vec::new();
        let mut told: Vec<Sender<Option<Hash>>> = Vec::new();
        let mut kept = Vec::new();
        for (index, place) in places.iter().enumerate() {
            let (to_writer, from_reader) = sync_channel(WAITING);
            let (to_back, from_writer) = sync_channel(UNREAD);
            let (tell, hashes) = channel();
            scope.spawn(move || write_all(jobs, index, place, &from_reader, &to_back));
            kept.push(
                scope.spawn(move || read_back_all(jobs, place, &hashes, &from_writer, progress)),
            );
            listeners.push(to_writer);
            told.push(tell);
        }
        let (to_hasher, from_reader) = sync_channel(WAITING);
        listeners.push(to_hasher);
        let hashed = scope.spawn(move || hash_all(jobs, &from_reader, &told));
        let read = read_all(card, jobs, &listeners, progress);
        drop(listeners);
        let hashes = hashed.join().unwrap_or_default();
        let kept: Vec<Vec<Result<Option<Kept>>>> = kept
            .into_iter()
            .map(|thread| thread.join().unwrap_or_default())
            .collect();
        together(read, hashes, kept)
    })
}

/// What all threads found, file by file.
fn together(
    read: Vec<Result<Read>>,
    hashes: Vec<Vec<Hash>>,
    kept: Vec<Vec<Result<Option<Kept>>>>,
) -> Vec<Copied> {
    let mut hashes = hashes.into_iter();
    let mut kept: Vec<_> = kept.into_iter().map(Vec::into_iter).collect();
    read.into_iter()
        .map(|read| {
            let hashes = hashes.next().unwrap_or_default();
            let places = kept.iter_mut().map(|place| {
                place.next().unwrap_or_else(|| {
                    Err(Error::new(Kind::Io, "a thread that read back ended early"))
                })
            });
            Copied {
                places: places.collect(),
                read: read.map(|read| (read == Read::Whole).then_some(hashes)),
            }
        })
        .collect()
}

/// Reads every file once and hands what it reads to all listeners.
fn read_all(
    card: &Path,
    jobs: &[Job<'_>],
    listeners: &[SyncSender<Message>],
    progress: &dyn Progress,
) -> Vec<Result<Read>> {
    // in every listener's queue and hand, and one to fill
    let pool = Pool::new(listeners.len() * (WAITING + 1) + 1);
    // a listener that is gone has ended early, and its thread's end says so
    let tell = |message: &dyn Fn() -> Message| {
        for listener in listeners {
            let _ = listener.send(message());
        }
    };
    let mut gone = false;
    jobs.iter()
        .enumerate()
        .map(|(index, job)| {
            tell(&|| Message::Begin(index));
            let path = card.join(&job.file.path);
            let read = match gone {
                true => Ok(Read::NotTried),
                false => read_file(&path, job.file, &pool, progress, &|block| {
                    tell(&|| Message::Block(Arc::clone(block)));
                }),
            };
            tell(&|| Message::End(matches!(read, Ok(Read::Whole))));
            gone = gone || (read.is_err() && !is_there(card));
            read
        })
        .collect()
}

/// Whether a card still answers: it can be listed, and holds something.
fn is_there(card: &Path) -> bool {
    std::fs::read_dir(card)
        .is_ok_and(|mut entries| entries.next().is_some_and(|entry| entry.is_ok()))
}

fn read_file(
    path: &Path,
    listed: &CardFile,
    pool: &Pool,
    progress: &dyn Progress,
    tell: &dyn Fn(&Arc<Block>),
) -> Result<Read> {
    let mut at = 0_u64;
    let failed = |error: std::io::Error, at: u64| {
        Error::new(Kind::Io, format!("cannot be read at byte {at}"))
            .at(path)
            .then("copy the card with another reader; a file that stays unreadable is damaged on the card")
            .from_source(error)
    };
    let mut file = File::open(path).map_err(|error| failed(error, 0))?;
    loop {
        let mut filled = 0;
        let block = pool
            .filled(|memory| fill(&mut file, memory, &mut filled).map(|()| filled))
            .map_err(|error| failed(error, at + filled as u64))?;
        let length = block.bytes().len();
        if length > 0 {
            tell(&block);
            progress.advance(length as u64);
        }
        at += length as u64;
        if length < BLOCK {
            break;
        }
    }
    let about = file.metadata().map_err(|error| failed(error, at))?;
    let now = (at, about.modified().ok());
    if now != (listed.size, listed.modified) {
        let message = format!(
            "changed while it was copied: {} bytes last changed {}, expected {} bytes last changed {}",
            now.0,
            when(now.1),
            listed.size,
            when(listed.modified),
        );
        return Err(Error::new(Kind::Verification, message)
            .at(path)
            .then("stop the unit that writes to the card, and run the same command again"));
    }
    Ok(Read::Whole)
}

fn when(time: Option<SystemTime>) -> String {
    time.and_then(|time| jiff::Timestamp::try_from(time).ok())
        .map_or("at no known time".into(), |time| time.to_string())
}

/// Reads until the memory is full or the file ends, counting what it filled, also before an error.
fn fill(file: &mut File, memory: &mut [u8], filled: &mut usize) -> std::io::Result<()> {
    while *filled < memory.len() {
        match file.read(&mut memory[*filled..]) {
            Ok(0) => break,
            Ok(read) => *filled += read,
            Err(error) if error.kind() == std::io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
    Ok(())
}

/// Hashes every file as it is read; tells every place the hash its copy must have, or that there is none.
fn hash_all(
    jobs: &[Job<'_>],
    from_reader: &Receiver<Message>,
    told: &[Sender<Option<Hash>>],
) -> Vec<Vec<Hash>> {
    let mut all = Vec::new();
    let mut hasher = Hasher::new(&[]);
    for message in from_reader {
        match message {
            Message::Begin(index) => hasher = Hasher::new(&jobs[index].kinds),
            Message::Block(block) => hasher.update(block.bytes()),
            Message::End(whole) => {
                let hashes = std::mem::replace(&mut hasher, Hasher::new(&[])).finish();
                for tell in told {
                    let _ = tell.send(hashes.first().filter(|_| whole).cloned());
                }
                all.push(hashes);
            }
        }
    }
    all
}

/// Writes every file that is not there under a temporary name.
fn write_all(
    jobs: &[Job<'_>],
    place: usize,
    folder: &Path,
    from_reader: &Receiver<Message>,
    to_back: &SyncSender<Result<Drafted>>,
) {
    let mut writer = Writer::new(folder);
    for message in from_reader {
        match message {
            Message::Begin(index) if jobs[index].there[place] => writer.leave(),
            Message::Begin(index) => writer.begin(jobs[index].file),
            Message::Block(block) => writer.write(block.bytes()),
            Message::End(whole) => {
                let _ = to_back.send(writer.end(whole));
            }
        }
    }
}

/// Reads every copy back, in the order of the files, and gives it its name when it is what was read.
fn read_back_all(
    jobs: &[Job<'_>],
    folder: &Path,
    hashes: &Receiver<Option<Hash>>,
    from_writer: &Receiver<Result<Drafted>>,
    progress: &dyn Progress,
) -> Vec<Result<Option<Kept>>> {
    let mut memory = Aligned::new();
    jobs.iter()
        .zip(hashes)
        .zip(from_writer)
        .map(|((job, hash), drafted)| {
            let path = folder.join(&job.file.path);
            let (Some(hash), drafted) = (hash, drafted?) else {
                // the card's own error says it all
                return Err(Error::new(Kind::Io, NOT_READ).at(&path));
            };
            if matches!(drafted, Drafted::NotTried) {
                return Ok(None);
            }
            keep(job, drafted, &hash, &path, &mut memory, progress).map(Some)
        })
        .collect()
}

fn keep(
    job: &Job<'_>,
    drafted: Drafted,
    expected: &Hash,
    path: &Path,
    memory: &mut Aligned,
    progress: &dyn Progress,
) -> Result<Kept> {
    let written = match &drafted {
        Drafted::There | Drafted::NotTried => path,
        Drafted::New(file) => file.path(),
    };
    let told = |bytes| progress.advance(bytes);
    let (hashes, size, how) =
        read_back(written, &[expected.kind], memory, &told).map_err(|error| {
            Error::new(Kind::Io, "cannot be read back")
                .at(path)
                .then("the medium may be failing: copy to another one")
                .from_source(error)
        })?;
    let equal = size == job.file.size && hashes.first() == Some(expected);
    match drafted {
        Drafted::There if equal => Ok(Kept {
            was_there: true,
            how,
        }),
        Drafted::There | Drafted::NotTried => Err(Error::new(
            Kind::Refused,
            "another file of this name and size is there; it was left as it is",
        )
        .at(path)
        .then(
            "if it is an earlier copy of this card, run `commontime verify` here: it may be damaged; else choose another \
             folder, or another --name for the card",
        )),
        Drafted::New(file) if equal => {
            give_name(file, path, Replace::No).map_err(|error| match error.kind() {
                Kind::Refused => Error::new(
                    Kind::Refused,
                    "another file has this name here by now, perhaps in other letters, upper or lower case",
                )
                .at(path)
                .then("copy to a place that tells upper from lower case, or where nobody else writes"),
                _ => error,
            })?;
            Ok(Kept {
                was_there: false,
                how,
            })
        }
        Drafted::New(_) => {
            let message = format!(
                "the medium does not hold what was written: {} bytes, {} {}, expected {} bytes, {}; the copy was not kept",
                size,
                expected.kind.name(),
                hashes.first().map_or("", |hash| &hash.text),
                job.file.size,
                expected.text
            );
            Err(Error::new(Kind::Verification, message)
                .at(path)
                .then("do not trust this medium: copy to another one"))
        }
    }
}
