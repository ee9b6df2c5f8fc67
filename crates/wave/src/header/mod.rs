//! A file in, what it is out: container, format, place and length of the audio, metadata, all chunks in order, and
//! every departure from the format. RIFF 1991, chapter 2; EBU Tech 3306; ITU-R BS.2088.

mod chain;
mod extent;
mod walk;

use crate::chunk::bext::Bext;
use crate::chunk::markers::Marker;
use crate::chunk::{ChunkEntry, ChunkId};
use crate::error::Result;
use crate::format::Format;
use crate::ixml::Ixml;
use crate::oddity::{Oddity, OddityKind};
use crate::read_at::{ReadAt, read_exact_at};

/// Which of the three outermost headers a file has.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Container {
    /// 32-bit sizes.
    Riff,
    /// 64-bit sizes in `ds64` (EBU Tech 3306).
    Rf64,
    /// 64-bit sizes in `ds64` (ITU-R BS.2088).
    Bw64,
}

/// What a wave file is, without its audio.
#[derive(Debug, Clone, PartialEq)]
pub struct Header {
    /// The outermost header.
    pub container: Container,
    /// How samples are stored.
    pub format: Format,
    /// Byte offset of the first sample.
    pub data_offset: u64,
    /// Bytes of audio, whole samples of all channels only.
    pub data_bytes: u64,
    /// Samples per channel.
    pub length: u64,
    /// Bytes of the whole file.
    pub file_bytes: u64,
    /// The broadcast extension, if there is one.
    pub bext: Option<Bext>,
    /// The iXML, if there is one.
    pub ixml: Option<Ixml>,
    /// Marked places with their labels, in the order of the file.
    pub markers: Vec<Marker>,
    /// All chunks in the order of the file, the audio among them.
    pub chunks: Vec<ChunkEntry>,
    /// Every departure from the format that did not stop the reading.
    pub oddities: Vec<Oddity>,
}

impl Header {
    /// Reads everything but the audio. Memory and time do not depend on the length of the audio.
    ///
    /// # Errors
    /// `Io` when the source cannot be read; `Malformed` when it is no wave file or lacks its format or its audio;
    /// `Unsupported` when it is one whose samples this crate does not read.
    pub fn read(source: &(impl ReadAt + ?Sized)) -> Result<Self> {
        walk::read(source)
    }

    /// The oddities of one kind.
    pub fn oddities_of(&self, kind: OddityKind) -> impl Iterator<Item = &Oddity> {
        self.oddities
            .iter()
            .filter(move |oddity| oddity.kind == kind)
    }

    /// Whether the length had to be taken from the file because its header is wrong, and is therefore only as sure
    /// as the end of the file is.
    #[must_use]
    pub fn length_from_file(&self) -> bool {
        self.oddities
            .iter()
            .any(|oddity| oddity.kind.length_from_file())
    }

    /// The payload of a chunk, at most `cap` bytes of it.
    ///
    /// # Errors
    /// When the source cannot be read.
    pub fn read_chunk(
        &self,
        source: &(impl ReadAt + ?Sized),
        chunk: &ChunkEntry,
        cap: usize,
    ) -> Result<Vec<u8>> {
        let held = chunk.size.min(self.file_bytes.saturating_sub(chunk.offset));
        let mut bytes = vec![0; usize::try_from(held).unwrap_or(usize::MAX).min(cap)];
        read_exact_at(source, &mut bytes, chunk.offset)?;
        Ok(bytes)
    }

    /// The first chunk `id`.
    #[must_use]
    pub fn chunk(&self, id: ChunkId) -> Option<&ChunkEntry> {
        self.chunks.iter().find(|chunk| chunk.id == id)
    }
}
