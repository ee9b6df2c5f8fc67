//! A place as a person writes it in, the joint take and the unit it names out.

use crate::alignment::{Alignment, JointTake, Member};
use crate::error::{Error, Kind, Result};

/// The joint take that `place` begins with, and what follows its slash. Longest name first: a name may hold a slash.
pub fn joint_named<'a, 'b>(
    alignment: &'a Alignment,
    place: &'b str,
) -> Result<(&'a JointTake, Option<&'b str>)> {
    let names = alignment
        .joint_takes
        .iter()
        .map(|joint| joint.name.as_str());
    find_named(names.clone(), place)
        .map(|(index, rest)| (&alignment.joint_takes[index], rest))
        .ok_or_else(|| unknown(place, "joint take", names.collect()))
}

pub fn member_named<'a, 'b>(
    joint: &'a JointTake,
    place: &'b str,
) -> Result<(&'a Member, Option<&'b str>)> {
    let names = joint.members.iter().map(|member| member.unit.as_str());
    find_named(names.clone(), place)
        .map(|(index, rest)| (&joint.members[index], rest))
        .ok_or_else(|| {
            let mut words: Vec<&str> = names.collect();
            words.push("findings");
            unknown(place, &format!("unit of {}", joint.name), words)
        })
}

pub fn find_named<'a, 'b>(
    names: impl Iterator<Item = &'a str>,
    place: &'b str,
) -> Option<(usize, Option<&'b str>)> {
    names
        .enumerate()
        .filter_map(|(index, name)| {
            let head = place.get(..name.len())?;
            let rest = &place[name.len()..];
            let ends = rest.is_empty() || rest.starts_with('/');
            (ends && head.to_lowercase() == name.to_lowercase()).then_some((
                name.len(),
                index,
                rest.strip_prefix('/').filter(|rest| !rest.is_empty()),
            ))
        })
        .max_by_key(|(length, ..)| *length)
        .map(|(_, index, rest)| (index, rest))
}

pub fn unknown(found: &str, kind: &str, known: Vec<&str>) -> Error {
    let found = found.split('/').next().unwrap_or(found);
    Error::new(Kind::Usage, format!("`{found}` is no {kind}")).then(match known.is_empty() {
        true => "there is none in this file".to_string(),
        false => format!("there is: {}", known.join(", ")),
    })
}
