//! One alignment, every shape a receiver asks for: chosen channels in a chosen order, groups, files of a limited size,
//! levels that fit, a unit that was stopped and started again.

use engine::alignment::Member;
use engine::build::{BuildOptions, ChannelList, Gain, ListedChannel, OutputFormat, Shape, build};
use engine::progress::Silent;
use engine::units::Db;
use wave::Encoding;

use crate::fixture::{
    RATE, Recording, Shoot, alignment, built, follower, header, joint, names_in, noise, planes,
};

/// NORTH leads with two channels; SOUTH has three and started 100 samples later.
fn pair(shoot: &Shoot) -> Vec<Member> {
    let unit = |unit, names, seed: u64, count: u64| Recording {
        unit,
        encoding: Encoding::Int24,
        names,
        planes: (0..count)
            .map(|i| noise(Encoding::Int24, seed + i, 120_000))
            .collect(),
        stamp: Some(480_000),
    };
    let north = shoot.record(&unit("NORTH", &["Left", "Right"], 1, 2));
    let south = shoot.record(&unit("SOUTH", &["Flute", "Horn", "Left"], 11, 3));
    vec![north, follower(south, 100.0)]
}

fn listed(unit: &str, channel: u32, name: &str, group: &str) -> ListedChannel {
    ListedChannel {
        unit: unit.into(),
        channel,
        used: true,
        name: name.into(),
        group: group.into(),
    }
}

#[test]
fn a_list_chooses_orders_and_names_channels() {
    let shoot = Shoot::new();
    let members = pair(&shoot);
    let everything = built(
        vec![joint("all", members.clone(), Some(480_000))],
        &BuildOptions::new(shoot.out()),
    );
    let all = planes(&everything.outputs[0].path);
    let table = "unit,channel,name,group\n\
        SOUTH,2,Waldhorn,winds\n\
        NORTH,2,,pair\n\
        SOUTH,1,,winds\n";
    let mut options = BuildOptions::new(shoot.out());
    options.channels = Some(ChannelList::from_csv(table).expect("a list"));
    let report = built(
        vec![joint("some", members.clone(), Some(480_000))],
        &options,
    );
    let output = &report.outputs[0];
    let some = planes(&output.path);
    assert!(some == [all[3].clone(), all[1].clone(), all[2].clone()]);
    let said: Vec<(&str, &str, u32)> = output
        .channels
        .iter()
        .map(|c| (c.name.as_str(), c.unit.as_str(), c.unit_channel))
        .collect();
    assert_eq!(
        said,
        [
            ("Waldhorn", "SOUTH", 2),
            ("Right", "NORTH", 2),
            ("Flute", "SOUTH", 1)
        ]
    );
    let tracks = header(&output.path).ixml.expect("iXML").tracks;
    let names: Vec<Option<&str>> = tracks.iter().map(|track| track.name.as_deref()).collect();
    assert_eq!(names, [Some("Waldhorn"), Some("Right"), Some("Flute")]);

    options.shape = Shape::PerGroup;
    let report = built(vec![joint("some", members, Some(480_000))], &options);
    assert!(report.unbuilt.is_empty(), "{:?}", report.unbuilt);
    assert!(planes(&shoot.out().join("some.winds.wav")) == [all[3].clone(), all[2].clone()]);
    assert!(planes(&shoot.out().join("some.pair.wav")) == [all[1].clone()]);
}

#[test]
fn lists_that_cannot_be_meant_are_refused() {
    let refused = |table: &str| {
        let error = ChannelList::from_csv(table).expect_err(table);
        error.message().to_string()
    };
    assert!(refused("a,b\n1,2\n").contains("columns a, b"));
    assert!(refused("unit,channel\nNORTH,1\nNORTH,x\n").contains("row 3"));
    assert!(refused("unit,channel\nNORTH,0\n").contains("row 2"));
    assert!(refused("unit,channel\nNORTH,1\nNORTH,1\n").contains("twice"));
    assert!(refused("unit,channel,use\nNORTH,1,perhaps\n").contains("neither yes nor no"));

    let shoot = Shoot::new();
    let day = alignment(vec![joint("all", pair(&shoot), Some(480_000))]);
    let with = |entries: Vec<ListedChannel>, shape| {
        let mut options = BuildOptions::new(shoot.out());
        options.channels = Some(ChannelList::new(entries).expect("a list"));
        options.shape = shape;
        build(&day, &options, &Silent)
    };
    let stranger = with(vec![listed("WEST", 1, "", "")], Shape::Poly).expect_err("no such unit");
    assert!(stranger.message().contains("NORTH, SOUTH"), "{stranger}");
    let beyond = with(vec![listed("NORTH", 3, "", "")], Shape::Poly).expect_err("no such channel");
    assert!(beyond.message().contains("it has 2"), "{beyond}");
    let twice = vec![listed("NORTH", 1, "A", ""), listed("NORTH", 2, "a", "")];
    let report = with(twice, Shape::Poly).expect("the folder can be used");
    assert!(report.unbuilt[0].finding.message.contains("twice"));
    // a group that is called like a unit would swallow that unit's other channels
    let mixed = vec![listed("NORTH", 1, "", "SOUTH"), listed("SOUTH", 1, "", "")];
    let report = with(mixed, Shape::PerGroup).expect("the folder can be used");
    assert!(report.unbuilt[0].finding.message.contains("all.SOUTH.wav"));
    let none = vec![ListedChannel {
        used: false,
        ..listed("NORTH", 1, "", "")
    }];
    let report = with(none, Shape::Poly).expect("the folder can be used");
    assert_eq!(report.unbuilt[0].finding.code, "no-channels");
}

#[test]
fn the_table_that_is_written_builds_the_same_again() {
    let shoot = Shoot::new();
    let day = alignment(vec![joint("all", pair(&shoot), Some(480_000))]);
    let table = ChannelList::table(&day, None).expect("a table");
    assert_eq!(
        table,
        "unit,channel,use,name,group,recorded_as\n\
         NORTH,1,yes,,,Left\nNORTH,2,yes,,,Right\n\
         SOUTH,1,yes,,,Flute\nSOUTH,2,yes,,,Horn\nSOUTH,3,yes,,,Left\n"
    );
    let list = ChannelList::from_csv(&table).expect("a list");
    let first = build(&day, &BuildOptions::new(shoot.out()), &Silent).expect("built");
    let mut options = BuildOptions::new(shoot.root.path().join("again"));
    options.channels = Some(list);
    let second = build(&day, &options, &Silent).expect("built");
    assert_eq!(first.outputs[0].hash, second.outputs[0].hash);
    // what was left out stands at the end of its unit, so that it can be taken in
    let some = ChannelList::from_csv("unit,channel\nSOUTH,2\nNORTH,1\n").expect("a list");
    let table = ChannelList::table(&day, Some(&some)).expect("a table");
    assert!(
        table.contains("SOUTH,2,yes,,,Horn\nSOUTH,1,no,,,Flute\n"),
        "{table}"
    );
}

#[test]
fn files_of_limited_size_follow_each_other_without_a_gap() {
    let shoot = Shoot::new();
    let members = pair(&shoot);
    let whole = built(
        vec![joint("all", members.clone(), Some(480_000))],
        &BuildOptions::new(shoot.out()),
    );
    let whole = planes(&whole.outputs[0].path);
    let mut options = BuildOptions::new(shoot.root.path().join("cut"));
    // one second of five channels of three bytes is 720 000 bytes; a megabyte is kept for what is around the samples
    options.largest_file = Some((1 << 20) + 1_000_000);
    let report = built(vec![joint("all", members, Some(480_000))], &options);
    assert!(report.unbuilt.is_empty(), "{:?}", report.unbuilt);
    let mut joined = vec![Vec::new(); 5];
    let mut at = 480_000;
    for (output, number) in report.outputs.iter().zip(1_u32..) {
        assert!(output.bytes <= options.largest_file.expect("set"));
        let header = header(&output.path);
        assert_eq!(header.bext.expect("bext").time_reference, at);
        let set = header.ixml.expect("iXML").file_set.expect("a set");
        assert_eq!(set.total_files, Some(3));
        assert_eq!(set.file_set_index, Some(number.to_string()));
        assert_eq!(set.start_time, Some(480_000));
        at += header.length;
        for (plane, part) in joined.iter_mut().zip(planes(&output.path)) {
            plane.extend(part);
        }
    }
    assert!(joined == whole);
    assert_eq!(
        names_in(&shoot.root.path().join("cut")),
        [
            "all.part1.wav",
            "all.part2.wav",
            "all.part3.wav",
            "hashes.xxh3.txt"
        ]
    );
    options.largest_file = Some(1 << 20);
    let day = vec![joint("small", pair(&shoot), None)];
    let report = built(day, &options);
    assert!(report.unbuilt[0].finding.message.contains("a second"));
}

#[test]
fn one_gain_makes_the_largest_peak_fit() {
    let shoot = Shoot::new();
    // +6.3 dBFS on one channel, quiet on the other
    let loud = 10_f64.powf(6.3 / 20.0);
    let sine = |level: f64| -> Vec<f64> {
        (0..RATE)
            .map(|n| {
                let x = (std::f64::consts::TAU * 1000.0 * f64::from(n) / f64::from(RATE)).sin();
                f64::from((level * x) as f32)
            })
            .collect()
    };
    let member = shoot.record(&Recording {
        unit: "NORTH",
        encoding: Encoding::Float32,
        names: &["loud", "quiet"],
        planes: vec![sine(loud), sine(0.01)],
        stamp: None,
    });
    let mut options = BuildOptions::new(shoot.out());
    options.format = OutputFormat::Int24;
    let asked = built(vec![joint("evening", vec![member.clone()], None)], &options);
    assert!(asked.outputs.is_empty());
    let question = &asked.unbuilt[0].finding;
    // needs.md row 31: a peak of +6.3 dBFS asks for -6.4 dB
    assert!(question.next_step.contains("-6.4 dB"), "{question:?}");
    options.gain = Gain::Fit;
    let report = built(vec![joint("evening", vec![member.clone()], None)], &options);
    assert!(report.unbuilt.is_empty(), "{:?}", report.unbuilt);
    let output = &report.outputs[0];
    assert!((output.gain_db + 6.4).abs() < 1e-9, "{}", output.gain_db);
    assert!(report.findings.iter().any(|f| f.code == "gain"));
    let history = header(&output.path).bext.expect("bext").coding_history;
    assert!(history.contains("gain -6.40 dB"), "{history}");
    let ratio = 10_f64.powf(-6.4 / 20.0);
    for (found, source) in planes(&output.path).iter().zip([sine(loud), sine(0.01)]) {
        let worst = found
            .iter()
            .zip(&source)
            .map(|(found, source)| (found - source * ratio).abs())
            .fold(0.0, f64::max);
        // dither of one step either way and half a step of rounding
        assert!(worst <= 1.5 / 8_388_608.0, "{worst}");
    }
    assert!(output.channels.iter().all(|c| c.source_digest.is_none()));
    assert!(output.channels.iter().all(|c| c.copied && !c.exact));
    // given by hand it is applied as given, to floating point as well
    options.format = OutputFormat::Source;
    options.gain = Gain::Db(Db(-20.0));
    options.replace = true;
    let report = built(vec![joint("evening", vec![member.clone()], None)], &options);
    let found = planes(&report.outputs[0].path);
    assert_eq!(found[0][12], f64::from((sine(loud)[12] * 0.1) as f32));
    // what fits already is left as it is
    options.gain = Gain::Fit;
    let report = built(vec![joint("evening", vec![member], None)], &options);
    assert_eq!(report.outputs[0].gain_db, 0.0);
    assert!(report.outputs[0].channels[0].source_digest.is_some());
}

#[test]
fn a_unit_that_was_started_again_gives_its_channels_once() {
    let shoot = Shoot::new();
    let take = |unit, seed, length| Recording {
        unit,
        encoding: Encoding::Int16,
        names: &["Flute", "Horn"],
        planes: vec![
            noise(Encoding::Int16, seed, length),
            noise(Encoding::Int16, seed + 1, length),
        ],
        stamp: Some(480_000),
    };
    let north = shoot.record(&take("NORTH", 1, 100_000));
    let first = shoot.record(&take("SOUTH", 11, 40_000));
    let mut second = shoot.record(&take("SOUTH-2", 21, 30_000));
    second.unit = "SOUTH".into();
    second.take = "take2".into();
    // written in the wrong order: time decides
    let members = vec![north, follower(second, 50_000.0), follower(first, 1000.0)];
    let mut options = BuildOptions::new(shoot.out());
    options.shape = Shape::PerUnit;
    let report = built(vec![joint("evening", members, Some(480_000))], &options);
    assert!(report.unbuilt.is_empty(), "{:?}", report.unbuilt);
    assert_eq!(report.outputs.len(), 2);
    let south = planes(&report.outputs[1].path);
    assert_eq!(south.len(), 2);
    for (channel, plane) in south.iter().enumerate() {
        let mut expected = vec![0.0; 100_000];
        expected[1000..41_000].copy_from_slice(&noise(
            Encoding::Int16,
            11 + channel as u64,
            40_000,
        ));
        expected[50_000..80_000].copy_from_slice(&noise(
            Encoding::Int16,
            21 + channel as u64,
            30_000,
        ));
        assert!(*plane == expected, "channel {channel}");
    }
    let gap = report.outputs[1]
        .gaps
        .iter()
        .find(|gap| gap.unit == "SOUTH")
        .expect("the gap is told");
    assert_eq!(
        (gap.first_sample, gap.samples, gap.between_takes),
        (41_000, 9_000, true)
    );
}

#[test]
fn any_number_of_threads_gives_the_same_bytes() {
    let shoot = Shoot::new();
    let mut members = pair(&shoot);
    let south = &mut members[1];
    south.placement = engine::alignment::Placement::Resampled;
    south.offset_samples = 100.37;
    south.rate_ppm = 21.0;
    let hashes: Vec<String> = [1, 2, 3, 7]
        .into_iter()
        .map(|threads| {
            let out = shoot.root.path().join(format!("out{threads}"));
            let pool = rayon::ThreadPoolBuilder::new()
                .num_threads(threads)
                .build()
                .expect("threads");
            let day = vec![joint("evening", members.clone(), Some(480_000))];
            let report = pool.install(|| built(day, &BuildOptions::new(&out)));
            assert!(report.unbuilt.is_empty(), "{:?}", report.unbuilt);
            report.outputs[0].hash.clone()
        })
        .collect();
    assert!(hashes.iter().all(|hash| *hash == hashes[0]), "{hashes:?}");
}
