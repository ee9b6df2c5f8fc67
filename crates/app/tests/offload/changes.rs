//! What became of a copy since: each change is named, and nothing else.

use std::fs;

use crate::bench::{Bench, codes, commontime, json, said, status};

/// A copy of the card, in `a/NORTH`.
fn copied() -> Bench {
    let bench = Bench::with_card();
    let run = commontime(&["offload", &bench.text("NORTH"), "--to", &bench.text("a")]);
    assert_eq!(status(&run), 1, "one copy alone: {}", said(&run));
    bench
}

#[test]
fn two_media_make_a_card_safe_to_release_and_a_second_run_copies_nothing() {
    let mut bench = Bench::with_card();
    let (a, b) = (bench.medium("a", 40), bench.medium("b", 40));
    let card = bench.text("NORTH");
    let (ended, value) = json(&["offload", &card, "--to", &a, &b]);
    assert_eq!(ended, 0, "{value:#}");
    let north = &value["cards"][0];
    assert_eq!(north["release"]["safe"], true);
    assert_eq!(north["left_out"].as_array().map(Vec::len), Some(2));
    for place in ["a/NORTH", "b/NORTH"] {
        assert_eq!(bench.files(place), bench.expected());
        assert!(bench.path(place).join("DAY2").is_dir(), "empty folders too");
        assert!(!crate::bench::unfinished(&bench.path(place)));
    }
    for copy in north["copies"].as_array().expect("copies") {
        assert_eq!(
            (&copy["copied"], &copy["was_there"]),
            (&5.into(), &0.into())
        );
        assert_eq!(copy["read_back"], "direct");
        assert_eq!(copy["complete"], true);
    }
    let before = fs::metadata(bench.path("NORTH/T01.WAV")).expect("file");
    let after = fs::metadata(bench.path("a/NORTH/T01.WAV")).expect("file");
    assert_eq!(before.modified().ok(), after.modified().ok());
    let (ended, value) = json(&["offload", &card, "--to", &a, &b]);
    assert_eq!(ended, 0, "{value:#}");
    for copy in value["cards"][0]["copies"].as_array().expect("copies") {
        assert_eq!(
            (&copy["copied"], &copy["was_there"]),
            (&0.into(), &5.into())
        );
    }
    let (ended, value) = json(&["verify", &a, &b]);
    assert_eq!(ended, 0, "{value:#}");
    assert_eq!(value["scopes"][1]["generations"], 2);
}

#[test]
fn rubbish_is_copied_when_asked_for() {
    let bench = Bench::with_card();
    let card = bench.text("NORTH");
    commontime(&["offload", &card, "--to", &bench.text("a"), "--everything"]);
    assert_eq!(bench.files("a/NORTH"), bench.files("NORTH"));
}

#[test]
fn missing_extra_changed_and_renamed_files_are_named() {
    let bench = copied();
    let inside = |name: &str| bench.path(&format!("a/NORTH/{name}"));
    let mut bytes = fs::read(inside("DAY1/T02.WAV")).expect("file");
    bytes[8_500_000] ^= 1;
    fs::write(inside("DAY1/T02.WAV"), bytes).expect("file");
    fs::write(inside("T01.WAV"), b"short").expect("file");
    fs::remove_file(inside("DAY1/notes/take <3>.txt")).expect("removed");
    fs::remove_dir(inside("DAY2")).expect("removed");
    fs::rename(inside("DAY1/T3 & \u{e9}.WAV"), inside("moved.wav")).expect("renamed");
    fs::write(inside("new.txt"), b"new").expect("file");
    let (ended, value) = json(&["verify", &bench.text("a")]);
    assert_eq!(ended, 4);
    let scope = &value["scopes"][0];
    assert_eq!(scope["equal"], 1);
    assert_eq!(
        scope["changed"],
        serde_json::json!(["DAY1/T02.WAV", "T01.WAV"])
    );
    assert_eq!(
        scope["missing"],
        serde_json::json!(["DAY1/notes/take <3>.txt", "DAY2/"])
    );
    assert_eq!(
        scope["renamed"],
        serde_json::json!([["DAY1/T3 & \u{e9}.WAV", "moved.wav"]])
    );
    assert_eq!(scope["extra"], serde_json::json!(["new.txt"]));
    assert_eq!(
        codes(&value),
        ["file-changed", "file-extra", "file-missing", "file-renamed"]
    );
}

#[test]
fn what_is_only_renamed_or_extra_asks() {
    let bench = copied();
    fs::rename(bench.path("a/NORTH/T01.WAV"), bench.path("a/NORTH/T07.WAV")).expect("renamed");
    let (ended, _) = json(&["verify", &bench.text("a/NORTH")]);
    assert_eq!(ended, 1);
}

#[test]
fn a_list_that_was_touched_is_told() {
    let bench = copied();
    let folder = bench.path("a/NORTH/ascmhl");
    let list = fs::read_dir(&folder)
        .expect("lists")
        .flatten()
        .map(|entry| entry.path())
        .find(|path| path.extension().is_some_and(|ending| ending == "mhl"))
        .expect("a list");
    let text = fs::read_to_string(&list).expect("list");
    fs::write(
        &list,
        text.replace("<process>transfer", "<process>in-place"),
    )
    .expect("list");
    let (ended, value) = json(&["verify", &bench.text("a")]);
    assert_eq!(
        (ended, codes(&value)),
        (4, vec!["list-changed".to_string()])
    );
    // cut in the middle, as a full disk leaves it
    fs::write(&list, &text[..text.len() / 2]).expect("list");
    let run = commontime(&["verify", &bench.text("a")]);
    assert_eq!(status(&run), 3, "{}", said(&run));
    assert!(said(&run).contains("at byte"), "{}", said(&run));
    fs::remove_file(&list).expect("removed");
    let (ended, value) = json(&["verify", &bench.text("a")]);
    assert_eq!(ended, 4);
    assert!(
        codes(&value).contains(&"list-missing".to_string()),
        "{value:#}"
    );
}

#[test]
fn a_chain_that_was_lost_is_told() {
    let bench = copied();
    commontime(&["offload", &bench.text("NORTH"), "--to", &bench.text("a")]);
    fs::remove_file(bench.path("a/NORTH/ascmhl/ascmhl_chain.xml")).expect("removed");
    let (ended, value) = json(&["verify", &bench.text("a")]);
    assert_eq!(
        (ended, codes(&value)),
        (4, vec!["chain-broken".to_string()])
    );
    let (ended, value) = json(&["offload", &bench.text("NORTH"), "--to", &bench.text("a")]);
    assert_eq!(ended, 1, "{value:#}");
    assert_eq!(value["cards"][0]["copies"][0]["complete"], false);
}

#[test]
fn what_no_list_speaks_of_is_told() {
    let bench = copied();
    bench.put("a/SOUTH/T01.WAV", b"a copy that was never finished");
    bench.put("a/loose.txt", b"a file beside the copies");
    fs::create_dir(bench.path("a/empty")).expect("folder");
    let (ended, value) = json(&["verify", &bench.text("a")]);
    assert_eq!((ended, codes(&value)), (1, vec!["unlisted".to_string()]));
    assert_eq!(value["findings"].as_array().map(Vec::len), Some(2));
}

#[test]
fn recordings_in_hidden_folders_keep_the_card() {
    let mut bench = Bench::with_card();
    let (a, b) = (bench.medium("a", 40), bench.medium("b", 40));
    let card = bench.text("NORTH");
    // what was deleted on the unit is copied, what a computer deleted is not looked for
    bench.put("NORTH/TRASH/T00.WAV", b"deleted on the unit");
    let (ended, value) = json(&["offload", &card, "--to", &a, &b]);
    assert_eq!(ended, 0, "{value:#}");
    assert!(bench.path("a/NORTH/TRASH/T00.WAV").is_file());
    bench.put("NORTH/.pending/T07.WAV", b"not yet moved by the unit");
    let (ended, value) = json(&["offload", &card, "--to", &a, &b]);
    assert_eq!(ended, 1, "{value:#}");
    let reason = &value["cards"][0]["release"]["reasons"][0];
    assert!(
        reason
            .as_str()
            .expect("words")
            .starts_with("1 recording is among"),
        "{reason}"
    );
    assert_eq!(
        json(&["offload", &card, "--to", &a, &b, "--everything"]).0,
        0
    );
}

#[test]
fn a_folder_without_lists_is_said_to_have_none() {
    let bench = Bench::with_card();
    let run = commontime(&["verify", &bench.text("NORTH")]);
    assert_eq!(status(&run), 2);
    assert!(said(&run).contains("no hash list here or below"));
}
