//! The same labels as the Python package `timecode` over a day, and as ffmpeg's own drop-frame arithmetic around the
//! minutes that matter.

mod outside;

use std::process::Command;

use outside::{python, words};
use timecode::{Counting, FrameRate, Label};

fn said(program: &str, arguments: &[&str]) -> String {
    let run = Command::new(program)
        .args(arguments)
        .output()
        .unwrap_or_else(|e| panic!("{program}: {e}; ./check installs what the tests need"));
    let problems = String::from_utf8_lossy(&run.stderr);
    assert!(run.status.success(), "{program}: {problems}");
    String::from_utf8(run.stdout).expect("text")
}

#[test]
fn labels_are_those_of_the_python_package() {
    let script = "import sys, timecode
rate, plain, day, step = sys.argv[1], sys.argv[2] == 'plain', int(sys.argv[3]), int(sys.argv[4])
for count in range(0, day, step):
    print(timecode.Timecode(rate, frames=count + 1, force_non_drop_frame=plain))";
    for (rate, drop_frame, name) in [
        (FrameRate::F23_976, false, "23.976"),
        (FrameRate::F24, false, "24"),
        (FrameRate::F25, false, "25"),
        (FrameRate::F29_97, true, "29.97"),
        (FrameRate::F29_97, false, "29.97"),
        (FrameRate::F30, false, "30"),
        (FrameRate::F48, false, "48"),
        (FrameRate::F50, false, "50"),
        (FrameRate::F59_94, true, "59.94"),
        (FrameRate::F60, false, "60"),
    ] {
        let counting = Counting::new(rate, drop_frame).expect("a counting");
        let plain = if drop_frame { "drop" } else { "plain" };
        let day = counting.day().to_string();
        let theirs = python(&words(&[&"-c", &script, &name, &plain, &day, &997]), &[]);
        let theirs = String::from_utf8(theirs).expect("text");
        let mut compared = 0;
        for (count, theirs) in (0..counting.day()).step_by(997).zip(theirs.lines()) {
            let own = Label::of_count(count, counting);
            let theirs = theirs.replace(';', ":");
            assert_eq!(own.to_string().replace(';', ":"), theirs, "{counting}");
            compared += 1;
        }
        assert!(compared > 2000, "{counting}: {compared}");
    }
}

/// ffmpeg counts the labels of an MPEG-2 stream's pictures on from the first.
#[test]
fn labels_are_those_of_ffmpeg() {
    let folder = std::env::temp_dir().join(format!("commontime-labels-{}", std::process::id()));
    let stream = folder.with_extension("m2v").display().to_string();
    for (rate, drop_frame, first) in [
        (FrameRate::F29_97, true, "00:00:59:20"),
        (FrameRate::F29_97, true, "00:09:59:20"),
        (FrameRate::F29_97, true, "23:59:59:00"),
        (FrameRate::F29_97, false, "00:00:59:20"),
        (FrameRate::F23_976, false, "00:00:59:20"),
        (FrameRate::F24, false, "01:00:59:20"),
        (FrameRate::F25, false, "01:00:59:20"),
        (FrameRate::F30, false, "01:00:59:20"),
    ] {
        let counting = Counting::new(rate, drop_frame).expect("a counting");
        let label = Label::parse(first, counting).expect("a label");
        let (num, den) = rate.fraction();
        let picture = format!("color=black:s=32x32:r={num}/{den}");
        let drop = if drop_frame { "1" } else { "0" };
        let started = label.to_string();
        let mut arguments = vec![
            "-v",
            "error",
            "-y",
            "-f",
            "lavfi",
            "-i",
            &picture,
            "-frames:v",
            "60",
        ];
        arguments.extend(["-c:v", "mpeg2video", "-g", "1", "-gop_timecode", &started]);
        arguments.extend(["-drop_frame_timecode", drop, "-f", "mpeg2video", &stream]);
        said("ffmpeg", &arguments);
        let frames = said("ffprobe", &["-v", "error", "-show_frames", &stream]);
        let theirs: Vec<&str> = frames
            .lines()
            .filter_map(|line| line.strip_prefix("TAG:timecode="))
            .collect();
        // the first picture of a bare stream may be left out
        assert!(theirs.len() >= 58, "{counting}: {}", theirs.len());
        let missing = 60 - theirs.len();
        for (index, theirs) in theirs.into_iter().enumerate() {
            let own = Label::of_count(label.count() + (missing + index) as u64, counting);
            assert_eq!(
                own.to_string().replace(';', ":"),
                theirs.replace(';', ":"),
                "{counting}"
            );
        }
    }
    #[expect(clippy::disallowed_methods, reason = "the test removes its own file")]
    std::fs::remove_file(stream).expect("its own file");
}
