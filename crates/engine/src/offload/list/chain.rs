//! The chain of a history in, its links out, and back: which lists there are, each held by its C4 identifier
//! (ASC MHL v1.0, 7).

use serde::{Deserialize, Serialize};

use super::stays_inside;
use super::wire::{document, parse};
use crate::error::{Error, Kind, Result};

/// The file that holds the chain.
pub(super) const FILE: &str = "ascmhl_chain.xml";

const NAMESPACE: &str = "urn:ASC:MHL:DIRECTORY:v2.0";

/// One list of a chain.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ChainLink {
    /// 1, 2, ...
    pub number: u32,
    /// The name of the list's file.
    pub file: String,
    /// Its C4 identifier.
    pub c4: String,
}

#[derive(Debug, Serialize, Deserialize)]
#[serde(rename = "ascmhldirectory")]
struct Document {
    #[serde(rename = "@xmlns", default)]
    namespace: String,
    #[serde(default)]
    hashlist: Vec<Element>,
}

#[derive(Debug, Serialize, Deserialize)]
struct Element {
    #[serde(rename = "@sequencenr")]
    number: u32,
    path: String,
    c4: String,
}

/// Reads a chain.
pub(super) fn from_xml(xml: &[u8]) -> Result<Vec<ChainLink>> {
    let document: Document = parse(xml)?;
    let mut links = Vec::new();
    for (expected, element) in (1..).zip(document.hashlist) {
        if element.number != expected {
            let message = format!(
                "found sequence number {}, expected {expected} (ASC MHL v1.0, 7.4)",
                element.number
            );
            return Err(Error::new(Kind::Format, message));
        }
        let file = element.path.trim().to_string();
        if !stays_inside(&file) {
            let message =
                format!("found path \"{file}\", expected the name of a list (ASC MHL v1.0, 7.4)");
            return Err(Error::new(Kind::Format, message));
        }
        links.push(ChainLink {
            number: element.number,
            file,
            c4: element.c4.trim().to_string(),
        });
    }
    Ok(links)
}

/// The chain as a document.
pub(super) fn to_xml(links: &[ChainLink]) -> Result<String> {
    document(&Document {
        namespace: NAMESPACE.into(),
        hashlist: links
            .iter()
            .map(|link| Element {
                number: link.number,
                path: link.file.clone(),
                c4: link.c4.clone(),
            })
            .collect(),
    })
}
