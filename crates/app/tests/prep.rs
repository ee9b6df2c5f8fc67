//! A session planned before the shoot, through the real binary: the file to begin with, the sheets, and the same file after the
//! shoot.

mod shoots;

use serde_json::Value;
use shoots::{Place, commontime, listing, short_shoot, status};

#[expect(
    clippy::disallowed_methods,
    reason = "a session file as a person writes it"
)]
fn write(place: &Place, name: &str, text: &str) -> String {
    std::fs::write(place.path(name), text).expect("written");
    place.path(name)
}

fn read(path: &str) -> String {
    std::fs::read_to_string(path).unwrap_or_else(|error| panic!("{path}: {error}"))
}

#[test]
fn the_file_to_begin_with_becomes_sheets() {
    let place = Place::new();
    let session = place.path("session.toml");
    assert_eq!(status(&commontime(&["prep", &session, "--new"])), 0);
    let begun = read(&session);
    let again = commontime(&["prep", &session, "--new"]);
    assert_eq!(status(&again), 2, "what is there stays");
    assert_eq!(read(&session), begun);
    let told = commontime(&["prep", &session]);
    assert_eq!(status(&told), 0);
    let told = String::from_utf8_lossy(&told.stdout).into_owned();
    for words in [
        "Ready for arrays across units",
        "Hall left (split)",
        "FOR THE RECEIVER",
    ] {
        assert!(told.contains(words), "{words} in\n{told}");
    }
    let out = place.path("sheets");
    let written = commontime(&["prep", &session, "--out", &out]);
    assert_eq!(
        status(&written),
        0,
        "{}",
        String::from_utf8_lossy(&written.stderr)
    );
    let names = [
        "session-sheet.json",
        "session-sheet.txt",
        "session-sheet.html",
        "session-sheet.pdf",
        "planned-channels.csv",
    ];
    for name in names {
        assert!(
            listing(std::path::Path::new(&out))
                .iter()
                .any(|own| own.contains(name)),
            "{name}"
        );
    }
    let data: Value =
        serde_json::from_str(&read(&format!("{out}/session-sheet.json"))).expect("JSON");
    assert_eq!(data["units"].as_array().map(Vec::len), Some(2));
    // the print: every unit, the steps and the brief begin a sheet of their own
    let pages = std::process::Command::new("pdftotext")
        .args(["-layout", &format!("{out}/session-sheet.pdf"), "-"])
        .output()
        .expect("pdftotext of poppler");
    let pages = String::from_utf8_lossy(&pages.stdout).into_owned();
    let tops: Vec<&str> = pages
        .split('\u{c}')
        .filter_map(|page| page.lines().map(str::trim).find(|line| !line.is_empty()))
        .collect();
    for heading in ["NORTH", "SOUTH", "Linking", "For the receiver"] {
        assert!(
            tops.contains(&heading),
            "{heading} tops no page of {tops:?}"
        );
    }
    let refused = commontime(&["prep", &session, "--out", &out]);
    assert_eq!(status(&refused), 2, "sheets that are there stay");
}

#[test]
fn the_same_file_serves_after_the_shoot() {
    let place = Place::new();
    short_shoot(20.0).write(&place.cards()).expect("a shoot");
    let text = "[[unit]]\nname = \"NORTH\"\ninputs = 2\n[[unit]]\nname = \"SOUTH\"\ninputs = 2\n\
        [[source]]\nname = \"left\"\nunit = \"NORTH\"\ninput = 1\n\
        [[source]]\nname = \"right\"\nunit = \"SOUTH\"\ninput = 1\n\
        [[group]]\nname = \"planned pair\"\nclass = \"stereo-pair\"\nsources = [\"left\", \"right\"]\n";
    let file = write(&place, "session.toml", text);
    let planned = commontime(&["prep", &file, "--json"]);
    let planned: Value = serde_json::from_slice(&planned.stdout).expect("JSON");
    assert_eq!(
        planned["groups"][0]["good_enough"], false,
        "no common signal is planned"
    );
    let run = place.join(&["--session", &file]);
    assert_eq!(status(&run), 0, "{}", String::from_utf8_lossy(&run.stderr));
    let report = read(
        &place
            .out_path()
            .join("sound-report.json")
            .display()
            .to_string(),
    );
    let report: Value = serde_json::from_str(&report).expect("JSON");
    let group = &report["takes"][0]["groups"][0];
    assert_eq!(group["name"], "planned pair");
    assert_eq!(group["verdict"], "good-enough", "but one was recorded");
}

#[test]
fn what_makes_no_sense_is_refused_with_its_place() {
    let place = Place::new();
    for (text, code, said) in [
        ("[shoot]\nhourz = 3\n", 3, "line 2"),
        ("", 2, "declares no units"),
        ("[[unit]]\nname = \"A\"\ninputs = 0\n", 2, "unit A"),
        ("[shoot]\ntimecode_rate = \"31\"\n", 2, "timecode_rate"),
        (
            "[[source]]\nname = \"x\"\ninput = 3\n",
            2,
            "of which unit is not said",
        ),
    ] {
        let file = write(&place, "broken.toml", text);
        let run = commontime(&["prep", &file]);
        let words = String::from_utf8_lossy(&run.stderr).into_owned();
        assert_eq!(status(&run), code, "{text}: {words}");
        assert!(
            words.contains(said) && words.contains("broken.toml"),
            "{text}: {words}"
        );
    }
}

/// What a long test measured takes the place of the grades.
#[test]
fn a_clock_history_is_used() {
    let place = Place::new();
    let session = place.path("session.toml");
    assert_eq!(status(&commontime(&["prep", &session, "--new"])), 0);
    let history = write(
        &place,
        "clocks.toml",
        "format = \"commontime-clock-history\"\nversion = 1\n[[measurement]]\nunit = \"SOUTH\"\nagainst = \"NORTH\"\n\
         rate_ppm = 4.0\nsigma_ppm = 0.01\nwander_ppm = 0.02\nseconds = 7200.0\nbasis = \"common-signal\"\n",
    );
    let run = commontime(&["prep", &session, "--history", &history, "--json"]);
    let prep: Value = serde_json::from_slice(&run.stdout).expect("JSON");
    let worst = prep["drift"][0]["worst_ppm"].as_f64().expect("a figure");
    assert!((worst - 4.05).abs() < 1e-9, "{worst}");
}
