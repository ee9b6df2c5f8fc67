//! Whole files against waveadapter, an independent library: what one writes the other reads, chunks and markers
//! included.

mod common;

use std::io::Cursor;

use common::{Fmt, audio16, chunk, riff};
use wave::{
    Bext, Chunk, ChunkId, ContainerChoice, Encoding, Format, Header, Marker, WaveFile, WaveWriter,
    WriteSpec, marker_chunks,
};
use waveadapter::{AdtlEntry, AdtlList, Cue, CuePoint, WavReader};

const ALL: [Encoding; 5] = [
    Encoding::Int16,
    Encoding::Int24,
    Encoding::Int32,
    Encoding::Float32,
    Encoding::Float64,
];

#[test]
fn every_container_and_encoding_is_read_alike() {
    for encoding in ALL {
        for container in [
            ContainerChoice::Auto,
            ContainerChoice::Rf64,
            ContainerChoice::Bw64,
        ] {
            for channels in [1, 3, 33] {
                let name = format!("{encoding:?} {container:?} {channels}");
                let extra = vec![Chunk {
                    id: ChunkId(*b"xtra"),
                    payload: b"odd".to_vec(),
                }];
                let bext = Some(Bext {
                    time_reference: 5_000_000_000,
                    ..Bext::default()
                });
                let format = Format::plain(channels, 44_100, encoding);
                let spec = WriteSpec {
                    container,
                    extra,
                    bext,
                    ..WriteSpec::new(format)
                };
                let mut writer = WaveWriter::new(Cursor::new(Vec::new()), &spec).expect("started");
                let values: Vec<f64> = (0..33 * usize::from(channels))
                    .map(|n| (n as f64 - 500.0) / 32_768.0)
                    .collect();
                writer.write_interleaved(&values).expect("written");
                let bytes = writer.finish().expect("finished").1.into_inner();

                let mut reader = WavReader::new(Cursor::new(bytes.clone())).expect(&name);
                let params = reader.params().clone();
                let ours = Header::read(&bytes).expect(&name);
                assert_eq!(params.data_offset, ours.data_offset, "{name}");
                assert_eq!(params.data_length, ours.data_bytes, "{name}");
                assert_eq!(params.channels(), usize::from(channels), "{name}");
                assert_eq!(params.sample_rate(), 44_100, "{name}");
                assert_eq!(params.chunks_after[0].id, *b"xtra", "{name}");
                assert_eq!(params.chunks_after[0].data, b"odd", "{name}");
                let bext = params
                    .chunks_before
                    .iter()
                    .find_map(waveadapter::Bext::from_chunk);
                assert_eq!(
                    bext.map(|bext| bext.time_reference),
                    Some(5_000_000_000),
                    "{name}"
                );
                let raw = reader.read_raw_all().expect(&name);
                let at = ours.data_offset as usize;
                assert!(raw == bytes[at..at + ours.data_bytes as usize], "{name}");
            }
        }
    }
}

#[test]
fn markers_that_a_library_wrote() {
    let cue = Cue {
        points: vec![
            CuePoint::at(7, 480),
            CuePoint::at(9, 48_000),
            CuePoint::at(1, 0),
        ],
    };
    let label = |cue_id, text: &str| AdtlEntry::Label {
        cue_id,
        text: text.into(),
    };
    let list = AdtlList {
        entries: vec![
            label(9, "second one"),
            label(7, "Anfang"),
            label(55, "of nothing"),
            AdtlEntry::Note {
                cue_id: 7,
                text: "odd".into(),
            },
            AdtlEntry::LabeledText {
                cue_id: 9,
                sample_length: 2400,
                purpose: *b"rgn ",
                country: 0,
                language: 0,
                dialect: 0,
                code_page: 0,
                text: String::new(),
            },
        ],
    };
    let file = riff(&[
        Fmt::new(1, 2, 16).chunk(),
        chunk(b"data", &audio16(2, 10)),
        chunk(b"cue ", &cue.to_bytes()),
        chunk(b"LIST", &list.to_bytes()),
    ]);
    let header = Header::read(&file).expect("readable");
    let marker = |id, position| Marker {
        id,
        position,
        ..Marker::default()
    };
    let expected = [
        Marker {
            label: Some("Anfang".into()),
            note: Some("odd".into()),
            ..marker(7, 480)
        },
        Marker {
            label: Some("second one".into()),
            length: Some(2400),
            ..marker(9, 48_000)
        },
        marker(1, 0),
    ];
    assert_eq!(header.markers, expected);
    assert_eq!(header.oddities, []);
}

#[test]
fn markers_that_a_library_reads() {
    let markers = [
        Marker {
            id: 3,
            position: 96_000,
            length: Some(1024),
            label: Some("SOUTH: 1024 samples missing".into()),
            note: Some("silence, Stück".into()),
        },
        Marker {
            id: 1,
            position: 7,
            label: Some("odd".into()),
            ..Marker::default()
        },
    ];
    let mut spec = WriteSpec::new(Format::plain(1, 48_000, Encoding::Int16));
    spec.extra = marker_chunks(&markers).expect("markers");
    let mut writer = WaveWriter::new(Cursor::new(Vec::new()), &spec).expect("header");
    writer.write_planar(&[&[0.25; 11]]).expect("samples");
    let bytes = writer.finish().expect("finished").1.into_inner();
    let reader = WavReader::new(Cursor::new(&bytes)).expect("their reader");
    let after = &reader.params().chunks_after;
    let cue = after.iter().find_map(Cue::from_chunk).expect("cue");
    let points: Vec<(u32, u32)> = cue
        .points
        .iter()
        .map(|point| (point.id, point.sample_offset))
        .collect();
    assert_eq!(points, [(3, 96_000), (1, 7)]);
    let list = after.iter().find_map(AdtlList::from_chunk).expect("list");
    let of_three: Vec<String> = list
        .entries
        .iter()
        .filter_map(|entry| match entry {
            AdtlEntry::Label { cue_id: 3, text } | AdtlEntry::Note { cue_id: 3, text } => {
                Some(text.clone())
            }
            AdtlEntry::LabeledText {
                cue_id: 3,
                sample_length,
                purpose,
                ..
            } => Some(format!(
                "{sample_length} {}",
                String::from_utf8_lossy(purpose)
            )),
            _ => None,
        })
        .collect();
    assert_eq!(
        of_three,
        ["SOUTH: 1024 samples missing", "silence, Stück", "1024 rgn "]
    );
    let twice = [markers[1].clone(), markers[1].clone()];
    assert!(marker_chunks(&twice).is_err());
    assert_eq!(marker_chunks(&[]).expect("none"), []);
}

/// Chunks that are not understood survive being read and written again, byte for byte.
#[test]
fn unknown_chunks_survive_a_rewrite() {
    let first = riff(&[
        chunk(b"abcd", b"odd"),
        Fmt::new(1, 2, 16).chunk(),
        chunk(b"data", &audio16(2, 10)),
        chunk(b"LIST", b"INFOINAM\x06\0\0\0name\0\0"),
        chunk(b"efgh", &[7; 1000]),
    ]);
    let file = WaveFile::open(first).expect("readable");
    let header = file.header();
    let kept = |id: [u8; 4]| Chunk {
        id: ChunkId(id),
        payload: header
            .chunk(ChunkId(id))
            .and_then(|chunk| chunk.payload.clone())
            .expect("kept"),
    };
    let extra = vec![kept(*b"abcd"), kept(*b"LIST"), kept(*b"efgh")];
    let spec = WriteSpec {
        extra,
        ..WriteSpec::new(header.format)
    };
    let mut writer = WaveWriter::new(Cursor::new(Vec::new()), &spec).expect("started");
    let mut audio = [0; 40];
    assert_eq!(file.read_bytes(0, &mut audio).expect("readable"), 40);
    writer.write_bytes(&audio).expect("written");
    let second = writer.finish().expect("finished").1.into_inner();

    let params = WavReader::new(Cursor::new(second))
        .expect("readable")
        .params()
        .clone();
    let after: Vec<_> = params
        .chunks_after
        .iter()
        .map(|chunk| (chunk.id, chunk.data.clone()))
        .collect();
    let expected = [
        (*b"abcd", b"odd".to_vec()),
        (*b"LIST", b"INFOINAM\x06\0\0\0name\0\0".to_vec()),
        (*b"efgh", vec![7; 1000]),
    ];
    assert_eq!(after, expected);
}
