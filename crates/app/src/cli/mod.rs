//! One file a command; each reads its arguments, calls the engine and says what it did.

pub mod args;
mod choices;
mod clocks_args;
mod practice_args;
mod exit;
mod watch;
pub mod say;
pub mod day;
mod survey;
mod prep;
mod first_roll;
mod align;
mod build;
mod join;
mod explain;
mod report;
mod calibrate;
mod stability;
pub mod timecode;
mod offload;
mod verify;
mod ltc;
mod signal;
mod rehearse;
mod demo;

use std::process::ExitCode;

use clap::Parser;

use args::{Cli, Command};
pub use exit::Ended;

/// Reads the command line, does it, and says how it ended.
pub fn run() -> ExitCode {
    let cli = Cli::parse();
    let json = cli.json;
    let ended = match &cli.command {
        Command::Demo(args) => demo::run(args, json),
        Command::Join(args) => join::run(args, json),
        Command::Survey(args) => survey::run(args, json),
        Command::Prep(args) => prep::run(args, json),
        Command::FirstRoll(args) => first_roll::run(args, json),
        Command::Align(args) => align::run(args, json),
        Command::Build(args) => build::run(args, json),
        Command::Explain(args) => explain::run(args, json),
        Command::Report(args) => report::run(args, json),
        Command::Calibrate(args) => calibrate::run(args, json),
        Command::Stability(args) => stability::run(args, json),
        Command::Offload(args) => offload::run(args, json),
        Command::Verify(args) => verify::run(args, json),
        Command::Ltc(args) => ltc::run(args, json),
        Command::Signal(command) => signal::run(command, json),
        Command::Rehearse(command) => rehearse::run(command, json),
        Command::Timecode(args) => timecode::run(args, json),
        Command::Desk(args) => crate::desk::open(&args.opened()),
    };
    match ended {
        Ok(ended) => ended.code(),
        Err(error) => {
            say::error(&error);
            exit::code_of(&error)
        }
    }
}
