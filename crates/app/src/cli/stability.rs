//! `stability`: the recordings of a long test, or phases in text files, in; what they tell of clocks out.

use std::path::{Path, PathBuf};

use anyhow::Result;
use engine::alignment::Basis;
use engine::establish::made_by;
use engine::finding::Finding;
use engine::history::{History, Measurement};
use engine::output::{Replace, refuse_existing, write_text};
use engine::report::screen;
use engine::stability::{
    MODEL, Request, Series, Stability, UNKNOWN, measure_clocks, phases_of, stability,
    temperatures_of,
};
use engine::take::scan;
use engine::{Error, Kind};
use timecode::FrameRate;

use super::args::StabilityArgs;
use super::day::{options_by, text_of};
use super::exit::Ended;
use super::say;
use super::watch::Watch;

/// The page and the tables in the folder for them.
const PAGE: &str = "stability.html";
const DEVIATIONS: &str = "deviations.csv";
const PHASES: &str = "phases.csv";
/// A text is read up to this size.
const LARGEST_TEXT: u64 = 256 << 20;

/// Judges, writes and says.
pub fn run(args: &StabilityArgs, json: bool) -> Result<Ended> {
    let rate = FrameRate::parse(&args.rate)?;
    let replace = Replace::from(args.replace);
    for name in [PAGE, DEVIATIONS, PHASES] {
        if let Some(out) = &args.out {
            refuse_existing(&out.join(name), replace)?;
        }
    }
    // before hours of work: what cannot be read is told at once
    let log = args.temperature.as_deref().map(|path| -> Result<_> {
        Ok(temperatures_of(&small_text_of(path)?).map_err(|error| error.at(path))?)
    });
    let history = args.history.as_deref().map(known).transpose()?;
    let request = Request {
        timecode_frame_s: 1.0 / rate.per_second(),
        frame_rate: args.rate.clone(),
        temperatures: log.transpose()?,
    };
    let mut findings = Vec::new();
    let series = series_of(args, &mut findings)?;
    let mut found = stability(&series, &request);
    found.findings.splice(0..0, findings);
    if let Some(out) = &args.out {
        write_text(
            &out.join(PAGE),
            &screen(&found.document(&made_by())),
            replace,
        )?;
        write_text(&out.join(DEVIATIONS), &found.deviations_csv()?, replace)?;
        write_text(&out.join(PHASES), &found.phases_csv()?, replace)?;
    }
    if let (Some(path), Some(text)) = (&args.history, &history)
        && !found.clocks.is_empty()
    {
        let new: Vec<Measurement> = found.clocks.iter().map(|one| one.measurement()).collect();
        let whole = History::extended(text.as_deref(), &new).map_err(|error| error.at(path))?;
        write_text(path, &whole, Replace::from(text.is_some()))?;
    }
    say::findings(&found.findings);
    match json {
        true => say::json(&found)?,
        false => tell(&found, args),
    }
    Ok(match found.clocks.is_empty() {
        true => Ended::Undecided,
        false => Ended::by_findings(&found.findings),
    })
}

/// The text of a history that is there.
fn known(path: &Path) -> Result<Option<String>> {
    if !path.exists() {
        return Ok(None);
    }
    let text = small_text_of(path)?;
    History::from_toml(&text).map_err(|error| error.at(path))?;
    Ok(Some(text))
}

/// The text of a file that is no larger than such a text may be.
fn small_text_of(path: &Path) -> engine::Result<String> {
    let size = std::fs::metadata(path).map_or(0, |about| about.len());
    if size > LARGEST_TEXT {
        return Err(Error::new(Kind::Unsupported, "is too large for a text")
            .at(path)
            .then(format!(
                "give a part of it, {} at most",
                say::bytes(LARGEST_TEXT)
            )));
    }
    text_of(path)
}

fn is_text(path: &Path) -> bool {
    let ending = path.extension().and_then(|ending| ending.to_str());
    path.is_file()
        && ending.is_some_and(|ending| {
            let mut known = ["csv", "txt", "dat"].into_iter();
            known.any(|one| ending.eq_ignore_ascii_case(one))
        })
}

/// Every clock that the files tell of.
fn series_of(args: &StabilityArgs, findings: &mut Vec<Finding>) -> Result<Vec<Series>> {
    let (texts, cards): (Vec<PathBuf>, Vec<PathBuf>) =
        args.files.iter().cloned().partition(|path| is_text(path));
    let mut series = Vec::new();
    for path in &texts {
        series.push(of_text(path, args.interval)?);
    }
    if args.interval.is_some() && texts.is_empty() {
        return Err(Error::new(
            Kind::Usage,
            "--interval is for text files (.csv, .txt, .dat), and none was given",
        )
        .into());
    }
    if cards.is_empty() {
        return Ok(series);
    }
    let options = options_by(args.lead.as_deref(), &args.common)?;
    let watch = Watch::new();
    let survey = scan(&cards, &watch)?.drain_into(findings);
    let found = measure_clocks(&survey, &options, &args.generator, &watch)?;
    watch.finish();
    findings.extend(found.findings);
    series.extend(found.series);
    Ok(series)
}

fn of_text(path: &Path, interval: Option<f64>) -> engine::Result<Series> {
    let phases = phases_of(&small_text_of(path)?, interval).map_err(|error| error.at(path))?;
    let name = path.file_stem().unwrap_or(path.as_os_str());
    Ok(Series {
        unit: name.to_string_lossy().to_uppercase(),
        against: "REFERENCE".into(),
        basis: Basis::Manual,
        rests_on: format!("{} phases from {}", phases.len(), path.display()),
        date: String::new(),
        phases,
        sigma_s: None,
    })
}

fn tell(found: &Stability, args: &StabilityArgs) {
    for clock in &found.clocks {
        clock.lines().iter().for_each(say::line);
    }
    match found.clocks.is_empty() {
        true => say::line("no clock was measured"),
        false => {
            say::line(MODEL);
            say::line(UNKNOWN);
        }
    }
    if let Some(out) = &args.out {
        let names = [PAGE, DEVIATIONS, PHASES].join(", ");
        say::line(format!("wrote in {}: {names}", out.display()));
    }
    if let Some(history) = args.history.as_ref().filter(|_| !found.clocks.is_empty()) {
        say::line(format!("added to {}", history.display()));
    }
}
