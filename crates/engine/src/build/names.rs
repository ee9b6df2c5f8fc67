//! Joint takes and their members in, names of files and channels out: none twice, none that leaves the output folder.

use std::collections::{BTreeMap, BTreeSet};

use super::{BuildOptions, Shape};
use crate::alignment::{JointTake, Member};
use crate::error::{Error, Kind};
use crate::finding::{Finding, Weight};

/// The names of joint takes that were met so far.
#[derive(Default)]
pub(super) struct Taken(BTreeSet<String>);

impl Taken {
    /// Refuses a joint take whose name is no file name or was met before, upper and lower case being one.
    pub(super) fn claim(&mut self, take: &JointTake) -> Result<(), Box<super::Stopped>> {
        let name = take.name.as_str();
        let bad = name.trim().is_empty()
            || name.starts_with('.')
            || name.contains(|c: char| "/\\:*?\"<>|".contains(c) || c.is_control());
        if bad {
            return Err(Error::new(Kind::Usage, format!("`{name}` is no file name"))
                .then("give the joint take another name in the alignment file")
                .into());
        }
        if !self.0.insert(name.to_lowercase()) {
            return Err(Finding::new(
                "names-clash",
                Weight::Ask,
                format!("two joint takes are called {name}"),
            )
            .at(name)
            .then("give one of them another name in the alignment file")
            .into());
        }
        Ok(())
    }
}

/// The names of a joint take's files, in the order of the channels they hold.
pub(super) fn files(take: &JointTake, members: &[&Member], options: &BuildOptions) -> Vec<String> {
    let name = &take.name;
    match options.shape {
        Shape::Poly => vec![format!("{name}.wav")],
        Shape::PerUnit => members
            .iter()
            .map(|member| format!("{name}.{}.wav", plain(&member.unit)))
            .collect(),
        Shape::Mono => members
            .iter()
            .flat_map(|member| {
                let unit = plain(&member.unit);
                let count = member.channels.len();
                (1..=count).map(move |index| format!("{name}.{unit}.{index:02}.wav"))
            })
            .collect(),
    }
}

/// A unit's name with what file systems do not take made a dash.
fn plain(unit: &str) -> String {
    unit.chars()
        .map(|c| {
            if c.is_alphanumeric() || " _-+".contains(c) {
                c
            } else {
                '-'
            }
        })
        .collect()
}

/// Names for the channels of all members, in order: as the units gave them, with the unit in front where two units gave
/// the same, with the channel behind where that is not enough.
pub(super) fn channels(members: &[&Member]) -> Vec<String> {
    let own = |member: &Member, place: usize| {
        let name = member.channels[place].name.trim();
        (!name.is_empty()).then(|| name.to_string())
    };
    let each = || {
        members
            .iter()
            .flat_map(|&member| (0..member.channels.len()).map(move |place| (member, place)))
    };
    let count = |names: &mut dyn Iterator<Item = String>| {
        let mut counts = BTreeMap::new();
        for name in names {
            *counts.entry(name.to_lowercase()).or_insert(0) += 1;
        }
        counts
    };
    let given = count(&mut each().filter_map(|(member, place)| own(member, place)));
    let named: Vec<String> = each()
        .map(|(member, place)| match own(member, place) {
            Some(name) if given[&name.to_lowercase()] == 1 => name,
            Some(name) => format!("{}: {name}", member.unit),
            None => format!("{}: {}", member.unit, place + 1),
        })
        .collect();
    let counts = count(&mut named.iter().cloned());
    each()
        .zip(named)
        .map(|((_, place), name)| {
            if counts[&name.to_lowercase()] == 1 {
                name
            } else {
                format!("{name} ({})", place + 1)
            }
        })
        .collect()
}
