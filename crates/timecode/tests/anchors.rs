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
fn samples_of_a_timecode_frame_are_exact_fractions() {
    assert_eq!(FrameRate::F29_97.samples_each(48_000), (8008, 5));
    assert_eq!(FrameRate::F29_97.samples_each(44_100), (147_147, 100));
    assert_eq!(FrameRate::F23_976.samples_each(192_000), (8008, 1));
    assert_eq!(FrameRate::F24.samples_each(44_100), (3675, 2));
    assert_eq!(FrameRate::F30.samples_each(48_000), (1600, 1));
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
    for text in ["", "1:2:3:4", "00:00:00", "00:00:00:0x", "00:00:00:00:00"] {
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
    ] {
        assert_eq!(FrameRate::parse(text), Ok(rate), "{text}");
    }
    assert!(FrameRate::parse("0/0").is_err());
    assert!(FrameRate::parse("17").is_err());
}
