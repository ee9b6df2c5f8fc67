//! The engine's one error type: what failed, where, what was found, what was expected and what to do.

use std::fmt;
use std::path::{Path, PathBuf};

/// The engine's result.
pub type Result<T> = std::result::Result<T, Error>;

/// The class of a failure; front ends choose their exit status by it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Reading or writing failed.
    Io,
    /// The bytes break their format.
    Format,
    /// Legal, but not supported here.
    Unsupported,
    /// The request itself makes no sense (unknown unit, contradictory options).
    Usage,
    /// Refused to protect something: an output that exists, a destination inside a card.
    Refused,
    /// What was written is not what was meant.
    Verification,
    /// Whoever waited wanted no more.
    Stopped,
}

impl Kind {
    /// The graver of two: a verification that failed, then reading and writing, then what was refused.
    #[must_use]
    pub fn graver(self, other: Self) -> Self {
        let grade = |kind| match kind {
            Self::Verification => 2,
            Self::Io | Self::Format => 1,
            Self::Unsupported | Self::Usage | Self::Refused | Self::Stopped => 0,
        };
        if grade(other) > grade(self) {
            other
        } else {
            self
        }
    }
}

/// A failure with its place and its remedy.
#[derive(Debug)]
pub struct Error {
    kind: Kind,
    path: Option<PathBuf>,
    message: String,
    next_step: String,
    source: Option<Box<dyn std::error::Error + Send + Sync>>,
}

impl Error {
    /// A failure of `kind` described by `message`: lower case, no full stop, found and expected named.
    pub fn new(kind: Kind, message: impl Into<String>) -> Self {
        Self {
            kind,
            path: None,
            message: message.into(),
            next_step: String::new(),
            source: None,
        }
    }

    /// Says which file or folder it concerns.
    #[must_use]
    pub fn at(mut self, path: impl AsRef<Path>) -> Self {
        self.path = Some(path.as_ref().to_path_buf());
        self
    }

    /// Says what to do next.
    #[must_use]
    pub fn then(mut self, next_step: impl Into<String>) -> Self {
        self.next_step = next_step.into();
        self
    }

    /// Keeps the error underneath.
    #[must_use]
    pub fn from_source(
        mut self,
        source: impl Into<Box<dyn std::error::Error + Send + Sync>>,
    ) -> Self {
        self.source = Some(source.into());
        self
    }

    /// The class of the failure.
    #[must_use]
    pub fn kind(&self) -> Kind {
        self.kind
    }

    /// The file or folder concerned, if one is.
    #[must_use]
    pub fn path(&self) -> Option<&Path> {
        self.path.as_deref()
    }

    /// The failure in words, without its place and its remedy.
    #[must_use]
    pub fn message(&self) -> &str {
        &self.message
    }

    /// What to do next; empty when there is nothing to advise.
    #[must_use]
    pub fn next_step(&self) -> &str {
        &self.next_step
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(path) = &self.path {
            write!(f, "{}: ", path.display())?;
        }
        write!(f, "{}", self.message)?;
        if let Some(source) = &self.source {
            write!(f, ": {source}")?;
        }
        if !self.next_step.is_empty() {
            write!(f, "; {}", self.next_step)?;
        }
        Ok(())
    }
}

impl std::error::Error for Error {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        self.source
            .as_ref()
            .map(|source| &**source as &(dyn std::error::Error + 'static))
    }
}
