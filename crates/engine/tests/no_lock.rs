//! Two units with nothing in common, or with one right answer only: a slice of every kind of `no_lock_table`. No chain may
//! lock on what is not there.

mod moving;
mod nothing;

use nothing::{KINDS, Kind, Said};

/// Long enough for either chain to be asked.
const SECONDS: f64 = 30.0;

/// Kinds whose one right answer must be found by the sound of the room.
const FOUND: [Kind; 2] = [Kind::WalkerAndFan, Kind::LoopWithinATimecodeFrame];

#[test]
fn no_kind_of_scene_locks_on_what_is_not_there() {
    for (which, (kind, name)) in KINDS.into_iter().enumerate() {
        let pair = kind.pair(40 + which as u64, SECONDS);
        let (common, room) = (pair.common(), pair.room());
        for said in [&common, &room] {
            assert!(!matches!(said, Said::Wrong(_)), "{name}: {said:?}");
        }
        if FOUND.contains(&kind) {
            assert_eq!(room, Said::Right, "{name}");
        }
    }
}

/// `docs/evaluation.md` shows each kind of scene once, and none that locked wrongly.
#[test]
fn the_table_handed_out_has_every_kind_and_no_false_lock() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../docs/evaluation.md");
    let document = std::fs::read_to_string(path).expect("docs/evaluation.md");
    for (_, name) in KINDS {
        let rows: Vec<&str> = document
            .lines()
            .filter(|line| line.starts_with(&format!("| {name} |")))
            .collect();
        assert_eq!(rows.len(), 1, "{name}");
        assert_eq!(rows[0].matches("/ 0 |").count(), 2, "{}", rows[0]);
    }
}
