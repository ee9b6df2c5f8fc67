//! Sums of labels against values worked out by hand from SMPTE ST 12-1 (5.2) and from the fractions themselves.

use timecode::sums::{Answer, answer, day_in_seconds, pulled};
use timecode::{Counting, FrameRate};

fn counting(text: &str) -> Counting {
    Counting::parse(text).expect("a counting")
}

fn place(sum: &str, rate: &str) -> (String, String, String) {
    let words: Vec<&str> = sum.split(' ').collect();
    match answer(&words, counting(rate), 48_000).expect("an answer") {
        Answer::Place(place) => (
            place.label.to_string(),
            place.seconds.to_string(),
            place.samples(48_000).to_string(),
        ),
        other => panic!("{sum}: {other:?}"),
    }
}

fn told(label: &str, seconds: &str, samples: &str) -> (String, String, String) {
    (label.into(), seconds.into(), samples.into())
}

#[test]
fn labels_samples_and_seconds_follow_from_one_another() {
    for (sum, rate, label, seconds, samples) in [
        ("10:00:00:00", "25", "10:00:00:00", "36000", "1728000000"),
        ("10:00:00:00", "29.97", "10:00:00:00", "36036", "1729728000"),
        (
            "10:00:00:00",
            "23.976",
            "10:00:00:00",
            "36036",
            "1729728000",
        ),
        (
            "10:00:00;00",
            "29.97 DF",
            "10:00:00;00",
            "35999.964",
            "1727998272",
        ),
        ("10:00:00;00", "30 DF", "10:00:00;00", "35964", "1726272000"),
        (
            "01:00:00;00",
            "29.97 DF",
            "01:00:00;00",
            "3599.9964",
            "172799827.2",
        ),
        (
            "1728000000 samples",
            "25",
            "10:00:00:00",
            "36000",
            "1728000000",
        ),
        ("36000s", "25", "10:00:00:00", "36000", "1728000000"),
        // less than a sample before the start of the timecode frame that a stamp means
        (
            "172799827 samples",
            "29.97 DF",
            "01:00:00;00",
            "~3599.996396",
            "172799827",
        ),
        // an hour of real time reads 3 s and 18 timecode frames more at 30 drop-frame
        ("3600 seconds", "30 DF", "01:00:03;18", "3600", "172800000"),
        ("0.5 seconds", "24", "00:00:00:12", "0.5", "24000"),
    ] {
        assert_eq!(
            place(sum, rate),
            told(label, seconds, samples),
            "{sum} {rate}"
        );
    }
}

#[test]
fn labels_are_added_and_taken_away_past_midnight() {
    for (sum, rate, label) in [
        ("23:59:59:24 + 1 frames", "25", "00:00:00:00"),
        ("00:00:00:00 - 1 frames", "25", "23:59:59:24"),
        ("00:00:59;29 + 1 frame", "29.97 DF", "00:01:00;02"),
        ("00:10:00;00 - 1 frame", "29.97 DF", "00:09:59;29"),
        ("23:00:00:00 + 02:00:00:00", "30", "01:00:00:00"),
        ("10:00:00:00 + 90.04 seconds", "25", "10:01:30:01"),
        ("00:00:01:00 - 2 seconds", "25", "23:59:59:00"),
        ("10:00:00:00 - 48000 samples", "24", "09:59:59:00"),
    ] {
        assert_eq!(place(sum, rate).0, label, "{sum} {rate}");
    }
}

#[test]
fn what_lies_between_two_labels_is_counted() {
    let span = |sum: &str, rate: &str| {
        let words: Vec<&str> = sum.split(' ').collect();
        match answer(&words, counting(rate), 48_000).expect("an answer") {
            Answer::Span(span) => (span.backwards, span.frames, span.seconds.to_string()),
            other => panic!("{other:?}"),
        }
    };
    // two labels are left out between them
    assert_eq!(
        span("00:01:00;02 - 00:00:59;29", "29.97 DF"),
        (false, 1, "~0.033367".into())
    );
    assert_eq!(
        span("00:00:00:00 - 00:00:10:00", "25"),
        (true, 250, "10".into())
    );
    assert_eq!(
        span("01:00:00:00 - 00:00:00:00", "29.97"),
        (false, 108_000, "3603.6".into())
    );
    assert_eq!(span("24frames", "24"), (false, 24, "1".into()));
}

#[test]
fn dropped_labels_and_what_a_label_shows() {
    let of = |text: &str, rate: &str| match answer(&[text], counting(rate), 48_000) {
        Ok(Answer::Place(place)) => place,
        other => panic!("{other:?}"),
    };
    // 108 an hour
    assert_eq!(of("10:00:00;00", "29.97 DF").dropped(), 1080);
    assert_eq!(of("23:59:59;29", "29.97 DF").dropped(), 2592);
    assert_eq!(of("10:00:00:00", "29.97").dropped(), 0);
    assert_eq!(of("10:00:00:12", "24").shown().to_string(), "36000.5");
    let other = of("10:00:00:00", "29.97").in_counting(counting("25"));
    assert_eq!(other.to_string(), "10:00:36:00");
}

#[test]
fn days_and_pulled_rates() {
    for (rate, seconds) in [
        ("25", "86400"),
        ("29.97", "86486.4"),
        ("29.97 DF", "86399.9136"),
        ("30 DF", "86313.6"),
    ] {
        assert_eq!(day_in_seconds(counting(rate)).to_string(), seconds);
    }
    let [down, up] = pulled(48_000);
    assert_eq!(
        (down.fraction(), up.fraction()),
        ((48_000_000, 1001), (48_048, 1))
    );
    assert_eq!(down.to_string(), "~47952.047952");
}

/// 1 ppm is 86.4 ms a day: 2.16 timecode frames at 25.
#[test]
fn a_difference_in_rate() {
    let Ok(Answer::Drift(drift)) = answer(&["-1", "ppm"], counting("25"), 48_000) else {
        panic!("a drift");
    };
    assert_eq!(drift.rate, FrameRate::F25);
    assert!((drift.seconds_a_day() + 0.0864).abs() < 1e-12);
    assert!((drift.frames_a_day() + 2.16).abs() < 1e-9);
    assert!((drift.until(0.04) - 40_000.0).abs() < 1e-6);
}

#[test]
fn what_is_no_sum_is_refused() {
    for sum in [
        "",
        "10",
        "10 parsecs",
        "10:00:00:00 +",
        "+ 10:00:00:00",
        "10:00:00:00 + 3 ppm",
        "5 seconds + 5 seconds",
        "10:00:00:00 * 2 frames",
        "-5 seconds",
        "1e9 seconds",
        "inf ppm",
        "99999999999999999999 samples",
    ] {
        let words: Vec<&str> = sum.split(' ').collect();
        let refused = answer(&words, counting("25"), 48_000);
        assert!(refused.is_err(), "{sum}: {refused:?}");
    }
    let error = answer(&["10", "parsecs"], counting("25"), 48_000).expect_err("refused");
    assert!(
        error
            .to_string()
            .starts_with("`10 parsecs` is nothing to work out")
    );
}
