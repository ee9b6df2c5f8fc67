//! The timeline of the original files in the hands of the reference library: it says where every file lies, at what speed,
//! and that no clip asks for more than its file has, the step to the next file aside.

use engine::alignment::{Placement, Slip};
use engine::report::timeline;
use wave::Encoding;

use crate::fixture::{RATE, Recording, Shoot, follower, joint, noise};
use crate::readers::python;

const SCRIPT: &str = "
import sys, opentimelineio as otio
t = otio.adapters.read_from_file(sys.argv[1])
print(t.name, t.global_start_time.value, t.global_start_time.rate, t.duration().value)
for track in t.tracks:
    assert track.kind == otio.schema.TrackKind.Audio
    for clip in track.find_clips():
        placed = track.range_of_child(clip)
        media = clip.available_range()
        assert media.start_time <= clip.source_range.start_time, clip
        speed = clip.effects[0].time_scalar if clip.effects else 1.0
        used = clip.source_range.duration.to_seconds() * speed
        over = clip.source_range.start_time.to_seconds() + used - media.end_time_exclusive().to_seconds()
        # between a file's last sample and the next file's first lies less than one more
        assert over * media.duration.rate < 1 + 1e-6, clip
        print(track.name, clip.name, round(placed.start_time.value, 6), round(placed.duration.value, 6),
              round(clip.source_range.start_time.value - media.start_time.value, 6), '%.9f' % speed,
              clip.media_reference.target_url.split('/')[-2:])
";

#[test]
fn the_reference_library_finds_every_file_at_its_place() {
    let shoot = Shoot::new();
    let take = |unit, length| {
        shoot.record(&Recording {
            unit,
            encoding: Encoding::Int16,
            names: &["A"],
            planes: vec![noise(Encoding::Int16, 1, length)],
            stamp: Some(480_000),
        })
    };
    let north = take("NORTH & CO", 100_000);
    // SOUTH ran 1000.25 samples before NORTH, 20 ppm fast, in two files, with 512 samples missing at 60 000
    let mut south = follower(take("SOUTH", 50_000), -1000.25);
    let mut second = south.parts[0].clone();
    second.first_sample = 50_000;
    second.length_samples = 40_000;
    south.parts.push(second);
    south.length_samples = 90_000;
    south.placement = Placement::Resampled;
    south.rate_ppm = 20.0;
    let ratio = 1.0 + 20e-6;
    let lead = |own: f64, missing: f64| -1000.25 + (own + missing) / ratio;
    south.knots = vec![
        [0.0, lead(0.0, 0.0)],
        [59_999.0, lead(59_999.0, 0.0)],
        [60_000.0, lead(60_000.0, 512.0)],
        [89_999.0, lead(89_999.0, 512.0)],
    ];
    south.slips = vec![Slip {
        at_sample: 60_000,
        samples: -512.0,
        sigma_samples: 0.0,
    }];
    let mut west = follower(take("WEST", 1000), 0.0);
    west.placement = Placement::NotPlaced;
    let day = joint("Zwölf & mehr", vec![north, south, west], Some(1_000_000));
    let text = timeline(&day, &|_| Some(480_000)).expect("a timeline");
    let path = shoot.root.path().join("evening.otio");
    #[expect(
        clippy::disallowed_methods,
        reason = "a test hands a file to the reference"
    )]
    std::fs::write(&path, &text).expect("written");
    let said = python(&["-c", SCRIPT], &path);
    let lines: Vec<&str> = said.lines().collect();
    // the first lead position at or after SOUTH's first sample is -1000, and there it stands at 0.25 * 1.00002
    assert_eq!(lines[0], "Zwölf & mehr 999000.0 48000.0 101000.0");
    assert_eq!(
        lines[1],
        "NORTH & CO take1.wav 1000 100000 0.0 1.000000000 ['NORTH%20%26%20CO', 'take1.wav']"
            .replace("1000 100000", "1000.0 100000.0")
    );
    let number = |line: &str, place: usize| -> f64 {
        let words: Vec<&str> = line.split_whitespace().collect();
        words[place].parse().unwrap_or_else(|_| panic!("{line}"))
    };
    let south: Vec<&str> = lines[2..].to_vec();
    assert_eq!(south.len(), 3, "{said}");
    // where each clip begins: the first whole lead position whose own position is in it
    for (line, own, missing) in [
        (south[0], 0.0, 0.0),
        (south[1], 50_000.0, 0.0),
        (south[2], 60_000.0, 512.0),
    ] {
        let at = number(line, 2);
        let expected = (lead(own, missing) + 1000.0).ceil();
        assert_eq!(at, expected, "{line}");
        let into_file = own - if own < 50_000.0 { 0.0 } else { 50_000.0 };
        let rest = into_file + (at - 1000.0 - lead(own, missing)) * ratio;
        assert!((number(line, 4) - rest).abs() < 1e-3, "{line}: {rest}");
        assert!((number(line, 5) - ratio).abs() < 1e-9, "{line}");
    }
    assert_eq!(RATE, day.sample_rate);
    assert!(text.contains("\"WEST\""));
}
