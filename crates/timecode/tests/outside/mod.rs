//! The references that are called through Python: a script or its arguments in, what it wrote out.
#![allow(dead_code, reason = "each test binary uses its part")]

use std::io::Write as _;
use std::process::{Command, Stdio};

const ROOT: &str = env!("CARGO_MANIFEST_DIR");

/// What Python writes when it is given these arguments and this input.
pub fn python(arguments: &[String], input: &[u8]) -> Vec<u8> {
    let python = std::env::var("COMMONTIME_PYTHON")
        .unwrap_or_else(|_| format!("{ROOT}/../../.venv/bin/python"));
    let mut child = Command::new(&python)
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap_or_else(|e| panic!("{python}: {e}; ./check installs what the tests need"));
    let mut stdin = child.stdin.take().expect("stdin");
    let input = input.to_vec();
    let writer = std::thread::spawn(move || stdin.write_all(&input));
    let output = child.wait_with_output().expect("its output");
    writer.join().expect("a thread").expect("all of the input");
    assert!(output.status.success(), "{python}: {arguments:?}");
    output.stdout
}

/// What libltc makes of a command of `libltc.py` and its input.
pub fn libltc(arguments: &[String], input: &[u8]) -> Vec<u8> {
    let script = format!("{ROOT}/tests/libltc/libltc.py");
    python(&[&[script], arguments].concat(), input)
}

/// Words of a command.
pub fn words(text: &[&dyn std::fmt::Display]) -> Vec<String> {
    text.iter().map(ToString::to_string).collect()
}

/// Samples as libltc takes them.
pub fn bytes(samples: &[f32]) -> Vec<u8> {
    samples.iter().flat_map(|x| x.to_le_bytes()).collect()
}
