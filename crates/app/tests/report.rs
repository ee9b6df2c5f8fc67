//! `report` through the real binary: from a folder of recordings, from pieces of a day, from an alignment, from what is none.

mod shoots;

use std::path::Path;

use serde_json::Value;
use shoots::{Place, commontime, short_shoot, status};

const PAPERS: [&str; 8] = [
    "sound-report.json",
    "sound-report.csv",
    "sound-report.html",
    "sound-report.pdf",
    "sync-report.json",
    "sync-report.csv",
    "sync-report.html",
    "sync-report.pdf",
];

fn bytes(folder: &Path, name: &str) -> Vec<u8> {
    let path = folder.join(name);
    std::fs::read(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

fn said(run: &std::process::Output) -> String {
    String::from_utf8_lossy(&run.stderr).into_owned()
}

#[test]
fn reports_are_made_again_from_their_own_data() {
    let place = Place::new();
    short_shoot(20.0).write(&place.cards()).expect("a shoot");
    let run = place.join(&["--no-quality"]);
    assert_eq!(status(&run), 0, "{}", said(&run));
    let (out, again) = (place.out_path(), place.path("again"));
    let out_text = out.display().to_string();
    let run = commontime(&["report", &out_text, "--out", &again]);
    assert_eq!(status(&run), 0, "{}", said(&run));
    for name in PAPERS {
        let (first, second) = (bytes(&out, name), bytes(Path::new(&again), name));
        // pages link to the recordings' own pages, which lie in the first folder only
        match name.ends_with(".html") {
            true => assert!(
                !String::from_utf8_lossy(&second).contains("href="),
                "{name}"
            ),
            false => assert!(first == second, "{name} is another"),
        }
    }
    // nothing is written over unasked
    let run = commontime(&["report", &out_text, "--out", &again]);
    assert_eq!(status(&run), 2, "{}", said(&run));
    assert!(said(&run).contains("sound-report.json"), "{}", said(&run));
    let run = commontime(&["report", &out_text, "--out", &again, "--replace"]);
    assert_eq!(status(&run), 0, "{}", said(&run));
    // without a folder it says what a receiver has to know
    let run = commontime(&["report", &out_text]);
    let words = String::from_utf8_lossy(&run.stdout).into_owned();
    assert!(
        words.contains("on one clock, NORTH's") && words.contains("SOUTH began"),
        "{words}"
    );
    // an alignment alone: what was measured, nothing built
    let alignment = out.join("alignment.json").display().to_string();
    let run = commontime(&["report", &alignment, "--json"]);
    let day: Value = serde_json::from_slice(&run.stdout).expect("JSON");
    assert_eq!(day["sound"]["takes"][0]["files"], serde_json::json!([]));
    assert_eq!(day["sync"]["takes"][0]["followers"][0]["unit"], "SOUTH");
    // the same day twice
    let run = commontime(&["report", &out_text, &alignment]);
    assert_eq!(status(&run), 2, "{}", said(&run));
    assert!(
        said(&run).contains("is in two of the files"),
        "{}",
        said(&run)
    );
}

#[test]
fn what_is_no_report_is_told() {
    let place = Place::new();
    short_shoot(8.0).write(&place.cards()).expect("a shoot");
    let cards = place.cards().display().to_string();
    let run = commontime(&["report", &cards]);
    assert_eq!(status(&run), 2, "{}", said(&run));
    assert!(
        said(&run).contains("holds no report and no alignment"),
        "{}",
        said(&run)
    );
    let truth = place.cards().join("truth.json").display().to_string();
    let run = commontime(&["report", &truth]);
    assert!(
        said(&run).contains("truth.json") && said(&run).contains("no report"),
        "{}",
        said(&run)
    );
    assert_eq!(status(&run), 3);
    let run = commontime(&["report", &truth, "--font", &truth]);
    assert!(
        said(&run).contains("no TrueType or OpenType font"),
        "{}",
        said(&run)
    );
}
