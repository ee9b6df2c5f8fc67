//! Joint takes and their members in, names of recordings and channels out: none twice, none that leaves the output folder.

use std::collections::{BTreeMap, BTreeSet};

use super::channels::Selected;
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

/// Names for the channels of an output, in order: as they were asked for, else as the units gave them, with the unit in
/// front where two are the same, with the channel behind where that is not enough.
///
/// # Errors
/// [`Kind::Usage`] when two channels were given one name.
pub(super) fn channels(
    members: &[&Member],
    selected: &[Selected],
) -> crate::error::Result<Vec<String>> {
    let count = |names: &mut dyn Iterator<Item = String>| {
        let mut counts = BTreeMap::new();
        for name in names {
            *counts.entry(name.to_lowercase()).or_insert(0) += 1;
        }
        counts
    };
    let asked = count(&mut selected.iter().filter_map(|channel| channel.name.clone()));
    if let Some((name, _)) = asked.iter().find(|(_, count)| **count > 1) {
        return Err(Error::new(
            Kind::Usage,
            format!("the channel list gives the name {name} twice"),
        ));
    }
    let own = |channel: &Selected| {
        let mut names = channel
            .members
            .iter()
            .map(|&member| members[member].channels[channel.own].name.trim());
        names.find(|name| !name.is_empty()).map(str::to_string)
    };
    let given = count(
        &mut selected
            .iter()
            .filter_map(|channel| channel.name.clone().or_else(|| own(channel))),
    );
    let named: Vec<String> = selected
        .iter()
        .map(|channel| {
            let unit = &members[channel.members[0]].unit;
            match (&channel.name, own(channel)) {
                (Some(name), _) => name.clone(),
                (None, Some(name)) if given[&name.to_lowercase()] == 1 => name,
                (None, Some(name)) => format!("{unit}: {name}"),
                (None, None) => format!("{unit}: {}", channel.own + 1),
            }
        })
        .collect();
    let counts = count(&mut named.iter().cloned());
    Ok(selected
        .iter()
        .zip(named)
        .map(|(channel, name)| {
            if channel.name.is_some() || counts[&name.to_lowercase()] == 1 {
                name
            } else {
                format!("{name} ({})", channel.own + 1)
            }
        })
        .collect())
}
