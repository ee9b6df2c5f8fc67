//! Killed at fifty random moments: what carries a finished name is the card's, and the next run makes it whole.

use std::time::{Duration, Instant};

use crate::bench::{Bench, commontime, json, noise, program, said, status, unfinished};

const TIMES: u64 = 50;
/// Kills at one place: the second strikes a run that goes on from what the first one left.
const EACH: u64 = 2;

#[test]
fn killed_at_fifty_moments_nothing_is_lost_and_the_next_run_makes_it_whole() {
    let bench = Bench::with_card();
    for number in 4..20 {
        bench.put(&format!("NORTH/T{number:02}.WAV"), &noise(700_000, number));
    }
    let (card, expected) = (bench.text("NORTH"), bench.expected());
    let original = bench.files("NORTH");
    // how long an undisturbed run takes
    let began = Instant::now();
    let whole = commontime(&["offload", &card, "--to", &bench.text("whole")]);
    let mut takes = began.elapsed().as_secs_f64();
    assert_eq!(status(&whole), 1, "one copy alone: {}", said(&whole));
    let (mut died, mut attempts) = (0, 0_u64);
    while died < TIMES {
        attempts += 1;
        assert!(
            attempts < 10 * TIMES,
            "only {died} of {attempts} died before they ended"
        );
        let place = format!("k{}", died / EACH);
        let to = bench.text(&place);
        let mut child = program()
            .args(["offload", &card, "--to", &to])
            .stdout(std::process::Stdio::null())
            .stderr(std::process::Stdio::null())
            .spawn()
            .expect("commontime");
        // golden-section moments: spread evenly however many there are
        let share = (attempts as f64 * 0.618_033_988_75).fract();
        std::thread::sleep(Duration::from_secs_f64(takes * share));
        child.kill().expect("killed");
        let ended = child.wait().expect("ended");
        if ended.code().is_none() {
            died += 1;
        } else {
            // a place that is nearly whole takes less, and machines are not always equally quick
            takes *= 0.9;
        }
        let copy = format!("{place}/NORTH");
        for file in bench.files(&copy) {
            let temporary = file.0.contains(".commontime-");
            assert!(temporary || expected.contains(&file), "{copy}/{}", file.0);
        }
        if bench.path(&copy).join("ascmhl").is_dir() {
            let (ended, value) = json(&["verify", &to]);
            assert!(
                ended <= 1,
                "a list stands only beside a whole copy: {value:#}"
            );
        }
        assert_eq!(bench.files("NORTH"), original, "the card is untouched");
    }
    for place in 0..TIMES / EACH {
        let to = bench.text(&format!("k{place}"));
        let run = commontime(&["offload", &card, "--to", &to]);
        assert_eq!(status(&run), 1, "one copy alone: {}", said(&run));
        assert_eq!(bench.files(&format!("k{place}/NORTH")), expected);
        assert!(!unfinished(&bench.path(&format!("k{place}"))));
        let (ended, value) = json(&["verify", &to]);
        assert_eq!(ended, 0, "{value:#}");
    }
}
