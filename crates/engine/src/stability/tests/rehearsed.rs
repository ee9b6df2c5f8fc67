//! Rehearsal shoots through the whole way: rates, deviations and words against the truth.

use rehearsal::scenes::{CommonSignal, common_signal};
use rehearsal::{Channel, Crystal, Shoot, Sine, Sound, TimecodeTrack, Truth, UnitSpec};

use crate::alignment::Basis;
use crate::establish::Options;
use crate::progress::Silent;
use crate::stability::{
    Found, Phase, Request, Spaced, Stability, measure_clocks, overlapping_allan, stability,
};
use crate::take::scan;

fn tested(shoot: &Shoot) -> (Found, Truth) {
    let root = tempfile::tempdir().expect("temporary folder");
    let truth = shoot.write(root.path()).expect("written");
    let units = shoot.units.iter();
    let cards: Vec<_> = units.map(|unit| root.path().join(&unit.name)).collect();
    let survey = scan(&cards, &Silent).expect("surveyed").value;
    let found = measure_clocks(&survey, &Options::default(), "BOX", &Silent);
    (found.expect("measured"), truth)
}

fn judged(found: &Found) -> Stability {
    let request = Request {
        timecode_frame_s: 0.04,
        frame_rate: "25".into(),
        temperatures: None,
    };
    stability(&found.series, &request)
}

/// Fast wander and enough of it to be seen over seconds: the deviation found is that of the true phases wherever the noise
/// of measuring does not rule, and the mean rate is the true one.
#[test]
fn a_common_signal_gives_the_true_rate_and_the_true_deviation() {
    let mut shoot = common_signal(&CommonSignal {
        seconds: 60.0,
        mics: 0,
        ..CommonSignal::default()
    });
    shoot.units[1].crystal.wander = vec![Sine {
        ppm: 2.0,
        period_s: 19.0,
        phase: 0.4,
    }];
    let (found, truth) = tested(&shoot);
    let told = judged(&found);
    let clock = &told.clocks[0];
    assert_eq!(
        (clock.unit.as_str(), clock.against.as_str()),
        ("SOUTH", "NORTH")
    );
    assert_eq!(clock.basis, Basis::CommonSignal);
    let ahead = |at_s: f64| {
        let follower = truth.follower_position("SOUTH", at_s * 48_000.0);
        follower.expect("SOUTH") / 48_000.0 - at_s
    };
    let (first, last) = (clock.phases[0][0], clock.phases[clock.phases.len() - 1][0]);
    let true_ppm = 1e6 * (ahead(last) - ahead(first)) / (last - first);
    let off = (clock.judged.rate_ppm - true_ppm).abs();
    assert!(
        off <= 3.0 * clock.judged.rate_sigma_ppm && clock.judged.rate_sigma_ppm < 0.2,
        "{} for {true_ppm}, sigma {}",
        clock.judged.rate_ppm,
        clock.judged.rate_sigma_ppm
    );
    let phases: Vec<Phase> = clock
        .phases
        .iter()
        .map(|[at_s, _]| Phase {
            at_s: *at_s,
            ahead_s: ahead(*at_s),
        })
        .collect();
    let spaced = Spaced::of(&phases).expect("the true series");
    let mut compared = 0;
    for row in clock.judged.rows.iter().filter(|row| !row.is_measuring) {
        let factor = (row.averaging_s / spaced.interval_s).round() as usize;
        let true_one = overlapping_allan(&spaced.ahead_s, spaced.interval_s, factor);
        let ratio = row.allan.value / true_one.expect("a deviation");
        assert!((ratio - 1.0).abs() < 0.05, "{}: {ratio}", row.averaging_s);
        compared += 1;
    }
    assert!(compared >= 4, "{:#?}", clock.judged.rows);
    let kept = clock.measurement();
    assert!(
        (kept.rate_ppm - true_ppm).abs() < 0.1 && kept.wander_ppm > 0.3,
        "{kept:?}"
    );
}

/// Two units that record the code of one generator: each against it, and against each other.
#[test]
fn timecode_on_a_track_gives_each_clock_against_the_generator() {
    let code = TimecodeTrack {
        seconds: 61.0,
        first: [10, 0, 0, 0],
        ..TimecodeTrack::default()
    };
    let unit = |name: &str, ppm: f64| {
        UnitSpec::new(name)
            .crystal(Crystal::steady(ppm))
            .channel(Channel::common("Code", "code"))
    };
    let shoot = Shoot::new(3)
        .seconds(60.0)
        .time_of_day_s(36_000.0)
        .signal("code", Sound::Timecode(Box::new(code)), -20.0)
        .unit(unit("NORTH", 4.0))
        .unit(unit("SOUTH", -21.0));
    let (found, _) = tested(&shoot);
    let told = judged(&found);
    for (name, against, ppm) in [
        ("NORTH", "BOX", 4.0),
        ("SOUTH", "BOX", -21.0),
        ("SOUTH", "NORTH", -25.0),
    ] {
        let mut clocks = told.clocks.iter();
        let clock = clocks
            .find(|one| one.unit == name && one.against == against)
            .unwrap_or_else(|| panic!("{name} against {against}: {found:#?}"));
        assert_eq!(clock.basis, Basis::TimecodeTrack);
        let off = (clock.judged.rate_ppm - ppm).abs();
        // a part in a million of a rate in which another counts
        let sigma = clock.judged.rate_sigma_ppm;
        assert!(
            off <= 3.0 * sigma + 1e-3 && sigma < 0.5,
            "{name} against {against}: {}, sigma {sigma}",
            clock.judged.rate_ppm
        );
    }
}

#[test]
fn units_with_nothing_in_common_are_asked_for() {
    let unit = |name: &str| UnitSpec::new(name).channel(Channel::open("Mic"));
    let shoot = Shoot::new(4)
        .seconds(12.0)
        .unit(unit("NORTH"))
        .unit(unit("SOUTH"));
    let (found, _) = tested(&shoot);
    assert!(found.series.is_empty());
    let codes: Vec<&str> = found.findings.iter().map(|f| f.code.as_str()).collect();
    assert!(codes.contains(&"clock-not-measured"), "{codes:?}");
}
