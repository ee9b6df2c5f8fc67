//! Two cards with real files and the alignment that joins them.

use std::fs::File;
use std::path::{Path, PathBuf};

use engine::alignment::{
    Alignment, Basis, Channel, FORMAT, JointTake, Member, Part, Placement, Role, Start, Status,
    VERSION,
};
use engine::build::{BuildOptions, BuildReport, build};
use engine::progress::Silent;
use wave::{Bext, Chunk, ChunkId, Encoding, Format, Ixml, Track, WaveFile, WaveWriter, WriteSpec};

pub const RATE: u32 = 48_000;

/// A folder with cards, gone when it is dropped.
pub struct Shoot {
    pub root: tempfile::TempDir,
}

/// What one unit records.
pub struct Recording<'a> {
    pub unit: &'a str,
    pub encoding: Encoding,
    pub names: &'a [&'a str],
    /// One plane a channel.
    pub planes: Vec<Vec<f64>>,
    pub stamp: Option<u64>,
}

impl Shoot {
    pub fn new() -> Self {
        Self {
            root: tempfile::tempdir().expect("folder"),
        }
    }

    pub fn out(&self) -> PathBuf {
        self.root.path().join("out")
    }

    pub fn path(&self, unit: &str) -> PathBuf {
        self.root.path().join(unit).join("take1.wav")
    }

    /// Writes a recording to its card and says how it stands in an alignment, as a lead at the lead's own clock.
    pub fn record(&self, recording: &Recording<'_>) -> Member {
        let path = self.path(recording.unit);
        std::fs::create_dir_all(path.parent().expect("card")).expect("card");
        let count = recording.planes.len();
        let mut spec = WriteSpec::new(Format::plain(count as u16, RATE, recording.encoding));
        spec.bext = Some(Bext {
            description: format!("sSCENE=12A\r\nsTRK1={}", recording.names[0]),
            originator: "field unit".into(),
            date: "2031-03-01".into(),
            time: "00:00:10".into(),
            time_reference: recording.stamp.unwrap_or(0),
            coding_history: format!("A=PCM,F=48000,T=unit {}\r\n", recording.unit),
            ..Bext::default()
        });
        spec.ixml = Some(Ixml {
            scene: Some("12A".into()),
            note: Some("third verse".into()),
            file_uid: Some(format!("UID-{}", recording.unit)),
            tracks: recording
                .names
                .iter()
                .zip(1..)
                .map(|(name, index)| Track {
                    channel_index: Some(index),
                    interleave_index: Some(index),
                    name: Some((*name).into()),
                    function: (index == 1).then(|| "M-MID_SIDE".into()),
                    others: Vec::new(),
                })
                .collect(),
            ..Ixml::default()
        });
        spec.extra = vec![
            Chunk {
                id: ChunkId(*b"unkn"),
                payload: b"kept as it is".to_vec(),
            },
            Chunk {
                id: ChunkId(*b"levl"),
                payload: vec![0; 32],
            },
        ];
        #[expect(clippy::disallowed_methods, reason = "a test writes its own card")]
        let file = File::create(&path).expect("card file");
        let mut writer = WaveWriter::new(file, &spec).expect("header");
        let planes: Vec<&[f64]> = recording.planes.iter().map(Vec::as_slice).collect();
        writer.write_planar(&planes).expect("samples");
        writer.finish().expect("finished");
        let length = recording.planes[0].len() as u64;
        Member {
            unit: recording.unit.into(),
            role: Role::Lead,
            take: "take1".into(),
            length_samples: length,
            sample_rate: None,
            parts: vec![Part {
                path: path.display().to_string(),
                first_sample: 0,
                length_samples: length,
                first_channel: 1,
                digest: engine::media::digest(&path).expect("digest"),
            }],
            channels: recording
                .names
                .iter()
                .zip(1..)
                .map(|(name, index)| Channel {
                    index,
                    name: (*name).into(),
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
}

/// A joint take of a lead and followers that stand at their offsets.
pub fn joint(name: &str, members: Vec<Member>, stamp: Option<u64>) -> JointTake {
    JointTake {
        name: name.into(),
        sample_rate: RATE,
        lead: members[0].unit.clone(),
        lead_rule: String::new(),
        length_samples: members[0].length_samples,
        start: Start {
            samples_since_midnight: stamp,
            timecode: String::new(),
            frame_rate: "25/1".into(),
            drop_frame: false,
            date: "2031-03-01".into(),
        },
        members,
    }
}

pub fn follower(mut member: Member, offset: f64) -> Member {
    member.role = Role::Follower;
    member.offset_samples = offset;
    member
}

pub fn alignment(joint_takes: Vec<JointTake>) -> Alignment {
    Alignment {
        format: FORMAT.into(),
        version: VERSION,
        made_by: "test".into(),
        settings: None,
        alone: Vec::new(),
        joint_takes,
        findings: Vec::new(),
    }
}

pub fn built(joint_takes: Vec<JointTake>, options: &BuildOptions) -> BuildReport {
    build(&alignment(joint_takes), options, &Silent).expect("the folder can be used")
}

/// All channels of a file.
pub fn planes(path: &Path) -> Vec<Vec<f64>> {
    let file = WaveFile::open(std::fs::read(path).expect("readable")).expect("wave file");
    let count = usize::from(file.header().format.channels);
    let mut planes = vec![vec![0.0; file.header().length as usize]; count];
    let mut slices: Vec<&mut [f64]> = planes.iter_mut().map(Vec::as_mut_slice).collect();
    let all: Vec<usize> = (0..count).collect();
    file.read(&all, 0, &mut slices).expect("readable");
    planes
}

pub fn header(path: &Path) -> wave::Header {
    wave::Header::read(&std::fs::read(path).expect("readable")).expect("wave file")
}

/// Names of everything in a folder, hidden files too.
pub fn names_in(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).expect("folder").flatten();
    let mut names: Vec<String> = entries
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    names
}

/// Noise that `encoding` holds exactly; a generator of pseudo-random numbers (Knuth, MMIX).
pub fn noise(encoding: Encoding, seed: u64, length: usize) -> Vec<f64> {
    let mut state = seed;
    (0..length)
        .map(|_| {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            let value = (state as i64 >> 40) as f64 / 8_388_608.0 * 0.5;
            match encoding {
                Encoding::Int16 => (value * 32_768.0).round() / 32_768.0,
                Encoding::Int24 => (value * 8_388_608.0).round() / 8_388_608.0,
                _ => f64::from(value as f32),
            }
        })
        .collect()
}
