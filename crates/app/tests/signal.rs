//! `commontime signal` as a person uses it: files it writes are what other readers and another program's transforms say they
//! are, and a marker recorded on both units places them, however seldom it comes. Truth is known by construction.

mod shoots;

use std::path::Path;
use std::process::Command;

use rehearsal::scenes::{CommonSignal, Programme, common_signal};
use rehearsal::{Shoot, Slip, Sound, Truth};
use serde_json::Value;
use shoots::{Place, commontime, probed, status};

fn write(words: &[&str]) -> (Value, String) {
    let run = commontime(&[&["signal"], words, &["--json"]].concat());
    let said = String::from_utf8_lossy(&run.stderr).into_owned();
    assert_eq!(status(&run), 0, "{said}");
    (serde_json::from_slice(&run.stdout).expect("JSON"), said)
}

fn folder(place: &Place) {
    std::fs::create_dir_all(place.cards()).expect("a folder");
}

/// What Python says of a file; fails without it.
fn python(script: &str, file: &str) -> Value {
    let python = std::env::var("COMMONTIME_PYTHON")
        .unwrap_or_else(|_| concat!(env!("CARGO_MANIFEST_DIR"), "/../../.venv/bin/python").into());
    let run = Command::new(&python)
        .args(["-c", script, file])
        .output()
        .unwrap_or_else(|error| panic!("{python}: {error}; ./check installs what the tests need"));
    let said = String::from_utf8_lossy(&run.stderr);
    assert!(run.status.success(), "{said}");
    serde_json::from_slice(&run.stdout).expect("JSON")
}

/// The first marker of a file: peak, share of its power outside 300 Hz to 15 kHz, and of the envelope of its autocorrelation
/// the lag of half height, of the first zero, the highest side lobe before 50 ms and after, in dB.
const MARKER: &str = r"
import json, sys
import numpy as np
from scipy.io import wavfile
from scipy.signal import correlate, hilbert
rate, x = wavfile.read(sys.argv[1])
assert x.dtype == np.int32, x.dtype
x = x.astype(float) / 2 ** 31
one = x[:int(1.9 * rate)]
power = np.abs(np.fft.rfft(one, 8 * rate)) ** 2
f = np.fft.rfftfreq(8 * rate, 1 / rate)
outside = power[(f < 300) | (f > 15000)].sum() / power.sum()
r = correlate(one, one, mode='full', method='fft')
e = np.abs(hilbert(r))[len(one) - 1:]
e /= e[0]
half = np.interp(-0.5, -e[:10], np.arange(10)) / rate
zero = int(np.argmax(np.diff(e[:20]) > 0)) / rate
near, far = e[10:rate // 20].max(), e[rate // 20:].max()
print(json.dumps(dict(rate=rate, peak=float(np.abs(x).max()), outside_db=float(10 * np.log10(outside)),
    half_us=float(half * 1e6), zero_us=zero * 1e6, near_db=float(20 * np.log10(near)), far_db=float(20 * np.log10(far)))))
";

#[test]
fn a_marker_is_what_its_specification_says() {
    let place = Place::new();
    folder(&place);
    let file = place.path("marker.wav");
    let words = [
        "marker",
        "--out",
        &file,
        "--seconds",
        "120",
        "--every",
        "10",
        "--level",
        "-18",
    ];
    let (told, said) = write(&words);
    assert!(
        said.contains("Caution")
            && said.contains("headphones")
            && said.contains("phantom power off"),
        "{said}"
    );
    let begins = told["begins_s"].as_array().expect("a list");
    assert_eq!(begins.len(), 12);
    assert_eq!(begins[0], 0.5);
    let found = python(MARKER, &file);
    let of = |name: &str| found[name].as_f64().expect("a number");
    assert_eq!(of("rate"), 48_000.0);
    // -18 dB of full scale is 0.1259
    assert!((of("peak") - 0.1259).abs() < 3e-4, "{found}");
    // rounding to 24 bits leaves more outside the band than the sweep does (-93 dB)
    assert!(of("outside_db") < -85.0, "{found}");
    // 2.59/2B and 3/B for a band of 14.7 kHz (Harris 1978, table I, cos^4)
    assert!((of("half_us") - 88.1).abs() < 1.0, "{found}");
    assert!((of("zero_us") - 204.1).abs() < 12.0, "{found}");
    assert!((of("near_db") + 46.8).abs() < 0.2, "{found}");
    assert!(of("far_db") < -36.0, "{found}");

    let probed = probed(&file, "stream=channels,codec_name,duration_ts,sample_rate");
    for expected in [
        "channels=1",
        "codec_name=pcm_s24le",
        "duration_ts=5760000",
        "sample_rate=48000",
    ] {
        assert!(probed.contains(expected), "{expected} in {probed}");
    }
    let again = commontime(&[&["signal"], &words[..]].concat());
    assert_eq!(status(&again), 2, "an existing file is not written over");
    assert!(String::from_utf8_lossy(&again.stderr).contains("--replace"));
}

#[test]
fn a_tone_has_its_frequency_and_its_level() {
    let place = Place::new();
    folder(&place);
    let file = place.path("tone.wav");
    let frequency = ["--frequency", "997", "--sample-rate", "44100"];
    let words = ["tone", "--out", &file, "--seconds", "5", "--level", "-20"];
    write(&[&words[..], &frequency[..]].concat());
    let sox = Command::new("sox")
        .args([&file, "-n", "trim", "1", "3", "stat"])
        .output()
        .expect("sox; ./check installs what the tests need");
    let sox = String::from_utf8_lossy(&sox.stderr);
    // a sine with peaks of 0.1 has an RMS of 0.0707
    for expected in [
        "Maximum amplitude:     0.1000",
        "RMS     amplitude:     0.0707",
        "Rough   frequency:          99",
    ] {
        assert!(sox.contains(expected), "{expected} in {sox}");
    }
}

#[test]
fn nonsense_is_refused_and_writes_nothing() {
    let place = Place::new();
    folder(&place);
    let out = place.path("x.wav");
    for (words, expected) in [
        (vec!["marker", "--seconds", "0"], "--seconds"),
        (vec!["marker", "--seconds", "nan"], "--seconds"),
        (vec!["marker", "--seconds", "1"], "room for a marker"),
        (vec!["marker", "--every", "1"], "--every"),
        (vec!["marker", "--level", "3"], "--level"),
        (vec!["marker", "--sample-rate", "16000"], "--sample-rate"),
        (vec!["tone", "--frequency", "0"], "--frequency"),
        (vec!["tone", "--frequency", "23900"], "--sample-rate"),
    ] {
        let run = commontime(&[&["signal", words[0], "--out", &out], &words[1..]].concat());
        let said = String::from_utf8_lossy(&run.stderr);
        assert_eq!(status(&run), 2, "{said}");
        assert!(said.contains(expected), "{expected} in {said}");
        assert!(!Path::new(&out).exists());
    }
    let other = place.path("session.toml");
    let run = commontime(&["signal", "tone", "--out", &other, "--replace"]);
    assert_eq!(status(&run), 2);
    assert!(String::from_utf8_lossy(&run.stderr).contains(".wav"));
    assert!(!Path::new(&other).exists());
}

/// NORTH and SOUTH with two microphones each in one room, and the marker on their last channel, which hears nothing but it and
/// its own noise.
fn marked(place: &Place, seconds: f64, every: &str) -> (Shoot, Truth) {
    folder(place);
    let file = place.path("marker.wav");
    let length = format!("{}", seconds + 20.0);
    write(&[
        "marker",
        "--out",
        &file,
        "--seconds",
        &length,
        "--every",
        every,
    ]);
    // the rehearsal sets a signal's level by its first twenty seconds, before which some of the file has passed
    let played = place.path("played.wav");
    let sox = Command::new("sox")
        .args([&file, &played, "pad", "5"])
        .status()
        .expect("sox; ./check installs what the tests need");
    assert!(sox.success());
    let shoot = common_signal(&CommonSignal {
        seed: 7,
        seconds,
        // of one or two markers in twenty seconds the RMS is some 20 dB below their peaks: these reach -20 dBFS or so
        snr_db: 40.0,
        programme: Programme::Other(Sound::Recordings {
            paths: vec![played.into()],
            pause_s: 0.0,
        }),
        mics: 2,
        ppm: 9.0,
        wander_ppm: 0.1,
        ..CommonSignal::default()
    });
    let mut shoot = shoot;
    shoot.signals[0].level_dbfs = -40.0;
    let truth = shoot.write(&place.cards()).expect("a shoot");
    (shoot, truth)
}

/// What `align` says of SOUTH.
fn aligned(place: &Place, more: &[&str]) -> (i32, Value) {
    let (north, south) = (place.card("NORTH"), place.card("SOUTH"));
    let out = place.path("alignment.json");
    let words = [
        "align",
        "--lead",
        "NORTH",
        &north,
        &south,
        "--out",
        &out,
        "--replace",
        "--json",
    ];
    let run = commontime(&[&words[..], more].concat());
    let text = std::fs::read_to_string(&out);
    let text = text.unwrap_or_else(|_| panic!("{}", String::from_utf8_lossy(&run.stderr)));
    let alignment: Value = serde_json::from_str(&text).expect("JSON");
    let joint = &alignment["joint_takes"][0];
    (status(&run), joint["members"][1].clone())
}

/// Found against true: offset, samples, and rate, ppm, both within what is claimed.
fn is_right(member: &Value, truth: &Truth, rate_ppm: f64) {
    assert_eq!(member["basis"], "common-signal", "{member:#}");
    assert_eq!(member["status"], "established", "{member:#}");
    let of = |name: &str| member[name].as_f64().expect("a number");
    let south = truth.unit("SOUTH").expect("took part");
    let far = of("offset_samples") - south.offset_samples;
    let bound = of("offset_bound_samples");
    assert!(far.abs() <= bound.min(0.1), "{far} off, ±{bound} claimed");
    let fast = of("rate_ppm") - south.rate_ppm;
    let sigma = of("rate_sigma_ppm");
    assert!(
        fast.abs() <= (4.0 * sigma).min(rate_ppm),
        "{fast} ppm off, sigma {sigma}"
    );
    let knots: Vec<[f64; 2]> = serde_json::from_value(member["knots"].clone()).expect("knots");
    let off = truth
        .compare("SOUTH", |k| {
            let after = knots
                .partition_point(|knot| knot[0] <= k)
                .clamp(1, knots.len() - 1);
            let ([k0, n0], [k1, n1]) = (knots[after - 1], knots[after]);
            n0 + (k - k0) * (n1 - n0) / (k1 - k0)
        })
        .expect("it took part");
    assert!(off.rms <= 0.05 && off.max <= 0.2, "{off:?}");
}

#[test]
fn a_marker_every_ten_seconds_places_a_unit() {
    let place = Place::new();
    let (_, truth) = marked(&place, 90.0, "10");
    let (ended, member) = aligned(&place, &[]);
    assert_eq!(ended, 0, "{member:#}");
    is_right(&member, &truth, 0.02);
    let source = member["evidence"]["ties"][0]["source"].to_string();
    assert!(source.contains("common-signal 3=3"), "{source}");
    // and when the channels are named
    let (_, named) = aligned(&place, &["--common", "NORTH:3=SOUTH:3"]);
    is_right(&named, &truth, 0.02);
    // a channel that no take has is no reason to guess
    let (north, south) = (place.card("NORTH"), place.card("SOUTH"));
    let out = place.path("none.json");
    let common = ["--common", "NORTH:9=SOUTH:3", "--out", &out];
    let run = commontime(&[&["align", &north, &south][..], &common].concat());
    let said = String::from_utf8_lossy(&run.stderr);
    assert_eq!(status(&run), 2, "{said}");
    assert!(
        said.contains("NORTH has no channel 9") && said.contains("up to 3"),
        "{said}"
    );
}

/// 480 samples that SOUTH's file lost halfway, between two markers: whatever comes of it, nobody is told a clock that is wrong.
#[test]
fn samples_lost_between_two_markers_are_told() {
    let place = Place::new();
    let (mut shoot, _) = marked(&place, 100.0, "10");
    shoot.units[1].slips.push(Slip {
        at_sample: 47 * 48_000,
        samples: -480,
    });
    let elsewhere = Place::new();
    let truth = shoot.write(&elsewhere.cards()).expect("a shoot");
    let (_, member) = aligned(&elsewhere, &[]);
    let slips = member["slips"].as_array().map_or(0, Vec::len);
    let told = member["findings"].to_string();
    assert!(
        slips > 0 || (member["status"] != "established" && told.contains("ask")),
        "{truth:?} {member:#}"
    );
}

#[test]
fn a_marker_every_minute_places_a_unit_without_stamps() {
    let place = Place::new();
    let (mut shoot, _) = marked(&place, 250.0, "60");
    for unit in &mut shoot.units {
        unit.stamp = rehearsal::Stamp::absent();
    }
    let elsewhere = Place::new();
    let truth = shoot.write(&elsewhere.cards()).expect("a shoot");
    let (ended, member) = aligned(&elsewhere, &[]);
    assert_eq!(ended, 0, "{member:#}");
    is_right(&member, &truth, 0.02);
}
