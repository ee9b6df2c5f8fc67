//! The sync report held to what its sources say.

use super::*;
use crate::report::{sample, screen};

fn report() -> SyncReport {
    let day = sample::alignment();
    let outputs: Vec<Option<Output>> = day
        .joint_takes
        .iter()
        .map(|joint| Some(sample::output(joint)))
        .collect();
    SyncReport::of(&day, &outputs)
}

#[test]
fn a_receiver_is_told_in_plain_words() {
    let words: Vec<String> = report()
        .takes
        .into_iter()
        .map(|take| take.in_words)
        .collect();
    insta::assert_snapshot!(words.join("\n\n"));
}

#[test]
fn figures_are_those_of_the_alignment() {
    let report = report();
    let [measured, stamped, lost] = &report.takes[..] else {
        panic!("three takes");
    };
    let south = &measured.followers[0];
    assert_eq!(south.basis, Basis::CommonSignal);
    let offset = south.offset.expect("a place");
    assert_eq!((offset.samples, offset.bound_samples), (49_440.0, 0.01));
    let rate = south.rate.expect("a rate");
    // +7.31 ppm over 300 s at 48 kHz
    assert!((rate.over_take_samples - 105.264).abs() < 1e-3);
    assert_eq!((south.ties.found, south.ties.used), (58, 57));
    // the wander that was put in: a tenth of a sample
    let peak = south
        .curve
        .iter()
        .map(|point| point[2].abs())
        .fold(0.0, f64::max);
    assert!((peak - 0.1).abs() < 0.005, "{peak}");
    assert_eq!(stamped.followers[0].slips[0].samples, -1024.0);
    let nowhere = &lost.followers[0];
    assert_eq!(
        (nowhere.offset, nowhere.rate, nowhere.worst_s),
        (None, None, None)
    );
    assert!(nowhere.curve.is_empty() && nowhere.good_for.is_empty());
    assert_eq!(nowhere.came_as, "not-placed");
}

#[test]
fn the_json_gives_the_same_report_again() {
    let report = report();
    let text = report.to_json().expect("written");
    assert_eq!(SyncReport::from_json(&text).expect("read"), report);
}

#[test]
fn another_reader_finds_every_column_of_the_table() {
    let csv = report().to_csv().expect("a table");
    insta::assert_snapshot!(csv.replace("\r\n", "\n"));
}

#[test]
fn the_page_is_well_formed_and_says_what_matters() {
    let page = screen(&report().document(&|name| Some(format!("{name}.report.html"))));
    let text = page.replacen("<!DOCTYPE html>\n", "", 1);
    let tree = roxmltree::Document::parse(&text).expect("well-formed");
    let words: String = tree.descendants().filter_map(|node| node.text()).collect();
    for part in [
        "common-signal",
        "not established",
        "1024 missing",
        "2 in their places, 1 not",
    ] {
        assert!(words.contains(part), "{part}");
    }
    let ids: Vec<&str> = tree
        .descendants()
        .filter_map(|node| node.attribute("id"))
        .collect();
    let distinct: std::collections::BTreeSet<&&str> = ids.iter().collect();
    assert_eq!(ids.len(), distinct.len(), "{ids:?}");
}

#[test]
fn reports_of_one_day_come_together_in_order() {
    let mut first = report();
    let mut second = report();
    for (number, take) in first.takes.iter_mut().enumerate() {
        take.start_label = format!("12:0{number}:00:00");
    }
    for take in &mut second.takes {
        take.name.push_str("-b");
        take.start_label = "11:00:00:00".into();
    }
    let all = SyncReport::merged(vec![first, second]).expect("some");
    assert_eq!(all.takes.len(), 6);
    assert!(all.takes[0].name.ends_with("-b") && all.takes[5].name == "evening-04");
    assert_eq!(SyncReport::merged(Vec::new()), None);
}
