//! Where the audio ends: the declared size and the file in, the true size and the reason out.
//!
//! A recorder that loses power leaves a size that was never written or is too small; a 32-bit size wraps after
//! 4 GiB; a broken copy ends early. The file itself then says how long the audio is: up to its end, or up to the
//! chunks at its tail, which are believed only when they lead exactly to the end of the file and their insides are
//! what their letters promise.

use crate::chunk::ChunkId;
use crate::error::Result;
use crate::header::chain::{Bytes, HEAD_BYTES};
use crate::oddity::{OddityKind, Words};
use crate::read_at::ReadAt;

const CLAUSE: &str = "RIFF 1991, chapter 2";

/// How much of a file's tail is searched for chunks when its data size is of no use; recorders' trailers hold text
/// and overviews, well below this (common practice, no source).
const TAIL_BYTES: u64 = 4 << 20;

/// How many places of the tail that look like a chunk are looked into.
const MOST_LOOKS: usize = 4096;

/// Sizes from here on are marks for "not known" when the file is shorter: 0xFFFFFFFF, 0x7FFFFFFF and the numbers just
/// below that writers to a pipe leave (common practice, no source).
const MARKS: std::ops::RangeInclusive<u64> = 0x7FFF_0000..=0x7FFF_FFFF;

/// How often a size may have wrapped: 4 TiB.
const MOST_WRAPS: usize = 1024;

/// Less than this behind the audio is something that was appended, not audio that its size does not count: a recorder
/// brings its header up to date every few seconds at best (common practice, no source).
const SMALL_REST: u64 = 4096;

/// How many places of the rest of a file are looked at to see whether it is filler.
const FILLER_LOOKS: u64 = 64;

/// What the header says about the audio.
#[derive(Debug, Clone, Copy)]
pub(super) struct Declared {
    /// Byte offset of the payload.
    pub start: u64,
    /// Its size, from the 32-bit field or from ds64.
    pub size: u64,
    /// Whether the size is known at all.
    pub known: bool,
    /// Whether it came from a 32-bit field.
    pub narrow: bool,
    /// Where the outermost chunk says that it ends.
    pub outer_end: u64,
}

/// The true size of the payload, and what to say when it is not the declared one.
pub(super) fn extent<R: ReadAt + ?Sized>(
    file: &Bytes<'_, R>,
    declared: Declared,
) -> Result<(u64, Option<(OddityKind, Words)>)> {
    let Declared {
        start,
        size,
        known,
        narrow,
        outer_end,
    } = declared;
    let room = file.size.saturating_sub(start);
    let said = |kind, recovered: u64| {
        let found = if known {
            format!("data size {size}")
        } else {
            "no data size".to_owned()
        };
        let words = Words::new(found, format!("{recovered}, as the file shows"), CLAUSE);
        Ok((recovered, Some((kind, words))))
    };
    // A size that fits and is followed by chunks up to the end of the file is right, 0 included.
    if known && file.ends_well(start, size)? {
        return Ok((size, None));
    }
    let unwritten = !known || size == 0 || narrow && MARKS.contains(&size);
    if unwritten && (size == 0 || size > room || !known) {
        let recovered = before_trailer(file, start)?;
        return said(OddityKind::Unfinalised, recovered);
    }
    if size > room {
        let recovered = before_trailer(file, start)?;
        return said(OddityKind::DataBeyondFile, recovered);
    }
    // The size fits, but what follows is no run of chunks to the end of the file. First: did 32 bits wrap?
    let mut wrapped = size;
    for _ in 0..MOST_WRAPS {
        if !narrow || wrapped + (1 << 32) > room {
            break;
        }
        wrapped += 1 << 32;
        if file.ends_well(start, wrapped)? {
            return said(OddityKind::WrappedSize, wrapped);
        }
    }
    // A chunk follows that is cut or sloppy: the size still stands. So it does before filler.
    let end = start + size;
    let (next, _) = file.after(end, size)?;
    let announced = outer_end > next;
    let chunk_follows = matches!(file.head(next)?, Some(head)
        if head.id.is_known() || announced && head.id.is_printable());
    let close = file.size - end < SMALL_REST;
    if chunk_follows || close || is_filler(file, next)? {
        return Ok((size, None));
    }
    let kind = if wrapped > size {
        OddityKind::WrappedSize
    } else {
        OddityKind::DataSizeTooSmall
    };
    let recovered = before_trailer(file, start)?;
    said(kind, recovered)
}

/// Whether the file holds zero bytes from `from` on, as a recorder leaves that reserves space; looked at in places,
/// the first and the last bytes among them.
fn is_filler<R: ReadAt + ?Sized>(file: &Bytes<'_, R>, from: u64) -> Result<bool> {
    const LOOK: u64 = 4096;
    let last = file.size.saturating_sub(LOOK).max(from);
    let step = (last - from) / FILLER_LOOKS;
    for look in 0..=FILLER_LOOKS {
        let at = if look == FILLER_LOOKS {
            last
        } else {
            from + look * step
        };
        if file.some(at, LOOK as usize)?.iter().any(|&byte| byte != 0) {
            return Ok(false);
        }
    }
    Ok(true)
}

/// Bytes from `start` to the chunks at the tail of the file, or to its end when there are none.
fn before_trailer<R: ReadAt + ?Sized>(file: &Bytes<'_, R>, start: u64) -> Result<u64> {
    const WINDOW: usize = 64 << 10;
    let mut at = start.max(file.size.saturating_sub(TAIL_BYTES));
    let mut looks = 0;
    while at < file.size && looks < MOST_LOOKS {
        let bytes = file.some(at, WINDOW + 3)?;
        for (place, letters) in bytes.windows(4).enumerate() {
            let Some(&letters) = letters.first_chunk() else {
                continue;
            };
            if !letters[0].is_ascii_graphic() || !ChunkId(letters).is_known() {
                continue;
            }
            looks += 1;
            let candidate = at + place as u64;
            if looks <= MOST_LOOKS && is_trailer(file, candidate)? {
                return Ok(candidate - start);
            }
        }
        at += WINDOW as u64;
    }
    Ok(file.size.saturating_sub(start))
}

/// Whether a chunk that belongs behind audio starts at `at`, holds what its letters promise, and leads to the end.
fn is_trailer<R: ReadAt + ?Sized>(file: &Bytes<'_, R>, at: u64) -> Result<bool> {
    let Some(head) = file.head(at)? else {
        return Ok(false);
    };
    let size = u64::from(head.size.get());
    if !file.ends_well(at + HEAD_BYTES, size)? {
        return Ok(false);
    }
    let inside = file.some(at + HEAD_BYTES, usize::try_from(size.min(64)).unwrap_or(64))?;
    let text = || {
        inside.iter().find(|byte| byte.is_ascii_graphic()) == Some(&b'<')
            || inside.starts_with(&[0xFF, 0xFE])
    };
    Ok(match &head.id.0 {
        b"iXML" | b"axml" | b"aXML" | b"bxml" | b"_PMX" => text(),
        b"LIST" => inside.starts_with(b"adtl") || inside.starts_with(b"INFO"),
        b"bext" => size >= 602,
        b"cue " => inside.first_chunk().is_some_and(|count| {
            u64::from(u32::from_le_bytes(*count)).checked_mul(24) == size.checked_sub(4)
        }),
        b"ds64" => size >= 28 && (size - 28).is_multiple_of(12),
        b"fmt " | b"data" | b"fact" => false,
        _ => size > 0,
    })
}
