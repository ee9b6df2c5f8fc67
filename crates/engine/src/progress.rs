//! How long work tells whoever waits how far it is; the engine itself never prints.

/// Receives the progress of long work. Implementations must be cheap: `advance` is called often and from many threads.
pub trait Progress: Sync {
    /// A stage of `total` steps begins; `name` is a short phrase such as "rendering evening-02".
    fn stage(&self, name: &str, total: u64);
    /// `steps` more of the current stage are done.
    fn advance(&self, steps: u64);
    /// Whether nobody wants the work any more: it then ends with [`Kind::Stopped`](crate::Kind::Stopped) as soon as it can,
    /// and what it wrote has no finished name.
    fn is_stopped(&self) -> bool {
        false
    }
}

/// An error when nobody wants the work any more.
///
/// # Errors
/// [`Kind::Stopped`](crate::Kind::Stopped).
pub fn go_on(progress: &dyn Progress) -> crate::Result<()> {
    match progress.is_stopped() {
        true => Err(crate::Error::new(crate::Kind::Stopped, "stopped as asked")
            .then("start it again when it is wanted; nothing half done was kept")),
        false => Ok(()),
    }
}

/// Tells nobody.
#[derive(Debug, Clone, Copy, Default)]
pub struct Silent;

impl Progress for Silent {
    fn stage(&self, _name: &str, _total: u64) {}
    fn advance(&self, _steps: u64) {}
}
