//! Linear timecode (LTC): labels sent as sound, 80 bits a timecode frame in biphase-mark code (SMPTE ST 12-1, 9).
//!
//! Reading goes two ways: by the edges of code that is clean, and by the likeliest sequence of levels where it is not.
//! Either way a word counts only when its label goes on from its neighbours', so noise makes words missing, not wrong.

mod user_bits;
mod word;
mod encode;
mod line;
mod edges;
mod sequence;
mod listen;
mod runs;
mod pace;
mod decode;

pub use decode::{Decoder, Jump, Reading};
pub use encode::{Encoder, RISE_S, Signal};
pub use pace::{INDEPENDENT, Pace};
pub use runs::{Direction, Dropping, Run, Timed};
pub use user_bits::{Date, Day, Meaning, UserBits, Zone};
pub use word::{Layout, Word};
