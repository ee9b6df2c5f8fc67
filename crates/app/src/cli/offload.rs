//! `offload`: cards and places in; verified copies with hash lists, and whether each card may be released, out.

use anyhow::Result;
use engine::offload::{
    CopyAt, HashKind, OffloadOptions, Offloaded, OffloadedCard, ReadBack, offload,
};
use engine::units::counted;

use super::args::{HashArg, OffloadArgs};
use super::exit::Ended;
use super::say;
use super::watch::Watch;

/// Copies cards.
pub fn run(args: &OffloadArgs, json: bool) -> Result<Ended> {
    let watch = Watch::new();
    let options = OffloadOptions {
        cards: args.cards.clone(),
        names: args.name.clone(),
        to: args.to.clone(),
        everything: args.everything,
        repair: args.repair,
        kind: match args.hash {
            HashArg::Xxh128 => HashKind::Xxh128,
            HashArg::Xxh3 => HashKind::Xxh3,
            HashArg::Xxh64 => HashKind::Xxh64,
            HashArg::Md5 => HashKind::Md5,
            HashArg::Sha1 => HashKind::Sha1,
            HashArg::C4 => HashKind::C4,
        },
    };
    let done = offload(&options, &watch)?;
    watch.finish();
    say::findings(&done.findings);
    if json {
        say::json(&done)?;
    } else {
        done.cards.iter().for_each(tell);
    }
    Ok(ended(&done))
}

fn ended(done: &Offloaded) -> Ended {
    let by_release = match done.cards.iter().all(|card| card.release.safe) {
        true => Ended::Done,
        false => Ended::Undecided,
    };
    by_release.max(Ended::of(&done.findings, done.failed))
}

fn tell(card: &OffloadedCard) {
    say::line(format!(
        "{}  {}, {}",
        card.name,
        counted(card.files, "file"),
        say::bytes(card.bytes)
    ));
    for copy in &card.copies {
        say::line(format!("  {}  {}", copy.folder.display(), words(copy)));
    }
    if !card.left_out.is_empty() {
        let names: Vec<String> = card
            .left_out
            .iter()
            .take(4)
            .map(|path| path.display().to_string())
            .collect();
        let more = if card.left_out.len() > names.len() {
            ", ..."
        } else {
            ""
        };
        say::line(format!(
            "  left out, hidden or a system's own: {}{more} ({} in all; --everything copies them too)",
            names.join(", "),
            card.left_out.len()
        ));
    }
    say::line(match card.release.safe {
        true => "  safe to release this card: yes".to_string(),
        false => format!(
            "  safe to release this card: NO: {}",
            card.release.reasons.join("; ")
        ),
    });
}

fn words(copy: &CopyAt) -> String {
    let mut words = Vec::new();
    if copy.copied > 0 || copy.was_there == 0 {
        words.push(format!("{} copied", copy.copied));
    }
    if copy.was_there > 0 {
        words.push(format!("{} there before", copy.was_there));
    }
    words.push(match copy.read_back {
        Some(how) => format!("read back {}, equal", read_back(how)),
        None => "nothing read back".into(),
    });
    match &copy.list {
        Some(list) => {
            let name = list.file_name().unwrap_or_default();
            words.push(format!("listed in ascmhl/{}", name.to_string_lossy()));
        }
        None => words.push("NOT COMPLETE: no list was written".into()),
    }
    match copy.repaired.len() {
        0 => {}
        number => words.push(format!("{} repaired beside", counted(number, "recording"))),
    }
    words.join(", ")
}

/// How far reading went, in words.
pub fn read_back(how: ReadBack) -> &'static str {
    match how {
        ReadBack::Direct => "past the cache",
        ReadBack::Dropped => "after the cache was dropped",
        ReadBack::Cached => "perhaps from memory",
    }
}
