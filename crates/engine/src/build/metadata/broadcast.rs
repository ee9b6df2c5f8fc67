//! A plan in, the broadcast extension of a file with its coding history out (EBU Tech 3285 v2, EBU R 98).

use jiff::SignedDuration;
use jiff::civil::{Date, DateTime, Time};
use wave::{Bext, Loudness};

use super::super::members::Source;
use super::super::plan::{Plan, PlannedFile, words};
use super::{MADE_BY, lead_header};
use crate::alignment::Placement;
use crate::units::distinct;

/// The broadcast extension of `file`.
pub(super) fn bext(plan: &Plan<'_>, file: &PlannedFile, with_loudness: bool) -> Bext {
    let theirs = lead_header(plan).bext.clone().unwrap_or_default();
    // a unit that was started again is named once
    let units = distinct(plan.sources.iter().map(|source| &*source.member.unit));
    let mut description = format!(
        "{}: {} channels of {} on the clock of {}",
        plan.take.name,
        file.channels.len(),
        units.join(" and "),
        plan.take.lead
    );
    // lines that name tracks are true of the lead's own file alone
    for line in theirs.description.lines().map(str::trim) {
        let key = line
            .split('=')
            .next()
            .unwrap_or_default()
            .to_ascii_uppercase();
        let fits = description.len() + 2 + line.len() <= 256;
        if !line.is_empty() && fits && !key.contains("TRK") && !key.contains("FILENAME") {
            description += "\r\n";
            description += line;
        }
    }
    let (date, time) = began(plan, file.span.start, &theirs);
    Bext {
        description,
        originator: MADE_BY.into(),
        originator_reference: String::new(),
        date,
        time,
        time_reference: file.stamp.unwrap_or(0),
        version: 1,
        umid: None,
        // room for what is measured while the samples go by
        loudness: with_loudness.then(Loudness::default),
        coding_history: coding_history(plan, &theirs),
    }
}

/// Date and time of the first sample, by the lead's own words.
fn began(plan: &Plan<'_>, position: i64, theirs: &Bext) -> (String, String) {
    let date = theirs
        .date_parts()
        .and_then(|(y, m, d)| Date::new(y as i16, m as i8, d as i8).ok());
    let time = theirs
        .time_parts()
        .and_then(|(h, m, s)| Time::new(h as i8, m as i8, s as i8, 0).ok());
    let (Some(date), Some(time)) = (date, time) else {
        return (plan.take.start.date.clone(), theirs.time.clone());
    };
    let seconds = (position as f64 / f64::from(plan.take.sample_rate)).floor() as i64;
    let moved = DateTime::from_parts(date, time)
        .checked_add(SignedDuration::from_secs(seconds))
        .unwrap_or(DateTime::from_parts(date, time));
    (
        moved.strftime("%Y-%m-%d").to_string(),
        moved.strftime("%H:%M:%S").to_string(),
    )
}

/// The lead's own history, one line a source file, one line for what was done. R 98 has no word for more than two
/// channels nor for floating point: both stand in T, which takes no commas.
fn coding_history(plan: &Plan<'_>, theirs: &Bext) -> String {
    let mut lines: Vec<String> = theirs.coding_history.lines().map(str::to_string).collect();
    let line = |encoding: wave::Encoding, rate: u32, channels: usize, text: String| {
        let mut line = format!("A=PCM,F={rate}");
        if !encoding.is_float() && encoding.bits() <= 24 {
            line += &format!(",W={}", encoding.bits());
        }
        match channels {
            1 => line += ",M=mono",
            2 => line += ",M=stereo",
            _ => {}
        }
        let text = format!("{text}; {channels} ch; {}", words(encoding));
        line + ",T=" + &text.replace(',', ";")
    };
    for source in plan.sources {
        for (path, header) in &source.files {
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            lines.push(line(
                header.format.encoding,
                header.format.sample_rate,
                usize::from(header.format.channels),
                format!("source {} {name}", source.member.unit),
            ));
        }
    }
    let done: Vec<String> = plan.sources.iter().map(what_was_done).collect();
    lines.push(line(
        plan.encoding,
        plan.take.sample_rate,
        plan.channels.len(),
        format!("{MADE_BY}; {}{}", done.join("; "), gain_of(plan)),
    ));
    lines.retain(|line| !line.trim().is_empty());
    lines.join("\r\n") + "\r\n"
}

/// What was done to a source, in a few words.
pub(super) fn what_was_done(source: &Source<'_>) -> String {
    let member = source.member;
    let slips = match member.slips.len() {
        0 => String::new(),
        1 => ", 1 slip mended".into(),
        many => format!(", {many} slips mended"),
    };
    let placed = match member.placement {
        _ if member.role == crate::alignment::Role::Lead => format!("{} copied", member.unit),
        Placement::Exact => format!(
            "{} copied at {:+}",
            member.unit,
            member.offset_samples.round()
        ),
        _ => format!(
            "{} resampled {:+.3} ppm at {:+.3}",
            member.unit, member.rate_ppm, member.offset_samples
        ),
    };
    placed + &slips
}

/// The gain as the end of a list; empty when levels are as recorded.
pub(super) fn gain_of(plan: &Plan<'_>) -> String {
    match plan.gain_words() {
        none if none.is_empty() => none,
        gain => format!("; gain {gain}"),
    }
}
