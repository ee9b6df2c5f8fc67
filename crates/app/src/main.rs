//! Command line in, exit status out: the `commontime` binary.

mod cli;
mod desk;

use std::process::ExitCode;

fn main() -> ExitCode {
    cli::run()
}
