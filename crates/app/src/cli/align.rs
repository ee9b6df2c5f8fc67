//! `align`: cards in, the alignment file out for review; nothing is built.

use anyhow::Result;
use engine::output::{Replace, refuse_existing, write_text};

use super::args::AlignArgs;
use super::day::{Day, tell_findings};
use super::exit::Ended;
use super::say;
use super::watch::Watch;

/// Measures and writes the alignment.
pub fn run(args: &AlignArgs, json: bool) -> Result<Ended> {
    let watch = Watch::new();
    let replace = Replace::from(args.replace);
    refuse_existing(&args.out, replace)?;
    let day = Day::measure(&args.cards, &args.measure, &watch)?;
    watch.finish();
    write_text(&args.out, &day.alignment.to_json()?, replace)?;
    let findings = day.all_findings();
    tell_findings(&findings);
    if json {
        say::json(&day.alignment)?;
    } else {
        say::line(day.summary());
        say::line(format!(
            "wrote {}; look at it, then `commontime build {} --out DIR`",
            args.out.display(),
            args.out.display()
        ));
    }
    Ok(Ended::by_findings(&findings))
}
