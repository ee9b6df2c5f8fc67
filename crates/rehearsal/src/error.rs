//! Why a shoot could not be performed or written.

/// The result of performing or writing a shoot.
pub type Result<T> = std::result::Result<T, Error>;

/// Why a shoot could not be performed or written.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// The description contradicts itself.
    #[error("the shoot cannot be performed: {0}")]
    Invalid(String),
}

impl Error {
    pub(crate) fn invalid(reason: impl Into<String>) -> Self {
        Self::Invalid(reason.into())
    }
}
