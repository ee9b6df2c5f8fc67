//! Everything that went wrong in, findings and the answer to one question out: may this card be used for something else?

use std::collections::{BTreeMap, BTreeSet, HashSet};
use std::path::{Path, PathBuf};

use serde::Serialize;

use super::CopyAt;
use super::contents::{CardFile, Contents};
use super::copy::{Copied, NOT_READ};
use super::place::Place;
use super::record::{is_of_lists, listed_path};
use crate::error::{Error, Kind, Result};
use crate::finding::{Finding, Weight};
use crate::media;
use crate::output::ReadBack;
use crate::units::counted;

/// Copies that a card is kept for until they exist, on media of their own (common practice, no source).
const COPIES: usize = 2;

/// How many findings of one code are told one by one.
const TOLD: usize = 20;

/// Whether a card may be formatted, and why not.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Release {
    /// Whether at least two copies on different disks hold everything on it, verified.
    pub safe: bool,
    /// Why not; empty when it is.
    pub reasons: Vec<String>,
}

/// Collects what went wrong.
#[derive(Debug, Default)]
pub(super) struct Trouble {
    findings: Vec<Finding>,
    failed: Option<Kind>,
    /// Files of the present card that could not be read or changed meanwhile.
    unread: usize,
    /// Files of the present card that are not what an earlier list says.
    changed: BTreeSet<PathBuf>,
    /// What else keeps the present card.
    reasons: Vec<String>,
}

impl Trouble {
    /// Takes a failure.
    pub fn add(&mut self, code: &str, error: Error) {
        let kind = error.kind();
        self.failed = Some(self.failed.map_or(kind, |before| before.graver(kind)));
        self.findings.push(of_error(code, &error));
    }

    /// Takes a finding that is no failure.
    pub fn finding(&mut self, finding: Finding) {
        self.findings.push(finding);
    }

    /// What a card's contents give to say before anything is copied.
    pub fn card(&mut self, card: &Path, all: &Contents) {
        for (path, why) in &all.missed {
            let place = card.join(path);
            self.add(
                "not-copied",
                Error::new(Kind::Io, format!("cannot be copied: {why}"))
                    .at(place)
                    .then("copy it by hand if it matters"),
            );
        }
        let unlisted = all
            .files
            .iter()
            .filter(|file| listed_path(&file.path).is_none() && !is_of_lists(&file.path));
        for file in unlisted {
            self.finding(
                Finding::new(
                    "name-unlistable",
                    Weight::Warn,
                    "is copied and verified now, but no hash list can hold its name, so it cannot be verified later",
                )
                .at(card.join(&file.path).display().to_string())
                .because("the name is no UTF-8, or holds control characters")
                .then("keep the copy, and give it another name there"),
            );
        }
    }

    /// What became of every file.
    pub fn files(&mut self, card: &Path, results: Vec<Copied>, places: &[Place<'_>]) {
        let mut left = 0;
        let mut left_at = vec![0; places.len()];
        for copied in results {
            match copied.read {
                // what the places say then is a consequence, unless they failed by themselves
                Err(error) => {
                    self.unread += 1;
                    self.add("not-read", error);
                    let errors = copied.places.into_iter().filter_map(Result::err);
                    for error in errors.filter(|error| error.message() != NOT_READ) {
                        self.add("not-written", error);
                    }
                }
                Ok(None) => {
                    self.unread += 1;
                    left += 1;
                }
                Ok(Some(_)) => {
                    for (place, left) in copied.places.into_iter().zip(&mut left_at) {
                        match place {
                            Ok(Some(_)) => {}
                            Ok(None) => *left += 1,
                            Err(error) => self.add("not-written", error),
                        }
                    }
                }
            }
        }
        if left > 0 {
            let message = format!("does not answer any more: {} not read", files_were(left));
            let error = Error::new(Kind::Io, message).at(card);
            self.add(
                "card-gone",
                error.then("connect it again and run the same command: what is verified is not copied again"),
            );
        }
        for (place, left) in places.iter().zip(left_at) {
            self.findings.extend(place.history.findings.iter().cloned());
            if left > 0 {
                let message = format!("failed, so {} not copied to it", files_were(left));
                let error = Error::new(Kind::Io, message).at(&place.root);
                self.add("place-gone", error);
            }
        }
    }

    /// Files that are not what an earlier list says.
    pub fn changed(&mut self, place: &Place<'_>, files: Vec<PathBuf>) {
        for path in files {
            let inside = path.strip_prefix(&place.root).unwrap_or(&path);
            self.changed.insert(inside.to_path_buf());
            self.add(
                "not-as-listed",
                Error::new(
                    Kind::Verification,
                    "is copied as it is on the card, but is not what an earlier hash list says of it",
                )
                .at(&path)
                .then(format!(
                    "compare with the list in {}: the file was changed or damaged before it was copied",
                    place.root.display()
                )),
            );
        }
    }

    /// What is wrong with hash lists that the card brought; each is told once, though every place finds it.
    pub fn brought(&mut self, findings: &[Finding]) {
        for finding in findings {
            if !self.findings.contains(finding) {
                self.findings.push(finding.clone());
                self.reasons
                    .push("the hash lists that came with it are not sound".into());
            }
        }
        self.reasons.dedup();
    }

    /// Holds a second look at the card against the first: what was recorded meanwhile is on no copy.
    pub fn looked_again(&mut self, card: &Path, before: &Contents, after: Result<Contents>) {
        let Ok(after) = after else {
            self.reasons.push("it does not answer any more".into());
            return;
        };
        let was: HashSet<&CardFile> = before.files.iter().collect();
        let is: HashSet<&CardFile> = after.files.iter().collect();
        let changed: BTreeSet<&Path> = was
            .symmetric_difference(&is)
            .map(|file| file.path.as_path())
            .collect();
        let Some(first) = changed.first() else {
            return;
        };
        self.reasons.push(format!(
            "{} on it changed while it was copied",
            counted(changed.len(), "file")
        ));
        let error = Error::new(
            Kind::Verification,
            format!(
                "{} changed, came or went while the card was copied",
                counted(changed.len(), "file")
            ),
        );
        self.add(
            "card-changed",
            error
                .at(card.join(first))
                .then("stop whatever writes to the card, and run the same command again"),
        );
    }

    /// The next card has its own counts.
    pub fn next_card(&mut self) {
        self.unread = 0;
        self.changed.clear();
        self.reasons.clear();
    }

    /// All findings, those of a code that repeats without end cut short, and the gravest class of failure.
    pub fn told(self) -> (Vec<Finding>, Option<Kind>) {
        (shortened(self.findings), self.failed)
    }
}

/// An error as a finding.
pub(super) fn of_error(code: &str, error: &Error) -> Finding {
    let weight = match error.kind() {
        Kind::Usage | Kind::Refused | Kind::Unsupported | Kind::Stopped => Weight::Ask,
        Kind::Io | Kind::Format | Kind::Verification => Weight::Stop,
    };
    let source = std::error::Error::source(error);
    let cause = source.map_or(String::new(), ToString::to_string);
    Finding::new(code, weight, error.message())
        .at(error
            .path()
            .map_or(String::new(), |path| path.display().to_string()))
        .because(cause)
        .then(error.next_step())
}

/// At most [`TOLD`] findings of each code, then how many more there are.
pub(super) fn shortened(findings: Vec<Finding>) -> Vec<Finding> {
    let mut told: Vec<Finding> = Vec::new();
    let mut numbers: BTreeMap<String, usize> = BTreeMap::new();
    let mut more: BTreeMap<String, (Finding, usize)> = BTreeMap::new();
    for finding in findings {
        let number = numbers.entry(finding.code.clone()).or_default();
        *number += 1;
        if *number <= TOLD {
            told.push(finding);
        } else {
            let entry = more.entry(finding.code.clone()).or_insert((finding, 0));
            entry.1 += 1;
        }
    }
    told.extend(more.into_values().map(|(first, number)| Finding {
        place: String::new(),
        cause: String::new(),
        message: format!("{number} more: {}", first.message),
        ..first
    }));
    told
}

/// The answer for a card.
pub(super) fn release(
    card: &Path,
    all: &Contents,
    copies: &[CopyAt],
    asked: usize,
    trouble: &Trouble,
) -> Release {
    let mut reasons = Vec::new();
    let mut because = |holds: bool, reason: String| {
        if holds {
            reasons.push(reason);
        }
    };
    because(all.files.is_empty(), "there is no file on it".into());
    because(
        all.hidden_recordings > 0,
        format!(
            "{} among what was left out as hidden (--everything copies it)",
            match all.hidden_recordings {
                1 => "1 recording is".into(),
                number => format!("{number} recordings are"),
            }
        ),
    );
    because(
        !all.missed.is_empty(),
        format!(
            "{} on it could not be copied",
            counted(all.missed.len(), "thing")
        ),
    );
    because(
        trouble.unread > 0,
        format!(
            "{} on it could not be read",
            counted(trouble.unread, "file")
        ),
    );
    because(
        !trouble.changed.is_empty(),
        format!(
            "{} not what an earlier hash list says",
            match trouble.changed.len() {
                1 => "1 file is".into(),
                number => format!("{number} files are"),
            }
        ),
    );
    reasons.extend(trouble.reasons.iter().cloned());
    let mut whole: Vec<&CopyAt> = copies.iter().filter(|copy| copy.complete).collect();
    let complete = whole.len();
    let mut doubts = Vec::new();
    whole.retain(|copy| {
        let folder = copy.folder.display();
        let doubt = if media::is_memory(&copy.folder) {
            format!("{folder} is memory, which does not outlast the computer's power")
        } else if media::may_share_disk(card, &copy.folder) {
            format!("{folder} lies on the disk of the card itself")
        } else if copy.read_back == Some(ReadBack::Cached) {
            format!("{folder} could be read back only through the system's memory")
        } else {
            return true;
        };
        doubts.push(doubt);
        false
    });
    if whole.len() < COPIES && reasons.is_empty() {
        reasons.push(match (complete, asked) {
            (0, _) => "no copy of it is complete".into(),
            (1, 1) => "only one copy was asked for; two on different disks are the rule".into(),
            (1, asked) => format!("only one of {asked} copies is complete"),
            _ => "fewer than two copies can be relied on".into(),
        });
        reasons.extend(doubts);
    }
    if whole.len() >= COPIES && on_one_disk(&whole) {
        reasons.push("all copies may lie on one disk, so one fault can take them all".into());
    }
    Release {
        safe: reasons.is_empty(),
        reasons,
    }
}

fn on_one_disk(copies: &[&CopyAt]) -> bool {
    copies
        .windows(2)
        .all(|pair| media::may_share_disk(&pair[0].folder, &pair[1].folder))
}

fn files_were(number: usize) -> String {
    let verb = if number == 1 { "was" } else { "were" };
    format!("{} {verb}", counted(number, "more file"))
}
