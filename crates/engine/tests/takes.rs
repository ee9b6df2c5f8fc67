//! Rehearsal shoots written as cards: the takes found, their sound and their places against what is true.

use engine::pair::{choose_lead, joint_takes};
use engine::progress::Silent;
use engine::signal::Sound;
use engine::take::{Survey, TakeSound, scan};
use rehearsal::{
    Channel, FrameRate, Performance, Resolution, Shoot, Sound as Sounding, Stamp, UnitSpec,
};

/// Two units over midnight, the second late, split into short parts and stamped to the timecode frame.
fn over_midnight() -> Shoot {
    Shoot::new(41)
        .named("NIGHT")
        .seconds(5.0)
        .time_of_day_s(86_397.5)
        .frame_rate(FrameRate {
            frames: 25,
            ..FrameRate::default()
        })
        .signal("tone", Sounding::tone(330.0), -20.0)
        .unit(
            UnitSpec::new("NORTH")
                .channel(Channel::common("Left", "tone"))
                .channel(Channel::open("Right").noise_dbfs(-50.0))
                .channel(Channel::open("Rear").noise_dbfs(-60.0)),
        )
        .unit(
            UnitSpec::new("SOUTH")
                .starts_after_s(1.2345)
                .stamp(Stamp::to_timecode_frame())
                .part_samples(30_000)
                .channel(Channel::common("Spot", "tone"))
                .channel(Channel::open("Hall").noise_dbfs(-50.0)),
        )
}

struct Shot {
    survey: Survey,
    performance: Performance,
    _root: tempfile::TempDir,
}

fn shot(shoot: &Shoot) -> Shot {
    let root = tempfile::tempdir().expect("temporary folder");
    let performance = shoot.perform().expect("performed");
    performance.write(root.path()).expect("written");
    let cards: Vec<_> = shoot
        .units
        .iter()
        .map(|unit| root.path().join(&unit.name))
        .collect();
    let surveyed = scan(&cards, &Silent).expect("surveyed");
    let grave: Vec<_> = surveyed
        .findings
        .iter()
        .filter(|f| f.weight > engine::finding::Weight::Note)
        .collect();
    assert!(grave.is_empty(), "{grave:#?}");
    Shot {
        survey: surveyed.value,
        performance,
        _root: root,
    }
}

#[test]
fn what_was_performed_is_what_is_read() {
    let shot = shot(&over_midnight());
    for unit in &shot.survey.units {
        assert_eq!(unit.takes.len(), 1, "{:#?}", unit.takes);
        let recorded = shot.performance.unit(&unit.name).expect("performed");
        let sound = TakeSound::open(&unit.takes[0].parts).expect("opened");
        let length = recorded.planes[0].len();
        assert_eq!(sound.length().0 as usize, length);
        let channels: Vec<usize> = (0..sound.channels()).rev().collect();
        let mut planes = vec![vec![0.0; length]; channels.len()];
        let mut slices: Vec<&mut [f64]> = planes.iter_mut().map(Vec::as_mut_slice).collect();
        sound.read(&channels, 0, &mut slices).expect("read");
        for (channel, plane) in channels.iter().zip(&planes) {
            // the files hold 32-bit floats
            let stored = recorded.planes[*channel]
                .iter()
                .map(|value| f64::from(*value as f32));
            let differing = stored
                .zip(plane)
                .filter(|(stored, read)| stored != *read)
                .count();
            assert_eq!(differing, 0, "{} channel {channel}", unit.name);
        }
    }
    assert_eq!(shot.survey.units[1].takes[0].parts.len(), 7);
    assert_eq!(shot.survey.units[1].takes[0].channels, ["Spot", "Hall"]);
}

#[test]
fn stamps_place_takes_as_well_as_they_are_fine() {
    let shot = shot(&over_midnight());
    let lead = choose_lead(&shot.survey, None).expect("a lead");
    assert_eq!(shot.survey.units[lead].name, "NORTH");
    let found = joint_takes(&shot.survey, lead, &[]);
    assert_eq!(found.value.len(), 1);
    let joint = &found.value[0];
    let follower = &joint.followers[0];
    let truth = shot.performance.truth.unit("SOUTH").expect("performed");
    assert!(truth.offset_samples > 0.0);
    // a stamp says which timecode frame of 1920 samples the unit started in
    let early = truth.offset_samples - follower.by_stamps.expect("stamped").0;
    assert!((0.0..1920.0).contains(&early), "{early}");
    assert_eq!(follower.resolution, 1920.0);
}

#[test]
fn stamps_good_to_a_sample_are_learnt_as_such() {
    let mut shoot = over_midnight();
    shoot.units[1].stamp.resolution = Resolution::Sample;
    let shot = shot(&shoot);
    let found = joint_takes(&shot.survey, 0, &[]);
    let follower = &found.value[0].followers[0];
    let truth = shot.performance.truth.unit("SOUTH").expect("performed");
    let apart = truth.offset_samples - follower.by_stamps.expect("stamped").0;
    assert!(apart.abs() <= 0.5, "{apart}");
    assert_eq!(follower.resolution, 1.0);
}

#[test]
fn a_unit_without_stamps_is_paired_and_said_so() {
    let mut shoot = over_midnight();
    shoot.units[1].stamp = Stamp::absent();
    shoot.units[1].part_samples = None;
    let shot = shot(&shoot);
    let found = joint_takes(&shot.survey, 0, &[]);
    let follower = &found.value[0].followers[0];
    assert_eq!(follower.by_stamps, None);
    assert_eq!(found.findings[0].code, "paired-by-order");
}
