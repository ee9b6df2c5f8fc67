//! The timecode on a track in, what is odd about it out.

use timecode::ltc::{Direction, Dropping, Reading};

use crate::finding::{Finding, Weight};

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
