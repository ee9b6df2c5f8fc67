//! Faults injected for real: what goes wrong at one place stays there, what cannot be read is named, and no file that is
//! not the card's carries a finished name.

use std::fs;
use std::process::Output;
use std::thread;
use std::time::{Duration, Instant};

use serde_json::Value;

use crate::bench::{
    Bench, codes, commontime, fault_library, json, noise, program, run, said, status, unfinished,
};

/// Runs an offload with a fault in the way.
fn with_fault(bench: &Bench, fault: [(&str, &str); 4], args: &[&str]) -> (i32, Value) {
    let output = program()
        .args(["--json", "offload"])
        .args(args)
        .env("LD_PRELOAD", fault_library(bench))
        .envs(fault)
        .output()
        .expect("commontime");
    (status(&output), printed(&output))
}

const EIO: &str = "5";
const EFBIG: &str = "27";
const ENOSPC: &str = "28";
const ENODEV: &str = "19";

fn fault<'a>(
    call: &'a str,
    path: &'a str,
    after: &'a str,
    errno: &'a str,
) -> [(&'a str, &'a str); 4] {
    [
        ("FAULT_CALL", call),
        ("FAULT_PATH", path),
        ("FAULT_AFTER", after),
        ("FAULT_ERRNO", errno),
    ]
}

/// A card and two media, and the words that copy it to both.
fn two_media(megabytes: u64) -> (Bench, [String; 4]) {
    let mut bench = Bench::with_card();
    let (a, b) = (bench.medium("a", megabytes), bench.medium("b", megabytes));
    let words = [bench.text("NORTH"), "--to".into(), a, b];
    (bench, words)
}

/// Starts an offload and does something as soon as `begun`; what the run ended with and said.
fn meanwhile(words: &[&str], begun: impl Fn() -> bool, act: impl FnOnce()) -> Output {
    let child = program()
        .args(["--json", "offload"])
        .args(words)
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .expect("commontime");
    let began = Instant::now();
    while !begun() && began.elapsed() < Duration::from_secs(60) {
        thread::sleep(Duration::from_millis(1));
    }
    act();
    child.wait_with_output().expect("ended")
}

/// What a run printed for machines.
fn printed(output: &Output) -> Value {
    serde_json::from_slice(&output.stdout)
        .unwrap_or_else(|error| panic!("{error}: {}", said(output)))
}

fn both(one: &str, other: &str) -> Vec<String> {
    vec![one.to_string(), other.to_string()]
}

/// Every file that carries a finished name holds what the card holds.
fn nothing_false(bench: &Bench, place: &str) {
    let expected = bench.expected();
    for file in bench.files(place) {
        assert!(expected.contains(&file), "{place}/{} is false", file.0);
    }
    assert!(!unfinished(&bench.path(place)), "{place}");
}

#[test]
fn an_error_in_the_middle_of_a_file_is_named_and_the_others_are_copied() {
    let (bench, [card, to, a, b]) = two_media(40);
    let (ended, value) = with_fault(
        &bench,
        fault("read", "T02.WAV", "5000000", EIO),
        &[&card, &to, &a, &b],
    );
    assert_eq!((ended, codes(&value)), (3, vec!["not-read".to_string()]));
    let finding = &value["findings"][0];
    assert!(
        finding["place"]
            .as_str()
            .expect("a place")
            .ends_with("NORTH/DAY1/T02.WAV")
    );
    assert!(
        finding["message"]
            .as_str()
            .expect("words")
            .contains("at byte 4194304")
    );
    assert_eq!(
        value["cards"][0]["release"]["reasons"][0],
        "1 file on it could not be read"
    );
    for place in ["a/NORTH", "b/NORTH"] {
        nothing_false(&bench, place);
        assert_eq!(bench.files(place).len(), 4);
        assert!(!bench.path(place).join("ascmhl").exists());
    }
    // once it can be read, the same command makes it whole
    let (ended, value) = json(&["offload", &card, "--to", &a, &b]);
    assert_eq!(ended, 0, "{value:#}");
    assert_eq!(value["cards"][0]["copies"][0]["copied"], 1);
    assert_eq!(bench.files("a/NORTH"), bench.expected());
}

#[test]
fn a_card_that_vanishes_is_told_and_the_copy_goes_on_later() {
    let bench = Bench::with_card();
    for number in 4..40 {
        bench.put(&format!("NORTH/T{number:02}.WAV"), &noise(100_000, number));
    }
    let (card, a) = (bench.text("NORTH"), bench.text("a"));
    let (ended, value) = with_fault(
        &bench,
        fault("gone", "/NORTH", "12000000", ENODEV),
        &[&card, "--to", &a],
    );
    // its own folder at the place has this name too: all that is below it is gone
    assert_eq!(ended, 3, "{value:#}");
    assert!(codes(&value).contains(&"not-read".to_string()), "{value:#}");
    nothing_false(&bench, "a/NORTH");
    let (ended, value) = json(&["offload", &card, "--to", &a]);
    assert_eq!(ended, 1, "one copy alone: {value:#}");
    assert_eq!(bench.files("a/NORTH"), bench.expected());
}

#[test]
fn a_card_whose_folder_is_taken_away_is_told() {
    let bench = Bench::with_card();
    for number in 4..400 {
        bench.put(&format!("NORTH/T{number:03}.WAV"), &noise(30_000, number));
    }
    let (card, a) = (bench.text("NORTH"), bench.text("a"));
    let output = meanwhile(
        &[&card, "--to", &a],
        || bench.files("a/NORTH").len() >= 20,
        || fs::rename(bench.path("NORTH"), bench.path("gone")).expect("taken away"),
    );
    assert_eq!(status(&output), 3, "{}", said(&output));
    let value = printed(&output);
    assert_eq!(codes(&value), ["card-gone", "not-read"]);
    assert!(
        said(&output).contains("does not answer any more"),
        "{}",
        said(&output)
    );
    fs::rename(bench.path("gone"), bench.path("NORTH")).expect("back");
    nothing_false(&bench, "a/NORTH");
    let (_, value) = json(&["offload", &card, "--to", &a]);
    assert!(value["cards"][0]["copies"][0]["was_there"].as_u64() > Some(10));
    assert_eq!(bench.files("a/NORTH"), bench.expected());
}

#[test]
fn a_place_that_fails_while_it_is_written_to_leaves_the_other_whole() {
    for (after, errno) in [("100", EIO), ("5000000", EIO), ("9000100", ENODEV)] {
        let (bench, [card, to, a, b]) = two_media(40);
        let (ended, value) = with_fault(
            &bench,
            fault("write", "/a/NORTH", after, errno),
            &[&card, &to, &a, &b],
        );
        assert_eq!(
            (ended, codes(&value)),
            (3, both("not-written", "place-gone"))
        );
        assert_eq!(value["cards"][0]["copies"][0]["complete"], false);
        assert_eq!(value["cards"][0]["copies"][1]["complete"], true);
        nothing_false(&bench, "a/NORTH");
        assert_eq!(bench.files("b/NORTH"), bench.expected());
    }
}

#[test]
fn a_disk_that_fills_up_leaves_nothing_that_looks_finished() {
    // in the middle of a file
    let (mut bench, [card, to, a, b]) = two_media(40);
    let (ended, value) = with_fault(
        &bench,
        fault("write", "/a/NORTH", "6000000", ENOSPC),
        &[&card, &to, &a, &b],
    );
    assert_eq!(
        (ended, codes(&value)),
        (3, both("not-written", "place-gone"))
    );
    assert!(value.to_string().contains("free some room"), "{value:#}");
    nothing_false(&bench, "a/NORTH");
    assert_eq!(bench.files("b/NORTH"), bench.expected());
    let (ended, value) = json(&["offload", &card, "--to", &a, &b]);
    assert_eq!(ended, 0, "{value:#}");
    // for real: files of one byte that take a block of 4096 each, so that their sizes do not tell the room they need
    for number in 0..3000 {
        bench.put(&format!("SOUTH/N{number:04}.TXT"), &[number as u8]);
    }
    let c = bench.medium_with("c", 10, &["-b", "4096", "-O", "^has_journal", "-N", "4000"]);
    let (ended, value) = json(&["offload", &bench.text("SOUTH"), "--to", &c]);
    assert_eq!(
        (ended, codes(&value)),
        (3, both("not-written", "place-gone"))
    );
    let cause = value["findings"][0]["cause"].as_str().expect("a cause");
    assert!(cause.contains("No space left"), "{value:#}");
    let copied = bench.files("c/SOUTH");
    assert!(copied.len() > 1000, "{}", copied.len());
    let original = bench.files("SOUTH");
    assert!(copied.iter().all(|file| original.contains(file)));
    assert!(!unfinished(&bench.path("c")));
}

#[test]
fn a_file_system_that_limits_the_size_of_files_refuses_that_file_alone() {
    let (bench, [card, to, a, b]) = two_media(40);
    let (ended, value) = with_fault(
        &bench,
        fault("write", "/a/NORTH/DAY1/.commontime", "4194304", EFBIG),
        &[&card, &to, &a, &b],
    );
    assert_eq!((ended, codes(&value)), (3, vec!["not-written".to_string()]));
    assert!(
        value.to_string().contains("holds no files of this size"),
        "{value:#}"
    );
    nothing_false(&bench, "a/NORTH");
    assert_eq!(bench.files("b/NORTH"), bench.expected());
}

#[test]
fn the_systems_own_limit_on_sizes_is_told() {
    // the kernel's limit, its signal ignored as a shell can ask for: 4096 blocks of 1024 bytes
    let bench = Bench::with_card();
    let script = format!(
        "trap '' XFSZ; ulimit -f 4096; exec {} --json offload {} --to {}",
        env!("CARGO_BIN_EXE_commontime"),
        bench.text("NORTH"),
        bench.text("a")
    );
    let output = std::process::Command::new("bash")
        .args(["-c", &script])
        .output()
        .expect("bash");
    let value = printed(&output);
    assert_eq!(status(&output), 3, "{value:#}");
    assert!(
        value.to_string().contains("holds no files of this size"),
        "{value:#}"
    );
    nothing_false(&bench, "a/NORTH");
    assert_eq!(bench.files("a/NORTH").len(), 4);
}

#[test]
fn a_medium_that_stores_other_bytes_is_found_out() {
    let (bench, [card, to, a, b]) = two_media(40);
    let (ended, value) = with_fault(
        &bench,
        fault("flip", "/a/NORTH/DAY1/.commontime", "4194304", "0"),
        &[&card, &to, &a, &b],
    );
    assert_eq!((ended, codes(&value)), (4, vec!["not-written".to_string()]));
    assert!(
        value.to_string().contains("does not hold what was written"),
        "{value:#}"
    );
    nothing_false(&bench, "a/NORTH");
    assert_eq!(value["cards"][0]["release"]["safe"], false);
    assert_eq!(bench.files("b/NORTH"), bench.expected());
}

#[test]
fn a_second_run_on_one_place_is_refused() {
    let (bench, [card, to, a, b]) = two_media(200);
    for number in 4..80 {
        bench.put(
            &format!("NORTH/T{number:02}.WAV"),
            &noise(1_000_000, number),
        );
    }
    let mut second = None;
    let first = meanwhile(
        &[&card, &to, &a],
        || !bench.files("a").is_empty(),
        || second = Some(commontime(&["offload", &card, &to, &a, &b])),
    );
    let second = second.expect("a second run");
    assert_eq!(status(&first), 1, "one copy alone: {}", said(&first));
    assert_eq!(status(&second), 2, "{}", said(&second));
    assert!(
        said(&second).contains("another run is writing"),
        "{}",
        said(&second)
    );
    assert!(!bench.path("b/NORTH").exists());
    assert_eq!(bench.files("a/NORTH"), bench.expected());
}

#[test]
fn what_is_recorded_meanwhile_is_told() {
    // a new file, after the card was listed
    let (bench, [card, to, a, b]) = two_media(200);
    bench.put("NORTH/T99.WAV", &noise(40_000_000, 9));
    let output = meanwhile(
        &[&card, &to, &a, &b],
        || bench.path("a/NORTH").exists(),
        || {
            bench.put("NORTH/DAY1/T05.WAV", b"a new take");
        },
    );
    let value = printed(&output);
    assert_eq!(
        (status(&output), codes(&value)),
        (4, vec!["card-changed".to_string()])
    );
    assert_eq!(value["cards"][0]["release"]["safe"], false);
}

#[test]
fn a_file_that_is_written_meanwhile_is_told() {
    let bench = Bench::with_card();
    // grown after it was listed: the reading sees more than the listing
    let path = bench.put("NORTH/T99.WAV", &noise(40_000_000, 9));
    let output = meanwhile(
        &[&bench.text("NORTH"), "--to", &bench.text("a")],
        || bench.path("a/NORTH").exists(),
        || {
            run("sh", &["-c", &format!("echo more >> {}", path.display())]);
        },
    );
    let value = printed(&output);
    assert_eq!(
        (status(&output), codes(&value)),
        (4, both("card-changed", "not-read"))
    );
    assert!(
        value.to_string().contains("changed while it was copied"),
        "{value:#}"
    );
    nothing_false(&bench, "a/NORTH");
}
