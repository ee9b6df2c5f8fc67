//! Files around and beyond 4 GiB, sparse so that they cost no disk: sizes exact, re-read equal, others agree.

mod common;

use std::fs::File;
use std::io::{self, Seek, SeekFrom, Write};
use std::path::Path;
use std::process::Command;

use common::{Fmt, unpadded};
use wave::{
    Container, ContainerChoice, Encoding, Format, Header, OddityKind, WaveFile, WaveWriter,
    WriteSpec, Written,
};

const GIB: u64 = 1 << 30;

/// A file in which long pieces, which hold zero bytes in these tests, become holes.
struct Sparse(File);

impl Write for Sparse {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if bytes.len() >= 1 << 20 {
            assert!(
                bytes.first() == Some(&0) && bytes.last() == Some(&0),
                "only silence is long"
            );
            self.0.seek(SeekFrom::Current(bytes.len() as i64))?;
            return Ok(bytes.len());
        }
        self.0.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.0.flush()
    }
}

impl Seek for Sparse {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.0.seek(to)
    }
}

#[expect(
    clippy::disallowed_methods,
    reason = "a test writes its own files into a temporary folder"
)]
fn create(path: &Path) -> File {
    File::create(path).expect("created")
}

/// Bytes of one sample of every channel whose values tell the channel and the end they stand at.
fn mark(format: &Format, end: u8) -> Vec<u8> {
    (0..format.block_bytes())
        .map(|index| 1 + end + (index % 100) as u8)
        .collect()
}

/// Writes `data_bytes` of audio: a mark, silence, a mark.
fn write(path: &Path, spec: &WriteSpec, data_bytes: u64) -> Written {
    let block = spec.format.block_bytes() as u64;
    let mut writer = WaveWriter::new(Sparse(create(path)), spec).expect("started");
    writer.write_bytes(&mark(&spec.format, 0)).expect("written");
    let silence = vec![0; (16 << 20) / block as usize * block as usize];
    let mut left = data_bytes - 2 * block;
    while left > 0 {
        let piece = left.min(silence.len() as u64) as usize;
        writer.write_bytes(&silence[..piece]).expect("written");
        left -= piece as u64;
    }
    writer
        .write_bytes(&mark(&spec.format, 100))
        .expect("written");
    writer.finish().expect("finished").0
}

/// Reads the first and the last sample as bytes and checks the sizes.
fn assert_whole(path: &Path, written: &Written, format: &Format) -> Header {
    let file = WaveFile::open(File::open(path).expect("opened")).expect("readable");
    let header = file.header();
    assert_eq!(header.file_bytes, written.bytes);
    assert_eq!(header.data_bytes, written.data_bytes);
    assert_eq!(header.length, written.length);
    assert_eq!(header.container, written.container);
    assert_eq!(header.oddities, []);
    let mut bytes = vec![0; format.block_bytes()];
    file.read_bytes(0, &mut bytes).expect("readable");
    assert_eq!(bytes, mark(format, 0));
    file.read_bytes(header.length - 1, &mut bytes)
        .expect("readable");
    assert_eq!(bytes, mark(format, 100));
    header.clone()
}

/// The file becomes RF64 exactly when its outermost size no longer fits below the mark 0xFFFFFFFF.
#[test]
fn riff_up_to_the_last_size_that_fits_and_rf64_from_the_next_on() {
    let folder = tempfile::tempdir().expect("folder");
    let format = Format::plain(1, 48_000, Encoding::Int16);
    // what stands before the audio: 12 + 8 + 28 + 8 + 16 + 8
    let head = 80;
    for (data_bytes, container) in [
        (4 * GIB - 2 - head, Container::Riff),
        (4 * GIB - 2 - (head - 8), Container::Riff),
        (4 * GIB - (head - 8), Container::Rf64),
        (4 * GIB - 2, Container::Rf64),
        (4 * GIB, Container::Rf64),
        (4 * GIB + 2, Container::Rf64),
    ] {
        let path = folder.path().join("edge.wav");
        let written = write(&path, &WriteSpec::new(format), data_bytes);
        assert_eq!(written.container, container, "{data_bytes}");
        assert_eq!(written.bytes, head + data_bytes);
        assert_eq!(written.data_bytes, data_bytes);
        assert_whole(&path, &written, &format);
    }
}

/// 20 channels of 24 bits for 45 minutes: 7.8 GB (needs, row 20).
#[test]
fn forty_five_minutes_of_twenty_channels() {
    let folder = tempfile::tempdir().expect("folder");
    let path = folder.path().join("long.wav");
    let format = Format::plain(20, 48_000, Encoding::Int24);
    let length = 45 * 60 * 48_000;
    let written = write(&path, &WriteSpec::new(format), length * 60);
    assert_eq!(
        (written.length, written.data_bytes),
        (length, 7_776_000_000)
    );
    let header = assert_whole(&path, &written, &format);
    assert_eq!(header.container, Container::Rf64);

    let said = |program: &str, arguments: &[&str]| {
        let output = Command::new(program).args(arguments).arg(&path).output();
        let output =
            output.unwrap_or_else(|error| panic!("{program}: {error}; ./check installs it"));
        String::from_utf8_lossy(&output.stdout).trim().to_owned()
    };
    let probe = [
        "-v",
        "error",
        "-of",
        "csv=p=0",
        "-show_entries",
        "stream=channels,duration_ts",
    ];
    assert_eq!(said("ffprobe", &probe), format!("20,{length}"));
    // soxi agrees too, but reads all of it to say so
    assert!(said("mediainfo", &["--Output=Audio;%SamplingCount%"]).ends_with(&length.to_string()));
    let python = std::env::var("COMMONTIME_PYTHON")
        .unwrap_or_else(|_| format!("{}/../../.venv/bin/python", env!("CARGO_MANIFEST_DIR")));
    let script = "import soundfile, sys; print(soundfile.info(sys.argv[1]).frames)";
    assert_eq!(said(&python, &["-c", script]), length.to_string());
}

#[test]
fn bw64_beyond_four_gib() {
    let folder = tempfile::tempdir().expect("folder");
    let path = folder.path().join("bw64.wav");
    let format = Format::plain(3, 192_000, Encoding::Int24);
    let spec = WriteSpec {
        container: ContainerChoice::Bw64,
        ..WriteSpec::new(format)
    };
    // an odd number of bytes
    let written = write(&path, &spec, 9 * 500_000_001);
    assert_eq!(written.bytes, 80 + 4_500_000_009 + 1);
    assert_whole(&path, &written, &format);
}

/// 32-bit sizes that wrapped: the file says how long the audio is.
#[test]
fn plain_riff_beyond_four_gib_is_read_whole() {
    let folder = tempfile::tempdir().expect("folder");
    let format = Fmt::new(1, 2, 16);
    let tail = common::chunk(b"iXML", common::IXML);
    for (audio, size) in [
        (4 * GIB + 400, 400u32),
        (9 * GIB + 4, (GIB + 4) as u32),
        (5 * GIB, u32::MAX),
        (5 * GIB, 0),
    ] {
        for trailer in [&b""[..], &tail] {
            let path = folder.path().join("wrapped.wav");
            let mut file = create(&path);
            let head = [
                unpadded(b"RIFF", size.wrapping_add(36), b"WAVE"),
                format.chunk(),
                unpadded(b"data", size, &[1, 0, 2, 0]),
            ];
            file.write_all(&head.concat()).expect("written");
            file.seek(SeekFrom::Start(44 + audio - 4)).expect("sought");
            file.write_all(&[3, 0, 4, 0]).expect("written");
            file.write_all(trailer).expect("written");
            let file = WaveFile::open(File::open(&path).expect("opened")).expect("readable");
            let header = file.header();
            assert_eq!(header.data_bytes, audio, "{size}: {:?}", header.oddities);
            assert!(header.length_from_file(), "{size}: {:?}", header.oddities);
            let wrapped = header.oddities_of(OddityKind::WrappedSize).count();
            assert_eq!(
                wrapped,
                usize::from(!matches!(size, 0 | u32::MAX)),
                "{size}"
            );
            assert_eq!(header.ixml.is_some(), !trailer.is_empty(), "{size}");
            let (mut left, mut right) = ([0.0; 2], [0.0; 2]);
            let read = file
                .read(&[0, 1], header.length - 1, &mut [&mut left, &mut right])
                .expect("readable");
            assert_eq!(
                (read, left[0], right[0]),
                (1, 3.0 / 32_768.0, 4.0 / 32_768.0)
            );
        }
    }
}
