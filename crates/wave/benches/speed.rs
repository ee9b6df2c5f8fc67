//! How fast samples are decoded, encoded and read from a file, in bytes of the file: `cargo bench -p commontime-wave`.

use std::io::{Cursor, Write};

use divan::{Bencher, counter::BytesCount};
use wave::{Encoding, Format, WaveFile, WaveWriter, WriteSpec};

/// Sample positions of one run: 12 channels of 32 bits make 3 MB.
const LENGTH: usize = 65_536;

const ENCODINGS: [Encoding; 5] = [
    Encoding::Int16,
    Encoding::Int24,
    Encoding::Int32,
    Encoding::Float32,
    Encoding::Float64,
];

fn main() {
    divan::main();
}

fn planes(channels: usize) -> Vec<Vec<f64>> {
    let value = |n: usize| ((n * 7919) % 65_536) as f64 / 65_536.0 - 0.5;
    (0..channels)
        .map(|channel| (0..LENGTH).map(|n| value(n + channel)).collect())
        .collect()
}

fn file(channels: u16, encoding: Encoding) -> Vec<u8> {
    let spec = WriteSpec::new(Format::plain(channels, 48_000, encoding));
    let mut writer = WaveWriter::new(Cursor::new(Vec::new()), &spec).expect("memory");
    let planes = planes(usize::from(channels));
    let planes: Vec<&[f64]> = planes.iter().map(Vec::as_slice).collect();
    writer.write_planar(&planes).expect("memory");
    writer.finish().expect("memory").1.into_inner()
}

#[divan::bench(args = ENCODINGS)]
fn read_twelve_channels_from_memory(bencher: Bencher<'_, '_>, encoding: Encoding) {
    let file = WaveFile::open(file(12, encoding)).expect("readable");
    read(bencher, &file);
}

#[divan::bench]
fn read_twelve_channels_of_float_from_a_file(bencher: Bencher<'_, '_>) {
    let mut on_disk = tempfile::tempfile().expect("a file");
    on_disk
        .write_all(&file(12, Encoding::Float32))
        .expect("written");
    let file = WaveFile::open(on_disk).expect("readable");
    read(bencher, &file);
}

#[divan::bench(args = [1, 2, 128])]
fn read_channels_of_float_from_memory(bencher: Bencher<'_, '_>, channels: u16) {
    let file = WaveFile::open(file(channels, Encoding::Float32)).expect("readable");
    read(bencher, &file);
}

#[divan::bench(args = ENCODINGS)]
fn write_twelve_channels_to_memory(bencher: Bencher<'_, '_>, encoding: Encoding) {
    let spec = WriteSpec::new(Format::plain(12, 48_000, encoding));
    let planes = planes(12);
    let planes: Vec<&[f64]> = planes.iter().map(Vec::as_slice).collect();
    bencher
        .counter(BytesCount::new(LENGTH * 12 * encoding.bytes()))
        .bench_local(|| {
            let out = Cursor::new(Vec::with_capacity(LENGTH * 12 * 8 + 100));
            let mut writer = WaveWriter::new(out, &spec).expect("memory");
            writer.write_planar(&planes).expect("memory");
            writer.finish().expect("memory").0
        });
}

fn read<R: wave::ReadAt>(bencher: Bencher<'_, '_>, file: &WaveFile<R>) {
    let channels = usize::from(file.header().format.channels);
    let all: Vec<usize> = (0..channels).collect();
    let mut planes = vec![vec![0.0; LENGTH]; channels];
    bencher
        .counter(BytesCount::new(file.header().data_bytes))
        .bench_local(|| {
            let mut out: Vec<&mut [f64]> = planes.iter_mut().map(Vec::as_mut_slice).collect();
            file.read(&all, 0, &mut out)
        });
}
