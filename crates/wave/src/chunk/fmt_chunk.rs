//! The `fmt ` chunk: payload bytes in, [`Format`] out, and back. RIFF 1991, chapter 3; the WAVEFORMATEXTENSIBLE
//! reference page (WFX below).

use zerocopy::byteorder::little_endian::{U16, U32};
use zerocopy::{FromBytes, Immutable, IntoBytes, KnownLayout, Unaligned};

use crate::error::{Error, Result};
use crate::format::{B_FORMAT_TAIL, Encoding, Format, SUBFORMAT_TAIL, Tag};
use crate::oddity::{Oddities, OddityKind, Words};

const RIFF91: &str = "RIFF 1991, chapter 3";
const WFX: &str = "WAVEFORMATEXTENSIBLE";

/// Bytes 0 to 15, which every form has.
#[derive(Clone, Copy, FromBytes, IntoBytes, Immutable, KnownLayout, Unaligned)]
#[repr(C)]
struct Common {
    /// +0: 1 integer, 3 floating point, 0xFFFE extensible.
    tag: U16,
    /// +2
    channels: U16,
    /// +4: samples a second.
    sample_rate: U32,
    /// +8: bytes a second.
    byte_rate: U32,
    /// +12: bytes of one sample of every channel.
    block_align: U16,
    /// +14: bits of one sample; of its container under the extensible tag.
    bits: U16,
}

/// Bytes 16 to 39 of the extensible form.
#[derive(Clone, Copy, FromBytes, IntoBytes, Immutable, KnownLayout, Unaligned)]
#[repr(C)]
struct Extension {
    /// +16: bytes that follow, 22.
    size: U16,
    /// +18
    valid_bits: U16,
    /// +20
    channel_mask: U32,
    /// +24
    subformat: [u8; 16],
}

/// Reads a payload.
pub(crate) fn parse(payload: &[u8], oddities: &mut Oddities<'_>) -> Result<Format> {
    let place = (oddities.chunk, oddities.offset);
    let malformed = |at: u64, words: Words| Error::Malformed(words.at(place.0, place.1 + at));
    let unsupported = |at: u64, words: Words| Error::Unsupported(words.at(place.0, place.1 + at));

    let Ok((common, rest)) = Common::read_from_prefix(payload) else {
        let found = format!("{} bytes", payload.len());
        return Err(malformed(
            0,
            Words::new(found, "16, 18 or 40 bytes", RIFF91),
        ));
    };
    if !matches!(payload.len(), 16 | 18 | 40) {
        let words = Words::new(
            format!("{} bytes", payload.len()),
            "16, 18 or 40 bytes",
            RIFF91,
        );
        oddities.add(OddityKind::FmtSize, 0, words);
    }

    // +0: the tag, which the sub-format at +24 replaces in the extensible form
    let (kind, tag) = match common.tag.get() {
        plain @ (1 | 3) => (plain, Tag::Plain),
        0xFFFE => {
            let Ok((extension, _)) = Extension::read_from_prefix(rest) else {
                let found = format!("{} bytes under tag 0xFFFE", payload.len());
                return Err(malformed(0, Words::new(found, "40 bytes", WFX)));
            };
            if extension.size.get() != 22 {
                let words = Words::new(format!("extension of {}", extension.size), "22", WFX);
                oddities.add(OddityKind::FmtSize, 16, words);
            }
            let Some(kind) = subformat_kind(&extension.subformat) else {
                let found = format!("sub-format {:02X?}", extension.subformat);
                return Err(unsupported(
                    24,
                    Words::new(found, "PCM or floating point", WFX),
                ));
            };
            let (channel_mask, subformat) = (extension.channel_mask.get(), extension.subformat);
            (
                kind,
                Tag::Extensible {
                    channel_mask,
                    subformat,
                },
            )
        }
        other => {
            let found = format!("tag 0x{other:04X}{}", tag_name(other));
            let words = Words::new(found, "1 (PCM), 3 (floating point) or 0xFFFE", RIFF91);
            return Err(unsupported(0, words));
        }
    };

    // +2, +4: none of something is no audio
    let (channels, sample_rate) = (common.channels.get(), common.sample_rate.get());
    if channels == 0 {
        return Err(malformed(2, Words::new("0 channels", "1 or more", RIFF91)));
    }
    if sample_rate == 0 {
        return Err(malformed(
            4,
            Words::new("0 samples a second", "1 or more", RIFF91),
        ));
    }

    // +14: samples stand in the smallest whole number of bytes, upper bits first (RIFF 1991, "Data Format of the
    // Samples"); a block size that leaves four bytes for 24 bits is believed, because that is how such files are made.
    let bits = common.bits.get();
    let block_align = common.block_align.get();
    let roomy =
        kind == 1 && (17..=24).contains(&bits) && u32::from(block_align) == 4 * u32::from(channels);
    let container = if roomy {
        32
    } else {
        bits.div_ceil(8).saturating_mul(8)
    };
    let encoding = match (kind, container) {
        (_, 0) => return Err(malformed(14, Words::new("0 bits", "16 to 64", RIFF91))),
        (1, 16) => Encoding::Int16,
        (1, 24) => Encoding::Int24,
        (1, 32) => Encoding::Int32,
        (3, 32) if bits == 32 => Encoding::Float32,
        (3, 64) if bits == 64 => Encoding::Float64,
        _ => {
            let name = if kind == 1 {
                "integer"
            } else {
                "floating point"
            };
            let expected = "integer of 9 to 32 bits or floating point of 32 or 64 bits";
            let found = format!("{name} of {bits} bits");
            return Err(unsupported(14, Words::new(found, expected, RIFF91)));
        }
    };

    // +12, +8: follow from the others
    let block = usize::from(channels) * encoding.bytes();
    if usize::from(block_align) != block || roomy {
        let expected = format!("{}", usize::from(channels) * usize::from(bits.div_ceil(8)));
        let words = Words::new(format!("block size {block_align}"), expected, RIFF91);
        oddities.add(OddityKind::BlockAlign, 12, words);
    }
    let byte_rate = block as u64 * u64::from(sample_rate);
    if u64::from(common.byte_rate.get()) != byte_rate {
        let found = format!("{} bytes a second", common.byte_rate);
        oddities.add(
            OddityKind::ByteRate,
            8,
            Words::new(found, byte_rate.to_string(), RIFF91),
        );
    }

    // +18: valid bits are at most the container's; 0 is written by those who do not know them
    let mut valid_bits = bits;
    if let (Tag::Extensible { .. }, Ok((extension, _))) = (tag, Extension::read_from_prefix(rest)) {
        valid_bits = extension.valid_bits.get();
        if valid_bits == 0 || valid_bits > encoding.bits() {
            let expected = format!("1 to {}", encoding.bits());
            let words = Words::new(format!("{valid_bits} valid bits"), expected, WFX);
            oddities.add(OddityKind::ValidBits, 18, words);
            valid_bits = encoding.bits();
        }
    }
    Ok(Format {
        channels,
        sample_rate,
        encoding,
        valid_bits,
        tag,
    })
}

/// The payload for `format`: 16 bytes for plain integers, 18 for plain floating point (a form other than PCM states
/// the size of its extension, 0), 40 for extensible.
pub(crate) fn to_bytes(format: &Format) -> Result<Vec<u8>> {
    let block = format.block_bytes();
    let Ok(block_align) = u16::try_from(block) else {
        let message = format!("{block} bytes for one sample of every channel, fmt holds 65535");
        return Err(Error::request(message));
    };
    if format.channels == 0 || format.sample_rate == 0 {
        return Err(Error::request(
            "a format without channels or without a rate".into(),
        ));
    }
    if !(1..=format.encoding.bits()).contains(&format.valid_bits) {
        let message = format!(
            "{} valid bits of {}",
            format.valid_bits,
            format.encoding.bits()
        );
        return Err(Error::request(message));
    }
    let float = format.encoding.is_float();
    let tag = match format.tag {
        Tag::Plain if float => 3,
        Tag::Plain => 1,
        Tag::Extensible { .. } => 0xFFFE,
    };
    let byte_rate = block as u64 * u64::from(format.sample_rate);
    let common = Common {
        tag: U16::new(tag),
        channels: U16::new(format.channels),
        sample_rate: U32::new(format.sample_rate),
        byte_rate: U32::new(u32::try_from(byte_rate).unwrap_or(u32::MAX)),
        block_align: U16::new(block_align),
        bits: U16::new(format.encoding.bits()),
    };
    let mut bytes = common.as_bytes().to_vec();
    match format.tag {
        Tag::Plain if float => bytes.extend([0, 0]),
        Tag::Plain => {}
        Tag::Extensible {
            channel_mask,
            subformat,
        } => {
            let extension = Extension {
                size: U16::new(22),
                valid_bits: U16::new(format.valid_bits),
                channel_mask: U32::new(channel_mask),
                subformat,
            };
            bytes.extend(extension.as_bytes());
        }
    }
    Ok(bytes)
}

/// The plain tag that a sub-format GUID stands for.
fn subformat_kind(guid: &[u8; 16]) -> Option<u16> {
    let (head, tail) = guid.split_at(4);
    let known = tail == &SUBFORMAT_TAIL[4..] || tail == &B_FORMAT_TAIL[4..];
    match head {
        [kind @ (1 | 3), 0, 0, 0] if known => Some(u16::from(*kind)),
        _ => None,
    }
}

/// Names of the tags that turn up most, from RFC 2361.
fn tag_name(tag: u16) -> &'static str {
    match tag {
        0x0000 => " (unknown)",
        0x0002 => " (ADPCM)",
        0x0006 => " (A-law)",
        0x0007 => " (mu-law)",
        0x0011 => " (IMA ADPCM)",
        0x0050 => " (MPEG)",
        0x0055 => " (MPEG layer 3)",
        _ => "",
    }
}
