//! The first bytes of a file in, which sound it is besides wave sound out: by what it holds, not by what it is called.

use std::fmt;
use std::path::Path;

use wave::{ReadAt, read_exact_at};

use crate::error::Result;

/// Bytes of a file's head that are looked at.
const HEAD: usize = 42;

/// Sound that is not read here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OtherSound {
    /// FLAC, with what its first block says (RFC 9639, 8.2).
    Flac {
        /// Samples a second.
        rate: u32,
        /// How many channels.
        channels: u8,
        /// Bits a sample.
        bits: u8,
        /// Samples a channel; 0 when it does not say.
        length: u64,
    },
    /// AIFF.
    Aiff,
    /// AIFF with a coding that may lose something.
    Aifc,
    /// A Core Audio file; its coding may lose something.
    Caf,
    /// Wave 64: wave sound under 64-bit sizes of another kind.
    Wave64,
    /// MPEG audio, layer 1 to 3.
    Mpeg,
    /// AAC in ADTS.
    Aac,
    /// Ogg: Vorbis, Opus or FLAC.
    Ogg,
    /// MP4.
    Mp4,
    /// Advanced Systems Format: Windows Media.
    Asf,
    /// None of these.
    Unknown,
}

impl OtherSound {
    /// Whether every sample is what the unit recorded.
    #[must_use]
    pub fn is_lossless(self) -> bool {
        matches!(self, Self::Flac { .. } | Self::Aiff | Self::Wave64)
    }
}

impl fmt::Display for OtherSound {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Flac {
                rate,
                channels,
                bits,
                length,
            } => {
                return write!(
                    f,
                    "FLAC, {channels} channels, {bits} bits, {rate} Hz, {length} samples"
                );
            }
            Self::Aiff => "AIFF",
            Self::Aifc => "AIFF-C",
            Self::Caf => "a Core Audio file",
            Self::Wave64 => "Wave 64",
            Self::Mpeg => "MPEG audio",
            Self::Aac => "AAC",
            Self::Ogg => "Ogg",
            Self::Mp4 => "MP4",
            Self::Asf => "Windows Media",
            Self::Unknown => "no sound that is known here",
        })
    }
}

/// What sound a file holds that is no wave file.
///
/// # Errors
/// When it cannot be read.
pub fn sniff(path: &Path) -> Result<OtherSound> {
    let file = super::open(path)?;
    let failed = |error| super::unreadable(path, error);
    let size = file.size().map_err(failed)?;
    let mut head = vec![0; HEAD.min(usize::try_from(size).unwrap_or(HEAD))];
    read_exact_at(&file, &mut head, 0).map_err(failed)?;
    Ok(of_head(&head))
}

/// Marks: FLAC RFC 9639, 6; AIFF-C 1991 draft, chapter 2; ISO/IEC 11172-3, 2.4.1.3; ISO/IEC 13818-7, 6.2; RFC 3533, 6;
/// ISO/IEC 14496-12, 4.3; the others from memory.
fn of_head(head: &[u8]) -> OtherSound {
    let at = |from: usize, mark: &[u8]| head.get(from..from + mark.len()) == Some(mark);
    match head {
        _ if at(0, b"fLaC") => flac(head),
        _ if at(0, b"FORM") && at(8, b"AIFF") => OtherSound::Aiff,
        _ if at(0, b"FORM") && at(8, b"AIFC") => OtherSound::Aifc,
        _ if at(0, b"caff") => OtherSound::Caf,
        _ if at(0, b"riff\x2e\x91\xcf\x11") => OtherSound::Wave64,
        _ if at(0, b"OggS") => OtherSound::Ogg,
        _ if at(4, b"ftyp") => OtherSound::Mp4,
        _ if at(0, b"\x30\x26\xb2\x75\x8e\x66\xcf\x11") => OtherSound::Asf,
        _ if at(0, b"ID3") => OtherSound::Mpeg,
        // twelve bits of ones, then two for the layer: none of MPEG's is 0
        [0xff, second, ..] if second & 0xf6 == 0xf0 => OtherSound::Aac,
        [0xff, second, third, ..]
            if second & 0xe0 == 0xe0 && second & 6 != 0 && third >> 4 != 15 =>
        {
            OtherSound::Mpeg
        }
        _ => OtherSound::Unknown,
    }
}

fn flac(head: &[u8]) -> OtherSound {
    // the block's head is four bytes; rate, channels, bits and length stand ten bytes into it as 20, 3, 5 and 36 bits
    let Some(Ok(packed)) = head.get(18..26).map(<[u8; 8]>::try_from) else {
        return OtherSound::Unknown;
    };
    let packed = u64::from_be_bytes(packed);
    OtherSound::Flac {
        rate: (packed >> 44) as u32,
        channels: (packed >> 41 & 7) as u8 + 1,
        bits: (packed >> 36 & 31) as u8 + 1,
        length: packed & ((1 << 36) - 1),
    }
}
