//! THE PRODUCT as one library: cards in; ties, clocks, an alignment, one recording and its report out.
//!
//! Modules stand in the order in which data flows through them; a module uses only modules named before it
//! (`tests/layers.rs` holds this). The engine never prints, never parses arguments and never opens a source for
//! writing; only [`output`], [`build`] and [`offload`] create files.

pub mod units;
pub mod finding;
pub mod progress;
pub mod error;
pub mod plain;
pub mod session;
pub mod media;
pub mod signal;
pub mod sounds;
pub mod quality;
pub mod take;
pub mod pair;
pub mod seek;
pub mod tie;
pub mod clock;
pub mod alignment;
pub mod calibration;
pub mod history;
pub mod establish;
pub mod render;
pub mod output;
pub mod build;
pub mod check;
pub mod report;
pub mod first_roll;
pub mod stability;
pub mod prep;
pub mod deliver;
pub mod view;
pub mod offload;

pub use error::{Error, Kind, Result};
