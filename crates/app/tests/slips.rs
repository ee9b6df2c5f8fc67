//! Samples missing from a file, or twice in it: joined cards against the same shoot without slips.

mod shoots;

use std::path::Path;

use engine::signal::Sound;
use engine::take::{TakePart, TakeSound};
use rehearsal::scenes::{CommonSignal, common_signal};
use rehearsal::{Shoot, Slip};
use serde_json::Value;
use shoots::{Place, commontime, status};

const SECONDS: f64 = 24.0;
/// A resampling kernel feels a cut so many samples away.
const KERNEL: usize = 256;

struct Joined {
    said: Value,
    /// The output's channels, NORTH's link and SOUTH's.
    north: Vec<f64>,
    south: Vec<f64>,
    _place: Place,
}

fn scene() -> Shoot {
    common_signal(&CommonSignal {
        seconds: SECONDS,
        mics: 0,
        seed: 21,
        ..Default::default()
    })
}

fn joined(shoot: &Shoot) -> Joined {
    let place = Place::new();
    shoot.write(&place.cards()).expect("a shoot");
    let (north, south) = (place.card("NORTH"), place.card("SOUTH"));
    let run = commontime(&["join", &north, &south, "--out", &place.out(), "--json"]);
    assert_eq!(status(&run), 0, "{}", String::from_utf8_lossy(&run.stderr));
    let said: Value = serde_json::from_slice(&run.stdout).expect("JSON");
    let output = &said["built"]["outputs"][0];
    let length = output["length_samples"].as_u64().expect("a length");
    let path = output["path"].as_str().expect("a path");
    let [north, south] = [0, 1].map(|channel| plane(Path::new(path), length, channel));
    Joined {
        said,
        north,
        south,
        _place: place,
    }
}

fn plane(path: &Path, length: u64, channel: usize) -> Vec<f64> {
    let sound = TakeSound::open(&[TakePart {
        path: path.to_path_buf(),
        first_sample: 0,
        length,
        first_channel: 0,
        channels: 2,
    }])
    .expect("the output");
    let mut plane = vec![0.0; length as usize];
    sound
        .read(&[channel], 0, &mut [&mut plane])
        .expect("the output");
    plane
}

fn member(joined: &Joined, at: usize) -> &Value {
    &joined.said["alignment"]["joint_takes"][0]["members"][at]
}

fn codes(member: &Value) -> Vec<&str> {
    let findings = member["findings"].as_array().expect("findings");
    findings.iter().filter_map(|f| f["code"].as_str()).collect()
}

fn largest_difference(a: &[f64], b: &[f64]) -> f64 {
    a.iter()
        .zip(b)
        .map(|(a, b)| (a - b).abs())
        .fold(0.0, f64::max)
}

#[test]
fn a_follower_s_slips_leave_all_other_samples_where_they_were() {
    let clean = joined(&scene());
    let mut shoot = scene();
    let slips = [(480_123_u64, -441_i64), (800_000, 64)];
    shoot.units[1].slips = slips
        .iter()
        .map(|&(at_sample, samples)| Slip { at_sample, samples })
        .collect();
    let slipped = joined(&shoot);
    let south = member(&slipped, 1);
    assert_eq!(codes(south), ["samples-missing", "samples-doubled"]);
    let sizes: Vec<f64> = south["slips"]
        .as_array()
        .expect("slips")
        .iter()
        .filter_map(|slip| slip["samples"].as_f64())
        .collect();
    assert_eq!(sizes, [-441.0, 64.0]);
    let rate = |joined: &Joined| member(joined, 1)["rate_ppm"].as_f64().expect("a rate");
    let moved = rate(&slipped) - rate(&clean);
    assert!(moved.abs() <= 0.05, "the rate moved by {moved} ppm");

    // the gap: exact silence of the right length where the samples are missing
    let offset = member(&slipped, 1)["offset_samples"]
        .as_f64()
        .expect("an offset");
    let gap = (480_123.0 + offset).round() as usize;
    let silent: Vec<usize> = (gap - 2000..gap + 2000)
        .filter(|&i| slipped.south[i] == 0.0)
        .collect();
    assert!((440..=442).contains(&silent.len()), "{}", silent.len());
    assert!(silent.windows(2).all(|pair| pair[1] == pair[0] + 1));
    assert!(silent[0].abs_diff(gap) <= 16, "{} against {gap}", silent[0]);

    // all else where it was, to within what the clock's few thousandths of a sample do
    assert_eq!(slipped.south.len(), clean.south.len());
    let cut = gap + 441 + 800_000 - 480_123;
    let loud = largest_difference(&clean.south, &vec![0.0; clean.south.len()]);
    for range in [
        100_000..silent[0] - KERNEL,
        silent[0] + 441 + KERNEL..cut - KERNEL,
        cut + KERNEL..clean.south.len() - 1000,
    ] {
        let most = largest_difference(&slipped.south[range.clone()], &clean.south[range.clone()]);
        assert!(most < 0.02 * loud, "{most} of {loud} in {range:?}");
    }
}

#[test]
fn a_lead_that_slips_goes_on_in_its_own_time() {
    let clean = joined(&scene());
    let mut shoot = scene();
    shoot.units[0].slips = vec![Slip {
        at_sample: 480_000,
        samples: -441,
    }];
    let slipped = joined(&shoot);
    let north = member(&slipped, 0);
    assert_eq!(codes(north), ["samples-missing", "lead-slips"]);
    let at = north["slips"][0]["at_sample"].as_u64().expect("a place") as usize;
    assert!(at.abs_diff(480_000) <= 4, "{at}");
    assert!(codes(member(&slipped, 1)).is_empty());
    // bit for bit on both sides of the gap, and silence in it
    let length = slipped.north.len();
    assert_eq!(slipped.north[..at - 4], clean.north[..at - 4]);
    assert_eq!(slipped.north[at + 445..], clean.north[at + 445..length]);
    assert!(
        slipped.north[at..at + 441]
            .iter()
            .all(|sample| *sample == 0.0)
    );
    let loud = largest_difference(&clean.south, &vec![0.0; clean.south.len()]);
    let range = 100_000..length - 1000;
    let most = largest_difference(&slipped.south[range.clone()], &clean.south[range]);
    assert!(most < 0.02 * loud, "{most} of {loud}");
}
