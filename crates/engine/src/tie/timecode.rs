//! A take's sound in, the timecode on each of its channels out, and what is odd about it.

use rayon::prelude::*;
use timecode::ltc::{Decoder, Direction, Dropping, Reading};

use crate::error::Result;
use crate::finding::{Finding, Weight};
use crate::progress::Progress;
use crate::signal::Sound;

/// Samples read at a time.
const PIECE: usize = 1 << 16;

/// Reads linear timecode off every channel, `None` where there is none; positions are samples of the take.
///
/// # Errors
/// When the take cannot be read.
pub fn timecode_tracks(sound: &dyn Sound, progress: &dyn Progress) -> Result<Vec<Option<Reading>>> {
    let channels: Vec<usize> = (0..sound.channels()).collect();
    let length = sound.length().0;
    let mut decoders: Vec<Decoder> = channels
        .iter()
        .map(|_| Decoder::new(sound.rate().0))
        .collect();
    let mut planes = vec![vec![0.0; PIECE]; channels.len()];
    progress.stage("looking for timecode on the tracks", length);
    let mut at = 0;
    while at < length {
        let count = usize::try_from(length - at).map_or(PIECE, |left| left.min(PIECE));
        let mut out: Vec<&mut [f64]> = planes.iter_mut().map(|plane| &mut plane[..count]).collect();
        sound.read(&channels, at as i64, &mut out)?;
        decoders
            .par_iter_mut()
            .zip(&planes)
            .for_each(|(decoder, plane)| {
                let samples: Vec<f32> = plane[..count].iter().map(|x| *x as f32).collect();
                decoder.push(&samples);
            });
        at += count as u64;
        progress.advance(count as u64);
    }
    Ok(decoders.into_par_iter().map(Decoder::finish).collect())
}

/// Generators are off by less (ST 12-1, 9.4: 100 ppm for one that runs free), parts per million.
const FREE_RUNNING_PPM: f64 = 100.0;

/// Where a smaller share of the words can be read it is said.
const LEAST_WORDS: f64 = 0.99;

/// By how much the track's unit counts faster than the code's generator, parts per million; positive: more samples a word.
#[must_use]
pub fn ppm_against_generator(reading: &Reading) -> f64 {
    1e6 * (1.0 / reading.speed() - 1.0)
}

/// What a person should know about the timecode on a track; `place` names it.
#[must_use]
pub fn timecode_findings(place: &str, sample_rate: u32, reading: &Reading) -> Vec<Finding> {
    let say = |code: &str, weight, message: String| Finding::new(code, weight, message).at(place);
    let seconds = |position: f64| format!("{:.3} s", position / f64::from(sample_rate));
    let mut findings = Vec::new();
    if reading.good() < LEAST_WORDS {
        let share = format!("{:.1} % of the words", 100.0 * reading.good());
        findings.push(
            say(
                "timecode-worn",
                Weight::Note,
                "some of the timecode cannot be read".into(),
            )
            .measured(share, "99 %")
            .because("noise, bleed, a level that is too low or too high, or drop-outs"),
        );
    }
    for jump in &reading.jumps {
        let what = match jump.ahead {
            -1 => "a label is sent twice".to_owned(),
            0 => "the timecode stops and goes on".to_owned(),
            ahead => format!("the timecode jumps by {ahead:+} labels"),
        };
        findings.push(
            say("timecode-jump", Weight::Warn, what)
                .measured(
                    format!("{} after {} at {}", jump.to, jump.from, seconds(jump.at)),
                    "labels that count on",
                )
                .because("the generator was set or started anew, or samples are missing"),
        );
    }
    if reading
        .runs
        .iter()
        .any(|run| run.direction == Direction::Still)
    {
        findings.push(
            say(
                "timecode-still",
                Weight::Warn,
                "the timecode stands still".into(),
            )
            .because("the generator was stopped")
            .then("set it to run freely"),
        );
    }
    let flag_lies = match reading.dropping {
        Dropping::Seen => !reading.drop_flag,
        Dropping::NotSeen => reading.drop_flag,
        Dropping::Flagged(_) => false,
    };
    if flag_lies {
        let counted = if reading.counting.drop_frame() {
            "labels are dropped"
        } else {
            "no labels are dropped"
        };
        let flag = if reading.drop_flag { "set" } else { "not set" };
        findings.push(
            say(
                "timecode-drop-flag",
                Weight::Warn,
                "the drop-frame flag is wrong".into(),
            )
            .measured(format!("flag {flag}"), counted)
            .then("believe the count: it is what was used"),
        );
    }
    let ppm = ppm_against_generator(reading);
    if ppm.abs() > FREE_RUNNING_PPM {
        findings.push(
            say("timecode-speed", Weight::Warn, "the timecode does not run at its own rate".into())
                .measured(format!("{ppm:+.1} ppm"), "±100 ppm (ST 12-1, 9.4)")
                .because("the track was played at another speed, or stamped with another sample rate than it has"),
        );
    }
    findings
}
