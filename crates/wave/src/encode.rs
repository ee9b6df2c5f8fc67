//! Planar or interleaved `f64` in, interleaved bytes out. Integers are rounded to the nearest, halves to even, and
//! clipped; what was clipped is counted. No dither: that belongs to whoever knows what the signal is.

use crate::error::{Error, Result};
use crate::format::{Encoding, Format};
use crate::tile;

/// Bytes that are encoded for all channels before going on.
const PIECE_BYTES: usize = 8 << 10;

/// What happened to the values on their way into an encoding.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Encoded {
    /// Values outside the range of the integers, stored as the nearest that fits.
    pub clipped: u64,
    /// Values that are no number, stored as 0 in integers and as they are in floating point.
    pub not_a_number: u64,
}

/// Encodes one slice per channel, all of one length, as they stand in a file of `format`: whole samples of all channels in
/// turn, in place of what `out` holds. For whoever encodes on several threads and writes with
/// [`WaveWriter::write_bytes`](crate::WaveWriter::write_bytes).
///
/// # Errors
/// When the slices do not fit the channels or each other.
pub fn encode_planar(format: &Format, channels: &[&[f64]], out: &mut Vec<u8>) -> Result<Encoded> {
    let length = common_length(format, channels)?;
    let block = format.block_bytes();
    out.resize(length * block, 0);
    let mut encoded = Encoded::default();
    // one stretch at a time for all channels, so that its bytes stay in the first-level cache
    let piece = (PIECE_BYTES / block).max(1);
    for (index, bytes) in out.chunks_mut(piece * block).enumerate() {
        let from = index * piece;
        if format.encoding == Encoding::Float32 && channels.len() >= tile::SIDE {
            encode_tiles(channels, from, bytes, block, &mut encoded);
            continue;
        }
        for (place, channel) in channels.iter().enumerate() {
            let values = &channel[from..from + bytes.len() / block];
            encode(
                format.encoding,
                values,
                bytes,
                block,
                place * format.encoding.bytes(),
                &mut encoded,
            );
        }
    }
    Ok(encoded)
}

/// Four channels at a time.
fn encode_tiles(
    channels: &[&[f64]],
    from: usize,
    bytes: &mut [u8],
    block: usize,
    tally: &mut Encoded,
) {
    let width = Encoding::Float32.bytes();
    let stretch = from..from + bytes.len() / block;
    for channel in channels {
        let values = channel[stretch.clone()].iter();
        tally.not_a_number += values.map(|value| u64::from(value.is_nan())).sum::<u64>();
    }
    for first in tile::groups(channels.len()) {
        let values = std::array::from_fn(|i| &channels[first + i][stretch.clone()]);
        let done = tile::encode(values, bytes, block, first * width);
        let mut counted_above = Encoded::default();
        for (place, values) in values.iter().enumerate() {
            let rest = bytes.get_mut(done * block..).unwrap_or_default();
            let offset = (first + place) * width;
            let rest_values = &values[done..];
            encode(
                Encoding::Float32,
                rest_values,
                rest,
                block,
                offset,
                &mut counted_above,
            );
        }
    }
}

/// The one length of the slices, one a channel.
pub(crate) fn common_length(format: &Format, channels: &[&[f64]]) -> Result<usize> {
    let count = usize::from(format.channels);
    let length = channels.first().map_or(0, |channel| channel.len());
    if channels.len() != count || channels.iter().any(|channel| channel.len() != length) {
        let message = format!(
            "{} slices for {count} channels, or of unequal length",
            channels.len()
        );
        return Err(Error::request(message));
    }
    Ok(length)
}

/// Writes the values into every block of `bytes` from byte `offset` of each on; blocks are `block` bytes long.
pub(crate) fn encode(
    encoding: Encoding,
    values: &[f64],
    bytes: &mut [u8],
    block: usize,
    offset: usize,
    tally: &mut Encoded,
) {
    let Some(bytes) = bytes.get_mut(offset..) else {
        return;
    };
    match encoding {
        Encoding::Int16 => each(values, bytes, block, tally, |value, tally| {
            (integer(value, 32_768.0, tally) as i16).to_le_bytes()
        }),
        Encoding::Int24 => each(values, bytes, block, tally, |value, tally| {
            let [a, b, c, _] = (integer(value, 8_388_608.0, tally) as i32).to_le_bytes();
            [a, b, c]
        }),
        Encoding::Int32 => each(values, bytes, block, tally, |value, tally| {
            (integer(value, 2_147_483_648.0, tally) as i32).to_le_bytes()
        }),
        Encoding::Float32 => each(values, bytes, block, tally, |value, tally| {
            tally.not_a_number += u64::from(value.is_nan());
            (value as f32).to_le_bytes()
        }),
        Encoding::Float64 => each(values, bytes, block, tally, |value, tally| {
            tally.not_a_number += u64::from(value.is_nan());
            value.to_le_bytes()
        }),
    }
}

/// The nearest integer that `full_scale` steps allow: -full_scale to full_scale - 1.
#[inline(always)]
fn integer(value: f64, full_scale: f64, tally: &mut Encoded) -> f64 {
    let scaled = (value * full_scale).round_ties_even();
    let kept = scaled.clamp(-full_scale, full_scale - 1.0);
    tally.clipped += u64::from(kept != scaled && !scaled.is_nan());
    tally.not_a_number += u64::from(scaled.is_nan());
    kept
}

/// One value into the start of every block; the last block may end with it.
#[inline(always)]
fn each<const N: usize>(
    values: &[f64],
    bytes: &mut [u8],
    block: usize,
    tally: &mut Encoded,
    stored: impl Fn(f64, &mut Encoded) -> [u8; N],
) {
    let mut local = Encoded::default();
    let Some((last, most)) = values.split_last() else {
        return;
    };
    // blocks of one known length, so that the loop asks nothing
    for (value, block) in most.iter().zip(bytes.chunks_exact_mut(block)) {
        if let Some(bytes) = block.first_chunk_mut::<N>() {
            *bytes = stored(*value, &mut local);
        }
    }
    if let Some(bytes) = bytes
        .get_mut(most.len() * block..)
        .and_then(<[u8]>::first_chunk_mut::<N>)
    {
        *bytes = stored(*last, &mut local);
    }
    tally.clipped += local.clipped;
    tally.not_a_number += local.not_a_number;
}
