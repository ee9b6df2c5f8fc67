//! Hash lists against the reference tool of the standard's own authors: theirs reads ours, ours reads theirs, and
//! generations of both stand in one chain.

use std::fs;
use std::process::{Command, Output};

use crate::bench::{Bench, codes, commontime, json, said, status};

/// A tool of the standard's authors, from where `./check` installs the Python references.
fn reference(tool: &str, args: &[&str]) -> Output {
    let python = std::env::var("COMMONTIME_PYTHON")
        .unwrap_or_else(|_| concat!(env!("CARGO_MANIFEST_DIR"), "/../../.venv/bin/python").into());
    let program = std::path::Path::new(&python).with_file_name(tool);
    Command::new(&program)
        .args(args)
        .output()
        .unwrap_or_else(|error| panic!("{} is needed by this test: {error}", program.display()))
}

fn accepted(tool: &str, args: &[&str]) {
    let output = reference(tool, args);
    assert!(
        output.status.success(),
        "{tool} {args:?}: {}",
        said(&output)
    );
}

const KINDS: [&str; 6] = ["xxh128", "xxh3", "xxh64", "md5", "sha1", "c4"];

#[test]
fn their_tool_verifies_our_lists_of_every_kind() {
    let bench = Bench::with_card();
    for kind in KINDS {
        let to = bench.text(kind);
        let run = commontime(&["offload", &bench.text("NORTH"), "--to", &to, "--hash", kind]);
        assert_eq!(status(&run), 1, "one copy alone: {}", said(&run));
        let copy = format!("{to}/NORTH");
        assert_eq!(bench.files(&format!("{kind}/NORTH")), bench.expected());
        accepted("ascmhl", &["diff", &copy]);
        accepted("ascmhl-debug", &["verify", &copy]);
        accepted("ascmhl-debug", &["verify", "-dh", "-h", kind, &copy]);
        // their tool finds what is wrong by our list
        let path = bench.path(&format!("{kind}/NORTH/T01.WAV"));
        let mut bytes = fs::read(&path).expect("file");
        bytes[1000] ^= 1;
        fs::write(&path, bytes).expect("file");
        let output = reference("ascmhl-debug", &["verify", &copy]);
        assert!(!output.status.success(), "{}", said(&output));
        assert!(said(&output).contains("T01.WAV"), "{}", said(&output));
    }
}

#[test]
fn ours_verifies_their_lists_of_every_kind() {
    for kind in KINDS {
        let bench = Bench::with_card();
        let card = bench.text("NORTH");
        accepted("ascmhl", &["create", "-h", kind, &card]);
        let (ended, value) = json(&["verify", &card]);
        assert_eq!(ended, 0, "{value:#}");
        // their tool lists hidden files as well
        assert_eq!(value["scopes"][0]["equal"], 7, "{value:#}");
        let path = bench.path("NORTH/DAY1/T02.WAV");
        let mut bytes = fs::read(&path).expect("file");
        bytes[8_000_000] ^= 0x80;
        fs::write(&path, bytes).expect("file");
        let (ended, value) = json(&["verify", &card]);
        assert_eq!(ended, 4, "{value:#}");
        assert_eq!(value["scopes"][0]["changed"][0], "DAY1/T02.WAV");
    }
}

#[test]
fn generations_of_both_stand_in_one_chain() {
    let bench = Bench::with_card();
    let (card, to) = (bench.text("NORTH"), bench.text("a"));
    let copy = bench.text("a/NORTH");
    commontime(&["offload", &card, "--to", &to]);
    accepted("ascmhl", &["create", "-h", "md5", &copy]);
    commontime(&["offload", &card, "--to", &to, "--hash", "sha1"]);
    accepted("ascmhl", &["create", "-h", "xxh64", &copy]);
    commontime(&["offload", &card, "--to", &to]);
    accepted("ascmhl", &["diff", &copy]);
    accepted("ascmhl-debug", &["verify", &copy]);
    let (ended, value) = json(&["verify", &to]);
    assert_eq!(ended, 0, "{value:#}");
    assert_eq!(value["scopes"][0]["generations"], 5);
    // a file that their tool found renamed is known by its new name
    fs::rename(bench.path("a/NORTH/T01.WAV"), bench.path("a/NORTH/T99.WAV")).expect("renamed");
    accepted("ascmhl", &["create", "-dr", "-h", "xxh128", &copy]);
    let (ended, value) = json(&["verify", &to]);
    assert_eq!(ended, 0, "{value:#}");
}

#[test]
fn a_list_that_came_with_the_card_goes_on() {
    let bench = Bench::with_card();
    let (card, to) = (bench.text("NORTH"), bench.text("a"));
    fs::remove_file(bench.path("NORTH/._T01.WAV")).expect("removed");
    fs::remove_dir_all(bench.path("NORTH/.Trashes")).expect("removed");
    accepted("ascmhl", &["create", "-h", "md5", &card]);
    let (ended, value) = json(&["offload", &card, "--to", &to]);
    assert_eq!(ended, 1, "one copy alone: {value:#}");
    assert!(codes(&value).is_empty(), "{value:#}");
    accepted("ascmhl-debug", &["verify", &bench.text("a/NORTH")]);
    let (ended, value) = json(&["verify", &to]);
    assert_eq!((ended, &value["scopes"][0]["generations"]), (0, &2.into()));
    // a file that was changed after its list was made is copied as it is, and told
    bench.put("NORTH/T01.WAV", b"another");
    let (ended, value) = json(&["offload", &card, "--to", &bench.text("b")]);
    assert_eq!(ended, 4, "{value:#}");
    assert_eq!(codes(&value), ["not-as-listed"]);
    assert_eq!(value["cards"][0]["release"]["safe"], false);
    assert_eq!(bench.files("b/NORTH"), bench.expected());
    // nor does the list of the first run make it right
    let (ended, value) = json(&["offload", &card, "--to", &bench.text("b")]);
    assert_eq!(
        (ended, codes(&value)),
        (4, vec!["not-as-listed".to_string()])
    );
    let (ended, value) = json(&["verify", &bench.text("b")]);
    assert_eq!(
        (ended, codes(&value)),
        (4, vec!["file-changed".to_string()])
    );
}

#[test]
fn lists_of_a_card_that_are_damaged_keep_it_but_not_its_recordings() {
    let bench = Bench::with_card();
    let card = bench.text("NORTH");
    accepted("ascmhl", &["create", "-h", "md5", &card]);
    bench.put("NORTH/ascmhl/._0001_NORTH.mhl", &[0, 5, 22, 7, 255]);
    let (ended, value) = json(&["offload", &card, "--to", &bench.text("a")]);
    assert_eq!(ended, 1, "one copy alone: {value:#}");
    assert_eq!(value["cards"][0]["copies"][0]["complete"], true);
    // a list that is cut: the recordings are copied, the card is kept
    let list = fs::read_dir(bench.path("NORTH/ascmhl"))
        .expect("lists")
        .flatten()
        .map(|entry| entry.path())
        .find(|path| path.to_string_lossy().contains("/0001"))
        .expect("a list");
    let text = fs::read(&list).expect("list");
    fs::write(&list, &text[..text.len() / 2]).expect("list");
    let (ended, value) = json(&["offload", &card, "--to", &bench.text("b")]);
    assert_eq!(
        (ended, codes(&value)),
        (1, vec!["card-lists-damaged".to_string()])
    );
    assert_eq!(bench.files("b/NORTH"), bench.expected());
    let reasons = value["cards"][0]["release"]["reasons"].to_string();
    assert!(
        reasons.contains("hash lists that came with it"),
        "{reasons}"
    );
}

#[test]
fn a_card_with_lists_in_a_folder_is_copied_with_them() {
    let bench = Bench::with_card();
    let card = bench.text("NORTH");
    accepted(
        "ascmhl",
        &["create", "-h", "xxh64", &bench.text("NORTH/DAY1")],
    );
    let (ended, value) = json(&["offload", &card, "--to", &bench.text("a")]);
    assert_eq!(ended, 1, "one copy alone: {value:#}");
    accepted("ascmhl-debug", &["verify", &bench.text("a/NORTH/DAY1")]);
    let (ended, value) = json(&["verify", &bench.text("a")]);
    assert_eq!(ended, 0, "{value:#}");
    assert_eq!(value["scopes"].as_array().map(Vec::len), Some(2));
    // the folder goes on with a list of its own
    accepted(
        "ascmhl",
        &["create", "-h", "md5", &bench.text("a/NORTH/DAY1")],
    );
    assert_eq!(json(&["verify", &bench.text("a")]).0, 0);
}

#[test]
fn folders_with_lists_of_their_own_are_verified_by_them() {
    let bench = Bench::with_card();
    let card = bench.text("NORTH");
    accepted(
        "ascmhl",
        &["create", "-h", "xxh64", &bench.text("NORTH/DAY1")],
    );
    accepted("ascmhl", &["create", "-h", "xxh64", &card]);
    let (ended, value) = json(&["verify", &card]);
    assert_eq!(ended, 0, "{value:#}");
    assert_eq!(value["scopes"].as_array().map(Vec::len), Some(2));
    bench.put("NORTH/DAY1/T10.WAV", b"x");
    let (ended, value) = json(&["verify", &card]);
    assert_eq!(ended, 4, "{value:#}");
    assert!(codes(&value).contains(&"file-changed".to_string()));
}
