//! Rehearsal sounds with faults put into them in, how often each detector of the quality check is right and wrong out.

use engine::quality::{ChannelQuality, QualityMeter};
use rehearsal::{Channel, Shoot, Sound, TimecodeTrack, UnitSpec};

const RATE: u32 = 48_000;
const SECONDS: f64 = 60.0;
/// Drop-outs put into a channel.
const HOLES: usize = 5;
/// What two channels may differ by and still be one sound, dB, as the check has it.
const DOUBLED_DB: f64 = -40.0;

/// Below this a gate closes, full scale being 1, once it was so quiet for so many samples; it opens at once.
const GATE: f64 = 0.001;
const HOLD: usize = 4800;

/// The sounds, each on a channel of its own at -20 dBFS with an input's noise of -85 dBFS. The second is gated.
fn kinds() -> Vec<(&'static str, Sound)> {
    let plucked = |lowest_hz, notes_per_s| Sound::Plucked {
        lowest_hz,
        notes_per_s,
    };
    vec![
        ("speech", Sound::Speech { pitch_hz: 120.0 }),
        ("gated speech", Sound::Speech { pitch_hz: 210.0 }),
        ("plucked", plucked(110.0, 3.0)),
        ("bass", plucked(41.2, 1.5)),
        ("bowed", Sound::Bowed { lowest_hz: 98.0 }),
        ("choir", Sound::Choir { lowest_hz: 98.0 }),
        ("drone", Sound::Drone { pitch_hz: 110.0 }),
        (
            "code",
            Sound::Timecode(Box::new(TimecodeTrack {
                seconds: SECONDS + 5.0,
                ..TimecodeTrack::default()
            })),
        ),
        ("noise", Sound::programme()),
    ]
}

/// One plane a kind.
fn planes(seed: u64) -> Vec<Vec<f64>> {
    let unit = UnitSpec::new("NORTH").noise_dbfs(-85.0);
    let (shoot, unit) = kinds().into_iter().fold(
        (Shoot::new(seed).seconds(SECONDS), unit),
        |(shoot, unit), (name, sound)| {
            (
                shoot.signal(name, sound, -20.0),
                unit.channel(Channel::common(name, name)),
            )
        },
    );
    let performance = shoot.unit(unit).perform().expect("a shoot");
    let planes = &performance.unit("NORTH").expect("the unit").planes;
    // speech has peaks that a level of -20 dBFS would drive over
    let kept = |plane: &Vec<f64>| {
        let peak = plane
            .iter()
            .fold(0.0_f64, |peak, value| peak.max(value.abs()));
        let gain = (0.8 / peak).min(1.0);
        plane.iter().map(|value| gain * value).collect()
    };
    let mut planes: Vec<Vec<f64>> = planes.iter().map(kept).collect();
    let mut quiet = 0;
    for value in &mut planes[1] {
        quiet = if value.abs() < GATE { quiet + 1 } else { 0 };
        if quiet > HOLD {
            *value = 0.0;
        }
    }
    planes
}

fn measured(planes: &[Vec<f64>]) -> engine::quality::Quality {
    let mut meter = QualityMeter::new(planes.len(), RATE);
    let length = planes[0].len();
    for from in (0..length).step_by(100_000) {
        let to = length.min(from + 100_000);
        let part: Vec<&[f64]> = planes.iter().map(|plane| &plane[from..to]).collect();
        meter.add(&part);
    }
    meter.finish()
}

/// Integers of so many bits, clamped to what they hold.
fn integers(plane: &[f64], bits: u32) -> Vec<f64> {
    let full = f64::from(1_u32 << (bits - 1));
    let value = |x: &f64| (x * full).round().clamp(-full, full - 1.0) / full;
    plane.iter().map(value).collect()
}

/// Mains hum of so many dBFS RMS: the first, second, third, fifth and seventh multiple, each weaker than the one before.
fn with_hum(plane: &[f64], hz: f64, level_dbfs: f64, seed: u64) -> Vec<f64> {
    let lines = [(1.0, 1.0), (2.0, 0.5), (3.0, 0.6), (5.0, 0.3), (7.0, 0.2)];
    let power: f64 = lines.iter().map(|(_, share)| share * share / 2.0).sum();
    let scale = 10_f64.powf(level_dbfs / 20.0) / power.sqrt();
    // the mains are seldom just where they should be
    let hz = hz + 0.04 * ((seed % 5) as f64 - 2.0);
    let step = std::f64::consts::TAU * hz / f64::from(RATE);
    plane
        .iter()
        .enumerate()
        .map(|(at, value)| {
            let tone = |(multiple, share): &(f64, f64)| {
                share * (multiple * step * at as f64 + multiple).sin()
            };
            value + scale * lines.iter().map(tone).sum::<f64>()
        })
        .collect()
}

/// Turned up so that the peak is so many dB above full scale, then cut to 24 bits.
fn driven(plane: &[f64], over_db: f64) -> Vec<f64> {
    let peak = plane
        .iter()
        .fold(0.0_f64, |peak, value| peak.max(value.abs()));
    let gain = 10_f64.powf(over_db / 20.0) / peak;
    integers(
        &plane.iter().map(|value| gain * value).collect::<Vec<_>>(),
        24,
    )
}

/// With holes of exact zeros at places that depend on the seed.
fn holed(plane: &[f64], samples: usize, seed: u64) -> Vec<f64> {
    let mut plane = integers(plane, 24);
    for at in places(plane.len(), seed) {
        plane[at..at + samples].fill(0.0);
    }
    plane
}

/// Where the holes of a channel begin.
fn places(length: usize, seed: u64) -> [usize; HOLES] {
    std::array::from_fn(|hole| {
        let spread = seed
            .wrapping_mul(2_654_435_761)
            .wrapping_add(hole as u64 * 40_503)
            % 200_000;
        (hole + 1) * length / (HOLES + 2) + spread as usize
    })
}

/// How many of them were told where they are: zeros of the sound's own may make one begin a little earlier.
fn holes_found(channel: &ChannelQuality, seed: u64) -> u64 {
    let places = places((SECONDS * f64::from(RATE)) as usize, seed);
    let told = |place: &usize| {
        let near = |run: &[u64; 2]| run[0] as usize <= *place && *place - (run[0] as usize) < 64;
        channel.drop_outs.first.iter().any(near)
    };
    places.iter().filter(|place| told(place)).count() as u64
}

/// A number found in a channel that a seed's faults were put into.
type Found = fn(&ChannelQuality, u64) -> u64;

fn row(
    name: &str,
    seeds: u64,
    make: &dyn Fn(&[f64], u64) -> Vec<f64>,
    found: Found,
    of: u64,
    all: &[Vec<Vec<f64>>],
) {
    let mut hits = vec![0; kinds().len()];
    for (seed, planes) in (0..seeds).zip(all) {
        let changed: Vec<Vec<f64>> = planes.iter().map(|plane| make(plane, seed)).collect();
        for (hit, channel) in hits.iter_mut().zip(&measured(&changed).channels) {
            *hit += found(channel, seed);
        }
    }
    let cells: Vec<String> = hits
        .iter()
        .map(|hit| format!("{hit} of {}", of * seeds))
        .collect();
    println!("| {name} | {} |", cells.join(" | "));
}

/// The table.
pub fn detectors(seeds: u64) {
    let all: Vec<Vec<Vec<f64>>> = (0..seeds).map(|seed| planes(900 + seed)).collect();
    let names: Vec<&str> = kinds().iter().map(|kind| kind.0).collect();
    println!("| fault | {} |", names.join(" | "));
    println!("|{}", "---|".repeat(names.len() + 1));
    let hum: Found = |channel, _| u64::from(channel.hum.is_some());
    let code: Found = |channel, _| u64::from(channel.timecode.is_some());
    let clips: Found = |channel, _| u64::from(channel.clips.count > 0);
    let holes: Found = |channel, _| channel.drop_outs.count;
    let line = |name: &str, make: &dyn Fn(&[f64], u64) -> Vec<f64>, found: Found, of: u64| {
        row(name, seeds, make, found, of, &all);
    };
    for bits in [16, 24] {
        let as_integers = move |plane: &[f64], _| integers(plane, bits);
        line(&format!("none, {bits} bits: hum"), &as_integers, hum, 1);
        line(
            &format!("none, {bits} bits: clipped"),
            &as_integers,
            clips,
            1,
        );
        line(
            &format!("none, {bits} bits: drop-outs"),
            &as_integers,
            holes,
            1,
        );
    }
    let as_float = |plane: &[f64], _: u64| -> Vec<f64> {
        plane
            .iter()
            .map(|value| f64::from(4.0 * *value as f32))
            .collect()
    };
    line("none, float above full scale: hum", &as_float, hum, 1);
    line("none, float above full scale: clipped", &as_float, clips, 1);
    line(
        "none, float above full scale: drop-outs",
        &as_float,
        holes,
        1,
    );
    line(
        "timecode, 24 bits",
        &|plane, _| integers(plane, 24),
        code,
        1,
    );
    let quiet = |plane: &[f64], _| {
        integers(
            &plane.iter().map(|value| value * 0.003).collect::<Vec<_>>(),
            16,
        )
    };
    line("none, 50 dB lower, 16 bits: drop-outs", &quiet, holes, 1);
    line(
        "none, peak at 0 dBFS, 24 bits: clipped",
        &|plane, _| driven(plane, 0.0),
        clips,
        1,
    );
    for (hz, level) in [
        (50.0, -40.0),
        (50.0, -50.0),
        (60.0, -60.0),
        (50.0, -70.0),
        (60.0, -80.0),
    ] {
        let name = format!("hum of {hz} Hz at {level} dBFS");
        line(
            &name,
            &|plane, seed| with_hum(plane, hz, level, seed),
            hum,
            1,
        );
    }
    for over_db in [1.0, 3.0, 6.0, 12.0] {
        line(
            &format!("driven {over_db} dB over"),
            &|plane, _| driven(plane, over_db),
            clips,
            1,
        );
    }
    for samples in [8, 16, 64, 480, 2000, 4500] {
        let name = format!("{HOLES} holes of {samples} samples");
        line(
            &name,
            &|plane, seed| holed(plane, samples, seed),
            holes_found,
            HOLES as u64,
        );
    }
    println!();
    doubled(seeds, &all);
}

/// Pairs of one channel with itself, at other levels and with noise of its own, and of all that are not the same.
fn doubled(seeds: u64, all: &[Vec<Vec<f64>>]) {
    println!("| pair | taken for one sound |");
    println!("|---|---|");
    let alike = |planes: &[Vec<f64>]| {
        let pairs = measured(planes).pairs;
        pairs
            .iter()
            .filter(|pair| pair.unlike_db() < DOUBLED_DB)
            .count()
    };
    let kinds = kinds().len();
    let others: usize = all.iter().map(|planes| alike(planes)).sum();
    let pairs = kinds * (kinds - 1) / 2 * seeds as usize;
    println!("| unlike sounds | {others} of {pairs} |");
    for (gain_db, noise_db) in [
        (0.0, -80.0),
        (-12.0, -60.0),
        (0.0, -45.0),
        (0.0, -35.0),
        (0.0, -20.0),
    ] {
        let mut found = 0;
        for (seed, planes) in all.iter().enumerate() {
            // another seed's noise, brought to a level under the sound
            let noise = &all[(seed + 1) % all.len()][kinds - 1];
            for plane in planes {
                let gain = 10_f64.powf(gain_db / 20.0);
                let under = 10_f64.powf(noise_db / 20.0);
                let copy: Vec<f64> = plane
                    .iter()
                    .zip(noise)
                    .map(|(value, noise)| gain * (value + under * noise))
                    .collect();
                found += alike(&[plane.clone(), copy]);
            }
        }
        println!(
            "| one sound, {gain_db} dB, noise {noise_db} dB below | {found} of {} |",
            kinds * seeds as usize
        );
    }
}
