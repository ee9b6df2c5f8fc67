//! What every test here stands on: a card with known files, small media of their own, the program, and what lies where.

use std::fs;
use std::io::ErrorKind;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;

pub use crate::shoots::{commontime, status};

/// A card and two media in a temporary folder.
pub struct Bench {
    folder: tempfile::TempDir,
    media: Vec<PathBuf>,
}

/// Bytes that are nowhere the same.
pub fn noise(length: usize, seed: u64) -> Vec<u8> {
    let mut state = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1;
    (0..length)
        .map(|_| {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            (state >> 24) as u8
        })
        .collect()
}

impl Bench {
    pub fn new() -> Self {
        Self {
            folder: tempfile::tempdir().expect("temporary folder"),
            media: Vec::new(),
        }
    }

    /// One with a card called NORTH: files in folders, an empty one, a long one, names of all kinds, some rubbish.
    pub fn with_card() -> Self {
        let bench = Self::new();
        for (name, length) in [
            ("T01.WAV", 4000),
            ("DAY1/T02.WAV", 9_000_000),
            ("DAY1/T10.WAV", 0),
            ("DAY1/T3 & \u{e9}.WAV", 4096),
            ("DAY1/notes/take <3>.txt", 1),
            ("._T01.WAV", 100),
            (".Trashes/old.wav", 100),
        ] {
            let length_or_seed = length as u64 + 7;
            bench.put(&format!("NORTH/{name}"), &noise(length, length_or_seed));
        }
        fs::create_dir(bench.path("NORTH/DAY2")).expect("folder");
        bench
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn text(&self, name: &str) -> String {
        self.path(name).display().to_string()
    }

    pub fn put(&self, name: &str, bytes: &[u8]) -> PathBuf {
        let path = self.path(name);
        fs::create_dir_all(path.parent().expect("inside")).expect("folder");
        fs::write(&path, bytes).expect("file");
        path
    }

    /// A medium of so many megabytes, mounted at this name.
    pub fn medium(&mut self, name: &str, megabytes: u64) -> String {
        self.medium_with(name, megabytes, &[])
    }

    pub fn medium_with(&mut self, name: &str, megabytes: u64, make: &[&str]) -> String {
        let image = self.path(&format!("{name}.img"));
        let file = fs::File::create(&image).expect("image");
        file.set_len(megabytes << 20).expect("image");
        let place = self.path(name);
        fs::create_dir_all(&place).expect("mount point");
        run(
            "mkfs.ext4",
            &[&["-q", "-m", "0"], make, &[&text(&image)]].concat(),
        );
        run("mount", &["-o", "loop", &text(&image), &text(&place)]);
        self.media.push(place.clone());
        text(&place)
    }

    /// Files below a folder with their bytes, by their paths in it; lists and what the file system itself has left out.
    pub fn files(&self, name: &str) -> Vec<(String, Vec<u8>)> {
        let root = self.path(name);
        let mut found = Vec::new();
        let mut open = vec![root.clone()];
        while let Some(folder) = open.pop() {
            for entry in fs::read_dir(&folder).into_iter().flatten().flatten() {
                let path = entry.path();
                let inside = path.strip_prefix(&root).expect("inside");
                let inside = inside.to_string_lossy().into_owned();
                if path.is_dir() {
                    if !inside.ends_with("ascmhl") && inside != "lost+found" {
                        open.push(path);
                    }
                } else {
                    // what is being renamed while somebody looks is found at the next look
                    match fs::read(&path) {
                        Ok(bytes) => found.push((inside, bytes)),
                        Err(error) if error.kind() == ErrorKind::NotFound => {}
                        Err(error) => panic!("{inside}: {error}"),
                    }
                }
            }
        }
        found.sort();
        found
    }

    /// What a copy of the card must hold: everything but rubbish.
    pub fn expected(&self) -> Vec<(String, Vec<u8>)> {
        let mut files = self.files("NORTH");
        files.retain(|(name, _)| !name.starts_with('.'));
        files
    }
}

impl Drop for Bench {
    fn drop(&mut self) {
        for place in &self.media {
            let _ = Command::new("umount").arg("-l").arg(place).status();
        }
    }
}

pub fn text(path: &Path) -> String {
    path.display().to_string()
}

/// Runs a program of the system; a missing or failing one fails the test.
pub fn run(program: &str, args: &[&str]) -> String {
    let output = Command::new(program)
        .args(args)
        .output()
        .unwrap_or_else(|error| panic!("{program} is needed by this test: {error}"));
    assert!(output.status.success(), "{program} {args:?}: {output:?}");
    String::from_utf8_lossy(&output.stdout).into_owned()
}

pub fn program() -> Command {
    Command::new(env!("CARGO_BIN_EXE_commontime"))
}

pub fn said(output: &Output) -> String {
    format!(
        "{}{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    )
}

/// Runs `commontime --json` and reads what it printed; its exit status comes along.
pub fn json(args: &[&str]) -> (i32, Value) {
    let output = commontime(&[&["--json"], args].concat());
    let value = serde_json::from_slice(&output.stdout)
        .unwrap_or_else(|error| panic!("{error}: {}", said(&output)));
    (status(&output), value)
}

/// The codes of findings, each once, sorted.
pub fn codes(value: &Value) -> Vec<String> {
    let findings = value["findings"].as_array().expect("findings");
    let mut codes: Vec<String> = findings
        .iter()
        .map(|finding| finding["code"].as_str().expect("a code").to_string())
        .collect();
    codes.sort();
    codes.dedup();
    codes
}

/// Whether a folder holds a file that is not finished.
pub fn unfinished(folder: &Path) -> bool {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    entries.into_iter().any(|entry| {
        let name = entry.file_name().to_string_lossy().into_owned();
        let is_folder = entry.file_type().is_ok_and(|kind| kind.is_dir());
        name.starts_with(".commontime-") || (is_folder && unfinished(&entry.path()))
    })
}

/// A script that is in the way between the program and the system: see `fault.c`.
pub fn fault_library(bench: &Bench) -> PathBuf {
    let library = bench.path("fault.so");
    let source = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/offload/fault.c");
    run(
        "cc",
        &[
            "-shared",
            "-fPIC",
            "-O1",
            "-o",
            &text(&library),
            source,
            "-ldl",
        ],
    );
    fs::set_permissions(&library, fs::Permissions::from_mode(0o755)).expect("permissions");
    library
}
