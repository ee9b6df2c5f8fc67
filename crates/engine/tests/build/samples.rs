//! Sample values of outputs against their sources.

use engine::alignment::{Placement, Slip};
use engine::build::{BuildOptions, Gap, OutputFormat, Shape, Span};
use wave::Encoding;

use crate::fixture::{
    RATE, Recording, Shoot, alignment, built, follower, header, joint, names_in, noise, planes,
};

/// NORTH leads; SOUTH started 100 samples later and ran on for 300.
fn pair(shoot: &Shoot, encodings: [Encoding; 2]) -> Vec<engine::alignment::Member> {
    let noise = |which: usize, seed, length| noise(encodings[which], seed, length);
    let north = shoot.record(&Recording {
        unit: "NORTH",
        encoding: encodings[0],
        names: &["Soprano", "Alto"],
        planes: vec![noise(0, 1, 70_000), noise(0, 2, 70_000)],
        stamp: Some(480_000),
    });
    let south = shoot.record(&Recording {
        unit: "SOUTH",
        encoding: encodings[1],
        names: &["Tenor", "Bass", "Room"],
        planes: vec![
            noise(1, 3, 70_200),
            noise(1, 4, 70_200),
            noise(1, 5, 70_200),
        ],
        stamp: Some(480_100),
    });
    vec![north, follower(south, 100.0)]
}

#[test]
fn identical_clocks_come_out_bit_for_bit() {
    for encodings in [
        [Encoding::Int24; 2],
        [Encoding::Float32; 2],
        [Encoding::Int16; 2],
        [Encoding::Int24, Encoding::Float32],
    ] {
        let shoot = Shoot::new();
        let members = pair(&shoot, encodings);
        let report = built(
            vec![joint("evening", members, Some(480_000))],
            &BuildOptions::new(shoot.out()),
        );
        assert!(report.unbuilt.is_empty(), "{:?}", report.unbuilt);
        let [output] = &report.outputs[..] else {
            panic!("{report:?}");
        };
        assert_eq!(output.path, shoot.out().join("evening.wav"));
        let found = planes(&output.path);
        let (north, south) = (planes(&shoot.path("NORTH")), planes(&shoot.path("SOUTH")));
        assert_eq!(found.len(), 5);
        assert_eq!(found[..2], north[..], "{encodings:?}");
        for (found, south) in found[2..].iter().zip(&south) {
            assert!(found[..100].iter().all(|value| value.to_bits() == 0));
            assert_eq!(found[100..], south[..69_900]);
        }
        for channel in &output.channels {
            assert_eq!(
                channel.source_digest.as_ref(),
                Some(&channel.digest),
                "{channel:?}"
            );
        }
        let expected = if encodings[0] == encodings[1] {
            encodings[0]
        } else {
            Encoding::Float32
        };
        assert_eq!(header(&output.path).format.encoding, expected);
    }
}

#[test]
fn digests_are_those_of_another_implementation() {
    let shoot = Shoot::new();
    let members = pair(&shoot, [Encoding::Int24; 2]);
    let report = built(
        vec![joint("evening", members, None)],
        &BuildOptions::new(shoot.out()),
    );
    let output = &report.outputs[0];
    let list = std::fs::read_to_string(report.hash_list.expect("a list")).expect("readable");
    assert_eq!(list, format!("{}  evening.wav\n", output.hash));
    let script = "import sys, xxhash, soundfile, numpy\n\
        print(xxhash.xxh3_128_hexdigest(open(sys.argv[1], 'rb').read()))\n\
        x, rate = soundfile.read(sys.argv[1], dtype='float64')\n\
        for c in range(x.shape[1]): print(xxhash.xxh3_128_hexdigest(x[:, c].astype('<f8').tobytes()))\n";
    let said = crate::readers::python(&["-c", script], &output.path);
    let mut lines = said.lines();
    assert_eq!(lines.next(), Some(output.hash.as_str()));
    for channel in &output.channels {
        assert_eq!(
            lines.next(),
            Some(channel.digest.as_str()),
            "{}",
            channel.name
        );
    }
}

#[test]
fn the_span_may_be_the_leads_the_common_or_the_longest() {
    let shoot = Shoot::new();
    let mut members = pair(&shoot, [Encoding::Int24; 2]);
    // SOUTH now started 150 samples before NORTH, which started five samples after midnight
    members[1].offset_samples = -150.0;
    let (north, south) = (planes(&shoot.path("NORTH")), planes(&shoot.path("SOUTH")));
    let mut options = BuildOptions::new(shoot.out());
    options.replace = true;
    let mut all = |span| {
        options.span = span;
        let report = built(vec![joint("evening", members.clone(), Some(5))], &options);
        (
            report.outputs[0].clone(),
            planes(&shoot.out().join("evening.wav")),
        )
    };
    let (_, found) = all(Span::Lead);
    assert_eq!(found[0], north[0]);
    assert_eq!(found[2][..], south[0][150..70_150]);
    let (output, found) = all(Span::Common);
    assert_eq!(
        (output.first_lead_position, output.length_samples),
        (0, 70_000)
    );
    assert_eq!(found[2][..], south[0][150..70_150]);
    let (output, found) = all(Span::Longest);
    assert_eq!(
        (output.first_lead_position, output.length_samples),
        (-150, 70_200)
    );
    assert_eq!(found[2], south[0]);
    assert!(
        found[0][..150]
            .iter()
            .chain(&found[0][70_150..])
            .all(|value| value.to_bits() == 0)
    );
    assert_eq!(found[0][150..70_150], north[0][..]);
    // 86 400 s * 48 000 Hz + 5 - 150: the day before
    assert_eq!(output.samples_since_midnight, Some(4_147_199_855));
    let bext = header(&output.path).bext.expect("bext");
    assert_eq!(bext.time_reference, 4_147_199_855);
}

#[test]
fn shapes_hold_the_same_samples_at_the_same_stamp() {
    let shoot = Shoot::new();
    let members = pair(&shoot, [Encoding::Int24; 2]);
    let mut options = BuildOptions::new(shoot.out());
    let mut all = Vec::new();
    for shape in [Shape::Poly, Shape::PerUnit, Shape::Mono] {
        options.shape = shape;
        let report = built(
            vec![joint("evening", members.clone(), Some(480_000))],
            &options,
        );
        assert!(report.unbuilt.is_empty(), "{:?}", report.unbuilt);
        let mut channels = Vec::new();
        for output in &report.outputs {
            let header = header(&output.path);
            assert_eq!(header.bext.expect("bext").time_reference, 480_000);
            assert_eq!(header.length, 70_000);
            channels.extend(planes(&output.path));
        }
        all.push(channels);
    }
    assert!(all[0] == all[1] && all[1] == all[2]);
    let names = names_in(&shoot.out());
    assert_eq!(
        names,
        [
            "evening.NORTH.01.wav",
            "evening.NORTH.02.wav",
            "evening.NORTH.wav",
            "evening.SOUTH.01.wav",
            "evening.SOUTH.02.wav",
            "evening.SOUTH.03.wav",
            "evening.SOUTH.wav",
            "evening.wav",
            "hashes.xxh3.txt"
        ]
    );
    let set = header(&shoot.out().join("evening.SOUTH.02.wav"))
        .ixml
        .expect("iXML")
        .file_set
        .expect("a set");
    assert_eq!(
        (set.total_files, set.file_set_index.as_deref()),
        (Some(5), Some("4"))
    );
}

#[test]
fn a_drifting_follower_meets_the_lead_and_two_builds_are_equal_byte_by_byte() {
    // one sound, sampled by both units at their own instants: SOUTH 20 ppm fast, from lead position 30.25 on
    let sound =
        |n: f64| 0.2 * (n * 0.13).sin() + 0.2 * (n * 1.7 + 1.0).sin() + 0.1 * (n * 2.6 + 2.0).sin();
    let rate = 1.0 + 20e-6;
    let shoot = Shoot::new();
    let take = |unit, planes| Recording {
        unit,
        encoding: Encoding::Float64,
        names: &["Pilot"],
        planes,
        stamp: None,
    };
    let lead = shoot.record(&take(
        "NORTH",
        vec![(0..200_000).map(|n| sound(f64::from(n))).collect()],
    ));
    let south: Vec<f64> = (0..199_000)
        .map(|k| sound(30.25 + f64::from(k) / rate))
        .collect();
    let mut south = follower(shoot.record(&take("SOUTH", vec![south])), 30.25);
    south.placement = Placement::Resampled;
    south.rate_ppm = 20.0;
    south.knots = [0.0, 198_999.0].map(|k| [k, 30.25 + k / rate]).to_vec();
    let takes = vec![joint("evening", vec![lead, south], None)];
    let report = built(takes.clone(), &BuildOptions::new(shoot.out()));
    let output = &report.outputs[0];
    let found = planes(&output.path);
    let worst = (200..198_000)
        .map(|n| (found[0][n] - found[1][n]).abs())
        .fold(0.0, f64::max);
    assert!(20.0 * worst.log10() < -150.0, "{worst:e}");
    assert!(output.channels[1].source_digest.is_none() && !output.channels[1].copied);
    // names of both tracks clash, so each says where it comes from
    let names: Vec<&str> = output
        .channels
        .iter()
        .map(|channel| channel.name.as_str())
        .collect();
    assert_eq!(names, ["NORTH: Pilot", "SOUTH: Pilot"]);

    let mut elsewhere = BuildOptions::new(shoot.root.path().join("again"));
    elsewhere.format = OutputFormat::Source;
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(1)
        .build()
        .expect("pool");
    let again = pool.install(|| built(takes, &elsewhere));
    let read = |report: &engine::build::BuildReport| {
        std::fs::read(&report.outputs[0].path).expect("readable")
    };
    assert!(
        read(&report) == read(&again),
        "one thread or many, the bytes are the same"
    );
}

#[test]
fn missing_samples_are_silent_in_the_file_and_listed() {
    let shoot = Shoot::new();
    let mut members = pair(&shoot, [Encoding::Int24; 2]);
    members[1].slips = vec![Slip {
        at_sample: 20_000,
        samples: -512.0,
        sigma_samples: 0.1,
    }];
    let report = built(
        vec![joint("evening", members, None)],
        &BuildOptions::new(shoot.out()),
    );
    let output = &report.outputs[0];
    let gap = Gap {
        unit: "SOUTH".into(),
        first_sample: 20_100,
        samples: 512,
        between_takes: false,
    };
    assert_eq!(output.gaps, [gap]);
    let (found, south) = (planes(&output.path), planes(&shoot.path("SOUTH")));
    assert_eq!(found[4][100..20_100], south[2][..20_000]);
    assert!(
        found[4][20_100..20_612]
            .iter()
            .all(|value| value.to_bits() == 0)
    );
    assert_eq!(found[4][20_612..], south[2][20_000..69_388]);
}

#[test]
fn float_above_full_scale_is_kept_or_asked_about_but_never_clipped() {
    let shoot = Shoot::new();
    let mut plane = noise(Encoding::Float32, 9, 5000);
    // 20 log10(2.0653801) = +6.3 dBFS
    plane[777] = f64::from(-2.065_38_f32);
    let north = shoot.record(&Recording {
        unit: "NORTH",
        encoding: Encoding::Float32,
        names: &["Bell"],
        planes: vec![plane.clone()],
        stamp: None,
    });
    let takes = vec![joint("evening", vec![north], None)];
    let mut options = BuildOptions::new(shoot.out());
    options.format = OutputFormat::Int24;
    let report = built(takes.clone(), &options);
    assert!(report.outputs.is_empty());
    let finding = &report.unbuilt[0].finding;
    assert_eq!(finding.code, "beyond-full-scale");
    assert_eq!(finding.weight, engine::finding::Weight::Ask);
    assert_eq!(finding.value, "+6.3 dBFS");
    assert!(
        finding.next_step.contains("-6.4 dB") || finding.next_step.contains("-6.3 dB"),
        "{}",
        finding.next_step
    );
    assert!(
        names_in(&shoot.out()).is_empty(),
        "{:?}",
        names_in(&shoot.out())
    );

    options.format = OutputFormat::Source;
    let report = built(takes, &options);
    assert_eq!(planes(&report.outputs[0].path)[0], plane);
    let levels = &report.outputs[0].channels[0].levels;
    assert_eq!((levels.peak_at, levels.at_full_scale), (777, 1));
}

#[test]
fn float_to_24_bits_is_dithered_and_its_silence_kept() {
    let shoot = Shoot::new();
    let mut plane = noise(Encoding::Float32, 9, 20_000);
    plane[5000..9000].fill(0.0);
    let north = shoot.record(&Recording {
        unit: "NORTH",
        encoding: Encoding::Float32,
        names: &["Bell"],
        planes: vec![plane.clone()],
        stamp: None,
    });
    let mut options = BuildOptions::new(shoot.out());
    options.format = OutputFormat::Int24;
    let report = built(vec![joint("evening", vec![north], None)], &options);
    let found = &planes(&report.outputs[0].path)[0];
    assert!(found[5000..9000].iter().all(|value| value.to_bits() == 0));
    let step = 1.0 / 8_388_608.0;
    // triangular dither and rounding: variance 1/6 + 1/12 = 1/4 of a step, never more than 1.5 steps off
    let errors: Vec<f64> = found
        .iter()
        .zip(&plane)
        .filter(|(_, p)| **p != 0.0)
        .map(|(a, b)| (a - b) / step)
        .collect();
    let variance = errors.iter().map(|e| e * e).sum::<f64>() / errors.len() as f64;
    assert!((variance - 0.25).abs() < 0.01, "{variance}");
    assert!(errors.iter().all(|error| error.abs() <= 1.5));
    assert!(
        report
            .findings
            .iter()
            .any(|finding| finding.code == "rounded")
    );
}

#[test]
fn a_resampled_peak_above_full_scale_turns_integers_into_float() {
    // full-scale noise of whole 16-bit steps: between its samples it is louder
    let shoot = Shoot::new();
    let square: Vec<f64> = noise(Encoding::Int16, 3, 30_000)
        .iter()
        .map(|v| if *v < 0.0 { -1.0 } else { 32_767.0 / 32_768.0 })
        .collect();
    let take = |unit, planes| Recording {
        unit,
        encoding: Encoding::Int16,
        names: &["A"],
        planes,
        stamp: None,
    };
    let lead = shoot.record(&take("NORTH", vec![noise(Encoding::Int16, 1, 30_000)]));
    let mut south = follower(shoot.record(&take("SOUTH", vec![square])), 0.5);
    south.placement = Placement::Resampled;
    south.knots = vec![[0.0, 0.5], [29_999.0, 29_999.5]];
    let north = planes(&shoot.path("NORTH"));
    let report = built(
        vec![joint("evening", vec![lead, south], None)],
        &BuildOptions::new(shoot.out()),
    );
    let output = &report.outputs[0];
    assert_eq!(output.encoding, "32-bit float");
    assert!(
        report
            .findings
            .iter()
            .any(|finding| finding.code == "float-for-peaks")
    );
    assert!(output.channels[1].levels.peak > 1.0);
    assert_eq!(planes(&output.path)[0], north[0]);
    assert_eq!(
        output.channels[0].source_digest.as_ref(),
        Some(&output.channels[0].digest)
    );
}

#[test]
fn nothing_built_from_an_empty_alignment() {
    let shoot = Shoot::new();
    let report = engine::build::build(
        &alignment(Vec::new()),
        &BuildOptions::new(shoot.out()),
        &engine::progress::Silent,
    )
    .expect("nothing to do");
    assert!(report.outputs.is_empty() && report.hash_list.is_none());
    assert_eq!(RATE, 48_000);
}
