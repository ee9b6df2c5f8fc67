//! Rehearsed shoots with and without slips in, a table of what was found against what is true out. Runs only when asked,
//! after `cargo bench -p commontime-engine --bench slip_table --`:
//! `common [SECONDS [SEEDS]]` for slips of many sizes on a common signal, by programme and noise;
//! `clean [SECONDS [SEEDS]]` for slips that are not there: wander, warm-up, rates that change, speech and music, noise;
//! `acoustic [SECONDS [SEEDS [SIZE]]]` for two arrays in a room, slips of one size or of many.
#![expect(clippy::print_stdout, reason = "a table for whoever asked for it")]

use engine::clock::acoustic::{AcousticRequest, measure_acoustic};
use engine::clock::common::{find_past_slips, measure_common};
use engine::clock::{Measured, Outcome, Side};
use engine::progress::Silent;
use engine::signal::MemorySound;
use engine::tie::Guess;
use engine::tie::all_pairs;
use engine::tie::common::search_common;
use engine::units::{LeadPos, SampleRate, Samples};
use rehearsal::scenes::{CommonSignal, Programme, TwoArrays, common_signal, two_arrays};
use rehearsal::{Performance, Segment, Shoot, Slip};

/// Sizes of the slips of one take, samples.
const SIZES: [i64; 10] = [-441, 64, -1, 2048, -8, 1, -4096, 441, -2, 512];
const SNRS_DB: [f64; 4] = [40.0, 20.0, 10.0, 0.0];

fn main() {
    let words: Vec<String> = std::env::args()
        .skip(1)
        .filter(|word| !word.starts_with("--"))
        .collect();
    let word = |i: usize| words.get(i).map_or("", String::as_str);
    let number = |i: usize, default: f64| word(i).parse().unwrap_or(default);
    match word(0) {
        "common" => common(number(1, 150.0), number(2, 2.0) as u64),
        "clean" => clean(number(1, 60.0), number(2, 3.0) as u64),
        "acoustic" => acoustic(
            number(1, 90.0),
            number(2, 2.0) as u64,
            number(3, 0.0) as i64,
        ),
        _ => {}
    }
}

/// What became of the takes of one row.
#[derive(Default)]
struct Row {
    takes: u32,
    unlocked: u32,
    slips: u32,
    exact: u32,
    possible: u32,
    wrong: u32,
    furthest_ms: f64,
    rate_off_ppm: f64,
}

impl Row {
    fn count(&mut self, performance: &Performance, measured: Option<&Measured>) {
        let unit = &performance.truth.units[1];
        self.takes += 1;
        self.slips += unit.clock.slips.len() as u32;
        let Some(measured) = measured else {
            self.unlocked += 1;
            return;
        };
        let mut open = unit.clock.slips.clone();
        for slip in &measured.slips {
            let off = |truth: &Slip| (truth.at_sample as f64 - slip.at as f64).abs();
            let nearest = (0..open.len()).min_by(|&a, &b| off(&open[a]).total_cmp(&off(&open[b])));
            match nearest.map(|i| (i, open[i])) {
                _ if !slip.certain => self.possible += 1,
                Some((i, truth))
                    if slip.side == Side::Follower
                        && truth.samples == slip.samples
                        && off(&truth) < 48_000.0 =>
                {
                    self.exact += 1;
                    self.furthest_ms = self.furthest_ms.max(off(&truth) / 48.0);
                    open.remove(i);
                }
                _ => self.wrong += 1,
            }
        }
        if !open.is_empty() {
            println!("  not found as they are: {open:?}");
            for slip in &measured.slips {
                println!("    found: {slip:?}");
            }
        }
        let mut counter = unit.clock.clone();
        counter.slips.clear();
        let (lead, length) = (
            &performance.truth.units[0].clock,
            unit.length_samples as f64,
        );
        let span = counter.position_on(lead, length) - counter.position_on(lead, 0.0);
        let off = (measured.rate.0 - (length / span - 1.0) * 1e6).abs();
        self.rate_off_ppm = self.rate_off_ppm.max(off);
    }

    fn print(&self, name: &str) {
        println!(
            "{name:34} {:5} {:8} {:5} {:5} {:8} {:5} {:11.2} {:12.4}",
            self.takes,
            self.unlocked,
            self.slips,
            self.exact,
            self.possible,
            self.wrong,
            self.furthest_ms,
            self.rate_off_ppm
        );
    }
}

fn head() {
    println!(
        "{:34} {:>5} {:>8} {:>5} {:>5} {:>8} {:>5} {:>11} {:>12}",
        "",
        "takes",
        "unlocked",
        "slips",
        "exact",
        "possible",
        "wrong",
        "furthest ms",
        "rate off ppm"
    );
}

fn sounds(performance: &Performance) -> Vec<MemorySound> {
    let sound = |unit: &rehearsal::Recorded| {
        MemorySound::new(SampleRate(unit.rate_hz), unit.planes.clone())
    };
    performance.units.iter().map(sound).collect()
}

fn by_common_signal(performance: &Performance) -> Option<Measured> {
    let sounds = sounds(performance);
    let (lead, follower) = (&sounds[0], &sounds[1]);
    let guess = Guess {
        offset: LeadPos(performance.truth.units[1].offset_samples.round() + 1607.0),
        within: Samples(24_000.0),
    };
    let pairs = all_pairs(lead, follower);
    let search = search_common(lead, follower, &guess, &pairs, &Silent).expect("memory");
    let outcome = match search.common.first() {
        Some(pair) => measure_common(lead, follower, pair, &Silent).expect("memory"),
        None => {
            find_past_slips(lead, follower, &guess, &search.likely, &Silent)
                .expect("memory")?
                .1
        }
    };
    match outcome {
        Outcome::Locked(measured) => Some(*measured),
        Outcome::NotEstablished { .. } => None,
    }
}

fn programmes() -> [(&'static str, Programme); 3] {
    [
        ("flat", Programme::Flat),
        ("speech", Programme::Speech),
        ("plucked", Programme::Music),
    ]
}

/// Ten slips, spread over a take of `seconds` and shifted by `seed`.
fn ten(seconds: f64, seed: u64) -> Vec<Slip> {
    let place = |i: usize| {
        let wobble = ((i as f64 * 0.618 + seed as f64 * 0.382).fract() - 0.5) * 0.6;
        (i as f64 + 1.0 + wobble) / (SIZES.len() as f64 + 1.0) * seconds
    };
    let slip = |(i, &samples): (usize, &i64)| Slip {
        at_sample: (place(i) * 48_000.0) as u64,
        samples,
    };
    SIZES.iter().enumerate().map(slip).collect()
}

fn common(seconds: f64, seeds: u64) {
    head();
    for (name, programme) in programmes() {
        for snr_db in SNRS_DB {
            let mut row = Row::default();
            for seed in 1..=seeds {
                let mut shoot = common_signal(&CommonSignal {
                    seed,
                    seconds,
                    snr_db,
                    programme: programme.clone(),
                    mics: 0,
                    ..CommonSignal::default()
                });
                shoot.units[1].slips = ten(seconds, seed);
                let performance = shoot.perform().expect("a performance");
                row.count(&performance, by_common_signal(&performance).as_ref());
            }
            row.print(&format!("ten slips, {name}, {snr_db:.0} dB"));
        }
    }
}

fn clean(seconds: f64, seeds: u64) {
    type Change = fn(&mut Shoot, f64);
    let clocks: [(&str, Change); 4] = [
        ("wander 0.3 ppm", |_, _| {}),
        ("wander 1 ppm", |shoot, _| {
            for sine in &mut shoot.units[1].crystal.wander {
                sine.ppm *= 3.3;
            }
        }),
        ("warm-up 3 ppm", |shoot, seconds| {
            shoot.units[1].crystal.wander.push(rehearsal::Sine {
                ppm: 3.0,
                period_s: 8.0 * seconds,
                phase: 0.0,
            });
        }),
        ("rates +3 -3 ppm", |shoot, seconds| {
            let segment = |from_s, ppm| Segment { from_s, ppm };
            shoot.units[1].crystal.segments =
                vec![segment(0.4 * seconds, 3.0), segment(0.7 * seconds, -3.0)];
        }),
    ];
    head();
    for (name, programme) in programmes() {
        for (clock, change) in clocks {
            let mut row = Row::default();
            for snr_db in SNRS_DB {
                for seed in 1..=seeds {
                    let mut shoot = common_signal(&CommonSignal {
                        seed: 100 + seed,
                        seconds,
                        snr_db,
                        programme: programme.clone(),
                        mics: 0,
                        ..CommonSignal::default()
                    });
                    change(&mut shoot, seconds);
                    let performance = shoot.perform().expect("a performance");
                    row.count(&performance, by_common_signal(&performance).as_ref());
                }
            }
            row.print(&format!("clean, {name}, {clock}"));
        }
    }
}

fn acoustic(seconds: f64, seeds: u64, size: i64) {
    head();
    let sizes = [0, -1, -2, -4, -8, -64, -441, -2048, 441, 8];
    for samples in sizes.into_iter().filter(|s| size == 0 || *s == size) {
        let mut row = Row::default();
        for seed in 1..=seeds {
            let mut shoot = two_arrays(&TwoArrays {
                seed,
                seconds,
                ..TwoArrays::default()
            });
            shoot.units[1].slips = ten(seconds, seed)
                .into_iter()
                .skip(4)
                .take(usize::from(samples != 0))
                .map(|slip| Slip { samples, ..slip })
                .collect();
            let performance = shoot.perform().expect("a performance");
            let sounds = sounds(&performance);
            let request = AcousticRequest {
                lead: &sounds[0],
                follower: &sounds[1],
                pairs: None,
                guess: Guess {
                    offset: LeadPos(performance.truth.units[1].offset_samples),
                    within: Samples(480.0),
                },
                spacing_m: 2.0,
            };
            let outcome = measure_acoustic(&request, &Silent).expect("memory").outcome;
            let measured = match outcome {
                Outcome::Locked(measured) => Some(*measured),
                Outcome::NotEstablished { .. } => None,
            };
            row.count(&performance, measured.as_ref());
        }
        row.print(&format!("acoustic, slip of {samples}"));
    }
}
