//! COUNTING: frame rates as exact fractions, labels, drop-frame and midnight; and labels as sound ([`ltc`]).
//!
//! A *timecode frame* is one label's duration. Positions are counted in whole timecode frames since 00:00:00:00 or in audio
//! samples since midnight; both are exact integers, and conversions go through exact fractions in 128 bits.
//!
//! ```
//! use timecode::{Counting, FrameRate, Label};
//! let drop = Counting::new(FrameRate::F29_97, true)?;
//! let label = Label::parse("10:00:00;00", drop)?;
//! assert_eq!(label.to_samples(48_000), 1_727_998_272);
//! assert!(Label::parse("00:01:00;00", drop).is_err(), "drop-frame counting has no such label");
//! # Ok::<(), timecode::Error>(())
//! ```

mod rate;
mod label;
pub mod ltc;
pub mod sums;

pub use label::{Digits, Label, day_in_samples};
pub use rate::{Counting, FrameRate};

/// What is wrong with a rate, a counting or a label.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Error {
    /// No fraction or decimal in use.
    #[error("`{0}` is no timecode frame rate; expected e.g. 25, 29.97 or 30000/1001")]
    Rate(String),
    /// Drop-frame counting is defined for the 30 and 60-frame counts only (ST 12-1, 5.2).
    #[error("drop-frame counting needs 30 or 60 timecode frames a second, not {0}")]
    NoDrop(FrameRate),
    /// Not of the form hh:mm:ss:ff.
    #[error("`{0}` is no label; expected hh:mm:ss:ff, or hh:mm:ss;ff for drop-frame")]
    Form(String),
    /// Not a value, and not two with a sign between them.
    #[error(
        "`{0}` is nothing to work out; expected a label (10:00:00:00), or a number with frames, samples, seconds or ppm, \
         or a label, + or -, and another of them, each a word by itself"
    )]
    Sum(String),
    /// Of the right form, but no such label exists.
    #[error("there is no label {label}: {why}")]
    NoSuchLabel {
        /// The label as written.
        label: String,
        /// Which rule it breaks.
        why: &'static str,
    },
}
