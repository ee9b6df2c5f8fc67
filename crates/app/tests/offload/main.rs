//! Cards copied to media of their own: against the hash-list tool of the American Society of Cinematographers both ways,
//! with faults injected for real, and killed at random moments. Needs the right to mount small file systems.
#![expect(
    clippy::disallowed_methods,
    reason = "the tests damage their own copies"
)]

#[path = "../shoots/mod.rs"]
mod shoots;
mod bench;
mod reference;
mod changes;
mod refused;
mod faults;
mod killed;
mod repaired;
