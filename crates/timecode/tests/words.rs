//! LTC words and their biphase-mark code against values worked out from SMPTE ST 12-1 (9.2, 9.3, table 3) by hand and by
//! two independent encoders.

use timecode::ltc::{Encoder, Layout, Signal, UserBits, Word};
use timecode::{Counting, FrameRate, Label};

fn label(text: &str, rate: FrameRate, drop_frame: bool) -> Label {
    let counting = Counting::new(rate, drop_frame).expect("a counting");
    Label::parse(text, counting).expect("a label")
}

#[test]
fn words_have_the_octets_of_the_standard() {
    let (f24, f25, f30, f29_97) = (
        FrameRate::F24,
        FrameRate::F25,
        FrameRate::F30,
        FrameRate::F29_97,
    );
    for (text, rate, drop_frame, user, octets) in [
        ("00:00:00:00", f24, false, 0, "00000008000000 00FCBF"),
        ("00:00:00:00", f30, false, 0, "0000000800000000FCBF"),
        ("00:00:00:00", f25, false, 0, "0000000000000008FCBF"),
        ("00:00:00:01", f25, false, 0, "0100000000000000FCBF"),
        ("01:00:00:00", f24, false, 0, "0000000000000100FCBF"),
        ("10:00:00:00", f24, false, 0, "0000000000000001FCBF"),
        ("12:34:56:18", f25, false, 0, "0801060504030201FCBF"),
        ("12:34:56:18", f30, false, 0, "0801060504030201FCBF"),
        ("23:59:59;29", f29_97, true, 0, "0906090509050302FCBF"),
        ("00:00:59;29", f29_97, true, 0, "0906090D00000000FCBF"),
        ("00:01:00;02", f29_97, true, 0, "0204000001000000FCBF"),
        ("10:11:12;13", f29_97, true, 0, "0305020101010001FCBF"),
        ("10:11:12:13", f25, false, 0, "0301020101010009FCBF"),
        ("10:11:12:13", f24, false, 0, "0301020901010001FCBF"),
        (
            "23:59:59:24",
            f25,
            false,
            0x1234_5678,
            "8472695549352 31AFCBF",
        ),
        (
            "09:08:07:06",
            f24,
            false,
            0xABCD_EF01,
            "1600F7E8D8C0B9A0FCBF",
        ),
    ] {
        let word = Word::new(
            label(text, rate, drop_frame),
            UserBits::of_number(user),
            false,
        );
        let hex: String = word.octets().iter().map(|o| format!("{o:02X}")).collect();
        assert_eq!(hex, octets.replace(' ', ""), "{text} {rate}");
        assert!(word.is_even());
        let digits = word.digits().expect("digits");
        assert_eq!(
            Label::of_digits(digits, label(text, rate, drop_frame).counting()),
            Some(label(text, rate, drop_frame))
        );
        let layout = if rate == f25 {
            Layout::Of25
        } else {
            Layout::Of24And30
        };
        assert_eq!(word.user_bits(layout), UserBits::of_number(user));
    }
}

/// Levels of the 160 half cells of a word, the level before its first edge low.
#[test]
fn half_cells_have_the_levels_of_biphase_mark_code() {
    for (text, rate, drop_frame, levels) in [
        (
            "01:00:00:00",
            FrameRate::F25,
            false,
            "ccccccccccccccccccccccccb333333335555552",
        ),
        (
            "00:00:00:00",
            FrameRate::F30,
            false,
            "cccccccccccccd33333333333333333335555552",
        ),
        (
            "23:59:59;29",
            FrameRate::F30,
            true,
            "b2ccd4ccb2ccb4ccb2ccb4ccacccd33335555552",
        ),
    ] {
        let first = label(text, rate, drop_frame);
        let mut encoder = Encoder::new(Signal {
            first,
            user_bits: UserBits::default(),
            colour: false,
            sample_rate: 48_000,
            amplitude: 0.5,
            rise_s: 0.0,
        });
        let each = 48_000.0 / rate.per_second() / 160.0;
        let mut samples = vec![0.0; 2000];
        encoder.fill(&mut samples);
        let hex: String = (0..40)
            .map(|nibble| {
                let bits = (0..4).fold(0, |all, bit| {
                    let middle = (f64::from(4 * nibble + bit) + 0.5) * each;
                    all << 1 | u32::from(samples[middle as usize] > 0.0)
                });
                format!("{bits:x}")
            })
            .collect();
        assert_eq!(hex, levels, "{text}");
        assert!(samples.iter().all(|s| s.abs() == 0.5));
    }
}
