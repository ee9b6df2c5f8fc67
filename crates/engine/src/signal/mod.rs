//! What measuring and rendering share: access to sound, the interpolation kernel, windows and transforms.

pub mod sound;

pub use sound::{MemorySound, Sound};
