//! Rehearsed rooms whose files lack samples, or have them twice: by the room's sound alone.

use engine::clock::acoustic::{AcousticRequest, measure_acoustic};
use engine::clock::{Measured, Outcome, Side};
use engine::progress::Silent;
use engine::signal::MemorySound;
use engine::tie::Guess;
use engine::units::{LeadPos, SampleRate, Samples, UnitPos};
use rehearsal::scenes::{TwoArrays, two_arrays};
use rehearsal::{Crystal, Segment, Shoot, Slip, Truth};

const AT: u64 = 48_000 * 45 + 17;

fn measured(unit: usize, slips: &[(u64, i64)]) -> (Measured, Truth) {
    measured_with(1, unit, slips)
}

fn measured_with(seed: u64, unit: usize, slips: &[(u64, i64)]) -> (Measured, Truth) {
    let mut shoot = two_arrays(&TwoArrays {
        seed,
        seconds: 90.0,
        ..TwoArrays::default()
    });
    shoot.units[unit].slips = slips
        .iter()
        .map(|&(at_sample, samples)| Slip { at_sample, samples })
        .collect();
    measured_of(&shoot)
}

fn measured_of(shoot: &Shoot) -> (Measured, Truth) {
    let performance = shoot.perform().expect("a performance");
    let sounds: Vec<MemorySound> = performance
        .units
        .into_iter()
        .map(|unit| MemorySound::new(SampleRate(unit.rate_hz), unit.planes))
        .collect();
    let request = AcousticRequest {
        lead: &sounds[0],
        follower: &sounds[1],
        pairs: None,
        guess: Guess {
            offset: LeadPos(performance.truth.units[1].offset_samples),
            within: Samples(480.0),
        },
        spacing_m: 2.0,
    };
    match measure_acoustic(&request, &Silent).expect("memory").outcome {
        Outcome::Locked(measured) => (*measured, performance.truth),
        Outcome::NotEstablished { why, signs, .. } => panic!("{why}: {signs:?}"),
    }
}

fn expect_rate(measured: &Measured, truth: &Truth) {
    let off = rate_off(measured, truth);
    assert!(off <= 0.1, "the rate is {off} ppm off");
}

/// How far the rate is off the true one, with the slips taken out of the follower's counter.
fn rate_off(measured: &Measured, truth: &Truth) -> f64 {
    let mut clean = truth.units[1].clock.clone();
    clean.slips.clear();
    let length = truth.units[1].length_samples as f64;
    let lead = &truth.units[0].clock;
    let span = clean.position_on(lead, length) - clean.position_on(lead, 0.0);
    let rate = (length / span - 1.0) * 1e6;
    (measured.rate.0 - rate).abs()
}

#[test]
fn missing_samples_are_found_sized_and_located() {
    for samples in [-441, -4] {
        let (measured, truth) = measured(1, &[(AT, samples)]);
        let found = &measured.slips;
        assert_eq!(found.len(), 1, "{samples}: {found:#?}");
        let slip = found[0];
        assert_eq!(
            (slip.side, slip.samples),
            (Side::Follower, samples),
            "{slip:?}"
        );
        assert!(slip.certain && slip.sigma.0 < 0.25, "{slip:?}");
        assert!(slip.at.abs_diff(AT) <= 2400, "{slip:?}");
        expect_rate(&measured, &truth);
        for k in [5e5, 1.5e6, 3e6, 4e6] {
            let lead = truth.lead_position("SOUTH", k).expect("SOUTH");
            let miss = measured.clock.lead_at(UnitPos(k)).0 - lead;
            assert!(miss.abs() < 0.3, "{miss} at {k}");
        }
    }
}

/// Templates on both sides of a slip may agree so well with those across it that all signs pass: a clock that is wrong by the
/// slip in one half of the take.
#[test]
fn a_slip_that_all_other_signs_pass_over_is_found() {
    let at = 1_901_428;
    let (measured, truth) = measured_with(2, 1, &[(at, -2048)]);
    assert_eq!(measured.slips.len(), 1, "{:#?}", measured.slips);
    assert_eq!(measured.slips[0].samples, -2048);
    assert!(measured.slips[0].at.abs_diff(at) <= 2400);
    expect_rate(&measured, &truth);
}

#[test]
fn doubled_samples_are_found_to_the_sample() {
    let (measured, truth) = measured(1, &[(AT, 441)]);
    let slip = measured.slips[0];
    assert_eq!(
        (slip.side, slip.samples, slip.at),
        (Side::Follower, 441, AT)
    );
    expect_rate(&measured, &truth);
}

#[test]
fn one_missing_sample_is_possible_at_most_and_none_is_none() {
    let (clean, truth) = measured(1, &[]);
    assert!(clean.slips.is_empty(), "{:#?}", clean.slips);
    expect_rate(&clean, &truth);
    // One sample lost in the middle of 90 s tilts a straight line by 1.5 / (90 * 48000), 0.35 ppm: it is told as possible, and
    // the rate's sigma knows of it.
    let (one, truth) = measured(1, &[(AT, -1)]);
    assert_eq!(one.slips.len(), 1, "{:#?}", one.slips);
    let slip = one.slips[0];
    assert_eq!((slip.certain, slip.samples), (false, -1), "{slip:?}");
    assert!(slip.at.abs_diff(AT) < 10 * 48_000, "{slip:?}");
    assert!(rate_off(&one, &truth) <= 3.0 * one.rate_sigma.0);
}

/// Over 20 s a rate that is 6 ppm off gains as much as six lost samples; several such steps in a row make a clock of their own.
#[test]
fn a_rate_that_changes_loses_no_samples() {
    let mut shoot = two_arrays(&TwoArrays {
        seed: 1,
        seconds: 150.0,
        apart_m: 3.0,
        t60_s: 0.6,
        ..TwoArrays::default()
    });
    let segment = |from_s, ppm| Segment { from_s, ppm };
    shoot.units[1].crystal = Crystal {
        ppm: 8.0,
        segments: vec![segment(50.0, 6.0), segment(100.0, -6.0)],
        ..Crystal::default()
    };
    let (measured, truth) = measured_of(&shoot);
    let certain = measured.slips.iter().filter(|slip| slip.certain).count();
    assert_eq!(certain, 0, "{:#?}", measured.slips);
    let off = rate_off(&measured, &truth);
    let allowed = 2.0 * measured.rate_sigma.0;
    assert!(off <= allowed, "{off} ppm off, {allowed} allowed");
}
