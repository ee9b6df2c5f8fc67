//! Papers in print held to what other readers find in them: poppler's tools read the text and render the pages (package
//! poppler-utils, which `./check` installs; one that is missing fails the test).

use std::io::Write;
use std::process::Command;

use super::*;
use crate::report::document::{Cell, Entry, Table};
use crate::report::{SoundReport, SyncReport, sample};

fn faces() -> Faces {
    Faces::with(Vec::new()).expect("the program's own")
}

/// What a tool says of the file: its name, its options before the file and behind it.
fn tool(name: &str, pdf: &[u8], before: &[&str], behind: &[&str]) -> Vec<u8> {
    let mut file = tempfile::NamedTempFile::new().expect("a file");
    file.write_all(pdf).expect("written");
    let run = Command::new(name)
        .args(before)
        .arg(file.path())
        .args(behind)
        .output()
        .unwrap_or_else(|error| panic!("{name} (poppler-utils): {error}"));
    let said = String::from_utf8_lossy(&run.stderr);
    assert!(run.status.success() && said.is_empty(), "{name}: {said}");
    run.stdout
}

fn text_of(pdf: &[u8]) -> String {
    let text = tool("pdftotext", pdf, &["-layout"], &["-"]);
    String::from_utf8(text).expect("UTF-8")
}

fn pages_of(pdf: &[u8]) -> usize {
    let said = String::from_utf8_lossy(&tool("pdfinfo", pdf, &[], &[])).into_owned();
    let line = said.lines().find_map(|line| line.strip_prefix("Pages:"));
    line.expect("a line").trim().parse().expect("a number")
}

fn document(table: Table, words: &str) -> Document {
    Document {
        kind: "A kind of paper".into(),
        title: "Title".into(),
        made_by: "test".into(),
        facts: vec![("Name", "value".into()), ("Empty", String::new())],
        verdict: String::new(),
        entries: vec![Entry::new(
            "Part",
            vec![Block::Words(words.into()), Block::Table(table)],
        )],
        broad: false,
    }
}

fn table(rows: Vec<Vec<Cell>>) -> Table {
    Table {
        caption: "Caption".into(),
        headings: vec!["Firstheading", "Second", "Third"],
        rows,
    }
}

/// Every page as grey pixels at 72 to the inch: width, height, pixels.
fn rendered(pdf: &[u8]) -> Vec<(usize, usize, Vec<u8>)> {
    let folder = tempfile::tempdir().expect("a folder");
    let root = folder.path().join("page").display().to_string();
    tool("pdftoppm", pdf, &["-gray", "-r", "72"], &[&root]);
    let entries = std::fs::read_dir(folder.path()).expect("pages").flatten();
    let read = |path: std::path::PathBuf| {
        let bytes = std::fs::read(path).expect("a page");
        let text = String::from_utf8_lossy(&bytes[..40.min(bytes.len())]).into_owned();
        let mut words = text.split_ascii_whitespace();
        assert_eq!(words.next(), Some("P5"));
        let mut number = || {
            words
                .next()
                .and_then(|word| word.parse().ok())
                .expect("a size")
        };
        let (width, height): (usize, usize) = (number(), number());
        let pixels = bytes[bytes.len() - width * height..].to_vec();
        (width, height, pixels)
    };
    entries.map(|entry| read(entry.path())).collect()
}

#[test]
fn every_name_can_be_read_and_what_no_face_has_is_named() {
    let joint = sample::common_signal();
    let output = sample::output(&joint);
    let mut day = sample::day(vec![joint]);
    day.settings = Some(sample::settings());
    let report = SoundReport::of(&day, &[Some(output)]);
    let pdf = print(&report.document(&|_| None), &faces()).expect("a print");
    let text = text_of(&pdf);
    for words in [
        "Chœur <\"A\" & 'B', «Ø»",
        "Split <main>",
        "evening-02",
        "third verse",
        "2031-05-04",
        // these two and no others: our own words are all in the face
        "faces of this print lack: U+5408, U+5531.",
    ] {
        assert!(text.contains(words), "{words} in {text}");
    }
    assert!(!text.contains('合'), "{text}");
}

#[test]
fn greek_and_cyrillic_are_in_the_program_s_own_face_and_others_come_from_a_file() {
    let words = "Ωδή, Хор, Årstid, Łódź";
    let document = |words: &str| document(table(Vec::new()), words);
    let own = text_of(&print(&document(words), &faces()).expect("a print"));
    assert!(own.contains(words) && !own.contains("U+"), "{own}");
    // Hebrew is in DejaVu Sans, which Debian's chromium brings along
    let path = "/usr/share/fonts/truetype/dejavu/DejaVuSans.ttf";
    let file = std::fs::read(path).expect("fonts-dejavu-core");
    let more = Faces::with(vec![Faces::further(file).expect("a font")]).expect("faces");
    let pdf = print(&document("Chor קול Ende"), &more).expect("a print");
    let text = text_of(&pdf);
    assert!(text.contains("קול") && !text.contains("U+"), "{text}");
    let refused = Faces::further(b"no font at all".to_vec()).expect_err("no font");
    assert_eq!(refused.kind(), crate::error::Kind::Format);
}

#[test]
fn the_same_paper_gives_the_same_bytes() {
    let report = SyncReport::of(&sample::alignment(), &[None, None, None]);
    let paper = report.document(&|_| None);
    let print = || print(&paper, &faces()).expect("a print");
    assert_eq!(print(), print());
}

#[test]
fn a_long_table_goes_on_with_its_headings_and_loses_nothing() {
    let rows = (0..400).map(|row| {
        vec![
            Cell::from(format!("row{row}x")),
            Cell::from("words that have to be broken ".repeat(row % 4)),
            Cell::code(&"0123456789abcdef".repeat(1 + row % 5)),
        ]
    });
    let pdf = print(&document(table(rows.collect()), ""), &faces()).expect("a print");
    let text = text_of(&pdf);
    let pages = pages_of(&pdf);
    assert!(pages > 5, "{pages}");
    assert_eq!(text.matches("Firstheading").count(), pages);
    assert!(text.contains(&format!("{pages} of {pages}")));
    for row in 0..400 {
        assert_eq!(text.matches(&format!("row{row}x")).count(), 1, "{row}");
    }
}

#[test]
fn a_row_longer_than_a_page_and_a_word_longer_than_a_line_are_all_there() {
    let long: String = (0..3000).map(|number| format!("w{number} ")).collect();
    let word: String = "x".repeat(700);
    let rows = vec![vec![
        Cell::from("short"),
        Cell::from(&long),
        Cell::from(&word),
    ]];
    let pdf = print(&document(table(rows), &word), &faces()).expect("a print");
    assert!(pages_of(&pdf) > 2);
    let text = String::from_utf8(tool("pdftotext", &pdf, &["-raw"], &["-"])).expect("UTF-8");
    for number in [0, 1, 999, 1500, 2998, 2999] {
        let found = text
            .split_whitespace()
            .any(|word| word == format!("w{number}"));
        assert!(found, "w{number}");
    }
    assert_eq!(text.matches('x').count(), 1400);
}

/// So many lines and a picture below them.
fn with_picture(lines: usize) -> Document {
    let joint = sample::common_signal();
    let report = SyncReport::of(&sample::day(vec![joint]), &[None]).document(&|_| None);
    let blocks = report.entries.into_iter().flat_map(|entry| entry.blocks);
    let picture = blocks.filter(|block| matches!(block, Block::Picture(..)));
    let mut document = document(table(Vec::new()), "");
    let words = (0..lines).map(|line| Block::Words(format!("line {line}")));
    document.entries[0].blocks = words.chain(picture).collect();
    assert_eq!(document.entries[0].blocks.len(), lines + 1);
    document
}

#[test]
fn nothing_is_drawn_in_the_margins() {
    let joint = sample::common_signal();
    let output = sample::output(&joint);
    let day = sample::day(vec![joint]);
    let papers = [
        SyncReport::of(&day, &[Some(output.clone())]).document(&|_| None),
        SoundReport::of(&day, &[Some(output)]).document(&|_| None),
        document(
            table(vec![vec![
                Cell::from("y".repeat(300)),
                Cell::from("many words ".repeat(40)),
                Cell::code(&"f".repeat(300)),
            ]]),
            &"words and ".repeat(200),
        ),
    ];
    // a picture that comes at every height of the page, the last one cut nowhere
    let papers = papers
        .into_iter()
        .chain((0..60).step_by(7).map(with_picture));
    let least = (Sheet::MARGIN - 8.0) as usize;
    for paper in papers {
        let pages = rendered(&print(&paper, &faces()).expect("a print"));
        for (width, height, pixels) in pages {
            let mut inked = 0;
            for (at, pixel) in pixels.iter().enumerate().filter(|(_, pixel)| **pixel < 250) {
                let (x, y) = (at % width, at / width);
                let inside = (least..width - least).contains(&x)
                    && (least - 8..height - least + 8).contains(&y);
                assert!(inside, "{}: {x}, {y} is {pixel}", paper.title);
                inked += 1;
            }
            assert!(inked > 100, "{}: nothing is drawn", paper.title);
        }
    }
}
