//! Lists, chains and folders by the values of ASC MHL v1.0 and its published examples; lists that mean harm.

use super::chain;
use super::*;
use crate::error::Kind;
use crate::offload::hash::HashKind;

/// Two files and a sidecar: the published example of a first generation (ASC MHL reference, scenario 1).
const EXAMPLE: [(&str, &str); 3] = [
    ("Clips/A002C006_141024_R2EC.mov", "0ea03b369a463d9d"),
    ("Clips/A002C007_141024_R2EC.mov", "7680e5f98f4a80fd"),
    ("Sidecar.txt", "3ab5a4166b9bde44"),
];

fn xxh64(text: &str) -> Hash {
    Hash::parse(HashKind::Xxh64, text).expect("a hash")
}

#[test]
fn folders_of_the_published_example_have_its_hashes() {
    let mut tree = Tree::default();
    for (path, hash) in EXAMPLE {
        tree.file(path, xxh64(hash));
    }
    let (root, below) = folder_hashes(&tree, HashKind::Xxh64);
    assert_eq!(below.len(), 1);
    assert_eq!(below[0].0, "Clips");
    assert_eq!(below[0].1.content, [xxh64("4c226b42e27d7af3")]);
    assert_eq!(below[0].1.structure, [xxh64("906faa843d591a9f")]);
    assert_eq!(root.content, [xxh64("8d02114c32e28cbe")]);
    assert_eq!(root.structure, [xxh64("f557f8ca8e5a88ef")]);
}

#[test]
fn an_empty_folder_counts_as_one() {
    let mut with = Tree::default();
    let mut without = Tree::default();
    for tree in [&mut with, &mut without] {
        tree.file("a.wav", xxh64("0ea03b369a463d9d"));
    }
    with.folder("day/empty");
    let (with, below) = folder_hashes(&with, HashKind::Xxh64);
    let names: Vec<&str> = below.iter().map(|(path, _)| path.as_str()).collect();
    assert_eq!(names, ["day/empty", "day"]);
    // of nothing: the xxHash specification's value of an empty input
    assert_eq!(below[0].1.content, [xxh64("ef46db3751d8e999")]);
    assert_ne!(
        with.structure,
        folder_hashes(&without, HashKind::Xxh64).0.structure
    );
}

fn list() -> HashList {
    let file = |(path, hash): (&str, &str)| ListedFile {
        path: path.into(),
        size: Some(5),
        modified: Some("2026-05-04T10:00:00Z".into()),
        hashes: vec![ListedHash {
            hash: xxh64(hash),
            action: Some(Action::Original),
            when: Some("2026-05-04T18:00:00Z".into()),
        }],
        previous: None,
    };
    let mut files: Vec<ListedFile> = EXAMPLE.into_iter().map(file).collect();
    files[1].path = "Clips/<&> \" \u{e9}.mov".into();
    files[1].previous = Some("Clips/before.mov".into());
    HashList {
        created: "2026-05-04T18:00:00Z".into(),
        host: "mill".into(),
        tool: ("commontime".into(), "0".into()),
        process: Process::Transfer,
        root: Some(FolderHashes {
            content: vec![xxh64("8d02114c32e28cbe")],
            structure: vec![xxh64("f557f8ca8e5a88ef")],
        }),
        ignored: IGNORED.map(String::from).to_vec(),
        files,
        folders: vec![ListedFolder {
            path: "Clips".into(),
            modified: None,
            hashes: FolderHashes {
                content: vec![xxh64("4c226b42e27d7af3")],
                structure: vec![xxh64("906faa843d591a9f")],
            },
        }],
        references: vec![Reference {
            path: "Clips/inner/ascmhl/0001.mhl".into(),
            c4: Hash::of(HashKind::C4, b"x").text,
        }],
    }
}

#[test]
fn a_list_comes_back_as_it_was_written() {
    let xml = list().to_xml().expect("written");
    assert_eq!(HashList::from_xml(xml.as_bytes()).expect("read"), list());
}

/// The order of elements is that of ASC MHL v1.0, 6.4 and 6.5; the names are read by another XML reader.
#[test]
fn elements_stand_in_the_order_of_the_document() {
    let xml = list().to_xml().expect("written");
    let document = roxmltree::Document::parse(&xml).expect("well-formed");
    let root = document.root_element();
    assert_eq!(root.tag_name().namespace(), Some("urn:ASC:MHL:v2.0"));
    assert_eq!(root.attribute("version"), Some("2.0"));
    let names = |node: roxmltree::Node<'_, '_>| -> Vec<String> {
        let elements = node.children().filter(roxmltree::Node::is_element);
        elements
            .map(|child| child.tag_name().name().to_string())
            .collect()
    };
    assert_eq!(
        names(root),
        ["creatorinfo", "processinfo", "hashes", "references"]
    );
    let of = |name: &str| {
        document
            .descendants()
            .find(|node| node.has_tag_name(("urn:ASC:MHL:v2.0", name)))
            .expect("an element")
    };
    assert_eq!(
        names(of("creatorinfo")),
        ["creationdate", "hostname", "tool"]
    );
    assert_eq!(names(of("processinfo")), ["process", "roothash", "ignore"]);
    assert_eq!(names(of("roothash")), ["content", "structure"]);
    let renamed = document
        .descendants()
        .filter(|node| node.has_tag_name(("urn:ASC:MHL:v2.0", "hash")))
        .nth(1)
        .expect("two files");
    assert_eq!(names(renamed), ["path", "xxh64", "previousPath"]);
    assert_eq!(names(of("directoryhash")), ["path", "content", "structure"]);
    assert_eq!(names(of("hashlistreference")), ["path", "c4"]);
}

#[test]
fn lists_of_other_makers_are_read() {
    // elements that are not known here, comments, a prefix, several kinds of hashes, files and folders in turns
    let xml = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<!-- a list -->\n\
        <hashlist version=\"2.0\" xmlns=\"urn:ASC:MHL:v2.0\"><creatorinfo><creationdate>2026-05-04T18:00:00+02:00\
        </creationdate><hostname>mill</hostname><tool version=\"3\">press</tool><author>A &amp; B</author>\
        <location>here</location></creatorinfo><processinfo><process>in-place</process></processinfo><hashes>\
        <hash><path size=\"5\">a.wav</path><md5 action=\"original\">614DD0E977BECB4C6F7FA99E64549B12</md5>\
        <xxh64 action=\"verified\">0ea03b369a463d9d</xxh64><metadata><x><y/></x></metadata></hash>\
        <directoryhash><path>b</path></directoryhash>\
        <hash><path>b/c.wav</path><xxh64 action=\"failed\">7680e5f98f4a80fd</xxh64></hash>\
        </hashes></hashlist>";
    let list = HashList::from_xml(xml.as_bytes()).expect("read");
    assert_eq!(list.files.len(), 2);
    assert_eq!(list.folders[0].path, "b");
    let kinds: Vec<HashKind> = list.files[0].hashes.iter().map(|l| l.hash.kind).collect();
    assert_eq!(kinds, [HashKind::Md5, HashKind::Xxh64]);
    assert_eq!(
        list.files[0].hashes[0].hash.text,
        "614dd0e977becb4c6f7fa99e64549b12"
    );
    assert_eq!(list.files[1].hashes[0].action, Some(Action::Failed));
}

#[test]
fn lists_that_mean_harm_are_refused() {
    let good = list().to_xml().expect("written");
    let changed = |from: &str, to: &str| {
        let bad = good.replacen(from, to, 1);
        assert_ne!(bad, good, "{from}");
        let error = HashList::from_xml(bad.as_bytes()).expect_err("refused");
        assert_eq!(error.kind(), Kind::Format);
        error.to_string()
    };
    for path in ["../a.wav", "/etc/a.wav", "a//b.wav", "a/../../b", "", "."] {
        let message = changed("Sidecar.txt", path);
        assert!(message.contains("inside the folder"), "{message}");
    }
    assert!(changed("version=\"2.0\"", "version=\"1.1\"").contains("1.1"));
    assert!(changed("transfer", "moved").contains("moved"));
    assert!(changed("3ab5a4166b9bde44", "3ab5a4166b9bde4").contains("xxh64"));
    assert!(changed("</path>", "</way>").contains("at byte"));
    assert!(changed("creationdate>2", "x>2").contains("hash list"));
    // entities that grow are no entities here
    let bomb = format!(
        "<!DOCTYPE a [<!ENTITY b \"{}\">]>{}",
        "x".repeat(1000),
        good.replace("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n", "")
            .replacen("mill", "&b;&b;", 1)
    );
    assert!(HashList::from_xml(bomb.as_bytes()).is_err());
    assert!(HashList::from_xml(b"").is_err());
    let message = HashList::from_xml(b"<hash\xff").expect_err("refused");
    assert!(message.to_string().contains("byte 5"), "{message}");
}

#[test]
fn a_chain_counts_from_one_and_stays_in_its_folder() {
    let links: Vec<ChainLink> = (1..=2)
        .map(|number| ChainLink {
            number,
            file: format!("{number:04}_north_2026-05-04_180000Z.mhl"),
            c4: Hash::of(HashKind::C4, &[number as u8]).text,
        })
        .collect();
    let xml = chain::to_xml(&links).expect("written");
    assert_eq!(chain::from_xml(xml.as_bytes()).expect("read"), links);
    for (from, to) in [
        ("sequencenr=\"2\"", "sequencenr=\"3\""),
        ("0001_north", "../0001_north"),
    ] {
        let bad = xml.replace(from, to);
        assert!(chain::from_xml(bad.as_bytes()).is_err(), "{to}");
    }
}

#[test]
fn names_that_xml_cannot_hold_are_not_listed() {
    for (name, can) in [
        ("T01.WAV", true),
        ("\u{e9} & <x> \u{1f3a7}.wav", true),
        ("a\nb.wav", false),
        ("a\u{1}.wav", false),
        (" a.wav", false),
        ("a\u{ffff}.wav", false),
    ] {
        assert_eq!(can_be_listed(name), can, "{name:?}");
    }
}
