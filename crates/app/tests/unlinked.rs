//! Cards of units whose timecode was never linked, was lost or is missing, through the real binary: takes are paired by
//! their sound, marked as such, and the mistake is named. Truth is known by construction.

mod shoots;

use rehearsal::scenes::{Day, day};
use rehearsal::{FrameRate, Stamp, Truth, write_shoots};
use serde_json::Value;
use shoots::{Place, commontime, status};

/// Aligns NORTH and SOUTH and gives the exit status and the alignment.
fn aligned(place: &Place) -> (i32, Value) {
    let run = commontime(&[
        "align",
        "--lead",
        "NORTH",
        &place.card("NORTH"),
        &place.card("SOUTH"),
        "--out",
        &place.path("alignment.json"),
        "--json",
    ]);
    let text = std::fs::read_to_string(place.path("alignment.json"));
    let text = text.unwrap_or_else(|_| panic!("{}", String::from_utf8_lossy(&run.stderr)));
    (status(&run), serde_json::from_str(&text).expect("JSON"))
}

fn shoot(choice: &Day, stamp: impl Fn(usize, f64) -> Stamp) -> (Place, Vec<Truth>) {
    let place = Place::new();
    let truths = write_shoots(&day(choice, stamp), &place.cards(), |_| {}).expect("cards");
    (place, truths)
}

/// Every joint take joins takes of one name, within what is claimed of the truth.
fn all_are_right(alignment: &Value, truths: &[Truth]) {
    let joints = alignment["joint_takes"].as_array().expect("joint takes");
    assert_eq!(joints.len(), truths.len(), "{:#}", alignment["findings"]);
    for (joint, truth) in joints.iter().zip(truths) {
        let member = &joint["members"][1];
        let name = joint["members"][0]["take"]
            .as_str()
            .expect("a name")
            .replace("NORTH", "SOUTH");
        assert_eq!(member["take"], name.as_str());
        let true_offset = truth.unit("SOUTH").expect("took part").offset_samples;
        let far = member["offset_samples"].as_f64().expect("a number") - true_offset;
        let bound = member["offset_bound_samples"].as_f64().expect("a number");
        assert!(
            far.abs() <= bound,
            "{name}: {far} samples off, ±{bound} claimed"
        );
    }
}

fn codes(findings: &Value) -> Vec<String> {
    let list = findings.as_array().expect("findings");
    list.iter()
        .map(|finding| {
            format!(
                "{}: {} {}",
                finding["code"], finding["message"], finding["value"]
            )
        })
        .collect()
}

fn says(findings: &Value, code: &str, word: &str) {
    let found = codes(findings);
    assert!(
        found
            .iter()
            .any(|line| line.contains(code) && line.contains(word)),
        "{code} {word} in {found:#?}"
    );
}

const TAKES: Day = Day {
    seed: 3,
    takes: 4,
    seconds: 40.0,
    begins_s: 36_000.0,
    every_s: 900.0,
    south_counts: FrameRate {
        frames: 30,
        seconds: 1,
        counting: rehearsal::Counting::NonDrop,
    },
};

#[test]
fn units_that_were_never_linked_are_paired_by_their_sound() {
    let never = |_, _| Stamp {
        jam_error_s: -11_847.3,
        ..Stamp::default()
    };
    let (place, truths) = shoot(&TAKES, never);
    let (exit, alignment) = aligned(&place);
    all_are_right(&alignment, &truths);
    assert_eq!(exit, 0, "{alignment:#}");
    let member = &alignment["joint_takes"][2]["members"][1];
    assert_eq!(
        (&member["basis"], &member["status"]),
        (&"acoustic".into(), &"established".into())
    );
    says(&member["findings"], "paired-by-sound", "4 takes");
    says(&alignment["findings"], "stamps-explained", "11847.3");
    assert!(
        !codes(&alignment["findings"])
            .iter()
            .any(|line| line.contains("ran-alone"))
    );
}

#[test]
fn an_hour_too_late_is_named_and_paired_all_the_same() {
    let hour = |_, _| Stamp {
        wrong_hours: 1,
        ..Stamp::default()
    };
    let (place, truths) = shoot(&Day { takes: 3, ..TAKES }, hour);
    let (exit, alignment) = aligned(&place);
    all_are_right(&alignment, &truths);
    assert_eq!(exit, 0);
    says(
        &alignment["findings"],
        "stamps-explained",
        "exactly 1 h too late",
    );
}

#[test]
fn a_jam_lost_at_midday_makes_two_epochs() {
    // from the third take on the stamps are 8.2 s early: by them the takes still overlap, in the wrong place
    let lost = |take, _| Stamp {
        jam_error_s: if take >= 2 { -8.2 } else { 0.0 },
        ..Stamp::default()
    };
    let (place, truths) = shoot(&TAKES, lost);
    let (exit, alignment) = aligned(&place);
    all_are_right(&alignment, &truths);
    assert_eq!(exit, 0);
    let basis = |take: usize| alignment["joint_takes"][take]["members"][1]["basis"].clone();
    assert_eq!((basis(1), basis(2)), ("stamps".into(), "acoustic".into()));
    says(
        &alignment["findings"],
        "jam-changed",
        "between SOUTH_T02 and SOUTH_T03",
    );
    says(
        &alignment["findings"],
        "jam-changed",
        "8.20 s too early from SOUTH_T03",
    );
}

#[test]
fn labels_of_29_97_read_as_30_are_named_after_one_jam_and_with_a_continuous_feed() {
    let choice = Day {
        takes: 3,
        begins_s: 51_000.0,
        every_s: 1500.0,
        south_counts: FrameRate {
            frames: 30_000,
            seconds: 1001,
            ..FrameRate::default()
        },
        ..TAKES
    };
    // jammed at 14:00:00:00: 50 400 s counted as 50 450.4 s, and from then on the unit's own clock (needs: row 5)
    let once = |_, _| Stamp {
        jam_error_s: 50.4,
        ..Stamp::default()
    };
    let (place, truths) = shoot(&choice, once);
    let (exit, alignment) = aligned(&place);
    all_are_right(&alignment, &truths);
    assert_eq!(exit, 0);
    says(
        &alignment["findings"],
        "stamps-explained",
        "50.40 s too late, as after one jam at about 14:00",
    );
    says(&alignment["findings"], "stamps-explained", "29.97");
    // fed all day: 3.6 s for every hour of label time
    let fed = |_, at_s: f64| Stamp {
        jam_error_s: at_s / 1000.0,
        ..Stamp::default()
    };
    let (place, truths) = shoot(&choice, fed);
    let (_, alignment) = aligned(&place);
    all_are_right(&alignment, &truths);
    says(
        &alignment["findings"],
        "stamps-explained",
        "3.6000 s for every hour",
    );
}

#[test]
#[expect(clippy::disallowed_methods, reason = "the card loses a take")]
fn takes_without_stamps_of_which_one_is_missing_are_paired_by_their_sound() {
    let (place, truths) = shoot(&TAKES, |_, _| Stamp::absent());
    std::fs::remove_file(place.cards().join("SOUTH/SOUTH_T02.WAV")).expect("removed");
    let (exit, alignment) = aligned(&place);
    let kept: Vec<Truth> = truths
        .into_iter()
        .enumerate()
        .filter(|(i, _)| *i != 1)
        .map(|(_, t)| t)
        .collect();
    all_are_right(&alignment, &kept);
    assert_eq!(exit, 0);
    says(&alignment["findings"], "ran-alone", "not joined");
    says(
        &alignment["joint_takes"][0]["members"][1]["findings"],
        "paired-by-sound",
        "no stamps",
    );
}

#[test]
fn a_unit_in_record_run_is_not_paired_by_its_stamps() {
    // its timecode stands still between takes: each begins where the one before ended, from ten o'clock on; by accident the
    // second and third fall into the lead's first take of five minutes
    let choice = Day {
        seconds: 60.0,
        every_s: 300.0,
        ..TAKES
    };
    // SOUTH starts 0.73 s after the lead
    let lengths = [59.27, 74.27, 59.27, 74.27];
    let run = move |take: usize, at_s: f64| Stamp {
        jam_error_s: 36_000.0 + lengths[..take].iter().sum::<f64>() - at_s,
        ..Stamp::default()
    };
    let (place, truths) = shoot(&choice, run);
    let (exit, alignment) = aligned(&place);
    all_are_right(&alignment, &truths);
    assert_eq!(exit, 0, "{alignment:#}");
}

#[test]
fn a_unit_whose_timecode_stood_still_is_paired_by_its_sound() {
    // every take says ten o'clock and a hair (needs, fault 20)
    let frozen = |_, at_s: f64| Stamp {
        jam_error_s: 36_000.0 - at_s,
        ..Stamp::default()
    };
    let (place, truths) = shoot(&Day { takes: 3, ..TAKES }, frozen);
    let (exit, alignment) = aligned(&place);
    all_are_right(&alignment, &truths);
    assert_eq!(exit, 0, "{alignment:#}");
}

#[test]
#[expect(clippy::disallowed_methods, reason = "a card's files are bent")]
fn files_of_44_1_khz_that_claim_48_are_named_and_not_resampled() {
    let place = Place::new();
    let mut shoots = day(&Day { takes: 1, ..TAKES }, |_, _| Stamp::default());
    for shoot in &mut shoots {
        shoot.units[1].rate_hz = 44_100;
    }
    write_shoots(&shoots, &place.cards(), |_| {}).expect("cards");
    let path = place.cards().join("SOUTH/SOUTH_T01.WAV");
    let mut bytes = std::fs::read(&path).expect("a file");
    let head = bytes.len().min(65_536);
    for (is, claims) in [
        (
            44_100_u32.to_le_bytes().to_vec(),
            48_000_u32.to_le_bytes().to_vec(),
        ),
        (b"44100".to_vec(), b"48000".to_vec()),
    ] {
        let mut at = 0;
        while let Some(found) = bytes[at..head]
            .windows(is.len())
            .position(|window| window == is)
        {
            bytes[at + found..at + found + is.len()].copy_from_slice(&claims);
            at += found + is.len();
        }
    }
    std::fs::write(&path, bytes).expect("written");
    let (exit, alignment) = aligned(&place);
    assert_eq!(exit, 1);
    says(&alignment["findings"], "speed-differs", "-812");
    let finding = alignment["findings"].to_string();
    assert!(
        finding.contains("44.1 kHz and declared as 48 kHz"),
        "{finding}"
    );
    let joints = alignment["joint_takes"].as_array().expect("joint takes");
    let members = joints
        .iter()
        .flat_map(|joint| joint["members"].as_array().expect("members"));
    for member in members.filter(|member| member["role"] == "follower") {
        assert_ne!(member["status"], "established");
    }
}

#[test]
fn stamps_one_timecode_frame_late_are_named_and_taken_out_by_the_common_signal() {
    use rehearsal::scenes::{CommonSignal, common_signal};
    let place = Place::new();
    let shoots: Vec<rehearsal::Shoot> = (0..2)
        .map(|take| {
            let mut shoot = common_signal(&CommonSignal {
                seed: 50 + take,
                seconds: 20.0,
                ..CommonSignal::default()
            })
            .named(&format!("T{:02}", take + 1))
            .time_of_day_s(36_000.012_3 + 600.0 * take as f64);
            // one timecode frame of 1600 samples, and 7.3 samples (needs, row 2)
            shoot.units[1].stamp = Stamp {
                wrong_frames: 1,
                jam_error_s: 7.3 / 48_000.0,
                ..Stamp::default()
            };
            shoot
        })
        .collect();
    let truths = write_shoots(&shoots, &place.cards(), |_| {}).expect("cards");
    let (exit, alignment) = aligned(&place);
    all_are_right(&alignment, &truths);
    assert_eq!(exit, 0);
    let member = &alignment["joint_takes"][0]["members"][1];
    assert_eq!(member["basis"], "common-signal");
    assert!(member["offset_bound_samples"].as_f64().expect("a number") <= 0.1);
    says(
        &alignment["findings"],
        "stamps-explained",
        "one timecode frame too late",
    );
}
