//! A day of takes on two units without stamps, written as cards: `many_takes -- TAKES SECONDS DIR`.
#![expect(clippy::print_stderr, reason = "says what it made")]

use std::path::PathBuf;

use rehearsal::scenes::{Day, day};
use rehearsal::{Stamp, write_shoots};

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let [takes, seconds, folder] = &words[..] else {
        eprintln!("many_takes TAKES SECONDS DIR");
        return;
    };
    let choice = Day {
        takes: takes.parse().unwrap_or(40),
        seconds: seconds.parse().unwrap_or(120.0),
        ..Day::default()
    };
    match write_shoots(
        &day(&choice, |_, _| Stamp::absent()),
        &PathBuf::from(folder),
        |_| {},
    ) {
        Ok(truths) => eprintln!("{} takes on each of two cards in {folder}", truths.len()),
        Err(error) => eprintln!("{error}"),
    }
}
