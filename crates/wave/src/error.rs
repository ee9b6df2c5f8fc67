//! What failed and where, out: I/O, a broken format, or something legal that is not supported.

use std::fmt;
use std::io;

use crate::chunk::ChunkId;

/// The result of this crate.
pub type Result<T> = std::result::Result<T, Error>;

/// Why a file could not be read or written.
///
/// The rule for the last two: a file that breaks its format is damaged or no wave file; a file that is legal but
/// unsupported is fine, only this crate cannot use it.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// Reading or writing failed.
    #[error("{0}")]
    Io(#[from] io::Error),
    /// The bytes break their format.
    #[error("{0}")]
    Malformed(Complaint),
    /// Legal, but not supported here.
    #[error("{0}, which is legal but not supported")]
    Unsupported(Complaint),
}

/// What was found where, and what the format expects there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Complaint {
    /// Byte offset in the file of what is complained about.
    pub offset: u64,
    /// The chunk it stands in.
    pub chunk: ChunkId,
    /// What was found.
    pub found: String,
    /// What was expected.
    pub expected: String,
    /// The clause that says so.
    pub clause: &'static str,
}

impl fmt::Display for Complaint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "chunk {} at byte {}: found {}, expected {} ({})",
            self.chunk, self.offset, self.found, self.expected, self.clause
        )
    }
}

impl Error {
    /// What is complained about, unless reading or writing itself failed.
    #[must_use]
    pub fn complaint(&self) -> Option<&Complaint> {
        match self {
            Self::Io(_) => None,
            Self::Malformed(complaint) | Self::Unsupported(complaint) => Some(complaint),
        }
    }

    /// A request that makes no sense, such as a channel the file does not have.
    pub(crate) fn request(message: String) -> Self {
        Self::Io(io::Error::new(io::ErrorKind::InvalidInput, message))
    }
}
