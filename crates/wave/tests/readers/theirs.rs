//! Files that others write, in our hands.

use std::path::Path;
use std::process::Command;

use wave::{Container, Encoding, Header, OddityKind, ReadAt, Tag, WaveFile};

use crate::{ENCODINGS, python, run, script, sound};

/// Samples per channel.
const LENGTH: usize = 501;

/// Reads every channel and compares all samples and the encoding.
fn assert_equal(
    name: &str,
    source: impl ReadAt,
    encoding: Encoding,
    channels: usize,
    values: &[f64],
) -> Header {
    let file = WaveFile::open(source).unwrap_or_else(|error| panic!("{name}: {error}"));
    let header = file.header();
    assert_eq!(header.format.encoding, encoding, "{name}");
    assert_eq!(usize::from(header.format.channels), channels, "{name}");
    assert_eq!(header.format.sample_rate, 48_000, "{name}");
    assert_eq!(
        header.length, LENGTH as u64,
        "{name}: {:?}",
        header.oddities
    );
    let mut planes = vec![vec![0.0; LENGTH]; channels];
    let mut out: Vec<&mut [f64]> = planes.iter_mut().map(Vec::as_mut_slice).collect();
    let all: Vec<usize> = (0..channels).collect();
    assert_eq!(
        file.read(&all, 0, &mut out).expect("readable"),
        LENGTH,
        "{name}"
    );
    for (channel, plane) in planes.iter().enumerate() {
        assert!(
            plane
                .iter()
                .eq(values.iter().skip(channel).step_by(channels)),
            "{name}: channel {channel} differs"
        );
    }
    header.clone()
}

fn bytes_of(path: &Path) -> Vec<u8> {
    std::fs::read(path).expect("readable")
}

#[test]
fn what_ffmpeg_writes() {
    let folder = tempfile::tempdir().expect("folder");
    for (encoding, raw, ..) in ENCODINGS {
        for channels in [1, 2, 3, 9, 33] {
            for rf64 in ["never", "always"] {
                let name = format!("ffmpeg {raw} {channels} rf64 {rf64}");
                let path = folder.path().join(format!("{raw}-{channels}-{rf64}.wav"));
                let (values, bytes) = sound(encoding, channels * LENGTH);
                let mut command = Command::new("ffmpeg");
                command.args([
                    "-v",
                    "error",
                    "-f",
                    raw,
                    "-ar",
                    "48000",
                    "-ac",
                    &channels.to_string(),
                ]);
                command.args(["-i", "-", "-c", "copy", "-rf64", rf64, "-write_bext", "1"]);
                command.args([
                    "-metadata",
                    "description=Harbour",
                    "-metadata",
                    "originator=Lina",
                ]);
                command.args(["-metadata", "time_reference=5000000000"]);
                command.args(["-metadata", "origination_date=2031-02-28"]);
                command.args(["-metadata", "origination_time=09:30:00"]);
                command
                    .args(["-metadata", "coding_history=A=PCM,T=one"])
                    .arg(&path);
                run(&mut command, &bytes);

                let header = assert_equal(&name, bytes_of(&path), encoding, channels, &values);
                let expected = if rf64 == "always" {
                    Container::Rf64
                } else {
                    Container::Riff
                };
                assert_eq!(header.container, expected, "{name}");
                assert!(!header.length_from_file(), "{name}: {:?}", header.oddities);
                let bext = header.bext.unwrap_or_else(|| panic!("{name}: no bext"));
                assert_eq!(bext.description, "Harbour", "{name}");
                assert_eq!(bext.originator, "Lina", "{name}");
                assert_eq!(bext.time_reference, 5_000_000_000, "{name}");
                assert_eq!(bext.date_parts(), Some((2031, 2, 28)), "{name}");
                assert_eq!(bext.time_parts(), Some((9, 30, 0)), "{name}");
                assert_eq!(bext.coding_history.trim_end(), "A=PCM,T=one", "{name}");
            }
        }
    }
}

/// A writer to a pipe cannot go back to its sizes: both leave marks, and the length comes from the file.
#[test]
fn what_ffmpeg_and_sox_write_to_a_pipe() {
    let (values, bytes) = sound(Encoding::Int24, 3 * LENGTH);
    let mut command = Command::new("ffmpeg");
    command.args([
        "-v", "error", "-f", "s24le", "-ar", "48000", "-ac", "3", "-i", "-",
    ]);
    command.args(["-c", "copy", "-bitexact", "-f", "wav", "-"]);
    let file = run(&mut command, &bytes);
    let header = assert_equal("ffmpeg", file, Encoding::Int24, 3, &values);
    assert_eq!(
        header.oddities_of(OddityKind::Unfinalised).count(),
        1,
        "{:?}",
        header.oddities
    );

    let mut command = Command::new("sox");
    command.args([
        "-t",
        "raw",
        "-r",
        "48000",
        "-c",
        "3",
        "-e",
        "signed-integer",
        "-b",
        "24",
        "-L",
        "-",
    ]);
    command.args(["-t", "wav", "-"]);
    let file = run(&mut command, &bytes);
    let header = assert_equal("sox", file, Encoding::Int24, 3, &values);
    assert_eq!(
        header.oddities_of(OddityKind::Unfinalised).count(),
        1,
        "{:?}",
        header.oddities
    );
}

/// sox works in 32-bit integers, so floating point is made of 24-bit integers, which it passes on exactly.
#[test]
fn what_sox_writes() {
    let folder = tempfile::tempdir().expect("folder");
    for (encoding, raw, kind, _) in ENCODINGS {
        for channels in [1, 2, 3, 9, 33] {
            let name = format!("sox {raw} {channels}");
            let path = folder.path().join(format!("{raw}-{channels}.wav"));
            let source = if encoding.is_float() {
                Encoding::Int24
            } else {
                encoding
            };
            let (values, bytes) = sound(source, channels * LENGTH);
            let (bits, count) = (source.bits().to_string(), channels.to_string());
            let mut command = Command::new("sox");
            command.args([
                "-D",
                "-t",
                "raw",
                "-r",
                "48000",
                "-c",
                &count,
                "-e",
                "signed-integer",
            ]);
            command.args([
                "-b",
                &bits,
                "-L",
                "-",
                "-e",
                kind,
                "-b",
                &encoding.bits().to_string(),
            ]);
            command.args(["-t", "wav"]).arg(&path);
            run(&mut command, &bytes);
            let header = assert_equal(&name, bytes_of(&path), encoding, channels, &values);
            assert!(!header.length_from_file(), "{name}: {:?}", header.oddities);
        }
    }
}

#[test]
fn what_libsndfile_writes() {
    let folder = tempfile::tempdir().expect("folder");
    for (encoding, raw, _, subtype) in ENCODINGS {
        let (values, _) = sound(encoding, 33 * LENGTH);
        let samples = folder.path().join(format!("{raw}.f64"));
        let bytes: Vec<u8> = values
            .iter()
            .flat_map(|value| value.to_le_bytes())
            .collect();
        #[expect(
            clippy::disallowed_methods,
            reason = "a test writes its own file into a temporary folder"
        )]
        std::fs::write(&samples, bytes).expect("written");
        let cases = ["WAV", "WAVEX", "RF64"]
            .into_iter()
            .flat_map(|c| [1, 3, 33].map(|n| (c, n)));
        let cases: Vec<(&str, usize)> = cases.collect();
        let path = |(container, channels): (&str, usize)| {
            folder
                .path()
                .join(format!("{raw}-{container}-{channels}.wav"))
        };
        let orders: String = cases
            .iter()
            .map(|&case| {
                format!(
                    "{} {} {subtype} {} {LENGTH}\n",
                    path(case).display(),
                    case.0,
                    case.1
                )
            })
            .collect();
        run(
            Command::new(python())
                .arg(script())
                .arg("write")
                .arg(&samples),
            orders.as_bytes(),
        );
        for (container, channels) in cases {
            let name = format!("libsndfile {subtype} {container} {channels}");
            let bytes = bytes_of(&path((container, channels)));
            let values = &values[..channels * LENGTH];
            let header = assert_equal(&name, bytes, encoding, channels, values);
            assert_eq!(
                header.container == Container::Rf64,
                container == "RF64",
                "{name}"
            );
            assert!(!header.length_from_file(), "{name}: {:?}", header.oddities);
            if container == "WAVEX" {
                assert!(
                    matches!(header.format.tag, Tag::Extensible { .. }),
                    "{name}"
                );
            }
        }
    }
}
