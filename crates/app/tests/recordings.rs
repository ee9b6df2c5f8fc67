//! The main job on real recordings (CC0 samples) and speech, played in a rehearsed room: what synthetic sounds might flatter
//! is held against sounds that were not made for it.

mod shoots;

use std::path::Path;

use rehearsal::scenes::{CommonSignal, Programme, TwoArrays, common_signal, two_arrays};
use rehearsal::{Sound, Truth, material};
use serde_json::Value;
use shoots::{Place, commontime, status};

fn music(folder: &Path, names: &[&str]) -> Sound {
    let paths = names
        .iter()
        .map(|name| material::sample(folder, name).expect("a sample"))
        .collect();
    Sound::Recordings {
        paths,
        pause_s: 0.3,
    }
}

fn talk(folder: &Path, voice: &str) -> Sound {
    let path = material::speech(folder, voice, 110.0).expect("espeak-ng");
    Sound::Recordings {
        paths: vec![path],
        pause_s: 0.5,
    }
}

fn join(place: &Place, truth: &Truth, extra: &[&str]) -> (i32, Value) {
    let units: Vec<String> = truth
        .units
        .iter()
        .map(|unit| place.card(&unit.name))
        .collect();
    let out = place.out();
    let mut words = vec!["join", &units[0], &units[1], "--out", &out, "--json"];
    words.extend(extra);
    let run = commontime(&words);
    let said = serde_json::from_slice(&run.stdout)
        .unwrap_or_else(|_| panic!("{}", String::from_utf8_lossy(&run.stderr)));
    (status(&run), said)
}

/// The found clock against the true one, samples.
fn off(member: &Value, truth: &Truth) -> rehearsal::Comparison {
    let knots: Vec<[f64; 2]> = serde_json::from_value(member["knots"].clone()).expect("knots");
    let unit = member["unit"].as_str().expect("a name");
    truth
        .compare(unit, |k| {
            let after = knots
                .partition_point(|knot| knot[0] <= k)
                .clamp(1, knots.len() - 1);
            let ([k0, n0], [k1, n1]) = (knots[after - 1], knots[after]);
            n0 + (k - k0) * (n1 - n0) / (k1 - k0)
        })
        .expect("it took part")
}

#[test]
fn a_talker_a_guitar_and_drums_in_a_room_give_the_rate() {
    let place = Place::new();
    let folder = Path::new(&place.path("material")).to_path_buf();
    std::fs::create_dir_all(&folder).expect("folder");
    let sounds = [
        talk(&folder, "en-gb+m3"),
        music(&folder, &["guit_em9", "guit_harmonics", "guit_e_slide"]),
        music(
            &folder,
            &[
                "tabla_na",
                "tabla_ghe3",
                "tabla_te1",
                "tabla_dhec",
                "tabla_tun1",
            ],
        ),
    ];
    let shoot = two_arrays(&TwoArrays {
        seconds: 240.0,
        mics: 2,
        sounds,
        ..Default::default()
    });
    let truth = shoot.write(&place.cards()).expect("a shoot");
    let (ended, said) = join(&place, &truth, &["--spacing", "3"]);
    let member = &said["alignment"]["joint_takes"][0]["members"][1];
    assert_eq!(ended, 0, "{member}");
    assert_eq!(member["basis"], "stamps");
    let off = off(member, &truth);
    assert!(off.rate_error_ppm.abs() <= 0.05, "{off:?}");
    assert!(off.rms_about_mean <= 0.2, "{off:?}");
    let sigma = member["rate_sigma_ppm"].as_f64().expect("a number");
    assert!(
        off.rate_error_ppm.abs() <= 3.0 * sigma,
        "claimed {sigma} ppm: {off:?}"
    );
}

#[test]
fn a_talker_split_to_both_units_is_a_common_signal() {
    let place = Place::new();
    let folder = Path::new(&place.path("material")).to_path_buf();
    std::fs::create_dir_all(&folder).expect("folder");
    let shoot = common_signal(&CommonSignal {
        seconds: 100.0,
        programme: Programme::Other(talk(&folder, "en-us+f4")),
        mics: 2,
        ..Default::default()
    });
    let truth = shoot.write(&place.cards()).expect("a shoot");
    let (ended, said) = join(&place, &truth, &[]);
    let member = &said["alignment"]["joint_takes"][0]["members"][1];
    assert_eq!(ended, 0, "{member}");
    assert_eq!(member["basis"], "common-signal");
    let off = off(member, &truth);
    assert!(off.rms <= 0.02 && off.max <= 0.1, "{off:?}");
    let bound = member["offset_bound_samples"].as_f64().expect("a number");
    assert!(off.offset_error.abs() <= bound, "claimed ±{bound}: {off:?}");
}
