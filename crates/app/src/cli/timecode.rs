//! `timecode`: a label, a number or a sum in; the same instant as label, seconds and samples at every rate out, in plain
//! words.

use anyhow::Result;
use comfy_table::{CellAlignment, Table};
use serde_json::{Value, json};
use timecode::sums::{Answer, Drift, Exact, Place, Span, answer, day_in_seconds, pulled};
use timecode::{Counting, FrameRate};

use super::args::TimecodeArgs;
use super::exit::Ended;
use super::say;

/// Sample rates that are shown.
const SAMPLE_RATES: [u32; 6] = [44_100, 48_000, 88_200, 96_000, 176_400, 192_000];

/// Works it out and shows it.
pub fn run(args: &TimecodeArgs, json: bool) -> Result<Ended> {
    let words: Vec<&str> = args.sum.iter().flat_map(|word| word.split(' ')).collect();
    let counting = counting(args, &words)?;
    let found = answer(&words, counting, args.sample_rate)?;
    if json {
        say::json(&match found {
            Answer::Place(place) => place_json(place, args.sample_rate),
            Answer::Span(span) => span_json(span, args.sample_rate),
            Answer::Drift(drift) => drift_json(drift, args.sample_rate),
        })?;
        return Ok(Ended::Done);
    }
    for part in in_words(found, args.sample_rate) {
        match part {
            Said::Words(words) => say::line(words),
            Said::Table(header, rows) => {
                say::line("");
                say::line(numbers(&header, rows).to_string());
            }
        }
    }
    Ok(Ended::Done)
}

/// A part of an answer.
#[derive(Debug, Clone, PartialEq)]
pub enum Said {
    /// A sentence or two.
    Words(String),
    /// A table whose columns are numbers but for the first: headings and rows.
    Table(Vec<String>, Vec<Vec<String>>),
}

/// The answer in plain words and tables.
///
/// # Errors
/// When the sum makes no sense.
pub fn said(args: &TimecodeArgs) -> Result<Vec<Said>> {
    let words: Vec<&str> = args.sum.iter().flat_map(|word| word.split(' ')).collect();
    let counting = counting(args, &words)?;
    let found = answer(&words, counting, args.sample_rate)?;
    Ok(in_words(found, args.sample_rate))
}

fn in_words(found: Answer, sample_rate: u32) -> Vec<Said> {
    match found {
        Answer::Place(place) => of_place(place, sample_rate),
        Answer::Span(span) => of_span(span),
        Answer::Drift(drift) => of_drift(drift, sample_rate),
    }
}

/// The counting asked for; without one 29.97 drop-frame for labels that are written with `;`, else 30 without dropping.
fn counting(args: &TimecodeArgs, words: &[&str]) -> Result<Counting> {
    if let Some(text) = &args.rate {
        return Ok(Counting::parse(text)?);
    }
    let dropped = words.iter().any(|word| word.contains(';'));
    let rate = if dropped {
        FrameRate::F29_97
    } else {
        FrameRate::F30
    };
    Ok(Counting::new(rate, dropped)?)
}

/// Every counting in use, slowest first.
fn countings() -> impl Iterator<Item = Counting> {
    FrameRate::ALL.into_iter().flat_map(|rate| {
        [false, true]
            .into_iter()
            .filter_map(move |drop| Counting::new(rate, drop).ok())
    })
}

/// `29.97 DF`, as people say it.
pub(super) fn name(counting: Counting) -> String {
    let rate = match counting.rate() {
        FrameRate::F23_976 => "23.976".to_owned(),
        FrameRate::F29_97 => "29.97".to_owned(),
        FrameRate::F47_952 => "47.952".to_owned(),
        FrameRate::F59_94 => "59.94".to_owned(),
        rate => rate.nominal().to_string(),
    };
    let flag = match (counting.rate().nominal(), counting.drop_frame()) {
        (_, true) => " DF",
        (30 | 60, false) => " ND",
        _ => "",
    };
    format!("{rate}{flag}")
}

/// A table whose columns are numbers but for the first.
fn numbers(header: &[String], rows: Vec<Vec<String>>) -> Table {
    let mut table = say::plain_table();
    table.set_header(header);
    for column in table.column_iter_mut().skip(1) {
        column.set_cell_alignment(CellAlignment::Right);
    }
    table.add_rows(rows);
    table
}

fn table<const N: usize>(header: [&str; N], rows: impl Iterator<Item = [String; N]>) -> Said {
    let header = header.map(str::to_owned).to_vec();
    Said::Table(header, rows.map(|row| row.to_vec()).collect())
}

fn of_place(place: Place, sample_rate: u32) -> Vec<Said> {
    let counting = place.label.counting();
    let words = format!(
        "{} at {}: timecode frame {} of the day, {} s after midnight.",
        place.label,
        name(counting),
        place.label.count(),
        place.seconds
    );
    let rates = rates_with(sample_rate).into_iter();
    let samples = rates.map(|rate| [format!("{rate} Hz"), place.samples(rate).to_string()]);
    let labels = countings().map(|other| {
        let label = place.in_counting(other).to_string();
        [name(other), label, day_in_seconds(other).to_string()]
    });
    let mut said = vec![
        Said::Words(words),
        table(["sample rate", "samples since midnight"], samples),
        table(
            ["at the same instant", "label", "a day of labels, s"],
            labels,
        ),
        Said::Words(String::new()),
    ];
    said.extend(about_place(place, sample_rate).into_iter().map(Said::Words));
    said
}

fn rates_with(sample_rate: u32) -> Vec<u32> {
    let mut rates = SAMPLE_RATES.to_vec();
    rates.push(sample_rate);
    rates.sort_unstable();
    rates.dedup();
    rates
}

/// What the label says of the time of day, and what pulling does.
fn about_place(place: Place, sample_rate: u32) -> Vec<String> {
    let counting = place.label.counting();
    let mut said = Vec::new();
    let (shown, true_s) = (place.shown().value(), place.seconds.value());
    if counting.drop_frame() {
        let a_minute = counting.dropped_a_minute();
        said.push(format!(
            "Drop-frame leaves out labels, never sound: {a_minute} labels at the start of every minute but 00, 10, 20, 30, \
             40 and 50; {} of them so far today.",
            place.dropped()
        ));
    }
    if (shown - true_s).abs() > 1e-9 {
        let side = if shown < true_s { "behind" } else { "ahead of" };
        said.push(format!(
            "Read as a clock the label is {} s {side} the time of day.",
            seconds_text((shown - true_s).abs())
        ));
    }
    let [down, up] = pulled(sample_rate);
    let seconds = place.seconds.value();
    said.push(format!(
        "Pulled down, {sample_rate} Hz becomes {down} Hz and these {} s last {} s; pulled up, {up} Hz and {} s.",
        place.seconds,
        seconds_text(seconds * 1.001),
        seconds_text(seconds / 1.001)
    ));
    said
}

fn seconds_text(seconds: f64) -> String {
    let text = format!("{seconds:.6}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn of_span(span: Span) -> Vec<Said> {
    let side = if span.backwards {
        ", the second label being the later one"
    } else {
        ""
    };
    let words = format!(
        "{} timecode frames at {}{side}: {} s.",
        span.frames,
        name(span.counting),
        span.seconds
    );
    let rates = SAMPLE_RATES.into_iter();
    let samples = rates.map(|rate| [format!("{rate} Hz"), span.samples(rate).to_string()]);
    vec![
        Said::Words(words),
        table(["sample rate", "samples"], samples),
    ]
}

fn of_drift(drift: Drift, sample_rate: u32) -> Vec<Said> {
    let words = format!(
        "{} ppm: {} s a day, {:.3} timecode frames a day at {}.",
        drift.ppm,
        seconds_text(drift.seconds_a_day().abs()),
        drift.frames_a_day().abs(),
        seconds_text(drift.rate.per_second())
    );
    let mut said = vec![Said::Words(words)];
    if drift.ppm != 0.0 {
        let marks = marks(drift, sample_rate).into_iter();
        let rows = marks.map(|(name, apart_s)| [name, duration(drift.until(apart_s))]);
        said.push(table(["two units are apart by", "after"], rows));
    }
    said
}

/// By how much two units may be apart, and the seconds of it.
fn marks(drift: Drift, sample_rate: u32) -> Vec<(String, f64)> {
    let frame_s = 1.0 / drift.rate.per_second();
    vec![
        (
            format!("one sample of {sample_rate} Hz"),
            1.0 / f64::from(sample_rate),
        ),
        ("a tenth of a millisecond".to_owned(), 1e-4),
        ("a millisecond".to_owned(), 1e-3),
        ("half a timecode frame".to_owned(), 0.5 * frame_s),
        ("one timecode frame".to_owned(), frame_s),
    ]
}

/// `3 h 05 min`, `12 min 30 s`, `4.167 s`.
fn duration(seconds: f64) -> String {
    let whole = seconds.round();
    if seconds < 60.0 {
        return format!("{seconds:.3} s");
    }
    let (h, m, s) = (whole / 3600.0, whole / 60.0 % 60.0, whole % 60.0);
    if whole < 3600.0 {
        format!("{:.0} min {s:02.0} s", m.floor())
    } else {
        format!("{:.0} h {:02.0} min", h.floor(), m.floor())
    }
}

fn exact_json(exact: Exact) -> Value {
    let (num, den) = exact.fraction();
    json!({ "value": exact.value(), "fraction": format!("{num}/{den}") })
}

fn place_json(place: Place, sample_rate: u32) -> Value {
    let others: Vec<Value> = countings()
        .map(|other| {
            json!({
                "counting": other.to_string(),
                "label": place.in_counting(other).to_string(),
                "day_s": exact_json(day_in_seconds(other)),
            })
        })
        .collect();
    json!({
        "label": place.label.to_string(),
        "counting": place.label.counting().to_string(),
        "timecode_frames": place.label.count(),
        "dropped_labels": place.dropped(),
        "seconds": exact_json(place.seconds),
        "sample_rate": sample_rate,
        "samples": exact_json(place.samples(sample_rate)),
        "same_instant": others,
        "words": about_place(place, sample_rate),
    })
}

fn span_json(span: Span, sample_rate: u32) -> Value {
    json!({
        "backwards": span.backwards,
        "timecode_frames": span.frames,
        "counting": span.counting.to_string(),
        "seconds": exact_json(span.seconds),
        "sample_rate": sample_rate,
        "samples": exact_json(span.samples(sample_rate)),
    })
}

fn drift_json(drift: Drift, sample_rate: u32) -> Value {
    let apart: Vec<Value> = marks(drift, sample_rate)
        .into_iter()
        .map(|(name, apart_s)| {
            let after = drift.until(apart_s);
            json!({ "apart": name, "apart_s": apart_s, "after_s": after.is_finite().then_some(after) })
        })
        .collect();
    json!({
        "ppm": drift.ppm,
        "frame_rate": drift.rate.to_string(),
        "seconds_a_day": drift.seconds_a_day(),
        "timecode_frames_a_day": drift.frames_a_day(),
        "apart": apart,
    })
}
