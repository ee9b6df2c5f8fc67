//! What goes wrong in the field: each a clear error or finding, the rest still done, nothing lost, the sources untouched.
#![expect(
    clippy::disallowed_methods,
    reason = "the tests damage their own copies"
)]

mod shoots;

use std::fs;
use std::path::Path;

use serde_json::Value;
use shoots::{Place, commontime, listing, short_shoot, status};

fn stderr(run: &std::process::Output) -> String {
    String::from_utf8_lossy(&run.stderr).into_owned()
}

fn put(path: &Path, bytes: &[u8]) {
    fs::create_dir_all(path.parent().expect("a folder")).expect("folder");
    fs::write(path, bytes).expect("file");
}

#[test]
fn broken_files_among_good_ones_are_told_and_the_rest_is_built() {
    let place = Place::new();
    short_shoot(12.0).write(&place.cards()).expect("a shoot");
    let north = place.cards().join("NORTH");
    put(
        &north.join("A_TEXT.WAV"),
        b"this is a shopping list, not a recording",
    );
    put(&north.join("B_EMPTY.WAV"), b"");
    put(
        &north.join("C_CUT.WAV"),
        b"RIFF\x24\x00\x00\x00WAVEfmt \x10\x00",
    );
    let before = listing(&place.cards());
    let run = place.join(&[]);
    let said = stderr(&run);
    assert!(place.out_path().join("alignment.json").is_file(), "{said}");
    for name in ["A_TEXT.WAV", "B_EMPTY.WAV", "C_CUT.WAV"] {
        assert!(said.contains(name), "{name} is told: {said}");
    }
    assert!(said.contains("RIFF"), "says what was expected: {said}");
    let built = place
        .listing()
        .iter()
        .filter(|line| line.contains(".wav"))
        .count();
    assert_eq!(built, 1, "the good take is built: {said}");
    assert_eq!(listing(&place.cards()), before, "sources are untouched");
}

#[test]
fn a_name_that_is_no_utf8_is_told_and_the_rest_is_built() {
    use std::os::unix::ffi::OsStrExt;
    let place = Place::new();
    short_shoot(12.0).write(&place.cards()).expect("a shoot");
    let north = place.cards().join("NORTH");
    let odd = north.join(std::ffi::OsStr::from_bytes(b"caf\xe9.wav"));
    fs::copy(one_wave(&north), &odd).expect("another file");
    // other samples, so that it is no double, and later in the day
    let mut bytes = fs::read(&odd).expect("file");
    let at = bytes.len() - 1000;
    bytes[at] ^= 1;
    fs::write(&odd, bytes).expect("file");
    let survey = commontime(&[
        "--json",
        "survey",
        &place.card("NORTH"),
        &place.card("SOUTH"),
    ]);
    assert_eq!(status(&survey), 1, "{}", stderr(&survey));
    let value: Value = serde_json::from_slice(&survey.stdout).expect("JSON");
    assert!(value.to_string().contains("name-not-utf8"));
    let run = place.join(&[]);
    let said = stderr(&run);
    assert!(status(&run) <= 1 && said.contains("no UTF-8"), "{said}");
}

/// The first wave file of a card.
fn one_wave(card: &Path) -> std::path::PathBuf {
    let files = fs::read_dir(card).expect("card").flatten();
    let mut waves: Vec<_> = files
        .map(|entry| entry.path())
        .filter(|path| {
            path.extension()
                .is_some_and(|e| e.eq_ignore_ascii_case("wav"))
        })
        .collect();
    waves.sort();
    waves.swap_remove(0)
}

#[test]
fn a_card_without_sound_is_no_reason_to_crash() {
    let place = Place::new();
    short_shoot(12.0).write(&place.cards()).expect("a shoot");
    fs::create_dir_all(place.path("empty")).expect("folder");
    let run = commontime(&[
        "join",
        &place.card("NORTH"),
        &place.path("empty"),
        "--out",
        &place.out(),
    ]);
    assert_eq!(status(&run), 1, "{}", stderr(&run));
    assert!(stderr(&run).contains("empty"), "{}", stderr(&run));
    let missing = commontime(&[
        "join",
        &place.card("NORTH"),
        &place.path("nowhere"),
        "--out",
        &place.out(),
    ]);
    assert_eq!(status(&missing), 3, "{}", stderr(&missing));
    assert!(stderr(&missing).contains("nowhere"), "{}", stderr(&missing));
}

#[test]
fn two_folders_of_one_unit_are_recognised() {
    let place = Place::new();
    short_shoot(12.0).write(&place.cards()).expect("a shoot");
    let copy = place.cards().join("COPY");
    fs::create_dir_all(&copy).expect("folder");
    for entry in fs::read_dir(place.cards().join("NORTH"))
        .expect("card")
        .flatten()
    {
        fs::copy(entry.path(), copy.join(entry.file_name())).expect("copy");
    }
    let run = commontime(&[
        "join",
        &place.card("NORTH"),
        &place.card("COPY"),
        "--out",
        &place.out(),
    ]);
    assert_ne!(status(&run), 0, "{}", stderr(&run));
    let said = stderr(&run);
    assert!(said.contains("NORTH") && said.contains("COPY"), "{said}");
    let same = commontime(&[
        "join",
        &place.card("NORTH"),
        &place.card("NORTH"),
        "--out",
        &place.out(),
    ]);
    assert_eq!(status(&same), 2, "{}", stderr(&same));
}

#[test]
fn takes_that_never_overlap_are_told_with_the_nearest() {
    let place = Place::new();
    let early = short_shoot(10.0).named("A").time_of_day_s(36_000.0);
    let late = short_shoot(10.0).named("B").time_of_day_s(37_000.0);
    rehearsal::write_shoots(&[early, late], &place.cards(), |_| {}).expect("shoots");
    for (unit, take) in [("NORTH", "_B"), ("SOUTH", "_A")] {
        for entry in fs::read_dir(place.cards().join(unit))
            .expect("card")
            .flatten()
        {
            if entry.file_name().to_string_lossy().contains(take) {
                fs::remove_file(entry.path()).expect("removed");
            }
        }
    }
    let run = place.join(&["--json"]);
    let said: Value = serde_json::from_slice(&run.stdout).expect("JSON");
    assert!(
        said["alignment"]["joint_takes"]
            .as_array()
            .expect("a list")
            .is_empty()
    );
    assert!(stderr(&run).contains("nearest"), "{}", stderr(&run));
}

#[test]
fn an_output_inside_a_card_is_refused_before_any_work() {
    let place = Place::new();
    short_shoot(12.0).write(&place.cards()).expect("a shoot");
    let before = listing(&place.cards());
    let inside = format!("{}/out", place.card("SOUTH"));
    let run = commontime(&[
        "join",
        &place.card("NORTH"),
        &place.card("SOUTH"),
        "--out",
        &inside,
    ]);
    assert_eq!(status(&run), 2, "{}", stderr(&run));
    assert!(
        stderr(&run).contains("outside the cards"),
        "{}",
        stderr(&run)
    );
    assert_eq!(
        listing(&place.cards()),
        before,
        "nothing was written into a card"
    );
}

#[test]
fn a_cause_is_told_once() {
    let place = Place::new();
    let nowhere = place.cards().join("nothing.json");
    let out = place.out_path();
    let run = commontime(&[
        "build",
        &nowhere.display().to_string(),
        "--out",
        &out.display().to_string(),
    ]);
    assert_eq!(status(&run), 3);
    let said = stderr(&run);
    assert_eq!(said.matches("os error 2").count(), 1, "{said}");
}

#[test]
fn a_source_that_changed_after_measuring_is_not_built() {
    let place = Place::new();
    short_shoot(12.0).write(&place.cards()).expect("a shoot");
    let plan = place.path("plan.json");
    let run = commontime(&[
        "align",
        &place.card("NORTH"),
        &place.card("SOUTH"),
        "--out",
        &plan,
    ]);
    assert_eq!(status(&run), 0, "{}", stderr(&run));
    let file = fs::read_dir(place.cards().join("SOUTH"))
        .expect("card")
        .flatten()
        .next()
        .expect("a take");
    let mut bytes = fs::read(file.path()).expect("take");
    let last = bytes.len() - 100;
    bytes[last] ^= 1;
    fs::write(file.path(), &bytes).expect("changed");
    let run = commontime(&["build", &plan, "--out", &place.out()]);
    assert_eq!(status(&run), 4, "{}", stderr(&run));
    assert!(
        stderr(&run).contains("not the file that was measured"),
        "{}",
        stderr(&run)
    );
    assert!(!place.listing().iter().any(|line| line.contains(".wav")));
}

#[test]
fn what_makes_no_sense_is_a_usage_error_that_says_how_to_write_it() {
    let place = Place::new();
    short_shoot(8.0).write(&place.cards()).expect("a shoot");
    let (north, south, out) = (place.card("NORTH"), place.card("SOUTH"), place.out());
    for (extra, word) in [
        (["--lead", "WEST"], "NORTH, SOUTH"),
        (["--common", "NORTH:2"], "UNIT:CH=UNIT:CH"),
        (["--tie", "NORTH@x=SOUTH@1"], "UNIT@POS=UNIT@POS"),
        (["--spacing", "-3"], "spacing"),
    ] {
        let run = commontime(&["join", &north, &south, "--out", &out, extra[0], extra[1]]);
        assert_eq!(status(&run), 2, "{extra:?}: {}", stderr(&run));
        assert!(stderr(&run).contains(word), "{extra:?}: {}", stderr(&run));
    }
    let alone = commontime(&["join", &north, "--out", &out]);
    assert_eq!(status(&alone), 2, "{}", stderr(&alone));
    let text = place.path("text.json");
    fs::write(&text, "not json").expect("file");
    let run = commontime(&["build", &text, "--out", &out]);
    assert_eq!(status(&run), 3, "{}", stderr(&run));
    assert!(stderr(&run).contains("line 1"), "{}", stderr(&run));
}
