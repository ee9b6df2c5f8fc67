//! Loudness, range and true peak held to the signals that EBU Tech 3341 (table 1) and 3342 (table 1) define, made here from
//! their definitions, and to ffmpeg and pyloudnorm on the same files. `./check` installs both; one that is missing fails
//! the test.

use std::f64::consts::TAU;
use std::path::{Path, PathBuf};
use std::process::Command;

use engine::quality::{ChannelQuality, Loudness, LoudnessMeter, QualityMeter};
use wave::{Encoding, Format, WaveWriter, WriteSpec};

const RATE: u32 = 48_000;

/// Stretches of a 1 kHz sine: seconds and peak level, dBFS; silence without a level.
fn sine(stretches: &[(f64, Option<f64>)]) -> Vec<f64> {
    let mut samples = Vec::new();
    for &(seconds, level) in stretches {
        let level = level.map_or(0.0, |level| 10.0_f64.powf(level / 20.0));
        let end = samples.len() + (seconds * f64::from(RATE)).round() as usize;
        while samples.len() < end {
            let phase = 1000.0 * samples.len() as f64 / f64::from(RATE);
            samples.push(level * (TAU * phase).sin());
        }
    }
    samples
}

/// What a stereo signal in phase comes to.
fn stereo(samples: &[f64]) -> Loudness {
    let mut meter = LoudnessMeter::new(2, RATE).expect("two channels");
    for part in samples.chunks(7001) {
        meter.add(&[part, part]);
    }
    meter.finish()
}

fn channel(samples: &[f64], rate: u32) -> ChannelQuality {
    let mut meter = QualityMeter::new(1, rate);
    samples.chunks(100_000).for_each(|part| meter.add(&[part]));
    meter.finish().channels.remove(0)
}

fn near(found: Option<f64>, meant: f64, within: f64, what: &str) {
    let found = found.unwrap_or_else(|| panic!("{what}: nothing"));
    assert!(
        (found - meant).abs() <= within,
        "{what}: {found}, meant {meant}"
    );
}

/// Tech 3341 table 1, cases 1 to 5: integrated loudness within 0.1 LU. Case 6 weighs surround channels, which microphones
/// have not; 7 and 8 are programme.
#[test]
fn integrated_loudness_is_that_of_tech_3341() {
    let three = [
        (10.0, Some(-36.0)),
        (60.0, Some(-23.0)),
        (10.0, Some(-36.0)),
    ];
    let mut four = vec![(10.0, Some(-72.0))];
    four.extend(three);
    four.push((10.0, Some(-72.0)));
    let five = [
        (20.0, Some(-26.0)),
        (20.1, Some(-20.0)),
        (20.0, Some(-26.0)),
    ];
    let cases: [(&str, Vec<_>, f64); 5] = [
        ("case 1", vec![(20.0, Some(-23.0))], -23.0),
        ("case 2", vec![(20.0, Some(-33.0))], -33.0),
        ("case 3", three.to_vec(), -23.0),
        ("case 4", four, -23.0),
        ("case 5", five.to_vec(), -23.0),
    ];
    for (name, stretches, meant) in cases {
        let samples = sine(&stretches);
        near(stereo(&samples).integrated_lufs, meant, 0.1, name);
        // one channel by itself: half the power. The tone of case 4 at -72 then lies below the gate as before
        let alone = channel(&samples, RATE).integrated_lufs;
        near(alone, meant - 3.01, 0.1, name);
    }
}

/// Cases 9, 10, 12 and 13: the loudest short-term and momentary loudness within 0.1 LU.
#[test]
fn the_loudest_windows_are_those_of_tech_3341() {
    let nine = [(1.34, Some(-20.0)), (1.66, Some(-30.0))].repeat(5);
    near(stereo(&sine(&nine)).short_term_lufs, -23.0, 0.1, "case 9");
    let twelve = [(0.18, Some(-20.0)), (0.22, Some(-30.0))].repeat(25);
    near(stereo(&sine(&twelve)).momentary_lufs, -23.0, 0.1, "case 12");
    for i in 0..20 {
        let ten = [(f64::from(i) * 0.15, None), (3.0, Some(-23.0)), (1.0, None)];
        near(stereo(&sine(&ten)).short_term_lufs, -23.0, 0.1, "case 10");
        let thirteen = [(f64::from(i) * 0.02, None), (0.4, Some(-23.0)), (1.0, None)];
        near(
            stereo(&sine(&thirteen)).momentary_lufs,
            -23.0,
            0.1,
            "case 13",
        );
    }
}

/// Cases 11 and 14: the loudest window of a file whose tones get louder, 1 dB each, beginning later each time; asked after
/// some of them.
#[test]
fn the_loudest_window_so_far_is_that_of_tech_3341() {
    let until = |last: i32, shift: f64, tone: f64| -> Vec<f64> {
        let stretches = (0..=last).flat_map(|i| {
            let late = f64::from(i) * shift;
            [
                (late, None),
                (tone, Some(f64::from(-38 + i))),
                (tone - late, None),
            ]
        });
        sine(&stretches.collect::<Vec<_>>())
    };
    for last in [0, 6, 13, 19] {
        let meant = f64::from(-38 + last);
        let eleven = stereo(&until(last, 0.15, 3.0)).short_term_lufs;
        near(eleven, meant, 0.1, "case 11");
        let fourteen = stereo(&until(last, 0.02, 0.4)).momentary_lufs;
        near(fourteen, meant, 0.1, "case 14");
    }
}

/// Cases 20 to 23: one period of a quarter of the rate at full scale within a sixth of it at half, made at four times the rate,
/// band-limited and taken at each of four offsets; 0 dBTP within +0.2 and -0.4 dB. The low pass is ours: a sinc to half the
/// rate under a Blackman window of 513 taps.
#[test]
fn true_peaks_between_samples_are_those_of_tech_3341() {
    let periods = |count: usize, part: usize, amplitude: f64| {
        (0..count * part).map(move |i| amplitude * (TAU * i as f64 / part as f64).sin())
    };
    let tone = || periods(200, 24, 0.5);
    let wide: Vec<f64> = tone().chain(periods(1, 16, 1.0)).chain(tone()).collect();
    let half = 256_i32;
    let taps: Vec<f64> = (-half..=half)
        .map(|i| {
            let x = f64::from(i);
            let sinc = if i == 0 {
                0.25
            } else {
                (TAU * 0.125 * x).sin() / (TAU * x / 2.0)
            };
            let turn = TAU * x / f64::from(2 * half);
            sinc * (0.42 + 0.5 * turn.cos() + 0.08 * (2.0 * turn).cos())
        })
        .collect();
    let length = taps.len();
    let limited: Vec<f64> = wide
        .windows(length)
        .map(|part| part.iter().zip(&taps).map(|(a, b)| a * b).sum())
        .collect();
    for (name, offset) in [
        ("case 20", 0),
        ("case 21", 1),
        ("case 22", 2),
        ("case 23", 3),
    ] {
        let mut samples: Vec<f64> = limited.iter().skip(offset).step_by(4).copied().collect();
        let count = samples.len();
        for (i, value) in samples.iter_mut().enumerate() {
            *value *= (i.min(count - i) as f64 / 200.0).min(1.0);
        }
        let found = channel(&samples, RATE).true_peak_dbtp.expect("a peak");
        assert!((-0.4..=0.2).contains(&found), "{name}: {found}");
    }
}

/// Cases 15 to 19: true peak within +0.2 and -0.4 dB. The tones begin and end softly, which their definition leaves open: a
/// step has larger values between samples than the tone.
#[test]
fn true_peaks_are_those_of_tech_3341() {
    let cases = [
        ("case 15", 4.0, 0.0, 0.50, -6.0),
        ("case 16", 4.0, 45.0, 0.50, -6.0),
        ("case 17", 6.0, 60.0, 0.50, -6.0),
        ("case 18", 8.0, 67.5, 0.50, -6.0),
        ("case 19", 4.0, 45.0, 1.41, 3.0),
    ];
    for (name, part, degrees, amplitude, meant) in cases {
        let length = RATE as usize;
        let samples: Vec<f64> = (0..length)
            .map(|i| {
                let fade = (i.min(length - i) as f64 / 480.0).min(1.0);
                fade * amplitude * (TAU * (i as f64 / part + degrees / 360.0)).sin()
            })
            .collect();
        let found = channel(&samples, RATE).true_peak_dbtp.expect("a peak");
        assert!(
            (meant - 0.4..=meant + 0.2).contains(&found),
            "{name}: {found}"
        );
    }
}

/// Tech 3342 table 1, cases 1 to 4: loudness range within 1 LU. Cases 5 and 6 are programme.
#[test]
fn loudness_range_is_that_of_tech_3342() {
    let cases: [(&[f64], f64); 4] = [
        (&[-20.0, -30.0], 10.0),
        (&[-20.0, -15.0], 5.0),
        (&[-40.0, -20.0], 20.0),
        (&[-50.0, -35.0, -20.0, -35.0, -50.0], 15.0),
    ];
    for (levels, meant) in cases {
        let stretches: Vec<_> = levels.iter().map(|&level| (20.0, Some(level))).collect();
        let samples = sine(&stretches);
        near(stereo(&samples).range_lu, meant, 1.0, "3342");
        near(
            channel(&samples, RATE).range_lu,
            meant,
            1.0,
            "3342, one channel",
        );
    }
}

/// Sound that swells, with peaks between samples, at a rate.
fn swelling(rate: u32, seconds: u32) -> Vec<f64> {
    let mut state = 0x1234_5678_9ABC_DEF1_u64;
    // close to the Nyquist frequency interpolations differ; here there is little of it
    let mut dull = 0.0;
    (0..rate * seconds)
        .map(|i| {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            dull = 0.75 * dull + 0.25 * ((state >> 11) as f64 / (1_u64 << 52) as f64 - 1.0);
            let t = f64::from(i) / f64::from(rate);
            let swell = 0.02 + (TAU * t / 11.0).sin().powi(2);
            f64::from((swell * (0.3 * (TAU * 440.0 * t).sin() + dull)) as f32)
        })
        .collect()
}

#[expect(
    clippy::disallowed_methods,
    reason = "a file for other programs to read"
)]
fn written(folder: &Path, rate: u32, samples: &[f64]) -> PathBuf {
    let path = folder.join(format!("swell-{rate}.wav"));
    let file = std::fs::File::create(&path).expect("created");
    let spec = WriteSpec::new(Format::plain(1, rate, Encoding::Float32));
    let mut writer = WaveWriter::new(file, &spec).expect("begun");
    writer.write_planar(&[samples]).expect("written");
    writer.finish().expect("finished");
    path
}

fn output(command: &mut Command) -> (String, String) {
    let name = format!("{command:?}");
    let output = command
        .output()
        .unwrap_or_else(|error| panic!("{name}: {error}; ./check installs what the tests need"));
    let text = |bytes| String::from_utf8(bytes).expect("text");
    let (said, told) = (text(output.stdout), text(output.stderr));
    assert!(output.status.success(), "{name}: {told}");
    (said, told)
}

#[test]
fn ffmpeg_and_pyloudnorm_hear_the_same() {
    let folder = tempfile::tempdir().expect("temporary folder");
    let python = std::env::var_os("COMMONTIME_PYTHON").map_or_else(
        || Path::new(env!("CARGO_MANIFEST_DIR")).join("../../.venv/bin/python"),
        PathBuf::from,
    );
    for rate in [44_100, 48_000, 96_000] {
        let samples = swelling(rate, 40);
        let path = written(folder.path(), rate, &samples);
        let ours = channel(&samples, rate);
        // the summary ends with `I:`, `LRA:` and `Peak:`, a decimal each
        let mut ffmpeg = Command::new("ffmpeg");
        ffmpeg.args(["-nostats", "-hide_banner", "-i"]).arg(&path);
        let (_, told) = output(ffmpeg.args(["-af", "ebur128=peak=true", "-f", "null", "-"]));
        let summary = told.rsplit("Summary:").next().unwrap_or_default();
        let after = |name: &str| -> f64 {
            let rest = summary
                .split(name)
                .nth(1)
                .unwrap_or_else(|| panic!("{name}: {told}"));
            let word = rest.split_whitespace().next().expect("a number");
            word.parse().expect("a number")
        };
        near(ours.integrated_lufs, after("I:"), 0.15, "ffmpeg, loudness");
        near(ours.range_lu, after("LRA:"), 0.5, "ffmpeg, range");
        near(ours.true_peak_dbtp, after("Peak:"), 0.2, "ffmpeg, peak");
        let script = "import sys, soundfile, pyloudnorm\n\
            data, rate = soundfile.read(sys.argv[1])\n\
            print(pyloudnorm.Meter(rate).integrated_loudness(data))";
        let (said, _) = output(Command::new(&python).args(["-c", script]).arg(&path));
        let theirs: f64 = said.trim().parse().expect("a number");
        near(ours.integrated_lufs, theirs, 0.1, "pyloudnorm");
    }
}
