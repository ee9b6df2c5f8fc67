//! Words, code and readings against libltc, an independent implementation: encoded here and read there, encoded there and
//! read here, at all its rates.

#[path = "../outside/mod.rs"]
mod outside;

use outside::{bytes, libltc, words};
use timecode::ltc::{Date, Day, Encoder, RISE_S, Reading, Signal, UserBits, Word, Zone};
use timecode::{Counting, FrameRate, Label};

fn lines(arguments: &[String], input: &[u8]) -> Vec<String> {
    let text = String::from_utf8(libltc(arguments, input)).expect("text");
    text.lines().map(str::to_owned).collect()
}

fn hex(word: Word) -> String {
    word.octets().iter().map(|o| format!("{o:02x}")).collect()
}

/// Every counting that both know, with libltc's frames a second and number of the standard. It takes 29.97 for drop-frame.
fn countings() -> Vec<(Counting, f64, u8)> {
    [
        (FrameRate::F23_976, false, 24_000.0 / 1001.0, 3),
        (FrameRate::F24, false, 24.0, 3),
        (FrameRate::F25, false, 25.0, 1),
        (FrameRate::F29_97, true, 30_000.0 / 1001.0, 0),
        (FrameRate::F30, false, 30.0, 0),
    ]
    .into_iter()
    .map(|(rate, drop, fps, standard)| {
        (
            Counting::new(rate, drop).expect("a counting"),
            fps,
            standard,
        )
    })
    .collect()
}

#[test]
fn what_is_encoded_here_is_read_there() {
    for (counting, ..) in countings() {
        for sample_rate in [44_100, 48_000, 96_000] {
            let first = Label::parse("09:59:58:20", counting).expect("a label");
            let user_bits = UserBits::of_number(0xDEAD_10C5);
            let mut encoder = Encoder::new(Signal {
                first,
                user_bits,
                colour: false,
                sample_rate,
                amplitude: 0.5,
                rise_s: RISE_S,
            });
            let mut samples = vec![0.0; 4 * sample_rate as usize];
            encoder.fill(&mut samples);
            let each = encoder.start_of(1).round();
            let read = lines(&words(&[&"decode", &each]), &bytes(&samples));
            let expected = encoder_words(first, user_bits, &encoder);
            // libltc needs some words to settle and leaves out the last
            assert!(
                read.len() + 4 > (4.0 * counting.rate().per_second()) as usize,
                "{}",
                read.len()
            );
            for line in read {
                let fields: Vec<&str> = line.split(' ').collect();
                let start: f64 = fields[0].parse().expect("a number");
                let (index, _) = expected
                    .iter()
                    .enumerate()
                    .map(|(i, (at, _))| (i, (at - start).abs()))
                    .min_by(|a, b| a.1.total_cmp(&b.1))
                    .expect("a word");
                // it says places to a sample or so of where it noticed the edge
                assert!(
                    (expected[index].0 - start).abs() < 4.0,
                    "{counting}: {start}"
                );
                assert_eq!(fields[3], hex(expected[index].1), "{counting}");
                assert_eq!(fields[2], "0");
            }
        }
    }
}

fn encoder_words(first: Label, user_bits: UserBits, encoder: &Encoder) -> Vec<(f64, Word)> {
    (0..130)
        .map(|index| {
            let label = Label::of_count(first.count() + index, first.counting());
            (encoder.start_of(index), Word::new(label, user_bits, false))
        })
        .collect()
}

#[test]
fn what_is_encoded_there_is_read_here() {
    for (counting, fps, standard) in countings() {
        for sample_rate in [44_100_u32, 48_000, 96_000] {
            let arguments = words(&[
                &"encode",
                &sample_rate,
                &fps,
                &standard,
                &0,
                &100,
                &23,
                &59,
                &58,
                &20,
                &"89ABCDEF",
            ]);
            let coded = libltc(&arguments, &[]);
            let samples: Vec<f32> = coded
                .iter()
                .map(|x| (f32::from(*x) - 128.0) / 128.0)
                .collect();
            let reading = Reading::new(&samples, sample_rate).expect("timecode");
            assert_eq!(reading.counting, counting, "{sample_rate}");
            let [run] = &reading.runs[..] else {
                panic!("{counting}: {} runs", reading.runs.len());
            };
            assert!(run.words.len() >= 98, "{counting}: {}", run.words.len());
            let first = Label::parse("23:59:58:20", counting).expect("a label");
            for word in &run.words {
                let index = (word.start / run.word_length().expect("a length")).round() as u64;
                assert_eq!(word.label, Label::of_count(first.count() + index, counting));
            }
            assert_eq!(reading.user_bits.to_string(), "89ABCDEF");
            assert!(reading.even > 0.99);
        }
    }
}

#[test]
fn words_have_the_same_octets_all_day() {
    for (counting, fps, standard) in countings() {
        let labels: Vec<Label> = (0..counting.day())
            .step_by(9973)
            .map(|count| Label::of_count(count, counting))
            .collect();
        let user = |label: &Label| (label.count() as u32).wrapping_mul(2_654_435_761) | 1;
        let input: String = labels
            .iter()
            .map(|label| {
                let d = label.digits();
                format!(
                    "{} {} {} {} 0 0 0 +0000 {:08x}\n",
                    d.hours,
                    d.minutes,
                    d.seconds,
                    d.frames,
                    user(label)
                )
            })
            .collect();
        let theirs = lines(&words(&[&"frames", &fps, &standard, &0]), input.as_bytes());
        assert_eq!(theirs.len(), labels.len());
        for (label, theirs) in labels.iter().zip(theirs) {
            let mut own = Word::new(*label, UserBits::of_number(user(label)), false);
            // setting its user bits leaves libltc's polarity bit as it was without them
            let polarity = if counting.rate().nominal() == 25 {
                59
            } else {
                27
            };
            let other = u64::from_str_radix(&theirs[..16], 16)
                .expect("octets")
                .swap_bytes();
            own.0 = own.0 & !(1 << polarity) | other & 1 << polarity;
            assert_eq!(hex(own), theirs, "{label}");
        }
    }
}

#[test]
fn dates_and_zones_have_the_same_user_bits() {
    let (counting, fps, standard) = countings()[2];
    let label = Label::parse("12:00:00:00", counting).expect("a label");
    let zones: Vec<Zone> = (0..0x40)
        .map(Zone::of_code)
        .filter(|zone| matches!(zone, Zone::Minutes(_)))
        .collect();
    assert_eq!(zones.len(), 51);
    let input: String = zones
        .iter()
        .map(|zone| format!("12 0 0 0 26 11 25 {zone} 0\n"))
        .collect();
    // LTC_USE_DATE
    let theirs = lines(&words(&[&"frames", &fps, &standard, &1]), input.as_bytes());
    assert_eq!(theirs.len(), zones.len());
    for (zone, theirs) in zones.into_iter().zip(theirs) {
        let date = Date {
            day: Day::Calendar {
                year: 26,
                month: 11,
                day: 25,
            },
            zone,
            daylight_saving: false,
        };
        let own = Word::new(label, UserBits::of_date(date).expect("a date"), false);
        // libltc leaves the flag that says "date" to its caller, and polarity follows from it
        let flags = 1_u64 << 27 | 1 << 43 | 1 << 58 | 1 << 59;
        let other = u64::from_str_radix(&theirs[..16], 16)
            .expect("octets")
            .swap_bytes();
        assert_eq!(own.0 & !flags, other & !flags, "{zone}");
    }
}
