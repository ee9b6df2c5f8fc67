//! Short rehearsal shoots on a temporary disk, and the real binary run on them.
#![allow(dead_code, reason = "each test binary uses its part")]

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use rehearsal::Shoot;
use rehearsal::scenes::{CommonSignal, common_signal};

/// NORTH and SOUTH with one microphone and one common signal each.
pub fn short_shoot(seconds: f64) -> Shoot {
    common_signal(&CommonSignal {
        seconds,
        ..Default::default()
    })
}

/// What ffprobe says of a file: these entries, a line each.
pub fn probed(file: &str, entries: &str) -> String {
    let probe = Command::new("ffprobe")
        .args(["-v", "error", "-show_entries", entries])
        .args(["-of", "default=nw=1", file])
        .output()
        .expect("ffprobe; ./check installs what the tests need");
    String::from_utf8_lossy(&probe.stdout).into_owned()
}

/// A temporary place with cards and an output folder.
pub struct Place {
    folder: tempfile::TempDir,
}

impl Place {
    pub fn new() -> Self {
        Self {
            folder: tempfile::tempdir().expect("temporary folder"),
        }
    }

    pub fn cards(&self) -> PathBuf {
        self.folder.path().join("cards")
    }

    pub fn card(&self, unit: &str) -> String {
        self.cards().join(unit).display().to_string()
    }

    pub fn path(&self, name: &str) -> String {
        self.folder.path().join(name).display().to_string()
    }

    pub fn out(&self) -> String {
        self.path("out")
    }

    pub fn out_path(&self) -> PathBuf {
        self.folder.path().join("out")
    }

    /// `join` of NORTH and SOUTH into the output folder.
    pub fn join(&self, more: &[&str]) -> Output {
        let (north, south, out) = (self.card("NORTH"), self.card("SOUTH"), self.out());
        commontime(&[&["join", &north, &south, "--out", &out], more].concat())
    }

    /// Names, sizes and times of what lies in the output folder.
    pub fn listing(&self) -> Vec<String> {
        listing(&self.out_path())
    }
}

/// Names, sizes and times of everything below a folder.
pub fn listing(folder: &Path) -> Vec<String> {
    let mut lines = Vec::new();
    let mut open = vec![folder.to_path_buf()];
    while let Some(folder) = open.pop() {
        for entry in std::fs::read_dir(&folder).into_iter().flatten().flatten() {
            let about = entry.metadata().expect("metadata");
            if about.is_dir() {
                open.push(entry.path());
            } else {
                let time = about.modified().expect("a time");
                lines.push(format!(
                    "{} {} {time:?}",
                    entry.path().display(),
                    about.len()
                ));
            }
        }
    }
    lines.sort();
    lines
}

pub fn commontime(words: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_commontime"))
        .args(words)
        .output()
        .expect("the binary runs")
}

pub fn status(run: &Output) -> i32 {
    run.status.code().unwrap_or(-1)
}
