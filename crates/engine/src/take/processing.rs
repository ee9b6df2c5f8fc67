//! A file's metadata in, what it says of limiters, filters and delays out: what bends or delays a unit's sound by an amount
//! that no stamp knows of.

use wave::{Header, Node};

/// Parts of the names of such settings, in upper case without blanks and dashes (common practice, no source).
const WORDS: [&str; 8] = [
    "LIMIT", "HPF", "HIGHPASS", "LOWCUT", "LOCUT", "LPF", "FILTER", "DELAY",
];
/// The longest that is kept of one setting, characters.
const LONGEST: usize = 60;
/// The most settings that are kept.
const MOST: usize = 16;

/// Settings as `NAME value`, each once, in order of their names; empty when the unit wrote none.
pub(super) fn processing_of(header: &Header) -> String {
    let mut found = Vec::new();
    if let Some(bext) = &header.bext {
        let lines = bext.description.lines().chain(bext.coding_history.lines());
        for (name, value) in lines.filter_map(|line| line.split_once(['=', ':'])) {
            add(name, value, &mut found);
        }
    }
    if let Some(ixml) = &header.ixml {
        walk(&ixml.others, &mut found);
        for track in &ixml.tracks {
            walk(&track.others, &mut found);
        }
    }
    found.sort();
    found.dedup();
    found.truncate(MOST);
    found.join(", ")
}

fn walk(nodes: &[Node], found: &mut Vec<String>) {
    for node in nodes {
        add(&node.name, &node.text, found);
        // lines of free text such as `LIMITER=ON`
        for (name, value) in node.text.lines().filter_map(|line| line.split_once('=')) {
            add(name, value, found);
        }
        walk(&node.children, found);
    }
}

fn add(name: &str, value: &str, found: &mut Vec<String>) {
    let plain: String = name
        .chars()
        .filter(|c| c.is_ascii_alphanumeric())
        .map(|c| c.to_ascii_uppercase())
        .collect();
    let value = value.trim();
    if !value.is_empty() && !value.contains(['\n', '=']) && WORDS.iter().any(|w| plain.contains(w))
    {
        let setting = format!("{} {value}", name.trim());
        found.push(setting.chars().take(LONGEST).collect());
    }
}
