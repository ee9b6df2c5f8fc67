//! Rehearsed shoots of many seeds in, a table of what measuring by content found against what is true out. Runs only when
//! asked, after `cargo bench -p commontime-engine --bench acoustic_table --`:
//! `arrays [SECONDS [APART_M [SEEDS [MICS]]]]` for arrays in a room, `sway` or `walk [SECONDS [APART_M [SEEDS]]]` for
//! three talkers who move, with a fan 25 dB below each; `long [MINUTES]` for the time and memory of two six-channel takes.
#![expect(clippy::print_stdout, reason = "a table for whoever asked for it")]

#[path = "../tests/moving/mod.rs"]
mod moving;

use std::time::Instant;

use engine::clock::Outcome;
use engine::clock::acoustic::{AcousticRequest, measure_acoustic};
use engine::progress::Silent;
use engine::signal::{MemorySound, Sound};
use engine::tie::Guess;
use engine::units::{LeadPos, SampleCount, SampleRate, Samples, UnitPos};
use moving::{Motion, Stage};
use rehearsal::scenes::{TwoArrays, two_arrays};

fn main() {
    let words: Vec<String> = std::env::args()
        .skip(1)
        .filter(|word| !word.starts_with("--"))
        .collect();
    let number = |i: usize, default: f64| {
        words
            .get(i)
            .and_then(|word| word.parse().ok())
            .unwrap_or(default)
    };
    let (seconds, apart_m, seeds) = (number(1, 240.0), number(2, 1.5), number(3, 3.0) as u64);
    let stage = |seed: u64, motion| Stage {
        seed,
        seconds,
        talkers: 3,
        motion,
        fan_db: Some(-25.0),
        apart_m,
        reflections: 2,
        ppm: 8.0,
    };
    match words.first().map(String::as_str) {
        Some("arrays") => table(seeds, |seed| arrays(seed, seconds, apart_m, number(4, 2.0))),
        Some("sway") => table(seeds, |seed| {
            vec![moving_talkers(&stage(seed, Motion::Sway))]
        }),
        Some("walk") => table(seeds, |seed| {
            vec![moving_talkers(&stage(seed, Motion::Walk))]
        }),
        Some("long") => long(number(1, 60.0)),
        _ => {}
    }
}

/// One line of the table; errors are found less true, samples of the source rate unless said.
struct Line {
    pairs: usize,
    rate_error_ppm: f64,
    rate_sigma_ppm: f64,
    rms: f64,
    max: f64,
    sigma: f64,
    lag: f64,
    took_s: f64,
    signs: String,
}

fn table(seeds: u64, rows: impl Fn(u64) -> Vec<Result<Line, String>>) {
    println!(
        "seed pairs rate error     sigma     z  rms about mean    max   sigma    lag    s  signs"
    );
    let mut errors = Vec::new();
    for seed in 1..=seeds {
        for row in rows(seed) {
            let line = match row {
                Ok(line) => line,
                Err(why) => {
                    println!("{seed:4} {why}");
                    continue;
                }
            };
            println!(
                "{seed:4} {:5} {:+10.5} {:9.5} {:+5.2} {:15.4} {:6.3} {:7.4} {:+6.0} {:4.1}  {}",
                line.pairs,
                line.rate_error_ppm,
                line.rate_sigma_ppm,
                line.rate_error_ppm / line.rate_sigma_ppm,
                line.rms,
                line.max,
                line.sigma,
                line.lag,
                line.took_s,
                line.signs
            );
            errors.push([
                line.rate_error_ppm,
                line.rate_error_ppm / line.rate_sigma_ppm,
                line.rms,
                line.rms / line.sigma,
            ]);
        }
    }
    let rms = |i: usize| {
        (errors.iter().map(|e| e[i] * e[i]).sum::<f64>() / errors.len().max(1) as f64).sqrt()
    };
    println!(
        "{} locked: rate error {:.5} ppm rms, z {:.2} rms; clock {:.4} samples rms, {:.2} of its sigma",
        errors.len(),
        rms(0),
        rms(1),
        rms(2),
        rms(3)
    );
}

fn arrays(seed: u64, seconds: f64, apart_m: f64, mics: f64) -> Vec<Result<Line, String>> {
    let choice = TwoArrays {
        seed,
        seconds,
        apart_m,
        mics: mics as usize,
        ..TwoArrays::default()
    };
    let performance = two_arrays(&choice).perform().expect("a performance");
    let sounds = [0, 1]
        .map(|unit| MemorySound::new(SampleRate(48_000), performance.units[unit].planes.clone()));
    let truth = performance.truth.unit("SOUTH").expect("SOUTH");
    let lead_at = |k: f64| performance.truth.lead_position("SOUTH", k).unwrap_or(k);
    [Some(vec![(0, 0)]), None]
        .into_iter()
        .map(|pairs| measure(&sounds, pairs, truth.offset_samples, apart_m, &lead_at))
        .collect()
}

fn moving_talkers(stage: &Stage) -> Result<Line, String> {
    let sounds = stage.perform();
    measure(&sounds, None, 0.0, stage.apart_m, &|k| stage.lead_at(k))
}

fn measure(
    sounds: &[MemorySound; 2],
    pairs: Option<Vec<(usize, usize)>>,
    offset: f64,
    spacing_m: f64,
    lead_at: &dyn Fn(f64) -> f64,
) -> Result<Line, String> {
    let request = AcousticRequest {
        lead: &sounds[0],
        follower: &sounds[1],
        pairs,
        guess: Guess {
            offset: LeadPos(offset),
            within: Samples(100.0),
        },
        spacing_m,
    };
    let start = Instant::now();
    let found = measure_acoustic(&request, &Silent).map_err(|wrong| wrong.to_string())?;
    let took_s = start.elapsed().as_secs_f64();
    let measured = match &found.outcome {
        Outcome::Locked(measured) => measured,
        Outcome::NotEstablished { why, signs, .. } => return Err(format!("{why} {signs:?}")),
    };
    let lead_length = sounds[0].length().0 as f64;
    let length = sounds[1].length().0;
    let places: Vec<f64> = (0..2001)
        .map(|i| f64::from(i) / 2000.0 * (length - 1) as f64)
        .filter(|&k| (0.0..lead_length).contains(&lead_at(k)))
        .collect();
    let misses: Vec<f64> = places
        .iter()
        .map(|&k| measured.clock.lead_at(UnitPos(k)).0 - lead_at(k))
        .collect();
    let mean = misses.iter().sum::<f64>() / misses.len() as f64;
    let centred = || misses.iter().map(|m| m - mean);
    let (first, last) = (places[0], places[places.len() - 1]);
    let true_rate = (last - first) / (lead_at(last) - lead_at(first)) - 1.0;
    let knots = measured.clock.knots();
    let square = knots.iter().map(|k| k.sigma.0.powi(2)).sum::<f64>() / knots.len() as f64;
    Ok(Line {
        pairs: found.pairs.len(),
        rate_error_ppm: measured.rate.0 - true_rate * 1e6,
        rate_sigma_ppm: measured.rate_sigma.0,
        rms: (centred().map(|m| m * m).sum::<f64>() / misses.len() as f64).sqrt(),
        max: centred().fold(0.0, |max, m| max.max(m.abs())),
        sigma: square.sqrt(),
        lag: found.lag.map_or(f64::NAN, |lag| lag.pooled.best.0),
        took_s,
        signs: measured
            .signs
            .iter()
            .map(|sign| format!("{:.3}/{:.2}", sign.value, sign.limit))
            .collect::<Vec<_>>()
            .join(" "),
    })
}

/// Twenty seconds over and over: sound of any length in little memory.
struct Again {
    sound: MemorySound,
    length: u64,
}

impl Sound for Again {
    fn rate(&self) -> SampleRate {
        self.sound.rate()
    }

    fn channels(&self) -> usize {
        self.sound.channels()
    }

    fn length(&self) -> SampleCount {
        SampleCount(self.length)
    }

    fn read(&self, channels: &[usize], start: i64, out: &mut [&mut [f64]]) -> engine::Result<()> {
        let period = self.sound.length().0 as i64;
        let wanted = out.first().map_or(0, |plane| plane.len());
        let mut done = 0;
        while done < wanted {
            let from = (start + done as i64).rem_euclid(period);
            let upto = wanted.min(done + (period - from) as usize);
            let mut views: Vec<&mut [f64]> =
                out.iter_mut().map(|plane| &mut plane[done..upto]).collect();
            self.sound.read(channels, from, &mut views)?;
            done = upto;
        }
        Ok(())
    }
}

fn long(minutes: f64) {
    let choice = TwoArrays {
        seconds: 22.0,
        mics: 6,
        ppm: 0.0,
        ..TwoArrays::default()
    };
    let performance = two_arrays(&choice).perform().expect("a performance");
    let offset = performance.truth.units[1].offset_samples;
    let [lead, follower] = [0, 1].map(|unit| Again {
        sound: MemorySound::new(
            SampleRate(48_000),
            performance.units[unit]
                .planes
                .iter()
                .map(|plane| plane[..960_000].to_vec())
                .collect(),
        ),
        length: (minutes * 60.0 * 48_000.0) as u64,
    });
    drop(performance);
    let before = resident_mb("VmRSS");
    let request = AcousticRequest {
        lead: &lead,
        follower: &follower,
        pairs: None,
        guess: Guess {
            offset: LeadPos(offset),
            within: Samples(100.0),
        },
        spacing_m: 1.5,
    };
    let start = Instant::now();
    let found = measure_acoustic(&request, &Silent).expect("sound in memory");
    println!(
        "{minutes} min in {:.1} s, {:.0} MB resident before, {:.0} MB at the end, {:.0} MB at the peak of it all",
        start.elapsed().as_secs_f64(),
        before,
        resident_mb("VmRSS"),
        resident_mb("VmHWM")
    );
    match found.outcome {
        Outcome::Locked(measured) => println!("{} {}", measured.rate, measured.rate_sigma),
        Outcome::NotEstablished { why, .. } => println!("{why}"),
    }
}

fn resident_mb(which: &str) -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    status
        .lines()
        .find_map(|line| {
            line.strip_prefix(which)?
                .split_whitespace()
                .nth(1)?
                .parse::<f64>()
                .ok()
        })
        .unwrap_or(f64::NAN)
        / 1024.0
}
