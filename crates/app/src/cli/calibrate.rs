//! `calibrate`: cards of a calibration take in, entries in the calibrations file out.

use anyhow::Result;
use engine::calibration::{Calibrations, Entry};
use engine::establish::{calibrate, made_by};
use engine::output::{Replace, write_text};
use engine::take::scan;
use engine::{Error, Kind};

use super::args::CalibrateArgs;
use super::day::{options_by, tell_findings, text_of};
use super::exit::Ended;
use super::say;
use super::watch::Watch;

/// Measures and stores.
pub fn run(args: &CalibrateArgs, json: bool) -> Result<Ended> {
    if args.cards.len() < 2 {
        return Err(Error::new(
            Kind::Usage,
            "one card alone has nothing to be compared with",
        )
        .then("give the cards of two or more units")
        .into());
    }
    let known = args.store.exists();
    let mut store = match known {
        true => Calibrations::from_json(&text_of(&args.store)?)
            .map_err(|error| error.at(&args.store))?,
        false => Calibrations::new(&made_by()),
    };
    let options = options_by(args.lead.as_deref(), &args.common)?;
    let watch = Watch::new();
    let mut findings = Vec::new();
    let survey = scan(&args.cards, &watch)?.drain_into(&mut findings);
    let found = calibrate(&survey, &options, &watch)?;
    watch.finish();
    findings.extend(found.findings);
    tell_findings(&findings);
    let entries: Vec<Entry> = found
        .entries
        .into_iter()
        .map(|entry| Entry {
            note: args.note.clone(),
            ..entry
        })
        .collect();
    let before = store_entries(&mut store, &entries, args)?;
    if !entries.is_empty() {
        store.made_by = made_by();
        let replace = Replace::from(known);
        write_text(&args.store, &store.to_json()?, replace)?;
    }
    if json {
        say::json(&serde_json::json!({
            "store": args.store,
            "entries": entries,
            "replaced": before,
            "findings": findings,
        }))?;
    } else {
        tell(args, &entries, &before);
    }
    Ok(Ended::by_findings(&findings))
}

/// Puts the entries to the others; gives back those that were replaced.
fn store_entries(
    store: &mut Calibrations,
    entries: &[Entry],
    args: &CalibrateArgs,
) -> Result<Vec<Entry>> {
    let mut before = Vec::new();
    for entry in entries {
        let Some(known) = store.insert(entry.clone()) else {
            continue;
        };
        if !args.replace {
            return Err(Error::new(
                Kind::Refused,
                format!(
                    "holds {} of {} and {} in these modes already, of {}; measured now: {}",
                    known.words(),
                    known.lead.unit,
                    known.follower.unit,
                    known.date,
                    entry.words()
                ),
            )
            .at(&args.store)
            .then("use --replace to replace it, or give another file")
            .into());
        }
        before.push(known);
    }
    Ok(before)
}

fn tell(args: &CalibrateArgs, entries: &[Entry], before: &[Entry]) {
    for entry in entries {
        say::line(format!(
            "{} on {}: stored {} over {} take{}",
            entry.follower.unit,
            entry.lead.unit,
            entry.words(),
            entry.takes,
            if entry.takes == 1 { "" } else { "s" }
        ));
        let modes = entry.follower.modes.iter();
        let words: Vec<String> = modes
            .map(|one| format!("{} {}", one.name, one.value))
            .collect();
        say::line(format!("  {}: {}", entry.follower.unit, words.join(", ")));
    }
    for entry in before {
        say::line(format!(
            "replaced {} of {} and {}, of {}",
            entry.words(),
            entry.lead.unit,
            entry.follower.unit,
            entry.date
        ));
    }
    match entries.is_empty() {
        true => say::line("nothing was stored"),
        false => say::line(format!(
            "wrote {}; use it with --calibration {}. It holds while the units' stamps are good to a sample: jammed right \
             before, or with the timecode cable in",
            args.store.display(),
            args.store.display()
        )),
    }
}
