//! `build`: a reviewed alignment in, recordings and papers out.

use anyhow::Result;

use super::args::BuildArgs;
use super::day::{Day, Declared, Work, tell_findings};
use super::exit::Ended;
use super::say;
use super::watch::Watch;

/// Builds what the alignment says.
pub fn run(args: &BuildArgs, json: bool) -> Result<Ended> {
    let declared = Declared::read(&args.shape)?;
    let watch = Watch::new();
    let day = Day::of_file(&args.alignment)?;
    let built = day.build(
        &args.out,
        &args.shape,
        Work {
            cards: &[],
            declared: &declared,
            progress: &watch,
        },
    )?;
    watch.finish();
    tell_findings(&built.findings);
    if json {
        say::json(&serde_json::json!({ "built": built.report, "papers": built.papers }))?;
    } else {
        built.tell(&args.out);
    }
    Ok(built.ended(&day))
}
