//! A calibration take stored, and used on later takes, through the real binary: what is added to stamps, when, and when not.

mod shoots;

use rehearsal::scenes::{CommonSignal, TwoArrays, common_signal, two_arrays};
use rehearsal::{Encoding, Resolution, Shoot, Stamp};
use serde_json::Value;
use shoots::{Place, commontime, status};

/// SOUTH starts so many samples later than its stamp says.
const LATE: f64 = 9.4;

/// Away from a whole timecode frame, so that stamps can be seen to tell the sample.
const TIME_OF_DAY_S: f64 = 36_000.417_3;

fn jammed(mut shoot: Shoot) -> Shoot {
    shoot.units[1].stamp = Stamp {
        jam_error_s: -LATE / 48_000.0,
        ..shoot.units[1].stamp
    };
    shoot.time_of_day_s(TIME_OF_DAY_S)
}

fn calibration_take(resolution: Resolution) -> Shoot {
    let mut shoot = common_signal(&CommonSignal {
        seconds: 20.0,
        ..Default::default()
    });
    shoot.units[1].stamp.resolution = resolution;
    jammed(shoot)
}

/// Two microphones a unit and nothing in common but the room.
fn later_take(seconds: f64) -> Shoot {
    jammed(two_arrays(&TwoArrays {
        seconds,
        mics: 2,
        ..Default::default()
    }))
    .named("T07")
}

/// Stores a calibration; gives the entry.
fn stored(place: &Place, store: &str) -> Value {
    calibration_take(Resolution::Sample)
        .write(&place.cards())
        .expect("a shoot");
    let (north, south) = (place.card("NORTH"), place.card("SOUTH"));
    let run = commontime(&[
        "calibrate",
        &north,
        &south,
        "--store",
        store,
        "--lead",
        "NORTH",
        "--note",
        "limiters on",
        "--json",
    ]);
    assert_eq!(status(&run), 0, "{}", String::from_utf8_lossy(&run.stderr));
    let said: Value = serde_json::from_slice(&run.stdout).expect("JSON");
    assert_eq!(said["entries"].as_array().map(Vec::len), Some(1));
    said["entries"][0].clone()
}

fn aligned(later: &Place, store: &str) -> (Value, i32) {
    let (north, south, plan) = (
        later.card("NORTH"),
        later.card("SOUTH"),
        later.path("plan.json"),
    );
    let run = commontime(&[
        "align",
        &north,
        &south,
        "--lead",
        "NORTH",
        "--spacing",
        "3",
        "--calibration",
        store,
        "--out",
        &plan,
        "--json",
    ]);
    let said: Value = serde_json::from_slice(&run.stdout)
        .unwrap_or_else(|_| panic!("{}", String::from_utf8_lossy(&run.stderr)));
    (said["joint_takes"][0]["members"][1].clone(), status(&run))
}

fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

fn finding<'a>(member: &'a Value, code: &str) -> Option<&'a Value> {
    let findings = member["findings"].as_array()?;
    findings.iter().find(|finding| finding["code"] == code)
}

#[test]
fn a_stored_offset_is_added_to_stamps_in_the_same_modes_and_cited() {
    let (place, later) = (Place::new(), Place::new());
    let store = place.path("rig.json");
    let entry = stored(&place, &store);
    let (constant, sigma) = (
        number(&entry["constant_samples"]),
        number(&entry["sigma_samples"]),
    );
    assert!(
        (constant - LATE).abs() <= 3.0 * sigma && sigma < 0.5,
        "stored {constant} ± {sigma}, true {LATE}"
    );

    let truth = later_take(60.0).write(&later.cards()).expect("a shoot");
    let (member, ended) = aligned(&later, &store);
    assert_eq!(ended, 0, "{member:#}");
    assert_eq!(
        (&member["basis"], &member["status"]),
        (&"calibration".into(), &"established".into())
    );
    let far = number(&member["offset_samples"]) - truth.units[1].offset_samples;
    let claimed = number(&member["offset_sigma_samples"]);
    assert!(
        far.abs() <= 2.0 * claimed && far.abs() < LATE / 4.0 && claimed < 0.7,
        "{far} samples off, claimed ± {claimed}"
    );
    let story = member["evidence"]["story"][0].as_str().expect("a sentence");
    for words in ["calibration of 2026-05-16 in rig.json", "limiters on"] {
        assert!(story.contains(words), "{story}");
    }
}

#[test]
fn other_modes_leave_a_stored_offset_unused_and_name_the_mode() {
    let (place, later) = (Place::new(), Place::new());
    let store = place.path("rig.json");
    stored(&place, &store);
    // too short to be measured, or looked for, by its sound: only the stamps place it
    let mut shoot = later_take(9.0);
    shoot.units[1].encoding = Encoding::Int24;
    let truth = shoot.write(&later.cards()).expect("a shoot");
    let (member, ended) = aligned(&later, &store);
    assert_eq!((ended, &member["basis"]), (1, &"stamps".into()));
    let by_stamps = truth.units[1].stamp_samples.expect("stamped") as f64
        - truth.units[0].stamp_samples.expect("stamped") as f64;
    assert_eq!(number(&member["offset_samples"]), by_stamps);
    let told = finding(&member, "calibration-modes-differ").expect("warned");
    assert_eq!(told["weight"], "warn");
    assert_eq!(told["value"], "SOUTH sample format 24-bit integer");
    assert_eq!(told["limit"], "SOUTH sample format 32-bit float");
}

#[test]
fn a_common_signal_is_held_against_the_stored_offset() {
    let place = Place::new();
    let store = place.path("rig.json");
    stored(&place, &store);
    let (member, ended) = aligned(&place, &store);
    assert_eq!((ended, &member["basis"]), (0, &"common-signal".into()));
    let told = finding(&member, "calibration-confirmed").expect("told");
    assert_eq!(told["weight"], "note");
}

#[test]
fn a_second_entry_of_the_same_modes_needs_a_word_and_another_file_is_refused() {
    let place = Place::new();
    let store = place.path("rig.json");
    stored(&place, &store);
    let (north, south) = (place.card("NORTH"), place.card("SOUTH"));
    let words = ["calibrate", &north, &south, "--store", &store];
    let before = std::fs::read(&store).expect("stored");
    let again = commontime(&words);
    assert_eq!(status(&again), 2);
    let said = String::from_utf8_lossy(&again.stderr).into_owned();
    assert!(said.contains("--replace"), "{said}");
    assert_eq!(std::fs::read(&store).expect("kept"), before);
    let replaced = commontime(&[&words[..], &["--replace"]].concat());
    assert_eq!(status(&replaced), 0);
    let text = std::fs::read_to_string(&store).expect("stored");
    let file: Value = serde_json::from_str(&text).expect("JSON");
    assert_eq!(file["format"], "commontime-calibrations");
    assert_eq!(file["entries"].as_array().map(Vec::len), Some(1));
    let wave = place
        .cards()
        .join("NORTH/NORTH_T01.WAV")
        .display()
        .to_string();
    let wrong = commontime(&["calibrate", &north, &south, "--store", &wave]);
    assert_eq!(status(&wrong), 3, "a recording is no calibrations file");
}

#[test]
fn stamps_of_whole_timecode_frames_store_nothing() {
    let place = Place::new();
    calibration_take(Resolution::TimecodeFrame)
        .write(&place.cards())
        .expect("a shoot");
    let store = place.path("rig.json");
    let (north, south) = (place.card("NORTH"), place.card("SOUTH"));
    let run = commontime(&["calibrate", &north, &south, "--store", &store]);
    assert_eq!(status(&run), 1);
    let said = String::from_utf8_lossy(&run.stderr).into_owned();
    assert!(said.contains("stamps good to 1600 samples"), "{said}");
    assert!(!std::path::Path::new(&store).exists());
}
