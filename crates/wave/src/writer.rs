//! Samples in, a wave file out: strict, streaming, with sizes patched at the end.
//!
//! The file starts as RIFF with a `JUNK` chunk in first place that is exactly as large as `ds64` needs. When the
//! sizes outgrow 32 bits, finishing turns RIFF into RF64 and the `JUNK` into `ds64` (EBU Tech 3306; ITU-R BS.2088):
//! nothing has to be moved and the length need not be known before.

use std::io::{Seek, SeekFrom, Write};

use zerocopy::IntoBytes;
use zerocopy::byteorder::little_endian::{U32, U64};

use crate::chunk::bext::{Bext, LOUDNESS_AT, Loudness};
use crate::chunk::ds64::{DS64_BYTES, Ds64Record};
use crate::chunk::{Chunk, ChunkHead, ChunkId, fmt_chunk};
use crate::encode::{Encoded, common_length, encode_planar};
use crate::error::{Error, Result};
use crate::format::Format;
use crate::header::Container;
use crate::ixml::Ixml;

/// The largest outermost size that stands in a plain RIFF file; 0xFFFFFFFF means "see ds64".
const LARGEST_RIFF: u64 = 0xFFFF_FFFE;

/// Bytes that are encoded before they are written.
const PIECE_BYTES: usize = 256 << 10;

/// Chunks that only the writer itself writes.
const OWN: [ChunkId; 4] = [ChunkId::FMT, ChunkId::FACT, ChunkId::DATA, ChunkId::DS64];

/// What is to be written around the samples.
#[derive(Debug, Clone)]
pub struct WriteSpec {
    /// How samples are stored.
    pub format: Format,
    /// The broadcast extension.
    pub bext: Option<Bext>,
    /// The iXML.
    pub ixml: Option<Ixml>,
    /// Other chunks, written as they are, after the audio.
    pub extra: Vec<Chunk>,
    /// Which outermost header.
    pub container: ContainerChoice,
    /// Samples per channel, when it is known before: then the sizes stand in the file from its first byte on, and what is
    /// written is final as soon as it is written.
    pub length: Option<u64>,
}

/// Which outermost header a file gets.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum ContainerChoice {
    /// RIFF when the sizes fit into 32 bits, RF64 when not.
    #[default]
    Auto,
    /// RF64 whatever the size.
    Rf64,
    /// BW64 whatever the size.
    Bw64,
}

/// What was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Written {
    /// The outermost header it got.
    pub container: Container,
    /// Bytes of the whole file.
    pub bytes: u64,
    /// Byte offset of the first sample.
    pub data_offset: u64,
    /// Bytes of audio.
    pub data_bytes: u64,
    /// Samples per channel.
    pub length: u64,
    /// What the encoding did to the values.
    pub encoded: Encoded,
}

/// Writes one wave file.
#[derive(Debug)]
pub struct WaveWriter<W> {
    out: W,
    format: Format,
    container: ContainerChoice,
    /// Byte offset of the sample count in `fact`, if there is one.
    fact: Option<u64>,
    /// Byte offset of the broadcast extension's payload, if it has room for loudness.
    loudness: Option<u64>,
    data_offset: u64,
    data_bytes: u64,
    /// Chunks that follow the audio.
    tail: Vec<u8>,
    encoded: Encoded,
    piece: Vec<u8>,
}

impl WriteSpec {
    /// Samples in `format`, no metadata, RIFF or RF64 as the length needs.
    #[must_use]
    pub fn new(format: Format) -> Self {
        let container = ContainerChoice::Auto;
        Self {
            format,
            bext: None,
            ixml: None,
            extra: Vec::new(),
            container,
            length: None,
        }
    }
}

impl<W: Write + Seek> WaveWriter<W> {
    /// Starts a file at the current place of `out`, which must be its beginning.
    ///
    /// # Errors
    /// When `out` cannot be written, the format does not fit the `fmt ` chunk, or an extra
    /// chunk is too large or one that the writer makes itself.
    pub fn new(mut out: W, spec: &WriteSpec) -> Result<Self> {
        let mut tail = Vec::new();
        for chunk in &spec.extra {
            let doubled = chunk.id == ChunkId::BEXT && spec.bext.is_some()
                || chunk.id == ChunkId::IXML && spec.ixml.is_some();
            if doubled || !chunk.id.is_printable() || OWN.contains(&chunk.id) {
                return Err(Error::request(format!("an extra chunk {}", chunk.id)));
            }
            push_chunk(&mut tail, chunk.id, &chunk.payload)?;
        }

        let mut head = Vec::new();
        // bytes 0 to 11: RIFF, a size to come, WAVE
        head.extend(
            ChunkHead {
                id: ChunkId::RIFF,
                size: U32::ZERO,
            }
            .as_bytes(),
        );
        head.extend(ChunkId::WAVE.0);
        // bytes 12 to 47: room for ds64, which must come first
        push_chunk(&mut head, ChunkId::JUNK, &[0; DS64_BYTES])?;
        push_chunk(&mut head, ChunkId::FMT, &fmt_chunk::to_bytes(&spec.format)?)?;
        // fact is needed for every form but PCM (RIFF 1991, chapter 3, "Fact Chunk")
        let fact = spec
            .format
            .encoding
            .is_float()
            .then_some(head.len() as u64 + 8);
        if fact.is_some() {
            push_chunk(&mut head, ChunkId::FACT, &[0; 4])?;
        }
        let loudness = spec
            .bext
            .as_ref()
            .and_then(|bext| bext.loudness.map(|_| head.len() as u64 + 8));
        if let Some(bext) = &spec.bext {
            push_chunk(&mut head, ChunkId::BEXT, &bext.to_bytes())?;
        }
        if let Some(ixml) = &spec.ixml {
            // an even size, because a widespread reader of RF64 knows no pad bytes before the audio
            let mut xml = ixml.to_xml();
            if !xml.len().is_multiple_of(2) {
                xml.push('\n');
            }
            push_chunk(&mut head, ChunkId::IXML, xml.as_bytes())?;
        }
        head.extend(
            ChunkHead {
                id: ChunkId::DATA,
                size: U32::ZERO,
            }
            .as_bytes(),
        );
        out.write_all(&head)?;
        let mut writer = Self {
            out,
            format: spec.format,
            container: spec.container,
            fact,
            loudness,
            data_offset: head.len() as u64,
            data_bytes: 0,
            tail,
            encoded: Encoded::default(),
            piece: Vec::new(),
        };
        if let Some(length) = spec.length {
            let data_bytes = length.saturating_mul(spec.format.block_bytes() as u64);
            writer.write_sizes(data_bytes)?;
            writer.out.seek(SeekFrom::Start(writer.data_offset))?;
        }
        Ok(writer)
    }

    /// Byte offset of the first sample.
    #[must_use]
    pub fn data_offset(&self) -> u64 {
        self.data_offset
    }

    /// Samples per channel written so far.
    #[must_use]
    pub fn length(&self) -> u64 {
        self.data_bytes / self.format.block_bytes() as u64
    }

    /// Writes one slice per channel, all of one length.
    ///
    /// # Errors
    /// When the slices do not fit the channels or each other, or writing fails.
    pub fn write_planar(&mut self, channels: &[&[f64]]) -> Result<()> {
        let length = common_length(&self.format, channels)?;
        let positions = self.piece_positions();
        let mut piece = std::mem::take(&mut self.piece);
        for from in (0..length).step_by(positions) {
            let to = length.min(from + positions);
            let part: Vec<&[f64]> = channels.iter().map(|channel| &channel[from..to]).collect();
            let encoded = encode_planar(&self.format, &part, &mut piece)?;
            self.encoded.clipped += encoded.clipped;
            self.encoded.not_a_number += encoded.not_a_number;
            self.write_bytes(&piece)?;
        }
        self.piece = piece;
        Ok(())
    }

    /// Writes samples of all channels in turn, whole ones only.
    ///
    /// # Errors
    /// When the values are no whole number of samples of all channels, or writing fails.
    pub fn write_interleaved(&mut self, values: &[f64]) -> Result<()> {
        let count = usize::from(self.format.channels);
        if !values.len().is_multiple_of(count) {
            return Err(Error::request(format!(
                "{} values for {count} channels",
                values.len()
            )));
        }
        for values in values.chunks(self.piece_positions() * count) {
            let planes: Vec<Vec<f64>> = (0..count)
                .map(|channel| values[channel..].iter().copied().step_by(count).collect())
                .collect();
            let planes: Vec<&[f64]> = planes.iter().map(Vec::as_slice).collect();
            self.write_planar(&planes)?;
        }
        Ok(())
    }

    /// Writes audio bytes that are already encoded, whole samples of all channels only.
    ///
    /// # Errors
    /// When the bytes are no whole number of samples of all channels, or writing fails.
    pub fn write_bytes(&mut self, bytes: &[u8]) -> Result<()> {
        let block = self.format.block_bytes();
        if !bytes.len().is_multiple_of(block) {
            return Err(Error::request(format!(
                "{} bytes in blocks of {block}",
                bytes.len()
            )));
        }
        self.out.write_all(bytes)?;
        self.data_bytes += bytes.len() as u64;
        Ok(())
    }

    /// Puts loudness that was measured while the samples went by into the broadcast extension.
    ///
    /// # Errors
    /// When the extension was started without loudness fields, or writing fails.
    pub fn set_loudness(&mut self, loudness: Loudness) -> Result<()> {
        let Some(payload) = self.loudness else {
            return Err(Error::request(
                "loudness for a broadcast extension without its fields".into(),
            ));
        };
        self.patch(payload + LOUDNESS_AT, &loudness.to_bytes())?;
        self.out.seek(SeekFrom::End(0))?;
        Ok(())
    }

    /// Pads the audio, writes the other chunks and the sizes, and flushes. Gives `out` back, so that a file can be synchronised.
    ///
    /// # Errors
    /// When writing fails.
    pub fn finish(mut self) -> Result<(Written, W)> {
        if !self.data_bytes.is_multiple_of(2) {
            self.out.write_all(&[0])?;
        }
        self.out.write_all(&self.tail)?;
        let (container, bytes) = self.write_sizes(self.data_bytes)?;
        let length = self.length();
        self.out.seek(SeekFrom::End(0))?;
        self.out.flush()?;
        let written = Written {
            container,
            bytes,
            data_offset: self.data_offset,
            data_bytes: self.data_bytes,
            length,
            encoded: self.encoded,
        };
        Ok((written, self.out))
    }

    /// Sample positions that are encoded before they are written.
    fn piece_positions(&self) -> usize {
        (PIECE_BYTES / self.format.block_bytes()).max(1)
    }

    /// Writes the sizes that follow from so many bytes of audio. Says which container that makes, and the size of the file.
    fn write_sizes(&mut self, data_bytes: u64) -> Result<(Container, u64)> {
        let audio = data_bytes.next_multiple_of(2);
        let bytes = self.data_offset + audio + self.tail.len() as u64;
        let riff_size = bytes - 8;
        let container = match self.container {
            ContainerChoice::Auto if riff_size <= LARGEST_RIFF => Container::Riff,
            ContainerChoice::Auto | ContainerChoice::Rf64 => Container::Rf64,
            ContainerChoice::Bw64 => Container::Bw64,
        };
        let length = data_bytes / self.format.block_bytes() as u64;
        let wide = container != Container::Riff;
        let narrow = |size: u64| U32::new(if wide { u32::MAX } else { size as u32 });
        let outer = match container {
            Container::Riff => ChunkId::RIFF,
            Container::Rf64 => ChunkId::RF64,
            Container::Bw64 => ChunkId::BW64,
        };
        self.patch(
            0,
            ChunkHead {
                id: outer,
                size: narrow(riff_size),
            }
            .as_bytes(),
        )?;
        if wide {
            let head = ChunkHead {
                id: ChunkId::DS64,
                size: U32::new(DS64_BYTES as u32),
            };
            self.patch(12, head.as_bytes())?;
            // BS.2088 calls the third field a dummy.
            let count = if container == Container::Rf64 {
                length
            } else {
                0
            };
            let record = Ds64Record {
                riff_size: U64::new(riff_size),
                data_size: U64::new(data_bytes),
                sample_count: U64::new(count),
                table_length: U32::ZERO,
            };
            self.patch(20, record.as_bytes())?;
        }
        if let Some(at) = self.fact {
            let count = u32::try_from(length).unwrap_or(u32::MAX);
            self.patch(at, U32::new(count).as_bytes())?;
        }
        self.patch(self.data_offset - 4, narrow(data_bytes).as_bytes())?;
        Ok((container, bytes))
    }

    fn patch(&mut self, at: u64, bytes: &[u8]) -> Result<()> {
        self.out.seek(SeekFrom::Start(at))?;
        self.out.write_all(bytes)?;
        Ok(())
    }
}

/// Head, payload and, when the size is odd, one zero byte.
fn push_chunk(out: &mut Vec<u8>, id: ChunkId, payload: &[u8]) -> Result<()> {
    let Ok(size) = u32::try_from(payload.len()) else {
        return Err(Error::request(format!(
            "a chunk {id} of {} bytes",
            payload.len()
        )));
    };
    out.extend(
        ChunkHead {
            id,
            size: U32::new(size),
        }
        .as_bytes(),
    );
    out.extend(payload);
    if !payload.len().is_multiple_of(2) {
        out.push(0);
    }
    Ok(())
}
