//! TRUTH: shoots whose offsets, drift, wander and rooms are known by construction, written as real files.
