//! The `ds64` chunk: payload bytes in, 64-bit sizes out, and back. EBU Tech 3306 (RF64) and ITU-R BS.2088 (BW64).

use zerocopy::byteorder::little_endian::{U32, U64};
use zerocopy::{FromBytes, Immutable, IntoBytes, KnownLayout, Unaligned};

use crate::chunk::ChunkId;
use crate::oddity::{Oddities, OddityKind, Words};

/// The fixed part, 28 bytes. The documents give each size as a low and then a high 32-bit word, which is one
/// little-endian 64-bit number.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, FromBytes, IntoBytes, Immutable, KnownLayout, Unaligned,
)]
#[repr(C)]
pub(crate) struct Ds64Record {
    /// +0: what the outermost size field would say.
    pub riff_size: U64,
    /// +8: bytes of audio.
    pub data_size: U64,
    /// +16: what `fact` would say, samples per channel; a dummy in BW64.
    pub sample_count: U64,
    /// +24: entries of the table that follows.
    pub table_length: U32,
}

/// One entry of the table, 12 bytes: the size of a chunk other than `data` that has 4 GiB or more.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, FromBytes, IntoBytes, Immutable, KnownLayout, Unaligned,
)]
#[repr(C)]
struct TableEntry {
    id: ChunkId,
    size: U64,
}

/// What a `ds64` chunk says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Ds64 {
    /// The fixed part.
    pub record: Ds64Record,
    table: Vec<TableEntry>,
}

/// Bytes of the fixed part.
pub(crate) const DS64_BYTES: usize = size_of::<Ds64Record>();

impl Ds64 {
    /// Reads a payload; `None` when even the fixed part is incomplete.
    pub fn parse(payload: &[u8], oddities: &mut Oddities<'_>) -> Option<Self> {
        let Ok((record, rest)) = Ds64Record::read_from_prefix(payload) else {
            let found = format!("{} bytes", payload.len());
            let words = Words::new(found, "28 bytes or more", "EBU Tech 3306, ds64");
            oddities.add(OddityKind::ChunkTooShort, 0, words);
            return None;
        };
        // The entries that the chunk really has bound the table, whatever its count says.
        let held = rest.len() / size_of::<TableEntry>();
        let promised = record.table_length.get() as usize;
        if promised > held {
            let found = format!("{promised} entries");
            let words = Words::new(found, format!("at most {held}"), "EBU Tech 3306, ds64");
            oddities.add(OddityKind::Ds64Table, 24, words);
        }
        let table = rest
            .chunks_exact(size_of::<TableEntry>())
            .take(promised)
            .filter_map(|bytes| TableEntry::read_from_bytes(bytes).ok())
            .collect();
        Some(Self { record, table })
    }

    /// The size of the first chunk `id` in the table.
    pub fn size_of(&self, id: ChunkId) -> Option<u64> {
        self.table
            .iter()
            .find(|entry| entry.id == id)
            .map(|entry| entry.size.get())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The sizes of a published RF64 test file (riffSize 0x20514, dataSize 0x204CC, 22050 samples of six bytes).
    #[test]
    fn low_words_come_first() {
        let mut bytes = [0u8; 28];
        bytes[..3].copy_from_slice(&[0x14, 0x05, 0x02]);
        bytes[8..11].copy_from_slice(&[0xCC, 0x04, 0x02]);
        bytes[12] = 1;
        bytes[16..18].copy_from_slice(&[0x22, 0x56]);
        let mut list = Vec::new();
        let ds64 = Ds64::parse(
            &bytes,
            &mut Oddities {
                offset: 20,
                chunk: ChunkId::DS64,
                list: &mut list,
            },
        )
        .expect("complete");
        assert_eq!(ds64.record.riff_size.get(), 0x20514);
        assert_eq!(ds64.record.data_size.get(), 0x1_0002_04CC);
        assert_eq!(ds64.record.sample_count.get(), 22_050);
        assert!(list.is_empty());
    }

    #[test]
    fn table_entries_are_twelve_bytes() {
        let mut bytes = vec![0u8; 24];
        bytes.extend([2, 0, 0, 0]);
        bytes.extend(*b"axml\x01\0\0\0\x01\0\0\0");
        bytes.extend(*b"levl\x05\0\0\0\x02\0\0\0");
        let mut list = Vec::new();
        let ds64 = Ds64::parse(
            &bytes,
            &mut Oddities {
                offset: 20,
                chunk: ChunkId::DS64,
                list: &mut list,
            },
        )
        .expect("complete");
        assert_eq!(ds64.size_of(ChunkId(*b"axml")), Some((1 << 32) + 1));
        assert_eq!(ds64.size_of(ChunkId(*b"levl")), Some((2 << 32) + 5));
        assert_eq!(ds64.size_of(ChunkId(*b"bext")), None);
    }
}
