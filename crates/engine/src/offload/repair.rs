//! Recordings that were never closed in, copies with a right header out: the same samples, stamp, names and chunks. The
//! copy of the card itself stays what the card holds; repaired files lie beside it, in a folder of their own.

use std::fs::File;
use std::io::BufWriter;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use wave::{Header, OddityKind, WaveFile, WaveWriter, WriteSpec};

use super::contents::Contents;
use super::verdict::Trouble;
use crate::error::{Error, Kind, Result};
use crate::finding::{Finding, Weight};
use crate::media;
use crate::output::{Replace, failed, finished, temporary_beside};
use crate::take::{chunk_of, wave_error};

/// Added to the name of a card's folder.
pub(super) const BESIDE: &str = "-repaired";

/// Sample positions that are copied at a time.
const PIECE: usize = 1 << 15;

/// The longest chunk that is taken over, bytes.
const LONGEST: usize = 16 << 20;

/// Chunks the writer makes itself.
const OWN: [&[u8; 4]; 6] = [b"fmt ", b"data", b"ds64", b"fact", b"bext", b"iXML"];

/// Whether the header of a file says something else than its bytes about how long the sound is.
fn is_broken(header: &Header) -> bool {
    header.length_from_file()
        || header.oddities.iter().any(|oddity| {
            matches!(
                oddity.kind,
                OddityKind::RiffSizeWrong
                    | OddityKind::PartialSample
                    | OddityKind::Ds64Missing
                    | OddityKind::WrongSentinel
                    | OddityKind::SizesDisagree
            )
        })
}

/// Repairs what needs it of the copy in `root`; says what was written.
pub(super) fn repair(root: &Path, all: &Contents, trouble: &mut Trouble) -> Vec<PathBuf> {
    let mut name = root.file_name().unwrap_or_default().to_os_string();
    name.push(BESIDE);
    let beside = root.with_file_name(name);
    let mut written = Vec::new();
    for file in all.files.iter().filter(|file| media::is_wave(&file.path)) {
        let from = root.join(&file.path);
        let Ok(source) = media::open(&from).and_then(|file| open(file, &from)) else {
            // what cannot be read as sound at all is told by a survey
            continue;
        };
        if source.header().length == 0 || !is_broken(source.header()) {
            continue;
        }
        let to = beside.join(&file.path);
        match repair_file(&source, &from, &to) {
            Ok(()) => {
                trouble.finding(of_repaired(&from, &to, source.header()));
                written.push(to);
            }
            // from an earlier run, if it holds the same
            Err(error) if error.kind() == Kind::Refused => {
                let there = media::open(&to).and_then(|file| compare(&source, &from, &file, &to));
                if there.is_err() {
                    trouble.add("not-repaired", error);
                }
            }
            Err(error) => trouble.add("not-repaired", error),
        }
    }
    written
}

fn open(file: Arc<File>, path: &Path) -> Result<WaveFile<Arc<File>>> {
    WaveFile::open(file).map_err(|error| wave_error(error).at(path))
}

fn of_repaired(from: &Path, to: &Path, header: &Header) -> Finding {
    Finding::new(
        "repaired",
        Weight::Note,
        "the header of this recording was wrong; a repaired copy lies beside",
    )
    .at(from.display().to_string())
    .measured(
        format!("{} samples in {}", header.length, to.display()),
        "a header that says so",
    )
    .because(match header.length_from_file() {
        true => "power was lost or the card was taken out while the unit recorded",
        false => "what wrote the file wrote its sizes wrong",
    })
    .then("listen to its end; do not record on the card before its copies are verified")
}

fn repair_file(source: &WaveFile<Arc<File>>, from: &Path, to: &Path) -> Result<()> {
    crate::output::refuse_existing(to, Replace::No)?;
    let spec = spec_of(source, from)?;
    let file = temporary_beside(to)?;
    let written = |error: wave::Error| failed(to, error);
    let mut writer = WaveWriter::new(BufWriter::new(file), &spec).map_err(written)?;
    for_each_piece(source, from, |_, planes| {
        writer.write_planar(planes).map_err(written)
    })?;
    let (_, out) = writer.finish().map_err(written)?;
    let file = out
        .into_inner()
        .map_err(|error| failed(to, error.into_error()))?;
    compare(
        source,
        from,
        &file.reopen().map_err(|error| failed(to, error))?,
        to,
    )?;
    finished(file, to, Replace::No)
}

/// What is written around the samples: all that stands around them in the source, and a line of history.
fn spec_of(source: &WaveFile<Arc<File>>, from: &Path) -> Result<WriteSpec> {
    let header = source.header();
    let mut bext = header.bext.clone();
    if let Some(bext) = &mut bext {
        if !bext.coding_history.is_empty() && !bext.coding_history.ends_with('\n') {
            bext.coding_history.push_str("\r\n");
        }
        // EBU R 98: free text stands under T, without a comma
        bext.coding_history.push_str(&format!(
            "T=commontime {}; {}; {} samples\r\n",
            env!("CARGO_PKG_VERSION"),
            match header.length_from_file() {
                true => "header not closed: length taken from the file",
                false => "sizes of the header put right",
            },
            header.length
        ));
    }
    let taken = header.chunks.iter().filter(|chunk| {
        let own = OWN.contains(&&chunk.id.0) || chunk.id.is_filler();
        !own && chunk.id.is_printable() && chunk.size <= LONGEST as u64
    });
    let extra = taken
        .map(|chunk| chunk_of(header, from, chunk, LONGEST))
        .collect::<Result<_>>()?;
    Ok(WriteSpec {
        bext,
        ixml: header.ixml.clone(),
        extra,
        ..WriteSpec::new(header.format)
    })
}

fn for_each_piece(
    source: &WaveFile<Arc<File>>,
    path: &Path,
    mut take: impl FnMut(u64, &[&[f64]]) -> Result<()>,
) -> Result<()> {
    let channels: Vec<usize> = (0..usize::from(source.header().format.channels)).collect();
    let mut planes = vec![vec![0.0; PIECE]; channels.len()];
    let mut start = 0;
    while start < source.header().length {
        let mut slices: Vec<&mut [f64]> = planes.iter_mut().map(Vec::as_mut_slice).collect();
        let held = source
            .read(&channels, start, &mut slices)
            .map_err(|error| wave_error(error).at(path))?;
        let held_planes: Vec<&[f64]> = planes.iter().map(|plane| &plane[..held]).collect();
        take(start, &held_planes)?;
        start += held as u64;
    }
    Ok(())
}

/// Reads what was written and holds it against the source, sample by sample.
fn compare(source: &WaveFile<Arc<File>>, from: &Path, written: &File, to: &Path) -> Result<()> {
    let differs = |what: &str| {
        Error::new(
            Kind::Verification,
            format!("the repaired copy differs from its source: {what}; it was not kept"),
        )
        .at(to)
    };
    let again = written.try_clone().map_err(|error| failed(to, error))?;
    let again = open(Arc::new(again), to)?;
    let (was, is) = (source.header(), again.header());
    if was.length != is.length || was.format != is.format || is_broken(is) {
        return Err(differs("the header"));
    }
    let stamp = |header: &Header| header.bext.as_ref().map(|bext| bext.time_reference);
    if stamp(was) != stamp(is) {
        return Err(differs("the stamp"));
    }
    let channels: Vec<usize> = (0..usize::from(is.format.channels)).collect();
    let mut planes = vec![vec![0.0; PIECE]; channels.len()];
    for_each_piece(source, from, |start, expected| {
        let mut slices: Vec<&mut [f64]> = planes.iter_mut().map(Vec::as_mut_slice).collect();
        again
            .read(&channels, start, &mut slices)
            .map_err(|error| wave_error(error).at(to))?;
        let equal = expected.iter().zip(&planes).all(|(expected, found)| {
            let bits = expected.iter().zip(found);
            bits.into_iter().all(|(a, b)| a.to_bits() == b.to_bits())
        });
        match equal {
            true => Ok(()),
            false => Err(differs("its samples")),
        }
    })
}
