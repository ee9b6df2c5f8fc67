//! The lessons in `docs/lessons` as they are read: every command block is run as it stands, and what the lesson shows below it
//! must come out, line by line.
#![expect(
    clippy::disallowed_methods,
    reason = "the reader fills in the answers that a lesson gives"
)]

use std::path::{Path, PathBuf};
use std::process::Command;

fn lessons() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/lessons");
    let mut found: Vec<PathBuf> = std::fs::read_dir(&folder)
        .expect("docs/lessons")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "md"))
        .collect();
    found.sort();
    found
}

/// A fenced block: what stands behind the opening fence, and its lines.
struct Block {
    info: String,
    lines: Vec<String>,
}

fn blocks(text: &str) -> Vec<Block> {
    let mut found = Vec::new();
    let mut open: Option<Block> = None;
    for line in text.lines() {
        match (line.strip_prefix("```"), &mut open) {
            (Some(info), None) => {
                open = Some(Block {
                    info: info.trim().into(),
                    lines: Vec::new(),
                });
            }
            (Some(_), Some(_)) => found.extend(open.take()),
            (None, Some(block)) => block.lines.push(line.into()),
            (None, None) => {}
        }
    }
    assert!(open.is_none(), "a block is not closed");
    found
}

/// One space between words: columns may be as wide as they like.
fn even(line: &str) -> String {
    line.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Runs a line and gives all it said. Lessons end with status 0 or 1: done, or something was not established.
fn run(line: &str, folder: &Path) -> String {
    let words: Vec<&str> = line.split_whitespace().collect();
    assert_eq!(words[0], "commontime", "a lesson runs nothing else: {line}");
    let run = Command::new(env!("CARGO_BIN_EXE_commontime"))
        .args(&words[1..])
        .current_dir(folder)
        .output()
        .expect("the binary runs");
    let said = [run.stdout, run.stderr].map(|bytes| String::from_utf8_lossy(&bytes).into_owned());
    let said = said.join("\n");
    let status = run.status.code();
    assert!(matches!(status, Some(0 | 1)), "{line}: {status:?}\n{said}");
    said
}

fn follow(lesson: &Path) {
    let text = std::fs::read_to_string(lesson).expect("a lesson");
    let folder = tempfile::tempdir().expect("temporary folder");
    let mut said = String::new();
    let (mut commands, mut shown) = (0, 0);
    for block in blocks(&text) {
        match block.info.split_whitespace().collect::<Vec<_>>()[..] {
            ["sh"] => {
                said.clear();
                for line in &block.lines {
                    let line = line.split(" #").next().unwrap_or_default().trim();
                    if !line.is_empty() {
                        said.push_str(&run(line, folder.path()));
                        commands += 1;
                    }
                }
            }
            ["text"] => {
                let lines: Vec<String> = said.lines().map(even).collect();
                for line in block.lines.iter().map(|line| even(line)) {
                    if line.is_empty() || line == "..." {
                        continue;
                    }
                    let found = match line.strip_suffix(" ...") {
                        Some(begin) => lines.iter().any(|said| said.starts_with(begin)),
                        None => lines.contains(&line),
                    };
                    assert!(
                        found,
                        "{}: the lesson shows\n{line}\nbut this came out:\n{said}",
                        lesson.display()
                    );
                    shown += 1;
                }
            }
            ["toml", name] => {
                let text = block.lines.join("\n");
                std::fs::write(folder.path().join(name), text).expect("the answers");
            }
            _ => panic!("{}: a block of `{}`", lesson.display(), block.info),
        }
    }
    assert!(
        commands >= 3 && shown >= 5,
        "{}: {commands} commands, {shown} lines shown",
        lesson.display()
    );
}

#[test]
fn there_are_three_lessons_with_questions_and_answers() {
    let lessons = lessons();
    assert!(lessons.len() >= 3, "{lessons:?}");
    for lesson in lessons {
        let text = std::fs::read_to_string(&lesson).expect("a lesson");
        for heading in ["## What to notice", "## Questions", "## Answers"] {
            assert!(text.contains(heading), "{heading} in {}", lesson.display());
        }
    }
}

fn named(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../../docs/lessons")
        .join(name)
}

#[test]
fn timecode_is_not_a_clock() {
    follow(&named("timecode-is-not-a-clock.md"));
}

#[test]
fn why_content_misleads() {
    follow(&named("why-content-misleads.md"));
}

#[test]
fn how_far_to_trust_a_number() {
    follow(&named("how-far-to-trust-a-number.md"));
}
