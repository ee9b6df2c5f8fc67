//! Every way the `fmt ` chunk may say how samples are stored, decoded against the slow obvious version; every encoding
//! there and back without loss; rounding and clipping.

mod common;

use std::io::Cursor;

use common::{Fmt, chunk, riff};
use proptest::prelude::*;
use wave::{ContainerChoice, Encoding, Format, OddityKind, Tag, WaveFile, WaveWriter, WriteSpec};

/// The value of a little-endian integer that fills its bytes: sum of bits, then the sign, then the scale.
fn integer(bytes: &[u8]) -> f64 {
    let bits = 8 * bytes.len() as u32;
    let sum: u64 = bytes
        .iter()
        .enumerate()
        .map(|(place, &byte)| u64::from(byte) << (8 * place))
        .sum();
    let signed = sum as i64
        - if sum >> (bits - 1) == 1 {
            1i64 << bits
        } else {
            0
        };
    signed as f64 / 2f64.powi(bits as i32 - 1)
}

/// Bytes without pattern.
fn noise(count: usize) -> Vec<u8> {
    (0..count as u32)
        .map(|n| (n.wrapping_mul(2_654_435_761) >> 13) as u8)
        .collect()
}

/// A name, a `fmt ` chunk, and what it means: valid bits, encoding, oddities.
type Form = (&'static str, Vec<u8>, u16, Encoding, &'static [OddityKind]);

#[rustfmt::skip]
#[test]
fn every_legal_form_is_read() {
    let with = |fmt: Fmt, more: &[u8]| chunk(b"fmt ", &[fmt.payload(), more.to_vec()].concat());
    let in32 = Fmt { block: 8, ..Fmt::new(1, 2, 24) };
    let cases: Vec<Form> = vec![
        ("16, tag 1", Fmt::new(1, 2, 16).chunk(), 16, Encoding::Int16, &[]),
        ("16, tag 1, 18 bytes", with(Fmt::new(1, 2, 16), &[0, 0]), 16, Encoding::Int16, &[]),
        ("12 in 16, tag 1", Fmt::new(1, 2, 12).chunk(), 12, Encoding::Int16, &[]),
        ("24, tag 1", Fmt::new(1, 2, 24).chunk(), 24, Encoding::Int24, &[]),
        ("20 in 24, tag 1", Fmt::new(1, 2, 20).chunk(), 20, Encoding::Int24, &[]),
        ("32, tag 1", Fmt::new(1, 2, 32).chunk(), 32, Encoding::Int32, &[]),
        ("24 in 32, tag 1", in32.chunk(), 24, Encoding::Int32, &[OddityKind::BlockAlign]),
        ("float 32, tag 3", Fmt::new(3, 2, 32).chunk(), 32, Encoding::Float32, &[]),
        ("float 32, tag 3, 18 bytes", with(Fmt::new(3, 2, 32), &[0, 0]), 32, Encoding::Float32, &[]),
        ("float 64, tag 3", Fmt::new(3, 2, 64).chunk(), 64, Encoding::Float64, &[]),
        ("16, extensible", Fmt::new(1, 2, 16).extensible(16, 3, 1), 16, Encoding::Int16, &[]),
        ("20 in 24, extensible", Fmt::new(1, 2, 24).extensible(20, 0, 1), 20, Encoding::Int24, &[]),
        ("24, extensible", Fmt::new(1, 2, 24).extensible(24, 0, 1), 24, Encoding::Int24, &[]),
        ("24 in 32, extensible", Fmt::new(1, 2, 32).extensible(24, 0, 1), 24, Encoding::Int32, &[]),
        ("0 in 24, extensible", Fmt::new(1, 2, 24).extensible(0, 0, 1), 24, Encoding::Int24, &[OddityKind::ValidBits]),
        ("float 32, extensible", Fmt::new(1, 2, 32).extensible(32, 0, 3), 32, Encoding::Float32, &[]),
        ("float 64, extensible", Fmt::new(1, 2, 64).extensible(64, 0, 3), 64, Encoding::Float64, &[]),
        ("odd mask", Fmt::new(1, 2, 24).extensible(24, 0xFFFF_FFFF, 1), 24, Encoding::Int24, &[]),
    ];
    for (name, fmt, valid, encoding, oddities) in cases {
        let width = encoding.bytes();
        let audio = noise(2 * width * 50);
        let file = WaveFile::open(riff(&[fmt, chunk(b"data", &audio)])).expect(name);
        let header = file.header();
        assert_eq!((header.format.encoding, header.format.valid_bits), (encoding, valid), "{name}");
        let found: Vec<_> = header.oddities.iter().map(|oddity| oddity.kind).filter(|k| *k != OddityKind::ByteRate).collect();
        assert_eq!(found, oddities, "{name}");
        assert_eq!(header.length, 50, "{name}");
        let (mut left, mut right) = ([0.0; 50], [0.0; 50]);
        file.read(&[1, 0], 0, &mut [&mut right, &mut left]).expect(name);
        for (n, stored) in audio.chunks(2 * width).enumerate() {
            for (value, bytes) in [left[n], right[n]].iter().zip(stored.chunks(width)) {
                let expected = match encoding {
                    Encoding::Float32 => f64::from(f32::from_le_bytes(bytes.try_into().expect("four"))),
                    Encoding::Float64 => f64::from_le_bytes(bytes.try_into().expect("eight")),
                    _ => integer(bytes),
                };
                assert!(value.to_bits() == expected.to_bits() || value.is_nan() && expected.is_nan(), "{name}: {value} for {expected} at {n}");
            }
        }
    }
}

/// +0.5 left-justified in four bytes is 0x40000000 whether 24 or 32 bits are valid (WAVEFORMATEXTENSIBLE).
#[test]
fn twenty_four_bits_in_thirty_two_stand_in_the_upper_three_bytes() {
    for valid in [24, 32] {
        let fmt = Fmt::new(1, 1, 32).extensible(valid, 0, 1);
        let file =
            WaveFile::open(riff(&[fmt, chunk(b"data", &[0, 0, 0, 0x40])])).expect("readable");
        let mut value = [0.0];
        file.read(&[0], 0, &mut [&mut value]).expect("readable");
        assert_eq!(value, [0.5]);
    }
}

#[test]
fn channel_masks_are_kept_and_never_change_the_order() {
    for mask in [0, 3, 0xFFFF_FFFF] {
        let fmt = Fmt::new(1, 2, 16).extensible(16, mask, 1);
        let file = WaveFile::open(riff(&[fmt, chunk(b"data", &[1, 0, 2, 0])])).expect("readable");
        let Tag::Extensible { channel_mask, .. } = file.header().format.tag else {
            panic!("extensible")
        };
        assert_eq!(channel_mask, mask);
        let (mut a, mut b) = ([0.0], [0.0]);
        file.read(&[0, 1], 0, &mut [&mut a, &mut b])
            .expect("readable");
        assert_eq!((a, b), ([1.0 / 32_768.0], [2.0 / 32_768.0]));
    }
}

const ALL: [Encoding; 5] = [
    Encoding::Int16,
    Encoding::Int24,
    Encoding::Int32,
    Encoding::Float32,
    Encoding::Float64,
];

fn write(format: Format, values: &[f64]) -> (wave::Written, Vec<u8>) {
    let mut writer =
        WaveWriter::new(Cursor::new(Vec::new()), &WriteSpec::new(format)).expect("started");
    writer.write_interleaved(values).expect("written");
    let (written, out) = writer.finish().expect("finished");
    (written, out.into_inner())
}

proptest! {
    /// Any bytes decoded and encoded again are the same bytes, in any number of channels and any portions.
    #[test]
    fn there_and_back_is_bit_for_bit(
        encoding in prop::sample::select(ALL.to_vec()),
        channels in 1u16..70,
        length in 1usize..300,
        split in 0usize..300,
        seed in any::<u32>(),
    ) {
        let format = Format::plain(channels, 48_000, encoding);
        let mut audio = noise(seed as usize % 1000 + length * format.block_bytes());
        audio.drain(..seed as usize % 1000);
        if encoding.is_float() {
            // the highest bits of the exponent off: no value is an infinity or no number
            audio.iter_mut().skip(encoding.bytes() - 1).step_by(encoding.bytes()).for_each(|byte| *byte &= 0xBF);
        }
        let fmt = Fmt::new(if encoding.is_float() { 3 } else { 1 }, channels, encoding.bits()).chunk();
        let file = WaveFile::open(riff(&[fmt, chunk(b"data", &audio)])).expect("readable");
        let count = usize::from(channels);
        let mut planes = vec![vec![0.0; length]; count];
        let split = split.min(length);
        for (from, to) in [(0, split), (split, length)] {
            let mut out: Vec<&mut [f64]> = planes.iter_mut().map(|plane| &mut plane[from..to]).collect();
            file.read(&(0..count).collect::<Vec<_>>(), from as u64, &mut out).expect("readable");
        }
        let planes: Vec<&[f64]> = planes.iter().map(Vec::as_slice).collect();
        let mut writer = WaveWriter::new(Cursor::new(Vec::new()), &WriteSpec::new(format)).expect("started");
        writer.write_planar(&planes).expect("written");
        let (written, out) = writer.finish().expect("finished");
        let at = written.data_offset as usize;
        prop_assert_eq!(written.encoded, wave::Encoded::default());
        prop_assert!(out.into_inner()[at..at + audio.len()] == audio);
    }
}

/// Halves go to the even neighbour; +1.0 and beyond become the largest integer and are counted; no number becomes 0.
#[test]
fn integers_are_rounded_clipped_and_counted() {
    let step = 1.0 / 32_768.0;
    let values = [
        0.5 * step,
        1.5 * step,
        -0.5 * step,
        1.49 * step,
        1.0,
        -1.0,
        -1.5,
        7.0,
        f64::INFINITY,
        f64::NAN,
    ];
    let (written, bytes) = write(Format::plain(1, 48_000, Encoding::Int16), &values);
    let stored: Vec<i16> = bytes[80..100]
        .as_chunks()
        .0
        .iter()
        .map(|bytes| i16::from_le_bytes(*bytes))
        .collect();
    assert_eq!(
        stored,
        [0, 2, 0, 1, 32_767, -32_768, -32_768, 32_767, 32_767, 0]
    );
    assert_eq!(written.encoded.clipped, 4);
    assert_eq!(written.encoded.not_a_number, 1);
}

#[test]
fn floating_point_keeps_what_is_beyond_full_scale() {
    let values = [1.5, -3.0, 1e-40, f64::INFINITY, -0.0];
    for encoding in [Encoding::Float32, Encoding::Float64] {
        let (written, bytes) = write(Format::plain(1, 48_000, encoding), &values);
        assert_eq!(written.encoded, wave::Encoded::default());
        let file = WaveFile::open(bytes).expect("readable");
        let mut read = [0.0; 5];
        file.read(&[0], 0, &mut [&mut read]).expect("readable");
        for (read, value) in read.iter().zip(values) {
            let kept = if encoding == Encoding::Float32 {
                f64::from(value as f32)
            } else {
                value
            };
            assert_eq!(read.to_bits(), kept.to_bits());
        }
    }
}

/// Byte for byte what RIFF 1991, chapters 2 and 3, asks of a plain file, room for ds64 included.
#[test]
fn a_small_file_byte_for_byte() {
    let (written, bytes) = write(
        Format::plain(3, 48_000, Encoding::Int24),
        &[0.5, -0.5, 0.25],
    );
    let expected = [
        &b"RIFF\x52\0\0\0WAVE"[..],
        b"JUNK\x1c\0\0\0",
        &[0; 28],
        b"fmt \x10\0\0\0\x01\0\x03\0\x80\xbb\0\0\x80\x97\x06\0\x09\0\x18\0",
        b"data\x09\0\0\0\0\0\x40\0\0\xc0\0\0\x20\0",
    ]
    .concat();
    assert_eq!(bytes, expected);
    assert_eq!(
        (
            written.bytes,
            written.data_offset,
            written.data_bytes,
            written.length
        ),
        (90, 80, 9, 1)
    );
}

/// The same under 64-bit sizes: EBU Tech 3306 gives samples per channel in ds64, ITU-R BS.2088 a dummy.
#[test]
fn small_files_with_64_bit_sizes_byte_for_byte() {
    for (container, id, count) in [
        (ContainerChoice::Rf64, b"RF64", 1),
        (ContainerChoice::Bw64, b"BW64", 0),
    ] {
        let spec = WriteSpec {
            container,
            ..WriteSpec::new(Format::plain(3, 48_000, Encoding::Int24))
        };
        let mut writer = WaveWriter::new(Cursor::new(Vec::new()), &spec).expect("started");
        writer
            .write_interleaved(&[0.5, -0.5, 0.25])
            .expect("written");
        let expected = [
            &id[..],
            b"\xff\xff\xff\xffWAVE",
            b"ds64\x1c\0\0\0\x52\0\0\0\0\0\0\0\x09\0\0\0\0\0\0\0",
            &[count, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0],
            b"fmt \x10\0\0\0\x01\0\x03\0\x80\xbb\0\0\x80\x97\x06\0\x09\0\x18\0",
            b"data\xff\xff\xff\xff\0\0\x40\0\0\xc0\0\0\x20\0",
        ]
        .concat();
        assert_eq!(writer.finish().expect("finished").1.into_inner(), expected);
    }
}

/// Floating point needs `fact` with samples per channel and a format of 18 bytes (RIFF 1991, chapter 3).
#[test]
fn floating_point_has_a_fact_chunk() {
    let (_, bytes) = write(Format::plain(2, 192_000, Encoding::Float32), &[0.0; 10]);
    let fmt = b"fmt \x12\0\0\0\x03\0\x02\0\0\xee\x02\0\0\x70\x17\0\x08\0\x20\0\0\0";
    assert_eq!(&bytes[48..74], fmt);
    assert_eq!(&bytes[74..86], b"fact\x04\0\0\0\x05\0\0\0");
    let (_, bytes) = write(
        Format::plain(2, 192_000, Encoding::Float32).extensible(),
        &[0.0; 10],
    );
    assert_eq!(&bytes[48..58], b"fmt \x28\0\0\0\xfe\xff");
    assert_eq!(
        &bytes[72..80],
        b"\x16\0\x20\0\0\0\0\0",
        "22 bytes, 32 valid bits, mask 0"
    );
    assert_eq!(
        &bytes[80..96],
        b"\x03\0\0\0\0\0\x10\0\x80\0\0\xaa\0\x38\x9b\x71"
    );
}

#[test]
fn requests_that_make_no_sense_are_refused_in_words() {
    let file = WaveFile::open(write(Format::plain(2, 48_000, Encoding::Int16), &[0.0; 8]).1)
        .expect("readable");
    let (mut one, mut two) = ([9.0; 3], [9.0; 4]);
    let said = |result: wave::Result<usize>| result.expect_err("refused").to_string();
    assert_eq!(
        said(file.read(&[2], 0, &mut [&mut one])),
        "channel 2 counted from 0, of 2"
    );
    assert_eq!(
        said(file.read(&[0, 1], 0, &mut [&mut one])),
        "2 channels into 1 slices"
    );
    assert!(said(file.read(&[0, 1], 0, &mut [&mut one, &mut two])).contains("different length"));
    // beyond the end there is silence, and the count says so
    assert_eq!(file.read(&[0], 3, &mut [&mut one]).expect("readable"), 1);
    assert_eq!(one, [0.0; 3]);
    assert_eq!(
        file.read(&[0], u64::MAX, &mut [&mut one])
            .expect("readable"),
        0
    );
    assert_eq!(
        file.read_bytes(u64::MAX, &mut [0; 40]).expect("readable"),
        0
    );

    let spec = WriteSpec::new(Format::plain(2, 48_000, Encoding::Int16));
    let mut writer = WaveWriter::new(Cursor::new(Vec::new()), &spec).expect("started");
    assert!(writer.write_interleaved(&[0.0; 3]).is_err());
    assert!(writer.write_planar(&[&[0.0; 3]]).is_err());
    assert!(writer.write_planar(&[&[0.0; 3], &[0.0; 2]]).is_err());
    assert!(writer.write_bytes(&[0; 6]).is_err());
    for format in [
        Format {
            channels: 0,
            ..spec.format
        },
        Format {
            sample_rate: 0,
            ..spec.format
        },
        Format::plain(40_000, 48_000, Encoding::Int16),
        Format {
            valid_bits: 0,
            ..spec.format
        },
        Format {
            valid_bits: 17,
            ..spec.format
        },
    ] {
        assert!(WaveWriter::new(Cursor::new(Vec::new()), &WriteSpec::new(format)).is_err());
    }
    for id in [*b"data", *b"fmt ", *b"ds64", *b"fact", *b"\0\0\0\0"] {
        let extra = vec![wave::Chunk {
            id: wave::ChunkId(id),
            payload: Vec::new(),
        }];
        let spec = WriteSpec {
            extra,
            ..spec.clone()
        };
        assert!(WaveWriter::new(Cursor::new(Vec::new()), &spec).is_err());
    }
}

/// More than is read or encoded at a time, from any start: every value where it belongs.
#[test]
fn long_stretches_are_read_and_written_in_pieces_without_a_seam() {
    const LENGTH: usize = 100_000;
    let value = |n: usize, c: usize| ((n * 5 + c) % 65_536) as f64 / 32_768.0 - 1.0;
    for channels in [1, 5] {
        let planes: Vec<Vec<f64>> = (0..channels)
            .map(|c| (0..LENGTH).map(|n| value(n, c)).collect())
            .collect();
        let slices: Vec<&[f64]> = planes.iter().map(Vec::as_slice).collect();
        let spec = WriteSpec::new(Format::plain(channels as u16, 48_000, Encoding::Int24));
        let mut writer = WaveWriter::new(Cursor::new(Vec::new()), &spec).expect("started");
        writer.write_planar(&slices).expect("written");
        let bytes = writer.finish().expect("finished").1.into_inner();
        let interleaved: Vec<f64> = (0..LENGTH)
            .flat_map(|n| (0..channels).map(move |c| value(n, c)))
            .collect();
        assert!(
            write(spec.format, &interleaved).1 == bytes,
            "planar and interleaved are one file"
        );

        let file = WaveFile::open(bytes).expect("readable");
        for start in [0, 1, 77_777] {
            let mut read = vec![9.0; LENGTH];
            let held = file
                .read(&[channels - 1], start as u64, &mut [&mut read])
                .expect("readable");
            assert_eq!(held, LENGTH - start);
            let (there, beyond) = read.split_at(held);
            assert!(
                there
                    .iter()
                    .enumerate()
                    .all(|(n, v)| *v == value(start + n, channels - 1))
            );
            assert!(beyond.iter().all(|v| *v == 0.0));
        }
    }
}

/// Killed while writing: what had been written is there, and its length comes from the file.
#[test]
fn a_file_whose_writer_was_stopped_is_read_whole() {
    let mut out = Cursor::new(Vec::new());
    let spec = WriteSpec::new(Format::plain(2, 48_000, Encoding::Int24));
    let mut writer = WaveWriter::new(&mut out, &spec).expect("started");
    writer.write_interleaved(&[0.5; 2000]).expect("written");
    drop(writer);
    let file = WaveFile::open(out.into_inner()).expect("readable");
    assert_eq!(file.header().length, 1000);
    assert_eq!(
        file.header().oddities_of(OddityKind::Unfinalised).count(),
        1
    );
}
