//! A source in, samples out: a wave file whose header has been read, for streaming and for random access.

use std::cell::RefCell;

use crate::error::{Error, Result};
use crate::header::Header;
use crate::read_at::{ReadAt, read_exact_at};

/// Bytes that are read at a time: large enough for cards, small enough to stay in the second-level cache.
const PIECE_BYTES: usize = 256 << 10;

thread_local! {
    /// Where a thread reads into before decoding, so that no memory is asked for at every read.
    static PIECE: RefCell<Vec<u8>> = const { RefCell::new(Vec::new()) };
}

/// A wave file that can be read from any place by any number of threads.
#[derive(Debug)]
pub struct WaveFile<R> {
    header: Header,
    source: R,
}

impl<R: ReadAt> WaveFile<R> {
    /// Reads the header of `source`.
    ///
    /// # Errors
    /// See [`Header::read`].
    pub fn open(source: R) -> Result<Self> {
        let header = Header::read(&source)?;
        Ok(Self { header, source })
    }

    /// What the file is.
    #[must_use]
    pub fn header(&self) -> &Header {
        &self.header
    }

    /// Where the bytes come from.
    #[must_use]
    pub fn source(&self) -> &R {
        &self.source
    }

    /// Reads the channels asked for (counted from 0) from sample position `start` on into one slice each. Says how
    /// many sample positions the file had to give; what lies beyond its end is set to 0.
    ///
    /// # Errors
    /// When the source cannot be read, a channel is not in the file, or the slices differ in number from the
    /// channels or in length from each other.
    pub fn read(&self, channels: &[usize], start: u64, out: &mut [&mut [f64]]) -> Result<usize> {
        let asked = out.first().map_or(0, |slice| slice.len());
        if out.iter().any(|slice| slice.len() != asked) {
            return Err(Error::request("slices of different length".into()));
        }
        let block = self.header.format.block_bytes();
        let left = self.header.length.saturating_sub(start);
        let held = usize::try_from(left).unwrap_or(usize::MAX).min(asked);
        let piece = (PIECE_BYTES / block).max(1).min(held);
        // an empty request still says when a channel is not there
        self.header.format.decode(&[], channels, out)?;
        PIECE.with_borrow_mut(|bytes| {
            bytes.resize(bytes.len().max(piece * block), 0);
            let mut done = 0;
            while done < held {
                let bytes = &mut bytes[..piece.min(held - done) * block];
                let at = self.header.data_offset + (start + done as u64) * block as u64;
                read_exact_at(&self.source, bytes, at)?;
                let mut rest: Vec<&mut [f64]> =
                    out.iter_mut().map(|slice| &mut slice[done..held]).collect();
                done += self.header.format.decode(bytes, channels, &mut rest)?;
            }
            Ok::<(), Error>(())
        })?;
        for slice in out {
            slice[held..].fill(0.0);
        }
        Ok(held)
    }

    /// Reads audio bytes as they are, from sample position `start` on, as many whole samples of all channels as fit
    /// into `out` and the file has. Says how many bytes.
    ///
    /// # Errors
    /// When the source cannot be read.
    pub fn read_bytes(&self, start: u64, out: &mut [u8]) -> Result<usize> {
        let block = self.header.format.block_bytes();
        let left = usize::try_from(self.header.length.saturating_sub(start)).unwrap_or(usize::MAX);
        let bytes = (out.len() / block).min(left) * block;
        let at = self
            .header
            .data_offset
            .saturating_add(start.saturating_mul(block as u64));
        read_exact_at(&self.source, &mut out[..bytes], at)?;
        Ok(bytes)
    }
}
