//! `explain`: an alignment file and a place in it in, where the number came from out.

use anyhow::Result;
use engine::report::explain;

use super::args::ExplainArgs;
use super::day::Day;
use super::exit::Ended;
use super::say;

/// Explains one number, or says what can be asked.
pub fn run(args: &ExplainArgs, json: bool) -> Result<Ended> {
    let day = Day::of_file(&args.alignment)?;
    let text = explain(&day.alignment, args.place.as_deref())?;
    if json {
        say::json(&serde_json::json!({ "where": args.place, "text": text }))?;
    } else {
        say::line(text);
    }
    Ok(Ended::Done)
}
