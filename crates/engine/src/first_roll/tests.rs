//! First rolls of the rehearsal in, judged as they were made.

use rehearsal::Shoot;
use rehearsal::scenes::{CommonSignal, common_signal};

use super::*;
use crate::progress::Silent;
use crate::take::scan;

fn rolled_of(shoot: &Shoot) -> (FirstRoll, rehearsal::Truth, tempfile::TempDir) {
    let root = tempfile::tempdir().expect("temporary folder");
    let truth = shoot.write(root.path()).expect("written");
    let cards: Vec<_> = shoot
        .units
        .iter()
        .map(|unit| root.path().join(&unit.name))
        .collect();
    let survey = scan(&cards, &Silent).expect("surveyed").value;
    let roll = first_roll(&survey, &Options::default(), &Silent).expect("judged");
    (roll, truth, root)
}

fn shoot(seconds: f64) -> Shoot {
    common_signal(&CommonSignal {
        seconds,
        ..CommonSignal::default()
    })
}

fn codes(roll: &FirstRoll) -> Vec<&str> {
    roll.findings
        .iter()
        .map(|finding| finding.code.as_str())
        .collect()
}

#[test]
fn linked_units_with_a_common_signal_are_ready_for_arrays() {
    let (roll, truth, _root) = rolled_of(&shoot(15.0));
    assert_eq!(roll.ready, Ready::Arrays, "{roll:#?}");
    assert!(
        roll.verdict.starts_with("ready for arrays: SOUTH"),
        "{}",
        roll.verdict
    );
    let (south, meant) = (&roll.followers[0], truth.unit("SOUTH").expect("SOUTH"));
    let began = south.began_s.expect("a place");
    assert!(
        (began - meant.offset_samples / 48_000.0).abs() < 1e-6,
        "{began}"
    );
    let [ppm, within] = south.rate_ppm.expect("a clock");
    assert!(
        (ppm - meant.rate_ppm).abs() <= within.max(0.01),
        "{ppm} ±{within}"
    );
    assert_eq!([4.2, 0.31, 0.0043].map(decimals_of), [1, 2, 4]);
    assert!(!codes(&roll).contains(&"old-takes"));
    assert!(
        south.words().contains("after the lead"),
        "{}",
        south.words()
    );
}

#[test]
fn units_whose_stamps_are_an_hour_apart_are_not_linked() {
    let mut shoot = shoot(15.0);
    // SOUTH's own clock: an hour behind, nearly
    shoot.units[1].stamp.jam_error_s -= 3588.0;
    let (roll, _, _root) = rolled_of(&shoot);
    assert_eq!(roll.ready, Ready::Not, "{roll:#?}");
    let finding = roll
        .findings
        .iter()
        .find(|finding| finding.code == "not-linked");
    let finding = finding.unwrap_or_else(|| panic!("{:?}", codes(&roll)));
    assert!(finding.cause.contains("own clock"), "{finding:?}");
    assert!(roll.verdict.starts_with("not ready"), "{}", roll.verdict);
}

/// A test is made again, not decided: nothing in it sends a person to a file that a first roll does not write.
#[test]
fn a_unit_that_lost_its_jam_is_told_to_be_linked_again() {
    let mut shoot = shoot(25.0);
    for unit in &mut shoot.units {
        unit.channels.truncate(1);
    }
    shoot.units[1].stamp.jam_error_s -= 9.0;
    let (roll, _, _root) = rolled_of(&shoot);
    assert!(!roll.lead.is_empty());
    for finding in &roll.findings {
        assert!(
            !finding.next_step.contains("alignment.json") && !finding.next_step.contains("--tie"),
            "{finding:?}"
        );
    }
    let again = roll
        .findings
        .iter()
        .any(|one| one.next_step.contains("roll once more"));
    assert!(again, "{:#?}", roll.findings);
    let usual = roll.followers[0].words().contains("as followers that wait");
    assert_eq!(usual, roll.followers[0].ready > Ready::Not);
}

#[test]
fn a_roll_of_two_seconds_is_told_to_be_short() {
    let (roll, _, _root) = rolled_of(&shoot(3.0));
    assert!(
        codes(&roll).contains(&"roll-too-short"),
        "{:?}",
        codes(&roll)
    );
}
