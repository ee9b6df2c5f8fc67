//! The chunks of a file from the first byte to the last, in; a [`Header`] out.

use crate::chunk::bext::Bext;
use crate::chunk::ds64::Ds64;
use crate::chunk::markers::{Marker, parse_cue, parse_list};
use crate::chunk::{ChunkEntry, ChunkId, fmt_chunk};
use crate::error::{Error, Result};
use crate::format::Format;
use crate::header::chain::{Bytes, HEAD_BYTES, Pad};
use crate::header::extent::{Declared, extent};
use crate::header::{Container, Header};
use crate::ixml::Ixml;
use crate::oddity::{Oddities, Oddity, OddityKind, Words};
use crate::read_at::ReadAt;

const RIFF91: &str = "RIFF 1991, chapter 2";
const EBU3306: &str = "EBU Tech 3306";

/// The most chunks that are read of one file; a recorder writes about ten.
const MOST_CHUNKS: usize = 4096;

/// The most that is read of one metadata chunk.
const MOST_METADATA: usize = 8 << 20;

/// Chunks up to this size are kept with their bytes, up to `MOST_KEPT` in all.
const KEPT_CHUNK: u64 = 64 << 10;
const MOST_KEPT: u64 = 4 << 20;

/// The mark for "see ds64".
const SEE_DS64: u32 = u32::MAX;

/// What has been read so far.
struct Walk<'a, R: ReadAt + ?Sized> {
    file: Bytes<'a, R>,
    container: Container,
    /// Bytes 4 to 7.
    outer_size: u32,
    ds64: Option<Ds64>,
    fmt: Option<(Vec<u8>, Format)>,
    data: Option<(u64, u64)>,
    fact: Option<(u64, u32)>,
    bext: Option<Bext>,
    ixml: Option<Ixml>,
    markers: Vec<Marker>,
    chunks: Vec<ChunkEntry>,
    kept: u64,
    oddities: Vec<Oddity>,
}

/// Reads everything but the audio.
pub(super) fn read(source: &(impl ReadAt + ?Sized)) -> Result<Header> {
    let file = Bytes {
        source,
        // what no file system holds is not added to without care below
        size: source.size()?.min(i64::MAX as u64),
    };

    // bytes 0 to 11: RIFF, RF64 or BW64; a size; WAVE
    let first = file.some(0, 12)?;
    let malformed = |chunk, at, words: Words| Error::Malformed(words.at(chunk, at));
    let Some((outer, rest)) = first.split_first_chunk::<4>() else {
        let found = format!("a file of {} bytes", first.len());
        return Err(malformed(
            ChunkId::RIFF,
            0,
            Words::new(found, "44 bytes or more", RIFF91),
        ));
    };
    let outer = ChunkId(*outer);
    let container = match outer {
        ChunkId::RIFF => Container::Riff,
        ChunkId::RF64 => Container::Rf64,
        ChunkId::BW64 => Container::Bw64,
        ChunkId([b'R', b'I', b'F', b'X']) => {
            let words = Words::new("RIFX, big-endian", "RIFF, RF64 or BW64", RIFF91);
            return Err(Error::Unsupported(words.at(outer, 0)));
        }
        _ => {
            let found = format!("\"{outer}\"");
            return Err(malformed(
                outer,
                0,
                Words::new(found, "RIFF, RF64 or BW64", RIFF91),
            ));
        }
    };
    let Some((size, form)) = rest
        .split_first_chunk::<4>()
        .filter(|(_, form)| form.len() == 4)
    else {
        let found = format!("a file of {} bytes", first.len());
        return Err(malformed(
            outer,
            0,
            Words::new(found, "44 bytes or more", RIFF91),
        ));
    };
    if form != ChunkId::WAVE.0 {
        let found = format!("form \"{}\"", String::from_utf8_lossy(form).escape_debug());
        return Err(malformed(
            outer,
            8,
            Words::new(found, "WAVE", "RIFF 1991, chapter 3"),
        ));
    }

    let mut walk = Walk {
        file,
        container,
        outer_size: u32::from_le_bytes(*size),
        ds64: None,
        fmt: None,
        data: None,
        fact: None,
        bext: None,
        ixml: None,
        markers: Vec::new(),
        chunks: Vec::new(),
        kept: 0,
        oddities: Vec::new(),
    };
    walk.chunks()?;
    walk.judge_outer_size(outer);
    walk.header(outer)
}

impl<R: ReadAt + ?Sized> Walk<'_, R> {
    fn oddities(&mut self, chunk: ChunkId, offset: u64) -> Oddities<'_> {
        Oddities {
            offset,
            chunk,
            list: &mut self.oddities,
        }
    }

    /// Bytes 12 to the end: chunk after chunk. The outermost size does not bound them, it is wrong too often.
    fn chunks(&mut self) -> Result<()> {
        let mut at = 12;
        while at < self.file.size {
            let head = match self.file.head(at)? {
                Some(head) if head.id.is_printable() => head,
                other => {
                    let chunk = other.map_or(ChunkId([0; 4]), |head| head.id);
                    let found = format!("{} bytes that are no chunk", self.file.size - at);
                    let words = Words::new(found, "the end of the file", RIFF91);
                    self.oddities(chunk, at)
                        .add(OddityKind::NotAChunk, 0, words);
                    break;
                }
            };
            if self.chunks.len() == MOST_CHUNKS {
                let words = Words::new("more chunks", format!("at most {MOST_CHUNKS}"), RIFF91);
                self.oddities(head.id, at)
                    .add(OddityKind::TooManyChunks, 0, words);
                break;
            }
            let start = at + HEAD_BYTES;
            let size = match head.id {
                ChunkId::DATA => self.data_size(start, head.size.get())?,
                id => self.other_size(id, start, head.size.get()),
            };
            let payload = self.kept_payload(head.id, start, size)?;
            self.chunks.push(ChunkEntry {
                id: head.id,
                offset: start,
                size,
                payload,
            });
            self.content(head.id, start, size)?;

            let (next, pad) = self.file.after(start + size, size)?;
            let found = match pad {
                Pad::Right => None,
                // where the payload itself is cut, nobody misses its pad byte
                Pad::Missing if size != u64::from(head.size.get()) => None,
                Pad::Missing => Some((OddityKind::MissingPad, "no pad byte".to_owned())),
                Pad::NotZero(byte) => Some((OddityKind::PadNotZero, format!("pad byte {byte}"))),
            };
            if let Some((kind, found)) = found {
                let words = Words::new(found, "one zero byte after an odd size", RIFF91);
                self.oddities(head.id, start).add(kind, size, words);
            }
            at = next;
        }
        Ok(())
    }

    /// The true size of the audio whose payload starts at `start`.
    fn data_size(&mut self, start: u64, narrow: u32) -> Result<u64> {
        let wide = self.ds64.as_ref().map(|ds64| ds64.record.data_size.get());
        let here = u64::from(narrow);
        let outer_end = self.outer_size().saturating_add(8);
        let declared = match wide {
            None => Declared {
                start,
                size: here,
                known: narrow != SEE_DS64,
                narrow: true,
                outer_end,
            },
            Some(wide) if narrow == SEE_DS64 => Declared {
                start,
                size: wide,
                known: true,
                narrow: false,
                outer_end,
            },
            Some(wide) => {
                // RF64 files in the wild carry their true sizes, and 0x00FFFFFF where 0xFFFFFFFF is meant.
                let fits = |size: u64| self.file.ends_well(start, size);
                let mark = narrow == 0x00FF_FFFF && wide != here;
                let take_wide =
                    mark || wide == here || (wide > 0 && fits(wide)?) || (here == 0 && wide > 0);
                let kind = match (mark, wide == here) {
                    (true, _) => OddityKind::WrongSentinel,
                    (_, true) => OddityKind::RealSizesInRf64,
                    _ => OddityKind::SizesDisagree,
                };
                let words = Words::new(
                    format!("data size {here} and ds64 size {wide}"),
                    "0xFFFFFFFF and the ds64 size",
                    EBU3306,
                );
                self.oddities(ChunkId::DATA, start - 4).add(kind, 0, words);
                let size = if take_wide { wide } else { here };
                Declared {
                    start,
                    size,
                    known: true,
                    narrow: !take_wide,
                    outer_end,
                }
            }
        };
        let (size, oddity) = extent(&self.file, declared)?;
        if let Some((kind, words)) = oddity {
            self.oddities(ChunkId::DATA, start - 4).add(kind, 0, words);
        }
        Ok(size)
    }

    /// The size of another chunk: its own or its entry in ds64, cut at the end of the file.
    fn other_size(&mut self, id: ChunkId, start: u64, narrow: u32) -> u64 {
        let wide = self
            .ds64
            .as_ref()
            .filter(|_| narrow == SEE_DS64)
            .and_then(|ds64| ds64.size_of(id));
        let size = wide.unwrap_or(u64::from(narrow));
        let room = self.file.size - start;
        if size > room {
            let words = Words::new(format!("size {size}"), format!("at most {room}"), RIFF91);
            self.oddities(id, start - 4)
                .add(OddityKind::ChunkBeyondFile, 0, words);
        }
        size.min(room)
    }

    /// The bytes of a chunk that is to be kept as it is.
    fn kept_payload(&mut self, id: ChunkId, start: u64, size: u64) -> Result<Option<Vec<u8>>> {
        let not_kept = matches!(
            id,
            ChunkId::DATA | ChunkId::FMT | ChunkId::FACT | ChunkId::DS64
        );
        if not_kept || id.is_filler() || size > KEPT_CHUNK || self.kept + size > MOST_KEPT {
            return Ok(None);
        }
        self.kept += size;
        self.file.some(start, size as usize).map(Some)
    }

    /// Reads the chunks that matter.
    fn content(&mut self, id: ChunkId, start: u64, size: u64) -> Result<()> {
        if id == ChunkId::DATA {
            self.take_data(start, size);
            return Ok(());
        }
        if !matches!(
            id,
            ChunkId::DS64
                | ChunkId::FMT
                | ChunkId::FACT
                | ChunkId::BEXT
                | ChunkId::IXML
                | ChunkId::CUE
                | ChunkId::LIST
        ) {
            return Ok(());
        }
        let read = usize::try_from(size)
            .unwrap_or(usize::MAX)
            .min(MOST_METADATA);
        let payload = self.file.some(start, read)?;
        if (payload.len() as u64) < size {
            let words = Words::new(format!("{size} bytes"), format!("{read} are read"), RIFF91);
            self.oddities(id, start)
                .add(OddityKind::ChunkTooLong, 0, words);
        }
        match id {
            ChunkId::DS64 => self.take_ds64(start, &payload),
            ChunkId::FMT => self.take_fmt(start, payload)?,
            ChunkId::FACT => {
                let count = payload
                    .first_chunk()
                    .map(|bytes| u32::from_le_bytes(*bytes));
                self.fact = self.fact.or(count.map(|count| (start, count)));
            }
            ChunkId::BEXT if self.bext.is_none() => {
                self.bext = Bext::parse(&payload, &mut self.oddities(id, start));
            }
            ChunkId::IXML if self.ixml.is_none() => {
                self.ixml = Some(Ixml::parse(&payload, &mut self.oddities(id, start)));
            }
            ChunkId::CUE if self.markers.is_empty() => parse_cue(&payload, &mut self.markers),
            ChunkId::LIST => parse_list(&payload, &mut self.markers),
            _ => {}
        }
        Ok(())
    }

    fn take_ds64(&mut self, start: u64, payload: &[u8]) {
        if self.chunks.len() > 1 {
            let words = Words::new(
                "ds64 after other chunks",
                "ds64 as the first chunk",
                EBU3306,
            );
            self.oddities(ChunkId::DS64, start)
                .add(OddityKind::Ds64NotFirst, 0, words);
        }
        if self.container == Container::Riff {
            let words = Words::new("ds64 in RIFF", "RF64 or BW64 outside", EBU3306);
            self.oddities(ChunkId::DS64, start)
                .add(OddityKind::Ds64InRiff, 0, words);
        }
        if self.ds64.is_none() {
            self.ds64 = Ds64::parse(payload, &mut self.oddities(ChunkId::DS64, start));
        }
    }

    /// The first format holds; a second that says something else makes the file ambiguous.
    fn take_fmt(&mut self, start: u64, payload: Vec<u8>) -> Result<()> {
        if let Some((first, _)) = &self.fmt {
            let words = Words::new("a second fmt chunk", "one", "RIFF 1991, chapter 3");
            if *first != payload {
                let words = Words {
                    found: "a second, different fmt chunk".into(),
                    ..words
                };
                return Err(Error::Malformed(words.at(ChunkId::FMT, start)));
            }
            self.oddities(ChunkId::FMT, start)
                .add(OddityKind::TwoFmt, 0, words);
            return Ok(());
        }
        let format = fmt_chunk::parse(&payload, &mut self.oddities(ChunkId::FMT, start))?;
        if self.data.is_some() {
            let words = Words::new("fmt after data", "fmt before data", "RIFF 1991, chapter 3");
            self.oddities(ChunkId::FMT, start)
                .add(OddityKind::FmtAfterData, 0, words);
        }
        self.fmt = Some((payload, format));
        Ok(())
    }

    /// The first audio that is not empty holds.
    fn take_data(&mut self, start: u64, size: u64) {
        if self.data.is_some() {
            let words = Words::new("a second data chunk", "one", "RIFF 1991, chapter 3");
            self.oddities(ChunkId::DATA, start)
                .add(OddityKind::TwoData, 0, words);
        }
        if self.data.is_none_or(|(_, first)| first == 0) {
            self.data = Some((start, size));
        }
    }

    /// What the outermost chunk says of its size, which counts from byte 8 on.
    fn outer_size(&self) -> u64 {
        match &self.ds64 {
            Some(ds64) if self.container != Container::Riff => ds64.record.riff_size.get(),
            _ => u64::from(self.outer_size),
        }
    }

    /// Bytes 4 to 7, judged now that the file is known.
    fn judge_outer_size(&mut self, outer: ChunkId) {
        if self.container != Container::Riff && self.ds64.is_none() {
            let words = Words::new("no ds64 chunk", "ds64 as the first chunk", EBU3306);
            self.oddities(outer, 12)
                .add(OddityKind::Ds64Missing, 0, words);
        }
        let size = self.outer_size();
        let true_size = self.file.size - 8;
        let padded = true_size.next_multiple_of(2);
        if size != true_size && size != padded {
            let words = Words::new(format!("size {size}"), true_size.to_string(), RIFF91);
            self.oddities(outer, 4)
                .add(OddityKind::RiffSizeWrong, 0, words);
        }
    }

    /// Everything together.
    fn header(mut self, outer: ChunkId) -> Result<Header> {
        let end = self.file.size;
        let missing = |what: &str| {
            let words = Words::new(format!("no {what} chunk"), "one", "RIFF 1991, chapter 3");
            Error::Malformed(words.at(outer, end))
        };
        let Some((_, format)) = self.fmt.take() else {
            return Err(missing("fmt"));
        };
        let Some((data_offset, size)) = self.data else {
            return Err(missing("data"));
        };

        // only whole samples of all channels are audio
        let block = format.block_bytes() as u64;
        let length = size / block;
        let data_bytes = length * block;
        if data_bytes < size {
            let found = format!("{} of {block} bytes", size - data_bytes);
            let words = Words::new(found, "whole samples of all channels", RIFF91);
            self.oddities(ChunkId::DATA, data_offset).add(
                OddityKind::PartialSample,
                data_bytes,
                words,
            );
        }
        if length == 0 {
            let words = Words::new("no samples", "1 or more", RIFF91);
            self.oddities(ChunkId::DATA, data_offset)
                .add(OddityKind::NoAudio, 0, words);
        }
        let wide_count = self
            .ds64
            .as_ref()
            .map(|ds64| ds64.record.sample_count.get());
        if let Some((offset, count)) = self.fact {
            let count = wide_count
                .filter(|_| count == u32::MAX)
                .unwrap_or(u64::from(count));
            if count != length {
                let words = Words::new(
                    format!("{count} samples"),
                    length.to_string(),
                    "RIFF 1991, chapter 3",
                );
                self.oddities(ChunkId::FACT, offset)
                    .add(OddityKind::FactDisagrees, 0, words);
            }
        }
        Ok(Header {
            container: self.container,
            format,
            data_offset,
            data_bytes,
            length,
            file_bytes: self.file.size,
            bext: self.bext,
            ixml: self.ixml,
            markers: self.markers,
            chunks: self.chunks,
            oddities: self.oddities,
        })
    }
}
