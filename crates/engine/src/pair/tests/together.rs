//! Which takes ran together by their stamps, who leads, and what the outputs are called.

use super::*;

#[test]
fn the_lead_is_the_user_s_or_the_widest_or_the_first() {
    let wide = |stamp_s| Take {
        channels: vec![String::new(); 6],
        ..take("T", stamp_s, 60.0)
    };
    let of = |units, named| choose_lead(&survey(units), named).map_err(|error| error.kind());
    let units = || {
        vec![
            ("NORTH", vec![take("T", 1.0, 60.0)]),
            ("SOUTH", vec![wide(2.0)]),
            ("EMPTY", Vec::new()),
        ]
    };
    assert_eq!(of(units(), None), Ok(1), "most channels");
    assert_eq!(of(units(), Some("north")), Ok(0));
    assert_eq!(of(units(), Some("WEST")), Err(Kind::Usage));
    assert_eq!(of(units(), Some("EMPTY")), Err(Kind::Usage));
    assert_eq!(
        of(vec![("A", vec![wide(9.0)]), ("B", vec![wide(8.0)])], None),
        Ok(1),
        "earliest"
    );
    let fast = Take {
        rate: SampleRate(96_000),
        ..wide(15.0)
    };
    assert_eq!(
        of(vec![("A", vec![wide(8.0)]), ("B", vec![fast])], None),
        Ok(1),
        "7.5 s at 96 kHz"
    );
    assert_eq!(
        of(vec![("A", vec![wide(9.0)]), ("B", vec![wide(9.0)])], None),
        Ok(0),
        "first card"
    );
    assert_eq!(
        of(
            vec![("A", vec![unstamped(wide(9.0))]), ("B", vec![wide(9.0)])],
            None
        ),
        Ok(1)
    );
    assert_eq!(of(Vec::new(), None), Err(Kind::Format));
    let error = choose_lead(&survey(units()), Some("WEST"))
        .expect_err("none")
        .to_string();
    assert!(error.contains("NORTH, SOUTH"), "{error}");
}

#[test]
fn the_rule_that_chose_the_lead_is_said() {
    let wide = |stamp_s| Take {
        channels: vec![String::new(); 6],
        ..take("T", stamp_s, 60.0)
    };
    let rule = |units, named| {
        let survey = survey(units);
        let lead = choose_lead(&survey, named).expect("a lead");
        lead_rule(&survey, lead, named)
    };
    let units = || vec![("A", vec![take("T", 1.0, 9.0)]), ("B", vec![wide(2.0)])];
    assert_eq!(rule(units(), None), "most channels (6, the next has 2)");
    assert_eq!(rule(units(), Some("a")), "named with --lead");
    let first = rule(vec![("A", vec![wide(9.0)]), ("B", vec![wide(8.0)])], None);
    assert_eq!(
        first,
        "among the units with most channels (6) its takes start first"
    );
    let alike = rule(vec![("A", vec![wide(9.0)]), ("B", vec![wide(9.0)])], None);
    assert!(alike.ends_with("the first card given"), "{alike}");
    let alone = rule(vec![("A", vec![wide(9.0)]), ("EMPTY", Vec::new())], None);
    assert_eq!(alone, "the only unit with a recording");
}

#[test]
fn offsets_are_positive_when_the_follower_started_later() {
    let shoot = two(
        vec![take("N1", 36_000.0, 60.0)],
        vec![take("S1", 36_001.03, 60.0)],
    );
    let found = joint_takes(&shoot, 0, &[]);
    assert_eq!(
        found.value[0].followers[0].by_stamps,
        Some(LeadPos(49_440.0))
    );
    assert!(found.findings.is_empty(), "{:#?}", found.findings);
    let found = joint_takes(&shoot, 1, &[]);
    assert_eq!(
        found.value[0].followers[0].by_stamps,
        Some(LeadPos(-49_440.0))
    );
}

#[test]
fn midnight_is_no_border() {
    // NORTH rolls from 23:50:00, SOUTH starts at 00:01:00 and at 00:00:00: eleven and ten minutes later
    let night = || take("N1", 85_800.0, 1800.0);
    let shoot = two(
        vec![night()],
        vec![take("S0", 0.0, 30.0), take("S1", 60.0, 600.0)],
    );
    assert_eq!(
        pairs(&joint_takes(&shoot, 0, &[])),
        [pair("N1", "S0", 600.0), pair("N1", "S1", 660.0)]
    );
    // seen from the other side: NORTH began eleven minutes before
    let shoot = two(vec![take("S1", 60.0, 600.0)], vec![night()]);
    assert_eq!(
        pairs(&joint_takes(&shoot, 0, &[])),
        [pair("S1", "N1", -660.0)]
    );
    // both before midnight, both after
    let shoot = two(vec![night()], vec![take("S1", 85_801.0, 1800.0)]);
    assert_eq!(pairs(&joint_takes(&shoot, 0, &[])), [pair("N1", "S1", 1.0)]);
}

#[test]
fn a_day_is_as_long_as_its_counting_says() {
    // 29.97 non-drop: 24 label-hours are 86486.4 s; drop-frame 86399.9136 s (SMPTE ST 12-1, 5.2)
    for (rate, drop, day_s) in [
        (FrameRate::F29_97, false, 86_486.4),
        (FrameRate::F29_97, true, 86_399.913_6),
    ] {
        let shoot = two(
            vec![counted(take("N1", 86_000.0, 1800.0), rate, drop)],
            vec![counted(take("S1", 60.0, 600.0), rate, drop)],
        );
        let found = joint_takes(&shoot, 0, &[]);
        let offset = found.value[0].followers[0].by_stamps.expect("stamped").0;
        assert!(
            (offset - (day_s - 86_000.0 + 60.0) * 48_000.0).abs() < 1e-6,
            "{offset}"
        );
    }
}

#[test]
fn units_of_other_rates_are_placed_by_time() {
    let fast = |name: &str, samples: u64| {
        let mut take = take(name, 0.0, 120.0);
        take.rate = SampleRate(96_000);
        take.stamp.as_mut().expect("stamped").samples = samples;
        take
    };
    // 10:00:00 at 96 kHz and one sample of it: half a sample of the lead
    let shoot = two(
        vec![take("N1", 36_000.0, 60.0)],
        vec![fast("S1", 3_456_000_001)],
    );
    let found = joint_takes(&shoot, 0, &[]);
    let follower = &found.value[0].followers[0];
    assert_eq!(follower.by_stamps, Some(LeadPos(0.5)));
    assert_eq!(follower.resolution, 0.5);
    let mut slow = fast("S1", 36_000 * 44_100 + 1);
    slow.rate = SampleRate(44_100);
    let shoot = two(vec![take("N1", 36_000.0, 60.0)], vec![slow]);
    let offset = joint_takes(&shoot, 0, &[]).value[0].followers[0]
        .by_stamps
        .expect("stamped")
        .0;
    assert!((offset - 48_000.0 / 44_100.0).abs() < 1e-9, "{offset}");
}

#[test]
fn a_unit_may_stop_and_start_again() {
    let shoot = survey(vec![
        (
            "NORTH",
            vec![take("N1", 1000.0, 100.0), take("N2", 1200.0, 100.0)],
        ),
        // out of order, a short one, and one take over both of the lead's
        (
            "SOUTH",
            vec![
                take("S2", 1050.0, 40.0),
                take("S1", 1002.0, 12.0),
                take("S3", 1260.0, 10.0),
            ],
        ),
        ("WEST", vec![take("W1", 990.0, 400.0)]),
    ]);
    let found = joint_takes(&shoot, 0, &[]);
    assert_eq!(
        pairs(&found),
        [
            pair("N1", "S1", 2.0),
            pair("N1", "S2", 50.0),
            pair("N1", "W1", -10.0),
            pair("N2", "S3", 60.0),
            pair("N2", "W1", -210.0),
        ]
    );
    assert!(found.findings.is_empty(), "{:#?}", found.findings);
}

#[test]
fn takes_that_ran_alone_are_told_and_the_rest_is_joined() {
    let shoot = two(
        vec![take("N1", 1000.0, 60.0), take("N2", 5000.0, 60.0)],
        vec![take("S1", 1000.0, 60.0), take("S2", 9000.0, 60.0)],
    );
    let found = joint_takes(&shoot, 0, &[]);
    assert_eq!(pairs(&found), [pair("N1", "S1", 0.0)]);
    assert_eq!(codes(&found), ["ran-alone", "ran-alone"]);
    assert_eq!(found.findings[0].place, "NORTH N2");
    assert!(
        found.findings[0].value.contains("SOUTH S2, 65 min")
            || found.findings[0].value.contains("1 h 5 min")
    );
    assert_eq!(found.findings[1].place, "SOUTH S2");
}

#[test]
fn units_that_never_ran_together_are_stopped_with_the_nearest_takes() {
    let shoot = two(
        vec![take("N1", 1000.0, 60.0)],
        vec![take("S1", 1090.0, 60.0)],
    );
    let found = joint_takes(&shoot, 0, &[]);
    assert!(found.value.is_empty());
    let never = finding(&found, "never-together");
    assert_eq!(
        (never.weight, never.place.as_str()),
        (Weight::Stop, "SOUTH")
    );
    assert!(
        never.value.contains("NORTH N1 and SOUTH S1, 30.0 s apart"),
        "{never:?}"
    );
    // a follower's take that ran with another follower's only
    let shoot = survey(vec![
        ("NORTH", vec![take("N1", 1000.0, 60.0)]),
        (
            "SOUTH",
            vec![take("S1", 1000.0, 60.0), take("S2", 3000.0, 60.0)],
        ),
        (
            "WEST",
            vec![take("W1", 1000.0, 60.0), take("W2", 3010.0, 60.0)],
        ),
    ]);
    let found = joint_takes(&shoot, 0, &[]);
    assert_eq!(codes(&found), ["ran-alone", "ran-alone"]);
    assert!(
        found.findings[0]
            .value
            .contains("WEST W2 ran during 50.0 s of it"),
        "{found:#?}"
    );
}

#[test]
fn outputs_are_named_after_the_lead_s_takes() {
    let names = [
        "T01",
        "t01",
        "T01-2",
        "a/b:c*",
        "../x",
        " .. ",
        "CON",
        "com1.x",
        "concert",
        "-rf",
        "\u{fffd}a",
    ];
    let takes: Vec<Take> = names
        .iter()
        .zip(0..)
        .map(|(name, i)| take(name, f64::from(i) * 100.0, 60.0))
        .collect();
    let shoot = two(takes.clone(), takes);
    let found = joint_takes(&shoot, 0, &[]);
    let named: Vec<&str> = found
        .value
        .iter()
        .map(|joint| joint.name.as_str())
        .collect();
    assert_eq!(
        named,
        [
            "T01",
            "t01-2",
            "T01-2-2",
            "a-b-c-",
            "x",
            "joint-take",
            "take-CON",
            "take-com1.x",
            "concert",
            "rf",
            "a"
        ]
    );
    let long = two(
        vec![take(&"\u{e9}".repeat(300), 0.0, 60.0)],
        vec![take("S", 0.0, 60.0)],
    );
    assert!(joint_takes(&long, 0, &[]).value[0].name.len() <= 200);
}

#[test]
fn what_a_take_left_undecided_stays_undecided() {
    let mut doubtful = take("S1", 1000.0, 60.0);
    doubtful
        .undecided
        .push(Finding::new("set-uneven", Weight::Ask, "uneven"));
    let shoot = two(vec![take("N1", 1000.0, 60.0)], vec![doubtful]);
    let found = joint_takes(&shoot, 0, &[]);
    assert_eq!(found.value[0].followers[0].undecided[0].code, "set-uneven");
}

#[test]
fn a_false_start_is_listed_and_not_used() {
    // needs, fault 23: two seconds, then the take
    let shoot = two(
        vec![take("N1", 1000.0, 300.0)],
        vec![take("S1", 1003.0, 2.0), take("S2", 1010.0, 280.0)],
    );
    let found = joint_takes(&shoot, 0, &[]);
    assert_eq!(pairs(&found), [pair("N1", "S2", 10.0)]);
    assert_eq!(finding(&found, "false-start").place, "SOUTH S1");
    assert!(!codes(&found).contains(&"ran-alone"));
    // three short takes are three takes when there is no longer one
    let shoot = two(
        vec![take("N1", 1000.0, 300.0)],
        vec![
            take("S1", 1003.0, 4.0),
            take("S2", 1010.0, 4.5),
            take("S3", 1020.0, 4.0),
        ],
    );
    assert_eq!(joint_takes(&shoot, 0, &[]).value[0].followers.len(), 3);
}
