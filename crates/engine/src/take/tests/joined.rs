//! Files that are one take: split parts, sets of files, and what only looks like it. The sound of a take is compared
//! with the formula it was written from.

use super::fixture::{Cards, Wave, codes, only, value};
use crate::error::Kind;
use crate::finding::Weight;
use crate::signal::Sound;
use crate::take::{Take, TakeSound, Timecode};

const START: u64 = 1_728_000_000;

/// Reads `length` positions of every channel from `start` on.
fn read(take: &Take, start: i64, length: usize) -> Vec<Vec<f64>> {
    let sound = TakeSound::open(&take.parts).expect("opened");
    assert_eq!(sound.length(), take.length);
    assert_eq!(sound.channels(), take.channels.len());
    let channels: Vec<usize> = (0..sound.channels()).collect();
    let mut planes = vec![vec![9.0; length]; channels.len()];
    let mut slices: Vec<&mut [f64]> = planes.iter_mut().map(Vec::as_mut_slice).collect();
    sound.read(&channels, start, &mut slices).expect("read");
    planes
}

fn expected(position: i64, channel: usize) -> f64 {
    f64::from(value(position as u64, channel as u16)) / 32_768.0
}

/// The take holds the whole recording from its first sample to its last, and silence around it.
fn assert_whole(take: &Take) {
    let length = take.length.0 as i64;
    for (channel, plane) in read(take, -3, take.length.0 as usize + 6)
        .iter()
        .enumerate()
    {
        for (value, position) in plane.iter().zip(-3..) {
            let inside = (0..length).contains(&position);
            let expected = if inside {
                expected(position, channel)
            } else {
                0.0
            };
            assert_eq!(
                *value, expected,
                "{} channel {channel} at {position}",
                take.name
            );
        }
    }
}

/// A part of a recording that began at [`START`].
fn part(from: u64, length: u64) -> Wave {
    Wave {
        from,
        ..Wave::new(2, length).at(START + from)
    }
}

#[test]
fn eleven_parts_follow_each_other_in_natural_order() {
    let cards = Cards::new();
    for number in 0..11_u64 {
        cards.wave(
            &format!("north/T01_{}.wav", number + 1),
            &part(number * 700, 700),
        );
    }
    let (takes, findings) = cards.takes("north");
    assert_eq!(takes.len(), 1, "{takes:#?}");
    assert_eq!((takes[0].length.0, takes[0].parts.len()), (7700, 11));
    assert_eq!(takes[0].name, "T01_1");
    assert!(findings.is_empty(), "{findings:#?}");
    assert_whole(&takes[0]);
}

#[test]
fn a_first_part_may_have_no_number() {
    let cards = Cards::new();
    cards.wave("north/T01.wav", &part(0, 700));
    cards.wave("north/T01_2.wav", &part(700, 700));
    let (takes, _) = cards.takes("north");
    assert_eq!(takes.len(), 1);
    assert_whole(&takes[0]);
}

#[test]
fn a_stamp_that_was_rounded_is_no_gap() {
    let cards = Cards::new();
    for (number, (from, rounding)) in [(0, 0), (700, -1), (1400, 1)].into_iter().enumerate() {
        let stamp = (START + from).saturating_add_signed(rounding);
        cards.wave(
            &format!("north/T01_{number}.wav"),
            &Wave {
                stamp: Some(stamp),
                ..part(from, 700)
            },
        );
    }
    let (takes, findings) = cards.takes("north");
    assert_eq!(takes.len(), 1);
    assert!(findings.is_empty(), "{findings:#?}");
    assert_whole(&takes[0]);
}

#[test]
fn a_gap_keeps_its_place_as_silence() {
    let cards = Cards::new();
    cards.wave("north/T01_1.wav", &part(0, 9600));
    cards.wave("north/T01_2.wav", &part(14_400, 700));
    let (takes, findings) = cards.takes("north");
    assert_eq!((takes.len(), takes[0].length.0), (1, 15_100));
    assert!(
        only(&findings, "gap-between-parts")
            .value
            .starts_with("4800 samples")
    );
    let planes = read(&takes[0], 9598, 4806);
    for (channel, plane) in planes.iter().enumerate() {
        assert_eq!(plane[1], expected(9599, channel));
        assert!(plane[2..4802].iter().all(|value| *value == 0.0));
        assert_eq!(plane[4802], expected(14_400, channel));
    }
}

#[test]
fn an_overlap_is_counted_once_when_it_is_equal() {
    let cards = Cards::new();
    cards.wave("north/T01_1.wav", &part(0, 9600));
    cards.wave("north/T01_2.wav", &part(4800, 9600));
    let (takes, findings) = cards.takes("north");
    assert_eq!((takes.len(), takes[0].length.0), (1, 14_400));
    assert_eq!(
        only(&findings, "overlap-between-parts").weight,
        Weight::Note
    );
    assert_whole(&takes[0]);
}

#[test]
fn an_overlap_that_differs_needs_a_decision() {
    let cards = Cards::new();
    cards.wave("north/T01_1.wav", &part(0, 9600));
    cards.wave(
        "north/T01_2.wav",
        &Wave {
            from: 77,
            ..part(4800, 9600)
        },
    );
    let (takes, findings) = cards.takes("north");
    assert_eq!(only(&findings, "overlap-differs").weight, Weight::Ask);
    assert_eq!(codes(&takes[0].undecided), ["overlap-differs"]);
}

#[test]
fn a_missing_part_needs_a_decision() {
    let cards = Cards::new();
    let minute = 48_000 * 15;
    cards.wave("north/T01_1.wav", &part(0, minute));
    cards.wave("north/T01_3.wav", &part(2 * minute, 4800));
    let (takes, findings) = cards.takes("north");
    assert_eq!((takes.len(), takes[0].length.0), (1, 2 * minute + 4800));
    assert_eq!(only(&findings, "part-missing").limit, "1 more files");
    assert_eq!(codes(&takes[0].undecided), ["part-missing"]);
}

#[test]
fn parts_go_on_over_midnight() {
    let cards = Cards::new();
    let day = 86_400 * 48_000;
    for (number, from) in [0, 9600, 19_200].into_iter().enumerate() {
        let stamp = (day - 14_400 + from) % day;
        let wave = Wave {
            stamp: Some(stamp),
            time: "23:59:59",
            ..part(from, 9600)
        };
        cards.wave(&format!("north/T01_{}.wav", number + 1), &wave);
    }
    let (takes, _) = cards.takes("north");
    assert_eq!(takes.len(), 1, "{takes:#?}");
    assert_eq!(
        takes[0].stamp.as_ref().map(|s| s.samples),
        Some(day - 14_400)
    );
    assert_whole(&takes[0]);
}

#[test]
fn takes_that_only_follow_each_other_stay_apart() {
    let cards = Cards::new();
    // a pause of half a second between two takes of their own
    cards.wave("pause/T01.wav", &part(0, 9600));
    cards.wave("pause/T02.wav", &part(33_600, 9600));
    assert_eq!(cards.takes("pause").0.len(), 2);
    // the units' own take numbers speak against it
    cards.wave("numbers/T01.wav", &part(0, 9600).ixml("<TAKE>1</TAKE>"));
    cards.wave("numbers/T02.wav", &part(9600, 9600).ixml("<TAKE>2</TAKE>"));
    assert_eq!(cards.takes("numbers").0.len(), 2);
    // other settings
    cards.wave("rates/T01.wav", &part(0, 9600));
    cards.wave(
        "rates/T02.wav",
        &Wave {
            rate: 96_000,
            ..part(9600, 9600)
        },
    );
    assert_eq!(cards.takes("rates").0.len(), 2);
}

#[test]
fn timecode_that_stood_still_between_takes_is_recognised() {
    let cards = Cards::new();
    let times = ["10:00:00", "10:07:00", "10:21:00", "10:40:00"];
    for (number, time) in times.into_iter().enumerate() {
        let from = number as u64 * 9600;
        cards.wave(
            &format!("run/T{number:02}.wav"),
            &Wave {
                time,
                ..part(from, 9600)
            },
        );
        let free = Wave {
            stamp: Some(START + from * 2000),
            ..part(from, 9600)
        };
        cards.wave(&format!("free/T{number:02}.wav"), &Wave { time, ..free });
        let frozen = Wave {
            stamp: Some(START),
            time,
            ..part(from, 9600 + 480 * number as u64)
        };
        cards.wave(&format!("frozen/T{number:02}.wav"), &frozen);
    }
    let surveyed = cards.scan(&["run", "free", "frozen"]);
    let [run, free, frozen] = &surveyed.value.units[..] else {
        panic!("three units")
    };
    assert_eq!((frozen.takes.len(), frozen.timecode), (4, Timecode::Frozen));
    assert_eq!(only(&surveyed.findings, "frozen-timecode").place, "FROZEN");
    assert_eq!((run.takes.len(), run.timecode), (4, Timecode::RecordRun));
    assert_eq!((free.takes.len(), free.timecode), (4, Timecode::Free));
    assert_eq!(only(&surveyed.findings, "record-run").place, "RUN");
}

/// One channel of a recording that began at [`START`].
fn channel(number: u16) -> Wave {
    Wave {
        first_channel: number,
        ..Wave::new(1, 960).at(START)
    }
}

#[test]
fn twelve_mono_files_are_one_take_in_natural_order() {
    let cards = Cards::new();
    for number in 0..12 {
        let track = format!(
            "<TRACK_LIST><TRACK_COUNT>1</TRACK_COUNT><TRACK><CHANNEL_INDEX>{0}</CHANNEL_INDEX>\
             <INTERLEAVE_INDEX>1</INTERLEAVE_INDEX><NAME>Mic {0}</NAME></TRACK></TRACK_LIST>",
            number + 1
        );
        cards.wave(
            &format!("north/T01_{}.wav", number + 1),
            &channel(number).ixml(&track),
        );
    }
    let (takes, findings) = cards.takes("north");
    assert_eq!(takes.len(), 1, "{takes:#?}");
    assert_eq!(takes[0].name, "T01");
    assert_eq!(takes[0].channels[1], "Mic 2");
    assert_eq!(takes[0].channels[11], "Mic 12");
    assert!(findings.is_empty(), "{findings:#?}");
    assert_whole(&takes[0]);
}

#[test]
fn a_set_can_be_split_too() {
    let cards = Cards::new();
    for number in 0..3_u16 {
        let family = |part: u64| {
            format!(
                "<FILE_SET><TOTAL_FILES>3</TOTAL_FILES><FAMILY_UID>F{part}</FAMILY_UID>\
                 <FILE_SET_INDEX>{}</FILE_SET_INDEX></FILE_SET>",
                number + 1
            )
        };
        for part in 0..2_u64 {
            let wave = Wave {
                from: part * 960,
                ..channel(number).at(START + part * 960)
            };
            // names as a unit may give them: a letter for the part, a number for the channel
            let name = format!("north/T01{}_{}.wav", ["", "-2"][part as usize], number + 1);
            cards.wave(&name, &wave.ixml(&family(part)));
        }
    }
    let (takes, findings) = cards.takes("north");
    assert_eq!(takes.len(), 1, "{takes:#?}");
    assert_eq!((takes[0].length.0, takes[0].channels.len()), (1920, 3));
    assert!(findings.is_empty(), "{findings:#?}");
    assert_whole(&takes[0]);
}

#[test]
fn what_is_irregular_in_a_set_needs_a_decision() {
    let cards = Cards::new();
    for number in 0..4_u16 {
        let name = |card: &str| format!("{card}/T01_{}.wav", number + 1);
        let short = u64::from(number == 2);
        cards.wave(
            &name("uneven"),
            &Wave {
                length: 960 - short,
                ..channel(number)
            },
        );
        if number != 2 {
            cards.wave(&name("hole"), &channel(number));
        }
        let stray = if number == 2 { 480 } else { 0 };
        cards.wave(&name("stray"), &channel(number).at(START + stray));
        if number != 3 {
            let family =
                "<FILE_SET><TOTAL_FILES>4</TOTAL_FILES><FAMILY_UID>F</FAMILY_UID></FILE_SET>";
            cards.wave(&name("lost"), &channel(number).ixml(family));
        }
    }
    let (takes, findings) = cards.takes("uneven");
    assert_eq!((takes.len(), takes[0].length.0), (1, 960));
    assert_eq!(only(&findings, "set-uneven").value, "T01_3 959");
    assert_eq!(takes[0].undecided.len(), 1);
    assert_eq!(read(&takes[0], 0, 960)[2][959], 0.0);

    let (takes, findings) = cards.takes("hole");
    assert_eq!((takes.len(), takes[0].channels.len()), (1, 3));
    assert_eq!(only(&findings, "set-has-holes").value, "no 3");
    assert!(takes[0].undecided.is_empty(), "an input may have been off");

    let (_, findings) = cards.takes("stray");
    let finding = only(&findings, "set-stamp-strays");
    assert_eq!(finding.value, format!("T01_3 is stamped {}", START + 480));

    let (takes, findings) = cards.takes("lost");
    assert_eq!(only(&findings, "set-incomplete").value, "3 files");
    assert_eq!(codes(&takes[0].undecided), ["set-incomplete"]);
}

#[test]
fn mono_takes_without_stamps_are_a_set_only_when_started_together() {
    let cards = Cards::new();
    for number in 0..3_u16 {
        let wave = Wave {
            stamp: Some(0),
            ..channel(number)
        };
        cards.wave(&format!("set/T01_{number}.wav"), &wave);
        let time = ["10:00:00", "10:05:00", "10:09:00"][usize::from(number)];
        cards.wave(&format!("takes/T_{number}.wav"), &Wave { time, ..wave });
    }
    assert_eq!(cards.takes("set").0.len(), 1);
    assert_eq!(cards.takes("takes").0.len(), 3);
}

#[test]
fn a_file_that_changed_since_is_refused() {
    let cards = Cards::new();
    cards.wave("north/T01.wav", &part(0, 700));
    let (takes, _) = cards.takes("north");
    cards.wave("north/T01.wav", &part(0, 699));
    let error = TakeSound::open(&takes[0].parts).err().expect("refused");
    assert_eq!(error.kind(), Kind::Format);
    assert!(
        error.to_string().contains("699 samples, expected 2 of 700"),
        "{error}"
    );
}

#[test]
fn positions_beyond_any_recording_are_refused() {
    let cards = Cards::new();
    cards.wave("north/T01.wav", &part(0, 700));
    let (takes, _) = cards.takes("north");
    let mut parts = takes[0].parts.clone();
    parts[0].first_sample = u64::MAX - 3;
    assert_eq!(
        TakeSound::open(&parts).err().map(|error| error.kind()),
        Some(Kind::Usage)
    );
    assert_eq!(
        TakeSound::open(&[]).err().map(|error| error.kind()),
        Some(Kind::Usage)
    );
    // reading far outside is silence, not an overflow
    for start in [i64::MIN, i64::MAX - 3] {
        assert!(
            read(&takes[0], start, 8)
                .iter()
                .flatten()
                .all(|value| *value == 0.0)
        );
    }
}
