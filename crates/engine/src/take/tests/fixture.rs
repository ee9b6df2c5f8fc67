//! Wave files by hand, from the tables of RIFF 1991, EBU Tech 3285 v2, 2.3 and the iXML document; nothing of the wave
//! crate takes part.

use std::fs;
use std::path::{Path, PathBuf};

use crate::finding::Finding;
use crate::progress::Silent;
use crate::take::{Survey, Surveyed, Take, scan};

/// A 16-bit file of known sound at 48 kHz unless told otherwise.
#[derive(Debug, Clone)]
pub struct Wave {
    pub channels: u16,
    pub rate: u32,
    pub length: u64,
    /// The position in the whole recording that its first sample is.
    pub from: u64,
    /// The channel of the whole recording that its first channel is.
    pub first_channel: u16,
    pub stamp: Option<u64>,
    pub date: &'static str,
    pub time: &'static str,
    pub description: String,
    pub originator: &'static str,
    pub reference: &'static str,
    pub ixml: Option<String>,
    pub extra: Vec<([u8; 4], Vec<u8>)>,
}

impl Wave {
    pub fn new(channels: u16, length: u64) -> Self {
        Self {
            channels,
            rate: 48_000,
            length,
            from: 0,
            first_channel: 0,
            stamp: None,
            date: "2026-05-04",
            time: "10:00:00",
            description: String::new(),
            originator: "",
            reference: "",
            ixml: None,
            extra: Vec::new(),
        }
    }

    /// Stamped.
    pub fn at(mut self, stamp: u64) -> Self {
        self.stamp = Some(stamp);
        self
    }

    /// iXML with this content in its root.
    pub fn ixml(mut self, inside: &str) -> Self {
        self.ixml = Some(format!("<?xml version=\"1.0\"?><BWFXML>{inside}</BWFXML>"));
        self
    }

    pub fn bytes(&self) -> Vec<u8> {
        let mut body = b"WAVE".to_vec();
        let mut chunk = |id: &[u8; 4], payload: &[u8]| {
            body.extend(id);
            body.extend((payload.len() as u32).to_le_bytes());
            body.extend(payload);
            body.extend(vec![0; payload.len() % 2]);
        };
        let block = 2 * self.channels;
        let mut fmt = Vec::new();
        fmt.extend(1_u16.to_le_bytes());
        fmt.extend(self.channels.to_le_bytes());
        fmt.extend(self.rate.to_le_bytes());
        fmt.extend((self.rate * u32::from(block)).to_le_bytes());
        fmt.extend(block.to_le_bytes());
        fmt.extend(16_u16.to_le_bytes());
        chunk(b"fmt ", &fmt);
        if let Some(stamp) = self.stamp {
            let mut bext = vec![0_u8; 602];
            for (at, text) in [
                (0, self.description.as_str()),
                (256, self.originator),
                (288, self.reference),
                (320, self.date),
                (330, self.time),
            ] {
                bext[at..at + text.len()].copy_from_slice(text.as_bytes());
            }
            bext[338..342].copy_from_slice(&(stamp as u32).to_le_bytes());
            bext[342..346].copy_from_slice(&((stamp >> 32) as u32).to_le_bytes());
            chunk(b"bext", &bext);
        }
        if let Some(ixml) = &self.ixml {
            chunk(b"iXML", ixml.as_bytes());
        }
        for (id, payload) in &self.extra {
            chunk(id, payload);
        }
        let mut data = Vec::new();
        for position in self.from..self.from + self.length {
            for channel in self.first_channel..self.first_channel + self.channels {
                data.extend(value(position, channel).to_le_bytes());
            }
        }
        chunk(b"data", &data);
        let mut file = b"RIFF".to_vec();
        file.extend((body.len() as u32).to_le_bytes());
        file.extend(body);
        file
    }
}

/// The stored value at a position of a channel of the whole recording.
pub fn value(position: u64, channel: u16) -> i16 {
    ((position * 7 + u64::from(channel) * 1009) % 20_011) as i16 - 10_000
}

/// Cards in a temporary folder.
pub struct Cards(tempfile::TempDir);

impl Cards {
    pub fn new() -> Self {
        Self(tempfile::tempdir().expect("temporary folder"))
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    /// Writes `CARD/file`.
    pub fn put(&self, place: &str, bytes: &[u8]) -> PathBuf {
        let path = self.path(place);
        fs::create_dir_all(path.parent().expect("inside")).expect("folder");
        fs::write(&path, bytes).expect("file");
        path
    }

    pub fn wave(&self, place: &str, wave: &Wave) -> PathBuf {
        self.put(place, &wave.bytes())
    }

    pub fn scan(&self, cards: &[&str]) -> Surveyed {
        let cards: Vec<PathBuf> = cards.iter().map(|card| self.path(card)).collect();
        scan(&cards, &Silent).expect("a survey")
    }

    /// The takes of one card.
    pub fn takes(&self, card: &str) -> (Vec<Take>, Vec<Finding>) {
        let surveyed = self.scan(&[card]);
        let Survey { mut units, .. } = surveyed.value;
        (units.remove(0).takes, surveyed.findings)
    }
}

/// The codes of findings, in order.
pub fn codes(findings: &[Finding]) -> Vec<&str> {
    findings
        .iter()
        .map(|finding| finding.code.as_str())
        .collect()
}

/// The one finding of this code.
pub fn only<'a>(findings: &'a [Finding], code: &str) -> &'a Finding {
    let found: Vec<&Finding> = findings
        .iter()
        .filter(|finding| finding.code == code)
        .collect();
    assert_eq!(found.len(), 1, "{code} in {findings:#?}");
    found[0]
}

/// Runs a program of the reference tools; a missing one fails the test.
pub fn run(program: &str, args: &[&str], folder: &Path) {
    let output = std::process::Command::new(program)
        .args(args)
        .current_dir(folder)
        .output()
        .unwrap_or_else(|error| panic!("{program} is needed by this test: {error}"));
    assert!(output.status.success(), "{program}: {output:?}");
}
