//! Wave files made byte by byte, independently of the code under test: RIFF 1991, chapters 2 and 3.
#![allow(dead_code, reason = "each test binary uses its own part")]

pub mod ixml;

/// Head, payload and pad byte.
pub fn chunk(id: &[u8; 4], payload: &[u8]) -> Vec<u8> {
    let mut out = unpadded(id, payload.len() as u32, payload);
    if payload.len() % 2 == 1 {
        out.push(0);
    }
    out
}

/// Head with any size, and payload without pad byte.
pub fn unpadded(id: &[u8; 4], size: u32, payload: &[u8]) -> Vec<u8> {
    let mut out = id.to_vec();
    out.extend(size.to_le_bytes());
    out.extend(payload);
    out
}

/// The outermost chunk with any size.
pub fn outer(id: &[u8; 4], size: u32, chunks: &[Vec<u8>]) -> Vec<u8> {
    let mut out = unpadded(id, size, b"WAVE");
    out.extend(chunks.concat());
    out
}

/// A RIFF file whose outermost size is right.
pub fn riff(chunks: &[Vec<u8>]) -> Vec<u8> {
    outer(b"RIFF", 4 + chunks.concat().len() as u32, chunks)
}

/// What a `fmt ` payload says in its first 16 bytes.
#[derive(Debug, Clone, Copy)]
pub struct Fmt {
    pub tag: u16,
    pub channels: u16,
    pub rate: u32,
    pub bits: u16,
    pub block: u16,
}

impl Fmt {
    pub fn new(tag: u16, channels: u16, bits: u16) -> Self {
        let block = channels.wrapping_mul(bits.div_ceil(8));
        Self {
            tag,
            channels,
            rate: 48_000,
            bits,
            block,
        }
    }

    /// The 16 bytes that every form has.
    pub fn payload(self) -> Vec<u8> {
        let mut out = Vec::new();
        out.extend(self.tag.to_le_bytes());
        out.extend(self.channels.to_le_bytes());
        out.extend(self.rate.to_le_bytes());
        out.extend(self.rate.wrapping_mul(u32::from(self.block)).to_le_bytes());
        out.extend(self.block.to_le_bytes());
        out.extend(self.bits.to_le_bytes());
        out
    }

    /// The chunk of 16 bytes.
    pub fn chunk(self) -> Vec<u8> {
        chunk(b"fmt ", &self.payload())
    }

    /// The chunk of 40 bytes; `kind` is 1 for PCM and 3 for floating point.
    pub fn extensible(self, valid_bits: u16, mask: u32, kind: u8) -> Vec<u8> {
        let mut payload = Self {
            tag: 0xFFFE,
            ..self
        }
        .payload();
        payload.extend(22u16.to_le_bytes());
        payload.extend(valid_bits.to_le_bytes());
        payload.extend(mask.to_le_bytes());
        payload.extend([
            kind, 0, 0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71,
        ]);
        chunk(b"fmt ", &payload)
    }
}

/// A `ds64` payload: sizes of the whole and of the audio, samples per channel, then table entries under a count.
pub fn ds64(riff: u64, data: u64, samples: u64, count: u32, table: &[u8]) -> Vec<u8> {
    let mut payload = Vec::new();
    for size in [riff, data, samples] {
        payload.extend(((size & 0xFFFF_FFFF) as u32).to_le_bytes());
        payload.extend(((size >> 32) as u32).to_le_bytes());
    }
    payload.extend(count.to_le_bytes());
    payload.extend(table);
    chunk(b"ds64", &payload)
}

/// `length` 16-bit samples of `channels` channels, none of them zero: channel c of position n is 1 + 100 c + n.
pub fn audio16(channels: usize, length: usize) -> Vec<u8> {
    let value = |n: usize, c: usize| (1 + 100 * c + n) as i16;
    (0..length)
        .flat_map(|n| (0..channels).flat_map(move |c| value(n, c).to_le_bytes()))
        .collect()
}

/// A `bext` payload of version `version` with a stamp, everything else blank.
pub fn bext(version: u16, stamp: u64, history: &[u8]) -> Vec<u8> {
    let mut payload = vec![0; 602];
    payload[338..342].copy_from_slice(&((stamp & 0xFFFF_FFFF) as u32).to_le_bytes());
    payload[342..346].copy_from_slice(&((stamp >> 32) as u32).to_le_bytes());
    payload[346..348].copy_from_slice(&version.to_le_bytes());
    payload.extend(history);
    payload
}

/// A small iXML document.
pub const IXML: &[u8] = b"<?xml version=\"1.0\"?><BWFXML><SCENE>7</SCENE><TAKE>2</TAKE></BWFXML>";
