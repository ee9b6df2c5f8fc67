//! Generated pairs of takes in which there is nothing to find (or one right answer only) in, how often either chain locked
//! out, as rows of `docs/evaluation.md`: `cargo bench -p commontime-engine --bench no_lock_table -- run [SEEDS [SECONDS]]`.
#![expect(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a table for whoever asked for it"
)]

#[path = "../tests/moving/mod.rs"]
mod moving;
#[path = "../tests/nothing/mod.rs"]
mod nothing;

use nothing::{KINDS, Said};

fn main() {
    let words: Vec<String> = std::env::args()
        .skip(1)
        .filter(|w| !w.starts_with("--"))
        .collect();
    if words.first().map(String::as_str) != Some("run") {
        return;
    }
    let number =
        |i: usize, default: f64| words.get(i).and_then(|w| w.parse().ok()).unwrap_or(default);
    let (seeds, seconds) = (number(1, 15.0) as u64, number(2, 40.0));
    println!("| scene | pairs | common signal: right / wrong | room: right / wrong |");
    println!("|---|---|---|---|");
    let (mut pairs, mut wrong) = (0, 0);
    for (kind, name) in KINDS {
        let mut counts = [[0; 2]; 2];
        for seed in 1..=seeds {
            let pair = kind.pair(seed, seconds);
            for (count, said) in counts.iter_mut().zip([pair.common(), pair.room()]) {
                match said {
                    Said::Nothing => {}
                    Said::Right => count[0] += 1,
                    Said::Wrong(how) => {
                        count[1] += 1;
                        eprintln!("{name}, seed {seed}: {how}");
                    }
                }
            }
        }
        pairs += seeds;
        wrong += counts[0][1] + counts[1][1];
        let [common, room] = counts.map(|[right, wrong]| format!("{right} / {wrong}"));
        println!("| {name} | {seeds} | {common} | {room} |");
    }
    println!("\n{pairs} pairs, {wrong} false locks.");
}
