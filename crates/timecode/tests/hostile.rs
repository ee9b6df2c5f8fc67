//! Whatever stands in a file: readings never panic, hold no words that were not sent, and need little memory.

use proptest::prelude::*;
use timecode::ltc::{Decoder, Encoder, RISE_S, Reading, Signal, UserBits};
use timecode::{Counting, FrameRate, Label};

/// Biphase-mark code of any bits at any length of a cell.
fn code(bits: &[bool], cell: f64) -> Vec<f32> {
    let mut level = 0.5;
    let mut samples = vec![0.0; (bits.len() as f64 * cell) as usize];
    let mut from = 0;
    for (index, one) in bits.iter().enumerate() {
        let begin = index as f64 * cell;
        level = -level;
        let edges = if *one { vec![0.5, 1.0] } else { vec![1.0] };
        for (number, share) in edges.into_iter().enumerate() {
            if number > 0 {
                level = -level;
            }
            let to = ((begin + share * cell) as usize).min(samples.len());
            samples[from..to].fill(level);
            from = to;
        }
    }
    samples
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn any_samples_at_any_rate(
        samples in prop::collection::vec(any::<f32>(), 0..6000),
        sample_rate in prop_oneof![Just(0_u32), Just(1), 8000..200_000_u32, Just(u32::MAX)],
        piece in 1..4000_usize,
    ) {
        let mut decoder = Decoder::new(sample_rate);
        samples.chunks(piece).for_each(|piece| decoder.push(piece));
        prop_assert!(decoder.finish().is_none());
    }

    /// Bits that are no words, however cleanly they are sent.
    #[test]
    fn any_bits(bits in prop::collection::vec(any::<bool>(), 0..4000), cell in 4.0..40.0_f64) {
        prop_assert!(Reading::new(&code(&bits, cell), 48_000).is_none());
    }

    /// Code from any label on with any user bits at any level comes back.
    #[test]
    fn any_label(
        count in 0..2_589_408_u64,
        user in any::<u32>(),
        level in 0.001..1.0_f64,
        rate in 0..5_usize,
        drop_frame in any::<bool>(),
    ) {
        let rate = FrameRate::ALL[rate];
        let Ok(counting) = Counting::new(rate, drop_frame) else {
            return Ok(());
        };
        let first = Label::of_count(count, counting);
        let mut samples = vec![0.0; 48_000];
        Encoder::new(Signal {
            first,
            user_bits: UserBits::of_number(user),
            colour: false,
            sample_rate: 48_000,
            amplitude: level,
            rise_s: RISE_S,
        })
        .fill(&mut samples);
        let reading = Reading::new(&samples, 48_000).expect("timecode");
        let each = 48_000.0 / rate.per_second();
        for word in reading.words() {
            let index = (word.start / each).round() as u64;
            let sent = Label::of_count(first.count() + index, counting);
            prop_assert_eq!(word.label.to_string().replace(';', ":"), sent.to_string().replace(';', ":"));
        }
        prop_assert_eq!(reading.user_bits, UserBits::of_number(user));
        prop_assert!(reading.good() > 0.99 && reading.runs.len() == 1);
    }
}

/// Found by fuzzing: a file that claims no samples a second, with words all the same.
#[test]
fn words_at_no_sample_rate() {
    let mut samples = vec![0.0; 48_000];
    Encoder::new(Signal {
        first: Label::of_count(
            1000,
            Counting::new(FrameRate::F25, false).expect("a counting"),
        ),
        user_bits: UserBits::default(),
        colour: false,
        sample_rate: 48_000,
        amplitude: 0.5,
        rise_s: RISE_S,
    })
    .fill(&mut samples);
    let reading = Reading::new(&samples, 0).expect("timecode");
    assert!(reading.speed() > 0.0 && reading.speed().is_finite());
}

/// Code at a seventeenth of its speed behind words that are no labels: what rings at the edges is not read as words many
/// times as fast, and in place of those that were sent.
#[test]
fn slow_words_are_not_read_as_fast_ones() {
    const SYNC: u16 = 0b1011_1111_1111_1100;
    let mut words = vec![u64::MAX, u64::MAX, 0xFFFF_FFFF];
    words.extend([0; 12]);
    let bits: Vec<bool> = words
        .iter()
        .flat_map(|word| {
            let own = (0..64).map(move |bit| word >> bit & 1 == 1);
            own.chain((0..16).map(|bit| SYNC >> bit & 1 == 1))
        })
        .collect();
    let reading = Reading::new(&code(&bits, 70.0), 8000).expect("the zeros count as labels");
    let found: Vec<u64> = reading.words().map(|word| word.word.0).collect();
    // the last has no edge at its end
    assert_eq!(found, [0; 11]);
}
