//! Slips on rehearsed shoots: where they are, how many samples, whose they are, and that the clock does not feel them.

use rehearsal::scenes::{CommonSignal, Programme, common_signal};
use rehearsal::{Performance, Shoot};

use super::{find_past_slips, measure_common};
use crate::clock::{Measured, Outcome, Side, Slip};
use crate::progress::Silent;
use crate::signal::MemorySound;
use crate::tie::common::search_common;
use crate::tie::{Guess, all_pairs};
use crate::units::{LeadPos, SampleRate, Samples, UnitPos};

const LEAD: usize = 0;
const FOLLOWER: usize = 1;
/// 50 ms at 48 kHz.
const NEAR: i64 = 2400;

fn scene(seconds: f64, snr_db: f64, seed: u64) -> CommonSignal {
    CommonSignal {
        seed,
        seconds,
        snr_db,
        mics: 0,
        ..Default::default()
    }
}

fn with(choice: &CommonSignal, unit: usize, slips: &[(f64, i64)]) -> Shoot {
    let mut shoot = common_signal(choice);
    shoot.units[unit].slips = slips
        .iter()
        .map(|&(at_s, samples)| rehearsal::Slip {
            at_sample: (at_s * 48_000.0) as u64,
            samples,
        })
        .collect();
    shoot
}

fn measured(shoot: &Performance) -> Measured {
    let sounds: Vec<MemorySound> = shoot
        .units
        .iter()
        .map(|unit| MemorySound::new(SampleRate(unit.rate_hz), unit.planes.clone()))
        .collect();
    let guess = Guess {
        offset: LeadPos((shoot.truth.units[1].offset_samples + 1607.3).round()),
        within: Samples(24_000.0),
    };
    let (lead, follower) = (&sounds[LEAD], &sounds[FOLLOWER]);
    let pairs = all_pairs(lead, follower);
    let search = search_common(lead, follower, &guess, &pairs, &Silent).expect("memory");
    let outcome = match search.common.first() {
        Some(pair) => measure_common(lead, follower, pair, &Silent).expect("memory"),
        None => {
            let found = find_past_slips(lead, follower, &guess, &search.likely, &Silent);
            found.expect("memory").expect("a pair past slips").1
        }
    };
    match outcome {
        Outcome::Locked(measured) => *measured,
        other => panic!("SOUTH must lock: {other:#?}"),
    }
}

fn expect(found: &[Slip], truth: &[(Side, f64, i64)]) {
    let sizes: Vec<(Side, i64)> = found.iter().map(|slip| (slip.side, slip.samples)).collect();
    let expected: Vec<(Side, i64)> = truth.iter().map(|slip| (slip.0, slip.2)).collect();
    assert_eq!(sizes, expected, "{found:#?}");
    for (slip, truth) in found.iter().zip(truth) {
        let far = slip.at as i64 - (truth.1 * 48_000.0) as i64;
        assert!(far.abs() <= NEAR, "{slip:?} is {far} samples off");
        assert!(slip.certain, "{slip:?}");
    }
}

/// The clock of a take whose lead has no slips is within `limit` of the truth, and its rate within 0.05 ppm.
fn expect_clock(shoot: &Performance, measured: &Measured, limit: f64) {
    let truth = &shoot.truth;
    let length = truth.units[1].length_samples as f64;
    let mut most: f64 = 0.0;
    for i in 0..2000 {
        let k = length * (f64::from(i) + 0.5) / 2000.0;
        let near = measured
            .slips
            .iter()
            .any(|slip| (slip.at as f64 - k).abs() < 4000.0);
        if !near {
            let true_lead = truth.lead_position("SOUTH", k).expect("SOUTH");
            most = most.max((measured.clock.lead_at(UnitPos(k)).0 - true_lead).abs());
        }
    }
    assert!(most <= limit, "SOUTH's clock is off by {most} samples");
    // the rate of the crystal, from the counter that no slip touches
    let mut clean = truth.units[1].clock.clone();
    clean.slips.clear();
    let to = clean.position_on(&truth.units[0].clock, length - 1.0);
    let from = clean.position_on(&truth.units[0].clock, 0.0);
    let rate = ((length - 1.0) / (to - from) - 1.0) * 1e6;
    let off = (measured.rate.0 - rate).abs();
    assert!(off <= 0.05, "rate off by {off} ppm");
}

fn on_follower(choice: &CommonSignal, slips: &[(f64, i64)], limit: f64) {
    let shoot = with(choice, FOLLOWER, slips).perform().expect("in memory");
    let measured = measured(&shoot);
    let truth: Vec<(Side, f64, i64)> = slips
        .iter()
        .map(|&(at, many)| (Side::Follower, at, many))
        .collect();
    expect(&measured.slips, &truth);
    expect_clock(&shoot, &measured, limit);
}

#[test]
fn missing_samples_are_found_at_40_and_10_db() {
    for (snr_db, seed, limit) in [(40.0, 1, 0.005), (10.0, 2, 0.05)] {
        for samples in [-441, -1] {
            on_follower(&scene(24.0, snr_db, seed), &[(13.3, samples)], limit);
        }
    }
}

#[test]
fn doubled_samples_are_found_at_40_and_10_db() {
    for (snr_db, seed, limit) in [(40.0, 3, 0.005), (10.0, 4, 0.05)] {
        for samples in [441, 8] {
            on_follower(&scene(24.0, snr_db, seed), &[(11.9, samples)], limit);
        }
    }
}

#[test]
fn ten_slips_in_one_take() {
    let slips = [
        (12.0, -441),
        (25.0, 64),
        (31.0, -1),
        (44.5, -4096),
        (58.2, 2000),
        (60.3, -8),
        (75.0, 1),
        (88.0, -3000),
        (99.0, 512),
        (107.7, -2),
    ];
    on_follower(&scene(120.0, 40.0, 5), &slips, 0.005);
}

#[test]
fn slips_a_second_apart() {
    on_follower(&scene(24.0, 40.0, 6), &[(10.0, -441), (11.0, -441)], 0.005);
    on_follower(&scene(24.0, 20.0, 7), &[(10.0, -64), (12.0, 64)], 0.02);
}

#[test]
fn the_lead_slips() {
    for (samples, seed) in [(-441, 8), (441, 9), (-1, 10)] {
        let shoot = with(&scene(24.0, 40.0, seed), LEAD, &[(14.0, samples)]);
        let shoot = shoot.perform().expect("in memory");
        let measured = measured(&shoot);
        expect(&measured.slips, &[(Side::Lead, 14.0, samples)]);
        assert!((measured.rate.0 - shoot.truth.units[1].rate_ppm).abs() < 0.5);
    }
}

#[test]
fn a_slip_in_the_last_second_does_no_harm_before_it() {
    let shoot = with(&scene(24.0, 40.0, 12), FOLLOWER, &[(22.4, -441)]);
    let shoot = shoot.perform().expect("in memory");
    let measured = measured(&shoot);
    for k in [1e5, 5e5, 9e5] {
        let lead = shoot.truth.lead_position("SOUTH", k).expect("SOUTH");
        let miss = measured.clock.lead_at(UnitPos(k)).0 - lead;
        assert!(miss.abs() < 0.01, "{miss} at {k}");
    }
}

#[test]
fn a_crystal_that_changes_its_rate_does_not_slip() {
    for (snr_db, seed) in [(40.0, 13), (10.0, 14)] {
        let mut shoot = with(&scene(30.0, snr_db, seed), FOLLOWER, &[]);
        let change = |from_s, ppm| rehearsal::Segment { from_s, ppm };
        shoot.units[FOLLOWER].crystal.segments = vec![change(9.0, 3.0), change(21.0, -5.0)];
        let measured = measured(&shoot.perform().expect("in memory"));
        assert!(measured.slips.is_empty(), "{:#?}", measured.slips);
    }
}

#[test]
fn speech_with_pauses_and_slips() {
    let choice = CommonSignal {
        programme: Programme::Speech,
        ..scene(40.0, 40.0, 11)
    };
    on_follower(&choice, &[(13.0, -441), (27.0, 8)], 0.1);
}
