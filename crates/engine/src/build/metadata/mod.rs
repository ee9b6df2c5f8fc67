//! A plan in, what is written around the samples out: broadcast extension, iXML, markers, chunks of the lead that stay
//! true; and a list of what stands there and by which rule.

mod broadcast;
mod merged;
mod tracks;
mod markers;
mod fields;

use timecode::{Counting, FrameRate};
use wave::{Chunk, ChunkEntry};

use super::members::Source;
use super::plan::{Plan, PlannedFile};
use crate::alignment::JointTake;
use crate::error::Result;
use crate::finding::{Finding, Weight};
use crate::take::chunk_of;

/// The version that stands in files.
const MADE_BY: &str = concat!("Commontime ", env!("CARGO_PKG_VERSION"));

/// The largest chunk that is carried over, bytes; larger ones stay in the source alone.
const LARGEST_CHUNK: u64 = 1 << 20;

/// Chunks that say something about the samples, the channels or the size of the very file they stand in, and would be
/// wrong in another one. `bext` and `iXML` are written anew; markers stay when positions stay.
const BOUND_TO_FILE: [&[u8; 4]; 19] = [
    b"fmt ", b"fact", b"data", b"ds64", b"bext", b"iXML", b"levl", b"PEAK", b"MD5 ", b"chna",
    b"axml", b"bxml", b"sxml", b"link", b"umid", b"qlty", b"r64m", b"smpl", b"plst",
];

/// Where a file stands among those of its joint take.
#[derive(Debug, Clone, Copy)]
pub(super) struct Place {
    /// Counted from 0.
    pub(super) index: usize,
    /// How many there are.
    pub(super) total: usize,
    /// Whether files are told apart by letters, as sets of files with many channels are.
    pub(super) lettered: bool,
    /// Whether loudness is measured.
    pub(super) loudness: bool,
}

/// The stamp of lead position `position`; it wraps at midnight, whose distance depends on how labels are counted.
pub(super) fn stamp(take: &JointTake, position: i64) -> Option<u64> {
    let start = take.start.samples_since_midnight?;
    let day = FrameRate::parse(&take.start.frame_rate)
        .and_then(|rate| Counting::new(rate, take.start.drop_frame))
        .map_or(u64::from(take.sample_rate) * 86_400, |counting| {
            timecode::day_in_samples(counting, take.sample_rate)
        });
    let stamp = (i128::from(start) + i128::from(position)).rem_euclid(i128::from(day.max(1)));
    u64::try_from(stamp).ok()
}

/// Fills in what is written around the samples of `file`, and what there is to say about it.
pub(super) fn describe(plan: &Plan<'_>, file: &mut PlannedFile, place: Place) -> Result<()> {
    file.spec.bext = Some(broadcast::bext(plan, file, place.loudness));
    file.spec.ixml = Some(tracks::ixml(plan, file, place));
    let marked = markers::of(plan, file);
    file.spec.extra = carried_chunks(plan)?;
    file.spec
        .extra
        .extend(wave::marker_chunks(&marked.markers).map_err(crate::take::wave_error)?);
    // loudness goes into the header at the end; without it the header is final from the start
    file.spec.length = (!place.loudness).then(|| file.length());
    file.fields = fields::of(plan, file, &marked);
    file.markers = marked.markers;
    Ok(())
}

fn lead<'p>(plan: &'p Plan<'_>) -> &'p Source<'p> {
    &plan.sources[0]
}

fn lead_header<'p>(plan: &'p Plan<'_>) -> &'p wave::Header {
    &lead(plan).files[0].1
}

/// Whether a chunk of the lead stays true in the output. Markers are written anew.
fn stays_true(chunk: &ChunkEntry) -> bool {
    let bound = BOUND_TO_FILE.contains(&&chunk.id.0) || chunk.id.is_filler();
    let labels = chunk
        .payload
        .as_ref()
        .is_some_and(|payload| payload.starts_with(b"adtl"));
    let marks = &chunk.id.0 == b"cue " || (&chunk.id.0 == b"LIST" && labels);
    !bound && !marks && chunk.id.is_printable() && chunk.size <= LARGEST_CHUNK
}

/// The lead's chunks that are carried over.
fn carried<'p>(plan: &'p Plan<'_>) -> impl Iterator<Item = &'p ChunkEntry> {
    let chunks = lead_header(plan).chunks.iter();
    chunks.filter(|chunk| stays_true(chunk))
}

/// How many bytes they take.
pub(super) fn carried_bytes(plan: &Plan<'_>) -> u64 {
    carried(plan).map(|chunk| chunk.size + 9).sum()
}

fn carried_chunks(plan: &Plan<'_>) -> Result<Vec<Chunk>> {
    let (path, header) = &lead(plan).files[0];
    carried(plan)
        .map(|entry| chunk_of(header, path, entry, LARGEST_CHUNK as usize))
        .collect()
}

/// The chunks of a unit's file that are not in the output, those left aside that every file has or that are written anew.
fn left_behind(header: &wave::Header, is_lead: bool) -> Vec<String> {
    let written_anew: [&[u8; 4]; 8] = [
        b"fmt ", b"fact", b"data", b"ds64", b"bext", b"iXML", b"levl", b"cue ",
    ];
    let mut names: Vec<String> = header
        .chunks
        .iter()
        .filter(|chunk| {
            let carried = is_lead && stays_true(chunk);
            let labels = &chunk.id.0 == b"LIST" && !stays_true(chunk);
            !carried && !labels && !chunk.id.is_filler() && !written_anew.contains(&&chunk.id.0)
        })
        .map(|chunk| chunk.id.to_string())
        .collect();
    names.dedup();
    names
}

/// Says which chunks of the lead could not be carried over.
pub(super) fn dropped_chunks(plan: &Plan<'_>) -> Option<Finding> {
    let (path, header) = &lead(plan).files[0];
    let names = left_behind(header, true);
    (!names.is_empty()).then(|| {
        Finding::new(
            "chunks-left",
            Weight::Note,
            format!(
                "not carried over, since they are true of the source file alone: {}",
                names.join(", ")
            ),
        )
        .at(path.display().to_string())
        .then("keep the sources beside the recording")
    })
}
