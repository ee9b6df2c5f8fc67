//! Names in, sound files out: recordings that Debian packages ship or make, for shoots whose sounds are not synthesised.
//! Tests and benches use it; a missing program or package is an error that says which one.

use std::path::{Path, PathBuf};
use std::process::Command;

use crate::error::{Error, Result};
use crate::rng::{self, Rng};

/// Words without copyright or meaning, enough of them that talk does not repeat itself.
const WORDS: [&str; 48] = [
    "lantern",
    "seven",
    "under",
    "copper",
    "shallow",
    "river",
    "window",
    "yesterday",
    "quiet",
    "marble",
    "thistle",
    "gather",
    "every",
    "hollow",
    "paper",
    "signal",
    "winter",
    "opens",
    "between",
    "narrow",
    "fields",
    "carry",
    "amber",
    "stones",
    "whistle",
    "thirty",
    "ladder",
    "brightly",
    "before",
    "morning",
    "kettle",
    "orchard",
    "follow",
    "distant",
    "voices",
    "measure",
    "slowly",
    "turning",
    "wheels",
    "harbour",
    "simple",
    "echo",
    "village",
    "counting",
    "shadow",
    "tomorrow",
    "branches",
    "bridge",
];

/// Speech of about `seconds` by `voice` (such as "en-gb+m3"), as a file in `folder`.
///
/// # Errors
/// When espeak-ng is not installed or fails.
pub fn speech(folder: &Path, voice: &str, seconds: f64) -> Result<PathBuf> {
    let mut rng = Rng::new(rng::key(
        0,
        &voice.bytes().map(u64::from).collect::<Vec<_>>(),
    ));
    // Some 2.3 words a second at the default speed, pauses included.
    let words = (seconds * 2.3).ceil() as usize;
    let text: Vec<String> = (0..words)
        .map(|i| {
            let stop = if i % 9 == 8 { "." } else { "" };
            format!("{}{stop}", rng.pick(&WORDS))
        })
        .collect();
    let path = folder.join(format!("{}.wav", voice.replace('+', "-")));
    let mut command = Command::new("espeak-ng");
    command
        .args(["-v", voice, "-w"])
        .arg(&path)
        .arg(text.join(" "));
    run(command)?;
    Ok(path)
}

/// The recording `name` of the package sonic-pi-samples (all CC0), such as "guit_harmonics", as a file in `folder`.
///
/// # Errors
/// When the package or ffmpeg is not installed.
pub fn sample(folder: &Path, name: &str) -> Result<PathBuf> {
    let mut list = Command::new("dpkg");
    list.args(["-L", "sonic-pi-samples"]);
    let listed = run(list)?;
    let wanted = format!("/{name}.flac");
    let packed = listed
        .lines()
        .find(|line| line.ends_with(&wanted))
        .ok_or_else(|| {
            Error::program(
                "dpkg -L sonic-pi-samples",
                format!("no recording called {name}"),
            )
        })?;
    let path = folder.join(format!("{name}.wav"));
    let mut decode = Command::new("ffmpeg");
    decode
        .args(["-v", "error", "-y", "-i", packed, "-c:a", "pcm_f32le"])
        .arg(&path);
    run(decode)?;
    Ok(path)
}

fn run(mut command: Command) -> Result<String> {
    let program = command.get_program().to_string_lossy().into_owned();
    let output = command
        .output()
        .map_err(|error| Error::program(&program, error.to_string()))?;
    if output.status.success() {
        Ok(String::from_utf8_lossy(&output.stdout).into_owned())
    } else {
        let reason = String::from_utf8_lossy(&output.stderr).trim().to_owned();
        Err(Error::program(&program, reason))
    }
}
