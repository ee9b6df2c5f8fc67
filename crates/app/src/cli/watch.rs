//! The engine's progress in, a bar with the time left on standard error out: on a terminal only.

use std::io::IsTerminal;
use std::sync::Mutex;

use engine::progress::Progress;
use indicatif::{ProgressBar, ProgressStyle};

/// Shows the current stage as one bar; silent when standard error is no terminal.
pub struct Watch {
    bar: Option<Mutex<ProgressBar>>,
}

impl Watch {
    /// A bar on a terminal, silence elsewhere.
    #[must_use]
    pub fn new() -> Self {
        let bar = std::io::stderr()
            .is_terminal()
            .then(|| Mutex::new(ProgressBar::hidden()));
        Self { bar }
    }

    /// Takes the bar off the screen.
    pub fn finish(&self) {
        if let Some(Ok(bar)) = self.bar.as_ref().map(Mutex::lock) {
            bar.finish_and_clear();
        }
    }
}

impl Progress for Watch {
    fn stage(&self, name: &str, total: u64) {
        let Some(Ok(mut bar)) = self.bar.as_ref().map(Mutex::lock) else {
            return;
        };
        bar.finish_and_clear();
        let style =
            ProgressStyle::with_template("  {msg} {percent:>3} %  {elapsed} gone, {eta} left")
                .unwrap_or_else(|_| ProgressStyle::default_bar());
        *bar = ProgressBar::new(total)
            .with_style(style)
            .with_message(name.to_string());
    }

    fn advance(&self, steps: u64) {
        if let Some(Ok(bar)) = self.bar.as_ref().map(Mutex::lock) {
            bar.inc(steps);
        }
    }
}
