//! Hand-made alignments in, what `explain` says of them, word for word.

use super::*;
use crate::report::{MeasuredAgain, Output, SoundReport, SyncReport, judge_groups, sample};

fn said(place: &str) -> String {
    explain(&sample::alignment(), Built::default(), Some(place)).expect("a place that is there")
}

fn refused(place: &str) -> String {
    explain(&sample::alignment(), Built::default(), Some(place))
        .expect_err("no such place")
        .to_string()
}

#[test]
fn without_a_place_it_says_what_can_be_asked() {
    insta::assert_snapshot!(explain(&sample::alignment(), Built::default(), None).expect("an overview"), @r#"
    3 joint takes, measured by commontime 0.1.0

    ask about
      evening-02
      evening-02/SOUTH  (measured on a common electrical signal, ±0.010 samples, ±0.208 µs)
      evening-03
      evening-03/SOUTH  (placed by the units' stamps, good to one timecode frame (±1600 samples, ±33.3 ms))
      evening-04
      evening-04/SOUTH  (not established: nothing reliable was found and nothing was shifted)

    and behind a unit, with a slash: offset, rate, level, clock@TIME, signs, ties, findings
        warn: no other unit ran during this take [SOUTH T09]
    "#);
}

#[test]
fn an_offset_leads_to_its_ties() {
    insta::assert_snapshot!(said("evening-02/SOUTH/offset"), @r#"
    evening-02 / SOUTH / offset

      claim   measured on a common electrical signal, ±0.010 samples, ±0.208 µs
      basis   common-signal: the same electrical signal found on both units
      offset  +49440.0000 samples, sigma 0.003: 00:00:01.030 from its start; the first sample of SOUTH falls at this position of NORTH

    how it came about
      - the same electrical signal stands on NORTH 3 and SOUTH 3; the offset and the rate are measured on it

    signs asked
      passed  coherence of the channel pair: 0.998 (limit 0.9)
      passed  share of windows that agree: 0.983 (limit 0.8)

    ties nearest to the follower's first sample
         lead position          follower     sigma  from clock            source
            169439.128        120000.004    0.0040     +0.0040  used      common-signal 3=3
            409437.384        359999.997    0.0040     -0.0030  used      common-signal 3=3
            649435.640        600000.001    0.0040     +0.0010  used      common-signal 3=3
            889433.895        839999.995    0.0040     -0.0050  used      common-signal 3=3
           1129432.151       1080000.002    0.0040     +0.0019  used      common-signal 3=3
           1369430.405       1320000.004    0.0040     +0.0039  used      common-signal 3=3
      57 of 58 ties used; scatter about the clock 0.004 samples rms
    "#);
}

#[test]
fn a_rate_can_be_checked_on_its_first_and_last_tie() {
    insta::assert_snapshot!(said("evening-02/south/RATE"), @r#"
    evening-02 / SOUTH / RATE

      rate    +7.3100 ppm (sigma 0.0040)
              it wrote more over its length: 105.3 samples, 2.19 ms

    how it came about
      - the same electrical signal stands on NORTH 3 and SOUTH 3; the offset and the rate are measured on it

    from the first used tie to the last
      13679899.969 samples of the lead are 13679999.997 of SOUTH: +7.3121 ppm

    first and last used ties
         lead position          follower     sigma  from clock            source
            169439.128        120000.004    0.0040     +0.0040  used      common-signal 3=3
            409437.384        359999.997    0.0040     -0.0030  used      common-signal 3=3
            649435.640        600000.001    0.0040     +0.0010  used      common-signal 3=3
          13369342.586      13320000.004    0.0040     +0.0041  used      common-signal 3=3
          13609340.841      13559999.997    0.0040     -0.0030  used      common-signal 3=3
          13849339.097      13800000.001    0.0040     +0.0010  used      common-signal 3=3
      57 of 58 ties used; scatter about the clock 0.004 samples rms

    signs asked
      passed  coherence of the channel pair: 0.998 (limit 0.9)
      passed  share of windows that agree: 0.983 (limit 0.8)
    "#);
}

#[test]
fn a_moment_has_its_knots_and_ties() {
    insta::assert_snapshot!(said("evening-02/SOUTH/clock@2:30"), @r#"
    evening-02 / SOUTH / clock@2:30

      at 00:02:30.000 of evening-02, lead position 7200000
      SOUTH is at its own position 7150612.268, 00:02:28.971

    knots on both sides
      lead     7009388.6499   SOUTH     6959999.5167
      lead     7249386.8684   SOUTH     7199999.5000

    ties nearest in time
         lead position          follower     sigma  from clock            source
           6649391.780       6600000.001    0.0040     +0.0010  used      common-signal 3=3
           6889390.016       6839999.995    0.0040     -0.0050  used      common-signal 3=3
           7129388.251       7080000.002    0.0040     +0.0020  used      common-signal 3=3
           7369386.486       7320000.004    0.0040     +0.0040  used      common-signal 3=3
           7609384.721       7560000.397    0.0040     +0.3970  not used  common-signal 3=3
           7849382.957       7800000.001    0.0040     +0.0010  used      common-signal 3=3
      57 of 58 ties used; scatter about the clock 0.004 samples rms
    "#);
}

#[test]
fn what_was_not_established_says_what_was_asked() {
    insta::assert_snapshot!(said("evening-04/SOUTH"), @r#"
    evening-04 / SOUTH

      claim   not established: nothing reliable was found and nothing was shifted
      basis   none: nothing reliable
      rate    not measured; the nominal rate was assumed, good to ±20 ppm (two sigma)

    how it came about
      - nothing reliable was found; nothing was shifted
      - +240000 samples would fit too, 1.00 as well as the best
      - +264000 samples would fit too, 0.98 as well as the best

    ask further, behind a slash: offset, rate, level, clock@TIME, signs, ties, findings
    "#);
    insta::assert_snapshot!(said("evening-04/SOUTH/offset"), @r#"
    evening-04 / SOUTH / offset

      claim   not established: nothing reliable was found and nothing was shifted
      basis   none: nothing reliable

    how it came about
      - nothing reliable was found; nothing was shifted
      - +240000 samples would fit too, 1.00 as well as the best
      - +264000 samples would fit too, 0.98 as well as the best

    signs asked
      failed  best peak against the second: 1.02 (limit 1.5)

    no ties: this rests on no measurement of sound
    "#);
}

#[test]
fn level_and_polarity_say_which_channels_they_concern() {
    let level = said("evening-02/SOUTH/level");
    for words in [
        "-0.70 dB",
        "inverted",
        "SOUTH channel 3 only",
        "nothing was changed",
    ] {
        assert!(level.contains(words), "{words}: {level}");
    }
    assert!(said("evening-03/SOUTH/level").contains("not compared"));
}

#[test]
fn the_lead_explains_itself() {
    assert!(said("evening-02/NORTH/offset").contains("this is the lead"));
    assert!(said("evening-02/findings").contains("the common signal decides"));
    assert!(said("evening-03/findings").contains("none"));
    assert!(said("evening-03/SOUTH/ties").contains("no ties"));
}

#[test]
fn a_wrong_word_is_answered_with_the_right_ones() {
    for (place, words) in [
        ("evening-9", "there is: evening-02, evening-03, evening-04"),
        ("evening-02/WEST/offset", "there is: NORTH, SOUTH, findings"),
        ("evening-02/SOUTH/colour", "ask for: offset, rate"),
        ("evening-02/SOUTH/clock@noon", "clock@12:30"),
        ("evening-02/SOUTH/clock@1:2:3:4", "clock@12:30"),
        ("é", "there is: evening-02"),
    ] {
        let refused = refused(place);
        assert!(refused.contains(words), "{place}: {refused}");
    }
}

#[test]
fn times_read_as_people_write_them() {
    for (text, seconds) in [
        ("90", 90.0),
        ("12:30", 750.0),
        ("1:00:00.5", 3600.5),
        ("", 0.0),
    ] {
        assert_eq!(time_s(text).expect(text), seconds);
    }
    assert!(time_s("-1").is_err());
}

/// The reports of what was built, with a quality that has something of everything.
fn built() -> (SoundReport, SyncReport) {
    let day = sample::alignment();
    let session = "[[group]]\nname = \"Main pair\"\nclass = \"stereo-pair\"\nchannels = [\"NORTH:1\", \"SOUTH:1\"]\n\
        [[group]]\nname = \"own\"\nclass = \"array\"\nchannels = [\"NORTH:2-3\"]\n";
    let session = crate::session::Session::from_toml(session).expect("a session");
    let outputs: Vec<Option<Output>> = day
        .joint_takes
        .iter()
        .map(|joint| {
            let mut output = sample::output(joint);
            output.groups = judge_groups(&session.groups, joint, None);
            output.quality = Some(sample::quality(joint));
            output.residuals = vec![MeasuredAgain {
                unit: "SOUTH".into(),
                place: "middle".into(),
                position: 7_200_000.0,
                lag_samples: 0.000_4,
                sigma_samples: 0.000_9,
            }];
            Some(output)
        })
        .collect();
    (
        SoundReport::of(&day, &outputs),
        SyncReport::of(&day, &outputs),
    )
}

fn told(place: &str) -> Result<String> {
    let (sound, sync) = built();
    let built = Built {
        sound: Some(&sound),
        sync: Some(&sync),
    };
    explain(&sample::alignment(), built, Some(place))
}

#[test]
fn a_channel_s_numbers_tell_how_they_were_measured() {
    insta::assert_snapshot!(told("evening-02/south:1").expect("a channel"));
}

#[test]
fn a_group_s_verdict_tells_whose_claims_it_adds() {
    let text = told("evening-02/group main PAIR").expect("a group");
    // the lead is off by nothing, so all of it is SOUTH's: 0.01 samples by its claim and three sigma of 0.004
    assert!(
        text.contains("SOUTH  ±0.458 µs: ±0.208 µs by its claim, ±0.25 µs"),
        "{text}"
    );
    assert!(text.contains("ask evening-02/SOUTH/offset"), "{text}");
    let text = told("evening-02/group own").expect("a group");
    assert!(text.contains("they share its clock"), "{text}");
    let text = told("evening-04/group Main pair").expect("a group");
    assert!(text.contains("SOUTH  has no established place"), "{text}");
}

#[test]
fn a_residual_tells_its_windows() {
    let text = told("evening-02/SOUTH/residual").expect("a residual");
    assert!(
        text.contains("NORTH:3 and SOUTH:3 carry one signal"),
        "{text}"
    );
    assert!(
        text.contains("middle") && text.contains("7200000") && text.contains("+0.000400"),
        "{text}"
    );
}

#[test]
fn what_was_not_built_or_is_not_there_is_told() {
    let error = told("evening-02/south:9")
        .expect_err("no channel")
        .to_string();
    assert!(error.contains("SOUTH:9 was not recorded"), "{error}");
    let error = told("evening-04/south:1")
        .expect_err("left out")
        .to_string();
    assert!(error.contains("is in no file of it"), "{error}");
    let error = told("evening-02/group Trio")
        .expect_err("no group")
        .to_string();
    assert!(error.contains("Main pair, own"), "{error}");
    let error = told("evening-02/NORTH/residual")
        .expect_err("the lead")
        .to_string();
    assert!(error.contains("was not measured again"), "{error}");
    let nothing = explain(
        &sample::alignment(),
        Built::default(),
        Some("evening-02/NORTH:1"),
    );
    let error = nothing.expect_err("no report").to_string();
    assert!(
        error.contains("not at hand") && error.contains("give the folder"),
        "{error}"
    );
}
