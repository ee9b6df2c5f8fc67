//! The broadcast extension: EBU Tech 3285 v2, clause 2.3, read and written at the offsets it gives; what developers get
//! wrong about it.

mod common;

use std::io::Cursor;

use common::{Fmt, bext, chunk, riff};
use wave::{Bext, Encoding, Format, Header, Loudness, OddityKind, WaveWriter, WriteSpec};

/// A payload with every field set, put together by the document's offsets.
fn full(version: u16) -> Vec<u8> {
    let mut payload = bext(
        version,
        0x0000_0002_8000_0001,
        b"A=PCM,F=48000,W=24,M=mono,T=unit A ch 3\r\n",
    );
    let mut put = |at: usize, bytes: &[u8]| payload[at..at + bytes.len()].copy_from_slice(bytes);
    put(0, b"Harbour");
    put(256, b"Lina");
    put(288, b"SEHBR000000000042093000123456789");
    put(320, b"2031-02-28");
    put(330, b"09:30:00");
    put(348, &[0xAB; 64]);
    // -23.05 LUFS is -2305 or 0xF6FF, +3.01 dBTP is 301 (standards, section 3)
    put(412, &[0xFF, 0xF6]);
    put(414, &640i16.to_le_bytes());
    put(416, &301i16.to_le_bytes());
    put(418, &0x7FFFi16.to_le_bytes());
    put(420, &(-1800i16).to_le_bytes());
    payload
}

fn read(payload: &[u8]) -> (Bext, Vec<OddityKind>) {
    let file = riff(&[
        chunk(b"bext", payload),
        Fmt::new(1, 1, 16).chunk(),
        chunk(b"data", &[1, 0]),
    ]);
    let header = Header::read(&file).expect("readable");
    let kinds = header.oddities.iter().map(|oddity| oddity.kind).collect();
    (header.bext.expect("there"), kinds)
}

/// The payload that is written for `bext`, found by walking chunks.
fn written(bext: &Bext) -> Vec<u8> {
    let spec = WriteSpec {
        bext: Some(bext.clone()),
        ..WriteSpec::new(Format::plain(1, 48_000, Encoding::Int16))
    };
    let mut writer = WaveWriter::new(Cursor::new(Vec::new()), &spec).expect("started");
    writer.write_interleaved(&[0.0]).expect("written");
    let bytes = writer.finish().expect("finished").1.into_inner();
    let mut at = 12;
    loop {
        let size = u32::from_le_bytes(bytes[at + 4..at + 8].try_into().expect("four")) as usize;
        if &bytes[at..at + 4] == b"bext" {
            return bytes[at + 8..at + 8 + size].to_vec();
        }
        at += 8 + size.next_multiple_of(2);
    }
}

#[test]
fn every_field_is_read_at_its_offset() {
    let (bext, kinds) = read(&full(2));
    let loudness = Loudness {
        value: Some(-2305),
        range: Some(640),
        max_true_peak: Some(301),
        max_momentary: None,
        max_short_term: Some(-1800),
    };
    let expected = Bext {
        description: "Harbour".into(),
        originator: "Lina".into(),
        originator_reference: "SEHBR000000000042093000123456789".into(),
        date: "2031-02-28".into(),
        time: "09:30:00".into(),
        // low word first, then high
        time_reference: (2 << 32) + 0x8000_0001,
        version: 2,
        umid: Some([0xAB; 64]),
        loudness: Some(loudness),
        coding_history: "A=PCM,F=48000,W=24,M=mono,T=unit A ch 3\r\n".into(),
    };
    assert_eq!((bext, kinds), (expected, vec![]));
}

#[test]
fn writing_puts_every_field_back_where_it_was() {
    let (bext, _) = read(&full(2));
    let mut expected = full(2);
    // an odd history is made even, so that no reader depends on the pad byte
    expected.resize(expected.len().next_multiple_of(2), 0);
    assert_eq!(written(&bext), expected);
}

/// Clause 1.1: bytes 412 to 421 mean nothing before version 2, and the UMID nothing before version 1.
#[test]
fn older_versions_hide_what_they_do_not_know() {
    for (version, umid, loudness) in [
        (0, false, false),
        (1, true, false),
        (2, true, true),
        (3, true, true),
    ] {
        let (bext, _) = read(&full(version));
        assert_eq!(bext.umid.is_some(), umid, "version {version}");
        assert_eq!(bext.loudness.is_some(), loudness, "version {version}");
        assert_eq!(
            bext.time_reference,
            (2 << 32) + 0x8000_0001,
            "version {version}"
        );
    }
}

/// The version written is the one that the fields need, and what it does not know is zero.
#[test]
fn the_version_follows_the_fields() {
    let plain = Bext::default();
    let with_umid = Bext {
        umid: Some([1; 64]),
        ..plain.clone()
    };
    let with_loudness = Bext {
        loudness: Some(Loudness::default()),
        ..plain.clone()
    };
    for (bext, version) in [(plain, 0), (with_umid, 1), (with_loudness, 2)] {
        let payload = written(&bext);
        assert_eq!(payload[346..348], [version, 0]);
        if version < 2 {
            assert!(
                payload[412..602].iter().all(|&byte| byte == 0),
                "version {version}"
            );
        } else {
            // unused loudness: 0x7FFF (from memory, unconfirmed)
            assert!(
                payload[412..422]
                    .as_chunks()
                    .0
                    .iter()
                    .all(|field| *field == [0xFF, 0x7F])
            );
        }
        assert!(payload[422..602].iter().all(|&byte| byte == 0), "reserved");
    }
    let unknown = Bext {
        version: 9,
        ..Bext::default()
    };
    assert_eq!(written(&unknown)[346..348], [2, 0]);
}

/// 12:25:39 at 96 kHz is where the high word starts to matter: 2^32 / 96000 s = 44739.2 s.
#[test]
fn stamps_need_the_high_word() {
    for stamp in [
        0,
        1_728_000_000,
        u64::from(u32::MAX),
        1 << 32,
        86_399 * 192_000,
        u64::MAX,
    ] {
        let bext = Bext {
            time_reference: stamp,
            ..Bext::default()
        };
        let payload = written(&bext);
        assert_eq!(
            payload[338..346],
            stamp.to_le_bytes(),
            "one little-endian 64-bit number"
        );
        assert_eq!(read(&payload).0.time_reference, stamp);
    }
}

/// Dates and times are read by position, whatever stands between: the document allows any separator.
#[test]
fn any_separator_between_the_parts_of_date_and_time() {
    let parts = |date: &str, time: &str| {
        let bext = Bext {
            date: date.into(),
            time: time.into(),
            ..Bext::default()
        };
        (bext.date_parts(), bext.time_parts())
    };
    for (date, time) in [
        ("2031-02-28", "09:30:05"),
        ("2031_02_28", "09-30-05"),
        ("2031:02:28", "09.30.05"),
        ("2031 02 28", "09 30 05"),
        ("2031/02/28", "09_30_05"),
    ] {
        assert_eq!(parts(date, time), (Some((2031, 2, 28)), Some((9, 30, 5))));
    }
    for (date, time) in [
        ("", ""),
        ("2031-13-28", "24:00:00"),
        ("2031-02-00", "09:60:00"),
        ("28.02.2031", "9:30:05"),
        ("2031-02-é", "09:3"),
    ] {
        assert_eq!(parts(date, time), (None, None), "{date} {time}");
    }
}

/// Texts are ASCII (names with accents belong into iXML), cut to their fields, without control characters.
#[test]
fn texts_are_written_as_ascii_that_fits() {
    let payload = written(&Bext {
        description: format!("Größe \u{1F3BB}\u{0}{}", "x".repeat(300)),
        originator: "é".repeat(40),
        coding_history: "A=PCM,T=Łódź\nA=PCM\r\n\r\n".into(),
        ..Bext::default()
    });
    assert!(payload[..256].starts_with(b"Grosse ??x"));
    assert_eq!(payload[255], b'x', "all of the field is used");
    assert_eq!(payload[256..288], [b'e'; 32]);
    assert_eq!(&payload[602..], b"A=PCM,T=Lodz\r\nA=PCM\r\n\0");
}

#[test]
fn texts_beyond_ascii_are_read_and_said() {
    let mut payload = bext(1, 0, b"");
    payload[..5].copy_from_slice(b"caf\xE9\0");
    payload[5..9].copy_from_slice(b"junk");
    payload[256..261].copy_from_slice("café".as_bytes());
    let (bext, kinds) = read(&payload);
    assert_eq!(
        (bext.description.as_str(), bext.originator.as_str()),
        ("café", "café")
    );
    assert_eq!(kinds, [OddityKind::BextText, OddityKind::BextText]);
}

/// waveadapter reads what we write field for field, and we read what it writes.
#[test]
fn an_independent_library_agrees() {
    let ours = read(&full(2)).0;
    let theirs = waveadapter::Bext::from_bytes(&written(&ours)).expect("complete");
    assert_eq!(theirs.description, ours.description);
    assert_eq!(theirs.originator, ours.originator);
    assert_eq!(theirs.originator_reference, ours.originator_reference);
    assert_eq!(theirs.origination_date, ours.date);
    assert_eq!(theirs.origination_time, ours.time);
    assert_eq!(theirs.time_reference, ours.time_reference);
    assert_eq!(theirs.version, 2);
    assert_eq!(theirs.umid, [0xAB; 64]);
    assert_eq!((theirs.loudness_value, theirs.loudness_range), (-2305, 640));
    assert_eq!(
        (theirs.max_true_peak_level, theirs.max_short_term_loudness),
        (301, -1800)
    );
    assert_eq!(theirs.coding_history, ours.coding_history);
    assert_eq!(read(&theirs.to_bytes()).0, ours);
}
