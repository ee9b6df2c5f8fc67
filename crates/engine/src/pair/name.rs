//! Joint takes in, names for their outputs: after the lead's take, unique, and safe on every file system.

use std::collections::HashSet;

use super::Joint;

/// Longest name, in characters of at most four bytes: leaves room for endings in the 255 bytes of common file systems.
const LONGEST: usize = 50;
/// Names that some systems keep for devices, whatever follows a dot.
const DEVICES: [&str; 6] = ["aux", "con", "nul", "prn", "com", "lpt"];

/// Names every joint take.
pub(super) fn name(joints: &mut [Joint<'_>]) {
    let mut used = HashSet::new();
    for joint in joints {
        let base = safe(&joint.lead.name);
        let numbered = (2..).map(|number| format!("{base}-{number}"));
        let free = std::iter::once(base.clone())
            .chain(numbered)
            .find(|name| !used.contains(&name.to_lowercase()));
        joint.name = free.unwrap_or(base);
        used.insert(joint.name.to_lowercase());
    }
}

/// A name without what file systems forbid or read as something else.
pub(super) fn safe(name: &str) -> String {
    let replaced = |c: char| {
        let forbidden =
            c.is_control() || r#"/\:*?"<>|"#.contains(c) || c == char::REPLACEMENT_CHARACTER;
        if forbidden { '-' } else { c }
    };
    let name: String = name.chars().map(replaced).take(LONGEST).collect();
    let name = name.trim().trim_matches('.').trim_start_matches('-').trim();
    let stem = name.split('.').next().unwrap_or_default().to_lowercase();
    let device = DEVICES.iter().any(|device| {
        stem.strip_prefix(device).is_some_and(|rest| {
            rest.is_empty() || (rest.len() == 1 && matches!(*device, "com" | "lpt"))
        })
    });
    match name {
        "" => "joint-take".into(),
        name if device => format!("take-{name}"),
        name => name.into(),
    }
}
