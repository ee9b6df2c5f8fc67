//! The sound of one place at the microphones of two units in; how the follower's apparent delay changes over the take
//! out. The chain is that of coherence drift (Markovich-Golan, Gannot, Cohen, IWAENC 2012) and secondary
//! cross-correlation (Chinaev, Thuene, Enzner, TASLP 2021), with lags up to the whole take.

pub mod decimate;
pub mod edges;
pub mod listening;
pub mod phasors;
pub mod screen;
pub mod templates;
pub mod vote;
