//! An alignment and its sounds in, samples on the lead's clock out: a pure function of time. The value of channel `c` of
//! unit `u` at lead position `n` has no state, no delay and no memory of what was asked before, so that any division
//! into ranges, in any order, on any number of threads gives the same bits.

mod course;
mod renderer;
#[cfg(test)]
mod tests;

pub use course::{Course, Segment};
pub use renderer::{Part, Renderer};
