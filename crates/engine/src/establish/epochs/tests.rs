//! What is said of stamps that are wrong in known ways.

use timecode::FrameRate;

use super::*;
use crate::pair::tests::{survey, take};

/// What is said of a unit whose takes, 20 minutes apart from 10:00 on, have stamps too early by `difference` of the
/// time of day; the lead counts 29.97 non-drop, the unit as given.
fn said(drop_frame: bool, within_s: f64, difference: impl Fn(usize, f64) -> f64) -> Vec<Finding> {
    let counted = |name: &str, stamp_s: f64, drop_frame: bool| {
        let mut take = take(name, stamp_s, 60.0);
        if let Some(stamp) = &mut take.stamp {
            stamp.counting = Counting::new(FrameRate::F29_97, drop_frame).ok();
        }
        take
    };
    let starts: Vec<f64> = (0..6).map(|i| 36_000.0 + 1200.0 * f64::from(i)).collect();
    let (mut north, mut south) = (Vec::new(), Vec::new());
    for (i, &start_s) in starts.iter().enumerate() {
        north.push(counted(&format!("N{}", i + 1), start_s, false));
        let stamp_s = start_s - difference(i, start_s);
        south.push(counted(&format!("S{}", i + 1), stamp_s, drop_frame));
    }
    let survey = survey(vec![("NORTH", north), ("SOUTH", south)]);
    let (lead, unit) = (&survey.units[0], &survey.units[1]);
    let entries: Vec<Entry<'_>> = unit
        .takes
        .iter()
        .zip(&starts)
        .enumerate()
        .map(|(i, (take, &at_s))| Entry {
            take,
            at_s,
            difference_s: difference(i, at_s),
            within_s,
        })
        .collect();
    told(lead, unit, &entries)
}

#[test]
fn right_stamps_and_a_slow_crystal_say_nothing() {
    // 12 ppm over a hundred minutes are 72 ms, little by little
    let findings = said(false, 0.034, |_, at_s| 12e-6 * (at_s - 36_000.0));
    assert!(findings.is_empty(), "{findings:#?}");
}

#[test]
fn drop_frame_labels_read_as_non_drop_grow_by_3_6036_s_an_hour() {
    // 108 labels of 1001/30000 s an hour (SMPTE ST 12-1:2014, 5.2.2; needs, section 5d): 36.036 s at ten o'clock
    let findings = said(true, 0.001, |_, at_s| DROPPED * at_s / (1.0 + DROPPED));
    assert_eq!(findings.len(), 1, "{findings:#?}");
    assert!(
        findings[0].message.contains("3.6036 s for every hour"),
        "{findings:#?}"
    );
    assert!(findings[0].message.contains("drop-frame"));
    assert!(findings[0].value.starts_with("+36.0"), "{findings:#?}");
}

#[test]
fn a_changed_jam_makes_epochs_and_each_is_explained() {
    let findings = said(false, 0.034, |take, _| {
        [0.0, 0.0, 3600.0, 3600.0, -8.2, -8.2][take]
    });
    let codes: Vec<&str> = findings.iter().map(|f| f.code.as_str()).collect();
    assert_eq!(
        codes,
        [
            "jam-changed",
            "jam-changed",
            "stamps-explained",
            "stamps-explained"
        ]
    );
    assert!(
        findings[0].message.contains("between S2 and S3"),
        "{findings:#?}"
    );
    assert!(
        findings[2].message.contains("exactly 1 h too early"),
        "{findings:#?}"
    );
    assert_eq!(findings[2].place, "SOUTH S3 to S4");
    assert!(
        findings[3].message.contains("8.20 s too late"),
        "{findings:#?}"
    );
}

#[test]
fn a_timecode_frame_is_named_and_half_of_one_is_not() {
    let one_s = 1001.0 / 30_000.0;
    let findings = said(false, 1e-4, |_, _| one_s);
    assert!(
        findings[0].message.contains("one timecode frame too early"),
        "{findings:#?}"
    );
    assert_eq!(findings[0].weight, Weight::Note);
    let findings = said(false, 1e-4, |_, _| 0.5 * one_s);
    assert!(
        !findings[0].message.contains("timecode frame too"),
        "{findings:#?}"
    );
}

#[test]
fn takes_that_follow_on_by_stamps_only_are_record_run() {
    // 60 s takes 20 minutes apart whose stamps stand 60 s apart
    let findings = said(false, 0.034, |take, _| 1140.0 * take as f64);
    assert_eq!(findings.len(), 1, "{findings:#?}");
    assert_eq!(findings[0].code, "record-run");
}
