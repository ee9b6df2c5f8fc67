//! What cannot be copied is refused before anything is written, or told by name while the rest goes on.

use std::ffi::OsStr;
use std::fs;
use std::os::unix::ffi::OsStrExt;

use crate::bench::{Bench, codes, commontime, json, noise, run, said, status, unfinished};

#[test]
fn what_is_there_and_differs_is_left_as_it_is() {
    let bench = Bench::with_card();
    let card = bench.text("NORTH");
    bench.put("a/NORTH/T01.WAV", b"yesterday's");
    bench.put("b/NORTH/T01.WAV", &noise(4000, 1));
    // another size: nothing is written at all
    let (ended, value) = json(&["offload", &card, "--to", &bench.text("a")]);
    assert_eq!(
        (ended, codes(&value)),
        (1, vec!["place-refused".to_string()])
    );
    assert_eq!(bench.files("a/NORTH").len(), 1);
    // the same size, other bytes: told when it is read
    let (ended, value) = json(&["offload", &card, "--to", &bench.text("b")]);
    assert_eq!((ended, codes(&value)), (1, vec!["not-written".to_string()]));
    assert_eq!(value["cards"][0]["copies"][0]["complete"], false);
    let kept = fs::read(bench.path("b/NORTH/T01.WAV")).expect("file");
    assert_eq!(kept, noise(4000, 1));
    assert!(!bench.path("b/NORTH/ascmhl").exists());
}

#[test]
fn requests_that_make_no_sense_are_refused() {
    let bench = Bench::with_card();
    let card = bench.text("NORTH");
    bench.put("other/NORTH/T01.WAV", b"x");
    let refused = |args: &[&str], words: &str| {
        let run = commontime(&[&["offload"], args].concat());
        assert_eq!(status(&run), 2, "{args:?}: {}", said(&run));
        assert!(said(&run).contains(words), "{args:?}: {}", said(&run));
    };
    let inside = bench.text("NORTH/copies");
    let (a, other) = (bench.text("a"), bench.text("other/NORTH"));
    refused(&[&card, "--to", &inside], "lies on the card");
    refused(&[&card, "--to", &bench.text("")], "lies in the place");
    refused(&[&card, &card, "--to", &a], "given twice");
    refused(&[&card, "--to", &a, &a], "given twice");
    refused(&[&card, &other, "--to", &a], "two cards are called NORTH");
    refused(
        &[&card, "--to", &a, "--name", "../x"],
        "no name for a folder",
    );
    refused(
        &[&card, "--to", &a, "--name", "X", "--name", "Y"],
        "2 names for 1 cards",
    );
    refused(&[&bench.text("NORTH/T01.WAV"), "--to", &a], "is a file");
    let run = commontime(&["offload", &bench.text("nowhere"), "--to", &a]);
    assert_eq!(status(&run), 3, "{}", said(&run));
    let named = ["--name", "NORTH", "--name", "NORTH-2"];
    let run = commontime(&[&["offload", &card, &other, "--to", &a][..], &named].concat());
    assert_eq!(status(&run), 1, "one copy alone: {}", said(&run));
    assert!(bench.path("a/NORTH-2/ascmhl").is_dir());
}

#[test]
fn names_of_every_kind_are_copied_and_those_no_list_holds_are_told() {
    let bench = Bench::new();
    let card = bench.path("NORTH");
    // 300 characters of two bytes are more than a name holds; 127 are not
    let long = "\u{e9}".repeat(127);
    let deep = ["folder-of-thirty-characters-xx"; 12].join("/");
    bench.put(&format!("NORTH/{long}"), b"long");
    bench.put(&format!("NORTH/{deep}/T01.WAV"), b"deep");
    bench.put("NORTH/a\nb.wav", b"a line's end");
    for name in [&b"caf\xe9.wav"[..], b"\xff\xfe.wav"] {
        fs::write(card.join(OsStr::from_bytes(name)), name).expect("file");
    }
    let (ended, value) = json(&["offload", &bench.text("NORTH"), "--to", &bench.text("a")]);
    assert_eq!(ended, 1, "one copy alone: {value:#}");
    assert_eq!(codes(&value), ["name-unlistable"]);
    assert_eq!(value["findings"].as_array().map(Vec::len), Some(3));
    assert_eq!(bench.files("a/NORTH"), bench.files("NORTH"));
    let (ended, value) = json(&["verify", &bench.text("a")]);
    assert_eq!(ended, 1, "three names stand on no list: {value:#}");
    assert_eq!(value["scopes"][0]["equal"], 2);
    assert_eq!(
        value["scopes"][0]["extra"].as_array().map(Vec::len),
        Some(3)
    );
}

#[test]
fn what_is_no_file_is_told_and_keeps_the_card() {
    let bench = Bench::with_card();
    std::os::unix::fs::symlink("T01.WAV", bench.path("NORTH/link.wav")).expect("link");
    run("mkfifo", &[&bench.text("NORTH/pipe.wav")]);
    let (ended, value) = json(&["offload", &bench.text("NORTH"), "--to", &bench.text("a")]);
    assert_eq!((ended, codes(&value)), (3, vec!["not-copied".to_string()]));
    let reasons = &value["cards"][0]["release"]["reasons"];
    assert_eq!(reasons[0], "2 things on it could not be copied");
}

#[test]
fn links_in_the_place_of_folders_are_refused() {
    let bench = Bench::with_card();
    let card = bench.text("NORTH");
    let before = bench.files("NORTH");
    fs::create_dir_all(bench.path("a")).expect("folder");
    std::os::unix::fs::symlink(bench.path("NORTH"), bench.path("a/NORTH")).expect("link");
    fs::create_dir_all(bench.path("b/NORTH")).expect("folder");
    std::os::unix::fs::symlink(bench.path("NORTH/DAY1"), bench.path("b/NORTH/DAY1")).expect("link");
    let (ended, value) = json(&["offload", &card, "--to", &bench.text("a"), &bench.text("b")]);
    assert_eq!(
        (ended, codes(&value)),
        (1, vec!["place-refused".to_string()])
    );
    assert_eq!(value["findings"].as_array().map(Vec::len), Some(2));
    assert_eq!(bench.files("NORTH"), before);
    assert!(!bench.path("NORTH/ascmhl").exists());
}

#[test]
fn two_places_on_one_disk_need_room_for_both() {
    let mut bench = Bench::with_card();
    let a = bench.medium("a", 24);
    let (one, two) = (format!("{a}/one"), format!("{a}/two"));
    let (ended, value) = json(&["offload", &bench.text("NORTH"), "--to", &one, &two]);
    assert_eq!(
        (ended, codes(&value)),
        (3, vec!["place-refused".to_string()])
    );
    assert_eq!(bench.files("a/one/NORTH"), bench.expected());
    assert!(!bench.path("a/two/NORTH").exists());
}

#[test]
fn a_card_with_nothing_on_it_is_told() {
    let bench = Bench::new();
    fs::create_dir_all(bench.path("NORTH")).expect("folder");
    let (ended, value) = json(&["offload", &bench.text("NORTH"), "--to", &bench.text("a")]);
    assert_eq!(ended, 1, "{value:#}");
    assert_eq!(
        value["cards"][0]["release"]["reasons"][0],
        "there is no file on it"
    );
}

#[test]
fn places_and_cards_that_may_only_be_read() {
    let mut bench = Bench::with_card();
    let (a, b) = (bench.medium("a", 40), bench.medium("b", 40));
    run("mount", &["-o", "remount,ro", &a]);
    let card = bench.text("NORTH");
    let (ended, value) = json(&["offload", &card, "--to", &a, &b]);
    assert_eq!(ended, 3, "{value:#}");
    assert_eq!(codes(&value), ["place-refused"]);
    assert_eq!(bench.files("b/NORTH"), bench.expected());
    assert_eq!(
        value["cards"][0]["release"]["reasons"][0],
        "only one of 2 copies is complete"
    );
    // a card that may only be read is a good card
    run("mount", &["-o", "remount,ro", &b]);
    let run = commontime(&["offload", &format!("{b}/NORTH"), "--to", &bench.text("c")]);
    assert_eq!(status(&run), 1, "one copy alone: {}", said(&run));
    assert_eq!(bench.files("c/NORTH"), bench.expected());
    assert!(!unfinished(&bench.path("c")));
}

#[test]
fn too_little_room_at_one_place_is_said_before_and_the_other_is_copied() {
    let mut bench = Bench::with_card();
    let (a, b) = (bench.medium("a", 10), bench.medium("b", 40));
    let (ended, value) = json(&["offload", &bench.text("NORTH"), "--to", &a, &b]);
    assert_eq!(ended, 3, "{value:#}");
    assert_eq!(codes(&value), ["place-refused"]);
    let message = value["findings"][0]["message"].as_str().expect("words");
    assert!(
        message.contains("not enough room: 13.2 MB needed"),
        "{message}"
    );
    assert!(!bench.path("a/NORTH/T01.WAV").exists());
    assert_eq!(bench.files("b/NORTH"), bench.expected());
}

#[test]
fn copies_in_memory_are_told_to_be_none() {
    let bench = Bench::with_card();
    let memory = bench.path("memory");
    fs::create_dir(&memory).expect("folder");
    run(
        "mount",
        &[
            "-t",
            "tmpfs",
            "-o",
            "size=40m",
            "tmpfs",
            &bench.text("memory"),
        ],
    );
    let (ended, value) = json(&[
        "offload",
        &bench.text("NORTH"),
        "--to",
        &bench.text("memory"),
        &bench.text("a"),
    ]);
    run("umount", &[&bench.text("memory")]);
    assert_eq!(ended, 1, "{value:#}");
    assert_eq!(value["cards"][0]["copies"][0]["read_back"], "cached");
    let reasons = value["cards"][0]["release"]["reasons"].to_string();
    assert!(reasons.contains("is memory"), "{reasons}");
}
