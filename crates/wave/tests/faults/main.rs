//! Broken files with honest names: each is read and what is odd is said, or is refused with the place and the reason.

#[path = "../common/mod.rs"]
mod common;
mod chunks;
mod format;
mod rf64;
mod sizes;

use common::{Fmt, IXML, audio16, chunk, outer, riff, unpadded};
use wave::{Container, Encoding, Error, Header, OddityKind, WaveFile};

/// A broken file and what must come of it.
type Case = (&'static str, Vec<u8>, Expect);

/// What must come of a file.
enum Expect {
    /// It is read: samples per channel, and exactly these kinds of oddity.
    Reads(u64, &'static [OddityKind]),
    /// It breaks its format; the message holds these words.
    Malformed(&'static str),
    /// It is legal but not supported; the message holds these words.
    Unsupported(&'static str),
}

/// A format of two channels of 16 bits.
fn two() -> Vec<u8> {
    Fmt::new(1, 2, 16).chunk()
}

/// Audio for it.
fn data(length: usize) -> Vec<u8> {
    chunk(b"data", &audio16(2, length))
}

/// Audio for it whose size field says something else.
fn data_saying(size: u32, length: usize) -> Vec<u8> {
    unpadded(b"data", size, &audio16(2, length))
}

fn cases() -> Vec<Case> {
    [
        chunks::cases(),
        sizes::cases(),
        rf64::cases(),
        format::cases(),
    ]
    .into_iter()
    .flatten()
    .collect()
}

#[test]
fn every_broken_file_is_read_or_refused_as_it_should_be() {
    let wrong: Vec<String> = cases()
        .into_iter()
        .filter_map(|case| complaint(case).err())
        .collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// What is wrong with what comes of a file.
fn complaint((name, bytes, expect): Case) -> Result<(), String> {
    match (expect, Header::read(&bytes)) {
        (Expect::Reads(length, kinds), Ok(header)) => {
            let mut found: Vec<_> = header.oddities.iter().map(|oddity| oddity.kind).collect();
            let mut kinds = kinds.to_vec();
            found.sort();
            kinds.sort();
            let block = header.format.block_bytes() as u64;
            let inside = header.data_offset + header.data_bytes <= bytes.len() as u64;
            let whole = header.data_bytes == header.length * block;
            if header.length != length || found != kinds || !inside || !whole {
                return Err(format!(
                    "{name}: {} samples, {:#?}",
                    header.length, header.oddities
                ));
            }
            Ok(())
        }
        (Expect::Malformed(words), Err(Error::Malformed(complaint)))
        | (Expect::Unsupported(words), Err(Error::Unsupported(complaint)))
            if complaint.to_string().contains(words) =>
        {
            Ok(())
        }
        (_, result) => Err(format!("{name}: {result:?}")),
    }
}
/// Wherever audio could be read, the first samples are the ones that were put there, and a cut loses only the tail.
#[test]
fn damage_never_moves_the_samples() {
    for (name, bytes, expect) in cases() {
        let Expect::Reads(length @ 1.., _) = expect else {
            continue;
        };
        let file = WaveFile::open(bytes).expect(name);
        if file.header().format.encoding != Encoding::Int16 {
            continue;
        }
        let mut sound = [[0.0; 5]; 2];
        let [left, right] = &mut sound;
        file.read(&[0, 1], 0, &mut [left, right]).expect(name);
        for (n, (left, right)) in sound[0]
            .iter()
            .zip(sound[1])
            .enumerate()
            .take(length as usize)
        {
            assert_eq!(left * 32_768.0, (1 + n) as f64, "{name}");
            assert_eq!(right * 32_768.0, (101 + n) as f64, "{name}");
        }
    }
}

#[test]
fn metadata_behind_unfinished_audio_is_still_found() {
    let bytes = riff(&[two(), [data_saying(0, 400), chunk(b"iXML", IXML)].concat()]);
    let header = Header::read(&bytes).expect("readable");
    assert_eq!(header.ixml.expect("iXML").scene.as_deref(), Some("7"));
    assert_eq!(header.container, Container::Riff);
}

#[test]
fn a_complaint_names_place_found_expected_and_clause() {
    let bytes = outer(b"RIFF", 0, &[two(), data_saying(0, 400)]);
    let header = Header::read(&bytes).expect("readable");
    let what = &header.oddities[0].what;
    // 12 bytes outside, 24 of fmt, then four letters: the size field of data stands at byte 40
    assert_eq!((what.offset, what.chunk.to_string()), (40, "data".into()));
    assert_eq!(
        (what.found.as_str(), what.expected.as_str()),
        ("data size 0", "1600, as the file shows")
    );
    assert!(!what.clause.is_empty());
    assert!(header.length_from_file());
}

#[test]
fn unknown_chunks_are_kept_with_their_bytes_and_order() {
    let bytes = riff(&[
        chunk(b"abcd", b"odd"),
        two(),
        data(10),
        chunk(b"wxyz", &[9; 70_000]),
    ]);
    let header = Header::read(&bytes).expect("readable");
    let ids: Vec<_> = header
        .chunks
        .iter()
        .map(|chunk| chunk.id.to_string())
        .collect();
    assert_eq!(ids, ["abcd", "fmt", "data", "wxyz"]);
    assert_eq!(header.chunks[0].payload.as_deref(), Some(&b"odd"[..]));
    assert_eq!((header.chunks[0].offset, header.chunks[0].size), (20, 3));
    assert_eq!(header.chunks[3].payload, None, "too large to keep");
    let whole = header
        .read_chunk(&bytes, &header.chunks[3], 1 << 20)
        .expect("readable");
    assert_eq!(whole, [9; 70_000]);
    let capped = header
        .read_chunk(&bytes, &header.chunks[3], 5)
        .expect("readable");
    assert_eq!(capped, [9; 5]);
}

#[test]
fn more_chunks_than_anyone_writes_end_the_reading_not_the_memory() {
    let many = chunk(b"abcd", b"").repeat(10_000);
    let header = Header::read(&riff(&[two(), data(10), many])).expect("readable");
    assert_eq!(header.length, 10);
    assert_eq!(header.chunks.len(), 4096);
    assert_eq!(header.oddities_of(OddityKind::TooManyChunks).count(), 1);
}
