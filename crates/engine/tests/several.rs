//! Rehearsal shoots of three units, and of two with unequal gains, written as cards and aligned: chains, rings, level and
//! polarity against what is true.

mod aligned;

use aligned::Aligned;
use engine::alignment::{Basis, Status};
use engine::finding::Weight;
use rehearsal::scenes::{CommonSignal, Shared, ThreeUnits, common_signal, three_units};
use rehearsal::{Channel, Crystal, Slip, Sound, Stamp, UnitSpec};

#[test]
fn a_signal_on_all_three_closes_the_ring() {
    let aligned = Aligned::of(&three_units(&ThreeUnits {
        seconds: 24.0,
        mics: 0,
        ..Default::default()
    }));
    for unit in ["SOUTH", "WEST"] {
        assert_eq!(aligned.member(unit).basis, Basis::CommonSignal);
        assert!(aligned.error(unit) <= aligned.member(unit).offset_bound_samples);
        let closure = aligned.closure(unit);
        assert!(closure.passed && closure.limit < 0.03, "{closure:?}");
    }
    let finding = aligned.finding("WEST", "closure").expect("told");
    assert_eq!(finding.weight, Weight::Note);
    let words = "closure over NORTH, SOUTH, WEST";
    assert!(finding.message.contains(words), "{finding:?}");
    assert!(finding.message.contains("not the wiring"), "{finding:?}");
}

#[test]
fn three_pairs_of_their_own_close_and_a_delayed_copy_opens_the_ring() {
    let pairs = |late_samples| {
        Aligned::of(&three_units(&ThreeUnits {
            seconds: 24.0,
            mics: 0,
            shared: Shared::Pairs,
            late_samples,
            ..Default::default()
        }))
    };
    let straight = pairs(0.0);
    assert!(straight.closure("WEST").passed);
    let finding = straight.finding("WEST", "closure").expect("told");
    assert!(
        finding.message.contains("channels of its own"),
        "{finding:?}"
    );
    assert_eq!(straight.member("WEST").status, Status::Established);

    // what NORTH and WEST share comes to WEST 5 samples late, so WEST seems to have started 5 samples earlier
    let open = pairs(5.0);
    let closure = open.closure("WEST");
    assert!(!closure.passed, "{closure:?}");
    assert!((closure.value.abs() - 5.0).abs() < 0.05, "{closure:?}");
    for unit in ["SOUTH", "WEST"] {
        assert_eq!(open.member(unit).status, Status::NeedsDecision);
        let finding = open.finding(unit, "closure-open").expect("asked");
        assert_eq!(finding.weight, Weight::Ask);
        assert!(finding.cause.contains("radio link") && !finding.next_step.is_empty());
    }
}

#[test]
fn without_a_signal_of_its_own_with_the_lead_a_unit_is_placed_through_another() {
    let aligned = Aligned::of(&three_units(&ThreeUnits {
        seconds: 24.0,
        mics: 0,
        shared: Shared::Chain,
        stamps: [
            Stamp::default(),
            Stamp::to_timecode_frame(),
            Stamp::to_timecode_frame(),
        ],
        ..Default::default()
    }));
    let (south, west) = (aligned.member("SOUTH"), aligned.member("WEST"));
    assert_eq!(
        (west.basis, west.status),
        (Basis::CommonSignal, Status::Established)
    );
    let evidence = west.evidence.as_ref().expect("evidence");
    assert_eq!(evidence.through.as_deref(), Some("SOUTH"));
    assert!(evidence.story[0].contains("through SOUTH"), "{evidence:?}");
    assert!(evidence.ties[0].source.starts_with("through SOUTH: "));
    assert!(aligned.error("WEST") <= west.offset_bound_samples);
    assert!(
        west.offset_sigma_samples > south.offset_sigma_samples
            && west.offset_bound_samples >= south.offset_bound_samples + 0.01,
        "uncertainty is added"
    );
    let rate = aligned.truth.unit("WEST").expect("took part").rate_ppm;
    let apart = (west.rate_ppm - rate).abs();
    assert!(apart <= 4.0 * west.rate_sigma_ppm, "{apart} ppm off");
    let finding = aligned.finding("WEST", "placed-through").expect("told");
    assert_eq!(finding.weight, Weight::Note);
    let level = evidence.common_level.as_ref().expect("a level");
    assert_eq!(level.against, "SOUTH");
}

#[test]
fn samples_missing_on_the_unit_in_the_middle_do_not_come_into_the_chain() {
    let mut shoot = three_units(&ThreeUnits {
        seconds: 30.0,
        mics: 0,
        shared: Shared::Chain,
        ..Default::default()
    });
    shoot.units[1].slips.push(Slip {
        at_sample: 700_000,
        samples: -1024,
    });
    let aligned = Aligned::of(&shoot);
    assert_eq!(aligned.member("SOUTH").slips.len(), 1);
    let west = aligned.member("WEST");
    let evidence = west.evidence.as_ref().expect("evidence");
    assert_eq!(evidence.through.as_deref(), Some("SOUTH"));
    assert!(west.slips.is_empty(), "{:?}", west.slips);
    assert!(aligned.error("WEST") <= west.offset_bound_samples.max(0.03));
}

#[test]
fn a_chain_of_four_goes_on_and_bounds_add_up() {
    let mut shoot = three_units(&ThreeUnits {
        seconds: 24.0,
        mics: 0,
        shared: Shared::Chain,
        ..Default::default()
    })
    .signal("far", Sound::programme(), -20.0);
    shoot.units[2].channels.push(Channel::common("Far", "far"));
    let east = UnitSpec::new("EAST")
        .crystal(Crystal::steady(3.0))
        .starts_after_s(2.500_13)
        .noise_dbfs(-60.0)
        .channel(Channel::common("Far", "far"));
    let aligned = Aligned::of(&shoot.unit(east));
    let east = aligned.member("EAST");
    let evidence = east.evidence.as_ref().expect("evidence");
    assert_eq!(evidence.through.as_deref(), Some("WEST"));
    assert_eq!(east.status, Status::Established);
    assert!(aligned.error("EAST") <= east.offset_bound_samples);
    let bounds = ["SOUTH", "WEST", "EAST"].map(|unit| aligned.member(unit).offset_bound_samples);
    assert!(
        bounds[0] + 0.0099 <= bounds[1] && bounds[1] + 0.0099 <= bounds[2],
        "{bounds:?}"
    );
}

#[test]
fn rates_by_the_sound_of_one_room_close_too() {
    let aligned = Aligned::of(&three_units(&ThreeUnits {
        seconds: 45.0,
        mics: 1,
        shared: Shared::None,
        ..Default::default()
    }));
    for unit in ["SOUTH", "WEST"] {
        assert_eq!(aligned.member(unit).basis, Basis::Stamps);
    }
    let closure = aligned.closure("WEST");
    assert!(
        closure.name.ends_with("ppm") && closure.passed,
        "{closure:?}"
    );
}

#[test]
fn level_and_polarity_of_the_common_signal_are_told_and_not_applied() {
    for (gain_db, inverted, snr_db) in [(-0.7, true, 40.0), (-20.0, false, 40.0), (6.0, true, 10.0)]
    {
        let mut shoot = common_signal(&CommonSignal {
            seconds: 24.0,
            mics: 0,
            snr_db,
            ..Default::default()
        });
        let link = shoot.units[1].channels[0].clone().gain_db(gain_db);
        shoot.units[1].channels[0] = if inverted { link.inverted() } else { link };
        let aligned = Aligned::of(&shoot);
        let south = aligned.member("SOUTH");
        assert_eq!(south.basis, Basis::CommonSignal, "{gain_db} dB still locks");
        assert!(aligned.error("SOUTH") <= south.offset_bound_samples.max(0.1));
        let level = south.evidence.as_ref().and_then(|e| e.common_level.clone());
        let level = level.expect("a level");
        let apart = (level.level_db - gain_db).abs();
        assert!(
            apart <= 3.0 * level.level_sigma_db + 0.005,
            "{gain_db} dB at {snr_db} dB is told as {level:?}"
        );
        assert_eq!(level.inverted, inverted);
        let finding = aligned
            .finding("SOUTH", "common-level-differs")
            .expect("told");
        let weight = if inverted { Weight::Warn } else { Weight::Note };
        assert_eq!(finding.weight, weight);
    }
}
