//! What dates and order tell: two days with the same time of day, and units without usable stamps.

use super::*;

#[test]
fn dates_tell_two_days_apart() {
    let day =
        |name: &str, date: &str| dated(take(name, 36_000.0, 600.0), &format!("{date}T10:00:00"));
    let shoot = two(
        vec![day("N1", "2026-05-04"), day("N2", "2026-05-05")],
        vec![day("S1", "2026-05-04"), day("S2", "2026-05-05")],
    );
    let found = joint_takes(&shoot, 0, &[]);
    assert_eq!(
        pairs(&found),
        [pair("N1", "S1", 0.0), pair("N2", "S2", 0.0)]
    );
    assert!(found.findings.is_empty(), "{:#?}", found.findings);
    // the follower's date was never set; that it goes on by a day still tells
    let shoot = two(
        vec![day("N1", "2026-05-04"), day("N2", "2026-05-05")],
        vec![day("S1", "2008-12-25"), day("S2", "2008-12-26")],
    );
    let found = joint_takes(&shoot, 0, &[]);
    assert_eq!(
        pairs(&found),
        [pair("N1", "S1", 0.0), pair("N2", "S2", 0.0)]
    );
    assert_eq!(codes(&found), ["calendars-differ"]);
    assert_eq!(found.findings[0].weight, Weight::Note);
    assert!(
        found.findings[0].value.starts_with("-6339 days"),
        "{:?}",
        found.findings[0]
    );
    // nothing tells
    let bare = |name: &str| take(name, 36_000.0, 600.0);
    let shoot = two(vec![bare("N1"), bare("N2")], vec![bare("S1"), bare("S2")]);
    let found = joint_takes(&shoot, 0, &[]);
    assert_eq!(found.value.len(), 2);
    assert!(
        codes(&found)
            .iter()
            .all(|code| *code == "pairing-ambiguous")
    );
    let undecided = |joint: &Joint| {
        joint
            .followers
            .iter()
            .all(|f| f.undecided[0].weight == Weight::Ask)
    };
    assert!(found.value.iter().all(undecided));
}

#[test]
fn a_take_of_another_day_needs_a_decision() {
    let at = |name: &str, hour: f64, date: &str| {
        dated(
            take(name, hour * HOUR, 600.0),
            &format!("{date}T{:02}:00:00", hour as u64),
        )
    };
    let today = "2026-05-04";
    let shoot = two(
        vec![
            at("N1", 10.0, today),
            at("N2", 11.0, today),
            at("N3", 12.0, today),
        ],
        vec![
            at("S1", 10.0, today),
            at("S2", 11.0, today),
            at("S3", 12.0, "2026-05-05"),
        ],
    );
    let found = joint_takes(&shoot, 0, &[]);
    assert_eq!(found.value.len(), 3);
    assert_eq!(codes(&found), ["paired-over-days"]);
    assert!(
        found.findings[0].value.starts_with("+1.0 days"),
        "{:?}",
        found.findings[0]
    );
    assert!(found.value[1].followers[0].undecided.is_empty());
    assert_eq!(found.value[2].followers[0].undecided.len(), 1);
}

#[test]
fn midnight_between_two_dates_is_no_other_day() {
    let shoot = two(
        vec![dated(take("N1", 85_800.0, 1800.0), "2026-05-04T23:50:00")],
        vec![dated(take("S1", 60.0, 600.0), "2026-05-05T00:01:00")],
    );
    let found = joint_takes(&shoot, 0, &[]);
    assert_eq!(pairs(&found), [pair("N1", "S1", 660.0)]);
    assert!(found.findings.is_empty(), "{:#?}", found.findings);
}

#[test]
fn an_hour_on_the_calendar_changes_nothing() {
    let shoot = two(
        vec![dated(take("N1", 36_000.0, 600.0), "2026-05-04T10:00:00")],
        vec![dated(take("S1", 36_001.0, 600.0), "2026-05-04T09:00:01")],
    );
    let found = joint_takes(&shoot, 0, &[]);
    assert_eq!(pairs(&found), [pair("N1", "S1", 1.0)]);
    assert_eq!(finding(&found, "calendars-differ").value, "-3600 s");
}

#[test]
fn without_stamps_order_serves_when_it_is_the_same() {
    let north = || vec![take("N1", 1000.0, 60.0), take("N2", 2000.0, 60.0)];
    let shoot = two(
        north(),
        vec![
            unstamped(take("S1", 0.0, 60.0)),
            unstamped(take("S2", 0.0, 60.0)),
        ],
    );
    let found = joint_takes(&shoot, 0, &[]);
    let none = |lead: &str, take: &str| (lead.to_string(), take.to_string(), None);
    assert_eq!(pairs(&found), [none("N1", "S1"), none("N2", "S2")]);
    assert_eq!(codes(&found), ["paired-by-order", "paired-by-order"]);
    // one more on one side, and no dates: nothing to go by
    let shoot = two(north(), vec![unstamped(take("S1", 0.0, 60.0))]);
    let found = joint_takes(&shoot, 0, &[]);
    assert!(found.value.is_empty());
    assert_eq!(finding(&found, "cannot-pair").weight, Weight::Ask);
}

#[test]
fn without_stamps_dates_serve_when_the_order_differs() {
    let north = vec![
        dated(take("N1", 1000.0, 60.0), "2026-05-04T10:00:00"),
        dated(take("N2", 2000.0, 60.0), "2026-05-04T11:00:00"),
    ];
    let south = vec![dated(
        unstamped(take("S1", 0.0, 60.0)),
        "2026-05-04T11:00:07",
    )];
    let shoot = two(north, south);
    let found = joint_takes(&shoot, 0, &[]);
    assert_eq!(pairs(&found), [("N2".into(), "S1".into(), None)]);
    assert_eq!(
        found.value[0].followers[0].by_calendar,
        Some(LeadPos(7.0 * 48_000.0))
    );
    assert_eq!(codes(&found), ["paired-by-calendar", "ran-alone"]);
}

#[test]
fn stamps_of_a_unit_in_record_run_are_not_used() {
    let mut shoot = two(
        vec![take("N1", 1000.0, 60.0), take("N2", 1060.0, 60.0)],
        vec![take("S1", 1030.0, 60.0), take("S2", 1090.0, 60.0)],
    );
    // by stamps S1 would run during both
    assert_eq!(pairs(&joint_takes(&shoot, 0, &[])).len(), 3);
    shoot.units[1].timecode = Timecode::RecordRun;
    let found = joint_takes(&shoot, 0, &[]);
    let none = |lead: &str, take: &str| (lead.to_string(), take.to_string(), None);
    assert_eq!(pairs(&found), [none("N1", "S1"), none("N2", "S2")]);
}
