//! `commontime ltc` as a person uses it: files it writes are what other readers say they are, and tracks whose truth is
//! known are read and explained.
#![expect(
    clippy::disallowed_methods,
    reason = "the tests make the cards they read"
)]

mod shoots;

use std::path::Path;
use std::process::Command;

use rehearsal::TimecodeTrack;
use serde_json::Value;
use shoots::{Place, commontime, probed, status};

fn json(words: &[&str]) -> (Value, String) {
    let run = commontime(words);
    let said = String::from_utf8_lossy(&run.stderr).into_owned();
    assert_eq!(status(&run), 0, "{said}");
    let value = serde_json::from_slice(&run.stdout).expect("JSON");
    (value, said)
}

/// A card with one take: a silent track and the code, 32-bit float.
fn card(folder: &Path, track: &TimecodeTrack) {
    let (samples, _) = track.record().expect("a track");
    let silent = vec![0.0; samples.len()];
    let code: Vec<f64> = samples.iter().map(|x| f64::from(*x)).collect();
    std::fs::create_dir_all(folder).expect("a folder");
    let file = std::fs::File::create(folder.join("T01.WAV")).expect("a file");
    let format = wave::Format::plain(2, track.sample_rate, wave::Encoding::Float32);
    let spec = wave::WriteSpec::new(format);
    let mut writer = wave::WaveWriter::new(file, &spec).expect("a header");
    writer.write_planar(&[&silent, &code]).expect("samples");
    writer.finish().expect("the end");
}

#[test]
fn what_is_written_is_read_by_others_and_here() {
    let place = Place::new();
    std::fs::create_dir_all(place.cards().join("CODE")).expect("a folder");
    let file = place
        .cards()
        .join("CODE")
        .join("code.wav")
        .display()
        .to_string();
    let write = [
        "ltc",
        "write",
        "--out",
        &file,
        "--from",
        "09:59:58;20",
        "--rate",
        "29.97 DF",
        "--seconds",
        "70",
        "--level",
        "-12",
        "--date",
        "2026-11-25",
        "--zone",
        "60",
    ];
    let run = commontime(&write);
    let said = String::from_utf8_lossy(&run.stderr);
    assert_eq!(status(&run), 0, "{said}");
    assert!(
        said.contains("Caution") && said.contains("headphones"),
        "{said}"
    );

    let entries = "stream=channels,duration_ts,sample_rate:format_tags=time_reference";
    let probed = probed(&file, entries);
    // 09:59:58;20 is timecode frame 1078880: 1078880 * 1601.6 samples
    for expected in [
        "channels=1",
        "duration_ts=3360000",
        "sample_rate=48000",
        "time_reference=1727934208",
    ] {
        assert!(probed.contains(expected), "{expected} in {probed}");
    }
    let sox = Command::new("sox")
        .args([&file, "-n", "stat"])
        .output()
        .expect("sox");
    let sox = String::from_utf8_lossy(&sox.stderr);
    // -12 dB of full scale
    assert!(sox.contains("Maximum amplitude:     0.251"), "{sox}");

    let (told, _) = json(&["ltc", "read", "--json", &place.card("CODE")]);
    let track = &told["tracks"][0];
    assert_eq!(track["counting"], "30000/1001 DF");
    assert_eq!(track["dropped_labels"], "seen");
    assert_eq!(track["runs"].as_array().expect("a list").len(), 1);
    assert_eq!(track["user_bits_flags"], "100");
    let run = commontime(&["ltc", "read", &place.card("CODE")]);
    let said = String::from_utf8_lossy(&run.stdout);
    assert!(said.contains("date 26-11-25 +0100"), "{said}");
    assert!(said.contains("labels are dropped (counted)"), "{said}");

    let again = commontime(&write);
    assert_eq!(status(&again), 2, "an existing file is not written over");
    assert!(String::from_utf8_lossy(&again.stderr).contains("--replace"));
}

#[test]
fn a_track_is_told_with_its_clock_and_what_is_wrong_with_it() {
    let place = Place::new();
    card(
        &place.cards().join("NORTH"),
        &TimecodeTrack {
            seconds: 30.0,
            // the unit counts 8 ppm more samples than the generator meant
            speed: 1.0 / (1.0 + 8e-6),
            late_s: 1.25,
            user_bits: 0x1234_5678,
            jump: Some((20.0, -1)),
            ..TimecodeTrack::default()
        },
    );
    let (told, said) = json(&["ltc", "read", "--json", &place.card("NORTH")]);
    let tracks = told["tracks"].as_array().expect("a list");
    assert_eq!(tracks.len(), 1, "{told}");
    let track = &tracks[0];
    assert_eq!(track["channel"], 2);
    assert_eq!(track["counting"], "25/1 NDF");
    assert_eq!(track["user_bits"], "12345678");
    let ppm = track["ppm_against_generator"].as_f64().expect("a number");
    assert!((ppm - 8.0).abs() < 0.05, "{ppm}");
    let first = &track["runs"][0]["first"];
    // the edge that begins the code is none that can be seen: the level before it is missing
    assert!(["01:02:03:04", "01:02:03:05"].contains(&first["label"].as_str().expect("text")));
    assert!(said.contains("a label is sent twice"), "{said}");
}

#[test]
fn a_flag_that_contradicts_the_count_is_told() {
    let place = Place::new();
    card(
        &place.cards().join("NORTH"),
        &TimecodeTrack {
            frames: 30,
            first: [9, 58, 56, 0],
            wrong_flag: true,
            ..TimecodeTrack::default()
        },
    );
    let (told, said) = json(&["ltc", "read", "--json", &place.card("NORTH")]);
    assert_eq!(told["tracks"][0]["dropped_labels"], "not-seen", "{told}");
    assert!(said.contains("the drop-frame flag is wrong"), "{said}");
    assert!(said.contains("believe the count"), "{said}");
}

#[test]
fn nothing_is_said_of_cards_without_timecode_and_nonsense_is_refused() {
    let place = Place::new();
    shoots::short_shoot(12.0)
        .write(&place.cards())
        .expect("a shoot");
    let run = commontime(&["ltc", "read", &place.card("NORTH")]);
    assert_eq!(status(&run), 0);
    assert!(String::from_utf8_lossy(&run.stdout).contains("no timecode on any of its tracks"));
    let out = place.path("x.wav");
    for (words, expected) in [
        (
            vec!["--from", "00:01:00;00", "--rate", "29.97 DF"],
            "no label",
        ),
        (vec!["--from", "10:00:00:00", "--seconds", "0"], "--seconds"),
        (vec!["--from", "10:00:00:00", "--level", "6"], "--level"),
        (
            vec!["--from", "10:00:00:00", "--user-bits", "XYZ"],
            "eight hexadecimal",
        ),
        (
            vec!["--from", "10:00:00:00", "--text", "toolong"],
            "four characters",
        ),
        (
            vec!["--from", "10:00:00:00", "--date", "2026-13-01"],
            "YYYY-MM-DD",
        ),
        (
            vec![
                "--from",
                "10:00:00:00",
                "--date",
                "2026-11-25",
                "--zone",
                "17",
            ],
            "ST 309",
        ),
    ] {
        let run = commontime(&[vec!["ltc", "write", "--out", &out], words].concat());
        let said = String::from_utf8_lossy(&run.stderr);
        assert_eq!(status(&run), 2, "{said}");
        assert!(said.contains(expected), "{expected} in {said}");
        assert!(!Path::new(&out).exists());
    }
}
