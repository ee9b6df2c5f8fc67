//! `commontime timecode` as a person types it, against values of SMPTE ST 12-1 and of the fractions themselves.

mod shoots;

use serde_json::Value;
use shoots::{commontime, status};

fn json(words: &[&str]) -> Value {
    let run = commontime(&[&["timecode", "--json"], words].concat());
    assert_eq!(status(&run), 0, "{}", String::from_utf8_lossy(&run.stderr));
    serde_json::from_slice(&run.stdout).expect("JSON")
}

#[test]
fn an_instant_is_told_at_every_rate() {
    let told = json(&["01:00:00;00"]);
    assert_eq!(told["counting"], "30000/1001 DF");
    assert_eq!(told["samples"]["fraction"], "863999136/5");
    assert_eq!(told["dropped_labels"], 108);
    let others = told["same_instant"].as_array().expect("a list");
    assert_eq!(others.len(), 14);
    // without a rate and without `;` 30 labels a second serve for sound without picture (common practice, no source)
    assert_eq!(json(&["1728000000", "samples"])["label"], "10:00:00:00");
    assert_eq!(json(&["1728000000 samples"])["counting"], "30/1 NDF");
}

#[test]
fn sums_and_rates_are_worked_out() {
    let span = json(&["00:01:00;02", "-", "00:00:59;29"]);
    assert_eq!(span["timecode_frames"], 1);
    let later = json(&["10:00:00:00", "+", "90", "seconds", "--rate", "24"]);
    assert_eq!(later["label"], "10:01:30:00");
    let drift = json(&["-2.5", "ppm", "--rate", "25"]);
    assert_eq!(drift["timecode_frames_a_day"], -5.4);
    assert_eq!(drift["apart"].as_array().expect("a list").len(), 5);
}

#[test]
fn words_are_plain_and_complete() {
    let run = commontime(&["timecode", "10:00:00;00"]);
    let said = String::from_utf8_lossy(&run.stdout);
    for expected in [
        "10:00:00;00 at 29.97 DF: timecode frame 1078920 of the day, 35999.964 s after midnight.",
        "Drop-frame leaves out labels, never sound: 2 labels at the start of every minute but",
        "1080 of them so far today.",
        "Read as a clock the label is 0.036 s ahead of the time of day.",
        "48000 Hz becomes ~47952.047952 Hz",
    ] {
        assert!(said.contains(expected), "{expected:?} in\n{said}");
    }
}

#[test]
fn what_cannot_be_worked_out_is_refused() {
    for (words, expected) in [
        (vec!["00:01:00;00"], "drop-frame counting skips it"),
        (vec!["10", "parsecs"], "nothing to work out"),
        (
            vec!["10:00:00:00", "--rate", "26"],
            "no timecode frame rate",
        ),
        (
            vec!["10:00:00:00", "--rate", "25 DF"],
            "drop-frame counting needs",
        ),
    ] {
        let run = commontime(&[vec!["timecode"], words].concat());
        let said = String::from_utf8_lossy(&run.stderr);
        assert_eq!(status(&run), 2, "{said}");
        assert!(said.contains(expected), "{expected:?} in {said}");
    }
}
