//! Takes, their length and a folder in, the cards of a day on two units without stamps out, for timing how takes are found by
//! their sound: `cargo run --release --example many_takes -- TAKES SECONDS FOLDER`.

use std::path::Path;

use rehearsal::scenes::{Day, day};
use rehearsal::{Stamp, write_shoots};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let [takes, seconds, folder] = words.as_slice() else {
        return Err("expected TAKES SECONDS FOLDER".into());
    };
    let choice = Day {
        takes: takes.parse()?,
        seconds: seconds.parse()?,
        ..Day::default()
    };
    let shoots = day(&choice, |_, _| Stamp::absent());
    write_shoots(&shoots, Path::new(folder), |_| {})?;
    Ok(())
}
