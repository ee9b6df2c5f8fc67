//! `ltc`: recordings in, the timecode on their tracks out; or a first label in, a file of timecode out.

use anyhow::Result;
use engine::build::write_timecode;
use engine::finding::Finding;
use engine::output::Replace;
use engine::take::{Take, TakeSound, scan};
use engine::tie::timecode::{Track, ppm_against_generator, timecode_findings, timecode_tracks};
use engine::units::signed;
use engine::{Error, Kind};
use serde_json::{Value, json};
use timecode::ltc::{
    Date, Day, Direction, Dropping, Layout, Meaning, RISE_S, Reading, Signal, UserBits, Zone,
};
use timecode::{Counting, Label};

use super::args::{LtcCommand, LtcWriteArgs, SurveyArgs};
use super::exit::Ended;
use super::say;
use super::signal::amplitude_of;
use super::timecode::name;
use super::watch::Watch;

/// Reads or writes.
pub fn run(command: &LtcCommand, json: bool) -> Result<Ended> {
    match command {
        LtcCommand::Read(args) => read(args, json),
        LtcCommand::Write(args) => write(args, json),
    }
}

fn read(args: &SurveyArgs, json: bool) -> Result<Ended> {
    let watch = Watch::new();
    let mut findings = Vec::new();
    let survey = scan(&args.cards, &watch)?.drain_into(&mut findings);
    let mut tracks = Vec::new();
    let mut lines = Vec::new();
    for take in survey.units.iter().flat_map(|unit| &unit.takes) {
        let sound = TakeSound::open(&take.parts)?;
        let found = timecode_tracks(&sound, &watch)?;
        if found.is_empty() {
            lines.push(format!(
                "{}: no timecode on any of its tracks",
                take.place()
            ));
        }
        for Track { channel, reading } in &found {
            let place = take.channel_place(*channel);
            findings.extend(timecode_findings(&place, take.rate.0, reading));
            lines.extend(tell(&place, take, reading));
            tracks.push(track_json(take, *channel, reading));
        }
    }
    watch.finish();
    say::findings(&findings);
    if json {
        say::json(&json!({ "tracks": tracks, "findings": findings }))?;
    } else {
        lines.iter().for_each(say::line);
    }
    Ok(Ended::by_findings(&findings))
}

fn tell(place: &str, take: &Take, reading: &Reading) -> Vec<String> {
    let Some((first, last)) = reading.words().next().zip(reading.words().last()) else {
        return Vec::new();
    };
    let rate = f64::from(take.rate.0);
    let mut lines = vec![
        format!("{place}: {} to {}", first.label, last.label),
        format!(
            "  {}, {}; {:.1} % of {} words read, {}",
            name(reading.counting),
            dropping(reading),
            100.0 * reading.good(),
            reading.expected(),
            direction(reading)
        ),
        format!(
            "  the first word begins at {:.6} s, sample {:.3} ± {:.3}",
            first.start / rate,
            first.start,
            first.sigma
        ),
        format!(
            "  the unit's clock against the generator's: {} ppm",
            signed(ppm_against_generator(reading), 3)
        ),
        format!("  user bits {}{}", reading.user_bits, meaning(reading)),
        format!(
            "  words begin with the level {}; the polarity bit is {}; colour flag {}",
            if reading.rises { "rising" } else { "falling" },
            if reading.even > 0.99 {
                "kept"
            } else {
                "not kept"
            },
            if reading.colour_flag {
                "set"
            } else {
                "not set"
            }
        ),
    ];
    let mended = mended(reading);
    if mended > 0 {
        lines.push(format!(
            "  {mended} of the words were read with the help of those on either side"
        ));
    }
    lines
}

fn mended(reading: &Reading) -> usize {
    reading.words().filter(|word| word.mended > 0).count()
}

fn dropping(reading: &Reading) -> &'static str {
    match reading.dropping {
        Dropping::Seen => "labels are dropped (counted)",
        Dropping::NotSeen => "no labels are dropped",
        Dropping::Flagged(true) => "labels are dropped by the flag; no minute began to prove it",
        Dropping::Flagged(false) => {
            "no labels are dropped by the flag; no minute began to prove it"
        }
    }
}

fn direction(reading: &Reading) -> &'static str {
    let all = |way: Direction| reading.runs.iter().all(|run| run.direction == way);
    if all(Direction::Forward) {
        "forward"
    } else if all(Direction::Reverse) {
        "in reverse"
    } else if all(Direction::Still) {
        "standing still"
    } else {
        "in several directions"
    }
}

fn meaning(reading: &Reading) -> String {
    let clock = if reading.user_bits.is_clock_time() {
        "; labels are a clock's time"
    } else {
        ""
    };
    let constant = if reading.user_bits_share < 0.5 {
        "; they change"
    } else {
        ""
    };
    let held = match reading.user_bits.meaning() {
        Meaning::Unspecified => String::new(),
        Meaning::Characters(bytes) => format!(", characters “{}”", bytes.escape_ascii()),
        Meaning::PageAndLine => ", page and line".to_owned(),
        Meaning::Date(date) => format!(", {}", date_text(date)),
    };
    format!("{held}{clock}{constant}")
}

fn date_text(date: Date) -> String {
    let day = match date.day {
        Day::Calendar { year, month, day } => format!("date {year:02}-{month:02}-{day:02}"),
        Day::Julian(day) => format!("Modified Julian Day {day}"),
        Day::None => "a date that is none".to_owned(),
    };
    let summer = if date.daylight_saving {
        ", daylight saving time"
    } else {
        ""
    };
    format!("{day} {}{summer}", date.zone)
}

fn track_json(take: &Take, channel: usize, reading: &Reading) -> Value {
    let runs: Vec<Value> = reading
        .runs
        .iter()
        .filter_map(|run| {
            let (first, last) = (run.words.first()?, run.words.last()?);
            Some(json!({
                "direction": format!("{:?}", run.direction).to_lowercase(),
                "words": run.words.len(),
                "expected": run.expected(),
                "first": word_json(first),
                "last": word_json(last),
            }))
        })
        .collect();
    let jumps: Vec<Value> = reading
        .jumps
        .iter()
        .map(|jump| {
            json!({
                "at_sample": jump.at,
                "from": jump.from.to_string(),
                "to": jump.to.to_string(),
                "labels_ahead": jump.ahead,
            })
        })
        .collect();
    json!({
        "unit": take.unit,
        "take": take.name,
        "channel": channel + 1,
        "counting": reading.counting.to_string(),
        "dropped_labels": match reading.dropping {
            Dropping::Seen => "seen",
            Dropping::NotSeen => "not-seen",
            Dropping::Flagged(_) => "flag-only",
        },
        "drop_flag": reading.drop_flag,
        "colour_flag": reading.colour_flag,
        "words_a_second": reading.words_per_s,
        "ppm_against_generator": ppm_against_generator(reading),
        "words_expected": reading.expected(),
        "good": reading.good(),
        "mended_words": mended(reading),
        "user_bits": reading.user_bits.to_string(),
        "user_bits_flags": format!("{:03b}", reading.user_bits.flags),
        "user_bits_share": reading.user_bits_share,
        "polarity_bit_kept": reading.even,
        "layout": format!("{:?}", Layout::of(reading.counting)),
        "words_begin_rising": reading.rises,
        "runs": runs,
        "jumps": jumps,
    })
}

fn word_json(word: &timecode::ltc::Timed) -> Value {
    json!({
        "label": word.label.to_string(),
        "at_sample": word.start,
        "sigma_samples": word.sigma,
    })
}

fn write(args: &LtcWriteArgs, json: bool) -> Result<Ended> {
    let counting = Counting::parse(&args.rate)?;
    let first = Label::parse(&args.from, counting)?;
    let refuse = |message: String| Error::new(Kind::Usage, message);
    if !(args.seconds > 0.0 && args.seconds <= 7.0 * 86_400.0) {
        let message = format!(
            "--seconds is {}; expected more than 0, at most a week",
            args.seconds
        );
        return Err(refuse(message).into());
    }
    let amplitude = amplitude_of(args.level)?;
    let signal = Signal {
        first,
        user_bits: user_bits(args)?,
        colour: false,
        sample_rate: args.sample_rate,
        amplitude,
        rise_s: RISE_S,
    };
    let length = (args.seconds * f64::from(args.sample_rate)).round() as u64;
    let replace = Replace::from(args.replace);
    write_timecode(&args.out, signal, length, replace)?;
    let caution = "Caution: timecode is harsh and loud in headphones and loudspeakers: turn them down or unplug them \
                   before it is played. It is a line signal: into a microphone input only through an attenuator, with \
                   phantom power off, and away from the cables of microphones.";
    say::aside(caution);
    if json {
        say::json(&json!({
            "file": args.out,
            "from": first.to_string(),
            "counting": counting.to_string(),
            "sample_rate": args.sample_rate,
            "length_samples": length,
            "level_dbfs": args.level,
            "user_bits": signal.user_bits.to_string(),
            "findings": Vec::<Finding>::new(),
        }))?;
    } else {
        say::line(format!(
            "{}: timecode from {first} at {}, {} s, {} Hz, peaks at {} dBFS, user bits {}",
            args.out.display(),
            name(counting),
            args.seconds,
            args.sample_rate,
            args.level,
            signal.user_bits
        ));
    }
    Ok(Ended::Done)
}

fn user_bits(args: &LtcWriteArgs) -> Result<UserBits> {
    let refuse = |what: &str, found: &str, expected: &str| {
        let message = format!("--{what} is `{found}`; expected {expected}");
        anyhow::Error::from(Error::new(Kind::Usage, message))
    };
    if let Some(text) = &args.user_bits {
        let expected = "eight hexadecimal digits, e.g. 20261125";
        return UserBits::parse(text).ok_or_else(|| refuse("user-bits", text, expected));
    }
    if let Some(text) = &args.text {
        let bytes: [u8; 4] = format!("{text:<4}")
            .into_bytes()
            .try_into()
            .map_err(|_| refuse("text", text, "at most four characters of one byte each"))?;
        return Ok(UserBits::of_characters(bytes));
    }
    let Some(text) = &args.date else {
        return Ok(UserBits::default());
    };
    let zone = Zone::Minutes(args.zone);
    let parts: Vec<&str> = text.split('-').collect();
    let numbers = match parts[..] {
        [y, m, d] => (y.parse::<u16>().ok())
            .zip(m.parse().ok())
            .zip(d.parse().ok()),
        _ => None,
    };
    let expected = "a day as YYYY-MM-DD, and a zone that ST 309 has a code for";
    numbers
        .and_then(|((year, month), day)| {
            let year = (year % 100) as u8;
            UserBits::of_date(Date {
                day: Day::Calendar { year, month, day },
                zone,
                daylight_saving: false,
            })
        })
        .ok_or_else(|| refuse("date", &format!("{text}, zone {}", args.zone), expected))
}
