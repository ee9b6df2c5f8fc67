//! `join`: cards in, one recording a joint take with its papers out.

use anyhow::Result;

use super::args::JoinArgs;
use super::day::{Day, Declared, Work, tell_findings};
use super::exit::Ended;
use super::say;
use super::watch::Watch;

/// Runs the main job.
pub fn run(args: &JoinArgs, json: bool) -> Result<Ended> {
    let declared = Declared::read(&args.shape)?;
    let watch = Watch::new();
    let day = Day::measure(&args.cards, &args.measure, &watch)?;
    let work = Work {
        cards: &args.cards,
        declared: &declared,
        progress: &watch,
    };
    let built = day.build(&args.out, &args.shape, work)?;
    watch.finish();
    let mut findings = day.all_findings();
    findings.extend(built.findings.iter().cloned());
    tell_findings(&findings);
    if json {
        say::json(&serde_json::json!({
            "alignment": day.alignment,
            "built": built.report,
            "papers": built.papers,
            "findings": findings,
        }))?;
    } else {
        say::line(day.summary());
        built.tell(&args.out);
    }
    Ok(built.ended(&day))
}
