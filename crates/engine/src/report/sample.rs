//! Hand-made joint takes for this module's tests: round figures that can be checked by eye.

use super::{MeasuredAgain, Output, OutputChannel, OutputFile};
use crate::alignment::{
    Alignment, Basis, Channel, CommonLevel, Evidence, FORMAT, JointTake, Member, Part, Placement,
    Role, SettingsTable, Slip, Start, Status, TieRecord, VERSION,
};
use crate::build::{MeasuredChannel, TakeQuality};
use crate::finding::{Finding, Sign, Weight};
use crate::quality::{ChannelQuality, Pair, Runs};
use crate::take::SettingsRow;

const RATE: f64 = 48_000.0;
const LENGTH: u64 = 14_400_000;

/// Names with every character that markup or tables could trip over.
pub const AWKWARD: &str = "Chœur <\"A\" & 'B', «Ø» 合唱";

fn member(unit: &str, role: Role, names: &[&str]) -> Member {
    Member {
        unit: unit.into(),
        role,
        take: format!("{unit}-T02"),
        length_samples: LENGTH,
        sample_rate: None,
        parts: vec![Part {
            path: format!("{unit}/T02.wav"),
            first_sample: 0,
            length_samples: LENGTH,
            first_channel: 1,
            digest: "xxh3:00112233445566aa".into(),
        }],
        channels: names
            .iter()
            .zip(1..)
            .map(|(name, index)| Channel {
                index,
                name: (*name).into(),
            })
            .collect(),
        basis: Basis::None,
        status: Status::Established,
        offset_samples: 0.0,
        offset_sigma_samples: 0.0,
        offset_bound_samples: 0.0,
        rate_ppm: 0.0,
        rate_sigma_ppm: 0.0,
        rate_measured: false,
        knots: vec![[0.0, 0.0], [LENGTH as f64 - 1.0, LENGTH as f64 - 1.0]],
        slips: Vec::new(),
        placement: Placement::Exact,
        findings: Vec::new(),
        decision: None,
        evidence: None,
    }
}

fn joint(name: &str, follower: Member) -> JointTake {
    JointTake {
        name: name.into(),
        sample_rate: 48_000,
        lead: "NORTH".into(),
        lead_rule: String::new(),
        length_samples: LENGTH,
        start: Start {
            samples_since_midnight: Some(1_728_000_000),
            timecode: "10:00:00:00".into(),
            frame_rate: "30/1".into(),
            drop_frame: false,
            date: "2031-05-04".into(),
        },
        members: vec![
            member("NORTH", Role::Lead, &["Main L", "Main R", AWKWARD]),
            follower,
        ],
    }
}

/// A clock of `ppm` that wanders by a tenth of a sample, at the follower position `k`.
fn wandering(offset: f64, ppm: f64, k: f64) -> f64 {
    offset + k / (1.0 + ppm * 1e-6) + 0.1 * (k / LENGTH as f64 * std::f64::consts::TAU).sin()
}

/// SOUTH on a common signal: offset 49440 samples, +7.31 ppm, resampled, one tie left out.
pub fn common_signal() -> JointTake {
    let (offset, ppm) = (49_440.0, 7.31);
    let mut south = member("SOUTH", Role::Follower, &["Spot", "", "Split <main>"]);
    south.basis = Basis::CommonSignal;
    south.offset_samples = offset;
    south.offset_sigma_samples = 0.003;
    south.offset_bound_samples = 0.01;
    south.rate_ppm = ppm;
    south.rate_sigma_ppm = 0.004;
    south.rate_measured = true;
    south.placement = Placement::Resampled;
    let last = LENGTH as f64 - 1.0;
    south.knots = (0..=60)
        .map(|knot| {
            let k = last * f64::from(knot) / 60.0;
            [k, wandering(offset, ppm, k)]
        })
        .collect();
    let ties = (0..58)
        .map(|tie| {
            let k = (f64::from(tie) + 0.5) * 5.0 * RATE;
            let scatter = [0.004, -0.003, 0.001, -0.005, 0.002][tie as usize % 5];
            let astray = if tie == 31 { 0.4 } else { 0.0 };
            TieRecord {
                lead: wandering(offset, ppm, k),
                follower: k + scatter + astray,
                sigma: 0.004,
                used: tie != 31,
                source: "common-signal 3=3".into(),
            }
        })
        .collect();
    south.evidence = Some(Evidence {
        story: vec![
            "the same electrical signal stands on NORTH 3 and SOUTH 3; the offset and the rate are measured on it"
                .into(),
        ],
        signs: vec![
            Sign::at_least("coherence of the channel pair", 0.998, 0.9),
            Sign::at_least("share of windows that agree", 0.983, 0.8),
        ],
        ties,
        band: (0..=20)
            .map(|at| {
                let across: f64 = f64::from(at) / 20.0;
                [offset + across * last, 0.002 + 0.002 * (2.0 * across - 1.0).powi(2)]
            })
            .collect(),
        residual_rms_samples: 0.0035,
        common_level: Some(CommonLevel {
            against: "NORTH".into(),
            lead_channel: 3,
            follower_channel: 3,
            level_db: -0.7,
            level_sigma_db: 0.02,
            inverted: true,
        }),
        ..Evidence::default()
    });
    south.findings = vec![
        Finding::new(
            "stamps-differ-from-common-signal",
            Weight::Note,
            "the stamps and the common signal disagree; the common signal decides",
        )
        .measured("+812.0 samples (+16.92 ms)", "±1 samples")
        .because("jamming and reading timecode is good to a timecode frame or so")
        .then("nothing: the measured offset was used"),
    ];
    joint("evening-02", south)
}

/// SOUTH by stamps good to a timecode frame; the rate measured on the room's sound, without ties kept.
pub fn stamps() -> JointTake {
    let mut south = member("SOUTH", Role::Follower, &["Spot", "Room"]);
    south.basis = Basis::Stamps;
    south.offset_samples = 595_200.0;
    south.offset_sigma_samples = 533.0;
    south.offset_bound_samples = 1600.0;
    south.rate_ppm = -3.2;
    south.rate_sigma_ppm = 0.02;
    south.rate_measured = true;
    south.placement = Placement::Resampled;
    let last = LENGTH as f64 - 1.0;
    south.knots = vec![[0.0, 595_200.0], [last, 595_200.0 + last / (1.0 - 3.2e-6)]];
    south.slips = vec![Slip {
        at_sample: 4_670_400,
        samples: -1024.0,
        sigma_samples: 0.5,
    }];
    joint("evening-03", south)
}

/// SOUTH somewhere, nobody knows where.
pub fn not_established() -> JointTake {
    let mut south = member("SOUTH", Role::Follower, &["Spot"]);
    south.status = Status::NotEstablished;
    south.placement = Placement::NotPlaced;
    south.rate_sigma_ppm = 10.0;
    south.evidence = Some(Evidence {
        story: vec!["nothing reliable was found; nothing was shifted".into()],
        signs: vec![Sign::at_least("best peak against the second", 1.02, 1.5)],
        candidates: vec![[240_000.0, 1.0], [264_000.0, 0.98]],
        ..Evidence::default()
    });
    south.findings = vec![
        Finding::new(
            "not-established",
            Weight::Ask,
            "where this follower lies on the lead's clock could not be established",
        )
        .because("the sound repeats every 0.5 s")
        .then("give an instant with --tie UNIT@POS=UNIT@POS"),
    ];
    joint("evening-04", south)
}

/// Settings of which one differs.
pub fn settings() -> SettingsTable {
    let row = |name: &str, values: [&str; 2], consequence: &str| SettingsRow {
        name: name.into(),
        values: values.map(String::from).to_vec(),
        differs: !consequence.is_empty(),
        consequence: consequence.into(),
    };
    SettingsTable {
        units: vec!["NORTH".into(), "SOUTH".into()],
        rows: vec![
            row("sampling rate", ["48000 Hz", "48000 Hz"], ""),
            row(
                "sample format",
                ["32-bit float", "24-bit integer"],
                "nothing of either is lost",
            ),
        ],
    }
}

/// A day of these.
pub fn day(joint_takes: Vec<JointTake>) -> Alignment {
    Alignment {
        joint_takes,
        ..alignment()
    }
}

/// All three.
pub fn alignment() -> Alignment {
    Alignment {
        format: FORMAT.into(),
        version: VERSION,
        made_by: "commontime 0.1.0".into(),
        settings: None,
        alone: Vec::new(),
        joint_takes: vec![common_signal(), stamps(), not_established()],
        findings: vec![
            Finding::new(
                "take-alone",
                Weight::Warn,
                "no other unit ran during this take",
            )
            .at("SOUTH T09"),
        ],
    }
}

/// What was built of `joint`: one file of every channel of every member that has a place.
pub fn output(joint: &JointTake) -> Output {
    let placed = joint
        .members
        .iter()
        .filter(|member| member.placement != Placement::NotPlaced);
    let channels = placed
        .flat_map(|member| member.channels.iter().map(move |channel| (member, channel)))
        .zip(1..)
        .map(|((member, channel), number)| OutputChannel {
            number,
            name: channel.name.clone(),
            unit: member.unit.clone(),
            source_channel: channel.index,
            group: String::new(),
            placement: member.placement,
            exact: member.placement == Placement::Exact,
            peak_dbfs: Some(-6.25),
        })
        .collect();
    Output {
        first_lead_position: 0,
        length_samples: joint.length_samples,
        files: vec![OutputFile {
            path: format!("{}.wav", joint.name),
            bytes: 345_600_602,
            digest: "xxh3:0123456789abcdef".into(),
            encoding: "32-bit float".into(),
            first_lead_position: 0,
            length_samples: joint.length_samples,
            fields: vec![
                [
                    "scene".into(),
                    "12A".into(),
                    "NORTH's: the lead's word counts; SOUTH says 12B".into(),
                ],
                [
                    "note".into(),
                    "third verse".into(),
                    "SOUTH's: the lead says nothing".into(),
                ],
            ],
            channels,
        }],
        residuals: vec![MeasuredAgain {
            unit: "SOUTH".into(),
            place: "start".into(),
            position: 240_000.0,
            lag_samples: -0.0012,
            sigma_samples: 0.0004,
        }],
        quality: None,
        groups: Vec::new(),
    }
}

/// A quality with something of everything on the first channel of each unit.
pub fn quality(joint: &JointTake) -> TakeQuality {
    let members = joint.members.iter();
    let channels = members.flat_map(|member| member.channels.iter().map(move |one| (member, one)));
    let channels: Vec<MeasuredChannel> = channels
        .map(|(member, channel)| MeasuredChannel {
            name: channel.name.clone(),
            unit: member.unit.clone(),
            unit_channel: channel.index,
            group: None,
            quality: ChannelQuality {
                true_peak_dbtp: Some(-0.4),
                integrated_lufs: Some(-23.04),
                range_lu: Some(7.2),
                rms_dbfs: Some(-24.6),
                noise_floor_dbfs: Some(-71.3),
                offset: -0.000_2,
                clips: Runs {
                    count: 12,
                    longest: 9,
                    first: (0..12).map(|run| [48_000 * run, 3 + run / 2]).collect(),
                },
                ..ChannelQuality::default()
            },
        })
        .collect();
    TakeQuality {
        joint_take: joint.name.clone(),
        sample_rate: joint.sample_rate,
        length_samples: joint.length_samples,
        pairs: vec![Pair {
            channels: [0, channels.len() - 1],
            correlation: -0.75,
            gain_db: -2.0,
        }],
        channels,
    }
}
