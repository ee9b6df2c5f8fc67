//! A length in minutes, a kind and a folder in, the cards of a long joint take on 2 x 6 channels out, for timing the main job:
//! `cargo run --release --example long_shoot -- MINUTES common|room|code FOLDER`. Needs 140 MB of disk for every minute.

use std::path::Path;

use rehearsal::scenes::{Coded, CommonSignal, TwoArrays, coded, common_signal, two_arrays};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let [minutes, kind, folder] = words.as_slice() else {
        return Err("expected MINUTES common|room|code FOLDER".into());
    };
    let seconds = minutes.parse::<f64>()? * 60.0;
    let shoot = match kind.as_str() {
        "common" => common_signal(&CommonSignal {
            seconds,
            mics: 5,
            ..CommonSignal::default()
        }),
        "room" => two_arrays(&TwoArrays {
            seconds,
            mics: 6,
            ..TwoArrays::default()
        }),
        "code" => coded(&Coded {
            arrays: TwoArrays {
                seconds,
                mics: 5,
                ..TwoArrays::default()
            },
            ..Coded::default()
        }),
        other => return Err(format!("{other} is none of common, room, code").into()),
    };
    shoot.write(Path::new(folder))?;
    Ok(())
}
