//! `report`: what was written about recordings in, the day's sound report and sync report out.

use std::path::{Path, PathBuf};

use anyhow::Result;
use engine::deliver::{DAY_PAPERS, day_papers, report_name};
use engine::output::{Replace, refuse_existing};
use engine::report::{DayFile, DayReports};
use engine::{Error, Kind};

use super::args::ReportArgs;
use super::day::{faces_of, text_of};
use super::exit::Ended;
use super::say;

/// Brings the reports together, prints or writes them.
pub fn run(args: &ReportArgs, json: bool) -> Result<Ended> {
    let faces = faces_of(&args.papers.font)?;
    let mut files = Vec::new();
    for given in &args.files {
        for path in files_of(given)? {
            files.push(DayFile::from_json(&text_of(&path)?).map_err(|error| error.at(&path))?);
        }
    }
    let day = DayReports::of(files)?;
    let Some(out) = &args.out else {
        match json {
            true => say::json(&serde_json::json!({ "sound": day.sound, "sync": day.sync }))?,
            false => say::line(day.in_words()),
        }
        return Ok(Ended::Done);
    };
    let replace = Replace::from(args.papers.replace);
    for name in DAY_PAPERS {
        refuse_existing(&out.join(name), replace)?;
    }
    let page_of = |take: &str| Some(report_name(take)).filter(|name| out.join(name).is_file());
    for paper in day_papers(&day, &faces, &page_of)? {
        paper.write(out, replace)?;
    }
    match json {
        true => say::json(&serde_json::json!({ "out": out, "papers": DAY_PAPERS }))?,
        false => say::line(format!(
            "wrote in {}: {}",
            out.display(),
            DAY_PAPERS.join(", ")
        )),
    }
    Ok(Ended::Done)
}

/// A file as it is; of a folder its two reports, or its alignment where nothing was built.
fn files_of(given: &Path) -> engine::Result<Vec<PathBuf>> {
    if !given.is_dir() {
        return Ok(vec![given.to_path_buf()]);
    }
    let found = |names: &[&str]| -> Vec<PathBuf> {
        let paths = names.iter().map(|name| given.join(name));
        paths.filter(|path| path.is_file()).collect()
    };
    let reports = found(&["sound-report.json", "sync-report.json"]);
    match reports.len() {
        0 => match found(&["alignment.json"]) {
            measured if measured.is_empty() => {
                Err(Error::new(Kind::Usage, "holds no report and no alignment")
                    .at(given)
                    .then("give a folder that `join` or `build` wrote to"))
            }
            measured => Ok(measured),
        },
        _ => Ok(reports),
    }
}
