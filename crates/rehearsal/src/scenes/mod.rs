//! Shoots that demos, tests and benches have in common, by name.

mod arrays;
mod coded;
mod common;
mod day;
mod demo;
mod three;

pub use arrays::{TwoArrays, two_arrays, unrelated};
pub use coded::{Coded, Generators, coded};
pub use common::{CommonSignal, Programme, common_signal, identical_clocks};
pub use day::{Day, day};
pub use demo::{Demo, demo};
pub use three::{Shared, ThreeUnits, three_units};
