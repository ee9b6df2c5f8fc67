//! Deviations, degrees of freedom, intervals and kinds of noise held against the Python library allantools.

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use serde_json::{Value, json};

use super::simulated::{Kind as Of, phases};
use crate::stability::{
    Interval, Kind, Noise, allan, degrees_of_freedom, modified_allan, noise_of, overlapping_allan,
    time_deviation,
};

const POINTS: usize = 2048;
const FACTORS: [usize; 6] = [1, 2, 8, 32, 128, 500];

/// What a script makes of what it is given.
fn python(script: &str, given: &Value) -> Value {
    let python = std::env::var_os("COMMONTIME_PYTHON").map_or_else(
        || Path::new(env!("CARGO_MANIFEST_DIR")).join("../../.venv/bin/python"),
        PathBuf::from,
    );
    let mut child = Command::new(python)
        .args(["-c", script])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("./check installs what the tests need");
    let text = given.to_string();
    let written = child
        .stdin
        .take()
        .expect("stdin")
        .write_all(text.as_bytes());
    let said = child.wait_with_output().expect("python ends");
    let complaint = String::from_utf8_lossy(&said.stderr);
    assert!(said.status.success() && written.is_ok(), "{complaint}");
    serde_json::from_slice(&said.stdout).expect("JSON")
}

fn numbers(value: &Value) -> Vec<f64> {
    let all = value.as_array().expect("a list").iter();
    all.map(|one| one.as_f64().expect("a number")).collect()
}

const KINDS: [Of; 4] = [
    Of::WhitePhase,
    Of::WhiteRate,
    Of::FlickerRate,
    Of::WalkingRate,
];

#[test]
fn another_library_finds_the_same_deviations() {
    let all: Vec<Vec<f64>> = KINDS.map(|kind| phases(kind, POINTS, 5)).to_vec();
    let theirs = python(
        "import sys, json, numpy, allantools as a\n\
         given = json.load(sys.stdin)\n\
         def of(f, x): return [float(f(numpy.array(x), rate=4.0, data_type='phase', taus=[m / 4.0])[1][0]) \
         for m in given['factors']]\n\
         print(json.dumps([[of(f, x) for f in (a.adev, a.oadev, a.mdev, a.tdev)] for x in given['phases']]))",
        &json!({ "phases": all, "factors": FACTORS }),
    );
    for (x, theirs) in all.iter().zip(theirs.as_array().expect("a list")) {
        let measures = [allan, overlapping_allan, modified_allan, time_deviation];
        for (name, (measure, theirs)) in measures
            .iter()
            .zip(theirs.as_array().expect("a list"))
            .enumerate()
        {
            for (factor, theirs) in FACTORS.into_iter().zip(numbers(theirs)) {
                let ours = measure(x, 0.25, factor).expect("enough phases");
                assert!(
                    (ours / theirs - 1.0).abs() < 1e-9,
                    "{name} {factor}: {ours}, {theirs}"
                );
            }
        }
    }
}

#[test]
fn another_library_counts_the_same_degrees_of_freedom() {
    let noises = [
        Noise::WhitePhase,
        Noise::FlickerPhase,
        Noise::WhiteRate,
        Noise::FlickerRate,
        Noise::WalkingRate,
    ];
    let kinds = [Kind::Plain, Kind::Overlapping, Kind::Modified];
    let mut asked = Vec::new();
    for noise in noises {
        for kind in kinds {
            for factor in FACTORS {
                asked.push((noise, kind, factor));
            }
        }
    }
    let rows: Vec<Value> = asked
        .iter()
        .map(|(noise, kind, factor)| {
            json!([
                noise.alpha(),
                factor,
                *kind != Kind::Plain,
                *kind == Kind::Modified
            ])
        })
        .collect();
    let theirs = python(
        "import sys, json, allantools as a\n\
         given = json.load(sys.stdin)\n\
         print(json.dumps([float(a.edf_greenhall(alpha, 2, m, given['points'], o, mod)) for alpha, m, o, mod in given['rows']]))",
        &json!({ "points": POINTS, "rows": rows }),
    );
    for ((noise, kind, factor), theirs) in asked.into_iter().zip(numbers(&theirs)) {
        let ours = degrees_of_freedom(kind, noise, POINTS, factor).expect("enough phases");
        // sums that are long are taken from a table of approximations there, which the paper gives to some percent
        let off = (ours / theirs - 1.0).abs();
        assert!(off < 0.02, "{noise:?} {kind:?} {factor}: {ours}, {theirs}");
    }
}

#[test]
fn another_library_gives_the_same_intervals_and_kinds_of_noise() {
    let all: Vec<Vec<f64>> = KINDS.map(|kind| phases(kind, POINTS, 9)).to_vec();
    let freedoms = [1.3, 4.0, 55.5, 1200.0];
    let theirs = python(
        "import sys, json, numpy, allantools as a\n\
         given = json.load(sys.stdin)\n\
         ends = [[float(e) for e in a.confidence_interval(3.0, edf, 0.95)] for edf in given['freedoms']]\n\
         noises = [int(a.autocorr_noise_id(numpy.array(x), 4, 'phase', 1, 2)[0]) for x in given['phases']]\n\
         print(json.dumps([ends, noises]))",
        &json!({ "phases": all, "freedoms": freedoms }),
    );
    for (freedom, ends) in freedoms
        .into_iter()
        .zip(theirs[0].as_array().expect("a list"))
    {
        let ours = Interval::of(3.0, freedom);
        for (ours, theirs) in [ours.low, ours.high].into_iter().zip(numbers(ends)) {
            assert!(
                (ours / theirs - 1.0).abs() < 1e-6,
                "{freedom}: {ours}, {theirs}"
            );
        }
    }
    for (x, theirs) in all.iter().zip(numbers(&theirs[1])) {
        let ours = noise_of(x, 4).expect("enough phases").alpha();
        assert_eq!(f64::from(ours), theirs);
    }
}
