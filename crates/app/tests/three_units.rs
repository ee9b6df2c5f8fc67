//! Three units, and level and polarity, end to end through the real binary.

mod shoots;

use rehearsal::scenes::{Shared, ThreeUnits, three_units};
use serde_json::Value;
use shoots::{Place, commontime, status};

fn text(place: &Place, name: &str) -> String {
    std::fs::read_to_string(place.out_path().join(name)).expect("a paper")
}

#[test]
fn a_chain_of_three_is_joined_proved_and_explained() {
    let place = Place::new();
    let mut shoot = three_units(&ThreeUnits {
        seconds: 24.0,
        mics: 0,
        shared: Shared::Chain,
        ..Default::default()
    });
    // the link on SOUTH is 0.7 dB lower and inverted
    let link = shoot.units[1].channels[0].clone();
    shoot.units[1].channels[0] = link.gain_db(-0.7).inverted();
    let truth = shoot.write(&place.cards()).expect("a shoot");
    let cards = ["NORTH", "SOUTH", "WEST"].map(|unit| place.card(unit));
    let out = place.out();
    let run = commontime(&[
        "join", &cards[0], &cards[1], &cards[2], "--lead", "NORTH", "--out", &out, "--json",
    ]);
    assert_eq!(status(&run), 0, "{}", String::from_utf8_lossy(&run.stderr));
    let said: Value = serde_json::from_slice(&run.stdout).expect("JSON");
    let take = &said["alignment"]["joint_takes"][0];
    assert_eq!(take["lead_rule"], "named with --lead");
    let members = take["members"].as_array().expect("members");
    for (member, unit) in members.iter().zip(["NORTH", "SOUTH", "WEST"]) {
        assert_eq!(member["unit"], unit);
    }
    assert_eq!(members[2]["evidence"]["through"], "SOUTH");
    for member in &members[1..] {
        let unit = member["unit"].as_str().expect("a name");
        let found = member["offset_samples"].as_f64().expect("a number");
        let far = found - truth.unit(unit).expect("took part").offset_samples;
        let bound = member["offset_bound_samples"].as_f64().expect("a number");
        assert!(far.abs() <= bound, "{unit}: {far}, claimed ±{bound}");
    }
    // measured again on the finished file: WEST against SOUTH, through which it was placed
    assert!(
        !said["findings"].to_string().contains("residual-lag"),
        "{}",
        said["findings"]
    );
    assert_eq!(
        said["built"]["outputs"][0]["channels"]
            .as_array()
            .map(Vec::len),
        Some(4)
    );

    let level = &members[1]["evidence"]["common_level"];
    let level_db = level["level_db"].as_f64().expect("a number");
    assert!((level_db + 0.7).abs() < 0.02, "{level_db}");
    assert_eq!(level["inverted"], true);
    let words = "SOUTH records the common signal 0.70 dB lower than NORTH and inverted";
    let name = take["name"].as_str().expect("a name");
    let page = text(&place, &format!("{name}.report.html"));
    for expected in [
        words,
        "named with --lead",
        "through SOUTH",
        "other inputs were not compared",
    ] {
        assert!(page.contains(expected), "{expected}");
    }
    assert!(text(&place, "sound-report.csv").contains("-0.70,inverted"));
    let plan = place
        .out_path()
        .join("alignment.json")
        .display()
        .to_string();
    let explained = commontime(&["explain", &plan, &format!("{name}/SOUTH/level")]);
    let explained = String::from_utf8_lossy(&explained.stdout).into_owned();
    assert!(
        explained.contains("-0.70 dB") && explained.contains("inverted"),
        "{explained}"
    );

    // nothing was applied: SOUTH's own file, channel for channel, is what the output's copy or resampling started from
    let joined = commontime(&["build", &plan, "--out", &place.path("again")]);
    assert_eq!(status(&joined), 0);
    let hashes = |folder: &std::path::Path| {
        std::fs::read_to_string(folder.join("hashes.xxh3.txt")).expect("hashes")
    };
    let again = place.path("again");
    assert_eq!(
        hashes(&place.out_path()),
        hashes(std::path::Path::new(&again))
    );
}

#[test]
fn a_ring_that_does_not_close_is_left_to_a_person() {
    let place = Place::new();
    three_units(&ThreeUnits {
        seconds: 24.0,
        mics: 0,
        shared: Shared::Pairs,
        late_samples: 5.0,
        ..Default::default()
    })
    .write(&place.cards())
    .expect("a shoot");
    let cards = ["NORTH", "SOUTH", "WEST"].map(|unit| place.card(unit));
    let plan = place.path("plan.json");
    let run = commontime(&["align", &cards[0], &cards[1], &cards[2], "--out", &plan]);
    assert_eq!(status(&run), 1);
    let told = String::from_utf8_lossy(&run.stderr).into_owned();
    assert!(told.contains("the ring does not close"), "{told}");
    assert!(told.contains("closure over NORTH, SOUTH, WEST"), "{told}");
    let said = String::from_utf8_lossy(&run.stdout).into_owned();
    let rule = "among the units with most channels (2) its takes start first";
    assert!(said.contains(rule), "{said}");
}

#[test]
fn common_clocks_are_called_common_and_nothing_is_resampled() {
    let place = Place::new();
    rehearsal::scenes::identical_clocks(7, 20.0)
        .write(&place.cards())
        .expect("a shoot");
    let (north, south, out) = (place.card("NORTH"), place.card("SOUTH"), place.out());
    let run = commontime(&["join", &north, &south, "--out", &out]);
    assert_eq!(status(&run), 0, "{}", String::from_utf8_lossy(&run.stderr));
    let said = String::from_utf8_lossy(&run.stdout).into_owned();
    assert!(said.contains("the clocks were common"), "{said}");
    assert!(!said.contains("resampled"), "{said}");
    let page = text(&place, "NORTH_T01.report.html");
    assert!(page.contains("the clocks were common"));
}
