//! Files written by other programs and by hand, byte by byte, read as takes.

#![expect(
    clippy::disallowed_methods,
    reason = "tests make their own cards in temporary folders"
)]

mod fixture;
mod cards;
mod joined;
mod stamps;
