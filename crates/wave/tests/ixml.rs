//! iXML: the specification's structure read and written, and what developers get wrong about it. roxmltree, a strict
//! parser, judges what we write.

mod common;

use std::io::Cursor;

use common::ixml::{bare, inside, read, some};
use wave::{
    Encoding, FileSet, Format, Header, History, Ixml, Node, Speed, Track, WaveWriter, WriteSpec,
    parse_rate,
};

/// Our own example of the standards notes, section 4: 29.97 drop-frame, 48 kHz, 10:00:00;00.
const EXAMPLE: &str = r#"<?xml version="1.0" encoding="UTF-8"?>
<BWFXML>
  <IXML_VERSION>2.0</IXML_VERSION>
  <PROJECT>Harbour</PROJECT><SCENE>12A</SCENE><TAKE>3</TAKE><TAPE>D04</TAPE>
  <TAKE_TYPE>DEFAULT</TAKE_TYPE><CIRCLED>TRUE</CIRCLED><NOTE>tail slate</NOTE>
  <FILE_UID>D04-12A-003-MERGED</FILE_UID><UBITS>04000000</UBITS>
  <SPEED><NOTE>B resampled to A, +1.7 ppm</NOTE>
    <MASTER_SPEED>30000/1001</MASTER_SPEED><CURRENT_SPEED>30000/1001</CURRENT_SPEED>
    <TIMECODE_RATE>30000/1001</TIMECODE_RATE><TIMECODE_FLAG>DF</TIMECODE_FLAG>
    <FILE_SAMPLE_RATE>48000</FILE_SAMPLE_RATE><AUDIO_BIT_DEPTH>24</AUDIO_BIT_DEPTH>
    <DIGITIZER_SAMPLE_RATE>48000</DIGITIZER_SAMPLE_RATE>
    <TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>0</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>
    <TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>1727998272</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>
    <TIMESTAMP_SAMPLE_RATE>48000</TIMESTAMP_SAMPLE_RATE></SPEED>
  <HISTORY><ORIGINAL_FILENAME>12A-003.wav</ORIGINAL_FILENAME>
    <PARENT_FILENAME>A_12A-003.wav</PARENT_FILENAME><PARENT_UID>A-0001</PARENT_UID></HISTORY>
  <FILE_SET><TOTAL_FILES>1</TOTAL_FILES><FAMILY_UID>D04-12A-003</FAMILY_UID>
    <FAMILY_NAME>12A/3</FAMILY_NAME><FILE_SET_INDEX>A</FILE_SET_INDEX></FILE_SET>
  <TRACK_LIST><TRACK_COUNT>2</TRACK_COUNT>
    <TRACK><CHANNEL_INDEX>1</CHANNEL_INDEX><INTERLEAVE_INDEX>1</INTERLEAVE_INDEX>
      <NAME>A1 boom</NAME><FUNCTION></FUNCTION></TRACK>
    <TRACK><CHANNEL_INDEX>2</CHANNEL_INDEX><INTERLEAVE_INDEX>2</INTERLEAVE_INDEX>
      <NAME>B1 lav</NAME><FUNCTION></FUNCTION></TRACK></TRACK_LIST>
</BWFXML>"#;

fn example() -> Ixml {
    let rate = Some((30_000, 1001));
    let track = |index, name| Track {
        channel_index: Some(index),
        interleave_index: Some(index),
        name: some(name),
        ..Track::default()
    };
    Ixml {
        version: some("2.0"),
        project: some("Harbour"),
        scene: some("12A"),
        take: some("3"),
        tape: some("D04"),
        take_type: some("DEFAULT"),
        circled: Some(true),
        note: some("tail slate"),
        file_uid: some("D04-12A-003-MERGED"),
        ubits: some("04000000"),
        speed: Speed {
            note: some("B resampled to A, +1.7 ppm"),
            master_speed: rate,
            current_speed: rate,
            timecode_rate: rate,
            drop_frame: Some(true),
            file_sample_rate: Some(48_000),
            audio_bit_depth: Some(24),
            digitizer_sample_rate: Some(48_000),
            timestamp_samples_since_midnight: Some(1_727_998_272),
            timestamp_sample_rate: Some(48_000),
            others: Vec::new(),
        },
        history: History {
            original_filename: some("12A-003.wav"),
            parent_filename: some("A_12A-003.wav"),
            parent_uid: some("A-0001"),
            others: Vec::new(),
        },
        file_set: Some(FileSet {
            total_files: Some(1),
            family_uid: some("D04-12A-003"),
            family_name: some("12A/3"),
            file_set_index: some("A"),
            ..FileSet::default()
        }),
        tracks: vec![track(1, "A1 boom"), track(2, "B1 lav")],
        track_count: Some(2),
        ..Ixml::default()
    }
}

#[test]
fn the_example_is_understood_whole() {
    let (ixml, said) = read(EXAMPLE.as_bytes());
    assert_eq!(ixml.raw, EXAMPLE);
    assert_eq!(bare(ixml), example());
    assert_eq!(said, []);
}

#[test]
fn the_example_is_written_with_the_same_elements() {
    fn leaves(text: &str) -> Vec<(String, String)> {
        let document = roxmltree::Document::parse(text).expect("well-formed");
        let leaf = |node: &roxmltree::Node<'_, '_>| {
            node.is_element() && !node.children().any(|n| n.is_element())
        };
        let name = |node: roxmltree::Node<'_, '_>| {
            let names: Vec<_> = node
                .ancestors()
                .map(|n| n.tag_name().name().to_owned())
                .collect();
            (names.join("<"), node.text().unwrap_or_default().to_owned())
        };
        document.descendants().filter(leaf).map(name).collect()
    }
    assert_eq!(leaves(&example().to_xml()), leaves(EXAMPLE));
}

/// Two numbers of 32 bits, not two halves of one text: 1 and 705032704 are five billion.
#[test]
fn the_stamp_is_high_word_times_two_to_the_32_plus_low_word() {
    let stamp = |high: &str, low: &str| {
        let name = "TIMESTAMP_SAMPLES_SINCE_MIDNIGHT";
        let text =
            format!("<SPEED><{name}_HI>{high}</{name}_HI><{name}_LO>{low}</{name}_LO></SPEED>");
        inside(&text).0.speed.timestamp_samples_since_midnight
    };
    assert_eq!(stamp("1", "705032704"), Some(5_000_000_000));
    assert_eq!(stamp("0", "0"), Some(0));
    assert_eq!(stamp("", "48000"), Some(48_000));
    assert_eq!(stamp("4294967295", "4294967295"), Some(u64::MAX));
    assert_eq!(stamp("4294967296", "0"), None);
    assert_eq!(
        inside("<SPEED></SPEED>")
            .0
            .speed
            .timestamp_samples_since_midnight,
        None
    );
    let speed = Speed {
        timestamp_samples_since_midnight: Some(5_000_000_000),
        ..Speed::default()
    };
    let text = Ixml {
        speed,
        ..Ixml::default()
    }
    .to_xml();
    assert!(
        text.contains("MIDNIGHT_HI>1</") && text.contains("MIDNIGHT_LO>705032704</"),
        "{text}"
    );
}

/// A public parser takes the element's presence for true.
#[test]
fn circled_with_the_text_false_is_false() {
    let circled = |text: &str| inside(&format!("<CIRCLED>{text}</CIRCLED>")).0.circled;
    assert_eq!(circled("TRUE"), Some(true));
    assert_eq!(circled("FALSE"), Some(false));
    assert_eq!(circled("false"), Some(false));
    assert_eq!(circled(""), None);
    assert_eq!(circled("perhaps"), None);
    assert_eq!(inside("").0.circled, None);
    assert!(
        Ixml {
            circled: Some(false),
            ..Ixml::default()
        }
        .to_xml()
        .contains("<CIRCLED>FALSE</CIRCLED>")
    );
}

/// `DF` and `NDF` are the words; `ND` is read and said, and never written.
#[test]
fn the_drop_frame_flag() {
    let flag = |text: &str| {
        let (ixml, said) = inside(&format!(
            "<SPEED><TIMECODE_FLAG>{text}</TIMECODE_FLAG></SPEED>"
        ));
        (ixml.speed.drop_frame, said.len())
    };
    assert_eq!(flag("DF"), (Some(true), 0));
    assert_eq!(flag("NDF"), (Some(false), 0));
    assert_eq!(flag("ND"), (Some(false), 1));
    assert_eq!(flag(""), (None, 0));
    assert_eq!(flag("?"), (None, 1));
    let speed = Speed {
        drop_frame: Some(false),
        ..Speed::default()
    };
    assert!(
        Ixml {
            speed,
            ..Ixml::default()
        }
        .to_xml()
        .contains("<TIMECODE_FLAG>NDF</TIMECODE_FLAG>")
    );
}

/// Fractions are the form; old files carry decimals and suffixes.
#[test]
fn rates_are_read_kindly_and_written_as_fractions() {
    let pulled = |n: u32| Some(((n * 1000, 1001), None));
    for (text, rate) in [
        ("30000/1001", pulled(30)),
        ("24000/1001", pulled(24)),
        ("25/1", Some(((25, 1), None))),
        ("25", Some(((25, 1), None))),
        ("24.000", Some(((24, 1), None))),
        ("29.97", pulled(30)),
        ("2997/100", pulled(30)),
        ("23.976", pulled(24)),
        ("23.98", pulled(24)),
        ("23.9760239", pulled(24)),
        ("47.952", pulled(48)),
        ("59.94", pulled(60)),
        ("119.88", pulled(120)),
        ("025.000-ND", Some(((25, 1), Some(false)))),
        ("029.970-DF", Some(((30_000, 1001), Some(true)))),
        ("29.97ND", Some(((30_000, 1001), Some(false)))),
        ("12.5", Some(((25, 2), None))),
        ("25000/1000", Some(((25, 1), None))),
        ("0", None),
        ("0/1", None),
        ("30000/0", None),
        ("", None),
        ("fast", None),
        ("-25", None),
        ("1e9", None),
        ("99999999999999999999", None),
    ] {
        assert_eq!(parse_rate(text), rate, "{text}");
    }
    let (ixml, said) = inside("<SPEED><TIMECODE_RATE>29.97-DF</TIMECODE_RATE></SPEED>");
    assert_eq!(
        (ixml.speed.timecode_rate, ixml.speed.drop_frame),
        (Some((30_000, 1001)), Some(true))
    );
    assert_eq!(said.len(), 1, "a decimal is said");
}

/// Names are tied to the audio by the interleave index, not by their place in the list.
#[test]
fn names_follow_the_interleave_index() {
    let (ixml, _) = inside(
        "<TRACK_LIST><TRACK_COUNT>2</TRACK_COUNT>\
         <TRACK><CHANNEL_INDEX>5</CHANNEL_INDEX><INTERLEAVE_INDEX>2</INTERLEAVE_INDEX><NAME>five</NAME></TRACK>\
         <TRACK><CHANNEL_INDEX>7</CHANNEL_INDEX><INTERLEAVE_INDEX>1</INTERLEAVE_INDEX><NAME>seven</NAME></TRACK>\
         </TRACK_LIST>",
    );
    assert_eq!(
        (ixml.channel_name(1), ixml.channel_name(2)),
        (Some("seven"), Some("five"))
    );
    assert_eq!((ixml.channel_name(0), ixml.channel_name(3)), (None, None));
}

#[test]
fn track_lists_that_do_not_add_up() {
    let names = ["same", "same", "/ \\ : * ? \u{1F3BB}", &"long ".repeat(60)];
    let mut ixml = Ixml::default();
    for (index, name) in names.iter().enumerate() {
        ixml.tracks.push(Track {
            interleave_index: Some(index as u32 + 1),
            name: some(name.trim()),
            ..Track::default()
        });
    }
    let text = ixml.to_xml().replace("<TRACK_COUNT>4<", "<TRACK_COUNT>99<");
    let (read, said) = read(text.as_bytes());
    assert_eq!(read.track_count, Some(99), "said, not believed");
    assert_eq!(said, []);
    let found: Vec<_> = read
        .tracks
        .iter()
        .map(|track| track.name.as_deref().expect("named"))
        .collect();
    assert_eq!(found, names.map(str::trim));
}

#[test]
fn unknown_elements_are_kept_at_every_level() {
    let (ixml, _) = inside(
        "<OWN><A>1</A><B>2</B></OWN><SPEED><X>3</X></SPEED><HISTORY><Y>4</Y></HISTORY>\
         <TRACK_LIST><TRACK><NAME>n</NAME><Z>5</Z></TRACK></TRACK_LIST><LOUDNESS><LOUDNESS_VALUE>-23.1</LOUDNESS_VALUE></LOUDNESS>",
    );
    assert_eq!(ixml.others[0].child("B"), Some(&Node::new("B", "2")));
    let again = read(ixml.to_xml().as_bytes()).0;
    assert_eq!(again.others, ixml.others);
    assert_eq!(again.speed.others, [Node::new("X", "3")]);
    assert_eq!(again.history.others, [Node::new("Y", "4")]);
    assert_eq!(again.tracks[0].others, [Node::new("Z", "5")]);
}

/// Found by fuzzing: a value beside an element whose name a damaged file had made none.
#[test]
fn a_value_whose_only_child_has_no_name_is_written_as_a_value() {
    let ixml = Ixml {
        others: vec![Node {
            children: vec![Node::new("NO\u{b3}NE", "6")],
            ..Node::new("OWN", "6")
        }],
        ..Ixml::default()
    };
    let text = ixml.to_xml();
    assert!(text.contains("<OWN>6</OWN>"), "{text}");
    assert_eq!(read(text.as_bytes()).0.to_xml(), text);
}

/// Found by fuzzing: a speed of which nothing can be written, since a damaged file had left it names that none can have.
#[test]
fn a_group_of_which_nothing_can_be_written_is_left_out() {
    let nameless = || vec![Node::new("NO\u{b3}NE", "6")];
    let mut ixml = Ixml::default();
    ixml.speed.others = nameless();
    ixml.history.others = nameless();
    let text = ixml.to_xml();
    assert!(
        !text.contains("SPEED") && !text.contains("HISTORY"),
        "{text}"
    );
    assert_eq!(read(text.as_bytes()).0.to_xml(), text);
}

/// Found by fuzzing: a character that XML does not hold, with blanks before it at the end of a text.
#[test]
fn blanks_that_a_character_left_at_an_end_go_with_it() {
    let ixml = Ixml {
        note: some("two words \n\u{1}"),
        others: vec![
            Node {
                children: vec![Node::new("INNER", "6")],
                ..Node::new("OWN", "text \n \u{1}")
            },
            Node {
                children: vec![Node::new("INNER", "6")],
                ..Node::new("NOTHING", "\u{0}")
            },
        ],
        ..Ixml::default()
    };
    let text = ixml.to_xml();
    assert!(text.contains("<NOTE>two words</NOTE>"), "{text}");
    assert_eq!(read(text.as_bytes()).0.to_xml(), text);
}

/// Found by fuzzing: a text of nothing but characters that XML does not hold.
#[test]
fn characters_that_xml_does_not_hold_are_not_read() {
    let (ixml, _) =
        read(b"<BWFXML><TAKE>\0\x01</TAKE><NOTE>a\x02b</NOTE><OWN>\0<IN>6</IN></OWN></BWFXML>");
    assert_eq!((ixml.take, ixml.note.as_deref()), (None, Some("ab")));
    assert_eq!(ixml.others[0].text, "");
}

/// The chunk itself has an even size, so that no reader depends on its pad byte.
#[test]
fn the_chunk_is_even() {
    for note in ["", "x"] {
        let ixml = Ixml {
            note: some(note),
            ..Ixml::default()
        };
        let spec = WriteSpec {
            ixml: Some(ixml),
            ..WriteSpec::new(Format::plain(1, 48_000, Encoding::Int16))
        };
        let writer = WaveWriter::new(Cursor::new(Vec::new()), &spec).expect("started");
        let bytes = writer.finish().expect("finished").1.into_inner();
        let header = Header::read(&bytes).expect("readable");
        assert_eq!(
            header.chunk(wave::ChunkId(*b"iXML")).expect("there").size % 2,
            0
        );
    }
}
