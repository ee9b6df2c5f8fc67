//! Plans before the shoot against published and computed figures.

use super::storage::clock_time;
use super::*;
use crate::alignment::Basis;
use crate::history::Measurement;

fn session(text: &str) -> Session {
    Session::from_toml(text).unwrap_or_else(|error| panic!("{error:?} in\n{text}"))
}

/// A rig of units with so many inputs, all of them used.
fn rig(shoot: &str, units: &[(&str, u32, &str)]) -> Session {
    let mut text = format!("[shoot]\n{shoot}\n");
    for (name, inputs, more) in units {
        text += &format!("[[unit]]\nname = \"{name}\"\ninputs = {inputs}\n{more}\n");
        for n in 1..=*inputs {
            text += &format!("[[source]]\nname = \"{name} {n}\"\nunit = \"{name}\"\ninput = {n}\n");
        }
    }
    session(&text)
}

fn prepared(session: &Session) -> Prep {
    prepare(session, &History::default()).expect("a prep")
}

fn codes(prep: &Prep) -> Vec<&str> {
    prep.findings.iter().map(|one| one.code.as_str()).collect()
}

/// Channels x rate x bits / 8; GB an hour; time to 2^32 - 1 bytes of sound, rounded down to a second (arithmetic).
#[test]
fn storage_and_split_times_are_those_of_the_arithmetic() {
    let table = [
        (2, 48_000, "int24", 288_000, 1.0368, "4:08:33"),
        (6, 48_000, "int24", 864_000, 3.1104, "1:22:51"),
        (8, 48_000, "int24", 1_152_000, 4.1472, "1:02:08"),
        (8, 48_000, "float32", 1_536_000, 5.5296, "0:46:36"),
        (8, 96_000, "int24", 2_304_000, 8.2944, "0:31:04"),
        (12, 48_000, "int24", 1_728_000, 6.2208, "0:41:25"),
        (16, 96_000, "float32", 6_144_000, 22.1184, "0:11:39"),
        (32, 192_000, "int24", 18_432_000, 66.3552, "0:03:53"),
    ];
    for (tracks, rate, format, bytes, gigabytes, split) in table {
        let shoot = format!("sample_rate = {rate}\nformat = \"{format}\"\nhours = 10.0");
        let rig = rig(
            &shoot,
            &[("NORTH", tracks, "file_limit_gib = 4\nmedia_gb = 64.0")],
        );
        let storage = Storage::of(&rig, 0);
        assert_eq!(storage.bytes_per_s, bytes);
        assert!((storage.bytes_per_s as f64 * 3600.0 / 1e9 - gigabytes).abs() < 1e-9);
        assert!((storage.total_bytes - 1e10 * gigabytes).abs() < 1.0);
        assert_eq!(
            clock_time(storage.split_s.expect("a limit")),
            split,
            "{tracks}"
        );
        assert_eq!(
            storage.media(),
            Some((10.0 * gigabytes / 64.0).ceil() as u64)
        );
    }
    // 2 GiB: half of it, 24 channels at 48 kHz in 24 bits 10.4 minutes (needs of the trade, arithmetic)
    let half = rig("", &[("NORTH", 24, "file_limit_gib = 2")]);
    let minutes = Storage::of(&half, 0).split_s.expect("a limit") / 60.0;
    assert!((minutes - 10.36).abs() < 0.01, "{minutes}");
}

/// 1 ppm is 3.6 ms and 172.8 samples an hour at 48 kHz; in 24 h it is 2.0736, 2.1600, 2.5894, 2.5920 timecode frames at 24, 25,
/// 29.97 and 30; one timecode frame in 24 h at 30 is 0.385802 ppm (arithmetic). Two free clocks of +-a and +-b: up to a + b.
#[test]
fn drift_is_what_parts_per_million_come_to() {
    for (rate, frames) in [
        ("24", 2.0736),
        ("25", 2.16),
        ("29.97", 2.589_41),
        ("30", 2.592),
    ] {
        let shoot = format!("timecode_rate = \"{rate}\"\nhours = 24.0");
        let clock = "clock_ppm = 0.5";
        let prep = prepared(&rig(&shoot, &[("NORTH", 2, clock), ("SOUTH", 2, clock)]));
        let drift = &prep.drift[0];
        assert!((drift.worst_ppm - 1.0).abs() < 1e-12);
        assert!((drift.hour_s - 3.6e-3).abs() < 1e-12 && (drift.hour_samples - 172.8).abs() < 1e-9);
        assert!(
            (24.0 * drift.hour_timecode_frames - frames).abs() < 1e-4,
            "{rate}: {drift:?}"
        );
    }
    let clocks = "clock_ppm = 0.192901";
    let prep = prepared(&rig(
        "hours = 24.0",
        &[("NORTH", 2, clocks), ("SOUTH", 2, clocks)],
    ));
    let frame = prep.drift[0].jam_again.last().expect("one timecode frame");
    assert!((frame.after_s / 86_400.0 - 1.0).abs() < 1e-5, "{frame:?}");
}

/// Even 1 ppm leaves the class of one sample after 20.83 s at 48 kHz, and a millisecond after 1000 s (arithmetic).
#[test]
fn every_use_has_its_time_to_jam_again() {
    let clock = "clock_ppm = 0.5";
    let prep = prepared(&rig("", &[("NORTH", 2, clock), ("SOUTH", 2, clock)]));
    let after = |class: Class| {
        let found = prep.drift[0]
            .jam_again
            .iter()
            .find(|one| one.name == class.words());
        found.expect("a class").after_s
    };
    assert!((after(Class::Spots) - 1000.0).abs() < 1e-6);
    assert!((after(Class::Summed) - 20.833 / 4.0).abs() < 1e-2);
    assert!((after(Class::Array) - 2.0).abs() < 1e-9);
}

#[test]
fn grades_add_up_and_measurements_take_their_place() {
    let units = [
        ("NORTH", 2, "clock = \"temperature-controlled\""),
        ("SOUTH", 2, "clock = \"crystal\""),
    ];
    let rig = rig("hours = 9.0", &units);
    assert!((prepared(&rig).drift[0].worst_ppm - 101.0).abs() < 1e-12);
    let history = History {
        measurements: vec![Measurement {
            unit: "South".into(),
            against: "North".into(),
            date: "2026-11-20".into(),
            rate_ppm: -3.0,
            sigma_ppm: 0.01,
            wander_ppm: 0.07,
            seconds: 3600.0,
            temperature_c: None,
            basis: Basis::CommonSignal,
            note: String::new(),
        }],
    };
    let prep = prepare(&rig, &history).expect("a prep");
    assert!((prep.drift[0].worst_ppm - 3.1).abs() < 1e-9);
    assert!(
        prep.drift[0].rests_on.contains("-3.100 to -2.900 ppm"),
        "{:?}",
        prep.drift[0]
    );
    // half a timecode frame of 1/30 s at 3.1 ppm: 5376 s
    assert!(codes(&prep).contains(&"jam-again"));
    let step = prep.linking.last().expect("steps");
    assert!(step.contains("again every 89 min"), "{step}");
}

#[test]
fn a_pair_across_units_is_told_with_the_figure_and_another_way() {
    let text = "[shoot]\nCOMMON\n\
        [[unit]]\nname = \"NORTH\"\ninputs = 4\n[[unit]]\nname = \"SOUTH\"\ninputs = 4\n\
        [[source]]\nname = \"left\"\nunit = \"NORTH\"\ninput = 1\n\
        [[source]]\nname = \"right\"\nunit = \"SOUTH\"\ninput = 1\n\
        [[group]]\nname = \"pair\"\nclass = \"stereo-pair\"\nsources = [\"left\", \"right\"]\n";
    let with = |common: &str| prepared(&session(&text.replace("COMMON", common)));
    let nothing = with("");
    let crossing = nothing
        .findings
        .iter()
        .find(|one| one.code == "group-crosses-units");
    let crossing = crossing.expect("a finding");
    assert_eq!(crossing.weight, Weight::Warn);
    assert!(crossing.limit.contains("5 µs"), "{crossing:?}");
    assert!(
        crossing
            .next_step
            .contains("would fit on NORTH, inputs 1, 2"),
        "{crossing:?}"
    );
    assert!(!nothing.groups[0].good_enough);
    assert!(
        nothing.verdict.contains("not for pair"),
        "{}",
        nothing.verdict
    );
    let split = with("common_signal = \"split-source\"\nsplit = \"left\"");
    assert!(split.groups[0].good_enough, "{:?}", split.groups);
    assert_eq!(split.ready, Ready::Arrays);
}

#[test]
fn without_a_common_signal_nothing_is_ready_for_arrays() {
    let units = [("NORTH", 3, ""), ("SOUTH", 3, "")];
    for (common, ready) in [
        ("none", Ready::Not),
        ("clap", Ready::Ambience),
        ("tone", Ready::Not),
        ("marker", Ready::Stereo),
        ("timecode", Ready::Stereo),
    ] {
        // 2 m of air are 5.8 ms, a timecode frame 33 ms; ambience allows 10
        let shoot = format!("spacing_m = 2.0\ncommon_signal = \"{common}\"");
        let prep = prepared(&rig(&shoot, &units));
        assert_eq!(prep.ready, ready, "{common}");
        let warned = codes(&prep).iter().any(|code| {
            ["no-common-signal", "clap-is-acoustic", "tone-has-no-place"].contains(code)
        });
        assert_eq!(
            warned,
            ready <= Ready::Ambience,
            "{common}: {:?}",
            codes(&prep)
        );
    }
    // 0.1 sample is 1 µs at 96 kHz: within what an array allows
    let fast = prepared(&rig(
        "sample_rate = 96000\ncommon_signal = \"timecode\"",
        &units,
    ));
    assert_eq!(fast.ready, Ready::Arrays);
}

/// Two followers may be off against the lead by 0.1 sample each, in opposite directions: 2 x 2.083 µs at 48 kHz (arithmetic), more
/// than an array allows.
#[test]
fn what_two_followers_may_be_off_adds_up_wherever_it_is_told() {
    let units = [("NORTH", 3, ""), ("SOUTH", 3, ""), ("WEST", 3, "")];
    let shoot = "sample_rate = 96000\ncommon_signal = \"timecode\"";
    let prep = prepared(&rig(shoot, &units));
    assert_eq!(
        prep.ready,
        Ready::Stereo,
        "2.08 µs, where an array allows 2"
    );
    assert!(
        prep.brief
            .iter()
            .any(|line| line.contains("expect ±2.08 µs at most")),
        "{:?}",
        prep.brief
    );
    let slow = prepared(&rig("common_signal = \"timecode\"", &units));
    assert!(
        slow.brief
            .iter()
            .any(|line| line.contains("±4.17 µs at most"))
    );
    assert_eq!(slow.ready, Ready::Stereo);
    let two = prepared(&rig(shoot, &units[..2]));
    assert_eq!(two.ready, Ready::Arrays);
}

#[test]
fn a_unit_without_sources_is_named_and_lasts_no_time() {
    let idle = "[[unit]]\nname = \"NORTH\"\ninputs = 4\n[[unit]]\nname = \"SOUTH\"\ninputs = 4\nmedia_gb = 64.0\nfile_limit_gib = 4\n\
                [[source]]\nname = \"left\"\nunit = \"NORTH\"\n";
    let prep = prepared(&session(idle));
    assert!(
        codes(&prep).contains(&"unit-without-source"),
        "{:?}",
        codes(&prep)
    );
    let south = &prep.units[1].storage;
    assert_eq!(
        (south.tracks, south.media_s, south.split_s),
        (0, None, None)
    );
    assert!(
        prep.brief[0].contains("every channel of 1 unit "),
        "{}",
        prep.brief[0]
    );
}

/// 100.5 ppm of a take of 95 min are 0.573 s, more than half a timecode frame (arithmetic): no break comes soon enough.
#[test]
fn where_a_take_outlasts_a_jam_no_break_is_advised() {
    let units = [
        ("NORTH", 2, "clock = \"crystal\""),
        ("SOUTH", 2, "clock_ppm = 0.5"),
    ];
    let shoot = "hours = 6.0\nlongest_take_minutes = 95\ncommon_signal = \"marker\"";
    let prep = prepared(&rig(shoot, &units));
    let jam = prep.findings.iter().find(|one| one.code == "jam-again");
    let next = &jam.expect("a finding").next_step;
    assert!(
        next.contains("outlast") && !next.contains("in a break"),
        "{next}"
    );
    assert!(
        prep.linking
            .iter()
            .any(|step| step.starts_with("Jam before every take"))
    );
    // and the marker's file is as long as that take, and a minute more
    let marker = prep
        .linking
        .iter()
        .find(|step| step.contains("signal marker"));
    assert!(
        marker
            .expect("a step")
            .contains("--out marker.wav --seconds 5760 --sample-rate 48000"),
        "{:?}",
        prep.linking
    );
}

#[test]
fn a_history_that_disagrees_or_knows_nothing_is_told() {
    let rig = rig(
        "",
        &[
            ("NORTH", 2, "clock = \"temperature-controlled\""),
            ("SOUTH", 2, "clock = \"temperature-controlled\""),
        ],
    );
    let with = |unit: &str, seconds: f64| {
        let history = History {
            measurements: vec![Measurement {
                unit: unit.into(),
                against: "NORTH".into(),
                date: String::new(),
                rate_ppm: 8.14,
                sigma_ppm: 0.001,
                wander_ppm: 0.17,
                seconds,
                temperature_c: None,
                basis: Basis::CommonSignal,
                note: String::new(),
            }],
        };
        prepare(&rig, &history).expect("a prep")
    };
    let brief = with("SOUTH", 57.7);
    for code in ["clock-beyond-grade", "clock-briefly-known"] {
        assert!(codes(&brief).contains(&code), "{:?}", codes(&brief));
    }
    assert!(
        brief.units[1].clock.contains("measured in 1 test"),
        "{}",
        brief.units[1].clock
    );
    let long = with("SOUTH", 7200.0);
    assert!(!codes(&long).contains(&"clock-briefly-known"));
    let unknown = with("SOUTH_T11", 7200.0);
    assert!(
        codes(&unknown).contains(&"clock-not-in-history"),
        "{:?}",
        codes(&unknown)
    );
    assert!(!codes(&prepared(&rig)).contains(&"clock-not-in-history"));
}

#[test]
fn what_has_no_input_stops_the_plan() {
    let mut text =
        "[shoot]\ncommon_signal = \"timecode\"\n[[unit]]\nname = \"NORTH\"\ninputs = 2\n\
                    [[unit]]\nname = \"SOUTH\"\ninputs = 2\n"
            .to_string();
    for n in 1..=3 {
        text += &format!("[[source]]\nname = \"source {n}\"\n");
    }
    let prep = prepared(&session(&text));
    assert_eq!(codes(&prep)[0], "source-without-input");
    assert!(
        prep.verdict
            .starts_with("not ready: no input is left for source 3"),
        "{}",
        prep.verdict
    );
    assert!(
        prep.brief
            .iter()
            .any(|line| line.contains("Not in it") && line.contains("source 3")),
        "{:?}",
        prep.brief
    );
    let full = prepared(&rig(
        "common_signal = \"timecode\"",
        &[("NORTH", 2, ""), ("SOUTH", 2, "")],
    ));
    assert!(codes(&full).contains(&"common-without-input"));
    assert!(prepare(&session(""), &History::default()).is_err());
}

#[test]
fn media_batteries_and_parts_are_foreseen() {
    let more = "media_gb = 32.0\nfile_limit_gib = 4\nbattery_hours = 3.0";
    let shoot = "hours = 8.0\nlongest_take_minutes = 90";
    let prep = prepared(&rig(shoot, &[("NORTH", 8, more)]));
    for code in ["medium-too-small", "take-splits", "battery-too-short"] {
        assert!(codes(&prep).contains(&code), "{:?}", codes(&prep));
    }
    // 33.2 GB on media of 32 GB; 8 h on batteries of 3 h
    assert_eq!(prep.units[0].storage.media(), Some(2));
    assert_eq!(prep.units[0].storage.batteries, Some(3));
}

#[test]
fn the_example_can_be_worked_out_as_it_stands() {
    let session = session(EXAMPLE);
    let prep = prepared(&session);
    let grave = prep.findings.iter().filter(|one| one.weight > Weight::Note);
    let grave: Vec<_> = grave.map(|one| one.code.as_str()).collect();
    assert_eq!(
        grave,
        ["jam-again", "battery-too-short"],
        "what the example means to show"
    );
    assert_eq!(prep.ready, Ready::Arrays);
    assert_eq!(
        prep.channels.len(),
        session.sources.len() + 1,
        "the split comes twice"
    );
    let list = prep.channel_list().expect("a list");
    let read = crate::build::ChannelList::from_csv(&list).expect("a list that builds take");
    drop(read);
    assert_eq!(list.lines().count(), prep.channels.len() + 1);
    // the groups are those of the recordings too
    assert!(session.group_of("NORTH", 1).is_some());
}

#[test]
fn sheets_say_all_that_was_planned() {
    let prep = prepared(&session(EXAMPLE));
    let text = crate::report::typed(&prep.document());
    let page = crate::report::screen(&prep.document());
    for channel in &prep.channels {
        assert!(
            text.contains(&channel.name) && page.contains(&channel.name),
            "{}",
            channel.name
        );
    }
    for words in [
        "Hearing",
        "Height",
        "Soldering",
        "Mains",
        "crossover",
        "first-roll",
        "RF64",
    ] {
        assert!(text.contains(words), "{words} in\n{text}");
    }
    assert_eq!(
        page.matches("own-sheet\"").count(),
        4,
        "two units, linking, the receiver"
    );
    assert!(text.lines().all(|line| line.chars().count() <= 100));
}
