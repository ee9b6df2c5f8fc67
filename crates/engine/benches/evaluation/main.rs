//! Rehearsed shoots of many seeds in, the tables of `docs/evaluation.md` out, as rows to be pasted there. Runs only when
//! asked, after `cargo bench -p commontime-engine --bench evaluation --`:
//! `tie [SEEDS]` a common signal and a constant clock beside the Cramer-Rao bound (`bound.rs`), and clocks that wander;
//! `uncertainty common|room [SEEDS]` how often the truth lies within two sigma, cell by cell;
//! `room [SEEDS]` clocks by content over lengths, distances and reverberation times;
//! `echoes [ROOMS]` how often the highest peak of the content is an echo's, over rooms of random size;
//! `detectors [SEEDS]` faults put into rehearsal sounds beside what the quality check says of them;
//! `drift [PART]` the full-length shoot, or a part of its length, whose rate goes 8, 14, 8 ppm, and a sine of 2 ppm over 30 minutes.
#![expect(clippy::print_stdout, reason = "tables for whoever asked for them")]

#[path = "../../tests/moving/mod.rs"]
mod moving;
mod bound;
mod detectors;
mod echoes;
mod scenes;
mod score;
mod tables;

fn main() {
    let words: Vec<String> = std::env::args()
        .skip(1)
        .filter(|word| !word.starts_with("--"))
        .collect();
    let word = |i: usize| words.get(i).map_or("", String::as_str);
    let seeds = |i: usize, default: u64| word(i).parse().unwrap_or(default);
    match (word(0), word(1)) {
        ("tie", _) => tables::tie(seeds(1, 20)),
        ("uncertainty", "common") => tables::uncertainty_common(seeds(2, 20)),
        ("uncertainty", "room") => tables::uncertainty_room(seeds(2, 12)),
        ("room", _) => tables::room(seeds(1, 5)),
        ("echoes", _) => echoes::echoes(seeds(1, 128)),
        ("detectors", _) => detectors::detectors(seeds(1, 20)),
        ("drift", part) => tables::drift(part.parse().unwrap_or(1.0)),
        _ => {}
    }
}
