//! `stability` through the real binary: phases from text files, the page and the tables, the clock history, and what is refused.

mod shoots;

use serde_json::Value;
use shoots::{Place, commontime, status};

#[expect(
    clippy::disallowed_methods,
    reason = "a test writes what a person would"
)]
fn written(place: &Place, name: &str, text: &str) -> String {
    let path = place.path(name);
    std::fs::write(&path, text).expect("written");
    path
}

/// A clock that gains 2.5 µs a second, with a small saw on top: 600 phases a second apart.
fn phases() -> String {
    let rows = (0..600).map(|i| {
        let saw = 1e-7 * f64::from(i * 7919 % 101) / 101.0;
        format!("{i},{:e}\n", 2.5e-6 * f64::from(i) + saw)
    });
    std::iter::once("time_s,phase_s\n".to_string())
        .chain(rows)
        .collect()
}

#[test]
fn phases_of_a_text_file_are_judged_and_kept() {
    let place = Place::new();
    let file = written(&place, "box.csv", &phases());
    // a reading every ten seconds, four degrees warmer at the end
    let readings = (0..=60).map(|i| format!("{} {}\n", 10 * i, 20.0 + f64::from(i) / 15.0));
    let log = written(&place, "log.txt", &readings.collect::<String>());
    let history = written(
        &place,
        "clocks.toml",
        "# kept by hand\nformat = \"commontime-clock-history\"\nversion = 1\n",
    );
    let args = [
        "stability",
        &file,
        "--temperature",
        &log,
        "--history",
        &history,
        "--out",
        &place.out(),
        "--rate",
        "25",
        "--json",
    ];
    let run = commontime(&args);
    assert_eq!(status(&run), 0, "{}", String::from_utf8_lossy(&run.stderr));
    let found: Value = serde_json::from_slice(&run.stdout).expect("JSON");
    let clock = &found["clocks"][0];
    let rate = clock["rate_ppm"].as_f64().expect("a rate");
    assert!((rate - 2.5).abs() < 0.001, "{clock}");
    // 40 ms at 2.5 ppm: 16 000 s, more than ten times the test
    let longest = &clock["forecasts"][2];
    assert_eq!(longest["limit_s"], 0.04);
    assert!(longest["as_it_is"]["longer-than"].is_number(), "{longest}");
    let tenth = clock["forecasts"][0]["as_it_is"]["seconds"].as_f64();
    assert!((tenth.expect("a time") - 40.0).abs() < 1.0, "{clock}");
    assert_eq!(clock["temperature"]["covered"], 1.0);

    let kept = std::fs::read_to_string(&history).expect("the history");
    assert!(kept.starts_with("# kept by hand\n"), "{kept}");
    let read = engine::history::History::from_toml(&kept).expect("a history");
    let one = &read.measurements[0];
    assert_eq!(one.unit, "BOX", "{kept}");
    assert!(
        (one.temperature_c.expect("its mean") - 22.0).abs() < 0.1,
        "{kept}"
    );
    let page = std::fs::read_to_string(place.out_path().join("stability.html")).expect("a page");
    assert!(page.matches("<svg").count() >= 2 && !page.contains("<script"));
    for (name, rows) in [("deviations.csv", 9), ("phases.csv", 601)] {
        let table = std::fs::read_to_string(place.out_path().join(name)).expect(name);
        assert_eq!(table.lines().count(), rows, "{name}");
    }
    let again = commontime(&args);
    assert_eq!(status(&again), 2, "the page is there");
    let said = String::from_utf8_lossy(&again.stderr).into_owned();
    assert!(said.contains("--replace"), "{said}");
}

#[test]
fn what_cannot_be_judged_is_told_with_its_place() {
    let place = Place::new();
    let good = written(&place, "good.csv", &phases());
    let bad = written(&place, "bad.csv", "0,1e-6\n1,here\n");
    let short = written(&place, "short.txt", "0 0\n1 1e-6\n2 2e-6\n");
    let one = written(&place, "one.txt", "1e-6\n2e-6\n");
    let other = written(&place, "other.toml", "format = \"a-diary\"\nversion = 1\n");
    for (args, code, said) in [
        (vec!["stability", &bad], 3, "line 2: `1,here` is not"),
        (vec!["stability", &short], 1, "too little was measured"),
        (vec!["stability", &one], 2, "--interval"),
        (
            vec!["stability", &good, "--interval", "1"],
            2,
            "times of its own",
        ),
        (vec!["stability", &good, "--rate", "31"], 2, "31"),
        (
            vec!["stability", &good, "--history", &other],
            3,
            "no clock history",
        ),
        (vec!["stability", &good, "--temperature", &bad], 3, "line 2"),
    ] {
        let run = commontime(&args);
        let told = String::from_utf8_lossy(&run.stderr).into_owned();
        assert_eq!(status(&run), code, "{args:?}: {told}");
        assert!(told.contains(said), "{args:?}: {told}");
    }
}
