//! iXML payloads in a small wave file.

use wave::{Header, Ixml, OddityKind};

use super::{Fmt, chunk, riff};

pub fn some(text: &str) -> Option<String> {
    Some(text.to_owned())
}

/// Reads a payload and gives what was said about it.
pub fn read(payload: &[u8]) -> (Ixml, Vec<(OddityKind, String)>) {
    let file = riff(&[
        chunk(b"iXML", payload),
        Fmt::new(1, 1, 16).chunk(),
        chunk(b"data", &[1, 0]),
    ]);
    let header = Header::read(&file).expect("iXML never stops the reading");
    let said = header
        .oddities
        .into_iter()
        .map(|oddity| (oddity.kind, oddity.what.found))
        .collect();
    (header.ixml.expect("there"), said)
}

/// Reads what stands inside the root.
pub fn inside(text: &str) -> (Ixml, Vec<(OddityKind, String)>) {
    read(format!("<BWFXML>{text}</BWFXML>").as_bytes())
}

/// The document without the text it was read from, to compare with one of our own.
pub fn bare(ixml: Ixml) -> Ixml {
    Ixml {
        raw: String::new(),
        ..ixml
    }
}
