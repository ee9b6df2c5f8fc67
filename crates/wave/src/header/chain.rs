//! A file and a place in it, in; where the next chunk starts, or whether a run of chunks leads exactly to the end of
//! the file, out. This is how a true end of audio is told from four letters that happen to stand in it.

use zerocopy::FromBytes;

use crate::chunk::{ChunkHead, ChunkId};
use crate::error::Result;
use crate::read_at::{ReadAt, read_exact_at};

/// Bytes of a chunk's head.
pub(super) const HEAD_BYTES: u64 = size_of::<ChunkHead>() as u64;

/// The most chunks that are followed to decide whether they lead to the end of the file; as many in a row are no
/// chance, and count as if they did.
const LONGEST_CHAIN: usize = 256;

/// A source and its size.
pub(super) struct Bytes<'a, R: ReadAt + ?Sized> {
    /// Where the bytes come from.
    pub source: &'a R,
    /// How many there are.
    pub size: u64,
}

/// What stands after a payload.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Pad {
    /// What the format asks for.
    Right,
    /// None where one is due.
    Missing,
    /// A byte that is not zero.
    NotZero(u8),
}

impl<R: ReadAt + ?Sized> Bytes<'_, R> {
    /// `n` bytes from `at` on, fewer at the end of the file.
    pub fn some(&self, at: u64, n: usize) -> Result<Vec<u8>> {
        let rest = usize::try_from(self.size.saturating_sub(at)).unwrap_or(usize::MAX);
        let mut bytes = vec![0; n.min(rest)];
        read_exact_at(self.source, &mut bytes, at)?;
        Ok(bytes)
    }

    /// The head at `at`, if the file is long enough to hold one there.
    pub fn head(&self, at: u64) -> Result<Option<ChunkHead>> {
        if self.size.saturating_sub(at) < HEAD_BYTES {
            return Ok(None);
        }
        let mut bytes = [0; HEAD_BYTES as usize];
        read_exact_at(self.source, &mut bytes, at)?;
        Ok(ChunkHead::read_from_bytes(&bytes).ok())
    }

    /// Where the chunk after a payload that ends at `end` starts, given the payload's size.
    ///
    /// A payload of odd size is followed by one zero byte that its size does not count (RIFF 1991, chapter 2). Some
    /// writers leave it out, some leave what was in the buffer: then the letters decide.
    pub fn after(&self, end: u64, size: u64) -> Result<(u64, Pad)> {
        if size.is_multiple_of(2) {
            return Ok((end, Pad::Right));
        }
        let bytes = self.some(end, 8)?;
        let id = |from: usize| {
            bytes
                .get(from..)
                .and_then(|bytes| bytes.first_chunk())
                .map(|&letters| ChunkId(letters))
        };
        Ok(match (bytes.first(), id(0), id(1)) {
            (None, ..) => (end, Pad::Missing),
            (Some(0), ..) => (end + 1, Pad::Right),
            (Some(&pad), _, Some(padded)) if padded.is_known() => (end + 1, Pad::NotZero(pad)),
            (_, Some(unpadded), _) if unpadded.is_printable() => (end, Pad::Missing),
            (Some(&pad), ..) => (end + 1, Pad::NotZero(pad)),
        })
    }

    /// Whether chunks follow one another from `at` to exactly the end of the file. No chunk at all is such a run
    /// when `at` is the end.
    pub fn chain_to_end(&self, mut at: u64) -> Result<bool> {
        for _ in 0..LONGEST_CHAIN {
            if at >= self.size {
                return Ok(true);
            }
            let Some(head) = self.head(at)? else {
                return Ok(false);
            };
            let size = u64::from(head.size.get());
            let end = at + HEAD_BYTES + size;
            if !head.id.is_printable() || end > self.size {
                return Ok(false);
            }
            at = self.after(end, size)?.0;
        }
        Ok(true)
    }

    /// Whether a payload of `size` bytes that starts at `start` is followed by chunks to exactly the end of the file.
    pub fn ends_well(&self, start: u64, size: u64) -> Result<bool> {
        match start.checked_add(size) {
            Some(end) if end <= self.size => {
                let (next, _) = self.after(end, size)?;
                self.chain_to_end(next)
            }
            _ => Ok(false),
        }
    }
}
