//! Stamps: which of two is used, what is impossible, what a unit's stamps resolve.

use timecode::{Counting, FrameRate};

use super::fixture::{Cards, Wave, codes, only};
use crate::finding::Weight;
use crate::take::Take;

fn stamp(take: &Take) -> Option<(u64, &'static str)> {
    take.stamp
        .as_ref()
        .map(|stamp| (stamp.samples, stamp.source))
}

/// iXML's stamp as two 32-bit numbers.
fn ixml_stamp(samples: u64, rate: u32) -> String {
    format!(
        "<SPEED><TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>{}</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>\
         <TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>{}</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>\
         <TIMESTAMP_SAMPLE_RATE>{rate}</TIMESTAMP_SAMPLE_RATE></SPEED>",
        samples >> 32,
        samples & 0xFFFF_FFFF
    )
}

#[test]
fn bext_is_used_before_ixml_and_both_are_shown() {
    let cards = Cards::new();
    let bext = 168_005_838;
    let ixml = |apart: u64| ixml_stamp(bext + apart, 48_000);
    for (name, apart) in [("same", 0), ("one", 1), ("some", 18), ("hour", 172_800_000)] {
        cards.wave(
            &format!("{name}/T01.wav"),
            &Wave::new(1, 480).at(bext).ixml(&ixml(apart)),
        );
    }
    let weight = |name: &str| {
        let (takes, findings) = cards.takes(name);
        assert_eq!(stamp(&takes[0]), Some((bext, "bext")));
        let finding = findings
            .into_iter()
            .find(|f| f.code == "stamps-differ-in-file");
        assert_eq!(
            finding.as_ref().is_some_and(|f| f.weight == Weight::Ask),
            !takes[0].undecided.is_empty()
        );
        finding.map(|finding| finding.weight)
    };
    assert_eq!(weight("same"), None);
    assert_eq!(weight("one"), Some(Weight::Note));
    assert_eq!(weight("some"), Some(Weight::Warn));
    assert_eq!(weight("hour"), Some(Weight::Ask));
}

#[test]
fn the_stamp_of_ixml_is_two_numbers_at_their_own_rate() {
    let cards = Cards::new();
    // 10:00:00 at 192 kHz is 6912000000: hi 1, lo 2617032704; at 48 kHz a quarter of it
    let inside = ixml_stamp(6_912_000_000, 192_000);
    assert!(inside.contains("_HI>1<") && inside.contains("_LO>2617032704<"));
    let mut wave = Wave::new(1, 480).ixml(&inside);
    cards.wave("north/T01.wav", &wave);
    wave.rate = 192_000;
    cards.wave("south/T01.wav", &wave);
    assert_eq!(
        stamp(&cards.takes("north").0[0]),
        Some((1_728_000_000, "iXML"))
    );
    assert_eq!(
        stamp(&cards.takes("south").0[0]),
        Some((6_912_000_000, "iXML"))
    );
}

#[test]
fn a_stamp_of_zero_is_none_unless_it_was_midnight() {
    let cards = Cards::new();
    cards.wave(
        "noon/T01.wav",
        &Wave {
            time: "12:00:00",
            ..Wave::new(1, 480).at(0)
        },
    );
    cards.wave(
        "blank/T01.wav",
        &Wave {
            time: "",
            date: "",
            ..Wave::new(1, 480).at(0)
        },
    );
    cards.wave(
        "midnight/T01.wav",
        &Wave {
            time: "23:59:58",
            ..Wave::new(1, 480).at(0)
        },
    );
    cards.wave(
        "ixml/T01.wav",
        &Wave::new(1, 480).at(0).ixml(&ixml_stamp(4800, 48_000)),
    );
    for card in ["noon", "blank"] {
        let (takes, findings) = cards.takes(card);
        assert_eq!(stamp(&takes[0]), None);
        assert_eq!(only(&findings, "no-stamp").weight, Weight::Warn);
    }
    assert_eq!(stamp(&cards.takes("midnight").0[0]), Some((0, "bext")));
    let (takes, findings) = cards.takes("ixml");
    assert_eq!(stamp(&takes[0]), Some((4800, "iXML")));
    assert!(
        only(&findings, "stamps-differ-in-file")
            .message
            .contains("iXML was used")
    );
}

#[test]
fn a_stamp_that_lost_its_high_word_is_suspected() {
    let cards = Cards::new();
    // 13:00:00 at 96 kHz is 4492800000; its low 32 bits read as 00:34:20
    let whole = 4_492_800_000_u64;
    let wave = |stamp| Wave {
        rate: 96_000,
        time: "13:00:10",
        ..Wave::new(1, 960).at(stamp)
    };
    cards.wave("low/T01.wav", &wave(whole & 0xFFFF_FFFF));
    cards.wave("whole/T01.wav", &wave(whole));
    // a calendar clock that is merely wrong explains nothing
    cards.wave(
        "other/T01.wav",
        &Wave {
            time: "17:00:10",
            ..wave(whole & 0xFFFF_FFFF)
        },
    );
    let (takes, findings) = cards.takes("low");
    let finding = only(&findings, "stamp-lost-high-word");
    assert_eq!(finding.weight, Weight::Ask);
    assert!(
        finding.value.contains("00:34:20") && finding.limit.contains("13:00:00"),
        "{finding:?}"
    );
    assert_eq!(takes[0].undecided.len(), 1);
    assert!(!codes(&cards.takes("whole").1).contains(&"stamp-lost-high-word"));
    assert!(!codes(&cards.takes("other").1).contains(&"stamp-lost-high-word"));
}

#[test]
fn a_day_ends_where_its_counting_says() {
    let cards = Cards::new();
    let speed = |rate: &str| format!("<SPEED><TIMECODE_RATE>{rate}</TIMECODE_RATE></SPEED>");
    // 86450 s after midnight: within the label day of 29.97 (86486.4 s), beyond that of 30
    let late = 86_450 * 48_000;
    cards.wave(
        "pulled/T01.wav",
        &Wave::new(1, 480).at(late).ixml(&speed("30000/1001")),
    );
    cards.wave(
        "whole/T01.wav",
        &Wave::new(1, 480).at(late).ixml(&speed("30/1")),
    );
    let (takes, findings) = cards.takes("pulled");
    assert_eq!(stamp(&takes[0]), Some((late, "bext")));
    assert!(findings.is_empty(), "{findings:#?}");
    let (takes, findings) = cards.takes("whole");
    assert_eq!(stamp(&takes[0]), Some((50 * 48_000, "bext")));
    assert_eq!(only(&findings, "stamp-beyond-a-day").weight, Weight::Note);
}

#[test]
fn rates_are_read_from_ixml_or_the_description() {
    let cards = Cards::new();
    let speed =
        "<SPEED><TIMECODE_RATE>30000/1001</TIMECODE_RATE><TIMECODE_FLAG>DF</TIMECODE_FLAG></SPEED>";
    let described = |text: &str| Wave {
        description: text.into(),
        ..Wave::new(1, 480).at(1_727_998_272)
    };
    cards.wave("ixml/T01.wav", &described("").ixml(speed));
    cards.wave(
        "text/T01.wav",
        &described("xSPEED=029.970-DF\r\nxTAKE=3\r\n"),
    );
    cards.wave(
        "both/T01.wav",
        &described("xSPEED=025.000-ND\r\n").ixml(speed),
    );
    cards.wave(
        "odd/T01.wav",
        &described("").ixml(&speed.replace("30000/1001", "25/1")),
    );
    let drop = Counting::new(FrameRate::F29_97, true).expect("legal");
    for card in ["ixml", "text", "both"] {
        let (takes, _) = cards.takes(card);
        assert_eq!(
            takes[0].stamp.as_ref().and_then(|stamp| stamp.counting),
            Some(drop),
            "{card}"
        );
        assert_eq!(takes[0].label(), "10:00:00;00");
    }
    assert_eq!(
        only(&cards.takes("both").1, "timecode-rates-differ-in-file").weight,
        Weight::Warn
    );
    let (takes, findings) = cards.takes("odd");
    assert_eq!(takes[0].label(), "09:59:59:24");
    assert!(
        only(&findings, "drop-frame-impossible")
            .message
            .contains("drop-frame")
    );
}

#[test]
fn a_pulled_recording_is_never_taken_for_drift() {
    let cards = Cards::new();
    let inside = "<SPEED><FILE_SAMPLE_RATE>48000</FILE_SAMPLE_RATE>\
                  <DIGITIZER_SAMPLE_RATE>48048</DIGITIZER_SAMPLE_RATE></SPEED>";
    cards.wave("north/T01.wav", &Wave::new(1, 480).at(480_000).ixml(inside));
    let (takes, findings) = cards.takes("north");
    assert_eq!(only(&findings, "pulled-recording").value, "48048 Hz");
    assert_eq!(takes[0].undecided.len(), 1);
}

#[test]
fn what_stamps_resolve_is_learnt_from_all_of_them() {
    let cards = Cards::new();
    let speed = "<SPEED><TIMECODE_RATE>30000/1001</TIMECODE_RATE></SPEED>";
    let card = |name: &str, stamps: &[u64], inside: &str| {
        for (number, stamp) in stamps.iter().enumerate() {
            let wave = Wave {
                from: number as u64,
                ..Wave::new(1, 480).at(*stamp).ixml(inside)
            };
            cards.wave(&format!("{name}/T{number:02}.wav"), &wave);
        }
        cards.scan(&[name]).value.units[0].stamp_resolution
    };
    // timecode frames of 8008 / 5 samples, rounded down, to the nearest and up
    let frames =
        [1_000_000, 2_000_001, 3_000_003, 4_000_002].map(|count: u64| count * 8008 / 5 + count % 2);
    assert_eq!(card("frames", &frames, speed), Some((1601.6, 4)));
    assert_eq!(
        card("samples", &[frames[0], frames[1], 1_234_567], speed),
        Some((1.0, 3))
    );
    // without a rate: the slowest one that explains all stamps, here 25 a second
    assert_eq!(
        card("silent", &[1920 * 7, 1920 * 1001, 1920 * 31], ""),
        Some((1920.0, 3))
    );
    let seconds = [3601, 4002, 5003].map(|s| s * 48_000);
    assert_eq!(card("seconds", &seconds, ""), Some((48_000.0, 3)));
    let millis = [3_601_007, 4_002_013, 5_003_029].map(|ms| ms * 48);
    assert_eq!(card("millis", &millis, ""), Some((48.0, 3)));
    // a stamp of zero at ten in the morning is none
    assert_eq!(card("none", &[0], ""), None);
}
