//! BYTES in, chunks and sample values out: RIFF, RF64 and BW64 wave files and the chunks that matter.
//!
//! Reading is kind: whatever can be read without guessing is read, and every departure from the format is listed as
//! an [`Oddity`]. Writing is strict. The crate knows no takes, no timecode and no signal processing, and its memory
//! does not depend on the length of a file.
//!
//! Samples are counted per channel from the first one of the file, in 64 bits. Values are `f64`; integers are scaled
//! by `1 / 2^(bits - 1)`, so full scale is -1.0 up to just below +1.0 and every stored value comes back exactly.
//!
//! ```
//! use std::io::Cursor;
//! use wave::{Encoding, Format, WaveFile, WaveWriter, WriteSpec};
//!
//! let spec = WriteSpec::new(Format::plain(2, 48_000, Encoding::Int24));
//! let mut writer = WaveWriter::new(Cursor::new(Vec::new()), &spec)?;
//! writer.write_planar(&[&[0.5, -0.5], &[0.25, -1.0]])?;
//! let (written, file) = writer.finish()?;
//! assert_eq!(written.length, 2);
//!
//! let file = WaveFile::open(file.into_inner())?;
//! let mut right = [0.0; 2];
//! file.read(&[1], 0, &mut [&mut right])?;
//! assert_eq!(right, [0.25, -1.0]);
//! # Ok::<(), wave::Error>(())
//! ```
//!
//! What is no wave file is refused with the place and the reason:
//!
//! ```
//! let error = wave::Header::read(&b"FORM\0\0\0\x1eAIFF".to_vec()).unwrap_err();
//! assert_eq!(error.to_string(), "chunk FORM at byte 0: found \"FORM\", expected RIFF, RF64 or BW64 (RIFF 1991, \
//! chapter 2)");
//! ```

mod read_at;
mod error;
mod oddity;
mod text;
mod tile;
mod chunk;
mod format;
mod decode;
mod encode;
mod ixml;
mod header;
mod file;
mod writer;

pub use chunk::bext::{Bext, Loudness};
pub use chunk::markers::{Marker, marker_chunks};
pub use chunk::{Chunk, ChunkEntry, ChunkId};
pub use encode::{Encoded, encode_planar};
pub use error::{Complaint, Error, Result};
pub use file::WaveFile;
pub use format::{Encoding, Format, Tag};
pub use header::{Container, Header};
pub use ixml::{FileSet, History, Ixml, Node, Speed, SyncPoint, Track, parse_rate};
pub use oddity::{Oddity, OddityKind};
pub use read_at::{ReadAt, read_exact_at};
pub use writer::{ContainerChoice, WaveWriter, WriteSpec, Written};
