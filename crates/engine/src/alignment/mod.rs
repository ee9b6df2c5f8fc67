//! The waist of the program: joint takes, clocks, bases and findings as plain data in one JSON file (design section 7).
//! What stands before it may be fuzzy and is judged by tolerances; what stands after it is a pure function of this file
//! and the sources.

mod file;

pub use file::*;
