//! Files we write, in the hands of others.

use std::fs::File;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;
use wave::{
    Bext, Chunk, ChunkId, Container, ContainerChoice, Encoding, FileSet, Format, Ixml, Loudness,
    Track, WaveWriter, WriteSpec,
};

use crate::{ENCODINGS, python, run, script, sound};

/// Samples per channel: odd, so that odd channels of 24 bits make odd sizes.
const LENGTH: usize = 1001;

/// 2^32 + 705 032 704: five billion samples need the high word.
const STAMP: u64 = 5_000_000_000;

/// One file and what it holds.
struct Made {
    path: PathBuf,
    format: Format,
    container: Container,
    raw_name: &'static str,
    values: Vec<f64>,
    bytes: Vec<u8>,
}

fn bext() -> Bext {
    Bext {
        description: "Harbour, scene 12A".into(),
        originator: "Commontime".into(),
        originator_reference: "SEHBR000000000042093000123456789".into(),
        date: "2031-02-28".into(),
        time: "09:30:00".into(),
        time_reference: STAMP,
        version: 2,
        umid: None,
        loudness: Some(Loudness {
            value: Some(-2305),
            ..Loudness::default()
        }),
        coding_history:
            "A=PCM,F=48000,W=24,M=mono,T=unit A ch 3\r\nA=PCM,F=48000,W=24,M=mono,T=moved\r\n"
                .into(),
    }
}

fn ixml(channels: u16) -> Ixml {
    let track = |index: u32| Track {
        channel_index: Some(index),
        interleave_index: Some(index),
        name: Some(format!("Bläser & <Chor> {index}")),
        ..Track::default()
    };
    Ixml {
        project: Some("Håfen \"Ost\" & Süd".into()),
        scene: Some("12A".into()),
        take: Some("3".into()),
        tape: Some("D04".into()),
        file_set: Some(FileSet {
            family_name: Some("12A/3".into()),
            ..FileSet::default()
        }),
        tracks: (1..=u32::from(channels)).map(track).collect(),
        ..Ixml::default()
    }
}

/// Every encoding with every number of channels, RIFF and RF64 in turn, and extensible ones.
fn make_all(folder: &Path) -> Vec<Made> {
    let mut all = Vec::new();
    for (index, (encoding, raw_name, ..)) in ENCODINGS.into_iter().enumerate() {
        for (turn, channels) in [1, 2, 3, 9, 33, 64, 128].into_iter().enumerate() {
            let plain = Format::plain(channels, 96_000, encoding);
            let rf64 = (index + turn) % 2 == 1;
            all.push(make(folder, plain, rf64, raw_name));
            if channels == 9 {
                all.push(make(folder, plain, !rf64, raw_name));
                all.push(make(folder, plain.extensible(), false, raw_name));
            }
        }
    }
    all
}

#[expect(
    clippy::disallowed_methods,
    reason = "a test writes its own files into a temporary folder"
)]
fn make(folder: &Path, format: Format, rf64: bool, raw_name: &'static str) -> Made {
    let (values, bytes) = sound(format.encoding, LENGTH * usize::from(format.channels));
    let spec = WriteSpec {
        bext: Some(bext()),
        ixml: Some(ixml(format.channels)),
        extra: vec![Chunk {
            id: ChunkId(*b"xtra"),
            payload: b"odd".to_vec(),
        }],
        container: if rf64 {
            ContainerChoice::Rf64
        } else {
            ContainerChoice::Auto
        },
        ..WriteSpec::new(format)
    };
    let tag = if format.tag == wave::Tag::Plain {
        "plain"
    } else {
        "extensible"
    };
    let name = format!(
        "{raw_name}-{}-{}-{tag}.wav",
        format.channels,
        if rf64 { "rf64" } else { "riff" }
    );
    let path = folder.join(name);
    let mut writer =
        WaveWriter::new(File::create(&path).expect("created"), &spec).expect("started");
    // in two unequal parts, planar and interleaved
    let channels = usize::from(format.channels);
    let split = 400 * channels;
    let planes: Vec<Vec<f64>> = (0..channels)
        .map(|c| {
            values[..split]
                .iter()
                .copied()
                .skip(c)
                .step_by(channels)
                .collect()
        })
        .collect();
    let planes: Vec<&[f64]> = planes.iter().map(Vec::as_slice).collect();
    writer.write_planar(&planes).expect("written");
    writer.write_interleaved(&values[split..]).expect("written");
    let (written, _) = writer.finish().expect("finished");
    assert_eq!(written.length, LENGTH as u64);
    assert_eq!(written.encoded, wave::Encoded::default(), "nothing clipped");
    Made {
        path,
        format,
        container: written.container,
        raw_name,
        values,
        bytes,
    }
}

fn text(value: &Value, key: &str) -> String {
    match &value[key] {
        Value::String(text) => text.clone(),
        other => other.to_string(),
    }
}

#[test]
fn libsndfile_and_wavinfo_agree() {
    let folder = tempfile::tempdir().expect("folder");
    let all = make_all(folder.path());
    let mut command = Command::new(python());
    command
        .arg(script())
        .arg("read")
        .args(all.iter().map(|made| &made.path));
    let output = String::from_utf8(run(&mut command, b"")).expect("text");
    let lines: Vec<Value> = output
        .lines()
        .map(|line| serde_json::from_str(line).expect("JSON"))
        .collect();
    assert_eq!(lines.len(), all.len());
    for (made, line) in all.iter().zip(&lines) {
        let name = made.path.display();
        let sound = &line["libsndfile"];
        assert_eq!(sound["length"], LENGTH, "{name}");
        assert_eq!(sound["channels"], made.format.channels, "{name}");
        assert_eq!(sound["rate"], 96_000, "{name}");
        let mut raw = made.path.clone().into_os_string();
        raw.push(".f64");
        let raw = std::fs::read(raw).expect("samples");
        let read: Vec<f64> = raw
            .as_chunks()
            .0
            .iter()
            .map(|bytes| f64::from_le_bytes(*bytes))
            .collect();
        assert!(read == made.values, "{name}: samples differ in libsndfile");

        let info = &line["wavinfo"];
        let (bext, ixml) = (bext(), ixml(made.format.channels));
        assert_eq!(info["length"], LENGTH, "{name}");
        assert_eq!(info["channels"], made.format.channels, "{name}");
        assert_eq!(info["bits"], made.format.encoding.bits(), "{name}");
        assert_eq!(info["stamp"], STAMP, "{name}");
        assert_eq!(info["version"], 2, "{name}");
        assert_eq!(info["loudness"], -23.05, "{name}");
        for (key, value) in [
            ("description", &bext.description),
            ("originator", &bext.originator),
            ("reference", &bext.originator_reference),
            ("date", &bext.date),
            ("time", &bext.time),
            ("history", &bext.coding_history),
            ("project", ixml.project.as_ref().expect("set")),
            ("scene", ixml.scene.as_ref().expect("set")),
            ("take", ixml.take.as_ref().expect("set")),
            ("tape", ixml.tape.as_ref().expect("set")),
        ] {
            assert_eq!(text(info, key), *value, "{name}: {key}");
        }
        assert_eq!(text(info, "family"), "12A/3", "{name}");
        let tracks = info["tracks"].as_array().expect("a list");
        assert_eq!(tracks.len(), ixml.tracks.len(), "{name}");
        for (track, ours) in tracks.iter().zip(&ixml.tracks) {
            assert_eq!(
                track[1],
                ours.interleave_index.expect("set").to_string(),
                "{name}"
            );
            assert_eq!(track[2], *ours.name.as_ref().expect("set"), "{name}");
        }
    }
}

#[test]
fn ffmpeg_agrees() {
    let folder = tempfile::tempdir().expect("folder");
    for made in make_all(folder.path()) {
        let name = made.path.display();
        let mut command = Command::new("ffmpeg");
        command.args(["-v", "error", "-i"]).arg(&made.path);
        command.args(["-c", "copy", "-f", made.raw_name, "-"]);
        assert!(
            run(&mut command, b"") == made.bytes,
            "{name}: samples differ in ffmpeg"
        );

        let mut command = Command::new("ffprobe");
        command
            .args([
                "-v",
                "error",
                "-of",
                "json",
                "-show_streams",
                "-show_format",
            ])
            .arg(&made.path);
        let said: Value = serde_json::from_slice(&run(&mut command, b"")).expect("JSON");
        let stream = &said["streams"][0];
        assert_eq!(stream["duration_ts"], LENGTH, "{name}");
        assert_eq!(stream["channels"], made.format.channels, "{name}");
        assert_eq!(text(stream, "sample_rate"), "96000", "{name}");
        assert_eq!(
            text(stream, "codec_name"),
            format!("pcm_{}", made.raw_name),
            "{name}"
        );
        let (tags, bext) = (&said["format"]["tags"], bext());
        assert_eq!(text(tags, "comment"), bext.description, "{name}");
        assert_eq!(text(tags, "encoded_by"), bext.originator, "{name}");
        assert_eq!(text(tags, "date"), bext.date, "{name}");
        assert_eq!(text(tags, "creation_time"), bext.time, "{name}");
        assert_eq!(text(tags, "time_reference"), STAMP.to_string(), "{name}");
        assert_eq!(text(tags, "coding_history"), bext.coding_history, "{name}");
    }
}

/// sox works in 32-bit integers: integers come back exactly, floating point rounded to 2^-31.
#[test]
fn sox_agrees() {
    let folder = tempfile::tempdir().expect("folder");
    for made in make_all(folder.path()) {
        let name = made.path.display();
        let mut command = Command::new("sox");
        command
            .arg(&made.path)
            .args(["-t", "raw", "-L", "-e", "signed-integer", "-b", "32", "-"]);
        let raw = run(&mut command, b"");
        let read: Vec<i32> = raw
            .as_chunks()
            .0
            .iter()
            .map(|bytes| i32::from_le_bytes(*bytes))
            .collect();
        assert_eq!(read.len(), made.values.len(), "{name}: length in sox");
        let allowed = if made.format.encoding.is_float() {
            1.0
        } else {
            0.0
        };
        for (read, value) in read.iter().zip(&made.values) {
            let difference = f64::from(*read) - value * 2_147_483_648.0;
            assert!(
                difference.abs() <= allowed,
                "{name}: {read} for {value} in sox"
            );
        }
        for (option, value) in [
            ("-s", LENGTH.to_string()),
            ("-c", made.format.channels.to_string()),
            ("-r", "96000".to_owned()),
        ] {
            let said = run(Command::new("soxi").arg(option).arg(&made.path), b"");
            assert_eq!(
                String::from_utf8_lossy(&said).trim(),
                value,
                "{name}: soxi {option}"
            );
        }
    }
}

#[test]
fn mediainfo_agrees() {
    let folder = tempfile::tempdir().expect("folder");
    let all = make_all(folder.path());
    let mut command = Command::new("mediainfo");
    command
        .arg("--Output=JSON")
        .args(all.iter().map(|made| &made.path));
    let said: Value = serde_json::from_slice(&run(&mut command, b"")).expect("JSON");
    let files = said.as_array().expect("one entry a file");
    assert_eq!(files.len(), all.len());
    for (made, file) in all.iter().zip(files) {
        let name = made.path.display();
        assert_eq!(
            Path::new(&text(&file["media"], "@ref")),
            made.path,
            "in the order asked"
        );
        let (general, audio) = (&file["media"]["track"][0], &file["media"]["track"][1]);
        assert_eq!(text(general, "Format"), "Wave", "{name}");
        if made.container == Container::Rf64 {
            assert_eq!(text(general, "Format_Profile"), "RF64", "{name}");
        }
        assert_eq!(
            text(audio, "Channels"),
            made.format.channels.to_string(),
            "{name}"
        );
        assert_eq!(text(audio, "SamplingRate"), "96000", "{name}");
        assert_eq!(text(audio, "SamplingCount"), LENGTH.to_string(), "{name}");
        assert_eq!(
            text(audio, "BitDepth"),
            made.format.encoding.bits().to_string(),
            "{name}"
        );
        let float = made.format.encoding.is_float();
        assert_eq!(text(audio, "Format_Profile") == "Float", float, "{name}");
        let bext = bext();
        assert_eq!(text(general, "Description"), bext.description, "{name}");
        assert_eq!(text(general, "Producer"), bext.originator, "{name}");
        assert_eq!(
            text(general, "Encoded_Date"),
            "2031-02-28 09:30:00",
            "{name}"
        );
        assert_eq!(text(&audio["extra"], "LoudnessValue"), "-23.05", "{name}");
    }
}

/// BW64 is read by few: ffmpeg among the references.
#[test]
fn ffmpeg_reads_bw64() {
    let folder = tempfile::tempdir().expect("folder");
    let path = folder.path().join("bw64.wav");
    let (values, bytes) = sound(Encoding::Int24, 3 * LENGTH);
    let spec = WriteSpec {
        container: ContainerChoice::Bw64,
        ..WriteSpec::new(Format::plain(3, 48_000, Encoding::Int24))
    };
    #[expect(
        clippy::disallowed_methods,
        reason = "a test writes its own file into a temporary folder"
    )]
    let file = File::create(&path).expect("created");
    let mut writer = WaveWriter::new(file, &spec).expect("started");
    writer.write_interleaved(&values).expect("written");
    writer.finish().expect("finished");
    let mut command = Command::new("ffmpeg");
    command
        .args(["-v", "error", "-i"])
        .arg(&path)
        .args(["-c", "copy", "-f", "s24le", "-"]);
    assert!(run(&mut command, b"") == bytes);
}
