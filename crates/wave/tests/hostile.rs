//! Random, cut and changed files: no panic, no memory beyond the file, and the same answer however a source splits
//! what it hands over.

mod common;

use std::io;

use common::{Fmt, IXML, audio16, bext, chunk, ds64, outer, riff, unpadded};
use proptest::prelude::*;
use wave::{Header, ReadAt, WaveFile};

/// A source that hands over between one and a few bytes at a time, and is interrupted now and then.
struct Drip<'a> {
    bytes: &'a [u8],
    most: u64,
}

impl ReadAt for Drip<'_> {
    fn read_at(&self, buf: &mut [u8], offset: u64) -> io::Result<usize> {
        // Which read is interrupted must not depend on earlier ones: one in eleven of the first bytes asked for.
        if offset % 11 == 5 && buf.len() > 1 && buf[0] == 0 {
            buf[0] = 1;
            return Err(io::ErrorKind::Interrupted.into());
        }
        let most = (1 + offset % self.most) as usize;
        let most = buf.len().min(most);
        self.bytes.read_at(&mut buf[..most], offset)
    }

    fn size(&self) -> io::Result<u64> {
        Ok(self.bytes.len() as u64)
    }
}

/// What comes of a file, in words.
fn outcome(source: &impl ReadAt) -> String {
    match WaveFile::open(source) {
        Ok(file) => {
            let header = file.header();
            let channels = usize::from(header.format.channels).min(4);
            let mut planes = vec![vec![0.0; 50]; channels];
            let mut out: Vec<&mut [f64]> = planes.iter_mut().map(Vec::as_mut_slice).collect();
            let asked: Vec<usize> = (0..channels).collect();
            let read = file
                .read(&asked, 1, &mut out)
                .map_err(|error| error.to_string());
            let bits: Vec<u64> = planes
                .concat()
                .iter()
                .map(|value| value.to_bits())
                .collect();
            format!("{header:?} {read:?} {bits:?}")
        }
        Err(error) => error.to_string(),
    }
}

/// Files to start from, good and bad.
fn seeds() -> Vec<Vec<u8>> {
    let fmt = || Fmt::new(1, 2, 16).chunk();
    let audio = audio16(2, 60);
    let cue = [&1u32.to_le_bytes()[..], &[0; 24]].concat();
    let list = [
        &b"adtl"[..],
        &chunk(b"labl", b"\0\0\0\0one\0"),
        &chunk(b"ltxt", &[0; 20]),
    ]
    .concat();
    vec![
        riff(&[
            chunk(b"bext", &bext(2, 99, b"A=PCM\r\n")),
            fmt(),
            chunk(b"data", &audio),
            chunk(b"iXML", IXML),
        ]),
        riff(&[
            fmt(),
            chunk(b"data", &audio),
            chunk(b"cue ", &cue),
            chunk(b"LIST", &list),
        ]),
        riff(&[
            Fmt::new(1, 3, 24).extensible(20, 7, 1),
            chunk(b"fact", &[9, 0, 0, 0]),
            chunk(b"data", &audio[..99]),
        ]),
        outer(
            b"RF64",
            u32::MAX,
            &[
                ds64(500, 240, 60, 1, &[b'x'; 12]),
                fmt(),
                unpadded(b"data", u32::MAX, &audio),
            ],
        ),
        outer(
            b"RIFF",
            0,
            &[fmt(), unpadded(b"data", 0, &audio), chunk(b"iXML", IXML)],
        ),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn random_bytes_are_refused_in_words(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        let _ = outcome(&bytes);
    }

    #[test]
    fn random_chunks_behind_a_right_start_do_no_harm(
        id in prop::sample::select(vec![*b"RIFF", *b"RF64", *b"BW64"]),
        chunks in prop::collection::vec(
            (
                prop::sample::select(vec![
                    *b"fmt ", *b"data", *b"ds64", *b"bext", *b"iXML", *b"cue ", *b"LIST", *b"fact", *b"JUNK", *b"abcd",
                ]),
                prop_oneof![any::<u32>(), 0u32..80],
                prop::collection::vec(any::<u8>(), 0..80),
            ),
            0..12,
        ),
    ) {
        let chunks: Vec<_> = chunks.iter().map(|(id, size, payload)| unpadded(id, *size, payload)).collect();
        let _ = outcome(&outer(&id, 77, &chunks));
    }

    #[test]
    fn cut_and_changed_files_do_no_harm_and_read_alike_in_any_portions(
        seed in 0usize..5,
        cut in 0usize..1200,
        changes in prop::collection::vec((0usize..1200, any::<u8>()), 0..6),
        most in 1u64..9,
    ) {
        let mut bytes = seeds().swap_remove(seed);
        bytes.truncate(bytes.len().saturating_sub(cut).max(cut.min(20)));
        for (place, value) in changes {
            if let Some(byte) = bytes.get_mut(place) {
                *byte = value;
            }
        }
        prop_assert_eq!(outcome(&Drip { bytes: &bytes, most }), outcome(&bytes));
    }

    #[test]
    fn any_text_as_ixml_is_read(text in "[<>/&;#x0-9A-Z_ \\[\\]!\\-\"='?é]{0,200}") {
        let inside = format!("<BWFXML><SPEED>{text}</SPEED><TRACK_LIST><TRACK>{text}");
        let bytes = riff(&[chunk(b"iXML", inside.as_bytes()), Fmt::new(1, 1, 16).chunk(), chunk(b"data", &[1, 2])]);
        let header = Header::read(&bytes).expect("iXML never stops the reading");
        prop_assert_eq!(header.ixml.map(|ixml| ixml.raw), Some(inside));
    }
}

/// A size that no file has must not be added to, multiplied or allocated.
#[test]
fn a_source_that_claims_every_byte_there_is() {
    struct Endless;
    impl ReadAt for Endless {
        fn read_at(&self, buf: &mut [u8], offset: u64) -> io::Result<usize> {
            let head = outer(
                b"RF64",
                u32::MAX,
                &[
                    ds64(u64::MAX, u64::MAX, u64::MAX, u32::MAX, &[]),
                    Fmt::new(3, u16::MAX, 32).chunk(),
                    unpadded(b"data", u32::MAX, &[0; 16]),
                ],
            );
            match head.read_at(buf, offset)? {
                0 => {
                    buf.fill(0x11);
                    Ok(buf.len())
                }
                n => Ok(n),
            }
        }

        fn size(&self) -> io::Result<u64> {
            Ok(u64::MAX)
        }
    }
    let header = Header::read(&Endless).expect("read as far as it goes");
    assert_eq!(header.format.channels, u16::MAX);
}
