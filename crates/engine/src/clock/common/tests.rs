//! The chain on rehearsed shoots, whose arithmetic is independent of the engine's.

use rehearsal::Performance;
use rehearsal::scenes::{CommonSignal, Programme, common_signal, identical_clocks};

use super::{common_clock_shift, measure_common};
use crate::clock::{Measured, Outcome};
use crate::progress::Silent;
use crate::signal::{MemorySound, Sound};
use crate::tie::Guess;
use crate::tie::common::{CommonPair, find_common};
use crate::units::{LeadPos, SampleRate, Samples, UnitPos};

fn sounds(shoot: &Performance) -> Vec<MemorySound> {
    shoot
        .units
        .iter()
        .map(|unit| MemorySound::new(SampleRate(unit.rate_hz), unit.planes.clone()))
        .collect()
}

fn found(shoot: &Performance, off_by: f64) -> (Vec<MemorySound>, Vec<CommonPair>) {
    let sounds = sounds(shoot);
    let truth = &shoot.truth.units[1];
    let guess = Guess {
        offset: LeadPos((truth.offset_samples + off_by).round()),
        within: Samples(9600.0),
    };
    let pairs = find_common(&sounds[0], &sounds[1], &guess, &Silent).expect("memory");
    (sounds, pairs)
}

fn locked(shoot: &Performance) -> Measured {
    let (sounds, pairs) = found(shoot, 1607.3);
    let last = sounds[0].channels() - 1;
    assert_eq!(pairs.len(), 1, "one pair carries the signal: {pairs:#?}");
    assert_eq!((pairs[0].lead, pairs[0].follower), (last, last));
    match measure_common(&sounds[0], &sounds[1], &pairs[0], &Silent).expect("memory") {
        Outcome::Locked(measured) => *measured,
        other => panic!("SOUTH must lock: {other:#?}"),
    }
}

fn perform(choice: &CommonSignal) -> Performance {
    common_signal(choice).perform().expect("a shoot in memory")
}

#[test]
fn a_minute_of_flat_programme_at_40_db_is_known_to_thousandths_of_a_sample() {
    let shoot = perform(&CommonSignal {
        seconds: 60.0,
        ..Default::default()
    });
    let measured = locked(&shoot);
    let error = shoot
        .truth
        .compare("SOUTH", |k| measured.clock.lead_at(UnitPos(k)).0)
        .expect("SOUTH took part");
    assert!(
        error.rms <= 0.002 && error.max <= 0.01,
        "SOUTH's clock is off: {error:?}"
    );
    let far = (measured.offset.0 - shoot.truth.units[1].offset_samples).abs();
    assert!(
        far <= 3.0 * measured.offset_sigma.0,
        "offset off by {far}, claimed {:?}",
        measured.offset_sigma
    );
    assert!(measured.offset_sigma.0 < 0.01);
    assert_eq!(common_clock_shift(&measured), None);
}

#[test]
fn speech_at_40_db_is_known_to_hundredths_of_a_sample() {
    let shoot = perform(&CommonSignal {
        seconds: 60.0,
        programme: Programme::Speech,
        seed: 5,
        ..Default::default()
    });
    let measured = locked(&shoot);
    let error = shoot
        .truth
        .compare("SOUTH", |k| measured.clock.lead_at(UnitPos(k)).0)
        .expect("SOUTH took part");
    assert!(
        error.rms <= 0.01 && error.max <= 0.05,
        "SOUTH's clock is off: {error:?}"
    );
}

#[test]
fn common_clocks_are_a_whole_shift() {
    let shoot = identical_clocks(3, 30.0)
        .perform()
        .expect("a shoot in memory");
    let measured = locked(&shoot);
    assert_eq!(
        common_clock_shift(&measured),
        Some(60_000),
        "{:?}",
        measured.offset
    );
}

#[test]
fn common_clocks_a_fraction_of_a_sample_apart_are_common_all_the_same() {
    let shoot = perform(&CommonSignal {
        seconds: 30.0,
        ppm: 0.0,
        wander_ppm: 0.0,
        starts_after_s: (60_000.0 + 0.4) / 48_000.0,
        ..Default::default()
    });
    let measured = locked(&shoot);
    assert_eq!(common_clock_shift(&measured), Some(60_000));
    assert!(
        (measured.offset.0 - 60_000.4).abs() < 0.001,
        "{:?}",
        measured.offset
    );
}

#[test]
fn microphones_are_no_common_signal() {
    let shoot = perform(&CommonSignal {
        seconds: 30.0,
        mics: 2,
        ..Default::default()
    });
    let sounds: Vec<MemorySound> = shoot
        .units
        .iter()
        .map(|unit| MemorySound::new(SampleRate(unit.rate_hz), unit.planes[..2].to_vec()))
        .collect();
    let guess = Guess {
        offset: LeadPos(shoot.truth.units[1].offset_samples.round()),
        within: Samples(9600.0),
    };
    let pairs = find_common(&sounds[0], &sounds[1], &guess, &Silent).expect("memory");
    assert!(pairs.is_empty(), "{pairs:#?}");
}
