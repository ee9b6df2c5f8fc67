//! One wave file in, a take of its own out: its shape, its stamp, its names, and what is odd about it.

use std::path::{Path, PathBuf};

use jiff::civil::{Date, DateTime, Time};
use wave::{Bext, Header, Ixml, OddityKind};

use super::names::channel_names;
use super::processing::processing_of;
use super::stamp::stamp_of;
use super::{Notes, Take, TakePart};
use crate::finding::{Finding, Warned, Weight};
use crate::media::{self, OtherSound};
use crate::units::{SampleCount, SampleRate};

/// A file as a take of its own, with what decides whether it belongs with others.
#[derive(Debug, Clone)]
pub(super) struct FileTake {
    /// The take.
    pub take: Take,
    /// The folder it lies in.
    pub folder: PathBuf,
    /// Its size.
    pub bytes: u64,
    /// The set of files it says it belongs to.
    pub family: Option<Family>,
}

/// What iXML's `FILE_SET` says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Family {
    /// Equal in all files of a set.
    pub uid: String,
    /// `1`, `2` ... for a set of mono files, `A`, `B` ... for several polyphonic files.
    pub index: String,
    /// How many files the set has.
    pub total: Option<u32>,
}

/// Reads one file; without a value when a finding says why it was left out.
pub(super) fn read_file(path: &Path) -> Warned<Option<FileTake>> {
    let place = path.display().to_string();
    let refused = |finding| Warned {
        value: None,
        findings: vec![finding],
    };
    if path.to_str().is_none() {
        return refused(nameless(place));
    }
    let file = match media::open(path) {
        Ok(file) => file,
        Err(error) => {
            return refused(
                left_out("it cannot be opened")
                    .at(place)
                    .measured(error.to_string(), "a readable file")
                    .then("copy the card again, with its permissions"),
            );
        }
    };
    let header = match Header::read(&file) {
        Ok(header) if header.length > 0 => header,
        Ok(_) => return refused(empty(&place)),
        Err(error) => return refused(unreadable(path, &error)),
    };
    let mut findings = oddities(path, &header);
    let file = of_header(path, &header, &mut findings);
    Warned {
        value: Some(file),
        findings,
    }
}

fn nameless(place: String) -> Finding {
    Finding::new(
        "name-not-utf8",
        Weight::Ask,
        "this file was left out: its name is no UTF-8, so no alignment file can name it",
    )
    .at(place)
    .because("the card was written or copied by a system with another character set")
    .then("give it another name in a copy of the card")
}

fn empty(place: &str) -> Finding {
    Finding::new(
        "file-empty",
        Weight::Warn,
        "this file was left out: it holds no sound",
    )
    .at(place)
    .measured("0 samples", "at least one")
    .because("a recording that was stopped at once, or power was lost at its start")
    .then("nothing, unless a recording is missed")
}

fn oddities(path: &Path, header: &Header) -> Vec<Finding> {
    let of = |oddity: &wave::Oddity| {
        let finding = Finding::new(
            oddity.kind.code(),
            weight_of(oddity.kind),
            words_of(oddity.kind),
        )
        .at(complaint_place(path, &oddity.what))
        .measured(
            oddity.what.found.clone(),
            format!("{} ({})", oddity.what.expected, oddity.what.clause),
        );
        match oddity.kind.length_from_file() {
            true => {
                finding.then("listen to its end; do not record on this card before it is copied")
            }
            false => finding,
        }
    };
    header.oddities.iter().map(of).collect()
}

fn of_header(path: &Path, header: &Header, findings: &mut Vec<Finding>) -> FileTake {
    let place = path.display().to_string();
    let format = &header.format;
    let mut take = Take {
        unit: String::new(),
        name: path
            .file_stem()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned(),
        parts: vec![TakePart {
            path: path.to_path_buf(),
            first_sample: 0,
            length: header.length,
            first_channel: 0,
            channels: usize::from(format.channels),
        }],
        channels: Vec::new(),
        rate: SampleRate(format.sample_rate),
        length: SampleCount(header.length),
        bits: format.encoding.bits(),
        float: format.encoding.is_float(),
        stamp: None,
        date: String::new(),
        time: String::new(),
        recorded: None,
        notes: Notes {
            processing: processing_of(header),
            ..notes_of(header.bext.as_ref(), header.ixml.as_ref())
        },
        other_chunks: other_chunks(header),
        undecided: Vec::new(),
    };
    read_calendar(&mut take, header.bext.as_ref());
    let mut more = Vec::new();
    take.channels = channel_names(header, &place, &mut more);
    take.stamp = stamp_of(header, take.recorded, &place, &mut more);
    let undecided = more.iter().filter(|finding| finding.weight >= Weight::Ask);
    take.undecided = undecided.cloned().collect();
    findings.extend(more);
    FileTake {
        take,
        folder: path.parent().map(Path::to_path_buf).unwrap_or_default(),
        bytes: header.file_bytes,
        family: family_of(header.ixml.as_ref()),
    }
}

/// Date and time as far as they are any (EBU Tech 3285 v2, 2.3: separators are free).
fn read_calendar(take: &mut Take, bext: Option<&Bext>) {
    let Some(bext) = bext else { return };
    let date = bext.date_parts().and_then(|(year, month, day)| {
        Date::new(i16::try_from(year).ok()?, month as i8, day as i8).ok()
    });
    let time = bext.time_parts().and_then(|(hour, minute, second)| {
        Time::new(hour as i8, minute as i8, second as i8, 0).ok()
    });
    take.date = date.map(|date| date.to_string()).unwrap_or_default();
    take.time = time
        .map(|time| {
            format!(
                "{:02}:{:02}:{:02}",
                time.hour(),
                time.minute(),
                time.second()
            )
        })
        .unwrap_or_default();
    take.recorded = date
        .zip(time)
        .map(|(date, time)| DateTime::from_parts(date, time));
}

fn notes_of(bext: Option<&Bext>, ixml: Option<&Ixml>) -> Notes {
    let text = |value: Option<&Option<String>>| {
        value
            .and_then(|value| value.as_deref())
            .unwrap_or_default()
            .trim()
            .to_string()
    };
    Notes {
        project: text(ixml.map(|x| &x.project)),
        scene: text(ixml.map(|x| &x.scene)),
        take: text(ixml.map(|x| &x.take)),
        tape: text(ixml.map(|x| &x.tape)),
        note: text(ixml.map(|x| &x.note)),
        circled: ixml.and_then(|x| x.circled).unwrap_or(false),
        originator: bext
            .map(|bext| bext.originator.trim().to_string())
            .unwrap_or_default(),
        reference: bext
            .map(|bext| bext.originator_reference.trim().to_string())
            .unwrap_or_default(),
        ubits: text(ixml.map(|x| &x.ubits)),
        file_uid: text(ixml.map(|x| &x.file_uid)),
        processing: String::new(),
    }
}

fn family_of(ixml: Option<&Ixml>) -> Option<Family> {
    let set = ixml?.file_set.as_ref()?;
    let uid = set.family_uid.as_deref()?.trim();
    (!uid.is_empty() && set.total_files != Some(1)).then(|| Family {
        uid: uid.to_string(),
        index: set
            .file_set_index
            .as_deref()
            .unwrap_or_default()
            .trim()
            .to_string(),
        total: set.total_files,
    })
}

/// Chunks that only whoever wrote them understands.
fn other_chunks(header: &Header) -> Vec<String> {
    const READ: [&[u8; 4]; 9] = [
        b"fmt ", b"data", b"ds64", b"fact", b"bext", b"iXML", b"cue ", b"LIST", b"PEAK",
    ];
    header
        .chunks
        .iter()
        .filter(|chunk| !READ.contains(&&chunk.id.0) && !chunk.id.is_filler())
        .map(|chunk| chunk.id.to_string())
        .collect()
}

fn weight_of(kind: OddityKind) -> Weight {
    if kind.length_from_file() || kind == OddityKind::PartialSample {
        Weight::Warn
    } else {
        Weight::Note
    }
}

fn words_of(kind: OddityKind) -> &'static str {
    match kind {
        OddityKind::Unfinalised => {
            "the recording was not closed; its length was taken from the file"
        }
        OddityKind::DataBeyondFile => "the file was cut short; its length was taken from the file",
        OddityKind::WrappedSize => {
            "more sound than a plain header can tell; the length was taken from the file"
        }
        OddityKind::PartialSample => "the sound ends within a sample; the broken rest was left out",
        kind if kind.length_from_file() => {
            "the header is wrong; the length was taken from the file"
        }
        _ => "departs from the format; read all the same",
    }
}

fn complaint_place(path: &Path, what: &wave::Complaint) -> String {
    format!(
        "{}, chunk {} at byte {}",
        path.display(),
        what.chunk,
        what.offset
    )
}

fn left_out(why: &str) -> Finding {
    let message = format!("this file was left out: {why}");
    Finding::new("file-unreadable", Weight::Warn, message)
}

fn unreadable(path: &Path, error: &wave::Error) -> Finding {
    let finding = match error {
        wave::Error::Io(_) => left_out("reading it failed"),
        wave::Error::Malformed(_) => match media::sniff(path) {
            Ok(OtherSound::Unknown) | Err(_) => left_out("it is damaged or no wave file"),
            Ok(sound) => left_out(&format!("it is {sound} under a wave file's name")),
        },
        wave::Error::Unsupported(_) => {
            left_out("it is a wave file of a kind that is not supported")
        }
    };
    let finding = match error.complaint() {
        Some(what) => finding.at(complaint_place(path, what)).measured(
            what.found.clone(),
            format!("{} ({})", what.expected, what.clause),
        ),
        None => finding
            .at(path.display().to_string())
            .measured(error.to_string(), "a readable file"),
    };
    finding.then(match error {
        wave::Error::Unsupported(_) => "convert a copy of it to plain wave sound",
        _ => "copy the card again; if it stays unreadable, keep the card and do not record on it",
    })
}
