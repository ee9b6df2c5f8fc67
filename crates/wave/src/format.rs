//! How samples are stored: encoding, channels, rate, and which format tag says so.

use crate::decode::decode;
use crate::error::Result;

/// How one sample of one channel is stored; all are little-endian.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Encoding {
    /// 16-bit integer, two's complement.
    Int16,
    /// 24-bit integer, two's complement, three bytes.
    Int24,
    /// 32-bit integer, two's complement; 24 valid bits stand in the upper three bytes.
    Int32,
    /// 32-bit IEEE 754 floating point.
    Float32,
    /// 64-bit IEEE 754 floating point.
    Float64,
}

/// What the `fmt ` chunk says about the samples.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Format {
    /// Channels in the file, at least 1.
    pub channels: u16,
    /// Samples a second, at least 1.
    pub sample_rate: u32,
    /// How one sample is stored.
    pub encoding: Encoding,
    /// Bits that carry signal, at most the stored ones; the signal is left-justified, so that values need no rescaling.
    pub valid_bits: u16,
    /// Plain or extensible.
    pub tag: Tag,
}

/// Which form of the `fmt ` chunk is used.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tag {
    /// Tag 1 (integer) or 3 (floating point).
    Plain,
    /// Tag 0xFFFE.
    Extensible {
        /// One bit a loudspeaker position; 0 claims none, which is right for microphones.
        channel_mask: u32,
        /// The sub-format GUID as on disk.
        subformat: [u8; 16],
    },
}

impl Encoding {
    /// Stored bytes of one sample.
    #[must_use]
    pub const fn bytes(self) -> usize {
        match self {
            Self::Int16 => 2,
            Self::Int24 => 3,
            Self::Int32 | Self::Float32 => 4,
            Self::Float64 => 8,
        }
    }

    /// Stored bits of one sample.
    #[must_use]
    pub const fn bits(self) -> u16 {
        match self {
            Self::Int16 => 16,
            Self::Int24 => 24,
            Self::Int32 | Self::Float32 => 32,
            Self::Float64 => 64,
        }
    }

    /// Whether samples are floating point.
    #[must_use]
    pub const fn is_float(self) -> bool {
        matches!(self, Self::Float32 | Self::Float64)
    }
}

impl Format {
    /// Decodes `bytes`, which hold whole samples of all channels as they stand in a file, into one slice per channel asked
    /// for. Says how many sample positions it decoded: what `bytes` and the shortest slice hold.
    ///
    /// # Errors
    /// When a channel (counted from 0) is not in the file, or `channels` and `out` differ in number.
    pub fn decode(
        &self,
        bytes: &[u8],
        channels: &[usize],
        out: &mut [&mut [f64]],
    ) -> Result<usize> {
        decode(self, bytes, channels, out)
    }

    /// A format under the plain tag with all bits valid, as most receivers want it.
    #[must_use]
    pub const fn plain(channels: u16, sample_rate: u32, encoding: Encoding) -> Self {
        Self {
            channels,
            sample_rate,
            encoding,
            valid_bits: encoding.bits(),
            tag: Tag::Plain,
        }
    }

    /// The same format under the extensible tag with mask 0: no loudspeaker positions are claimed.
    #[must_use]
    pub const fn extensible(self) -> Self {
        let mut subformat = SUBFORMAT_TAIL;
        subformat[0] = if self.encoding.is_float() { 3 } else { 1 };
        Self {
            tag: Tag::Extensible {
                channel_mask: 0,
                subformat,
            },
            ..self
        }
    }

    /// Stored bytes of one sample of every channel.
    #[must_use]
    pub const fn block_bytes(&self) -> usize {
        self.channels as usize * self.encoding.bytes()
    }
}

/// The template {XXXXXXXX-0000-0010-8000-00AA00389B71} as on disk, its first four bytes open (RFC 2361, section 4).
pub(crate) const SUBFORMAT_TAIL: [u8; 16] = [
    0, 0, 0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71,
];

/// The template {XXXXXXXX-0721-11D3-8644-C8C1CA000000} that marks B-format, as on disk.
pub(crate) const B_FORMAT_TAIL: [u8; 16] = [
    0, 0, 0, 0, 0x21, 0x07, 0xD3, 0x11, 0x86, 0x44, 0xC8, 0xC1, 0xCA, 0, 0, 0,
];
