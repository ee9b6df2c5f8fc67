//! A file's metadata in, its stamp out: `bext` before iXML (EBU Tech 3285 v2, 2.3; iXML `SPEED`), every contradiction and
//! every impossible value told.

use jiff::civil::DateTime;
use timecode::{Counting, Error, FrameRate, day_in_samples};
use wave::{Header, Ixml};

use super::Stamp;
use crate::finding::{Finding, Weight};

/// How far a stamp of zero may be from midnight by the calendar clock and still be one, seconds: clocks of units are set
/// by hand.
const MIDNIGHT_S: f64 = 120.0;
/// A stamp is taken for its low 32 bits only when the whole agrees with the calendar clock within this, seconds ...
const WRAP_AGREES_S: f64 = 300.0;
/// ... and the stamp as it stands is further away than this, seconds.
const WRAP_DISAGREES_S: f64 = 1800.0;
/// Stamps that differ by less than the longest timecode frame, 1001/24000 s, place a take alike.
const LONGEST_TIMECODE_FRAME_S: f64 = 1001.0 / 24_000.0;

/// The stamp of a file's first sample; `recorded` is what its calendar clock says.
pub(super) fn stamp_of(
    header: &Header,
    recorded: Option<DateTime>,
    place: &str,
    findings: &mut Vec<Finding>,
) -> Option<Stamp> {
    let from = findings.len();
    let stamp = read(header, recorded, findings);
    for finding in &mut findings[from..] {
        finding.place = place.to_string();
    }
    stamp
}

fn read(header: &Header, recorded: Option<DateTime>, findings: &mut Vec<Finding>) -> Option<Stamp> {
    let rate = header.format.sample_rate;
    let counting = counting_of(header, findings);
    find_pulled(header, findings);
    let written = (
        header.bext.as_ref().map(|bext| bext.time_reference),
        header.ixml.as_ref().and_then(|ixml| ixml_stamp(ixml, rate)),
    );
    let (samples, source) = match written {
        (Some(0), Some(ixml)) if ixml > 0 => {
            findings.push(contradiction(0, ixml, rate, "iXML"));
            (ixml, "iXML")
        }
        (Some(bext), Some(ixml)) => {
            if bext != ixml {
                findings.push(contradiction(bext, ixml, rate, "bext"));
            }
            (bext, "bext")
        }
        (Some(bext), None) => (bext, "bext"),
        (None, Some(ixml)) => (ixml, "iXML"),
        (None, None) => return None,
    };
    let wall_s = recorded.map(|at| seconds_of_day(&at));
    if samples == 0 && !wall_s.is_some_and(|wall_s| around_midnight(wall_s) <= MIDNIGHT_S) {
        findings.push(
            Finding::new(
                "no-stamp",
                Weight::Warn,
                "the stamp is zero; taken as no timecode",
            )
            .measured("0 samples since midnight", "a start time")
            .because("the unit had no timecode running")
            .then("let the unit's timecode run free and link the units before recording"),
        );
        return None;
    }
    if let Some(wall_s) = wall_s {
        find_lost_high_word(samples, rate, wall_s, findings);
    }
    let day = day_in_samples_of(counting, rate);
    if samples >= day {
        findings.push(
            Finding::new(
                "stamp-beyond-a-day",
                Weight::Note,
                "the stamp is longer than a day; days were taken off",
            )
            .measured(format!("{samples} samples"), format!("below {day}")),
        );
    }
    Some(Stamp {
        samples: samples % day,
        counting,
        source,
    })
}

/// Samples in the day after which stamps start again; 24 hours when the counting is unknown.
pub(super) fn day_in_samples_of(counting: Option<Counting>, rate: u32) -> u64 {
    counting
        .map_or(86_400 * u64::from(rate), |counting| {
            day_in_samples(counting, rate)
        })
        .max(1)
}

/// iXML's stamp at the rate of the audio, to the nearest sample.
fn ixml_stamp(ixml: &Ixml, rate: u32) -> Option<u64> {
    let samples = u128::from(ixml.speed.timestamp_samples_since_midnight?);
    let at = ixml
        .speed
        .timestamp_sample_rate
        .filter(|at| *at > 0)
        .unwrap_or(rate);
    let at = u128::from(at.max(1));
    u64::try_from((2 * samples * u128::from(rate) + at) / (2 * at)).ok()
}

fn contradiction(bext: u64, ixml: u64, rate: u32, used: &str) -> Finding {
    let apart = bext.abs_diff(ixml);
    let apart_s = apart as f64 / f64::from(rate.max(1));
    let weight = match apart {
        0..=1 => Weight::Note,
        _ if apart_s <= LONGEST_TIMECODE_FRAME_S || bext == 0 => Weight::Warn,
        _ => Weight::Ask,
    };
    Finding::new(
        "stamps-differ-in-file",
        weight,
        format!("two stamps in one file; {used} was used"),
    )
    .measured(
        format!("bext {bext}, iXML {ixml}: {apart} samples, {apart_s:.6} s apart"),
        "one stamp",
    )
    .because("a program changed one of them, or the unit rounds them differently")
    .then("compare with the unit's display or the other units' stamps of this take")
}

/// At 88.2 kHz and above a day has more than 2^32 samples; a stamp that lost its high word is hours too early.
fn find_lost_high_word(samples: u64, rate: u32, wall_s: f64, findings: &mut Vec<Finding>) {
    let seconds = |samples: u64| samples as f64 / f64::from(rate.max(1));
    if apart_in_day(seconds(samples), wall_s) < WRAP_DISAGREES_S {
        return;
    }
    let whole = (1..=3_u64)
        .filter_map(|high| samples.checked_add(high << 32))
        .take_while(|&whole| seconds(whole) < 86_400.0)
        .find(|&whole| apart_in_day(seconds(whole), wall_s) <= WRAP_AGREES_S);
    if let Some(whole) = whole {
        findings.push(
            Finding::new(
                "stamp-lost-high-word",
                Weight::Ask,
                "the stamp looks like the low 32 bits of a longer one",
            )
            .measured(
                format!("{samples} samples, {}", clock_text(seconds(samples))),
                format!(
                    "{whole} samples, {}, near the time written",
                    clock_text(seconds(whole))
                ),
            )
            .because("the unit or a program stored 32 of the 64 bits (EBU Tech 3285 v2, 2.3)")
            .then("correct the stamp in a copy, or tie the takes by hand"),
        );
    }
}

/// A unit whose converters ran at another rate than the file says: pulled up or down.
fn find_pulled(header: &Header, findings: &mut Vec<Finding>) {
    let rate = header.format.sample_rate;
    let Some(speed) = header.ixml.as_ref().map(|ixml| &ixml.speed) else {
        return;
    };
    if let Some(true_rate) = speed
        .digitizer_sample_rate
        .filter(|&hz| hz > 0 && hz != rate)
    {
        findings.push(
            Finding::new(
                "pulled-recording",
                Weight::Ask,
                "the converters ran at another rate than the file is marked with",
            )
            .measured(format!("{true_rate} Hz"), format!("{rate} Hz"))
            .because("the unit was set to pull-up or pull-down")
            .then("decide at which speed this recording is to play; it is never taken for drift"),
        );
    }
    if let Some(other) = speed.file_sample_rate.filter(|&hz| hz > 0 && hz != rate) {
        findings.push(
            Finding::new(
                "rates-differ-in-file",
                Weight::Warn,
                "iXML names another sampling rate than the audio; the audio's was used",
            )
            .measured(format!("{other} Hz"), format!("{rate} Hz")),
        );
    }
}

/// How labels are counted: iXML's `TIMECODE_RATE` and `TIMECODE_FLAG`, else a line in the bext description.
fn counting_of(header: &Header, findings: &mut Vec<Finding>) -> Option<Counting> {
    let speed = header.ixml.as_ref().map(|ixml| &ixml.speed);
    let exact = speed.and_then(|speed| {
        let (num, den) = speed.timecode_rate?;
        let rate = FrameRate::of_fraction(num, den).or_else(|| {
            findings.push(
                Finding::new(
                    "timecode-rate-unknown",
                    Weight::Note,
                    "the timecode rate is none of those in use",
                )
                .measured(format!("{num}/{den}"), "one of SMPTE ST 12-1"),
            );
            None
        })?;
        match Counting::new(rate, speed.drop_frame.unwrap_or(false)) {
            Ok(counting) => Some(counting),
            Err(error) => {
                findings.push(no_such_counting(&error));
                Counting::new(rate, false).ok()
            }
        }
    });
    let described = header
        .bext
        .as_ref()
        .and_then(|bext| described(&bext.description));
    match (exact, described) {
        (Some(exact), Some(other)) if exact != other => {
            findings.push(
                Finding::new(
                    "timecode-rates-differ-in-file",
                    Weight::Warn,
                    "two timecode rates in one file; iXML was used",
                )
                .measured(format!("iXML {exact}, bext {other}"), "one rate")
                .then("check the unit's timecode rate; the stamp in samples is not affected"),
            );
            Some(exact)
        }
        (Some(exact), _) => Some(exact),
        (None, described) => described,
    }
}

fn no_such_counting(error: &Error) -> Finding {
    Finding::new("drop-frame-impossible", Weight::Note, error.to_string())
        .then("the labels are shown without dropping; the stamp in samples is not affected")
}

/// `xSPEED=025.000-ND` lines that recorders put into the description (common practice, no source).
fn described(description: &str) -> Option<Counting> {
    description.lines().find_map(|line| {
        let (key, value) = line.split_once('=')?;
        let key = key.trim().to_ascii_uppercase();
        (key.ends_with("SPEED") && key.len() <= 6).then(|| Counting::parse(value).ok())?
    })
}

fn seconds_of_day(at: &DateTime) -> f64 {
    f64::from(at.hour()) * 3600.0 + f64::from(at.minute()) * 60.0 + f64::from(at.second())
}

/// The time between two times of day, the shorter way round.
fn apart_in_day(a_s: f64, b_s: f64) -> f64 {
    let apart = (a_s - b_s).rem_euclid(86_400.0);
    apart.min(86_400.0 - apart)
}

fn around_midnight(wall_s: f64) -> f64 {
    apart_in_day(wall_s, 0.0)
}

fn clock_text(seconds: f64) -> String {
    let whole = seconds as u64;
    format!(
        "{:02}:{:02}:{:02}",
        whole / 3600,
        whole / 60 % 60,
        whole % 60
    )
}
