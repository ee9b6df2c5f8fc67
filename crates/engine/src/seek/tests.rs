//! Takes rehearsed in memory are found among each other by their sound; numbers alone decide what is settled.

use rehearsal::scenes::{TwoArrays, two_arrays};
use rehearsal::{Crystal, Shoot};

use super::*;
use crate::pair::Ground;
use crate::pair::tests::{survey, take};
use crate::progress::Silent;
use crate::signal::MemorySound;
use crate::units::SampleRate;

fn shoot(seed: u64) -> Shoot {
    two_arrays(&TwoArrays {
        seed,
        seconds: 30.0,
        mics: 1,
        ..TwoArrays::default()
    })
}

/// What a unit of the shoot recorded, its samples declared to be of `claimed_hz`.
fn onsets(shoot: &Shoot, unit: &str, claimed_hz: u32) -> Onsets {
    let performed = shoot.perform().expect("a shoot");
    let planes = performed.unit(unit).expect("it took part").planes.clone();
    let sound = MemorySound::new(SampleRate(claimed_hz), planes);
    Onsets::of(&sound, &Silent).expect("in memory")
}

#[test]
fn takes_in_any_order_find_each_other_and_nothing_else() {
    let shoots = [shoot(1), shoot(2), shoot(3)];
    let lead: Vec<Onsets> = shoots.iter().map(|s| onsets(s, "NORTH", 48_000)).collect();
    let order = [2, 0];
    let follower: Vec<Onsets> = order
        .iter()
        .map(|&i| onsets(&shoots[i], "SOUTH", 48_000))
        .collect();
    let found = among(&lead, &follower, &Silent);
    for (take, &own) in order.iter().enumerate() {
        let place = found
            .iter()
            .find(|place| place.fit.take == take)
            .expect("a place");
        // two_arrays: SOUTH starts 0.73 s after NORTH, microphones 1.5 m = 4 ms apart
        assert_eq!(place.fit.lead, own);
        assert!((place.fit.offset_s - 0.73).abs() < 0.03, "{place:?}");
        assert!(place.fit.height > 10.0 && place.margin > 2.0, "{place:?}");
    }
    // the takes that do not belong together stay below what chance gives
    assert!(
        found[2..].iter().all(|place| place.fit.height < 7.0),
        "{found:#?}"
    );
}

#[test]
fn what_was_played_twice_is_not_told_apart() {
    let twice = shoot(4);
    let lead = [
        onsets(&twice, "NORTH", 48_000),
        onsets(&twice, "NORTH", 48_000),
    ];
    let found = among(&lead, &[onsets(&twice, "SOUTH", 48_000)], &Silent);
    assert!(found[0].margin < 1.01, "{:?}", found[0]);
    assert_eq!(found[0].rivals[0].lead, 1 - found[0].fit.lead);
}

#[test]
fn files_that_claim_another_rate_are_found_out() {
    // needs, row 18: 27 ppm is a crystal; 1.001 is pulled; 44.1 stamped as 48; 1.0123 is a fault
    let lead = [onsets(&shoot(5), "NORTH", 48_000)];
    let follower = |ppm: f64, rate_hz: u32| {
        let mut shoot = shoot(5);
        shoot.units[1].crystal = Crystal::steady(ppm);
        shoot.units[1].rate_hz = rate_hz;
        [onsets(&shoot, "SOUTH", 48_000)]
    };
    assert_eq!(speed(&lead, &follower(27.0, 48_000), &Silent), None);
    for (ppm, rate_hz, expected) in [
        (1000.0, 48_000, 1.001),
        (0.0, 44_100, 44.1 / 48.0),
        (12_300.0, 48_000, 1.0123),
    ] {
        let found = speed(&lead, &follower(ppm, rate_hz), &Silent).expect("a speed");
        assert!(
            (found.ratio - expected).abs() < 2e-4,
            "{expected}: {found:?}"
        );
    }
}

fn fit(lead: usize, take: usize, offset_s: f64, height: f64) -> Fit {
    Fit {
        lead,
        take,
        offset_s,
        height,
        heard_s: (0.0, 60.0),
    }
}

fn place(fit: Fit, rival: Option<Fit>) -> Place {
    Place {
        margin: rival.map_or(f64::INFINITY, |rival| fit.height / rival.height),
        rivals: rival.into_iter().collect(),
        fit,
    }
}

/// Three takes each; SOUTH's stamps are 500 s early.
fn settled(places: &[Place]) -> Vec<Heard> {
    let starts = [1000.0, 2000.0, 3000.0];
    let survey = survey(vec![
        ("NORTH", starts.map(|s| take("N", s, 60.0)).to_vec()),
        ("SOUTH", starts.map(|s| take("S", s - 500.0, 60.0)).to_vec()),
    ]);
    let all = [0, 1, 2];
    Scope {
        lead: &survey.units[0],
        unit: &survey.units[1],
        index: 1,
        leads: &all,
        takes: &all,
    }
    .settle(places)
}

#[test]
fn a_take_too_quiet_to_be_heard_follows_its_neighbours() {
    let heard = settled(&[
        place(fit(0, 0, 0.0, 20.0), None),
        place(fit(2, 2, 0.01, 15.0), None),
    ]);
    let places: Vec<(usize, usize)> = heard.iter().map(|h| (h.lead_take, h.take)).collect();
    assert_eq!(places, [(0, 0), (2, 2), (1, 1)]);
    assert!(matches!(heard[0].ground, Ground::Sound { alike: 2, .. }));
    assert_eq!(heard[2].ground, Ground::SameDifference { takes: 2 });
    assert!(heard[2].offset_s.abs() < 0.01);
    // one take alone speaks for no other
    assert_eq!(settled(&[place(fit(0, 0, 0.0, 20.0), None)]).len(), 1);
    // neighbours that disagree speak for none either
    let apart = settled(&[
        place(fit(0, 0, 0.0, 20.0), None),
        place(fit(2, 2, 8.2, 15.0), None),
    ]);
    assert_eq!(apart.len(), 2);
    assert!(matches!(apart[0].ground, Ground::Sound { alike: 1, .. }));
}

#[test]
fn of_two_places_the_stamps_of_others_choose() {
    let (right, wrong) = (fit(1, 1, 0.0, 14.0), fit(2, 1, 3.0, 14.5));
    let unclear = place(wrong, Some(right));
    // nobody knows ...
    assert!(settled(std::slice::from_ref(&unclear)).is_empty());
    // ... until two others say by how much the stamps are wrong
    let heard = settled(&[
        place(fit(0, 0, 0.0, 20.0), None),
        place(fit(2, 2, 0.0, 18.0), None),
        unclear,
    ]);
    let middle = heard.iter().find(|h| h.take == 1).expect("settled");
    assert_eq!((middle.lead_take, middle.offset_s), (1, 0.0));
}

#[test]
fn where_the_sound_agrees_with_the_stamps_the_stamps_place() {
    let heard = settled(&[
        place(fit(0, 0, -499.8, 20.0), None),
        place(fit(2, 2, -499.9, 18.0), None),
    ]);
    assert!(heard.is_empty(), "{heard:?}");
}
