//! What a performance holds is held against closed forms and against its own truth.

use std::f64::consts::TAU;

use rehearsal::scenes::{self, CommonSignal, Programme, TwoArrays};
use rehearsal::{
    Channel, Crystal, Performance, Recorded, Room, Shoot, Sine, Slip, Sound, Source, Tone, UnitSpec,
};

fn rms(samples: &[f64]) -> f64 {
    (samples.iter().map(|x| x * x).sum::<f64>() / samples.len() as f64).sqrt()
}

fn wandering() -> Crystal {
    let wander = vec![
        Sine {
            ppm: 0.2,
            period_s: 5.0,
            phase: 0.7,
        },
        Sine {
            ppm: 0.1,
            period_s: 2.0,
            phase: 1.0,
        },
    ];
    Crystal {
        ppm: 12.0,
        wander,
        segments: Vec::new(),
    }
}

/// The worst miss of a unit's only plane against a sine of RMS -20 dB that arrives `late_s` late, dB below its peak.
fn worst_miss_db(performance: &Performance, tone: Tone, late_s: f64) -> f64 {
    let clock = &performance.truth.units[0].clock;
    let peak = 0.1 * 2.0_f64.sqrt();
    let miss = performance.units[0].planes[0]
        .iter()
        .enumerate()
        .map(|(k, found)| {
            let t_s = clock.time_of(k as f64) - late_s;
            (found - peak * (TAU * tone.frequency_hz * t_s + tone.phase).sin()).abs()
        })
        .fold(0.0, f64::max);
    20.0 * (miss / peak).log10()
}

/// A tone in the open field, 1 m away, is `sin(2 pi f (t - 1 / c))`: nothing but the clock's law and a sine.
#[test]
fn a_microphone_hears_a_tone_where_closed_form_puts_it() {
    for (rate_hz, frequency_hz) in [(48_000, 1_000.0), (48_000, 19_500.5), (44_100, 7_777.7)] {
        let tone = Tone {
            frequency_hz,
            amplitude: 1.0,
            phase: 0.4,
        };
        let unit = UnitSpec::new("NORTH").rate_hz(rate_hz).crystal(wandering());
        let shoot = Shoot::new(3)
            .seconds(4.0)
            .source(Source::new([0.0; 3], Sound::Tones(vec![tone])))
            .unit(
                unit.starts_after_s(0.123_456_7)
                    .channel(Channel::mic("", [1.0, 0.0, 0.0])),
            );
        let miss_db = worst_miss_db(&shoot.perform().unwrap(), tone, 1.0 / 343.2);
        assert!(
            miss_db < -150.0,
            "{rate_hz} Hz, tone of {frequency_hz} Hz: {miss_db:.1} dB"
        );
    }
}

#[test]
fn a_tone_on_a_wire_is_exact() {
    let tone = Tone {
        frequency_hz: 9_999.9,
        amplitude: 3.0,
        phase: -1.0,
    };
    let unit = UnitSpec::new("NORTH")
        .crystal(wandering())
        .starts_after_s(0.5);
    let shoot = Shoot::new(3)
        .seconds(3.0)
        .signal("link", Sound::Tones(vec![tone]), -20.0)
        .unit(unit.channel(Channel::common("", "link")));
    let miss_db = worst_miss_db(&shoot.perform().unwrap(), tone, 0.0);
    assert!(miss_db < -180.0, "{miss_db:.1} dB");
}

#[test]
fn noise_signal_and_their_ratio_are_those_asked_for() {
    let choice = CommonSignal {
        seconds: 6.0,
        snr_db: 40.0,
        mics: 0,
        ..CommonSignal::default()
    };
    let noisy = scenes::common_signal(&choice);
    let mut quiet = noisy.clone();
    quiet
        .units
        .iter_mut()
        .for_each(|unit| unit.noise_dbfs = None);
    let (noisy, quiet) = (noisy.perform().unwrap(), quiet.perform().unwrap());
    for (noisy, quiet) in noisy.units.iter().zip(&quiet.units) {
        let signal = &quiet.planes[0];
        let noise: Vec<f64> = noisy.planes[0]
            .iter()
            .zip(signal)
            .map(|(a, b)| a - b)
            .collect();
        assert!((20.0 * rms(signal).log10() + 20.0).abs() < 0.05);
        // The part of the white noise between 60 Hz and 19 kHz is 18 940 / 24 000 of its power.
        let in_band = rms(&noise) * (18_940.0_f64 / 24_000.0).sqrt();
        assert!((20.0 * (rms(signal) / in_band).log10() - 40.0).abs() < 0.1);
    }
}

#[test]
fn one_seed_gives_one_performance_and_another_gives_another() {
    let choice = |seed| TwoArrays {
        seed,
        seconds: 1.5,
        ..TwoArrays::default()
    };
    let first = scenes::two_arrays(&choice(1)).perform().unwrap();
    let again = scenes::two_arrays(&choice(1)).perform().unwrap();
    let other = scenes::two_arrays(&choice(2)).perform().unwrap();
    assert!(first.units == again.units, "one seed, two performances");
    assert!(first.units != other.units, "two seeds, one performance");
    assert_eq!(first.truth, again.truth);
}

/// The noise of two inputs, and of two units, has nothing in common.
#[test]
fn noise_of_inputs_is_independent() {
    let unit = |name: &str| {
        UnitSpec::new(name)
            .noise_dbfs(0.0)
            .channel(Channel::open("1"))
            .channel(Channel::open("2"))
    };
    let shoot = Shoot::new(9)
        .seconds(2.0)
        .unit(unit("NORTH"))
        .unit(unit("SOUTH"));
    let performance = shoot.perform().unwrap();
    let planes: Vec<&Vec<f64>> = performance
        .units
        .iter()
        .flat_map(|unit| &unit.planes)
        .collect();
    for (i, a) in planes.iter().enumerate() {
        assert!((rms(a) - 1.0).abs() < 0.02);
        for b in &planes[..i] {
            let common = a.iter().zip(*b).map(|(a, b)| a * b).sum::<f64>() / a.len() as f64;
            assert!(common.abs() < 5.0 / (a.len() as f64).sqrt());
        }
    }
}

#[test]
fn identical_clocks_give_identical_samples_at_a_whole_shift() {
    let mut shoot = scenes::identical_clocks(4, 4.0);
    shoot
        .units
        .iter_mut()
        .for_each(|unit| unit.noise_dbfs = None);
    let performance = shoot.perform().unwrap();
    assert_eq!(performance.truth.units[1].offset_samples, 60_000.0);
    let link = |unit: &Recorded| unit.planes[1].clone();
    let (lead, follower) = (link(&performance.units[0]), link(&performance.units[1]));
    assert!(lead[60_000..] == follower[..], "samples differ");
    assert!(rms(&follower) > 0.05);
}

#[test]
fn slips_lose_and_double_samples() {
    let shoot = |slips: &[Slip]| {
        let unit = UnitSpec::new("NORTH")
            .noise_dbfs(-40.0)
            .crystal(wandering());
        let unit = unit.channel(Channel::common("", "link"));
        let unit = slips.iter().fold(unit, |unit, &slip| unit.slip(slip));
        let shoot = Shoot::new(3)
            .seconds(3.0)
            .signal("link", Sound::programme(), -20.0);
        shoot.unit(unit).perform().unwrap().units[0].planes[0].clone()
    };
    let whole = shoot(&[]);
    let missing = Slip {
        at_sample: 50_000,
        samples: -441,
    };
    let doubled = Slip {
        at_sample: 90_000,
        samples: 700,
    };
    let slipped = shoot(&[missing, doubled]);
    assert_eq!(slipped.len(), whole.len() - 441 + 700);
    let same = |a: &[f64], b: &[f64]| assert!(a == b, "samples differ");
    same(&slipped[..50_000], &whole[..50_000]);
    same(&slipped[50_000..90_000], &whole[50_441..90_441]);
    same(&slipped[90_000..90_700], &slipped[89_300..90_000]);
    same(&slipped[90_700..], &whole[90_441..]);
}

#[test]
fn rooms_share_no_sound() {
    let shoot = scenes::unrelated(1, 2.0);
    let mut silent = shoot.clone();
    silent
        .sources
        .iter_mut()
        .filter(|s| s.room == 1)
        .for_each(|s| s.sound = Sound::Silence);
    let (all, silent) = (shoot.perform().unwrap(), silent.perform().unwrap());
    assert!(
        all.units[0] == silent.units[0],
        "sound of the other room is heard"
    );
    assert!(rms(&all.units[1].planes[0]) > 10.0 * rms(&silent.units[1].planes[0]));
}

#[test]
fn comparing_a_clock_with_the_truth_tells_by_how_much_it_is_off() {
    let choice = CommonSignal {
        seconds: 3.0,
        mics: 0,
        ..CommonSignal::default()
    };
    let truth = scenes::common_signal(&choice).perform().unwrap().truth;
    let exact = |k: f64| truth.lead_position("SOUTH", k).unwrap();
    let same = truth.compare("SOUTH", exact).unwrap();
    assert!(same.max < 1e-8 && same.rate_error_ppm.abs() < 1e-6);
    // Half a sample late and 2 ppm too fast: positions on the lead grow 2 ppm too slowly.
    let off = truth
        .compare("SOUTH", |k| exact(k) + 0.5 - 2e-6 * k)
        .unwrap();
    assert!((off.offset_error - 0.5).abs() < 1e-8);
    assert!((off.rate_error_ppm - 2.0).abs() < 1e-4);
    assert!((truth.follower_position("SOUTH", exact(1234.5)).unwrap() - 1234.5).abs() < 1e-8);
}

#[test]
fn plans_that_contradict_themselves_are_refused() {
    let unit = |name: &str| UnitSpec::new(name).channel(Channel::open(""));
    let refused = |shoot: Shoot| shoot.perform().unwrap_err().to_string();
    assert!(refused(Shoot::new(1)).contains("no unit"));
    assert!(refused(Shoot::new(1).unit(unit("A")).unit(unit("A"))).contains("same name"));
    assert!(refused(Shoot::new(1).unit(unit("../A"))).contains("folder"));
    assert!(refused(Shoot::new(1).named("a/b").unit(unit("A"))).contains("part of a file"));
    assert!(refused(Shoot::new(1).unit(UnitSpec::new("A"))).contains("no channel"));
    let wired = UnitSpec::new("A").channel(Channel::common("", "nothing"));
    assert!(refused(Shoot::new(1).unit(wired)).contains("does not exist"));
    let room = Room {
        dims_m: [3.0; 3],
        t60_s: 0.3,
    };
    let source = Source::new([1.0, 1.0, 3.5], Sound::Silence);
    let shoot = Shoot::new(1).room(room).source(source).unit(unit("A"));
    assert!(refused(shoot).contains("outside"));
    let outside = UnitSpec::new("A").channel(Channel::mic("", [4.0, 1.0, 1.0]));
    assert!(refused(Shoot::new(1).room(room).unit(outside)).contains("outside"));
}

#[test]
fn every_kind_of_sound_sounds() {
    let drone = Sound::Drone { pitch_hz: 98.0 };
    let sounds = [
        Sound::tone(440.0),
        Sound::Bowed { lowest_hz: 196.0 },
        Sound::Choir { lowest_hz: 110.0 },
        Sound::Loop {
            sound: Box::new(Sound::programme()),
            period_s: 0.5,
        },
        Sound::Turns {
            sounds: vec![drone, Sound::Speech { pitch_hz: 200.0 }],
            turn_s: 2.0,
        },
    ];
    for sound in sounds {
        let programme = Programme::Other(sound.clone());
        let choice = CommonSignal {
            seconds: 5.0,
            programme,
            mics: 0,
            ..CommonSignal::default()
        };
        let performance = scenes::common_signal(&choice).perform().unwrap();
        let level_db = 20.0 * rms(&performance.units[0].planes[0]).log10();
        assert!((level_db + 20.0).abs() < 0.1, "{sound:?}: {level_db}");
    }
    let clapping = Shoot::new(1)
        .seconds(2.0)
        .source(Source::new([0.0; 3], Sound::Claps { at_s: vec![1.0] }).level_dbfs(-6.0))
        .unit(UnitSpec::new("A").channel(Channel::mic("", [0.0, 1.0, 0.0])));
    let plane = clapping.perform().unwrap().units[0].planes[0].clone();
    let arrival = (48_000.0 * (1.0 + 1.0 / 343.2)) as usize;
    assert!(rms(&plane[..arrival - 200]) < 1e-6);
    assert!(rms(&plane[arrival..arrival + 960]) > 0.02);
}

#[test]
fn the_demo_has_two_units_of_six_inputs_and_a_long_take_with_one_microphone_on_both() {
    let shoots = scenes::demo().shoots;
    assert_eq!(
        shoots.iter().map(|s| s.units.len()).collect::<Vec<_>>(),
        [1, 2, 2]
    );
    assert!(shoots[1].seconds >= 180.0);
    let feeds = |take: usize| {
        shoots[take]
            .units
            .iter()
            .flat_map(|u| &u.channels)
            .map(|c| &c.feed)
    };
    assert!((0..3).all(|take| {
        shoots[take]
            .units
            .iter()
            .all(|unit| unit.channels.len() == 6)
    }));
    let shared =
        |take: usize| feeds(take).filter(move |a| feeds(take).filter(|b| a == b).count() == 2);
    assert_eq!([shared(1).count(), shared(2).count()], [2, 0]);
    // The takes lie in order, none over another.
    assert!(
        shoots
            .windows(2)
            .all(|s| s[0].time_of_day_s + s[0].seconds < s[1].time_of_day_s)
    );
}

#[test]
fn gain_and_polarity_are_the_channels_own() {
    let place = [0.5, 0.5, 0.0];
    let unit = UnitSpec::new("A")
        .channel(Channel::mic("", place))
        .channel(Channel::mic("", place).inverted().gain_db(20.0));
    let source = Source::new([0.0; 3], Sound::programme());
    let shoot = Shoot::new(1).seconds(1.0).source(source).unit(unit);
    let planes = shoot.perform().unwrap().units[0].planes.clone();
    for (plain, other) in planes[0].iter().zip(&planes[1]) {
        assert!((10.0 * plain + other).abs() < 1e-12);
    }
}

#[test]
fn what_comes_late_comes_late_by_that_much_and_on_that_input_alone() {
    for sound in [Sound::programme(), Sound::tone(1000.0)] {
        let shoot = Shoot::new(3)
            .seconds(1.0)
            .signal("link", sound, -20.0)
            .unit(
                UnitSpec::new("NORTH")
                    .channel(Channel::common("Straight", "link"))
                    .channel(Channel::common("Radio", "link").late_s(240.0 / 48_000.0)),
            );
        let performance = shoot.perform().expect("performed");
        let planes = &performance.units[0].planes;
        let (straight, late) = (&planes[0][..40_000], &planes[1][240..40_240]);
        let apart = straight
            .iter()
            .zip(late)
            .fold(0.0_f64, |most, (a, b)| most.max((a - b).abs()));
        assert!(apart < 1e-9, "off by {apart}");
        assert!(rms(&planes[0]) > 0.05);
    }
    let early = Channel::common("Radio", "link").late_s(-0.1);
    let shoot = Shoot::new(3).signal("link", Sound::programme(), -20.0);
    let refused = shoot.unit(UnitSpec::new("NORTH").channel(early)).perform();
    assert!(refused.is_err(), "nothing comes before it was sent");
}
