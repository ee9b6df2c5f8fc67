//! Rooms of random size, with microphones and sources anywhere in them, in; how often the highest peak of the content is an
//! echo's, and how far a claim by sound alone reaches because of that, out.

use engine::clock::Outcome;
use engine::clock::acoustic::{AcousticRequest, measure_acoustic};
use engine::progress::Silent;
use engine::signal::Sound as _;
use engine::tie::Guess;
use engine::units::{LeadPos, Samples};
use rehearsal::{Channel, Crystal, Room, Shoot, Sound, Source, UnitSpec};

use super::scenes::Scene;
use super::score::quantiles;

/// Marsaglia, "Xorshift RNGs", J. Stat. Software 8(14), 2003, triple 13, 7, 17 (from memory).
struct Dice(u64);

impl Dice {
    fn of(seed: u64) -> Self {
        let mut dice = Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
        for _ in 0..9 {
            dice.between(0.0, 1.0);
        }
        dice
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        low + (high - low) * (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn count(&mut self, most: u64) -> usize {
        1 + self.between(0.0, most as f64) as usize
    }
}

fn scene(seed: u64) -> Scene {
    let mut dice = Dice::of(seed);
    let dims_m = [(4.0, 12.0), (3.5, 9.0), (2.5, 4.5)].map(|(low, high)| dice.between(low, high));
    let t60_s = dice.between(0.2, 1.2);
    let apart_m = dice.between(0.3, 3.0);
    let mics = dice.count(2);
    let middle = [
        dice.between(1.7, dims_m[0] - 1.7),
        dice.between(1.0, dims_m[1] - 1.0),
        dice.between(1.0, 2.0),
    ];
    let unit = |name: &str, side: f64| {
        let unit = UnitSpec::new(name).noise_dbfs(-75.0);
        (0..mics).fold(unit, |unit, i| {
            let place = [
                middle[0] + side * apart_m,
                middle[1] + 0.2 * i as f64,
                middle[2],
            ];
            unit.channel(Channel::mic(&format!("Mic {}", i + 1), place))
        })
    };
    let sources = dice.count(3);
    let south = unit("SOUTH", 0.5)
        .crystal(Crystal::steady(8.0))
        .starts_after_s(dice.between(0.3, 2.2));
    let shoot = Shoot::new(seed)
        .seconds(90.0)
        .room(Room { dims_m, t60_s })
        .unit(unit("NORTH", -0.5))
        .unit(south);
    let shoot = (0..sources).fold(shoot, |shoot, i| {
        let place = [
            dice.between(0.4, dims_m[0] - 0.4),
            dice.between(0.4, dims_m[1] - 0.4),
            dice.between(0.5, 2.0),
        ];
        let sound = match (i as u64 + seed) % 3 {
            0 => Sound::Speech {
                pitch_hz: 120.0 + 60.0 * i as f64,
            },
            1 => Sound::Bowed { lowest_hz: 196.0 },
            _ => Sound::Plucked {
                lowest_hz: 98.0,
                notes_per_s: 3.0,
            },
        };
        shoot.source(Source::new(place, sound).level_dbfs(-22.0))
    });
    Scene::of(&shoot, apart_m.hypot(0.2 * (mics - 1) as f64))
}

/// One row over so many rooms.
pub fn echoes(rooms: u64) {
    let (mut locked, mut echo, mut outside, mut untouched) = (0, 0, 0, 0);
    let mut added = Vec::new();
    for seed in 1..=rooms {
        let Scene {
            sounds: [lead, follower],
            offset,
            spacing_m,
            ..
        } = scene(seed);
        let request = AcousticRequest {
            lead: &lead,
            follower: &follower,
            pairs: None,
            guess: Guess {
                offset: LeadPos(offset.round()),
                within: Samples(1600.0),
            },
            spacing_m,
        };
        let heard = measure_acoustic(&request, &Silent).expect("sound in memory");
        let Some(lag) = heard
            .lag
            .filter(|_| matches!(heard.outcome, Outcome::Locked(_)))
        else {
            continue;
        };
        locked += 1;
        let allowed = Samples::of_air(spacing_m, lead.rate()).0 + 1.0;
        let away = (lag.pooled.best.0 - (offset.round() - offset)).abs();
        echo += usize::from(away > allowed);
        outside += usize::from(away > allowed + lag.pooled.doubt().0);
        untouched += usize::from(!lag.pooled.is_ambiguous());
        added.push(lag.pooled.doubt().0);
    }
    let [median, most, worst] = quantiles(&added);
    println!(
        "| rooms | locked | the highest peak is an echo's | truth outside the claim | one peak alone | added, samples: median | 90 % | worst |"
    );
    println!("|---|---|---|---|---|---|---|---|");
    println!(
        "| {rooms} | {locked} | {echo} | {outside} | {untouched} | {median:.0} | {most:.0} | {worst:.0} |"
    );
}
