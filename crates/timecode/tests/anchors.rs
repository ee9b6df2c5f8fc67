//! Published anchor values: SMPTE ST 12-1 counting, and figures recomputed from it with exact fractions.

use timecode::{Counting, Error, FrameRate, Label, day_in_samples};

fn counting(rate: FrameRate, drop_frame: bool) -> Counting {
    Counting::new(rate, drop_frame).expect("a legal counting")
}

fn all() -> Vec<Counting> {
    FrameRate::ALL
        .into_iter()
        .flat_map(|rate| [false, true].map(|drop| Counting::new(rate, drop)))
        .flatten()
        .collect()
}

#[test]
fn counts_of_drop_frame_labels() {
    // OpenTimelineIO's own test values and ST 12-1, 5.2
    let drop = counting(FrameRate::F29_97, true);
    for (count, label) in [
        (0, "00:00:00;00"),
        (1799, "00:00:59;29"),
        (1800, "00:01:00;02"),
        (3597, "00:01:59;29"),
        (3598, "00:02:00;02"),
        (10_789, "00:05:59;29"),
        (17_981, "00:09:59;29"),
        (17_982, "00:10:00;00"),
        (17_983, "00:10:00;01"),
        (107_892, "01:00:00;00"),
        (1_078_920, "10:00:00;00"),
        (1_084_318, "10:03:00;04"),
        (2_589_407, "23:59:59;29"),
        (2_589_408, "00:00:00;00"),
    ] {
        assert_eq!(Label::of_count(count, drop).to_string(), label);
    }
    let fast = counting(FrameRate::F59_94, true);
    for (count, label) in [
        (3599, "00:00:59;59"),
        (3600, "00:01:00;04"),
        (35_964, "00:10:00;00"),
    ] {
        assert_eq!(Label::of_count(count, fast).to_string(), label);
    }
    let whole = counting(FrameRate::F29_97, false);
    assert_eq!(Label::of_count(10_789, whole).to_string(), "00:05:59:19");
    assert_eq!(Label::of_count(17_982, whole).to_string(), "00:09:59:12");
}

#[test]
fn ten_o_clock_in_samples() {
    for (rate, drop, at_48k, at_192k) in [
        (FrameRate::F23_976, false, 1_729_728_000, 6_918_912_000),
        (FrameRate::F29_97, false, 1_729_728_000, 6_918_912_000),
        (FrameRate::F25, false, 1_728_000_000, 6_912_000_000),
        (FrameRate::F30, false, 1_728_000_000, 6_912_000_000),
        (FrameRate::F29_97, true, 1_727_998_272, 6_911_993_088),
        (FrameRate::F30, true, 1_726_272_000, 6_905_088_000),
    ] {
        let label = Label::parse("10:00:00:00", counting(rate, drop)).expect("legal");
        assert_eq!(label.to_samples(48_000), at_48k, "{rate} drop {drop}");
        assert_eq!(label.to_samples(192_000), at_192k, "{rate} drop {drop}");
    }
}

#[test]
fn ten_o_clock_in_samples_at_96_khz() {
    for (rate, drop, samples) in [
        (FrameRate::F23_976, false, 3_459_456_000),
        (FrameRate::F24, false, 3_456_000_000),
        (FrameRate::F29_97, true, 3_455_996_544),
        (FrameRate::F30, true, 3_452_544_000),
    ] {
        let label = Label::parse("10:00:00:00", counting(rate, drop)).expect("legal");
        assert_eq!(label.to_samples(96_000), samples, "{rate} drop {drop}");
    }
}

#[test]
fn one_o_clock_drop_frame_is_no_whole_sample() {
    // 172799827.2: any recorder rounds it
    let label = Label::parse("01:00:00;00", counting(FrameRate::F29_97, true)).expect("legal");
    assert_eq!(label.to_exact_samples(48_000), (863_999_136, 5));
    assert_eq!(label.to_samples(48_000), 172_799_827);
    for (rate, samples) in [
        (FrameRate::F30, 172_800_000),
        (FrameRate::F29_97, 172_972_800),
        (FrameRate::F23_976, 172_972_800),
        (FrameRate::F25, 172_800_000),
    ] {
        let label = Label::parse("01:00:00:00", counting(rate, false)).expect("legal");
        assert_eq!(label.to_samples(48_000), samples, "{rate}");
    }
}

#[test]
fn counts_of_a_minute_ten_minutes_an_hour_and_a_day() {
    use FrameRate as F;
    for (rates, drop, [minute, ten, hour, day]) in [
        (
            [F::F23_976, F::F24],
            false,
            [1440, 14_400, 86_400, 2_073_600],
        ),
        ([F::F25, F::F25], false, [1500, 15_000, 90_000, 2_160_000]),
        (
            [F::F29_97, F::F30],
            false,
            [1800, 18_000, 108_000, 2_592_000],
        ),
        (
            [F::F29_97, F::F30],
            true,
            [1800, 17_982, 107_892, 2_589_408],
        ),
        (
            [F::F47_952, F::F48],
            false,
            [2880, 28_800, 172_800, 4_147_200],
        ),
        ([F::F50, F::F50], false, [3000, 30_000, 180_000, 4_320_000]),
        (
            [F::F59_94, F::F60],
            false,
            [3600, 36_000, 216_000, 5_184_000],
        ),
        (
            [F::F59_94, F::F60],
            true,
            [3600, 35_964, 215_784, 5_178_816],
        ),
    ] {
        for rate in rates {
            let counting = counting(rate, drop);
            let at = |text: &str| Label::parse(text, counting).expect("legal").count();
            // the label after a minute's last one; at drop-frame 00:01:00;02 is the first of its minute
            let first = if drop { rate.nominal() / 15 } else { 0 };
            assert_eq!(at(&format!("00:01:00:{first:02}")), minute, "{counting}");
            assert_eq!(at("00:10:00:00"), ten, "{counting}");
            assert_eq!(at("01:00:00:00"), hour, "{counting}");
            assert_eq!(counting.day(), day, "{counting}");
        }
    }
}

#[test]
fn labels_that_do_not_exist_are_108_an_hour_and_2592_a_day() {
    let drop = counting(FrameRate::F29_97, true);
    let mut refused = Vec::new();
    for minute in 0..1440 {
        for second in 0..60 {
            for number in 0..30 {
                let (h, m) = (minute / 60, minute % 60);
                let text = format!("{h:02}:{m:02}:{second:02};{number:02}");
                if Label::parse(&text, drop).is_err() {
                    refused.push(text);
                }
            }
        }
    }
    assert_eq!(refused.len(), 2592);
    assert_eq!(
        refused
            .iter()
            .filter(|text| text.starts_with("13:"))
            .count(),
        108
    );
    assert_eq!(refused[0], "00:01:00;00");
    assert_eq!(refused[2591], "23:59:00;01");
}

#[test]
fn thirty_drop_reads_ahead_of_real_time() {
    // recorder practice: the drop-frame rule on a clock of exactly 30; one real hour reads 3.6 s too much
    let drop = counting(FrameRate::F30, true);
    let label = Label::of_samples(48_000 * 3600, 48_000, drop);
    assert_eq!(label.to_string(), "01:00:03;18");
    // 24 label-hours last 86313.6 s
    assert_eq!(day_in_samples(drop, 48_000), 4_143_052_800);
}

#[test]
fn samples_of_a_timecode_frame_at_every_rate() {
    let at = [44_100, 48_000, 88_200, 96_000, 176_400, 192_000];
    let table = [
        (
            FrameRate::F23_976,
            [
                (147_147, 80),
                (2002, 1),
                (147_147, 40),
                (4004, 1),
                (147_147, 20),
                (8008, 1),
            ],
        ),
        (
            FrameRate::F24,
            [
                (3675, 2),
                (2000, 1),
                (3675, 1),
                (4000, 1),
                (7350, 1),
                (8000, 1),
            ],
        ),
        (
            FrameRate::F25,
            [
                (1764, 1),
                (1920, 1),
                (3528, 1),
                (3840, 1),
                (7056, 1),
                (7680, 1),
            ],
        ),
        (
            FrameRate::F29_97,
            [
                (147_147, 100),
                (8008, 5),
                (147_147, 50),
                (16_016, 5),
                (147_147, 25),
                (32_032, 5),
            ],
        ),
        (
            FrameRate::F30,
            [
                (1470, 1),
                (1600, 1),
                (2940, 1),
                (3200, 1),
                (5880, 1),
                (6400, 1),
            ],
        ),
        (
            FrameRate::F47_952,
            [
                (147_147, 160),
                (1001, 1),
                (147_147, 80),
                (2002, 1),
                (147_147, 40),
                (4004, 1),
            ],
        ),
        (
            FrameRate::F48,
            [
                (3675, 4),
                (1000, 1),
                (3675, 2),
                (2000, 1),
                (3675, 1),
                (4000, 1),
            ],
        ),
        (
            FrameRate::F50,
            [
                (882, 1),
                (960, 1),
                (1764, 1),
                (1920, 1),
                (3528, 1),
                (3840, 1),
            ],
        ),
        (
            FrameRate::F59_94,
            [
                (147_147, 200),
                (4004, 5),
                (147_147, 100),
                (8008, 5),
                (147_147, 50),
                (16_016, 5),
            ],
        ),
        (
            FrameRate::F60,
            [
                (735, 1),
                (800, 1),
                (1470, 1),
                (1600, 1),
                (2940, 1),
                (3200, 1),
            ],
        ),
    ];
    for (rate, row) in table {
        for (sample_rate, expected) in at.into_iter().zip(row) {
            assert_eq!(
                rate.samples_each(sample_rate),
                expected,
                "{rate} at {sample_rate}"
            );
        }
    }
}

#[test]
fn whole_samples_come_back_every_fifth_timecode_frame() {
    // 29.97 at 48 kHz: 8008 samples are five timecode frames
    let counting = counting(FrameRate::F29_97, false);
    for count in 0..1000 {
        let (_, den) = Label::of_count(count, counting).to_exact_samples(48_000);
        assert_eq!(den == 1, count % 5 == 0, "{count}");
    }
}

#[test]
fn drop_frame_swings_about_real_time_within_ten_minutes() {
    // label time less real time: -59.97 ms at 00:00:59;29 + 1, up to +60.53 ms, back to +0.6 ms at ten minutes
    let drop = counting(FrameRate::F29_97, true);
    let ahead_ms = |count: u64| {
        let text = Label::of_count(count, drop).to_string();
        let field = |i: usize| text[3 * i..3 * i + 2].parse::<f64>().expect("digits");
        let label_s = field(0) * 3600.0 + field(1) * 60.0 + field(2) + field(3) / 30.0;
        (label_s - count as f64 * 1001.0 / 30_000.0) * 1000.0
    };
    let swing: Vec<f64> = (0..17_982).map(ahead_ms).collect();
    let lowest = swing.iter().copied().fold(0.0, f64::min);
    let highest = swing.iter().copied().fold(0.0, f64::max);
    assert!((lowest + 59.97).abs() < 0.01, "{lowest}");
    assert!((highest - 60.53).abs() < 0.01, "{highest}");
    assert!((ahead_ms(17_982) - 0.6).abs() < 1e-6);
}

#[test]
fn a_day_depends_on_the_rate() {
    // 24 label-hours: 86400 s at whole rates, 86486.4 s at 29.97 and 23.976, 86399.9136 s at 29.97 drop-frame
    assert_eq!(
        day_in_samples(counting(FrameRate::F25, false), 48_000),
        4_147_200_000
    );
    assert_eq!(
        day_in_samples(counting(FrameRate::F29_97, false), 48_000),
        4_151_347_200
    );
    assert_eq!(
        day_in_samples(counting(FrameRate::F23_976, false), 48_000),
        4_151_347_200
    );
    // 4147195852.8
    assert_eq!(
        day_in_samples(counting(FrameRate::F29_97, true), 48_000),
        4_147_195_853
    );
}

#[test]
fn every_label_of_a_day_comes_back_at_every_rate() {
    for counting in all() {
        for count in 0..counting.day() {
            let label = Label::of_count(count, counting);
            let samples = label.to_samples(48_000);
            assert_eq!(
                Label::of_samples(samples, 48_000, counting),
                label,
                "{label} {counting:?}"
            );
            if count % 97 == 0 {
                assert_eq!(Label::parse(&label.to_string(), counting), Ok(label));
            }
        }
    }
}

#[test]
fn what_does_not_exist_is_refused_with_its_rule() {
    let drop = counting(FrameRate::F29_97, true);
    for (text, word) in [
        ("00:01:00;00", "skips"),
        ("23:59:00;01", "skips"),
        ("24:00:00:00", "hours"),
        ("00:60:00:00", "minutes"),
        ("00:00:00:30", "below"),
    ] {
        let error = Label::parse(text, drop)
            .expect_err("no such label")
            .to_string();
        assert!(error.contains(word), "{error}");
    }
    for text in [
        "",
        "1:2:3:4",
        "00:00:00",
        "00:00:00:0x",
        "00:00:00:00:00",
        "00;00:00:00",
    ] {
        assert!(
            matches!(Label::parse(text, drop), Err(Error::Form(_))),
            "{text}"
        );
    }
    assert!(Counting::new(FrameRate::F25, true).is_err());
}

#[test]
fn rates_are_read_as_written_in_the_field() {
    for (text, rate) in [
        ("30000/1001", FrameRate::F29_97),
        ("25/1", FrameRate::F25),
        ("25", FrameRate::F25),
        ("29.97", FrameRate::F29_97),
        ("029.970", FrameRate::F29_97),
        ("23.976", FrameRate::F23_976),
        ("24000/1001", FrameRate::F23_976),
        ("23.98", FrameRate::F23_976),
        ("2997/100", FrameRate::F29_97),
        ("30000/1000", FrameRate::F30),
        ("59.94", FrameRate::F59_94),
        ("47.95", FrameRate::F47_952),
        ("29.970030", FrameRate::F29_97),
    ] {
        assert_eq!(FrameRate::parse(text), Ok(rate), "{text}");
    }
    for text in [
        "0/0",
        "17",
        "",
        "/",
        "25/0",
        "nan",
        "1e999",
        "-25",
        "twenty-five",
    ] {
        assert!(FrameRate::parse(text).is_err(), "{text}");
    }
    for (text, rate, drop) in [
        ("029.970-DF", FrameRate::F29_97, true),
        ("029.970-ND", FrameRate::F29_97, false),
        ("025.000-ND", FrameRate::F25, false),
        ("30000/1001 DF", FrameRate::F29_97, true),
        ("29.97NDF", FrameRate::F29_97, false),
        ("24", FrameRate::F24, false),
    ] {
        assert_eq!(Counting::parse(text), Ok(counting(rate, drop)), "{text}");
    }
    assert!(matches!(Counting::parse("25-DF"), Err(Error::NoDrop(_))));
    assert!(matches!(Counting::parse("25-XF"), Err(Error::Rate(_))));
}

#[test]
fn no_input_is_too_large_or_too_small() {
    for counting in all() {
        for sample_rate in [0, 1, 7, 48_000, u32::MAX] {
            for samples in [0, 1, u64::MAX - 1, u64::MAX] {
                let label = Label::of_samples(samples, sample_rate, counting);
                assert!(label.count() < counting.day());
                assert!(Label::parse(&label.to_string(), counting) == Ok(label));
                let (num, den) = label.to_exact_samples(sample_rate);
                assert!(num / den <= label.to_samples(sample_rate));
            }
            let last = Label::of_count(u64::MAX, counting);
            assert!(last.to_samples(sample_rate) <= day_in_samples(counting, sample_rate));
        }
    }
}
