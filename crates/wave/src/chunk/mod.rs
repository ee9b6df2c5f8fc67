//! The chunks of a wave file, one a file: `fmt `, `ds64`, `fact`, `bext`, `cue ` with its labels.

use std::fmt;

use zerocopy::byteorder::little_endian::U32;
use zerocopy::{FromBytes, Immutable, IntoBytes, KnownLayout, Unaligned};

pub(crate) mod fmt_chunk;
pub(crate) mod ds64;
pub mod bext;
pub mod markers;

/// The four letters that name a chunk.
#[derive(
    Clone,
    Copy,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Hash,
    FromBytes,
    IntoBytes,
    Immutable,
    KnownLayout,
    Unaligned,
)]
#[repr(transparent)]
pub struct ChunkId(pub [u8; 4]);

/// One chunk as the file has it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ChunkEntry {
    /// Its four letters.
    pub id: ChunkId,
    /// Byte offset of its payload in the file.
    pub offset: u64,
    /// Bytes of its payload that are in the file, without the pad byte.
    pub size: u64,
    /// The payload, when it is small and neither audio nor filler nor a size or format record.
    pub payload: Option<Vec<u8>>,
}

/// A chunk to be written as it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chunk {
    /// Its four letters.
    pub id: ChunkId,
    /// Its payload; a pad byte is added in writing when the size is odd.
    pub payload: Vec<u8>,
}

/// The eight bytes before every payload (RIFF 1991, chapter 2).
#[derive(Clone, Copy, FromBytes, IntoBytes, Immutable, KnownLayout, Unaligned)]
#[repr(C)]
pub(crate) struct ChunkHead {
    /// Four letters.
    pub id: ChunkId,
    /// Payload bytes, without this head and without the pad byte.
    pub size: U32,
}

impl ChunkId {
    pub(crate) const RIFF: Self = Self(*b"RIFF");
    pub(crate) const RF64: Self = Self(*b"RF64");
    pub(crate) const BW64: Self = Self(*b"BW64");
    pub(crate) const WAVE: Self = Self(*b"WAVE");
    pub(crate) const DS64: Self = Self(*b"ds64");
    pub(crate) const FMT: Self = Self(*b"fmt ");
    pub(crate) const FACT: Self = Self(*b"fact");
    pub(crate) const DATA: Self = Self(*b"data");
    pub(crate) const BEXT: Self = Self(*b"bext");
    pub(crate) const IXML: Self = Self(*b"iXML");
    pub(crate) const CUE: Self = Self(*b"cue ");
    pub(crate) const LIST: Self = Self(*b"LIST");
    pub(crate) const JUNK: Self = Self(*b"JUNK");

    /// Whether all four letters are printable ASCII, as RIFF 1991 asks.
    #[must_use]
    pub fn is_printable(self) -> bool {
        self.0.iter().all(|byte| (b' '..=b'~').contains(byte))
    }

    /// Whether it is one that wave files are known to carry; used where damage leaves several readings.
    #[must_use]
    pub fn is_known(self) -> bool {
        KNOWN.contains(&&self.0)
    }

    /// Whether it is filler without meaning.
    #[must_use]
    pub fn is_filler(self) -> bool {
        matches!(&self.0, b"JUNK" | b"junk" | b"FLLR" | b"PAD ")
    }
}

/// Chunks that published documents define for wave files: RIFF 1991; EBU Tech 3285 and its supplements (bext, mext,
/// levl, link, qlty, umid, axml); EBU Tech 3306 (ds64, r64m); ITU-R BS.2088 (chna, bxml, sxml); iXML. The rest is
/// common practice, no source.
const KNOWN: [&[u8; 4]; 33] = [
    b"fmt ", b"fact", b"data", b"cue ", b"plst", b"LIST", b"smpl", b"inst", b"JUNK", b"PAD ",
    b"bext", b"mext", b"levl", b"link", b"qlty", b"umid", b"axml", b"ds64", b"r64m", b"chna",
    b"bxml", b"sxml", b"iXML", b"junk", b"FLLR", b"_PMX", b"aXML", b"id3 ", b"ID3 ", b"acid",
    b"PEAK", b"cart", b"MD5 ",
];

impl fmt::Display for ChunkId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.is_printable() {
            f.write_str(String::from_utf8_lossy(&self.0).trim_end())
        } else {
            let [a, b, c, d] = self.0;
            write!(f, "0x{a:02X}{b:02X}{c:02X}{d:02X}")
        }
    }
}

impl fmt::Debug for ChunkId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "ChunkId({self})")
    }
}
