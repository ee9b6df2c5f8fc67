//! A joint take in, the members that are built and their open, unchanged sources out.

use std::path::{Path, PathBuf};

use wave::Header;

use super::{BuildOptions, Stopped};
use crate::alignment::{JointTake, Member, Placement, Role, Status};
use crate::error::{Error, Kind, Result};
use crate::finding::{Finding, Weight};
use crate::media;
use crate::take::{TakePart, TakeSound};

/// Which members are built.
pub(super) struct Chosen<'a> {
    pub(super) members: Vec<&'a Member>,
    /// Units that are not, as asked.
    pub(super) left_out: Vec<String>,
    pub(super) findings: Vec<Finding>,
}

/// One member with its open files.
pub(super) struct Source<'a> {
    pub(super) member: &'a Member,
    pub(super) sound: TakeSound,
    /// Every file with its header, in the order of the alignment.
    pub(super) files: Vec<(PathBuf, Header)>,
}

/// Decides which members are built: all of them, or none when a person must decide first.
pub(super) fn choose<'a>(
    take: &'a JointTake,
    options: &BuildOptions,
) -> std::result::Result<Chosen<'a>, Box<Stopped>> {
    let mut chosen = Chosen {
        members: Vec::new(),
        left_out: Vec::new(),
        findings: Vec::new(),
    };
    for member in &take.members {
        let unplaced =
            member.status == Status::NotEstablished || member.placement == Placement::NotPlaced;
        let used = options
            .channels
            .as_ref()
            .is_none_or(|list| list.uses(&member.unit));
        if member.role == Role::Lead {
            chosen.members.insert(0, member);
        } else if let (true, Some(words)) = (member.is_left_out(), member.decision_words()) {
            chosen.left_out.push(member.unit.clone());
            chosen.findings.push(
                Finding::new(
                    "left-out",
                    Weight::Note,
                    format!("{} is {words}", member.unit),
                )
                .at(&take.name)
                .then("its files stay on their card; they can be used by themselves"),
            );
        } else if !used {
            // the channel list leaves the whole unit out, so nothing of it needs deciding
        } else if member.status == Status::NeedsDecision {
            return Err(ask(take, member, "needs-decision", "needs a decision").into());
        } else if !unplaced {
            chosen.members.push(member);
        } else if options.leave_out_unplaced {
            chosen.left_out.push(member.unit.clone());
            chosen.findings.push(
                Finding::new(
                    "left-out",
                    Weight::Warn,
                    format!("{} is left out: its place is not established", member.unit),
                )
                .at(&take.name)
                .then("give a tie by hand with --tie, or use its files by themselves"),
            );
        } else {
            return Err(ask(take, member, "not-established", "is not established").into());
        }
    }
    let leads = take
        .members
        .iter()
        .filter(|member| member.role == Role::Lead)
        .count();
    if leads != 1 {
        return Err(
            Error::new(Kind::Format, format!("{} has {leads} leads", take.name))
                .then("exactly one member must have the role `lead`")
                .into(),
        );
    }
    Ok(chosen)
}

fn ask(take: &JointTake, member: &Member, code: &str, what: &str) -> Finding {
    let mut finding = Finding::new(
        code,
        Weight::Ask,
        format!("{} was not built: the place of {} {what}", take.name, member.unit),
    )
    .at(format!("{} {}", take.name, member.unit))
    .then(
        "look at the report; name a common signal with --common or a tie with --tie, or leave the unit out",
    );
    if let Some(grave) = member
        .findings
        .iter()
        .find(|finding| finding.weight >= Weight::Ask)
    {
        finding = finding.because(grave.message.clone());
    }
    finding
}

/// Opens the members' files, each checked to be the one that was measured.
pub(super) fn open<'a>(take: &JointTake, members: &[&'a Member]) -> Result<Vec<Source<'a>>> {
    let mut sources = Vec::new();
    for &member in members {
        let mut files = Vec::new();
        let mut parts = Vec::new();
        for part in &member.parts {
            let path = Path::new(&part.path);
            let header = Header::read(&media::open(path)?)
                .map_err(|error| crate::take::wave_error(error).at(path))?;
            if !part.digest.is_empty() {
                let digest = media::digest(path)?;
                if digest != part.digest {
                    let message = format!(
                        "is not the file that was measured: digest {digest}, expected {}",
                        part.digest
                    );
                    return Err(Error::new(Kind::Verification, message)
                        .at(path)
                        .then("measure again with `commontime align`"));
                }
            }
            let Some(first_channel) = part.first_channel.checked_sub(1) else {
                return Err(Error::new(Kind::Format, "first_channel counts from 1").at(path));
            };
            parts.push(TakePart {
                path: path.to_path_buf(),
                first_sample: part.first_sample,
                length: part.length_samples,
                first_channel: first_channel as usize,
                channels: usize::from(header.format.channels),
            });
            files.push((path.to_path_buf(), header));
        }
        let sound = TakeSound::open(&parts).map_err(|error| match error.path() {
            Some(_) => error,
            None => Error::new(Kind::Format, format!("{}, {}", take.name, member.unit))
                .from_source(error),
        })?;
        sources.push(Source {
            member,
            sound,
            files,
        });
    }
    Ok(sources)
}
