//! `explain`: what was measured and built and a place in it in, where the number came from out.

use std::path::Path;

use anyhow::Result;
use engine::report::{Built, DayFile, explain};

use super::args::ExplainArgs;
use super::day::{Day, text_of};
use super::exit::Ended;
use super::say;

/// Explains one number, or says what can be asked.
pub fn run(args: &ExplainArgs, json: bool) -> Result<Ended> {
    let given = args.alignment.as_path();
    let (file, folder) = match given.is_dir() {
        true => (given.join("alignment.json"), given),
        false => (given.to_path_buf(), given.parent().unwrap_or(given)),
    };
    let day = Day::of_file(&file)?;
    let mut reports = Vec::new();
    for name in ["sound-report.json", "sync-report.json"] {
        reports.extend(report_in(folder, name)?);
    }
    let mut built = Built::default();
    for report in &reports {
        match report {
            DayFile::Sound(sound) => built.sound = Some(sound),
            DayFile::Sync(sync) => built.sync = Some(sync),
            DayFile::Measured(_) => {}
        }
    }
    let text = explain(&day.alignment, built, args.place.as_deref())?;
    if json {
        say::json(&serde_json::json!({ "where": args.place, "text": text }))?;
    } else {
        say::line(text);
    }
    Ok(Ended::Done)
}

/// A report that lies beside the alignment.
fn report_in(folder: &Path, name: &str) -> engine::Result<Option<DayFile>> {
    let path = folder.join(name);
    match path.is_file() {
        true => DayFile::from_json(&text_of(&path)?)
            .map(Some)
            .map_err(|error| error.at(&path)),
        false => Ok(None),
    }
}
