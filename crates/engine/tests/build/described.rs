//! What is written around the samples.

use engine::build::BuildOptions;
use wave::{ChunkId, Encoding};

use crate::fixture::{Recording, Shoot, built, follower, header, joint, noise};

#[test]
fn everything_known_is_written_and_what_would_be_wrong_is_not() {
    let shoot = Shoot::new();
    let take = |unit, names| Recording {
        unit,
        encoding: Encoding::Int24,
        names,
        planes: vec![
            noise(Encoding::Int24, 1, 1000),
            noise(Encoding::Int24, 2, 1000),
        ],
        stamp: Some(480_000),
    };
    let north = shoot.record(&take("NORTH", &["Violin", "Viola"]));
    let south = follower(shoot.record(&take("SOUTH", &["violin", ""])), 7.0);
    let report = built(
        vec![joint("evening", vec![north, south], Some(480_000))],
        &BuildOptions::new(shoot.out()),
    );
    let header = header(&report.outputs[0].path);
    assert!(header.oddities.is_empty(), "{:?}", header.oddities);

    let bext = header.bext.expect("bext");
    assert_eq!(bext.time_reference, 480_000);
    assert_eq!(
        (bext.date.as_str(), bext.time.as_str()),
        ("2031-03-01", "00:00:10")
    );
    assert!(
        bext.description
            .starts_with("evening: 4 channels of NORTH and SOUTH on the clock of NORTH")
    );
    assert!(bext.description.contains("sSCENE=12A") && !bext.description.contains("sTRK1"));
    let history: Vec<&str> = bext.coding_history.lines().collect();
    // the lead's line, one a source, one of our own, newest last (EBU R 98)
    assert_eq!(history.len(), 4, "{history:?}");
    assert_eq!(history[0], "A=PCM,F=48000,T=unit NORTH");
    assert!(history[1].starts_with("A=PCM,F=48000,W=24,M=stereo,T=source NORTH take1.wav"));
    assert!(history[3].contains("NORTH copied") && history[3].contains("SOUTH copied at +7"));
    for line in &history {
        let text = line.split_once("T=").expect("T").1;
        assert!(!text.contains(','), "{line}");
    }

    let ixml = header.ixml.expect("iXML");
    assert_eq!(ixml.scene.as_deref(), Some("12A"));
    assert_eq!(ixml.note.as_deref(), Some("third verse"));
    assert_eq!(ixml.speed.timestamp_samples_since_midnight, Some(480_000));
    assert_eq!(ixml.speed.timestamp_sample_rate, Some(48_000));
    assert_eq!(ixml.speed.timecode_rate, Some((25, 1)));
    assert_eq!(ixml.speed.audio_bit_depth, Some(24));
    assert_eq!(
        ixml.history.original_filename.as_deref(),
        Some("evening.wav")
    );
    assert_eq!(ixml.history.parent_filename.as_deref(), Some("take1.wav"));
    assert_eq!(ixml.history.parent_uid.as_deref(), Some("UID-NORTH"));
    assert_ne!(ixml.file_uid.as_deref(), Some("UID-NORTH"));
    let names: Vec<&str> = ixml
        .tracks
        .iter()
        .filter_map(|track| track.name.as_deref())
        .collect();
    assert_eq!(
        names,
        ["NORTH: Violin", "Viola", "SOUTH: violin", "SOUTH: 2"]
    );
    let functions: Vec<bool> = ixml
        .tracks
        .iter()
        .map(|track| track.function.is_some())
        .collect();
    assert_eq!(functions, [true, false, true, false]);

    let unknown = header
        .chunks
        .iter()
        .find(|chunk| chunk.id == ChunkId(*b"unkn"))
        .expect("kept");
    assert_eq!(unknown.payload.as_deref(), Some(&b"kept as it is"[..]));
    assert!(
        !header
            .chunks
            .iter()
            .any(|chunk| chunk.id == ChunkId(*b"levl"))
    );
}

#[test]
fn the_day_before_is_the_day_before() {
    // SOUTH started 30 s before NORTH, whose clock said 00:00:10 on the first of March
    let shoot = Shoot::new();
    let take = |unit| Recording {
        unit,
        encoding: Encoding::Int16,
        names: &["A"],
        planes: vec![noise(Encoding::Int16, 1, 1_500_000)],
        stamp: Some(480_000),
    };
    let north = shoot.record(&take("NORTH"));
    let south = follower(shoot.record(&take("SOUTH")), -1_440_000.0);
    let mut options = BuildOptions::new(shoot.out());
    options.span = engine::build::Span::Longest;
    let report = built(
        vec![joint("evening", vec![north, south], Some(480_000))],
        &options,
    );
    let bext = header(&report.outputs[0].path).bext.expect("bext");
    assert_eq!(
        (bext.date.as_str(), bext.time.as_str()),
        ("2031-02-28", "23:59:40")
    );
    // 23:59:40 = 86 380 s
    assert_eq!(bext.time_reference, 86_380 * 48_000);
}
