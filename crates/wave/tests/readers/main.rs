//! Files we write are read by libsndfile, ffmpeg, sox, mediainfo and wavinfo with equal sample counts, samples and
//! metadata, and files that ffmpeg, sox and libsndfile write are read by us with equal samples.
//!
//! `./check` installs the references; one that is missing fails the test.

mod ours;
mod theirs;

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use wave::Encoding;

/// The Python that has the references: `COMMONTIME_PYTHON`, else the workspace's own.
fn python() -> PathBuf {
    std::env::var_os("COMMONTIME_PYTHON").map_or_else(
        || Path::new(env!("CARGO_MANIFEST_DIR")).join("../../.venv/bin/python"),
        PathBuf::from,
    )
}

/// The script beside this file.
fn script() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/readers/reference.py")
}

/// Runs a reference with `input` and gives what it prints; one that is missing or fails is a failed test.
fn run(command: &mut Command, input: &[u8]) -> Vec<u8> {
    let name = format!("{command:?}");
    let mut child = command
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap_or_else(|error| panic!("{name}: {error}; ./check installs what the tests need"));
    let mut stdin = child.stdin.take().expect("piped");
    let input = input.to_vec();
    let feed = std::thread::spawn(move || stdin.write_all(&input));
    let output = child.wait_with_output().expect("waits");
    let _ = feed.join().expect("no panic");
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{name}: {said}");
    output.stdout
}

/// Integers of `encoding` spread over its whole range, both ends among them; a generator of pseudo-random numbers
/// (Knuth, MMIX) without state elsewhere.
fn integers(encoding: Encoding, count: usize) -> Vec<i64> {
    let (low, high) = (
        -(1i64 << (encoding.bits() - 1)),
        (1i64 << (encoding.bits() - 1)) - 1,
    );
    let mut state = 7u64;
    (0..count)
        .map(|index| match index {
            0 => low,
            1 => high,
            2 => -1,
            _ => {
                state = state
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1_442_695_040_888_963_407);
                (state as i64) >> (64 - encoding.bits())
            }
        })
        .collect()
}

/// Values below full scale that `encoding` holds exactly, and the bytes that stand for them, made without the code
/// under test.
fn sound(encoding: Encoding, count: usize) -> (Vec<f64>, Vec<u8>) {
    let scaled = |encoding, scale: f64| -> Vec<f64> {
        integers(encoding, count)
            .iter()
            .map(|&value| value as f64 / scale)
            .collect()
    };
    match encoding {
        Encoding::Int16 | Encoding::Int24 | Encoding::Int32 => {
            let bytes = integers(encoding, count)
                .iter()
                .flat_map(|value| value.to_le_bytes()[..encoding.bytes()].to_vec())
                .collect();
            let scale = 2f64.powi(i32::from(encoding.bits()) - 1);
            (scaled(encoding, scale), bytes)
        }
        Encoding::Float32 => {
            // 24 bits fit into the significand
            let values = scaled(Encoding::Int24, 8_388_608.0);
            let bytes = values
                .iter()
                .flat_map(|&value| (value as f32).to_le_bytes())
                .collect();
            (values, bytes)
        }
        Encoding::Float64 => {
            // full 53-bit significands below 1
            let values: Vec<f64> = scaled(Encoding::Int32, 2_147_483_649.0)
                .iter()
                .map(|value| value * 0.999_999_9)
                .collect();
            let bytes = values
                .iter()
                .flat_map(|value| value.to_le_bytes())
                .collect();
            (values, bytes)
        }
    }
}

/// All encodings with the names that ffmpeg, sox and libsndfile give them.
const ENCODINGS: [(Encoding, &str, &str, &str); 5] = [
    (Encoding::Int16, "s16le", "signed-integer", "PCM_16"),
    (Encoding::Int24, "s24le", "signed-integer", "PCM_24"),
    (Encoding::Int32, "s32le", "signed-integer", "PCM_32"),
    (Encoding::Float32, "f32le", "floating-point", "FLOAT"),
    (Encoding::Float64, "f64le", "floating-point", "DOUBLE"),
];
