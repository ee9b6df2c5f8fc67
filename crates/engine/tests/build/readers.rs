//! A built file in the hands of others: libsndfile, ffmpeg, sox, mediainfo and wavinfo see the same samples, counts and
//! words. `./check` installs them; one that is missing fails the test.

use std::path::{Path, PathBuf};
use std::process::Command;

use engine::build::BuildOptions;
use wave::Encoding;

use crate::fixture::{Recording, Shoot, built, follower, joint, noise, planes};

/// What the references' Python says to `arguments` and the path.
pub fn python(arguments: &[&str], path: &Path) -> String {
    let program = std::env::var_os("COMMONTIME_PYTHON").map_or_else(
        || Path::new(env!("CARGO_MANIFEST_DIR")).join("../../.venv/bin/python"),
        PathBuf::from,
    );
    said(Command::new(program).args(arguments).arg(path))
}

fn said(command: &mut Command) -> String {
    String::from_utf8(bytes_said(command)).expect("text")
}

fn bytes_said(command: &mut Command) -> Vec<u8> {
    let name = format!("{command:?}");
    let output = command
        .output()
        .unwrap_or_else(|error| panic!("{name}: {error}; ./check installs what the tests need"));
    let complaint = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{name}: {complaint}");
    output.stdout
}

#[test]
fn others_see_the_same_recording() {
    for encoding in [Encoding::Int24, Encoding::Float32] {
        let shoot = Shoot::new();
        let take = |unit, seed| Recording {
            unit,
            encoding,
            names: &["Geige", "Chor (Süd)", "Raum"],
            planes: (0..3u64).map(|c| noise(encoding, seed + c, 9001)).collect(),
            stamp: Some(1_728_000_007),
        };
        let north = shoot.record(&take("NORTH", 1));
        let south = follower(shoot.record(&take("SOUTH", 10)), 55.0);
        let takes = vec![joint("evening", vec![north, south], Some(1_728_000_007))];
        let report = built(takes, &BuildOptions::new(shoot.out()));
        let path = &report.outputs[0].path;
        let meant = planes(path);
        let interleaved: Vec<f64> = (0..9001)
            .flat_map(|i| meant.iter().map(move |p| p[i]))
            .collect();

        // ffmpeg and sox: every sample as 64-bit floating point
        let mut ffmpeg = Command::new("ffmpeg");
        ffmpeg
            .args(["-v", "error", "-i"])
            .arg(path)
            .args(["-f", "f64le", "-"]);
        let mut sox = Command::new("sox");
        sox.arg("-D")
            .arg(path)
            .args(["-t", "raw", "-e", "floating-point", "-b", "64", "-L", "-"]);
        for command in [&mut ffmpeg, &mut sox] {
            let bytes = bytes_said(command);
            let found: Vec<f64> = bytes
                .chunks_exact(8)
                .map(|bytes| f64::from_le_bytes(bytes.try_into().expect("8 bytes")))
                .collect();
            assert_eq!(found.len(), interleaved.len(), "{command:?}");
            assert!(found == interleaved, "{command:?}");
        }

        // libsndfile: counts; wavinfo: words
        let script = "import sys, soundfile, wavinfo\n\
            i = soundfile.info(sys.argv[1]); print(i.frames, i.channels, i.samplerate)\n\
            w = wavinfo.WavInfoReader(sys.argv[1])\n\
            print(w.bext.time_reference, w.bext.originator_date, w.bext.description.splitlines()[0])\n\
            print(w.ixml.scene, [t.name for t in w.ixml.track_list])\n\
            print(len(w.bext.coding_history.strip().splitlines()))\n";
        let said_by_python = python(&["-c", script], path);
        let lines: Vec<&str> = said_by_python.lines().collect();
        assert_eq!(lines[0], "9001 6 48000");
        assert_eq!(
            lines[1],
            "1728000007 2031-03-01 evening: 6 channels of NORTH and SOUTH on the clock of NORTH"
        );
        assert_eq!(
            lines[2],
            "12A ['NORTH: Geige', 'NORTH: Chor (Süd)', 'NORTH: Raum', 'SOUTH: Geige', \
             'SOUTH: Chor (Süd)', 'SOUTH: Raum']"
        );
        assert_eq!(lines[3], "4");

        // mediainfo: container, channels, samples, start
        let mut mediainfo = Command::new("mediainfo");
        mediainfo.args([
            "--Output=Audio;%Channel(s)% %SamplingRate% %SamplingCount% %BitDepth% %Delay%",
        ]);
        let line = said(mediainfo.arg(path));
        let words: Vec<&str> = line.split_whitespace().collect();
        let bits = encoding.bits().to_string();
        assert_eq!(words[..4], ["6", "48000", "9001", &bits], "{line}");
        // 1 728 000 007 samples are 36 000 000.146 ms
        assert!(words[4].starts_with("36000000"), "{line}");
    }
}
