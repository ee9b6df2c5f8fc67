//! Surveys without rhyme or reason: no panic, and every take is either joined or told.

use proptest::prelude::*;

use super::*;

/// A take with any stamp, rate, length, date and counting.
fn any_take() -> impl Strategy<Value = Take> {
    let rate = prop_oneof![Just(0), Just(1), Just(44_100), Just(48_000), Just(u32::MAX)];
    let stamp = prop_oneof![
        Just(None),
        (0..5_000_000_000_u64).prop_map(Some),
        any::<u64>().prop_map(Some)
    ];
    let length = prop_oneof![0..100_000_000_u64, any::<u64>()];
    let date = prop_oneof![Just(None), (0..=9999_i16, 0..24_i8).prop_map(Some)];
    (rate, stamp, length, date, 0..14_usize).prop_map(|(rate, stamp, length, date, index)| {
        let counting = Counting::new(FrameRate::ALL[index % 10], index >= 10).ok();
        Take {
            rate: SampleRate(rate),
            length: SampleCount(length),
            stamp: stamp.map(|samples| Stamp {
                samples,
                counting,
                source: "bext",
            }),
            recorded: date.and_then(|(year, hour)| DateTime::new(year, 5, 4, hour, 0, 0, 0).ok()),
            ..take("T", 0.0, 0.0)
        }
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 256, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn every_take_is_joined_or_told(units in prop::collection::vec(prop::collection::vec(any_take(), 0..5), 1..4)) {
        let names = ["NORTH", "SOUTH", "WEST"];
        let units: Vec<_> = names
            .into_iter()
            .zip(units)
            .map(|(name, mut takes)| {
                takes.iter_mut().zip(1..).for_each(|(take, number)| take.name = format!("T{number}"));
                (name, takes)
            })
            .collect();
        let shoot = survey(units);
        let Ok(lead) = choose_lead(&shoot, None) else {
            prop_assert!(shoot.units.iter().all(|unit| unit.takes.is_empty()));
            return Ok(());
        };
        let found = joint_takes(&shoot, lead, &[]);
        for take in shoot.units.iter().flat_map(|unit| &unit.takes) {
            let joined = found.value.iter().any(|joint| {
                std::ptr::eq(joint.lead, take) || joint.followers.iter().any(|f| std::ptr::eq(f.take, take))
            });
            let told = found.findings.iter().any(|f| (f.code == "ran-alone" || f.code == "false-start") && f.place == take.place());
            prop_assert!(joined != told, "{} joined {joined} told {told}", take.place());
        }
        let mut outputs: Vec<&str> = found.value.iter().map(|joint| joint.name.as_str()).collect();
        outputs.sort_unstable();
        outputs.dedup();
        prop_assert_eq!(outputs.len(), found.value.len());
    }

    #[test]
    fn the_quick_look_at_stamps_never_loses_a_pair(lead in any_take(), take in any_take()) {
        if let Some(place) = place::by_stamps(&lead, &take, 0) {
            prop_assert!(place.overlap_s < 0.0 || place::may_run_together(&lead, &take), "{place:?}");
        }
    }
}

#[test]
fn stamps_years_ahead_are_placed_by_the_day_their_labels_have() {
    // 400 days of 24/1.001 labels are 34 594.56 s longer than 400 days of 86 400 s
    let counting = Counting::new(FrameRate::F23_976, false).unwrap();
    let day_s = 86_400.0 * 1.001;
    let [lead, take] = [0.0, 400.0 * day_s].map(|stamp_s| {
        let mut take = take("T", stamp_s, 60.0);
        take.stamp.as_mut().unwrap().counting = Some(counting);
        take
    });
    let place = place::by_stamps(&lead, &take, 0).unwrap();
    assert!((place.overlap_s - 60.0).abs() < 1e-3, "{place:?}");
    assert!(place::may_run_together(&lead, &take));
}
