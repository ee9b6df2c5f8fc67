//! Why a shoot could not be performed or written.

use std::path::{Path, PathBuf};

/// The result of performing or writing a shoot.
pub type Result<T> = std::result::Result<T, Error>;

/// Why a shoot could not be performed or written.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// The description contradicts itself.
    #[error("the shoot cannot be performed: {0}")]
    Invalid(String),
    /// A file could not be read or written.
    #[error("{}", path.display())]
    File {
        /// Which file.
        path: PathBuf,
        /// Why.
        #[source]
        source: Box<dyn std::error::Error + Send + Sync>,
    },
    /// A program that prepares sounds is missing or failed.
    #[error("{program}: {reason}")]
    Program {
        /// Which program.
        program: String,
        /// What it said.
        reason: String,
    },
}

impl Error {
    pub(crate) fn invalid(reason: impl Into<String>) -> Self {
        Self::Invalid(reason.into())
    }

    pub(crate) fn file(
        path: &Path,
        source: impl Into<Box<dyn std::error::Error + Send + Sync>>,
    ) -> Self {
        Self::File {
            path: path.to_owned(),
            source: source.into(),
        }
    }

    pub(crate) fn program(program: &str, reason: impl Into<String>) -> Self {
        Self::Program {
            program: program.to_owned(),
            reason: reason.into(),
        }
    }
}
