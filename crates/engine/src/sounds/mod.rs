//! A specification in, the samples of a test sound out: what is recorded on all units as a common signal, to set levels by
//! and to measure with. Timecode is made by the crate `timecode`.

pub mod marker;
mod tone;

pub use marker::Marker;
pub use tone::Tone;

/// A sound that can be had from any position on, the same however it is cut.
pub trait TestSound {
    /// Fills `out` with the samples from `first` on.
    fn fill(&self, first: u64, out: &mut [f64]);
}
