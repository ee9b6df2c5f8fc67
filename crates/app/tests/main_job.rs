//! The main job end to end through the real binary, on rehearsal shoots whose truth is known by construction.

mod shoots;

use serde_json::Value;
use shoots::{Place, commontime, short_shoot, status};

#[test]
fn two_cards_become_one_recording_within_what_is_claimed() {
    let place = Place::new();
    let truth = short_shoot(20.0).write(&place.cards()).expect("a shoot");
    let run = place.join(&["--json"]);
    assert_eq!(status(&run), 0, "{}", String::from_utf8_lossy(&run.stderr));
    let said: Value = serde_json::from_slice(&run.stdout).expect("JSON alone on standard output");
    let member = &said["alignment"]["joint_takes"][0]["members"][1];
    assert_eq!(member["basis"], "common-signal");
    let south = truth.unit("SOUTH").expect("took part");
    let far = member["offset_samples"].as_f64().expect("a number") - south.offset_samples;
    let bound = member["offset_bound_samples"].as_f64().expect("a number");
    assert!(
        far.abs() <= bound,
        "SOUTH is {far} samples off, claimed within {bound}"
    );
    let rate = member["rate_ppm"].as_f64().expect("a number") - south.rate_ppm;
    assert!(rate.abs() < 0.01, "SOUTH's rate is {rate} ppm off");
    for name in ["alignment.json", "sound-report.csv", "hashes.xxh3.txt"] {
        assert!(place.out_path().join(name).is_file(), "{name}");
    }
    let take = said["alignment"]["joint_takes"][0]["name"]
        .as_str()
        .expect("a name");
    let page = std::fs::read_to_string(place.out_path().join(format!("{take}.report.html")));
    assert!(page.expect("a page").contains("common electrical signal"));
    // the lead bit for bit: digests of the output's channels equal the sources'
    let channels = said["built"]["outputs"][0]["channels"]
        .as_array()
        .expect("channels");
    assert_eq!(channels.len(), 4);
    for channel in channels.iter().filter(|channel| channel["unit"] == "NORTH") {
        assert_eq!(channel["digest"], channel["source_digest"], "{channel}");
    }
}

#[test]
fn identical_clocks_come_out_bit_for_bit() {
    let place = Place::new();
    rehearsal::scenes::identical_clocks(7, 20.0)
        .write(&place.cards())
        .expect("a shoot");
    let run = place.join(&["--json"]);
    assert_eq!(status(&run), 0, "{}", String::from_utf8_lossy(&run.stderr));
    let said: Value = serde_json::from_slice(&run.stdout).expect("JSON");
    for channel in said["built"]["outputs"][0]["channels"]
        .as_array()
        .expect("channels")
    {
        assert_eq!(channel["copied"], true, "{channel}");
        assert_eq!(channel["digest"], channel["source_digest"], "{channel}");
    }
}

#[test]
fn building_from_the_alignment_gives_the_same_bytes_as_joining() {
    let place = Place::new();
    short_shoot(12.0).write(&place.cards()).expect("a shoot");
    let (north, south) = (place.card("NORTH"), place.card("SOUTH"));
    let plan = place.path("plan.json");
    assert_eq!(
        status(&commontime(&["align", &north, &south, "--out", &plan])),
        0
    );
    let built = place.path("built");
    assert_eq!(status(&commontime(&["build", &plan, "--out", &built])), 0);
    assert_eq!(
        status(&commontime(&[
            "join",
            &north,
            &south,
            "--out",
            &place.out()
        ])),
        0
    );
    let hashes = |folder: &str| {
        std::fs::read_to_string(std::path::Path::new(folder).join("hashes.xxh3.txt"))
            .expect("hashes")
    };
    assert_eq!(hashes(&built), hashes(&place.out()));
    let explained = commontime(&["explain", &plan]);
    assert_eq!(status(&explained), 0);
    let text = String::from_utf8_lossy(&explained.stdout).into_owned();
    assert!(text.contains("SOUTH"), "{text}");
    let lost = commontime(&["explain", &plan, "no-such-take"]);
    assert_eq!(
        status(&lost),
        2,
        "{}",
        String::from_utf8_lossy(&lost.stderr)
    );
}

#[test]
fn an_existing_output_is_refused_without_replace_and_kept() {
    let place = Place::new();
    short_shoot(12.0).write(&place.cards()).expect("a shoot");
    let (north, south, out) = (place.card("NORTH"), place.card("SOUTH"), place.out());
    assert_eq!(
        status(&commontime(&["join", &north, &south, "--out", &out])),
        0
    );
    let before = place.listing();
    let again = commontime(&["join", &north, &south, "--out", &out]);
    assert_eq!(status(&again), 2);
    let said = String::from_utf8_lossy(&again.stderr).into_owned();
    assert!(
        said.contains("exists already") && said.contains("--replace"),
        "{said}"
    );
    assert_eq!(place.listing(), before);
    assert_eq!(
        status(&commontime(&[
            "join",
            &north,
            &south,
            "--out",
            &out,
            "--replace"
        ])),
        0
    );
}

#[test]
fn every_shape_holds_every_channel() {
    let place = Place::new();
    short_shoot(12.0).write(&place.cards()).expect("a shoot");
    let (north, south) = (place.card("NORTH"), place.card("SOUTH"));
    for (shape, files) in [("poly", 1), ("per-unit", 2), ("mono", 4)] {
        let out = place.path(shape);
        let run = commontime(&[
            "join", &north, &south, "--out", &out, "--shape", shape, "--json",
        ]);
        assert_eq!(status(&run), 0, "{}", String::from_utf8_lossy(&run.stderr));
        let said: Value = serde_json::from_slice(&run.stdout).expect("JSON");
        let outputs = said["built"]["outputs"].as_array().expect("files");
        assert_eq!(outputs.len(), files, "{shape}");
        let lengths: Vec<&Value> = outputs.iter().map(|file| &file["length_samples"]).collect();
        assert!(
            lengths.windows(2).all(|pair| pair[0] == pair[1]),
            "{shape}: {lengths:?}"
        );
    }
}

#[test]
fn without_a_common_signal_the_stamps_place_and_the_room_gives_the_rate() {
    let place = Place::new();
    let arrays = rehearsal::scenes::TwoArrays {
        seconds: 90.0,
        mics: 2,
        ..Default::default()
    };
    let truth = rehearsal::scenes::two_arrays(&arrays)
        .write(&place.cards())
        .expect("a shoot");
    let units: Vec<String> = truth
        .units
        .iter()
        .map(|unit| place.card(&unit.name))
        .collect();
    let run = commontime(&[
        "join",
        &units[0],
        &units[1],
        "--spacing",
        "3",
        "--out",
        &place.out(),
        "--json",
    ]);
    let said: Value = serde_json::from_slice(&run.stdout).expect("JSON");
    let member = &said["alignment"]["joint_takes"][0]["members"][1];
    assert_eq!(status(&run), 0, "{}", String::from_utf8_lossy(&run.stderr));
    assert_eq!(
        (&member["basis"], &member["status"]),
        (&"stamps".into(), &"established".into())
    );
    let true_rate = truth.units[1].rate_ppm;
    let rate = member["rate_ppm"].as_f64().expect("a number") - true_rate;
    assert!(rate.abs() < 0.05, "the rate is {rate} ppm off");
    let far = member["offset_samples"].as_f64().expect("a number") - truth.units[1].offset_samples;
    assert!(
        far.abs() <= 1.0,
        "stamps are good to a sample, off by {far}"
    );
}

#[test]
fn unrelated_places_at_one_hour_are_left_to_a_person() {
    let place = Place::new();
    let truth = rehearsal::scenes::unrelated(5, 60.0)
        .write(&place.cards())
        .expect("a shoot");
    let units: Vec<String> = truth
        .units
        .iter()
        .map(|unit| place.card(&unit.name))
        .collect();
    let run = commontime(&[
        "join",
        &units[0],
        &units[1],
        "--out",
        &place.out(),
        "--json",
    ]);
    assert_eq!(status(&run), 1, "{}", String::from_utf8_lossy(&run.stderr));
    let said: Value = serde_json::from_slice(&run.stdout).expect("JSON");
    let member = &said["alignment"]["joint_takes"][0]["members"][1];
    assert_eq!(member["status"], "needs-decision", "{member}");
    assert_eq!(member["rate_measured"], false);
    assert!(
        said["built"]["outputs"]
            .as_array()
            .expect("a list")
            .is_empty()
    );
}

#[test]
fn three_units_of_different_depth_become_one_float_recording() {
    use rehearsal::{Channel, Crystal, Encoding, UnitSpec};
    let place = Place::new();
    let west = UnitSpec::new("WEST")
        .crystal(Crystal::steady(-7.5))
        .starts_after_s(2.000_31)
        .noise_dbfs(-60.0)
        .encoding(Encoding::Int24)
        .channel(Channel::mic("Mic 1", [4.0, 1.2, 1.5]))
        .channel(Channel::common("Link", "link").gain_db(-6.0).inverted());
    let truth = short_shoot(30.0)
        .unit(west)
        .write(&place.cards())
        .expect("a shoot");
    let cards: Vec<String> = ["NORTH", "SOUTH", "WEST"]
        .map(|unit| place.card(unit))
        .to_vec();
    let out = place.out();
    let run = commontime(&[
        "join", &cards[0], &cards[1], &cards[2], "--lead", "SOUTH", "--out", &out, "--json",
    ]);
    assert_eq!(status(&run), 0, "{}", String::from_utf8_lossy(&run.stderr));
    let said: Value = serde_json::from_slice(&run.stdout).expect("JSON");
    let take = &said["alignment"]["joint_takes"][0];
    assert_eq!(take["lead"], "SOUTH");
    // SOUTH leads here, NORTH in the truth: WEST against SOUTH is WEST against NORTH through SOUTH
    let west = truth.unit("WEST").expect("took part").offset_samples;
    let expected = truth
        .follower_position("SOUTH", west)
        .expect("SOUTH ran then");
    let member = take["members"]
        .as_array()
        .expect("members")
        .iter()
        .find(|m| m["unit"] == "WEST");
    let found = member.expect("WEST")["offset_samples"]
        .as_f64()
        .expect("a number");
    assert!(
        (found - expected).abs() <= 0.05,
        "WEST is at {found}, expected {expected}"
    );
    let file = &said["built"]["outputs"][0];
    assert_eq!(file["encoding"], "32-bit float");
    let names: Vec<&str> = file["channels"]
        .as_array()
        .expect("a list")
        .iter()
        .filter_map(|c| c["name"].as_str())
        .collect();
    assert_eq!(names.len(), 6);
    assert!(
        names.contains(&"WEST: Link") && names.contains(&"NORTH: Link"),
        "{names:?}"
    );
}

#[test]
fn common_clocks_a_fraction_apart_are_copied_and_the_fraction_is_told() {
    use rehearsal::scenes::{CommonSignal, common_signal};
    let place = Place::new();
    let choice = CommonSignal {
        seconds: 20.0,
        ppm: 0.0,
        wander_ppm: 0.0,
        starts_after_s: (60_000.0 + 0.4) / 48_000.0,
        ..Default::default()
    };
    common_signal(&choice)
        .write(&place.cards())
        .expect("a shoot");
    let words = [
        "join",
        &place.card("NORTH"),
        &place.card("SOUTH"),
        "--out",
        &place.out(),
        "--json",
    ];
    let run = commontime(&words);
    assert_eq!(status(&run), 0, "{}", String::from_utf8_lossy(&run.stderr));
    let said: Value = serde_json::from_slice(&run.stdout).expect("JSON");
    let member = &said["alignment"]["joint_takes"][0]["members"][1];
    assert_eq!(member["placement"], "exact");
    assert!(
        member["findings"].to_string().contains("+0.40 samples"),
        "{}",
        member["findings"]
    );
    for channel in said["built"]["outputs"][0]["channels"]
        .as_array()
        .expect("channels")
    {
        assert_eq!(channel["digest"], channel["source_digest"], "{channel}");
    }
}
