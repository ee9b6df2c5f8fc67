//! What the session file declares and what was measured of the channels, through the real binary to the papers.

mod shoots;

use serde_json::Value;
use shoots::{Place, commontime, short_shoot, status};

const SESSION: &str = "[[group]]\nname = \"Hauptmikrofone ä\"\nclass = \"stereo-pair\"\n\
    channels = [\"NORTH:1\", \"SOUTH:1\"]\n\n[[group]]\nname = \"room\"\nclass = \"ambience\"\n\
    channels = [\"north:2\", \"NORTH:9\"]\n";

#[expect(
    clippy::disallowed_methods,
    reason = "a session file as a person writes it"
)]
fn session(place: &Place, text: &str) -> String {
    std::fs::write(place.path("session.toml"), text).expect("written");
    place.path("session.toml")
}

fn read(place: &Place, name: &str) -> String {
    let path = place.out_path().join(name);
    std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

#[test]
fn groups_and_quality_come_to_the_papers() {
    let place = Place::new();
    short_shoot(20.0).write(&place.cards()).expect("a shoot");
    let file = session(&place, SESSION);
    let run = place.join(&["--json", "--session", &file]);
    assert_eq!(status(&run), 0, "{}", String::from_utf8_lossy(&run.stderr));
    let said: Value = serde_json::from_slice(&run.stdout).expect("JSON");
    let codes: Vec<&str> = said["findings"]
        .as_array()
        .expect("findings")
        .iter()
        .filter_map(|finding| finding["code"].as_str())
        .collect();
    assert!(codes.contains(&"group-crosses-units"), "{codes:?}");
    assert!(codes.contains(&"group-incomplete"), "{codes:?}");
    let report: Value = serde_json::from_str(&read(&place, "sound-report.json")).expect("JSON");
    let take = &report["takes"][0];
    let groups = take["groups"].as_array().expect("groups");
    assert_eq!(groups[0]["verdict"], "good-enough");
    assert_eq!(groups[1]["verdict"], "one-unit");
    // every channel of the recording was measured, and the common signal is alike on both units
    let channels = take["quality"]["channels"].as_array().expect("channels");
    assert_eq!(
        channels.len(),
        take["tracks"].as_array().expect("tracks").len()
    );
    for channel in channels {
        let rms = channel["quality"]["rms_dbfs"].as_f64().expect("sound");
        assert!((-90.0..0.0).contains(&rms), "{channel}");
    }
    let pairs = take["quality"]["pairs"].as_array().expect("pairs");
    let most = pairs.iter().filter_map(|pair| pair["correlation"].as_f64());
    assert!(most.fold(0.0, f64::max) > 0.95, "{pairs:?}");
    let name = take["name"].as_str().expect("a name");
    let page = read(&place, &format!("{name}.report.html"));
    for words in [
        "Hauptmikrofone ä",
        "certain enough",
        "Levels and faults",
        "not recorded",
    ] {
        assert!(page.contains(words), "{words}");
    }
    let sheet = read(&place, "sound-report.html");
    assert!(sheet.contains(&format!("{name}.report.html")), "{sheet}");
}

#[test]
fn a_slip_of_the_pen_is_told_before_anything_is_measured() {
    let place = Place::new();
    short_shoot(12.0).write(&place.cards()).expect("a shoot");
    let file = session(
        &place,
        "[[group]]\nname = \"a\"\nclass = \"sterio\"\nchannels = []\n",
    );
    let run = place.join(&["--session", &file]);
    assert_ne!(status(&run), 0);
    let told = String::from_utf8_lossy(&run.stderr);
    assert!(
        told.contains("session.toml") && told.contains("line 3"),
        "{told}"
    );
    assert!(told.contains("sterio"), "{told}");
    assert!(!place.out_path().exists());
}

#[test]
fn quality_can_be_left_out() {
    let place = Place::new();
    short_shoot(12.0).write(&place.cards()).expect("a shoot");
    let (north, south) = (place.card("NORTH"), place.card("SOUTH"));
    let run = commontime(&[
        "join",
        &north,
        &south,
        "--out",
        &place.out(),
        "--no-quality",
    ]);
    assert_eq!(status(&run), 0, "{}", String::from_utf8_lossy(&run.stderr));
    let report: Value = serde_json::from_str(&read(&place, "sound-report.json")).expect("JSON");
    assert!(report["takes"][0].get("quality").is_none());
    assert!(report["takes"][0].get("groups").is_none());
}

/// Cables that were swapped: the signal that the recordist declares is on another channel. It is told, and not used unasked.
#[test]
fn a_declared_signal_on_other_channels_is_told() {
    let place = Place::new();
    short_shoot(20.0).write(&place.cards()).expect("a shoot");
    let (north, south) = (place.card("NORTH"), place.card("SOUTH"));
    let alignment = place.path("alignment.json");
    let members = |common: &str| -> Value {
        let run = commontime(&[
            "align",
            &north,
            &south,
            "--out",
            &alignment,
            "--replace",
            "--common",
            common,
        ]);
        assert!(
            status(&run) <= 1,
            "{}",
            String::from_utf8_lossy(&run.stderr)
        );
        let text = std::fs::read_to_string(&alignment).expect("an alignment");
        let read: Value = serde_json::from_str(&text).expect("JSON");
        read["joint_takes"][0]["members"].clone()
    };
    let swapped = |members: &Value| -> Vec<Value> {
        let findings = members[1]["findings"].as_array().expect("findings");
        let own = findings.iter();
        own.filter(|finding| finding["code"] == "declared-pair-elsewhere")
            .cloned()
            .collect()
    };
    let wrong = members("NORTH:1=SOUTH:1");
    // the rehearsal puts its signal on the channel that is called so
    let link = |member: &Value| -> String {
        let channels = member["channels"].as_array().expect("channels");
        let found = channels
            .iter()
            .find(|channel| channel["name"] == "Link")
            .expect("the signal");
        format!(
            "{}:{}",
            member["unit"].as_str().expect("a unit"),
            found["index"]
        )
    };
    let truth = format!("{}={}", link(&wrong[0]), link(&wrong[1]));
    let told = swapped(&wrong);
    assert_eq!(told.len(), 1, "{wrong}");
    assert_eq!(told[0]["value"], truth);
    assert!(
        told[0]["next_step"]
            .as_str()
            .expect("a step")
            .contains(&truth)
    );
    assert_ne!(wrong[1]["basis"], "common-signal");
    // what it proposes serves
    let right = members(&truth);
    assert_eq!(right[1]["basis"], "common-signal");
    assert!(swapped(&right).is_empty());
}
