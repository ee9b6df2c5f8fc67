//! The `cue ` chunk and the `adtl` list that labels it: payload bytes in, [`Marker`]s out, and back. RIFF 1991, chapter 3.

use std::collections::BTreeMap;

use zerocopy::byteorder::little_endian::U32;
use zerocopy::{FromBytes, Immutable, IntoBytes, KnownLayout, Unaligned};

use crate::chunk::{Chunk, ChunkHead, ChunkId};
use crate::error::{Error, Result};
use crate::text::{until_nul, utf8_or_windows_1252};

/// One marked place. Positions are 32 bits wide on disk: later ones cannot be stored.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Marker {
    /// The number that ties it to its texts.
    pub id: u32,
    /// Samples from the start of the file.
    pub position: u32,
    /// Samples that it spans, when it is a region.
    pub length: Option<u32>,
    /// Its title.
    pub label: Option<String>,
    /// Its comment.
    pub note: Option<String>,
}

/// The most markers that are read of one file.
const MOST_MARKERS: usize = 10_000;

/// One cue point, 24 bytes.
#[derive(Clone, Copy, FromBytes, IntoBytes, Immutable, KnownLayout, Unaligned)]
#[repr(C)]
struct CuePoint {
    /// +0: unique in the file.
    name: U32,
    /// +4: place in the play order.
    position: U32,
    /// +8: `data`.
    chunk: ChunkId,
    /// +12: 0 unless there is a wave list.
    chunk_start: U32,
    /// +16: 0 for uncompressed audio.
    block_start: U32,
    /// +20: samples from the start of the audio.
    sample_offset: U32,
}

/// Reads a `cue ` payload: a count, then that many points; the chunk's size bounds them.
pub(crate) fn parse_cue(payload: &[u8], markers: &mut Vec<Marker>) {
    let Some((count, points)) = payload.split_at_checked(4) else {
        return;
    };
    let count = count
        .first_chunk()
        .map_or(0, |bytes| u32::from_le_bytes(*bytes)) as usize;
    for bytes in points
        .chunks_exact(size_of::<CuePoint>())
        .take(count.min(MOST_MARKERS))
    {
        if let Ok(point) = CuePoint::read_from_bytes(bytes) {
            let (id, position) = (point.name.get(), point.sample_offset.get());
            markers.push(Marker {
                id,
                position,
                ..Marker::default()
            });
        }
    }
}

/// Reads the payload of a `LIST`: its type, then chunks; `adtl` alone concerns markers. Labels of points that are
/// not there are left out.
pub(crate) fn parse_list(payload: &[u8], markers: &mut [Marker]) {
    let Some(mut rest) = payload.strip_prefix(b"adtl") else {
        return;
    };
    let places: BTreeMap<u32, usize> = markers
        .iter()
        .enumerate()
        .map(|(place, marker)| (marker.id, place))
        .collect();
    while let Ok((head, body)) = ChunkHead::read_from_prefix(rest) {
        let size = (head.size.get() as usize).min(body.len());
        let (chunk, after) = body.split_at(size);
        rest = after.get(size % 2..).unwrap_or_default();

        // labl and note: the point's name, then text. ltxt: name, length, purpose and 8 more bytes, then text.
        let Some((name, body)) = chunk.split_at_checked(4) else {
            continue;
        };
        let id = name
            .first_chunk()
            .map_or(0, |bytes| u32::from_le_bytes(*bytes));
        let Some(marker) = places.get(&id).and_then(|&place| markers.get_mut(place)) else {
            continue;
        };
        match &head.id.0 {
            b"labl" => marker.label = Some(utf8_or_windows_1252(until_nul(body))),
            b"note" => marker.note = Some(utf8_or_windows_1252(until_nul(body))),
            b"ltxt" => marker.length = body.first_chunk().map(|bytes| u32::from_le_bytes(*bytes)),
            _ => {}
        }
    }
}

/// The chunks that say these markers: `cue `, and the list with their texts when there are any. Texts are UTF-8, which
/// readers of old files take for Windows-1252 where it goes beyond ASCII. Empty without markers.
///
/// # Errors
/// When two markers have one number, or there are more than can be stored.
pub fn marker_chunks(markers: &[Marker]) -> Result<Vec<Chunk>> {
    if markers.is_empty() {
        return Ok(Vec::new());
    }
    let ids: std::collections::BTreeSet<u32> = markers.iter().map(|marker| marker.id).collect();
    if ids.len() != markers.len() || markers.len() > MOST_MARKERS {
        return Err(Error::request(format!(
            "{} markers, {} numbers",
            markers.len(),
            ids.len()
        )));
    }
    let mut cue = (markers.len() as u32).to_le_bytes().to_vec();
    let mut list = b"adtl".to_vec();
    for (place, marker) in (0..).zip(markers) {
        let point = CuePoint {
            name: U32::new(marker.id),
            position: U32::new(place),
            chunk: ChunkId::DATA,
            chunk_start: U32::ZERO,
            block_start: U32::ZERO,
            sample_offset: U32::new(marker.position),
        };
        cue.extend(point.as_bytes());
        for (id, text) in [(b"labl", &marker.label), (b"note", &marker.note)] {
            if let Some(text) = text {
                let text = text.replace('\0', "");
                push_text(&mut list, *id, marker.id, &[], &text);
            }
        }
        if let Some(length) = marker.length {
            // name, length, purpose, then country, language, dialect and code page, all 0: not given
            let mut fixed = length.to_le_bytes().to_vec();
            fixed.extend(b"rgn ");
            fixed.extend([0; 8]);
            push_text(&mut list, *b"ltxt", marker.id, &fixed, "");
        }
    }
    let mut chunks = vec![Chunk {
        id: ChunkId::CUE,
        payload: cue,
    }];
    if list.len() > 4 {
        chunks.push(Chunk {
            id: ChunkId::LIST,
            payload: list,
        });
    }
    Ok(chunks)
}

/// One chunk of the list: the point's name, fixed fields, text ended by a zero byte where there is one, padded.
fn push_text(list: &mut Vec<u8>, id: [u8; 4], name: u32, fixed: &[u8], text: &str) {
    let mut payload = name.to_le_bytes().to_vec();
    payload.extend(fixed);
    if fixed.is_empty() {
        payload.extend(text.bytes());
        payload.push(0);
    }
    let head = ChunkHead {
        id: ChunkId(id),
        size: U32::new(payload.len() as u32),
    };
    list.extend(head.as_bytes());
    list.extend(&payload);
    if !payload.len().is_multiple_of(2) {
        list.push(0);
    }
}
