//! Channels, a shape and a largest size in, files out: which channels and which stretch of time each holds, and what it is
//! called.

use std::collections::BTreeSet;
use std::ops::Range;

use super::Shape;
use super::plan::PlannedChannel;
use crate::error::{Error, Kind, Result};

/// Room that is left in a file for everything but samples, besides the chunks that are carried over: the broadcast
/// extension with its history, iXML, markers. A list of a thousand tracks and sources is a tenth of it.
const HEAD_BYTES: u64 = 1 << 20;

/// A file to come.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Piece {
    pub(super) name: String,
    /// Indices of the channels it holds, in order.
    pub(super) channels: Vec<usize>,
    /// The lead positions it covers.
    pub(super) span: Range<i64>,
}

/// What decides where files are cut.
#[derive(Debug, Clone, Copy)]
pub(super) struct Cut {
    /// The largest file, bytes.
    pub(super) largest: u64,
    /// Bytes of chunks that are carried over into every file.
    pub(super) carried: u64,
    /// Bytes of one sample.
    pub(super) sample_bytes: u64,
    /// Samples a second.
    pub(super) rate: u32,
}

/// What the channels of one file have in common.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Key<'a> {
    All,
    Group(&'a str),
    Unit(&'a str),
    /// A unit and its 1-based channel.
    Channel(&'a str, usize),
}

impl Key<'_> {
    /// The file's name without ending.
    fn stem(self, name: &str) -> String {
        match self {
            Self::All => name.to_string(),
            Self::Group(own) | Self::Unit(own) => format!("{name}.{}", plain(own)),
            Self::Channel(unit, channel) => format!("{name}.{}.{channel:02}", plain(unit)),
        }
    }
}

/// The files of a joint take called `name`, whose members are `units`, over `span`.
///
/// # Errors
/// [`Kind::Usage`] when two files would have one name, or not even a second fits into the largest file.
pub(super) fn pieces(
    name: &str,
    units: &[&str],
    channels: &[PlannedChannel],
    span: &Range<i64>,
    (shape, cut): (Shape, Option<Cut>),
) -> Result<Vec<Piece>> {
    // what a file is told apart by, and what it holds
    let mut files: Vec<(Key<'_>, Vec<usize>)> = Vec::new();
    for (index, channel) in channels.iter().enumerate() {
        let unit = units[channel.member];
        let own = match (shape, &channel.group) {
            (Shape::Poly, _) => Key::All,
            (Shape::PerGroup, Some(group)) => Key::Group(group),
            (Shape::PerUnit | Shape::PerGroup, _) => Key::Unit(unit),
            (Shape::Mono, _) => Key::Channel(unit, channel.own + 1),
        };
        match files.iter_mut().find(|(key, _)| *key == own) {
            Some((_, of_file)) => of_file.push(index),
            None => files.push((own, vec![index])),
        }
    }
    let mut pieces = Vec::new();
    for (key, of_file) in files {
        let stem = key.stem(name);
        let stretches = match cut {
            Some(cut) => stretches(span, of_file.len() as u64, cut)?,
            None => vec![span.clone()],
        };
        let width = stretches.len().to_string().len();
        let many = stretches.len() > 1;
        for (number, stretch) in (1..).zip(stretches) {
            let name = match many {
                true => format!("{stem}.part{number:0width$}.wav"),
                false => format!("{stem}.wav"),
            };
            pieces.push(Piece {
                name,
                channels: of_file.clone(),
                span: stretch,
            });
        }
    }
    let mut met = BTreeSet::new();
    match pieces
        .iter()
        .find(|piece| !met.insert(piece.name.to_lowercase()))
    {
        Some(twice) => Err(clash(&twice.name)),
        None => Ok(pieces),
    }
}

/// Whole seconds that fit into the largest file, as often as it takes.
fn stretches(span: &Range<i64>, channels: u64, cut: Cut) -> Result<Vec<Range<i64>>> {
    let block = (channels * cut.sample_bytes).max(1);
    let room = cut.largest.saturating_sub(HEAD_BYTES + cut.carried);
    let whole = (span.end - span.start) as u64;
    if whole.saturating_mul(block) <= room {
        return Ok(vec![span.clone()]);
    }
    let second = u64::from(cut.rate).max(1);
    let length = (room / block) / second * second;
    if length == 0 {
        return Err(Error::new(
            Kind::Usage,
            format!(
                "not even a second of {channels} channels fits into {} bytes",
                cut.largest
            ),
        )
        .then("allow larger files, or build with --shape per-unit or mono"));
    }
    let length = length as i64;
    let starts = (0..).map(|part| span.start + part * length);
    Ok(starts
        .take_while(|start| *start < span.end)
        .map(|start| start..span.end.min(start + length))
        .collect())
}

fn clash(name: &str) -> Error {
    Error::new(Kind::Usage, format!("two files would be called {name}")).then(
        "give groups names that differ from each other and from units, in letters and numbers",
    )
}

/// A name with what file systems do not take made a dash.
fn plain(name: &str) -> String {
    name.chars()
        .map(|c| {
            if c.is_alphanumeric() || " _-+".contains(c) {
                c
            } else {
                '-'
            }
        })
        .collect()
}
