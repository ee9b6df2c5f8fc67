//! What measuring and rendering share: access to sound, the interpolation kernel, windows and transforms.

pub mod sound;
pub mod mended;
pub mod stretch;
pub mod kernel;
pub mod spectrum;
pub mod levels;
pub mod order;
pub mod warp;
mod widest;
pub mod at_rate;

pub use at_rate::{AtRate, length_at};
pub use kernel::{Kernel, KernelSpec};
pub use levels::{LevelMeter, Levels};
pub use mended::{Mended, Seam, Seams};
pub use order::median;
pub use sound::{MemorySound, Sound};
pub use spectrum::{Transform, hann};
pub use stretch::Stretch;
pub use warp::{Lines, warp};
pub(crate) use widest::{largest, smallest, squares, total, widest};
