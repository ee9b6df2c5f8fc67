//! The sound report held to what its sources say.

use super::*;
use crate::report::{sample, screen};

fn report() -> SoundReport {
    let joint = sample::common_signal();
    let output = sample::output(&joint);
    let mut alone = sample::not_established();
    alone.name = "Übung \u{201e}früh\u{201c} <2>".into();
    let day = sample::day(vec![joint, alone]);
    SoundReport::of(&day, &[Some(output), None])
}

#[test]
fn what_stands_in_the_files_stands_in_the_report_and_nothing_else() {
    let report = report();
    let [built, alone] = &report.takes[..] else {
        panic!("two takes");
    };
    assert_eq!(
        (built.scene.as_str(), built.note.as_str()),
        ("12A", "third verse")
    );
    // nobody wrote these down
    assert_eq!(
        (
            built.take.as_str(),
            built.circled.as_str(),
            built.roll.as_str()
        ),
        ("", "", "")
    );
    assert!(report.productions.is_empty() && report.rolls.is_empty());
    assert_eq!(
        built.tracks.len(),
        sample::output(&sample::common_signal()).files[0]
            .channels
            .len()
    );
    assert!(alone.files.is_empty() && alone.tracks.is_empty());
    assert!(!alone.not_placed.is_empty());
}

#[test]
fn the_json_is_read_back_by_any_reader() {
    let text = report().to_json().expect("written");
    let read: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    assert_eq!(read["format"], "commontime-sound-report");
    assert_eq!(read["takes"][1]["name"], "Übung \u{201e}früh\u{201c} <2>");
    assert_eq!(read["takes"][0]["tracks"][0]["number"], 1);
}

#[test]
fn the_sheet_is_well_formed_and_links_to_every_take() {
    let html = screen(&report().document(&|name| Some(format!("{name}.report.html"))));
    let text = html.replacen("<!DOCTYPE html>\n", "", 1);
    let tree = roxmltree::Document::parse(&text).expect("well-formed");
    let links: Vec<&str> = tree
        .descendants()
        .filter_map(|node| node.attribute("href"))
        .collect();
    assert_eq!(links.len(), 2);
    assert_eq!(links[1], "Übung \u{201e}früh\u{201c} <2>.report.html");
    let words: String = tree.descendants().filter_map(|node| node.text()).collect();
    assert!(words.contains("third verse") && words.contains("nothing was built"));
}

#[test]
fn the_json_gives_the_same_report_again() {
    let report = report();
    let text = report.to_json().expect("written");
    assert_eq!(SoundReport::from_json(&text).expect("read"), report);
}

#[test]
fn the_sheet_says_what_it_said() {
    insta::assert_snapshot!(screen(&report().document(&|_| None)));
}

/// A day of three takes, one alone, one without a time.
#[test]
fn the_map_of_the_day_shows_what_ran_when() {
    let mut day = sample::day(vec![sample::common_signal(), sample::not_established()]);
    let alone = |unit: &str, start: Option<u64>| crate::alignment::AloneTake {
        unit: unit.into(),
        take: "T09".into(),
        date: "2031-05-04".into(),
        samples_since_midnight: start,
        sample_rate: 96_000,
        length_samples: 96_000 * 60,
    };
    day.alone = vec![alone("SOUTH", Some(96_000 * 36_600)), alone("WEST", None)];
    let report = SoundReport::of(&day, &[None, None]);
    let document = report.document(&|_| None);
    let page = screen(&document);
    let text = page.replacen("<!DOCTYPE html>\n", "", 1);
    let tree = roxmltree::Document::parse(&text).expect("well-formed");
    let map = tree
        .descendants()
        .find(|node| node.has_tag_name("svg") && node.attribute("class") == Some("wide"))
        .expect("a map");
    let bars: Vec<[f64; 2]> = map
        .descendants()
        .filter(|node| node.has_tag_name("rect"))
        .map(|node| {
            let number = |name| node.attribute(name).and_then(|text| text.parse().ok());
            [number("x").expect("x"), number("width").expect("width")]
        })
        .collect();
    // NORTH twice from 10:00 for 300 s, SOUTH once 1.03 s later, SOUTH alone from 10:10 for 60 s; WEST has no time, and where
    // SOUTH lies in the second recording is not established
    assert_eq!(bars.len(), 4, "{bars:?}");
    let per_second = bars[0][1] / 300.0;
    let near = |found: f64, meant: f64| assert!((found - meant).abs() < 0.05, "{found} {meant}");
    near(bars[2][0] - bars[0][0], 1.03 * per_second);
    near(bars[3][0] - bars[0][0], 600.0 * per_second);
    near(bars[3][1], 60.0 * per_second);
    let said = tree
        .descendants()
        .filter_map(|node| node.text())
        .collect::<String>();
    assert!(said.contains("for want of a time: 1 take"), "{said}");
}

#[test]
fn pieces_of_a_day_come_together() {
    let mut later = report();
    later
        .takes
        .iter_mut()
        .for_each(|take| take.name.push_str(" (later)"));
    later.productions = vec!["Another".into()];
    let all = SoundReport::merged(vec![later, report()]).expect("some");
    assert_eq!((all.takes.len(), all.productions.len()), (4, 1));
    assert_eq!(
        all.units
            .iter()
            .find(|unit| unit.name == "NORTH")
            .map(|unit| unit.takes),
        Some(4)
    );
}
