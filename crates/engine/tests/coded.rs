//! Timecode recorded by both units as evidence: rehearsal shoots written as cards and aligned against what is true.

mod aligned;

use aligned::Aligned;
use engine::alignment::{Basis, Status};
use engine::finding::Weight;
use rehearsal::scenes::{Coded, Generators, TwoArrays, coded};
use rehearsal::{Channel, Shoot, Slip, Sound, Stamp, TimecodeTrack};

/// Half a minute in which nothing sounds: the code alone tells.
fn silent() -> Coded {
    Coded {
        arrays: TwoArrays {
            seconds: 30.0,
            mics: 1,
            sounds: [Sound::Silence, Sound::Silence, Sound::Silence],
            ..TwoArrays::default()
        },
        ..Coded::default()
    }
}

/// As long with a talker and strings that both units hear.
fn heard() -> Coded {
    Coded {
        arrays: TwoArrays {
            seconds: 30.0,
            mics: 1,
            ..TwoArrays::default()
        },
        ..Coded::default()
    }
}

fn code() -> TimecodeTrack {
    Coded::default().code
}

/// SOUTH stamps the same moment like this.
fn stamped(choice: &Coded, stamp: Stamp) -> Shoot {
    let mut shoot = coded(choice);
    shoot.units[1].stamp = stamp;
    shoot
}

/// The code has placed a unit, within what is claimed and within `limit` samples everywhere.
fn placed_by_code(aligned: &Aligned, unit: &str, limit: f64) {
    let member = aligned.member(unit);
    assert_eq!(
        (member.basis, member.status),
        (Basis::TimecodeTrack, Status::Established),
        "{:#?}",
        member.findings
    );
    let error = aligned.error(unit);
    assert!(
        error <= limit && error <= member.offset_bound_samples,
        "{error} off, ±{} claimed",
        member.offset_bound_samples
    );
}

/// A finding about SOUTH that says these words in its value.
fn told(aligned: &Aligned, code: &str, weight: Weight, words: &str) {
    let finding = aligned.finding("SOUTH", code);
    let all = &aligned.member("SOUTH").findings;
    let finding = finding.unwrap_or_else(|| panic!("{code} among {all:#?}"));
    assert_eq!(finding.weight, weight);
    assert!(finding.value.contains(words), "{finding:#?}");
}

fn rate_error(aligned: &Aligned) -> f64 {
    let truth = aligned.truth.unit("SOUTH").expect("took part").rate_ppm;
    (aligned.member("SOUTH").rate_ppm - truth).abs()
}

#[test]
fn a_stamp_one_timecode_frame_and_seven_samples_late_is_named_and_not_used() {
    let stamp = Stamp {
        wrong_frames: 1,
        jam_error_s: 7.3 / 48_000.0,
        ..Stamp::default()
    };
    let aligned = Aligned::of(&stamped(&silent(), stamp));
    placed_by_code(&aligned, "SOUTH", 0.01);
    let what = "-1.00 timecode frames";
    told(&aligned, "stamps-differ-from-timecode", Weight::Note, what);
}

#[test]
fn units_never_linked_are_paired_by_their_code_and_confirmed_by_the_room() {
    let never = Stamp {
        jam_error_s: -11_847.3,
        ..Stamp::default()
    };
    let aligned = Aligned::of(&stamped(&heard(), never));
    placed_by_code(&aligned, "SOUTH", 0.01);
    told(&aligned, "paired-by-timecode", Weight::Note, "words");
    told(
        &aligned,
        "stamp-differs-from-track",
        Weight::Note,
        "+11847.300 s",
    );
    let day = &aligned.alignment.findings;
    let explained = day.iter().find(|f| f.code == "stamps-explained");
    assert!(
        explained.is_some_and(|f| f.message.contains("11847.30 s too early")),
        "{day:#?}"
    );

    let aligned = Aligned::of(&stamped(&silent(), never));
    assert_eq!(aligned.member("SOUTH").status, Status::NeedsDecision);
    let what = "did not run together";
    told(&aligned, "timecode-against-stamps", Weight::Ask, what);
    assert!(aligned.error("SOUTH") < 0.01, "and it is right");
}

#[test]
fn without_stamps_the_code_is_enough() {
    let aligned = Aligned::of(&stamped(&silent(), Stamp::absent()));
    placed_by_code(&aligned, "SOUTH", 0.01);
}

#[test]
fn code_that_each_unit_makes_itself_is_no_measurement() {
    let own = |choice| Coded {
        generators: Generators::Own,
        ..choice
    };
    let aligned = Aligned::of(&coded(&own(heard())));
    let member = aligned.member("SOUTH");
    assert_eq!(
        (member.basis, member.status),
        (Basis::Stamps, Status::Established)
    );
    assert!(rate_error(&aligned) < 0.05, "by the room: {member:#?}");
    let apart = "ppm between the room's rate and the code's";
    told(&aligned, "timecode-of-two-generators", Weight::Warn, apart);

    let aligned = Aligned::of(&coded(&own(silent())));
    assert_eq!(aligned.member("SOUTH").status, Status::NeedsDecision);
    told(&aligned, "timecode-own", Weight::Ask, "0.000 ppm");
}

#[test]
fn boxes_that_nothing_tells_from_one_generator_are_left_to_a_person() {
    let choice = Coded {
        generators: Generators::Boxes([0.4, -0.3]),
        ..silent()
    };
    let aligned = Aligned::of(&coded(&choice));
    assert_eq!(aligned.member("SOUTH").status, Status::NeedsDecision);
    told(&aligned, "timecode-source-unknown", Weight::Ask, "ppm and");
}

#[test]
fn boxes_that_drift_apart_are_told_from_one_generator() {
    let choice = Coded {
        generators: Generators::Boxes([0.4, -0.3]),
        ..heard()
    };
    let aligned = Aligned::of(&coded(&choice));
    assert_eq!(aligned.member("SOUTH").basis, Basis::Stamps);
    assert!(rate_error(&aligned) < 0.05);
    let apart = "ppm between the room's rate and the code's";
    told(&aligned, "timecode-of-two-generators", Weight::Warn, apart);
}

#[test]
fn labels_that_were_set_differently_are_not_believed() {
    let twenty_s_late = |choice| Coded {
        other: Some(TimecodeTrack {
            first: [9, 59, 40, 0],
            ..code()
        }),
        ..choice
    };
    let aligned = Aligned::of(&coded(&twenty_s_late(silent())));
    assert_eq!(aligned.member("SOUTH").status, Status::NeedsDecision);
    told(&aligned, "timecode-against-stamps", Weight::Ask, "20.000 s");

    let aligned = Aligned::of(&coded(&twenty_s_late(heard())));
    let member = aligned.member("SOUTH");
    assert_eq!(
        (member.basis, member.status),
        (Basis::Stamps, Status::Established),
        "{:#?}",
        member.findings
    );
    let error = aligned.error("SOUTH");
    assert!(error <= member.offset_bound_samples, "{error}");
    let what = "(-19.99";
    told(&aligned, "timecode-of-two-generators", Weight::Warn, what);
}

#[test]
fn a_generator_that_is_set_anew_during_the_take_is_followed_on_both() {
    let choice = Coded {
        code: TimecodeTrack {
            jump: Some((13.0, 250)),
            ..code()
        },
        ..silent()
    };
    let aligned = Aligned::of(&coded(&choice));
    placed_by_code(&aligned, "SOUTH", 0.01);
    told(&aligned, "timecode-jump", Weight::Warn, "10:00:2");
    let lead = &aligned.member("NORTH").findings;
    assert!(lead.iter().any(|f| f.code == "timecode-jump"), "{lead:#?}");
}

#[test]
fn a_jump_on_one_track_only_is_located_and_not_followed() {
    let choice = Coded {
        other: Some(TimecodeTrack {
            jump: Some((13.0, 250)),
            ..code()
        }),
        ..silent()
    };
    let aligned = Aligned::of(&coded(&choice));
    assert_eq!(aligned.member("SOUTH").basis, Basis::Stamps);
    told(&aligned, "timecode-jump", Weight::Warn, "at 12.270 s");
}

#[test]
fn a_line_that_bends_the_wave_leaves_the_words() {
    let choice = Coded {
        other: Some(TimecodeTrack {
            low_pass_hz: Some(3500.0),
            inverted: true,
            ..code()
        }),
        ..silent()
    };
    let aligned = Aligned::of(&coded(&choice));
    // a filter delays: half a bit at 25 is 12 samples
    placed_by_code(&aligned, "SOUTH", 12.0);
    assert!(rate_error(&aligned) < 0.1, "{}", rate_error(&aligned));
    let evidence = aligned.member("SOUTH").evidence.as_ref();
    let ties = &evidence.expect("evidence").ties;
    assert!(
        ties.iter().all(|tie| tie.source == "timecode 2=2"),
        "{ties:#?}"
    );
}

#[test]
fn worn_code_in_noise() {
    // 0 dB in the band of 24 kHz on both
    let mut shoot = coded(&Coded {
        code: TimecodeTrack {
            low_pass_hz: Some(6000.0),
            ..code()
        },
        ..silent()
    });
    for unit in &mut shoot.units {
        unit.channels[1] = unit.channels[1].clone().noise_dbfs(-22.0);
    }
    placed_by_code(&Aligned::of(&shoot), "SOUTH", 0.1);
}

#[test]
fn drop_frame_code_at_96_khz() {
    let mut shoot = coded(&Coded {
        code: TimecodeTrack {
            frames: 30_000,
            in_seconds: 1001,
            drop_frame: true,
            first: [9, 59, 50, 0],
            ..code()
        },
        ..silent()
    });
    for unit in &mut shoot.units {
        unit.rate_hz = 96_000;
        unit.stamp = Stamp::absent();
    }
    placed_by_code(&Aligned::of(&shoot), "SOUTH", 0.01);
}

#[test]
fn samples_lost_from_the_follower_and_from_the_lead() {
    for (unit, at_sample) in [(1, 700_000), (0, 500_000)] {
        let mut shoot = coded(&silent());
        let samples = -441;
        shoot.units[unit].slips = vec![Slip { at_sample, samples }];
        let aligned = Aligned::of(&shoot);
        let name = ["NORTH", "SOUTH"][unit];
        let slips = &aligned.member(name).slips;
        let found: Vec<f64> = slips.iter().map(|slip| slip.samples).collect();
        assert_eq!(found, [-441.0], "{name}");
        assert!(
            slips[0].at_sample.abs_diff(at_sample) < 48,
            "{name} {slips:?}"
        );
        assert_eq!(aligned.member("SOUTH").basis, Basis::TimecodeTrack);
        let speed = aligned.finding("SOUTH", "timecode-speed");
        assert_eq!(speed, None, "lost samples are no speed");
    }
}

#[test]
fn a_common_signal_decides_and_the_code_is_held_against_it() {
    let shoot = |late_s: f64| {
        let mut shoot = coded(&silent()).signal("split", Sound::programme(), -24.0);
        for unit in &mut shoot.units {
            unit.channels.push(Channel::common("Split", "split"));
        }
        shoot.units[1].channels[1].late_s = late_s;
        Aligned::of(&shoot)
    };
    let (together, late) = (shoot(0.0), shoot(0.000_5));
    for aligned in [&together, &late] {
        assert_eq!(aligned.member("SOUTH").basis, Basis::CommonSignal);
        assert!(aligned.error("SOUTH") < 0.01);
    }
    let code = "timecode-differs-from-common-signal";
    assert_eq!(together.finding("SOUTH", code), None);
    // 0.5 ms are 24 samples
    told(&late, code, Weight::Note, "+24.0 samples");
}

#[test]
fn code_on_three_units_closes_the_ring() {
    let mut shoot = coded(&silent());
    let mut west = shoot.units[1].clone();
    west.name = "WEST".into();
    west.crystal = rehearsal::Crystal::steady(-4.0);
    west.starts_after_s = 1.4;
    shoot.units.push(west);
    let aligned = Aligned::of(&shoot);
    for unit in ["SOUTH", "WEST"] {
        placed_by_code(&aligned, unit, 0.01);
        assert!(aligned.closure(unit).passed);
    }
}
