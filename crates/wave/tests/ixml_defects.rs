//! iXML as machines in the field and hostile hands write it, and any values in our own: read as far as it goes, said,
//! bounded; what we write is well-formed to roxmltree, a strict parser, and comes back as it was.

mod common;

use common::ixml::{bare, inside, read, some};
use proptest::prelude::*;
use wave::{Ixml, Node, OddityKind, Speed, SyncPoint, Track};

/// What machines in the field write: each is read as far as it goes, and said.
#[test]
fn malformed_documents_are_read_as_far_as_they_go() {
    use OddityKind::{IxmlEncoding, IxmlMalformed};
    let body = "<BWFXML><SCENE>Tür</SCENE><TAKE>2</TAKE></BWFXML>";
    let utf16 = |mark: bool, big: bool| -> Vec<u8> {
        let words = mark
            .then_some(0xFEFF)
            .into_iter()
            .chain(body.encode_utf16());
        words
            .flat_map(|word: u16| {
                if big {
                    word.to_be_bytes()
                } else {
                    word.to_le_bytes()
                }
            })
            .collect()
    };
    let latin: Vec<u8> = body.chars().map(|c| c as u8).collect();
    let bytes = |text: &str| text.as_bytes().to_vec();
    let cases: Vec<(&str, Vec<u8>, &[OddityKind])> = vec![
        ("as it should be", bytes(body), &[]),
        (
            "zero bytes behind",
            bytes(&format!("{body}{}", "\0".repeat(5000))),
            &[IxmlEncoding],
        ),
        (
            "UTF-8 with byte-order mark",
            bytes(&format!("\u{FEFF}{body}")),
            &[IxmlEncoding],
        ),
        ("UTF-16 little-endian", utf16(true, false), &[IxmlEncoding]),
        ("UTF-16 big-endian", utf16(true, true), &[IxmlEncoding]),
        (
            "UTF-16 little-endian without mark",
            utf16(false, false),
            &[IxmlEncoding],
        ),
        (
            "UTF-16 big-endian without mark",
            utf16(false, true),
            &[IxmlEncoding],
        ),
        ("Windows-1252", latin, &[IxmlEncoding]),
        (
            "declares UTF-16 but is UTF-8",
            bytes(&format!(
                "<?xml version=\"1.0\" encoding=\"UTF-16\"?>{body}"
            )),
            &[],
        ),
        (
            "blanks before the declaration",
            bytes(&format!("\r\n  <?xml version=\"1.0\"?>{body}")),
            &[],
        ),
        (
            "prefix that is not declared",
            bytes(&body.replace("TAKE>", "x:TAKE>")),
            &[],
        ),
        (
            "elements in small letters",
            bytes(&body.replace("TAKE>", "take>")),
            &[],
        ),
        (
            "unescaped &",
            bytes(&body.replace("<TAKE>", "<NOTE>Tom & Jo</NOTE><TAKE>")),
            &[],
        ),
        (
            "end missing",
            bytes(body.trim_end_matches("</BWFXML>")),
            &[IxmlMalformed],
        ),
        (
            "cut inside an end",
            bytes(&body[..body.len() - 4]),
            &[IxmlMalformed; 2],
        ),
        (
            "an end too many",
            bytes(&body.replace("<TAKE>", "</X></Y><TAKE>")),
            &[IxmlMalformed; 2],
        ),
        (
            "control characters",
            bytes(&body.replace("<TAKE>", "<NOTE>\u{1}\u{7}</NOTE><TAKE>")),
            &[],
        ),
        (
            "comments and instructions",
            bytes(&body.replace("<TAKE>", "<!-- a --><?b c?><TAKE>")),
            &[],
        ),
    ];
    for (name, payload, kinds) in cases {
        let (ixml, said) = read(&payload);
        let found: Vec<_> = said.iter().map(|(kind, _)| *kind).collect();
        assert_eq!(found, kinds, "{name}: {said:?}");
        assert_eq!(ixml.scene.as_deref(), Some("Tür"), "{name}");
        assert_eq!(ixml.take.as_deref(), Some("2"), "{name}");
        assert!(!ixml.raw.is_empty(), "{name}");
    }
}

/// Entities are refused before they can grow; depth and number of elements are bounded.
#[test]
fn hostile_documents_are_bounded() {
    let bomb = "<!DOCTYPE x [<!ENTITY a \"aaaaaaaaaa\"><!ENTITY b \"&a;&a;&a;&a;&a;\">]><BWFXML><NOTE>&b;</NOTE></BWFXML>";
    let (ixml, said) = read(bomb.as_bytes());
    assert_eq!(ixml.note, None);
    assert!(said[0].1.contains("document type"), "{said:?}");

    let outside = "<!DOCTYPE x [<!ENTITY a SYSTEM \"file:///etc/hostname\">]><BWFXML><NOTE>&a;</NOTE></BWFXML>";
    assert_eq!(read(outside.as_bytes()).0.note, None);

    let (ixml, _) = inside("<NOTE>&unknown; &#65;&#x42; &lt;&gt;&amp;&quot;&apos; &#xD800;</NOTE>");
    assert_eq!(ixml.note.as_deref(), Some("&unknown; AB <>&\"' &#xD800;"));

    let (_, said) = inside(&"<X>".repeat(200_000));
    assert!(said[0].1.contains("levels"), "{:?}", &said[..1]);
    let (ixml, said) = inside(&format!("<TAKE>2</TAKE>{}", "<X/>".repeat(200_000)));
    assert_eq!(ixml.take.as_deref(), Some("2"));
    assert!(said[0].1.contains("elements"), "{:?}", &said[..1]);

    let (ixml, _) = inside(&format!(
        "<TAKE>2</TAKE><NOTE>{}</NOTE>",
        "x".repeat(1 << 20)
    ));
    assert_eq!(
        ixml.note.map(|note| note.len()),
        Some(1 << 20),
        "1 MB is read"
    );
}

/// Text as it survives XML: line ends unified, blanks around it gone, characters that XML forbids gone.
fn texts() -> impl Strategy<Value = Option<String>> {
    prop::option::of(
        "[^\\s\\p{Cc}\u{FFFE}\u{FFFF}]([ -~é\u{1F3BB}\\n]{0,20}[^\\s\\p{Cc}\u{FFFE}\u{FFFF}])?",
    )
}

proptest! {
    /// What we write, a strict parser accepts, and we read back as it was.
    #[test]
    fn there_and_back(
        (project, scene, note, name) in (texts(), texts(), texts(), texts()),
        circled in prop::option::of(any::<bool>()),
        stamp in prop::option::of(any::<u64>()),
        rate in prop::option::of(prop::sample::select(vec![(24_000, 1001), (24, 1), (25, 1), (30_000, 1001), (60, 1)])),
        drop_frame in prop::option::of(any::<bool>()),
        point in any::<u64>(),
        count in 0u32..150,
    ) {
        let track = |index| Track { channel_index: Some(index), interleave_index: Some(index), name: name.clone(), ..Track::default() };
        let ixml = Ixml {
            version: some("2.0"),
            project,
            scene,
            note,
            circled,
            speed: Speed { timecode_rate: rate, drop_frame, timestamp_samples_since_midnight: stamp, ..Speed::default() },
            sync_points: vec![SyncPoint { kind: "RELATIVE".into(), function: "SLATE_GENERIC".into(), comment: String::new(), position: point, duration: 0 }],
            tracks: (1..=count).map(track).collect(),
            track_count: (count > 0).then_some(count),
            ..Ixml::default()
        };
        let text = ixml.to_xml();
        prop_assert!(roxmltree::Document::parse(&text).is_ok(), "{}", text);
        let (again, said) = read(text.as_bytes());
        prop_assert_eq!(said, vec![]);
        prop_assert_eq!(bare(again), ixml);
    }

    /// Whatever is put into the fields, a strict parser accepts what we write.
    #[test]
    fn what_we_write_is_always_well_formed(text in any::<String>(), name in any::<String>()) {
        let ixml = Ixml {
            project: Some(text.clone()),
            tracks: vec![Track { name: Some(text.clone()), ..Track::default() }],
            others: vec![Node { name, text: text.clone(), children: vec![Node::new("CHILD", text)] }],
            ..Ixml::default()
        };
        let text = ixml.to_xml();
        prop_assert!(roxmltree::Document::parse(&text).is_ok(), "{}", text);
    }
}
