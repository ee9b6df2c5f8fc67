//! How fast timecode is read: clean code beside libltc on the same samples, and code that needs the likeliest sequence, and
//! sound that is no code. Runs only when asked: `cargo bench -p commontime-timecode --bench reading -- run`.
#![expect(clippy::print_stdout, reason = "a table for whoever asked for it")]

#[path = "../tests/outside/mod.rs"]
mod outside;

use std::time::Instant;

use rehearsal::TimecodeTrack;
use timecode::ltc::Reading;

fn main() {
    if !std::env::args().any(|word| word == "run") {
        return;
    }
    let track = TimecodeTrack {
        seconds: 300.0,
        ..TimecodeTrack::default()
    };
    println!("| five minutes at 48 kHz | words | seconds | times real time |");
    println!("|---|---|---|---|");
    let clean = time("clean code", &track);
    for (name, snr_db, late_s) in [
        ("code in noise, 0 dB", Some(0.0), 0.0),
        ("code in noise, -6 dB", Some(-6.0), 0.0),
        ("noise alone", Some(0.0), 299.0),
        ("silence", None, 299.0),
    ] {
        let track = TimecodeTrack {
            snr_db,
            late_s,
            ..track.clone()
        };
        time(name, &track);
    }
    let (samples, _) = track.record().expect("a track");
    let theirs = libltc(&samples);
    println!(
        "| libltc, clean code | | {theirs:.3} | {:.0} |",
        track.seconds / theirs
    );
    println!(
        "\nclean code: libltc's time over ours {:.2}",
        theirs / clean
    );
}

/// The best of five readings, seconds.
fn time(name: &str, track: &TimecodeTrack) -> f64 {
    let (samples, _) = track.record().expect("a track");
    let mut words = 0;
    let taken = (0..5)
        .map(|_| {
            let begun = Instant::now();
            let reading = Reading::new(&samples, track.sample_rate);
            words = reading.map_or(0, |reading| reading.words().count());
            begun.elapsed().as_secs_f64()
        })
        .fold(f64::MAX, f64::min);
    println!(
        "| {name} | {words} | {taken:.3} | {:.0} |",
        track.seconds / taken
    );
    taken
}

/// The best of five of libltc's, seconds; the samples are handed over in pieces of 4096.
fn libltc(samples: &[f32]) -> f64 {
    let output = outside::libltc(&outside::words(&[&"time", &1920]), &outside::bytes(samples));
    let text = String::from_utf8(output).expect("text");
    text.trim().parse().expect("seconds")
}
