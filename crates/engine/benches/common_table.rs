//! Rehearsed shoots of many seeds in, a table of what measuring on a common signal found against what is true out. Runs
//! only when asked, after `cargo bench -p commontime-engine --bench common_table --`:
//! `clock flat|speech|plucked|bowed [SECONDS [SNR_DB [SEEDS [WANDER_PPM]]]]` for errors and how well they were foretold;
//! `bound [SECONDS [SNR_DB [HIGHEST_HZ [SEEDS]]]]` for a constant rate beside the Cramer-Rao bound;
//! `echo [SEEDS]` for what tells microphones from wires; `long [MINUTES]` for the time and memory of two six-channel takes.
#![expect(clippy::print_stdout, reason = "a table for whoever asked for it")]

use std::f64::consts::PI;
use std::time::Instant;

use engine::clock::common::measure_common;
use engine::clock::{Measured, Outcome};
use engine::progress::Silent;
use engine::signal::{MemorySound, Sound as _};
use engine::tie::Guess;
use engine::tie::common::{Verdict, find_common, verify_common};
use engine::units::{LeadPos, SampleCount, SampleRate, Samples, UnitPos};
use rehearsal::scenes::{CommonSignal, Programme, common_signal};
use rehearsal::{Channel, Crystal, Performance, Room, Shoot, Sound, Source, Truth, UnitSpec};

fn main() {
    let words: Vec<String> = std::env::args()
        .skip(1)
        .filter(|word| !word.starts_with("--"))
        .collect();
    let word = |i: usize| words.get(i).map_or("", String::as_str);
    let number = |i: usize, default: f64| word(i).parse().unwrap_or(default);
    match word(0) {
        "clock" => {
            let choice = CommonSignal {
                programme: match word(1) {
                    "speech" => Programme::Speech,
                    "plucked" => Programme::Music,
                    "bowed" => Programme::Other(Sound::Bowed { lowest_hz: 196.0 }),
                    _ => Programme::Flat,
                },
                seconds: number(2, 300.0),
                snr_db: number(3, 40.0),
                wander_ppm: number(5, 0.3),
                ..CommonSignal::default()
            };
            clocks(&choice, number(4, 4.0) as u64);
        }
        "bound" => bound(
            number(1, 300.0),
            number(2, 40.0),
            number(3, 19_000.0),
            number(4, 4.0) as u64,
        ),
        "echo" => echo(number(1, 2.0) as u64),
        "long" => long(number(1, 60.0)),
        _ => {}
    }
}

fn sounds(performance: Performance) -> (Vec<MemorySound>, Truth) {
    let Performance { truth, units } = performance;
    let sounds = units
        .into_iter()
        .map(|unit| MemorySound::new(SampleRate(unit.rate_hz), unit.planes))
        .collect();
    (sounds, truth)
}

fn guess(truth: &Truth) -> Guess {
    Guess {
        offset: LeadPos((truth.units[1].offset_samples + 1607.3).round()),
        within: Samples(4800.0),
    }
}

fn measured(sounds: &[MemorySound], truth: &Truth) -> Result<Measured, String> {
    let pairs = find_common(&sounds[0], &sounds[1], &guess(truth), &Silent).expect("memory");
    let Some(pair) = pairs.first() else {
        let last = |unit: usize| sounds[unit].channels() - 1;
        let named = (last(0), last(1));
        let verdict = verify_common(&sounds[0], &sounds[1], &guess(truth), named);
        return Err(format!("not found: {:?}", verdict.expect("memory")));
    };
    match measure_common(&sounds[0], &sounds[1], pair, &Silent).expect("memory") {
        Outcome::Locked(measured) => Ok(*measured),
        Outcome::NotEstablished { why, signs, .. } => {
            let failed: Vec<_> = signs.iter().filter(|sign| !sign.passed).collect();
            Err(format!("{why}: {failed:?}"))
        }
    }
}

fn clocks(choice: &CommonSignal, seeds: u64) {
    println!("seed        rms        max    sigma   z rms  <1s  <2s  <3s  offset z  rate z    s");
    let (mut shares, mut offsets, mut rates, mut rms) = (Vec::new(), vec![], vec![], vec![]);
    for seed in 1..=seeds {
        let shoot = common_signal(&CommonSignal {
            seed,
            ..choice.clone()
        });
        let (sounds, truth) = sounds(shoot.perform().expect("a performance"));
        let start = Instant::now();
        let measured = match measured(&sounds, &truth) {
            Ok(measured) => measured,
            Err(why) => {
                println!("{seed:4} {why}");
                continue;
            }
        };
        let took = start.elapsed().as_secs_f64();
        let error = truth
            .compare("SOUTH", |k| measured.clock.lead_at(UnitPos(k)).0)
            .expect("SOUTH took part");
        let knots = measured.clock.knots();
        let z: Vec<f64> = knots
            .iter()
            .map(|knot| {
                let lead = truth
                    .lead_position("SOUTH", knot.follower.0)
                    .expect("SOUTH");
                (knot.lead.0 - lead) / knot.sigma.0
            })
            .collect();
        let n = z.len() as f64;
        let z_rms = (z.iter().map(|z| z * z).sum::<f64>() / n).sqrt();
        let within = |most: f64| z.iter().filter(|z| z.abs() < most).count() as f64 / n;
        let share = within(2.0);
        let sigma = knots[knots.len() / 2].sigma.0;
        let offset_z = error.offset_error / measured.offset_sigma.0;
        let rate_z = (measured.rate.0 - truth.units[1].rate_ppm) / measured.rate_sigma.0;
        println!(
            "{seed:4} {:10.2e} {:10.2e} {sigma:8.1e} {z_rms:7.2} {:4.2} {share:4.2} {:4.2} {offset_z:9.2} {rate_z:7.2} {took:4.1}",
            error.rms,
            error.max,
            within(1.0),
            within(3.0)
        );
        shares.push(share);
        offsets.push(offset_z);
        rates.push(rate_z);
        rms.push(error.rms);
    }
    let root = |v: &[f64]| (v.iter().map(|v| v * v).sum::<f64>() / v.len().max(1) as f64).sqrt();
    println!(
        "{} of {seeds}: rms {:.2e}, within two sigma {:.3}, offset z {:.2} rms, rate z {:.2} rms",
        rms.len(),
        root(&rms),
        shares.iter().sum::<f64>() / shares.len().max(1) as f64,
        root(&offsets),
        root(&rates)
    );
}

/// Knapp and Carter 1976 and Quazi 1981 for a flat band between two frequencies, both channels at one ratio of signal to
/// noise density: `var(D) >= 3 (1 + 2 S) / (8 pi^2 T S^2 (f2^3 - f1^3))`.
fn bound(seconds: f64, snr_db: f64, highest_hz: f64, seeds: u64) {
    let ratio = 10f64.powf(snr_db / 10.0);
    let (low, high) = (60.0, highest_hz);
    let delay_s = (3.0 * (1.0 + 2.0 * ratio)
        / (8.0 * PI * PI * seconds * ratio * ratio * (high.powi(3) - f64::powi(low, 3))))
    .sqrt();
    let (bound, bound_ppm) = (delay_s * 48_000.0, 12f64.sqrt() * delay_s / seconds * 1e6);
    let noise_dbfs = -20.0 - snr_db + 10.0 * (24_000.0 / (high - low)).log10();
    let unit = |name: &str| {
        UnitSpec::new(name)
            .noise_dbfs(noise_dbfs)
            .channel(Channel::common("Link", "link"))
    };
    let (mut middles, mut rates) = (Vec::new(), Vec::new());
    for seed in 1..=seeds {
        let sound = Sound::Noise {
            low_hz: low,
            high_hz: high,
        };
        let shoot = Shoot::new(seed)
            .seconds(seconds)
            .signal("link", sound, -20.0)
            .unit(unit("NORTH"))
            .unit(
                unit("SOUTH")
                    .crystal(Crystal::steady(12.0))
                    .starts_after_s(0.030_007),
            );
        let (sounds, truth) = sounds(shoot.perform().expect("a performance"));
        match measured(&sounds, &truth) {
            Err(why) => println!("{seed} {why}"),
            Ok(measured) => {
                let k = sounds[1].length().0 as f64 / 2.0;
                let lead = truth.lead_position("SOUTH", k).expect("SOUTH");
                let middle = measured.clock.lead_at(UnitPos(k)).0 - lead;
                let rate = measured.rate.0 - truth.units[1].rate_ppm;
                println!(
                    "{seed:4} middle {middle:+.2e} rate {rate:+.2e} ppm, claimed {:.1e} {:.1e} ppm",
                    measured.clock.knots()[measured.clock.knots().len() / 2]
                        .sigma
                        .0,
                    measured.rate_sigma.0
                );
                middles.push(middle);
                rates.push(rate);
            }
        }
    }
    let root = |v: &[f64]| (v.iter().map(|v| v * v).sum::<f64>() / v.len().max(1) as f64).sqrt();
    println!(
        "{seconds} s, {snr_db} dB to {high} Hz: middle {:.2e} samples rms, {:.2} of the bound {bound:.2e}; rate {:.2e} ppm \
         rms, {:.2} of the bound {bound_ppm:.2e}",
        root(&middles),
        root(&middles) / bound,
        root(&rates),
        root(&rates) / bound_ppm
    );
}

/// Two microphones of two units, `apart_m` from each other and `near_m` from the only source.
fn microphones(seed: u64, apart_m: f64, near_m: f64, t60_s: f64, sound: Sound) -> Shoot {
    let unit = |name: &str, x_m: f64| {
        UnitSpec::new(name)
            .noise_dbfs(-75.0)
            .channel(Channel::mic("Mic", [x_m, 2.6, 1.4]))
    };
    Shoot::new(seed)
        .seconds(20.0)
        .room(Room {
            dims_m: [7.2, 5.6, 3.0],
            t60_s,
        })
        .source(Source::new([3.4, 2.6 + near_m, 1.5], sound).level_dbfs(-30.0))
        .unit(unit("NORTH", 3.4 - apart_m / 2.0))
        .unit(
            unit("SOUTH", 3.4 + apart_m / 2.0)
                .crystal(Crystal::steady(9.0))
                .starts_after_s(0.5),
        )
}

fn echo(seeds: u64) {
    let kinds = || {
        [
            ("flat", Sound::programme()),
            ("speech", Sound::Speech { pitch_hz: 120.0 }),
            (
                "plucked",
                Sound::Plucked {
                    lowest_hz: 110.0,
                    notes_per_s: 3.0,
                },
            ),
            ("bowed", Sound::Bowed { lowest_hz: 196.0 }),
        ]
    };
    let say = |label: String, shoot: &Shoot| {
        let (sounds, truth) = sounds(shoot.perform().expect("a performance"));
        let verdict = verify_common(&sounds[0], &sounds[1], &guess(&truth), (0, 0));
        match verdict.expect("memory") {
            Verdict::Common(pair) => println!(
                "{label} COMMON echo {:.5} +- {:.5} straight {:.4} coherence {:.3} band {:.0} Hz second {:.2} agree {:.2} uneven {:.2}",
                pair.echo,
                pair.echo_sigma,
                pair.straightness,
                pair.coherence,
                pair.bandwidth_hz,
                pair.second_peak,
                pair.agreement,
                pair.uneven_db
            ),
            Verdict::Other { signs, why } => {
                let values: Vec<String> = signs.iter().map(|s| format!("{:.5}", s.value)).collect();
                println!("{label} other: {why} [{}]", values.join(" "));
            }
        }
    };
    for seed in 1..=seeds {
        for (name, sound) in kinds() {
            for snr_db in [40.0, 20.0, 10.0, 0.0] {
                let shoot = common_signal(&CommonSignal {
                    seed,
                    seconds: 20.0,
                    snr_db,
                    mics: 0,
                    programme: Programme::Other(sound.clone()),
                    ..CommonSignal::default()
                });
                say(format!("wire {name} {snr_db} dB"), &shoot);
            }
            for (apart_m, near_m, t60_s) in [
                (0.02, 0.15, 0.2),
                (0.1, 0.15, 0.2),
                (0.1, 0.3, 0.35),
                (0.1, 1.0, 0.35),
                (0.3, 0.3, 0.2),
            ] {
                let shoot = microphones(seed, apart_m, near_m, t60_s, sound.clone());
                say(
                    format!("air {name} {apart_m} m apart, {near_m} m near, {t60_s} s"),
                    &shoot,
                );
            }
        }
    }
}

/// Twenty seconds over and over: sound of any length in little memory.
struct Again {
    sound: MemorySound,
    length: u64,
}

impl engine::signal::Sound for Again {
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
    let choice = CommonSignal {
        seconds: 22.0,
        mics: 5,
        ppm: 0.0,
        wander_ppm: 0.0,
        ..CommonSignal::default()
    };
    let performance = common_signal(&choice).perform().expect("a performance");
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
    let guess = Guess {
        offset: LeadPos(offset.round()),
        within: Samples(2000.0),
    };
    println!("{:.0} MB resident before", resident_mb("VmRSS"));
    let start = Instant::now();
    let pairs = find_common(&lead, &follower, &guess, &Silent).expect("memory");
    println!(
        "{} pairs found in {:.1} s, {:.0} MB now, {:.0} MB at the peak of it all",
        pairs.len(),
        start.elapsed().as_secs_f64(),
        resident_mb("VmRSS"),
        resident_mb("VmHWM")
    );
    let start = Instant::now();
    let outcome = measure_common(&lead, &follower, &pairs[0], &Silent).expect("memory");
    println!(
        "{minutes} min measured in {:.1} s, {:.0} MB now, {:.0} MB at the peak of it all",
        start.elapsed().as_secs_f64(),
        resident_mb("VmRSS"),
        resident_mb("VmHWM")
    );
    match outcome {
        Outcome::Locked(measured) => println!("{} {}", measured.rate, measured.rate_sigma),
        Outcome::NotEstablished { why, signs, .. } => println!("{why} {signs:?}"),
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
