//! `explain`: what was measured and built and a place in it in, where the number came from out.

use std::path::Path;

use anyhow::Result;
use engine::report::{Built, SoundReport, SyncReport, explain};

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
    let sound = report_in(folder, "sound-report.json", SoundReport::from_json)?;
    let sync = report_in(folder, "sync-report.json", SyncReport::from_json)?;
    let built = Built {
        sound: sound.as_ref(),
        sync: sync.as_ref(),
    };
    let text = explain(&day.alignment, built, args.place.as_deref())?;
    if json {
        say::json(&serde_json::json!({ "where": args.place, "text": text }))?;
    } else {
        say::line(text);
    }
    Ok(Ended::Done)
}

/// A report that lies beside the alignment.
fn report_in<T>(
    folder: &Path,
    name: &str,
    read: fn(&str) -> engine::Result<T>,
) -> engine::Result<Option<T>> {
    let path = folder.join(name);
    if !path.is_file() {
        return Ok(None);
    }
    let report = read(&text_of(&path)?).map_err(|error| error.at(&path))?;
    Ok(Some(report))
}
