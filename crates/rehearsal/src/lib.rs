//! TRUTH: shoots whose offsets, drift, wander and rooms are known by construction, performed in memory or written as
//! real files.
//!
//! A [`Shoot`] says what sounds where and which units record it; [`Shoot::perform`] samples the continuous-time sound
//! at each unit's own instants. Nothing here uses the engine: the arithmetic is a second, independent one.

mod error;
mod rng;
mod kernel;
mod convolve;
mod clock;
mod room;
mod sound;
mod stamp;
mod rig;
mod shoot;
mod field;
mod unit;
mod perform;
mod truth;
mod card;
mod write;
mod timecode_track;
pub mod material;
pub mod scenes;
pub mod practice;

pub use clock::{ClockTruth, Crystal, Segment, Sine, Slip};
pub use error::{Error, Result};
pub use perform::{Performance, Recorded};
pub use rig::{Channel, Encoding, Feed, Polarity, UnitSpec};
pub use room::{Room, SPEED_OF_SOUND_M_PER_S};
pub use shoot::{Shoot, Signal, Source};
pub use sound::{Sound, Tone};
pub use stamp::{Counting, FrameRate, Resolution, Stamp};
pub use timecode_track::{TimecodeTrack, TrackWord};
pub use truth::{Comparison, Truth, UnitTruth};
pub use write::{TRUTH_FILE, read_truth, write_shoots};
