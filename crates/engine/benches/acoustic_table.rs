//! Rehearsed shoots of many seeds in, a table of what measuring by content found against what is true out. Runs only when
//! asked: `cargo bench -p commontime-engine --bench acoustic_table -- table [SECONDS [APART_M [SEEDS [MICS]]]]`.

#![expect(clippy::print_stdout, reason = "a table for whoever asked for it")]

use std::time::Instant;

use engine::clock::Outcome;
use engine::clock::acoustic::{AcousticRequest, measure_acoustic};
use engine::progress::Silent;
use engine::signal::MemorySound;
use engine::tie::Guess;
use engine::units::{LeadPos, SampleRate, Samples, UnitPos};
use rehearsal::scenes::{TwoArrays, two_arrays};

fn main() {
    let words: Vec<String> = std::env::args().collect();
    let Some(table) = words.iter().position(|word| word == "table") else {
        return;
    };
    let number = |i: usize, default: f64| {
        words
            .get(table + i)
            .and_then(|word| word.parse().ok())
            .unwrap_or(default)
    };
    let (seconds, apart_m) = (number(1, 240.0), number(2, 1.5));
    let (seeds, mics) = (number(3, 3.0) as u64, number(4, 2.0) as usize);
    println!(
        "seed pairs  rate error   claimed     z   rms about mean     max   claimed    lag  spread   seconds"
    );
    for seed in 1..=seeds {
        run(&TwoArrays {
            seed,
            seconds,
            apart_m,
            mics,
            ..TwoArrays::default()
        });
    }
}

fn run(choice: &TwoArrays) {
    let performance = two_arrays(choice).perform().expect("a performance");
    let sound =
        |unit: usize| MemorySound::new(SampleRate(48_000), performance.units[unit].planes.clone());
    let (lead, follower) = (sound(0), sound(1));
    let truth = performance.truth.unit("SOUTH").expect("SOUTH");
    for pairs in [Some(vec![(0, 0)]), None] {
        let request = AcousticRequest {
            lead: &lead,
            follower: &follower,
            pairs,
            guess: Guess {
                offset: LeadPos(truth.offset_samples),
                within: Samples(500.0),
            },
            spacing_m: choice.apart_m,
        };
        let start = Instant::now();
        let found = measure_acoustic(&request, &Silent).expect("readable sound");
        let took_s = start.elapsed().as_secs_f64();
        match &found.outcome {
            Outcome::Locked(measured) => {
                let clock = &measured.clock;
                let miss = performance
                    .truth
                    .compare("SOUTH", |k| clock.lead_at(UnitPos(k)).0)
                    .expect("a common span");
                let error = measured.rate.0 - truth.rate_ppm;
                let knots = clock.knots();
                let claimed = (knots.iter().map(|k| k.sigma.0.powi(2)).sum::<f64>()
                    / knots.len() as f64)
                    .sqrt();
                let lag = found.lag.as_ref().expect("a lag");
                println!(
                    "{:4} {:5}  {error:+10.5}  {:8.5}  {:+4.1}   {:14.4}  {:6.3}  {claimed:8.4}  {:+5.0}  {:6.0}  {took_s:8.1}  line {:+.4} {}",
                    choice.seed,
                    found.pairs.len(),
                    measured.rate_sigma.0,
                    error / measured.rate_sigma.0,
                    miss.rms_about_mean,
                    miss.max,
                    lag.pooled.0,
                    lag.spread.0,
                    miss.rate_error_ppm,
                    measured
                        .signs
                        .iter()
                        .map(|s| format!("{:.3}/{:.3}", s.value, s.limit))
                        .collect::<Vec<_>>()
                        .join(" "),
                );
            }
            Outcome::NotEstablished { why, signs, .. } => {
                println!(
                    "{:4} {:5}  {why} {signs:?} in {took_s:.1} s",
                    choice.seed,
                    found.pairs.len()
                );
            }
        }
    }
}
