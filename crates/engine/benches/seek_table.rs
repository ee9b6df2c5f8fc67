//! Takes of rehearsed shoots in, how high true places and the highest of unrelated takes stand out. Runs only when asked,
//! after `cargo bench -p commontime-engine --bench seek_table --`:
//! `heights [SECONDS [APART_M [TAKES [NOISE_DBFS]]]]` compares every take of one unit with every take of the other;
//! takes of different shoots are made by the same generators from other seeds and have nothing to do with each other.
//! `cards LEAD FOLLOWER` finds the takes of two cards (`cargo run --release -p commontime-rehearsal --example many_takes`)
//! by their sound alone.
#![expect(clippy::print_stdout, reason = "a table for whoever asked for it")]

use std::time::Instant;

use engine::pair::Ground;
use engine::progress::Silent;
use engine::seek::{Ears, Fit, Onsets, Wanted, among};
use engine::signal::MemorySound;
use engine::take::scan;
use engine::units::SampleRate;
use rehearsal::scenes::{TwoArrays, two_arrays};
use rehearsal::{Shoot, Sound};

fn main() {
    let words: Vec<String> = std::env::args()
        .skip(1)
        .filter(|word| !word.starts_with("--"))
        .collect();
    let number = |i: usize, default: f64| {
        let given = words.get(i).and_then(|word| word.parse().ok());
        given.unwrap_or(default)
    };
    if let [word, lead, follower] = &words[..]
        && word == "cards"
    {
        cards(lead, follower);
    }
    if words.first().map(String::as_str) == Some("heights") {
        heights(
            number(1, 120.0),
            number(2, 2.0),
            number(3, 12.0) as u64,
            number(4, -75.0),
        );
    }
}

/// Loops, talkers, music, steady noise: what the takes are made of, in turn.
fn sounds(seed: u64) -> [Sound; 3] {
    let talk = |pitch_hz| Sound::Speech { pitch_hz };
    let plucked = |notes_per_s| Sound::Plucked {
        lowest_hz: 98.0,
        notes_per_s,
    };
    let bowed = Sound::Bowed { lowest_hz: 196.0 };
    match seed % 4 {
        0 => [talk(120.0), bowed, plucked(3.0)],
        1 => [talk(105.0), talk(180.0), talk(140.0)],
        2 => [plucked(4.0), plucked(2.0), bowed],
        _ => [
            Sound::Choir { lowest_hz: 130.0 },
            bowed,
            Sound::Noise {
                low_hz: 100.0,
                high_hz: 8000.0,
            },
        ],
    }
}

fn unit(shoot: &Shoot, name: &str) -> MemorySound {
    let performed = shoot.perform().expect("a shoot");
    let unit = performed.unit(name).expect("a unit");
    MemorySound::new(SampleRate(unit.rate_hz), unit.planes.clone())
}

fn heights(seconds: f64, apart_m: f64, takes: u64, noise_dbfs: f64) {
    let mut units = [Vec::new(), Vec::new()];
    for seed in 1..=takes {
        let mut shoot = two_arrays(&TwoArrays {
            seed,
            seconds,
            apart_m,
            t60_s: 0.5,
            sounds: sounds(seed),
            ..TwoArrays::default()
        });
        for unit in &mut shoot.units {
            unit.noise_dbfs = Some(noise_dbfs);
        }
        for (onsets, name) in units.iter_mut().zip(["NORTH", "SOUTH"]) {
            onsets.push(Onsets::of(&unit(&shoot, name), &Silent).expect("in memory"));
        }
    }
    let began = Instant::now();
    let found = among(&units[0], &units[1], &Silent);
    println!("compared in {:.2} s", began.elapsed().as_secs_f64());
    let is_true = |fit: &Fit| fit.lead == fit.take && (fit.offset_s - 0.73).abs() < 0.03;
    for take in 0..takes as usize {
        let best = found
            .iter()
            .find(|place| is_true(&place.fit) && place.fit.take == take);
        match best {
            Some(place) => println!(
                "take {take:2} ({}) true place {:5.1} margin {:4.2} at {:+.3} s",
                (take + 1) % 4,
                place.fit.height,
                place.margin,
                place.fit.offset_s
            ),
            None => println!("take {take:2} ({}) not found", (take + 1) % 4),
        }
    }
    let mut chance: Vec<f64> = found
        .iter()
        .filter(|place| !is_true(&place.fit))
        .map(|place| place.fit.height)
        .collect();
    chance.sort_by(|a, b| b.total_cmp(a));
    println!(
        "{} unrelated pairs of takes; the highest stand {:.2?}",
        takes * (takes - 1),
        &chance[..chance.len().min(8)]
    );
}

fn cards(lead: &str, follower: &str) {
    let survey = scan(&[lead.into(), follower.into()], &Silent)
        .expect("two cards")
        .value;
    let all = |unit: usize| (0..survey.units[unit].takes.len()).collect::<Vec<_>>();
    let wanted = Wanted {
        unit: 1,
        takes: all(1),
        leads: all(0),
    };
    let began = Instant::now();
    let heard = Ears::new(&survey).listen(0, &wanted, &Silent);
    let took_s = began.elapsed().as_secs_f64();
    let name = |unit: usize, take: usize| {
        let name = &survey.units[unit].takes[take].name;
        name.rsplit('_').next().unwrap_or(name).to_string()
    };
    let right = heard
        .iter()
        .filter(|heard| name(0, heard.lead_take) == name(1, heard.take))
        .count();
    let lowest = heard
        .iter()
        .filter_map(|heard| match heard.ground {
            Ground::Sound { height, .. } => Some(height),
            Ground::Timecode { .. } | Ground::SameDifference { .. } => None,
        })
        .fold(f64::INFINITY, f64::min);
    println!(
        "{} by {} takes: {} found, {right} of them right, the lowest stands {lowest:.1}; {took_s:.1} s",
        wanted.leads.len(),
        wanted.takes.len(),
        heard.len()
    );
}
