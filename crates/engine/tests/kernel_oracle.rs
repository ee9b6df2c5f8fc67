//! The rendering kernel against other libraries' interpolation in 64 bits, and against analytic signals along a
//! position that wanders.

use std::f64::consts::TAU;
use std::path::{Path, PathBuf};
use std::process::Command;

use engine::signal::{Kernel, KernelSpec};
use rubato::audioadapter_buffers::direct::SequentialSliceOfVecs;
use rubato::{
    Async, FixedAsync, Resampler, SincInterpolationParameters, SincInterpolationType,
    WindowFunction,
};

/// 40 tones from `lowest` to `highest` Hz at 48 kHz, their phases far apart.
fn tones(lowest: f64, highest: f64) -> impl Fn(f64) -> f64 {
    move |t| {
        (0..40)
            .map(|i| {
                let hz = lowest * (highest / lowest).powf(f64::from(i) / 39.0);
                (TAU * hz / 48_000.0 * t + f64::from(i * i) * 0.7).sin() * 0.025
            })
            .sum()
    }
}

/// Ours at `positions` of a plane that starts at 0.
fn ours(plane: &[f64], positions: &[f64]) -> Vec<f64> {
    let kernel = Kernel::new(KernelSpec::rendering(48_000.0, 48_000.0));
    let mut out = vec![0.0; positions.len()];
    kernel.resample(&[plane], positions, &mut [&mut out]);
    out
}

fn difference_db(a: &[f64], b: &[f64]) -> f64 {
    let error: f64 = a.iter().zip(b).map(|(a, b)| (a - b) * (a - b)).sum();
    let signal: f64 = b.iter().map(|b| b * b).sum();
    10.0 * (error / signal).log10()
}

/// libsoxr at its highest setting between two rates whose ratio it keeps exactly, and ours against the tones themselves, up
/// to 10 kHz: above that libsoxr's own pass band droops by thousandths of a dB (-92 dB at 18 kHz).
#[test]
fn libsoxr_at_its_highest_setting_agrees() {
    const LENGTH: usize = 44_100;
    let step = 44_100.0 / 48_000.0;
    let at = |n: f64| {
        // the same tones sampled at 44.1 kHz: positions count in its samples
        let sound = tones(300.0, 10_000.0);
        sound(n * 48_000.0 / 44_100.0)
    };
    let plane: Vec<f64> = (0..LENGTH).map(|k| at(k as f64)).collect();
    let folder = tempfile::tempdir().expect("a folder");
    let (source, result) = (folder.path().join("in.f64"), folder.path().join("out.f64"));
    let bytes: Vec<u8> = plane.iter().flat_map(|value| value.to_le_bytes()).collect();
    #[expect(
        clippy::disallowed_methods,
        reason = "a test hands a file to the reference"
    )]
    std::fs::write(&source, bytes).expect("written");
    let python = std::env::var_os("COMMONTIME_PYTHON").map_or_else(
        || Path::new(env!("CARGO_MANIFEST_DIR")).join("../../.venv/bin/python"),
        PathBuf::from,
    );
    let script = "import sys, numpy, soxr\n\
        x = numpy.fromfile(sys.argv[1])\n\
        soxr.resample(x, 44100, 48000, quality='VHQ').tofile(sys.argv[2])\n";
    let run = Command::new(&python)
        .args(["-c", script])
        .args([&source, &result])
        .output()
        .expect("./check installs what the tests need");
    let complaint = String::from_utf8_lossy(&run.stderr);
    assert!(run.status.success(), "{complaint}");
    let theirs: Vec<f64> = std::fs::read(&result)
        .expect("their result")
        .chunks_exact(8)
        .map(|bytes| f64::from_le_bytes(bytes.try_into().expect("8 bytes")))
        .collect();
    // away from the ends, where it knows nothing before and after
    let range = 4000..40_000;
    let positions: Vec<f64> = range.clone().map(|n| n as f64 * step).collect();
    let kernel = Kernel::new(KernelSpec::rendering(44_100.0, 48_000.0));
    let mut ours = vec![0.0; positions.len()];
    kernel.resample(&[&plane], &positions, &mut [&mut ours]);
    let truth: Vec<f64> = positions.iter().map(|position| at(*position)).collect();
    let theirs = &theirs[range];
    let (us, them) = (difference_db(&ours, &truth), difference_db(theirs, &truth));
    let apart = difference_db(&ours, theirs);
    assert!(us < -165.0, "{us:.1} dB");
    assert!(apart < -165.0, "{apart:.1} dB apart, theirs {them:.1}");
}

#[test]
fn another_library_interpolates_alike() {
    const LENGTH: usize = 12_000;
    let step = 1.0 + 12e-6;
    // its low-pass is flat to 20 kHz with these settings; 18 kHz leaves the edge out
    let sound = tones(300.0, 18_000.0);
    let plane: Vec<f64> = (0..LENGTH).map(|k| sound(k as f64)).collect();
    let settings = SincInterpolationParameters {
        sinc_len: 256,
        f_cutoff: None,
        oversampling_factor: 256,
        interpolation: SincInterpolationType::Cubic,
        window: WindowFunction::BlackmanHarris2,
    };
    let mut theirs = Async::<f64>::new_sinc(1.0 / step, 1.1, &settings, 1024, 1, FixedAsync::Input)
        .expect("settings");
    let input = [plane.clone()];
    let input = SequentialSliceOfVecs::new(&input, 1, LENGTH).expect("input");
    let room = theirs.process_all_needed_output_len(LENGTH);
    let mut out = vec![vec![0.0; room]];
    let mut output = SequentialSliceOfVecs::new_mut(&mut out, 1, room).expect("output");
    theirs
        .process_all_into_buffer(&input, &mut output, LENGTH, None)
        .expect("resampled");
    let theirs = &out[0][1000..11_000];

    // its constant delay is documented to a sample only: found here by the steepest way down on the difference
    let at = |delay: f64| -> Vec<f64> {
        (1000..11_000)
            .map(|n| f64::from(n) * step + delay)
            .collect()
    };
    let mut delay = 0.0;
    for _ in 0..6 {
        let here = ours(&plane, &at(delay));
        let ahead = ours(&plane, &at(delay + 1e-4));
        let (mut along, mut square) = (0.0, 0.0);
        for ((here, ahead), theirs) in here.iter().zip(&ahead).zip(theirs) {
            let slope = (ahead - here) / 1e-4;
            along += slope * (theirs - here);
            square += slope * slope;
        }
        delay += along / square;
    }
    let db = difference_db(&ours(&plane, &at(delay)), theirs);
    assert!(db < -150.0, "{db:.1} dB at a delay of {delay}");
    assert!(delay.abs() < 1.5, "{delay}");
}

#[test]
fn a_wandering_position_is_followed_as_well_as_a_steady_one() {
    let sound = tones(1000.0, 20_000.0);
    let plane: Vec<f64> = (0..20_000).map(|k| sound(f64::from(k))).collect();
    // 12 ppm with 300 ppm of wander, so that all fractions are met within the test's length
    let positions: Vec<f64> = (0..19_000)
        .map(|n| {
            let n = f64::from(n);
            200.1 + n * (1.0 + 12e-6) + 2.0 * (TAU * n / 19_000.0 * 3.0).sin()
        })
        .collect();
    let truth: Vec<f64> = positions.iter().map(|&position| sound(position)).collect();
    let db = difference_db(&ours(&plane, &positions), &truth);
    assert!(db < -165.0, "{db:.1} dB");
}
