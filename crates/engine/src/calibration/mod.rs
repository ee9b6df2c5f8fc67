//! Stored offsets of pairs of units in their modes: plain data in one JSON file that people keep with their rig. What was
//! measured once on a calibration take in, what may be added to stamps on a later day out; numbers and words only.
//!
//! Two units' stamps differ from the truth by more than their jam: converters, filters and limiters delay, each unit after
//! its own fashion, always alike in the same modes. That constant is what is kept: the offset as measured on a common signal
//! less the offset by the stamps, both as in the alignment file (the lead position of the follower's sample 0).

mod constant;
mod file;
mod lookup;
mod modes;

pub use constant::{Constant, Observation, Unsteady, constant_of};
pub use file::{Calibrations, Entry, FORMAT, VERSION};
pub use lookup::{Found, look_up};
pub use modes::{Difference, Mode, SetUnit, differences};

/// What rounding to the sample leaves of the difference of two stamps, one standard deviation, samples: the root of 2/12.
pub const TWO_STAMPS: f64 = 0.408_248_290_463_863;
