//! Hand-made alignments in, what `explain` says of them, word for word.

use super::*;
use crate::report::sample;

fn said(place: &str) -> String {
    explain(&sample::alignment(), Some(place)).expect("a place that is there")
}

fn refused(place: &str) -> String {
    explain(&sample::alignment(), Some(place))
        .expect_err("no such place")
        .to_string()
}

#[test]
fn without_a_place_it_says_what_can_be_asked() {
    insta::assert_snapshot!(explain(&sample::alignment(), None).expect("an overview"), @"");
}

#[test]
fn an_offset_leads_to_its_ties() {
    insta::assert_snapshot!(said("evening-02/SOUTH/offset"), @"");
}

#[test]
fn a_rate_can_be_checked_on_its_first_and_last_tie() {
    insta::assert_snapshot!(said("evening-02/south/RATE"), @"");
}

#[test]
fn a_moment_has_its_knots_and_ties() {
    insta::assert_snapshot!(said("evening-02/SOUTH/clock@2:30"), @"");
}

#[test]
fn what_was_not_established_says_what_was_asked() {
    insta::assert_snapshot!(said("evening-04/SOUTH"), @"");
    insta::assert_snapshot!(said("evening-04/SOUTH/offset"), @"");
}

#[test]
fn the_lead_explains_itself() {
    assert!(said("evening-02/NORTH/offset").contains("this is the lead"));
    assert!(said("evening-02/findings").contains("the common signal decides"));
    assert!(said("evening-03/findings").contains("none"));
    assert!(said("evening-03/SOUTH/ties").contains("no ties"));
}

#[test]
fn a_wrong_word_is_answered_with_the_right_ones() {
    for (place, words) in [
        ("evening-9", "there is: evening-02, evening-03, evening-04"),
        ("evening-02/WEST/offset", "there is: NORTH, SOUTH, findings"),
        ("evening-02/SOUTH/colour", "ask for: offset, rate"),
        ("evening-02/SOUTH/clock@noon", "clock@12:30"),
        ("evening-02/SOUTH/clock@1:2:3:4", "clock@12:30"),
        ("é", "there is: evening-02"),
    ] {
        let refused = refused(place);
        assert!(refused.contains(words), "{place}: {refused}");
    }
}

#[test]
fn times_read_as_people_write_them() {
    for (text, seconds) in [
        ("90", 90.0),
        ("12:30", 750.0),
        ("1:00:00.5", 3600.5),
        ("", 0.0),
    ] {
        assert_eq!(time_s(text).expect(text), seconds);
    }
    assert!(time_s("-1").is_err());
}
