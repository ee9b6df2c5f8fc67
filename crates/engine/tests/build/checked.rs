//! What checking finds on built files.

use engine::alignment::{Evidence, Member, Placement, TieRecord};
use engine::build::{BuildOptions, Gain};
use engine::check::{Place, check};
use engine::progress::Silent;
use engine::units::Db;
use wave::Encoding;

use crate::fixture::{Recording, Shoot, alignment, built, follower, joint, noise};

/// A wide-band sound known at every instant: 300 tones from 200 Hz to 18 kHz.
fn sound(n: f64) -> f64 {
    (0..300)
        .map(|i| {
            let turns = (200.0 + 59.3 * f64::from(i)) / 48_000.0;
            0.003 * (std::f64::consts::TAU * turns * n + f64::from(i * i) * 0.37).sin()
        })
        .sum()
}

fn tie(source: &str) -> TieRecord {
    TieRecord {
        lead: 0.0,
        follower: 0.0,
        sigma: 0.001,
        used: true,
        source: source.into(),
    }
}

/// Two units with one sound on NORTH 1 and SOUTH 2; SOUTH's sample 0 truly falls at 40.25, and 15 ppm fast.
fn shoot_with_common_signal(shoot: &Shoot) -> Vec<Member> {
    let take = |unit, planes| Recording {
        unit,
        encoding: Encoding::Float32,
        names: &["one", "two"],
        planes,
        stamp: None,
    };
    let rate = 1.0 + 15e-6;
    let length = 110_000;
    let lead: Vec<f64> = (0..length).map(|n| sound(f64::from(n))).collect();
    let own: Vec<f64> = (0..length)
        .map(|k| -0.5 * sound(40.25 + f64::from(k) / rate))
        .collect();
    let float =
        |plane: Vec<f64>| -> Vec<f64> { plane.iter().map(|v| f64::from(*v as f32)).collect() };
    let other = |seed| noise(Encoding::Float32, seed, 110_000);
    let north = shoot.record(&take("NORTH", vec![float(lead), other(1)]));
    let mut south = follower(
        shoot.record(&take("SOUTH", vec![other(2), float(own)])),
        40.25,
    );
    south.placement = Placement::Resampled;
    south.offset_bound_samples = 0.01;
    south.knots = [0.0, 109_999.0].map(|k| [k, 40.25 + k / rate]).to_vec();
    south.evidence = Some(Evidence {
        ties: vec![tie("common-signal 1=2")],
        ..Evidence::default()
    });
    vec![north, south]
}

#[test]
fn a_true_clock_leaves_no_lag() {
    let shoot = Shoot::new();
    let takes = vec![joint("evening", shoot_with_common_signal(&shoot), None)];
    let report = built(takes.clone(), &BuildOptions::new(shoot.out()));
    let checked = check(&alignment(takes), &report, &Silent);
    assert!(checked.findings.is_empty(), "{:?}", checked.findings);
    let places: Vec<Place> = checked
        .residuals
        .iter()
        .map(|residual| residual.place)
        .collect();
    assert_eq!(places, [Place::Start, Place::Middle, Place::End]);
    for residual in &checked.residuals {
        assert!(residual.lag_samples.abs() < 1e-4, "{residual:?}");
        assert!(residual.correlation > 0.999, "{residual:?}");
    }
}

#[test]
fn float_above_full_scale_is_told_with_the_gain_that_brings_it_under() {
    let shoot = Shoot::new();
    // a largest sample of 1.6: 4.08 dB over, so that -4.1 dB bring it under
    let mut plane = noise(Encoding::Float32, 3, 60_000);
    let most = plane
        .iter()
        .fold(0.0_f64, |most, value| most.max(value.abs()));
    plane.iter_mut().for_each(|value| *value *= 1.6 / most);
    let north = shoot.record(&Recording {
        unit: "NORTH",
        encoding: Encoding::Float32,
        names: &["one"],
        planes: vec![plane.iter().map(|value| f64::from(*value as f32)).collect()],
        stamp: None,
    });
    let takes = vec![joint("evening", vec![north], None)];
    let told = |options: &BuildOptions| {
        let report = built(takes.clone(), options);
        let checked = check(&alignment(takes.clone()), &report, &Silent);
        let mut findings = checked.findings.into_iter();
        findings.find(|finding| finding.code == "above-full-scale")
    };
    let over = told(&BuildOptions::new(shoot.out())).expect("it goes over");
    assert!(
        over.next_step.contains("--gain -4.1 the largest sample"),
        "{}",
        over.next_step
    );
    // built as it says: under
    let gain = Gain::Db(Db(-4.1));
    let under = BuildOptions {
        gain,
        replace: true,
        ..BuildOptions::new(shoot.out())
    };
    assert_eq!(told(&under).map(|finding| finding.next_step), None);
    // with too small a one it counts what is there already
    let half_way = BuildOptions {
        gain: Gain::Db(Db(-2.0)),
        ..under
    };
    let over = told(&half_way).expect("it still goes over");
    assert!(
        over.next_step.contains("--gain -4.1 the largest sample"),
        "{}",
        over.next_step
    );
}

#[test]
fn a_wrong_clock_is_found_out_with_its_sign() {
    let shoot = Shoot::new();
    let mut members = shoot_with_common_signal(&shoot);
    // 0.3 of a sample too early on the lead's clock at the start, right at the end
    members[1].knots[0][1] -= 0.3;
    let (first_lead, last_lead) = (members[1].knots[0][1], members[1].knots[1][1]);
    let takes = vec![joint("evening", members, None)];
    let report = built(takes.clone(), &BuildOptions::new(shoot.out()));
    let checked = check(&alignment(takes), &report, &Silent);
    let lags: Vec<f64> = checked
        .residuals
        .iter()
        .map(|residual| residual.lag_samples)
        .collect();
    // the follower comes early by what the line between the two knots leaves there
    for residual in &checked.residuals {
        let left = 1.0 - (residual.position - first_lead) / (last_lead - first_lead);
        let lag = residual.lag_samples;
        assert!(
            (lag + 0.3 * left).abs() < 0.002,
            "{lag} at {left} of the line: {lags:?}"
        );
    }
    let codes: Vec<&str> = checked
        .findings
        .iter()
        .map(|finding| finding.code.as_str())
        .collect();
    assert_eq!(codes, ["residual-lag"; 3]);
}

#[test]
fn channels_without_sound_and_values_that_are_no_numbers_are_named() {
    let shoot = Shoot::new();
    let mut bad = noise(Encoding::Float32, 5, 40_000);
    bad[100] = f64::NAN;
    bad[200] = f64::from(1.5_f32);
    bad[10_000..20_000].fill(0.0);
    let north = shoot.record(&Recording {
        unit: "NORTH",
        encoding: Encoding::Float32,
        names: &["good", "bad", "unplugged"],
        planes: vec![noise(Encoding::Float32, 1, 40_000), bad, vec![0.0; 40_000]],
        stamp: None,
    });
    let takes = vec![joint("evening", vec![north], None)];
    let report = built(takes.clone(), &BuildOptions::new(shoot.out()));
    let checked = check(&alignment(takes), &report, &Silent);
    let found: Vec<(&str, bool, bool)> = checked
        .findings
        .iter()
        .map(|f| {
            (
                f.code.as_str(),
                f.place.ends_with("bad"),
                f.place.ends_with("unplugged"),
            )
        })
        .collect();
    assert_eq!(
        found,
        [
            ("not-a-number", true, false),
            ("digital-silence", true, false),
            ("above-full-scale", true, false),
            ("silent-channel", false, true),
        ]
    );
}
