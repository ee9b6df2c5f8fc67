//! Command line in, exit status out: the `commontime` binary.
fn main() {}
