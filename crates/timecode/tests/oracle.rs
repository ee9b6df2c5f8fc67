//! The same labels and sample positions as the smpte-timecode crate, an independent implementation of SMPTE ST 12-1,
//! over a day at every counting that both know.

use smpte_timecode::{FrameRate as OtherRate, Ratio, Rounding, Timecode};
use timecode::{Counting, FrameRate, Label, day_in_samples};

fn pairs() -> Vec<(Counting, OtherRate)> {
    let mut pairs = Vec::new();
    for rate in FrameRate::ALL {
        for drop_frame in [false, true] {
            let nominal = u8::try_from(rate.nominal()).expect("at most 60");
            let pulled = rate.fraction().1 == 1001;
            let other = OtherRate::new(nominal, pulled, drop_frame);
            let ours = Counting::new(rate, drop_frame);
            assert_eq!(ours.is_ok(), other.is_ok(), "{rate} drop {drop_frame}");
            if let (Ok(ours), Ok(other)) = (ours, other) {
                pairs.push((ours, other));
            }
        }
    }
    pairs
}

#[test]
fn every_counting_is_compared() {
    // ten rates, and drop-frame at 29.97, 30, 59.94 and 60
    assert_eq!(pairs().len(), 14);
}

#[test]
fn labels_are_written_and_read_alike() {
    for (ours, other) in pairs() {
        assert_eq!(ours.day(), u64::from(other.frames_per_day()), "{ours}");
        // the first twenty minutes hold every case of the drop rule; the rest of the day in steps that hit them all again
        let start = 20 * 60 * u32::from(other.nominal());
        for count in (0..start).chain((start..other.frames_per_day()).step_by(61)) {
            let theirs = Timecode::from_frames(count, other)
                .expect("within the day")
                .to_string();
            let label = Label::of_count(u64::from(count), ours);
            assert_eq!(label.to_string(), theirs, "{ours} {count}");
            assert_eq!(Label::parse(&theirs, ours), Ok(label), "{ours}");
        }
    }
}

#[test]
fn sample_positions_are_rounded_alike() {
    for sample_rate in [44_100, 48_000, 88_200, 96_000, 176_400, 192_000] {
        let hz = Ratio::from_integer(u64::from(sample_rate));
        for (ours, other) in pairs() {
            for count in (0..other.frames_per_day()).step_by(997) {
                let theirs = Timecode::from_frames(count, other)
                    .and_then(|label| label.to_samples(hz, Rounding::Nearest))
                    .expect("within the day");
                let samples = Label::of_count(u64::from(count), ours).to_samples(sample_rate);
                assert_eq!(samples, theirs, "{ours} {count} at {sample_rate}");
            }
        }
    }
}

#[test]
fn a_stamp_within_a_sample_of_a_label_is_that_label() {
    for sample_rate in [44_100, 48_000, 96_000] {
        for (ours, _) in pairs() {
            let day = day_in_samples(ours, sample_rate);
            for count in (0..ours.day()).step_by(7919) {
                let label = Label::of_count(count, ours);
                let (num, den) = label.to_exact_samples(sample_rate);
                // recorders round down, to the nearest or up
                for stamp in [num / den, label.to_samples(sample_rate), num.div_ceil(den)] {
                    let found = Label::of_samples(stamp % day, sample_rate, ours);
                    assert_eq!(found, label, "{ours} {stamp} at {sample_rate}");
                }
            }
        }
    }
}
