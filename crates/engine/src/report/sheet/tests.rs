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
