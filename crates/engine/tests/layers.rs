//! The architecture as a test: data flows one way, and each promise that can be read off the source is read off it.

use std::fs;
use std::path::{Path, PathBuf};

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../..")
        .canonicalize()
        .expect("workspace root")
}

fn rust_files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut open = vec![folder.to_path_buf()];
    while let Some(folder) = open.pop() {
        for entry in fs::read_dir(&folder).expect("source folder").flatten() {
            let path = entry.path();
            if path.is_dir() {
                open.push(path);
            } else if path.extension().is_some_and(|ending| ending == "rs") {
                found.push(path);
            }
        }
    }
    found.sort();
    found
}

/// The engine's modules in the order of `lib.rs`, which is the order of the data.
fn module_order() -> Vec<String> {
    let text = fs::read_to_string(root().join("crates/engine/src/lib.rs")).expect("lib.rs");
    text.lines()
        .filter_map(|line| line.strip_prefix("pub mod ")?.strip_suffix(';'))
        .map(String::from)
        .collect()
}

/// Every module named after `crate::` in `text`, groups in braces included.
fn modules_used(text: &str) -> Vec<String> {
    let mut used = Vec::new();
    for (at, _) in text.match_indices("crate::") {
        let rest = &text[at + "crate::".len()..];
        let heads: Vec<&str> = match rest.strip_prefix('{') {
            Some(group) => top_level_items(group),
            None => vec![rest],
        };
        for head in heads {
            let word: String = head
                .trim_start()
                .chars()
                .take_while(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || *c == '_')
                .collect();
            if !word.is_empty() {
                used.push(word);
            }
        }
    }
    used
}

fn top_level_items(group: &str) -> Vec<&str> {
    let mut depth = 0;
    let mut start = 0;
    let mut items = Vec::new();
    for (at, c) in group.char_indices() {
        match c {
            '{' => depth += 1,
            '}' if depth == 0 => {
                items.push(&group[start..at]);
                return items;
            }
            '}' => depth -= 1,
            ',' if depth == 0 => {
                items.push(&group[start..at]);
                start = at + 1;
            }
            _ => {}
        }
    }
    items
}

#[test]
fn a_module_uses_only_modules_before_it() {
    let order = module_order();
    assert!(
        order.len() > 10,
        "lib.rs lists its modules as `pub mod name;`, found {order:?}"
    );
    let source = root().join("crates/engine/src");
    let place = |name: &str| order.iter().position(|module| module == name);
    for path in rust_files(&source) {
        let inside = path.strip_prefix(&source).expect("inside src");
        let own = inside
            .components()
            .next()
            .expect("a name")
            .as_os_str()
            .to_string_lossy();
        let own = own.trim_end_matches(".rs");
        let Some(own_place) = place(own) else {
            continue;
        };
        let text = fs::read_to_string(&path).expect("source file");
        for used in modules_used(&text) {
            let Some(used_place) = place(&used) else {
                continue;
            };
            assert!(
                used_place <= own_place,
                "{} uses `crate::{used}`, which stands after `{own}` in the order of the data \
                 (crates/engine/src/lib.rs): move what is shared to an earlier module",
                inside.display()
            );
        }
    }
}

#[test]
fn crates_depend_one_way() {
    let forbidden = [
        ("wave", &["timecode", "engine", "rehearsal", "realfft"][..]),
        ("timecode", &["wave", "engine", "rehearsal"]),
        ("rehearsal", &["engine"]),
        (
            "engine",
            &[
                "rehearsal",
                "clap",
                "anstream",
                "indicatif",
                "axum",
                "tokio",
            ],
        ),
        ("app", &["realfft", "fearless_simd", "quick-xml"]),
    ];
    for (name, banned) in forbidden {
        let manifest = root().join("crates").join(name).join("Cargo.toml");
        let text = fs::read_to_string(&manifest).expect("manifest");
        let section = text
            .split("\n[")
            .find_map(|section| section.strip_prefix("dependencies]"))
            .unwrap_or_default();
        for banned in banned {
            let named = section.lines().any(|line| {
                line.split(['.', ' ', '='])
                    .next()
                    .is_some_and(|word| word == *banned)
            });
            assert!(
                !named,
                "crates/{name} must not depend on `{banned}` (ARCHITECTURE.md)"
            );
        }
    }
}

#[test]
fn every_file_says_what_goes_in_and_what_comes_out() {
    for path in rust_files(&root().join("crates")) {
        if path.components().any(|part| part.as_os_str() == "target") {
            continue;
        }
        let text = fs::read_to_string(&path).expect("source file");
        let shown = path
            .strip_prefix(root())
            .expect("inside the workspace")
            .display()
            .to_string();
        assert!(
            text.starts_with("//!"),
            "{shown} does not open with a `//!` line"
        );
        let lines = text.lines().count();
        assert!(
            lines <= 500,
            "{shown} has {lines} lines: split it where its two jobs meet"
        );
    }
}

#[test]
fn only_output_offload_and_rehearsal_may_lift_the_ban_on_creating_files() {
    let crates = root().join("crates");
    for path in rust_files(&crates) {
        let shown = path
            .strip_prefix(&crates)
            .expect("inside")
            .display()
            .to_string();
        let allowed = [
            "engine/src/output/",
            "engine/src/offload/",
            "rehearsal/src/",
        ]
        .iter()
        .any(|folder| shown.starts_with(folder))
            || shown.contains("/tests/")
            || shown.ends_with("/tests.rs")
            || shown.contains("/benches/");
        let text = fs::read_to_string(&path).expect("source file");
        let lifts = text
            .split("#[cfg(test)]")
            .next()
            .is_some_and(|shipped| shipped.contains("clippy::disallowed_methods"));
        assert!(
            allowed || !lifts,
            "{shown} lifts the ban on creating files: only engine::build and rehearsal write"
        );
    }
}
