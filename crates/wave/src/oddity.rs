//! What was read although it departs from the format, out: kind, place, found, expected, clause.

use std::fmt;

use crate::chunk::ChunkId;
use crate::error::Complaint;

/// One departure from the format that did not stop the reading.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Oddity {
    /// What kind it is, for machines.
    pub kind: OddityKind,
    /// Where it is, what was found and what was expected.
    pub what: Complaint,
}

/// The kinds of [`Oddity`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[non_exhaustive]
pub enum OddityKind {
    /// The data size was never written: the recording was not closed. The length comes from the file.
    Unfinalised,
    /// The data size is larger than the file: the file was cut short. The length comes from the file.
    DataBeyondFile,
    /// The audio goes on after the end that the data size declares. The length comes from the file.
    DataSizeTooSmall,
    /// More than 4 GiB of audio under 32-bit sizes that wrapped. The length comes from the file.
    WrappedSize,
    /// The outermost size does not match the file.
    RiffSizeWrong,
    /// The audio does not end with a whole sample of every channel; the broken rest is left out.
    PartialSample,
    /// The file has no audio samples at all.
    NoAudio,
    /// A chunk of odd size lacks its pad byte.
    MissingPad,
    /// A pad byte that is not zero.
    PadNotZero,
    /// RF64 or BW64 without its ds64 chunk.
    Ds64Missing,
    /// A ds64 chunk that is not the first one.
    Ds64NotFirst,
    /// A ds64 chunk in a plain RIFF file.
    Ds64InRiff,
    /// The table of a ds64 chunk promises more entries than the chunk holds.
    Ds64Table,
    /// RF64 or BW64 with the true sizes in its 32-bit fields, which should be 0xFFFFFFFF.
    RealSizesInRf64,
    /// RF64 or BW64 with another mark than 0xFFFFFFFF in a 32-bit size field.
    WrongSentinel,
    /// The 32-bit size and ds64 contradict each other.
    SizesDisagree,
    /// The format chunk has an unusual size.
    FmtSize,
    /// The block size does not follow from channels and bits.
    BlockAlign,
    /// The byte rate does not follow from rate and block size.
    ByteRate,
    /// The number of valid bits is zero or does not fit its container.
    ValidBits,
    /// More than one format chunk.
    TwoFmt,
    /// The format chunk stands after the audio.
    FmtAfterData,
    /// More than one chunk of audio; the first that holds any is read.
    TwoData,
    /// The fact chunk states another number of samples than the audio has.
    FactDisagrees,
    /// A chunk other than the audio goes on beyond the end of the file.
    ChunkBeyondFile,
    /// Bytes after the last chunk that are no chunk.
    NotAChunk,
    /// More chunks than are read.
    TooManyChunks,
    /// A chunk longer than is read of it.
    ChunkTooLong,
    /// A metadata chunk that is shorter than its fixed part.
    ChunkTooShort,
    /// Text with characters that its chunk does not allow.
    BextText,
    /// iXML that is no well-formed XML, read as far as it goes.
    IxmlMalformed,
    /// iXML in another encoding than it declares, with a byte-order mark or padded with zero bytes.
    IxmlEncoding,
    /// An iXML value that is not written as the document says, understood all the same.
    IxmlValue,
}

impl OddityKind {
    /// A stable name for machines: lower case, dashes.
    #[must_use]
    pub fn code(self) -> &'static str {
        match self {
            Self::Unfinalised => "not-closed",
            Self::DataBeyondFile => "cut-short",
            Self::DataSizeTooSmall => "data-size-too-small",
            Self::WrappedSize => "size-wrapped",
            Self::RiffSizeWrong => "riff-size-wrong",
            Self::PartialSample => "partial-sample",
            Self::NoAudio => "no-audio",
            Self::MissingPad => "pad-missing",
            Self::PadNotZero => "pad-not-zero",
            Self::Ds64Missing => "ds64-missing",
            Self::Ds64NotFirst => "ds64-not-first",
            Self::Ds64InRiff => "ds64-in-riff",
            Self::Ds64Table => "ds64-table",
            Self::RealSizesInRf64 => "real-sizes-in-rf64",
            Self::WrongSentinel => "wrong-size-mark",
            Self::SizesDisagree => "sizes-disagree",
            Self::FmtSize => "fmt-size",
            Self::BlockAlign => "block-align",
            Self::ByteRate => "byte-rate",
            Self::ValidBits => "valid-bits",
            Self::TwoFmt => "two-fmt",
            Self::FmtAfterData => "fmt-after-data",
            Self::TwoData => "two-data",
            Self::FactDisagrees => "fact-disagrees",
            Self::ChunkBeyondFile => "chunk-beyond-file",
            Self::NotAChunk => "not-a-chunk",
            Self::TooManyChunks => "too-many-chunks",
            Self::ChunkTooLong => "chunk-too-long",
            Self::ChunkTooShort => "chunk-too-short",
            Self::BextText => "bext-text",
            Self::IxmlMalformed => "ixml-malformed",
            Self::IxmlEncoding => "ixml-encoding",
            Self::IxmlValue => "ixml-value",
        }
    }

    /// Whether the length of the audio had to be taken from the file because its header is wrong.
    #[must_use]
    pub fn length_from_file(self) -> bool {
        matches!(
            self,
            Self::Unfinalised | Self::DataBeyondFile | Self::DataSizeTooSmall | Self::WrappedSize
        )
    }
}

impl fmt::Display for Oddity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.kind.code(), self.what)
    }
}

/// Collects oddities of one chunk.
#[derive(Debug)]
pub(crate) struct Oddities<'a> {
    /// Byte offset of the chunk's payload in the file.
    pub offset: u64,
    /// The chunk.
    pub chunk: ChunkId,
    /// Where they go.
    pub list: &'a mut Vec<Oddity>,
}

/// The most oddities that are kept of one file, so that a hostile one cannot fill the memory with them.
const MOST_ODDITIES: usize = 1000;

impl Oddities<'_> {
    /// Adds one that stands `at` bytes into the payload.
    pub fn add(&mut self, kind: OddityKind, at: u64, words: Words) {
        if self.list.len() < MOST_ODDITIES {
            let what = words.at(self.chunk, self.offset.saturating_add(at));
            self.list.push(Oddity { kind, what });
        }
    }
}

/// What was found, what was expected, and the clause: a [`Complaint`] without its place.
#[derive(Debug)]
pub(crate) struct Words {
    /// What was found.
    pub found: String,
    /// What was expected.
    pub expected: String,
    /// The clause that says so.
    pub clause: &'static str,
}

impl Words {
    /// Found, expected, clause.
    pub fn new(
        found: impl Into<String>,
        expected: impl Into<String>,
        clause: &'static str,
    ) -> Self {
        Self {
            found: found.into(),
            expected: expected.into(),
            clause,
        }
    }

    /// The complaint with its place.
    pub fn at(self, chunk: ChunkId, offset: u64) -> Complaint {
        Complaint {
            offset,
            chunk,
            found: self.found,
            expected: self.expected,
            clause: self.clause,
        }
    }
}
