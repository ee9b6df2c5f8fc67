//! Interleaved bytes in, planar `f64` out. Integers are scaled by 1 / 2^(bits - 1), which `f64` holds exactly.
//!
//! One pass per channel over a piece that stays in the first-level cache, one loop per encoding, no decision inside.

use std::ops::Range;

use crate::error::{Error, Result};
use crate::format::{Encoding, Format};
use crate::tile;

/// Bytes that are decoded for all channels before going on: a first-level cache holds them and their output.
const PIECE_BYTES: usize = 8 << 10;

/// Decodes whole samples of the channels asked for; says how many sample positions.
pub(crate) fn decode(
    format: &Format,
    bytes: &[u8],
    channels: &[usize],
    out: &mut [&mut [f64]],
) -> Result<usize> {
    if channels.len() != out.len() {
        let message = format!("{} channels into {} slices", channels.len(), out.len());
        return Err(Error::request(message));
    }
    if let Some(channel) = channels
        .iter()
        .find(|&&channel| channel >= usize::from(format.channels))
    {
        let message = format!("channel {channel} counted from 0, of {}", format.channels);
        return Err(Error::request(message));
    }
    let block = format.block_bytes();
    let held = out.iter().map(|slice| slice.len()).min().unwrap_or(0);
    let positions = (bytes.len() / block).min(held);
    let bytes = &bytes[..positions * block];
    let piece = (PIECE_BYTES / block).max(1);
    for (index, bytes) in bytes.chunks(piece * block).enumerate() {
        let stretch = index * piece..index * piece + bytes.len() / block;
        if format.encoding == Encoding::Float32 && channels.len() >= tile::SIDE {
            decode_tiles(bytes, block, channels, out, stretch);
            continue;
        }
        for (&channel, out) in channels.iter().zip(out.iter_mut()) {
            let out = &mut out[stretch.clone()];
            let bytes = &bytes[channel * format.encoding.bytes()..];
            match format.encoding {
                Encoding::Int16 => each(bytes, block, out, |b| {
                    f64::from(i16::from_le_bytes(b)) * (1.0 / 32_768.0)
                }),
                // the three bytes become the upper ones of 32 bits, so that the sign is in its place
                Encoding::Int24 => each(bytes, block, out, |[a, b, c]: [u8; 3]| {
                    f64::from(i32::from_le_bytes([0, a, b, c])) * (1.0 / 2_147_483_648.0)
                }),
                Encoding::Int32 => each(bytes, block, out, |b| {
                    f64::from(i32::from_le_bytes(b)) * (1.0 / 2_147_483_648.0)
                }),
                Encoding::Float32 => each(bytes, block, out, float32),
                Encoding::Float64 => each(bytes, block, out, f64::from_le_bytes),
            }
        }
    }
    Ok(positions)
}

fn float32(bytes: [u8; 4]) -> f64 {
    f64::from(f32::from_le_bytes(bytes))
}

/// Four channels at a time where four neighbours are asked for in their order, single ones elsewhere.
fn decode_tiles(
    bytes: &[u8],
    block: usize,
    channels: &[usize],
    out: &mut [&mut [f64]],
    stretch: Range<usize>,
) {
    let width = Encoding::Float32.bytes();
    for first in tile::groups(channels.len()) {
        let group = first..first + tile::SIDE;
        let wanted = &channels[group.clone()];
        let Some([a, b, c, d]) = out[group].first_chunk_mut::<{ tile::SIDE }>() else {
            continue;
        };
        let mut planes = [a, b, c, d].map(|plane| &mut plane[stretch.clone()]);
        let neighbours = wanted.windows(2).all(|pair| pair[1] == pair[0] + 1);
        let done = if neighbours {
            tile::decode(bytes, block, wanted[0] * width, &mut planes)
        } else {
            0
        };
        for (&channel, plane) in wanted.iter().zip(planes) {
            let rest = bytes.get(done * block + channel * width..);
            each(rest.unwrap_or_default(), block, &mut plane[done..], float32);
        }
    }
}

/// One sample from the start of every block; the last block may end with it.
#[inline(always)]
fn each<const N: usize>(
    bytes: &[u8],
    block: usize,
    out: &mut [f64],
    value: impl Fn([u8; N]) -> f64,
) {
    let Some((last, most)) = out.split_last_mut() else {
        return;
    };
    // blocks of one known length, so that the loop asks nothing
    for (out, block) in most.iter_mut().zip(bytes.chunks_exact(block)) {
        if let Some(bytes) = block.first_chunk::<N>() {
            *out = value(*bytes);
        }
    }
    if let Some(bytes) = bytes
        .get(most.len() * block..)
        .and_then(<[u8]>::first_chunk::<N>)
    {
        *last = value(*bytes);
    }
}
