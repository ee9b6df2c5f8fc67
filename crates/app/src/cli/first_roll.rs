//! `first-roll`: the cards of the test recording made after linking in, whether the units are ready out.

use anyhow::Result;
use engine::first_roll::{FirstRoll, Ready, first_roll};
use engine::take::scan;
use engine::units::capital;

use super::args::FirstRollArgs;
use super::day::options_of;
use super::exit::Ended;
use super::say;
use super::watch::Watch;

/// Judges the last take of every unit.
pub fn run(args: &FirstRollArgs, json: bool) -> Result<Ended> {
    let options = options_of(&args.measure)?;
    let watch = Watch::new();
    let mut findings = Vec::new();
    let survey = scan(&args.cards, &watch)?.drain_into(&mut findings);
    let judged = first_roll(&survey, &options, &watch);
    watch.finish();
    if judged.is_err() {
        // what was odd about the cards may be why
        say::findings(&findings);
    }
    let mut roll = judged?;
    roll.findings.splice(0..0, findings);
    if json {
        say::json(&roll)?;
    } else {
        tell(&roll);
    }
    Ok(match roll.ready {
        Ready::Not => Ended::Undecided,
        _ => Ended::Done,
    })
}

fn tell(roll: &FirstRoll) {
    say::line(format!("{}.", capital(&roll.verdict)));
    for line in roll.story() {
        say::line(format!("  {line}"));
    }
    say::findings(&roll.findings);
}
