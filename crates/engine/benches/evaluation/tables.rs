//! Which scenes make which table in, its rows out.

use rehearsal::scenes::TwoArrays;

use super::bound::Bound;
use super::moving::Motion;
use super::scenes::{BAND_HZ, COURSES, Course, Scene, arrays, moving, talker, tie as wire};
use super::score::{Score, by_room, by_wire, mean, quantiles, root, within_two};

/// Everything scored in one cell, and how many were refused.
#[derive(Default)]
struct Cell {
    scores: Vec<Score>,
    refused: usize,
}

impl Cell {
    fn of(seeds: u64, scored: impl Fn(u64) -> Result<Score, String>) -> Self {
        let mut cell = Self::default();
        for seed in 1..=seeds {
            match scored(seed) {
                Ok(score) => cell.scores.push(score),
                Err(_) => cell.refused += 1,
            }
        }
        cell
    }

    fn all(&self, value: impl Fn(&Score) -> f64) -> Vec<f64> {
        self.scores.iter().map(value).collect()
    }

    fn locked(&self) -> String {
        format!(
            "{} / {}",
            self.scores.len(),
            self.scores.len() + self.refused
        )
    }

    /// How often, in percent, offset, rate and curve lie within two sigma, and how large the errors are in sigma.
    fn coverage(&self) -> String {
        let percent = |share: f64| format!("{:.0}", 100.0 * share);
        let (offset, rate) = (self.all(|s| s.offset_z), self.all(|s| s.rate_z));
        format!(
            "{} | {} ({:.2}) | {} ({:.2}) | {} ({:.2})",
            self.locked(),
            percent(within_two(&offset)),
            root(&offset),
            percent(within_two(&rate)),
            root(&rate),
            percent(mean(&self.all(|s| s.within))),
            root(&self.all(|s| s.z)),
        )
    }
}

/// The tie case beside the bound, then with wander.
pub fn tie(seeds: u64) {
    println!(
        "| length | SNR | locked | offset, samples rms | of the bound | rate, ppm rms | of the bound |"
    );
    println!("|---|---|---|---|---|---|---|");
    let seconds = 60.0;
    for snr_db in [40.0, 20.0, 0.0] {
        let cell = Cell::of(seeds, |seed| {
            by_wire(&wire(seed, seconds, snr_db, Course::Constant))
        });
        let bound = Bound::new(seconds, snr_db, BAND_HZ);
        let offset = root(&cell.all(|s| s.offset));
        let rate = root(&cell.all(|s| s.rate_ppm));
        println!(
            "| {seconds:.0} s | {snr_db:.0} dB | {} | {offset:.1e} | {:.2} | {rate:.1e} | {:.2} |",
            cell.locked(),
            offset / bound.offset,
            rate / bound.rate_ppm
        );
    }
    println!(
        "\n| programme, 120 s, 0.3 ppm of wander (97 s and 41 s) | SNR | locked | clock, samples rms: median | 90 % | worst |"
    );
    println!("|---|---|---|---|---|---|");
    let few = seeds.div_ceil(4);
    let kinds: [(&str, Wired); 2] = [("flat", wire), ("talker", talker)];
    for (name, scene) in kinds {
        for snr_db in [40.0, 20.0, 0.0] {
            let cell = Cell::of(few, |seed| {
                by_wire(&scene(seed, 120.0, snr_db, Course::Quick))
            });
            let [median, most, worst] = quantiles(&cell.all(|s| s.rms));
            println!(
                "| {name} | {snr_db:.0} dB | {} | {median:.1e} | {most:.1e} | {worst:.1e} |",
                cell.locked()
            );
        }
    }
}

/// A scene with a wire: seed, seconds, decibels over the noise, how the clock goes.
type Wired = fn(u64, f64, f64, Course) -> Scene;

fn coverage_head(first: &str) {
    println!("| {first} | clock | locked | start: % within 2 sigma (z rms) | rate | curve |");
    println!("|---|---|---|---|---|---|");
}

/// Coverage on a common signal.
pub fn uncertainty_common(seeds: u64) {
    coverage_head("scene");
    let kinds: [(&str, Wired); 2] = [("flat", wire), ("talker", talker)];
    let mut all = Cell::default();
    for (name, scene) in kinds {
        for (seconds, snr_db) in [(60.0, 40.0), (60.0, 10.0)] {
            for (course, course_name) in COURSES {
                let cell = Cell::of(seeds, |seed| by_wire(&scene(seed, seconds, snr_db, course)));
                println!(
                    "| {name}, {seconds:.0} s, {snr_db:.0} dB | {course_name} | {} |",
                    cell.coverage()
                );
                all.scores.extend(cell.scores);
                all.refused += cell.refused;
            }
        }
    }
    println!("| all | | {} |", all.coverage());
}

/// Coverage by the sound of the room.
pub fn uncertainty_room(seeds: u64) {
    coverage_head("scene");
    let mut all = Cell::default();
    let mut say = |scene: String, course: &str, cell: Cell| {
        println!("| {scene} | {course} | {} |", cell.coverage());
        all.scores.extend(cell.scores);
        all.refused += cell.refused;
    };
    for (seconds, apart_m, t60_s) in [(60.0, 1.5, 0.4), (180.0, 3.0, 0.6)] {
        for (course, name) in COURSES {
            let cell = Cell::of(seeds, |seed| {
                let choice = TwoArrays {
                    seed,
                    seconds,
                    apart_m,
                    t60_s,
                    ..TwoArrays::default()
                };
                by_room(&arrays(&choice, course))
            });
            say(format!("players, {seconds:.0} s, {apart_m} m"), name, cell);
        }
    }
    for (motion, name) in [
        (Motion::Sway, "talkers sway"),
        (Motion::Walk, "talkers walk"),
    ] {
        for (seconds, apart_m) in [(120.0, 1.5), (240.0, 3.0)] {
            let cell = Cell::of(seeds, |seed| {
                by_room(&moving(seed, seconds, apart_m, motion))
            });
            say(
                format!("{name}, {seconds:.0} s, {apart_m} m"),
                "0.3 ppm, 430 s and 140 s",
                cell,
            );
        }
    }
    println!("| all | | {} |", all.coverage());
}

/// Clocks by content against the bars for rate and clock error.
pub fn room(seeds: u64) {
    println!(
        "| length | apart | T60 | locked | rate, ppm: median | 90 % | worst | clock, samples rms: median | 90 % | worst |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|");
    for seconds in [120.0, 300.0, 600.0] {
        let mut all = Cell::default();
        for apart_m in [1.0, 4.0] {
            for t60_s in [0.4, 0.6] {
                let cell = Cell::of(seeds, |seed| {
                    let choice = TwoArrays {
                        seed,
                        seconds,
                        apart_m,
                        t60_s,
                        ..TwoArrays::default()
                    };
                    by_room(&arrays(&choice, Course::Thermal))
                });
                row(
                    &format!("{:.0} min | {apart_m} m | {t60_s} s", seconds / 60.0),
                    &cell,
                );
                all.scores.extend(cell.scores);
                all.refused += cell.refused;
            }
        }
        row(&format!("{:.0} min | all | all", seconds / 60.0), &all);
    }
}

fn row(name: &str, cell: &Cell) {
    let [rate, rate_most, rate_worst] = quantiles(&cell.all(|s| s.rate_ppm));
    let [rms, rms_most, rms_worst] = quantiles(&cell.all(|s| s.rms));
    println!(
        "| {name} | {} | {rate:.4} | {rate_most:.4} | {rate_worst:.4} | {rms:.3} | {rms_most:.3} | {rms_worst:.3} |",
        cell.locked()
    );
}

/// Long takes whose rate changes.
pub fn drift(part: f64) {
    println!("| scene | clock, samples rms | worst | rate, ppm |");
    println!("|---|---|---|---|");
    let scenes = [
        (
            "talker on a wire, 90 min, 8, 14, 8 ppm",
            5400.0,
            Course::Segments,
        ),
        (
            "talker on a wire, 60 min, 2 ppm over 30 min",
            3600.0,
            Course::SlowSine,
        ),
    ];
    for (name, seconds, course) in scenes {
        match by_wire(&talker(1, part * seconds, 40.0, course)) {
            Ok(score) => println!(
                "| {name} | {:.4} | {:.4} | {:.5} |",
                score.rms,
                score.worst,
                score.rate_ppm.abs()
            ),
            Err(why) => println!("| {name} | {why} | | |"),
        }
    }
}
