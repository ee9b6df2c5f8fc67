//! Rehearsed shoots in, the clock by content held against their truth; and shoots in which there is nothing to find.

mod moving;

use engine::clock::acoustic::{AcousticOutcome, AcousticRequest, measure_acoustic};
use engine::clock::{Measured, Outcome};
use engine::progress::Silent;
use engine::signal::{MemorySound, Sound as _};
use engine::tie::Guess;
use engine::units::{LeadPos, SampleRate, Samples, UnitPos};
use moving::{Motion, Stage};
use rehearsal::scenes::{TwoArrays, two_arrays, unrelated};
use rehearsal::{
    Channel, Comparison, Crystal, Performance, Room, Shoot, Sound, Source, Truth, UnitSpec,
};

/// A performed shoot and what is asked about it.
struct Trial {
    sounds: [MemorySound; 2],
    truth: Option<Truth>,
    offset: f64,
    within: f64,
    spacing_m: f64,
}

impl Trial {
    fn of(shoot: &Shoot) -> Self {
        let Performance { truth, units } = shoot.perform().expect("a performance");
        let offset = truth.units[1].offset_samples;
        let mut sounds = units
            .into_iter()
            .map(|unit| MemorySound::new(SampleRate(unit.rate_hz), unit.planes));
        Self {
            sounds: [(); 2].map(|()| sounds.next().expect("two units")),
            truth: Some(truth),
            offset,
            within: 480.0,
            spacing_m: 2.0,
        }
    }

    /// The guess is `wrong` samples late and said to be good to `within`.
    fn guessed(self, wrong: f64, within: f64) -> Self {
        Self {
            offset: self.offset + wrong,
            within,
            ..self
        }
    }

    fn measure(&self) -> AcousticOutcome {
        let request = AcousticRequest {
            lead: &self.sounds[0],
            follower: &self.sounds[1],
            pairs: None,
            guess: Guess {
                offset: LeadPos(self.offset),
                within: Samples(self.within),
            },
            spacing_m: self.spacing_m,
        };
        measure_acoustic(&request, &Silent).expect("sound in memory")
    }

    fn compare(&self, measured: &Measured) -> Comparison {
        let truth = self.truth.as_ref().expect("truth");
        truth
            .compare(&truth.units[1].name, |k| {
                measured.clock.lead_at(UnitPos(k)).0
            })
            .expect("a common span")
    }

    fn rate_ppm(&self) -> f64 {
        self.truth.as_ref().expect("truth").units[1].rate_ppm
    }

    /// Asserts that no clock is found and says why none is.
    fn expect_none(&self) -> String {
        match self.measure().outcome {
            Outcome::Locked(measured) => {
                panic!("locked at {} by {:?}", measured.rate, measured.signs)
            }
            Outcome::NotEstablished { why, .. } => why,
        }
    }
}

fn locked(found: &AcousticOutcome) -> &Measured {
    match &found.outcome {
        Outcome::Locked(measured) => measured,
        Outcome::NotEstablished { why, signs, .. } => panic!("{why}: {signs:?}"),
    }
}

fn short_arrays(seconds: f64) -> TwoArrays {
    TwoArrays {
        seconds,
        ..TwoArrays::default()
    }
}

/// Two units 2 m apart in a room of 7.2 by 5.6 by 3 m, one sound in it.
fn room_with(sound: Sound, seconds: f64) -> Shoot {
    let unit = |name: &str, x_m: f64| {
        UnitSpec::new(name)
            .noise_dbfs(-75.0)
            .channel(Channel::mic("Mic", [x_m, 2.6, 1.4]))
    };
    Shoot::new(5)
        .seconds(seconds)
        .room(Room {
            dims_m: [7.2, 5.6, 3.0],
            t60_s: 0.4,
        })
        .source(Source::new([1.4, 4.3, 1.5], sound).level_dbfs(-22.0))
        .unit(unit("NORTH", 2.6))
        .unit(
            unit("SOUTH", 4.6)
                .crystal(Crystal::steady(-9.0))
                .starts_after_s(0.3),
        )
}

#[test]
fn two_arrays_in_a_room() {
    let trial = Trial::of(&two_arrays(&short_arrays(90.0)));
    let found = trial.measure();
    let measured = locked(&found);
    let miss = trial.compare(measured);
    let rate_error = measured.rate.0 - trial.rate_ppm();
    assert!(rate_error.abs() < 0.03, "{rate_error} ppm");
    assert!(rate_error.abs() < 4.0 * measured.rate_sigma.0);
    assert!(miss.rms_about_mean < 0.05, "{miss:?}");
    // The offset is the guess's, whatever the content says; and the content lies within the distance.
    assert!(miss.offset_error.abs() < 1e-6, "{miss:?}");
    let lag = found.lag.expect("a lag");
    let spacing = Samples::of_air(trial.spacing_m, SampleRate(48_000)).0;
    assert!(lag.pooled.best.0.abs() < spacing, "{lag:?}");
    assert!(lag.within_spacing > 0.75, "{lag:?}");
}

#[test]
fn knots_keep_the_contract() {
    let trial = Trial::of(&two_arrays(&short_arrays(30.0)));
    let found = trial.measure();
    let measured = locked(&found);
    let knots = measured.clock.knots();
    let last = trial.sounds[1].length().0 as f64 - 1.0;
    assert_eq!(knots[0].follower, UnitPos(0.0));
    assert!((knots[knots.len() - 1].follower.0 - last).abs() < 1e-6);
    for pair in knots.windows(2) {
        assert!((pair[1].follower - pair[0].follower).0 <= 240_000.0);
    }
    let sigma = |i: usize| knots[i].sigma.0;
    assert!(sigma(0) > sigma(knots.len() / 2), "ends are less certain");
    assert!(measured.ties.len() >= 10);
    assert!(
        measured
            .ties
            .windows(2)
            .all(|pair| pair[0].lead.0 < pair[1].lead.0)
    );
}

/// The prior half a second wrong: the rate comes out all the same, the lag says by how much.
#[test]
fn a_guess_half_a_second_off() {
    let trial = Trial::of(&two_arrays(&short_arrays(60.0))).guessed(24_000.0, 48_000.0);
    let found = trial.measure();
    let measured = locked(&found);
    assert!(trial.compare(measured).rms_about_mean < 0.05);
    let lag = found.lag.as_ref().expect("a lag").pooled.best.0;
    let spacing = Samples::of_air(trial.spacing_m, SampleRate(48_000)).0;
    assert!((lag - 24_000.0).abs() < spacing, "{lag}");
}

#[test]
fn a_guess_further_off_than_it_says_gives_no_clock() {
    let trial = Trial::of(&two_arrays(&short_arrays(60.0)));
    trial.guessed(60_000.0, 24_000.0).expect_none();
}

#[test]
fn rooms_that_share_nothing() {
    for seed in [3, 4] {
        Trial::of(&unrelated(seed, 50.0)).expect_none();
    }
}

#[test]
fn silence() {
    let quiet = Trial::of(&room_with(Sound::Silence, 40.0));
    quiet.expect_none();
    let length = quiet.sounds[0].length().0 as usize;
    let nothing = MemorySound::new(SampleRate(48_000), vec![vec![0.0; length]]);
    Trial {
        sounds: [nothing.clone(), nothing],
        ..quiet
    }
    .expect_none();
}

#[test]
fn steady_tones() {
    Trial::of(&room_with(Sound::Drone { pitch_hz: 220.0 }, 50.0)).expect_none();
    Trial::of(&room_with(Sound::tone(440.0), 50.0)).expect_none();
}

/// A loop fits at every repetition: without a prior there is no telling, with one timecode frame it comes out right.
#[test]
fn a_loop() {
    let looped = || {
        let sound = Sound::Loop {
            sound: Box::new(Sound::programme()),
            period_s: 0.5,
        };
        room_with(sound, 40.0)
    };
    let trial = Trial::of(&looped()).guessed(1_000.0, 2_000.0);
    let found = trial.measure();
    assert!((locked(&found).rate.0 - trial.rate_ppm()).abs() < 0.05);
    for wrong in [0.0, 12_000.0] {
        let trial = Trial::of(&looped()).guessed(wrong, 48_000.0);
        trial.expect_none();
    }
}

#[test]
fn too_short_a_take_says_so() {
    let why = Trial::of(&two_arrays(&short_arrays(12.0))).expect_none();
    assert!(why.contains("20 s"), "{why}");
}

#[test]
fn forty_four_one() {
    let mut shoot = room_with(Sound::programme(), 40.0);
    shoot
        .units
        .iter_mut()
        .for_each(|unit| unit.rate_hz = 44_100);
    let trial = Trial::of(&shoot);
    let found = trial.measure();
    assert!((locked(&found).rate.0 - trial.rate_ppm()).abs() < 0.05);
}

#[test]
fn rates_that_differ_are_an_error() {
    let trial = Trial::of(&room_with(Sound::Silence, 1.0));
    let other = MemorySound::new(SampleRate(44_100), vec![vec![0.0; 44_100]]);
    let request = AcousticRequest {
        lead: &trial.sounds[0],
        follower: &other,
        pairs: None,
        guess: Guess {
            offset: LeadPos(0.0),
            within: Samples(0.0),
        },
        spacing_m: 1.0,
    };
    let wrong = measure_acoustic(&request, &Silent).expect_err("two rates");
    assert_eq!(wrong.kind(), engine::Kind::Unsupported);
}

/// One talker alone, nothing else to hear; 12 ppm.
fn lone_talker(motion: Motion) -> Stage {
    Stage {
        seed: 8,
        seconds: 60.0,
        talkers: 1,
        motion,
        fan_db: None,
        apart_m: 2.0,
        reflections: 1,
        ppm: 12.0,
    }
}

fn on(stage: &Stage) -> Trial {
    Trial {
        sounds: stage.perform(),
        truth: None,
        offset: 0.0,
        within: 160.0,
        spacing_m: 2.0,
    }
}

/// Without anything that stays where it is there is no clock to be heard.
#[test]
fn a_lone_walker_gives_no_clock_but_a_talker_who_stands_does() {
    on(&lone_talker(Motion::Walk)).expect_none();
    let stage = lone_talker(Motion::Still);
    let found = on(&stage).measure();
    let clock = &locked(&found).clock;
    let miss = |k: f64| clock.lead_at(UnitPos(k)).0 - stage.lead_at(k);
    for k in [0.0, 2e5, 5e5, 9e5] {
        assert!(miss(k).abs() < 0.1, "{} at {k}", miss(k));
    }
}

/// A crystal that changes its rate by 3 ppm and back within the take: the clock follows, and knows how well.
#[test]
fn a_crystal_that_changes_its_rate() {
    let mut shoot = two_arrays(&short_arrays(130.0));
    let change = |from_s, ppm| rehearsal::Segment { from_s, ppm };
    shoot.units[1].crystal.segments = vec![change(45.0, 3.0), change(90.0, -3.0)];
    let trial = Trial::of(&shoot);
    let found = trial.measure();
    let measured = locked(&found);
    let miss = trial.compare(measured);
    // two jumps of 3 ppm in two minutes: the corners are rounded by some tenths of a sample for seconds
    assert!(miss.rms_about_mean < 0.12, "{miss:?}");
    let knots = measured.clock.knots();
    assert!(miss.rms_about_mean < 2.0 * knots[knots.len() / 2].sigma.0);
}
