//! What is on cards: units, names, broken files among good ones, settings side by side.

use super::fixture::{Cards, Wave, codes, only, run};
use crate::error::Kind;
use crate::finding::Weight;
use crate::progress::Silent;
use crate::take::{scan, settings_table};

#[test]
fn a_file_of_another_program_is_read() {
    let cards = Cards::new();
    let card = cards.path("north");
    std::fs::create_dir(&card).expect("folder");
    let args = "-v error -f lavfi -i sine=frequency=440:sample_rate=96000:duration=0.5 -ac 2 -c:a pcm_s24le \
                -write_bext 1 -metadata time_reference=3456000000 -metadata origination_date=2026-05-04 \
                -metadata origination_time=10:00:00 -metadata originator=mill T01.wav";
    run(
        "ffmpeg",
        &args.split_whitespace().collect::<Vec<_>>(),
        &card,
    );
    let (takes, findings) = cards.takes("north");
    let take = &takes[0];
    assert_eq!(
        take.stamp.as_ref().map(|stamp| stamp.samples),
        Some(3_456_000_000)
    );
    assert_eq!(
        (take.rate.0, take.length.0, take.channels.len()),
        (96_000, 48_000, 2)
    );
    assert_eq!((take.bits, take.float), (24, false));
    assert_eq!(
        (take.date.as_str(), take.time.as_str()),
        ("2026-05-04", "10:00:00")
    );
    assert_eq!(take.notes.originator, "mill");
    assert_eq!((take.unit.as_str(), take.name.as_str()), ("NORTH", "T01"));
    assert!(
        findings
            .iter()
            .all(|finding| finding.weight == Weight::Note),
        "{findings:#?}"
    );
}

#[test]
fn broken_files_do_not_stop_the_good_ones() {
    let cards = Cards::new();
    let good = Wave::new(2, 4800).at(480_000_000);
    cards.wave("north/T01.wav", &good);
    cards.put(
        "north/text.wav",
        b"this is a shopping list, and no sound at all",
    );
    cards.put("north/empty.wav", b"");
    cards.put("north/short.wav", &good.bytes()[..30]);
    // RFC 9639, 8.2: 48000 Hz, 2 channels, 16 bits, 4800 samples
    let flac = b"fLaC\0\0\0\x22\x10\0\x10\0\0\0\0\0\0\0\x0b\xb8\x02\xf0\0\0\x12\xc0";
    cards.put("north/really_flac.wav", flac);
    cards.put("north/T02.flac", flac);
    cards.wave("north/silent.wav", &Wave::new(2, 0).at(1));
    cards.put("north/._T01.wav", &[0; 4096]);
    let (takes, findings) = cards.takes("north");
    assert_eq!(takes.len(), 1);
    let unreadable: Vec<_> = findings
        .iter()
        .filter(|f| f.code == "file-unreadable")
        .collect();
    assert_eq!(unreadable.len(), 4, "{findings:#?}");
    for finding in unreadable {
        assert!(
            !finding.value.is_empty() && !finding.limit.is_empty(),
            "{finding:?}"
        );
        assert!(!finding.next_step.is_empty(), "{finding:?}");
        assert!(finding.place.contains(".wav"), "{finding:?}");
    }
    let text = findings
        .iter()
        .find(|f| f.place.contains("text.wav"))
        .expect("told");
    assert!(text.place.contains("at byte 0"), "{text:?}");
    assert!(text.value.contains("this"), "{text:?}");
    let flac = findings
        .iter()
        .find(|f| f.place.contains("really_flac.wav"))
        .expect("told");
    assert!(
        flac.message.contains("FLAC, 2 channels, 16 bits"),
        "{flac:?}"
    );
    let beside = only(&findings, "other-sound");
    assert_eq!(beside.weight, Weight::Warn, "a recording may be in it");
    assert_eq!(only(&findings, "file-empty").weight, Weight::Warn);
    assert_eq!(only(&findings, "passed-over").weight, Weight::Note);
}

#[test]
fn a_card_without_sound_is_told_and_the_others_go_on() {
    let cards = Cards::new();
    cards.put("south/readme.txt", b"hello");
    cards.wave("north/T01.wav", &Wave::new(2, 4800).at(480_000_000));
    let surveyed = cards.scan(&["north", "south"]);
    assert_eq!(surveyed.value.units[0].takes.len(), 1);
    assert!(surveyed.value.units[1].takes.is_empty());
    let finding = only(&surveyed.findings, "no-audio");
    assert_eq!(finding.weight, Weight::Stop);
    assert!(finding.place.ends_with("south"));
}

#[test]
fn requests_that_make_no_sense_are_refused() {
    let cards = Cards::new();
    cards.wave("north/inner/T01.wav", &Wave::new(2, 480).at(1));
    let kind = |list: &[&str]| {
        let list: Vec<_> = list.iter().map(|card| cards.path(card)).collect();
        scan(&list, &Silent).expect_err("refused").kind()
    };
    assert_eq!(kind(&[]), Kind::Usage);
    assert_eq!(kind(&["north", "north"]), Kind::Usage);
    assert_eq!(kind(&["north", "north/inner"]), Kind::Usage);
    assert_eq!(kind(&["north", "nowhere"]), Kind::Io);
}

#[test]
fn the_same_recordings_on_two_cards_are_noticed() {
    let cards = Cards::new();
    let wave = Wave::new(2, 4800).at(480_000_000);
    cards.wave("north/T01.wav", &wave);
    cards.wave("copy/T01.wav", &wave);
    // the same name, length and stamp, but other sound
    cards.wave("south/T01.wav", &Wave { from: 5, ..wave });
    let finding = only(&cards.scan(&["north", "copy"]).findings, "same-unit-twice").clone();
    assert_eq!(finding.weight, Weight::Ask);
    assert!(!codes(&cards.scan(&["north", "south"]).findings).contains(&"same-unit-twice"));
}

#[test]
fn two_cards_with_one_serial_number_are_one_unit() {
    let cards = Cards::new();
    // EBU R 99: two letters, three, twelve of the serial number, time, random
    let wave = |stamp| Wave {
        reference: "GBABC000000004711100000123456789",
        ..Wave::new(2, 96_000).at(stamp)
    };
    cards.wave("one/T01.wav", &wave(480_000_000));
    cards.wave("two/T02.wav", &wave(960_000_000));
    cards.wave(
        "three/T03.wav",
        &Wave {
            from: 1,
            ..wave(480_000_000)
        },
    );
    let surveyed = cards.scan(&["one", "two"]);
    let finding = only(&surveyed.findings, "same-unit-two-cards");
    assert_eq!(finding.weight, Weight::Note);
    assert!(finding.value.contains("GBABC000000004711"), "{finding:?}");
    let units = &surveyed.value.units;
    assert_eq!((units.len(), units[0].name.as_str()), (1, "ONE"));
    let takes: Vec<_> = units[0]
        .takes
        .iter()
        .map(|take| (&*take.unit, &*take.name))
        .collect();
    assert_eq!(takes, [("ONE", "T01"), ("ONE", "T02")]);
    assert_eq!(units[0].cards, [cards.path("one"), cards.path("two")]);
    // what ran at the same time was not one unit
    let findings = cards.scan(&["one", "three"]).findings;
    assert!(
        !codes(&findings).contains(&"same-unit-two-cards"),
        "{findings:#?}"
    );
}

#[test]
fn one_card_with_several_units_is_taken_apart() {
    let cards = Cards::new();
    let wave = |from, stamp, serial| Wave {
        from,
        reference: [
            "GBABC000000004711100000123456789",
            "GBABC000000004712100000123456789",
        ][serial],
        ..Wave::new(2, 96_000).at(stamp)
    };
    // by serial numbers, though they never ran together
    cards.wave("serials/T01.wav", &wave(0, 480_000_000, 0));
    cards.wave("serials/T02.wav", &wave(1, 960_000_000, 1));
    // by folders whose takes ran at the same time
    let plain = |from, stamp| Wave {
        from,
        ..Wave::new(2, 96_000).at(stamp)
    };
    cards.wave("day/NORTH/T01.wav", &plain(2, 480_000_000));
    cards.wave("day/NORTH/T02.wav", &plain(3, 960_000_000));
    cards.wave("day/SOUTH/T01.wav", &plain(4, 480_000_100));
    // folders alone do not make units
    cards.wave("folders/A/T01.wav", &plain(5, 480_000_000));
    cards.wave("folders/B/T02.wav", &plain(6, 960_000_000));
    // two takes at one time in one folder: nothing tells them apart
    cards.wave("mixed/T01.wav", &plain(7, 480_000_000));
    cards.wave("mixed/X02.wav", &plain(8, 480_000_100));
    let of = |card: &str| {
        let surveyed = cards.scan(&[card]);
        let names: Vec<String> = surveyed
            .value
            .units
            .iter()
            .map(|u| u.name.clone())
            .collect();
        (names, surveyed.findings)
    };
    let (names, findings) = of("serials");
    assert_eq!(names.len(), 2, "{names:?}");
    assert_eq!(
        only(&findings, "several-units-one-card").weight,
        Weight::Note
    );
    let (names, findings) = of("day");
    assert_eq!(names, ["NORTH", "SOUTH"]);
    assert!(
        only(&findings, "several-units-one-card")
            .value
            .starts_with("2 units")
    );
    assert_eq!(of("folders").0, ["FOLDERS"]);
    let (names, findings) = of("mixed");
    assert_eq!(names, ["MIXED"]);
    assert_eq!(only(&findings, "unit-overlaps-itself").weight, Weight::Warn);
}

#[test]
fn one_file_twice_on_a_card_is_used_once() {
    let cards = Cards::new();
    let wave = Wave::new(2, 4800).at(480_000_000);
    cards.wave("north/T01.wav", &wave);
    cards.wave("north/T01 copy.wav", &wave);
    cards.wave(
        "north/T02.wav",
        &Wave {
            from: 9,
            ..Wave::new(2, 4800).at(490_000_000)
        },
    );
    let (takes, findings) = cards.takes("north");
    assert_eq!(takes.len(), 2);
    assert_eq!(only(&findings, "file-twice").weight, Weight::Note);
}

#[test]
fn units_are_named_after_their_folders() {
    let cards = Cards::new();
    let wave = Wave {
        originator: "Mill West",
        ..Wave::new(1, 480).at(1)
    };
    for place in [
        "day/north 1/a.wav",
        "b/AUDIO/a.wav",
        "c/takes/a.wav",
        "d/takes/a.wav",
        "e/x=y/a.wav",
    ] {
        let length = place.len() as u64;
        cards.wave(
            place,
            &Wave {
                from: length,
                ..wave.clone()
            },
        );
    }
    let survey = cards
        .scan(&["day/north 1", "b/AUDIO", "c/takes", "d/takes", "e/x=y"])
        .value;
    let names: Vec<&str> = survey.units.iter().map(|unit| unit.name.as_str()).collect();
    assert_eq!(names, ["NORTH 1", "MILL WEST", "C-TAKES", "D-TAKES", "X-Y"]);
    assert!(
        survey
            .units
            .iter()
            .all(|unit| unit.takes[0].unit == unit.name)
    );
}

#[test]
fn names_are_tied_to_channels_by_their_place_in_the_file() {
    let cards = Cards::new();
    // the order of CHANNEL_INDEX is another than that of INTERLEAVE_INDEX
    let track = |channel: u32, place: u32, name: &str| {
        format!(
            "<TRACK><CHANNEL_INDEX>{channel}</CHANNEL_INDEX><INTERLEAVE_INDEX>{place}</INTERLEAVE_INDEX>\
             <NAME>{name}</NAME></TRACK>"
        )
    };
    let list = format!(
        "<TRACK_LIST><TRACK_COUNT>3</TRACK_COUNT>{}{}{}</TRACK_LIST>",
        track(1, 3, "Boom"),
        track(2, 1, "Lav"),
        track(5, 2, "Choir &#233;")
    );
    cards.wave("north/T01.wav", &Wave::new(3, 480).at(480_000).ixml(&list));
    let described = "sSPEED=025.000-ND\r\nsTRK1=Left\r\nsTRK2=Right\r\n".to_string();
    cards.wave(
        "north/T02.wav",
        &Wave {
            description: described,
            ..Wave::new(2, 480).at(960_000)
        },
    );
    let list = "<TRACK_LIST><TRACK_COUNT>1</TRACK_COUNT><TRACK><INTERLEAVE_INDEX>2</INTERLEAVE_INDEX>\
                <NAME>Only</NAME></TRACK></TRACK_LIST>";
    cards.wave("north/T03.wav", &Wave::new(2, 480).at(1_960_000).ixml(list));
    let (takes, findings) = cards.takes("north");
    assert_eq!(takes[0].channels, ["Lav", "Choir \u{e9}", "Boom"]);
    assert_eq!(takes[1].channels, ["Left", "Right"]);
    assert_eq!(takes[2].channels, ["", "Only"]);
    assert!(only(&findings, "track-list-length").place.contains("T03"));
}

#[test]
fn what_a_unit_wrote_is_kept() {
    let cards = Cards::new();
    let inside = "<PROJECT>Harbour</PROJECT><SCENE>12A</SCENE><TAKE>3</TAKE><TAPE>D04</TAPE><NOTE>tail slate</NOTE>\
                  <CIRCLED>FALSE</CIRCLED><FILE_UID>N-0001</FILE_UID><UBITS>04050026</UBITS>";
    let mut wave = Wave::new(1, 480).at(480_000).ixml(inside);
    wave.extra = vec![(*b"zzzz", vec![1, 2, 3])];
    cards.wave("north/T01.wav", &wave);
    let (takes, _) = cards.takes("north");
    let notes = &takes[0].notes;
    assert_eq!(
        [
            &notes.project,
            &notes.scene,
            &notes.take,
            &notes.tape,
            &notes.note,
            &notes.file_uid,
            &notes.ubits
        ],
        [
            "Harbour",
            "12A",
            "3",
            "D04",
            "tail slate",
            "N-0001",
            "04050026"
        ]
    );
    assert!(
        !notes.circled,
        "CIRCLED present with the text FALSE is false"
    );
    assert_eq!(takes[0].other_chunks, ["zzzz"]);
}

#[test]
fn settings_stand_side_by_side() {
    let cards = Cards::new();
    let speed = |rate: &str, flag: &str| {
        format!(
            "<SPEED><TIMECODE_RATE>{rate}</TIMECODE_RATE><TIMECODE_FLAG>{flag}</TIMECODE_FLAG></SPEED>"
        )
    };
    let wave = |ixml: &str| Wave::new(2, 480).at(480_000).ixml(ixml);
    cards.wave("a/T01.wav", &wave(&speed("30/1", "NDF")));
    cards.wave(
        "b/T01.wav",
        &Wave {
            from: 1,
            ..wave(&speed("30/1", "NDF"))
        },
    );
    cards.wave("c/T01.wav", &wave(&speed("30000/1001", "NDF")));
    cards.wave("d/T01.wav", &wave(&speed("30/1", "DF")));
    cards.wave(
        "e/T01.wav",
        &Wave {
            rate: 96_000,
            ..wave(&speed("30/1", "NDF"))
        },
    );
    let differing = |other: &str| {
        let table = settings_table(&cards.scan(&["a", other]).value);
        let rows: Vec<String> = table
            .value
            .iter()
            .filter(|row| row.differs)
            .map(|row| row.name.clone())
            .collect();
        let warnings = table.findings.iter().filter(|f| f.weight > Weight::Note);
        assert_eq!(rows.len(), warnings.count());
        for finding in &table.findings {
            assert_eq!(finding.weight, Weight::Warn);
            assert!(
                finding.value.contains("A ") && !finding.next_step.is_empty(),
                "{finding:?}"
            );
        }
        rows
    };
    assert!(differing("b").is_empty(), "no false alarm");
    assert_eq!(differing("c"), ["timecode rate"]);
    assert_eq!(differing("d"), ["drop-frame"]);
    assert_eq!(differing("e"), ["sampling rate"]);
    let table = settings_table(&cards.scan(&["a", "c"]).value).value;
    let row = table
        .iter()
        .find(|row| row.name == "timecode rate")
        .expect("a row");
    assert_eq!(row.values, ["30/1", "30000/1001"]);
}

#[test]
fn limiters_and_filters_stand_beside_each_other_where_units_write_them() {
    let cards = Cards::new();
    let described = |from, text: &str| Wave {
        from,
        description: text.into(),
        ..Wave::new(2, 480).at(480_000)
    };
    cards.wave(
        "a/T01.wav",
        &described(0, "sSPEED=025.000-ND\r\nsLIMITER=ON\r\n"),
    );
    cards.wave(
        "b/T01.wav",
        &described(1, "sSPEED=025.000-ND\r\nsLIMITER=ON\r\n"),
    );
    cards.wave("c/T01.wav", &described(2, "sSPEED=025.000-ND\r\n"));
    let inside = "<USER>LOW_CUT=80 Hz</USER><TRACK_LIST><TRACK_COUNT>2</TRACK_COUNT><TRACK><INTERLEAVE_INDEX>1\
                  </INTERLEAVE_INDEX><NAME>Boom</NAME><HPF>120</HPF></TRACK></TRACK_LIST>";
    cards.wave(
        "d/T01.wav",
        &Wave {
            from: 3,
            ..Wave::new(2, 480).at(480_000).ixml(inside)
        },
    );
    let row = |other: &str| {
        let table = settings_table(&cards.scan(&["a", other]).value);
        let row = table
            .value
            .into_iter()
            .find(|row| row.name == "limiter, filter");
        let told = table
            .findings
            .iter()
            .any(|f| f.code == "limiter-filter-differs");
        let row = row.expect("a row");
        assert_eq!(row.differs, told);
        (row.values, row.differs)
    };
    assert_eq!(row("b"), (vec!["sLIMITER ON".into(); 2], false));
    assert_eq!(row("c").0[1], "not written");
    assert!(!row("c").1, "who writes nothing may well have one");
    assert_eq!(row("d").0[1], "HPF 120, LOW_CUT 80 Hz");
    assert!(row("d").1);
}

#[test]
fn channels_of_one_name_on_two_units_are_told() {
    let cards = Cards::new();
    let named = |from, one: &str, two: &str| Wave {
        from,
        description: format!("sTRK1={one}\r\nsTRK2={two}\r\n"),
        ..Wave::new(2, 480).at(480_000)
    };
    cards.wave("a/T01.wav", &named(0, "Boom", "Lav"));
    cards.wave("b/T01.wav", &named(1, "Choir", "Boom"));
    cards.wave("c/T01.wav", &named(2, "Hall", ""));
    let row = |cards: &Cards, other: &str| {
        let table = settings_table(&cards.scan(&["a", other]).value).value;
        table
            .into_iter()
            .find(|row| row.name == "channels named")
            .expect("a row")
    };
    let clash = row(&cards, "b");
    assert!(clash.differs && clash.consequence.starts_with("Boom on several units"));
    let clear = row(&cards, "c");
    assert_eq!(
        (clear.differs, clear.values),
        (false, vec!["all".into(), "1 of 2".into()])
    );
}
