//! `commontime rehearse` as a person uses it: a practice shoot that does not give itself away, answers marked against its truth,
//! and the program's own alignment marked like anybody's.
#![expect(clippy::disallowed_methods, reason = "the tests fill in the form")]

mod shoots;

use serde_json::Value;
use shoots::{Place, commontime, status};

fn make(place: &Place, kind: &str, seed: &str) -> String {
    let folder = place.path("practice");
    let words = [
        "rehearse", "make", "--out", &folder, "--kind", kind, "--seed", seed,
    ];
    let run = commontime(&words);
    assert_eq!(status(&run), 0, "{}", String::from_utf8_lossy(&run.stderr));
    let again = commontime(&words);
    assert_eq!(status(&again), 2, "nothing is written over");
    folder
}

fn marks(words: &[&str]) -> Value {
    let run = commontime(&[&["rehearse", "mark", "--json"], words].concat());
    assert_eq!(status(&run), 0, "{}", String::from_utf8_lossy(&run.stderr));
    serde_json::from_slice(&run.stdout).expect("JSON")
}

fn verdicts(marks: &Value) -> Vec<(String, String)> {
    let list = marks["marks"].as_array().expect("marks");
    list.iter()
        .map(|mark| {
            let of = |name: &str| mark[name].as_str().expect("text").to_owned();
            (of("asked"), of("verdict"))
        })
        .collect()
}

fn by_program(place: &Place, folder: &str) -> Value {
    let card = |unit: &str| format!("{folder}/cards/{unit}");
    let out = place.path("found.json");
    let run = commontime(&[
        "align",
        &card("NORTH"),
        &card("SOUTH"),
        "--lead",
        "NORTH",
        "--spacing",
        "2",
        "--out",
        &out,
    ]);
    assert!(
        status(&run) <= 1,
        "{}",
        String::from_utf8_lossy(&run.stderr)
    );
    marks(&[folder, "--answer", &out])
}

/// Nothing that the program says of its own shoots is wrong, and most is right.
fn is_honest(marks: &Value, most_unknown: usize) {
    let verdicts = verdicts(marks);
    let count = |word: &str| verdicts.iter().filter(|v| v.1 == word).count();
    assert_eq!(count("wrong"), 0, "{marks:#}");
    assert_eq!(count("near"), 0, "{marks:#}");
    assert_eq!(count("empty"), 0, "{marks:#}");
    assert!(count("not-known") <= most_unknown, "{marks:#}");
}

#[test]
fn a_linked_shoot_is_found_and_the_form_marked() {
    let place = Place::new();
    let folder = make(&place, "linked", "5");
    let read = |name: &str| std::fs::read_to_string(format!("{folder}/{name}")).expect(name);
    // neither the sheet nor the seal tells
    for name in ["questions.txt", "truth.sealed"] {
        let text = read(name);
        for secret in ["linked", "ppm\":", "offset_samples\":"] {
            assert!(!text.contains(secret), "{secret} in {name}");
        }
    }
    assert!(read("truth.sealed").contains("It is no secret"));
    let program = by_program(&place, &folder);
    is_honest(&program, 0);
    assert_eq!(program["points"], program["most"], "{program:#}");

    // an empty form is no answer: the truth is not told for nothing
    let empty = commontime(&["rehearse", "mark", &folder]);
    let said = String::from_utf8_lossy(&empty.stderr);
    assert_eq!(status(&empty), 3, "{said}");
    assert!(
        said.contains("fill it in") && empty.stdout.is_empty(),
        "{said}"
    );
    // what the program found, typed in by hand
    let truth = |asked: &str| -> String {
        let list = program["marks"].as_array().expect("marks");
        let mark = list.iter().find(|mark| mark["asked"] == asked);
        let words = mark.expect("a mark")["truth"].as_str().expect("text");
        words.split(' ').next().expect("a word").to_owned()
    };
    let form = format!(
        "[[take]]\ntake = \"SOUTH_T11\"\nran_with = \"{}\"\noffset_samples = {}\noffset_plus_minus = \"1\"\n\
         rate_ppm = \"55\"\nslip_samples = \"not established\"\ninverted = \"\"\nbasis = \"Common Signal\"\n",
        truth("ran_with"),
        truth("offset_samples"),
    );
    let answers = place.path("mine.toml");
    std::fs::write(&answers, &form).expect("written");
    let mine = marks(&[&folder, "--answer", &answers]);
    let found = verdicts(&mine);
    let found: Vec<&str> = found.iter().map(|v| v.1.as_str()).collect();
    assert_eq!(
        found,
        ["right", "right", "wrong", "not-known", "empty", "right"]
    );
    assert_eq!(mine["points"], 4);

    for (text, expected) in [
        ("[[take]]\ntake = \"WEST_T01\"\n", "SOUTH_T11"),
        ("[[take]]\ntake = \"SOUTH_T11\"\nspeed = \"1\"\n", "speed"),
        (
            "[[take]]\ntake = \"SOUTH_T11\"\nrate_ppm = \"fast\"\n",
            "expected a number",
        ),
        (
            "[[take]]\ntake = \"SOUTH_T11\"\ninverted = \"maybe\"\n",
            "expected yes, no",
        ),
        (
            "[[take]]\ntake = \"SOUTH_T11\"\noffset_samples = 1\noffset_plus_minus = -5\n",
            "expected 0 or more",
        ),
        (
            "[[take]]\ntake = \"SOUTH_T11\"\nrate_ppm = 1\n[[take]]\ntake = \"SOUTH_T11\"\nrate_ppm = 1\n",
            "answered twice",
        ),
        ("no table", "mine.toml"),
        ("{\"format\": \"x\", \"joint_takes\": []}", "alignment file"),
    ] {
        std::fs::write(&answers, text).expect("written");
        let run = commontime(&["rehearse", "mark", &folder, "--answer", &answers]);
        let said = String::from_utf8_lossy(&run.stderr);
        assert_eq!(status(&run), 3, "{said}");
        assert!(said.contains(expected), "{expected} in {said}");
    }
}

#[test]
fn where_nothing_can_be_established_saying_so_is_full_marks() {
    let place = Place::new();
    let folder = make(&place, "no-signs", "5");
    let program = by_program(&place, &folder);
    assert_eq!(program["points"], program["most"], "{program:#}");
    let answers = place.path("mine.toml");
    let form = "[[take]]\ntake = \"SOUTH_T11\"\nran_with = \"NORTH_T01\"\noffset_samples = 0\nbasis = \"stamps\"\n";
    std::fs::write(&answers, form).expect("written");
    let mine = marks(&[&folder, "--answer", &answers]);
    assert_eq!(mine["points"], -6, "{mine:#}");
}

#[test]
fn a_slip_is_found_with_its_size() {
    let place = Place::new();
    let folder = make(&place, "slip", "5");
    let program = by_program(&place, &folder);
    is_honest(&program, 0);
    let answers = place.path("mine.toml");
    let form = "[[take]]\ntake = \"SOUTH_T11\"\nslip_samples = \"not established\"\n";
    std::fs::write(&answers, form).expect("written");
    let run = commontime(&["rehearse", "mark", &folder, "--answer", &answers]);
    let said = String::from_utf8_lossy(&run.stdout);
    assert!(said.contains("a slip is a step in the lag"), "{said}");
    assert!(said.contains("5 empty"), "{said}");
}

#[test]
fn content_alone_is_told_with_its_distance() {
    let place = Place::new();
    let folder = make(&place, "distance", "5");
    is_honest(&by_program(&place, &folder), 2);
}

#[test]
fn a_jam_that_was_lost_and_a_wrong_rate_are_told_take_by_take() {
    for (kind, seed) in [("jam-lost", "5"), ("wrong-rate", "9")] {
        let place = Place::new();
        let folder = make(&place, kind, seed);
        // the rate of forty seconds in a room is not always told
        is_honest(&by_program(&place, &folder), 4);
    }
}

#[test]
fn levels_draw_what_happened_from_the_seed() {
    use rehearsal::practice::{Kind, Level};
    let drawn = |level: Level| -> Vec<Kind> { (0..40).map(|seed| level.drawn(seed)).collect() };
    assert!(
        drawn(Level::Easy).contains(&Kind::JamLost) && drawn(Level::Easy).contains(&Kind::Linked)
    );
    assert!(
        drawn(Level::Middle).contains(&Kind::Slip)
            && !drawn(Level::Middle).contains(&Kind::NoSigns)
    );
    assert!(
        drawn(Level::Hard).contains(&Kind::NoSigns) && !drawn(Level::Hard).contains(&Kind::Linked)
    );
}
