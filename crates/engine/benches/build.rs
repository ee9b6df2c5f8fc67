//! Wall time and memory of building a long joint take of 2 x 6 channels at 48 kHz in floating point, one unit resampled:
//! `cargo bench --bench build -- [MINUTES]`. Needs 280 MB of disk for every minute.

#![expect(clippy::print_stdout, reason = "a figure for whoever asked for it")]

use std::fs::File;
use std::path::Path;
use std::time::Instant;

use engine::alignment::{
    Alignment, Basis, Channel, FORMAT, JointTake, Member, Part, Placement, Role, Start, Status,
    VERSION,
};
use engine::build::{BuildOptions, build};
use engine::progress::Silent;
use wave::{Encoding, Format, WaveWriter, WriteSpec};

const RATE: u32 = 48_000;
const CHANNELS: u32 = 6;

fn main() {
    let minutes = std::env::args()
        .find_map(|word| word.parse::<u64>().ok())
        .unwrap_or(1);
    let length = minutes * 60 * u64::from(RATE);
    let folder = tempfile::tempdir().expect("folder");
    let lead = record(folder.path(), "NORTH", length);
    let mut south = record(folder.path(), "SOUTH", length);
    south.role = Role::Follower;
    south.placement = Placement::Resampled;
    south.offset_samples = 1000.3;
    south.rate_ppm = 12.0;
    south.knots = (0..=length / 240_000)
        .map(|i| {
            let k = (i * 240_000) as f64;
            [k, 1000.3 + k / (1.0 + 12e-6)]
        })
        .collect();
    let alignment = Alignment {
        format: FORMAT.into(),
        version: VERSION,
        made_by: "bench".into(),
        settings: None,
        alone: Vec::new(),
        joint_takes: vec![JointTake {
            name: "long".into(),
            sample_rate: RATE,
            lead: "NORTH".into(),
            lead_rule: String::new(),
            length_samples: length,
            start: Start {
                samples_since_midnight: Some(0),
                timecode: String::new(),
                frame_rate: "25/1".into(),
                drop_frame: false,
                date: String::new(),
            },
            members: vec![lead, south],
        }],
        findings: Vec::new(),
    };
    let began = Instant::now();
    let report = build(
        &alignment,
        &BuildOptions::new(folder.path().join("out")),
        &Silent,
    );
    let seconds = began.elapsed().as_secs_f64();
    let report = report.expect("built");
    assert!(report.unbuilt.is_empty(), "{:?}", report.unbuilt);
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let peak = status
        .lines()
        .find(|line| line.starts_with("VmHWM"))
        .unwrap_or_default();
    println!("{minutes} min of 2 x {CHANNELS} channels: {seconds:.1} s, {peak}");
}

fn record(folder: &Path, unit: &str, length: u64) -> Member {
    let path = folder.join(unit).join("take1.wav");
    std::fs::create_dir_all(folder.join(unit)).expect("card");
    #[expect(clippy::disallowed_methods, reason = "a bench writes its own sources")]
    let file = File::create(&path).expect("file");
    let spec = WriteSpec::new(Format::plain(CHANNELS as u16, RATE, Encoding::Float32));
    let mut writer = WaveWriter::new(file, &spec).expect("header");
    let planes: Vec<Vec<f64>> = (0..u64::from(CHANNELS))
        .map(|channel| {
            (0..RATE)
                .map(|i| (f64::from(i) * 0.01 * (channel + 1) as f64).sin() * 0.3)
                .collect()
        })
        .collect();
    let planes: Vec<&[f64]> = planes.iter().map(Vec::as_slice).collect();
    for _ in 0..length / u64::from(RATE) {
        writer.write_planar(&planes).expect("written");
    }
    writer.finish().expect("finished");
    Member {
        unit: unit.into(),
        role: Role::Lead,
        take: "take1".into(),
        length_samples: length,
        sample_rate: None,
        parts: vec![Part {
            path: path.display().to_string(),
            first_sample: 0,
            length_samples: length,
            first_channel: 1,
            digest: String::new(),
        }],
        channels: (1..=CHANNELS)
            .map(|index| Channel {
                index,
                name: String::new(),
            })
            .collect(),
        basis: Basis::CommonSignal,
        status: Status::Established,
        offset_samples: 0.0,
        offset_sigma_samples: 0.0,
        offset_bound_samples: 0.0,
        rate_ppm: 0.0,
        rate_sigma_ppm: 0.0,
        rate_measured: true,
        knots: Vec::new(),
        slips: Vec::new(),
        placement: Placement::Exact,
        findings: Vec::new(),
        decision: None,
        evidence: None,
    }
}
