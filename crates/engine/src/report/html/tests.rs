//! Hand-made joint takes in; the page is held to account by a strict parser and by a browser.

use super::*;
use crate::build::{MeasuredChannel, TakeQuality};
use crate::quality::{ChannelQuality, Code, Envelope, Loud, Pair, Runs};
use crate::report::judge_groups;
use crate::report::{Band, Difference, Excerpt, Link, Overlay, Settings, sample};
use crate::session::Session;
use crate::take::SettingsRow;

fn units() -> Vec<String> {
    vec!["NORTH".into(), "SOUTH".into()]
}

fn settings_rows() -> Vec<SettingsRow> {
    let row = |name: &str, values: [&str; 2], differs: bool, consequence: &str| SettingsRow {
        name: name.into(),
        values: values.map(String::from).to_vec(),
        differs,
        consequence: consequence.into(),
    };
    vec![
        row("sampling rate", ["48000 Hz", "48000 Hz"], false, ""),
        row(
            "sample format",
            ["32-bit float", "24-bit integer"],
            true,
            "the recording is written in the format that loses nothing of either",
        ),
        row(
            "stamps good to",
            [
                "1 sample, by 9 stamps",
                "1 timecode frame (1600 samples), by 9 stamps",
            ],
            false,
            "",
        ),
    ]
}

fn overlay_list() -> Vec<Overlay> {
    let wave = |shift: f64| -> Vec<f64> {
        (0..480)
            .map(|n| {
                let t = f64::from(n) - 96.0 - shift;
                if t < 0.0 {
                    0.0
                } else {
                    0.4 * (t * 0.13).sin() * (-t / 90.0).exp()
                }
            })
            .collect()
    };
    let one = |title: &str, at: i64| Overlay {
        follower: "SOUTH".into(),
        title: title.into(),
        first_lead_position: at,
        lead: Excerpt {
            channel: 3,
            name: sample::AWKWARD.into(),
            samples: wave(0.0),
        },
        followed: Excerpt {
            channel: 3,
            name: "Split <main>".into(),
            samples: wave(0.01),
        },
        one_signal: true,
    };
    let mut silent = one("end", 14_000_000);
    silent.lead.samples.clear();
    silent.followed.samples.clear();
    vec![one("start", 51_234), one("middle", 7_212_345), silent]
}

fn findings() -> Vec<Finding> {
    vec![
        Finding::new(
            "formats-differ",
            Weight::Warn,
            "units <differ> in \"format\" & name",
        )
        .at("SOUTH")
        .measured("24-bit integer", "32-bit float")
        .because("set up by hand")
        .then("set every unit to the same bit depth"),
        Finding::new("unreadable", Weight::Stop, "Größe > 4 GiB & «kaputt»").at("SOUTH/T05.wav"),
    ]
}

/// A page with everything on it.
fn page_of(joint: &JointTake) -> String {
    let output = sample::output(joint);
    html(&ReportInput {
        made_by: "commontime 0.1.0",
        joint_take: joint,
        settings: Settings {
            units: &units(),
            rows: &settings_rows(),
        },
        findings: &findings(),
        overlays: &overlay_list(),
        differences: &[Difference {
            follower: "SOUTH".into(),
            channels: [3, 3],
            gain: -1.08,
            bands: (-17..=13)
                .map(|number| Band {
                    hz: 1000.0 * 10_f64.powf(f64::from(number) / 10.0),
                    lead_db: -40.0,
                    left_db: -95.0,
                    claim_db: -110.0 + f64::from(number),
                })
                .collect(),
            depth_db: 55.0,
        }],
        output: Some(&output),
        others: &[Link {
            name: "evening-03".into(),
            href: "evening-03.report.html".into(),
        }],
    })
}

fn joints() -> Vec<JointTake> {
    vec![
        sample::common_signal(),
        sample::stamps(),
        sample::not_established(),
    ]
}

fn parsed(page: &str) -> roxmltree::Document<'_> {
    let options = roxmltree::ParsingOptions {
        allow_dtd: true,
        ..Default::default()
    };
    roxmltree::Document::parse_with_options(page, options).expect("well formed")
}

fn visible_text(page: &str) -> String {
    let tree = parsed(page);
    let words: Vec<&str> = tree
        .descendants()
        .filter(|node| node.is_text() && !node.ancestors().any(|node| node.has_tag_name("style")))
        .filter_map(|node| node.text())
        .collect();
    words.join(" ")
}

#[test]
fn every_page_is_well_formed_and_its_ids_are_unique() {
    for joint in joints() {
        let page = page_of(&joint);
        let tree = parsed(&page);
        let mut ids: Vec<&str> = tree
            .descendants()
            .filter_map(|node| node.attribute("id"))
            .collect();
        let all = ids.len();
        ids.sort_unstable();
        ids.dedup();
        assert_eq!(ids.len(), all, "{}", joint.name);
        for node in tree.descendants().filter(|node| node.has_tag_name("svg")) {
            let named = node
                .attribute("aria-labelledby")
                .or(node.attribute("aria-label"));
            assert!(named.is_some() || node.attribute("aria-hidden") == Some("true"));
            for id in node
                .attribute("aria-labelledby")
                .unwrap_or("")
                .split_whitespace()
            {
                assert!(ids.binary_search(&id).is_ok(), "no {id}");
            }
        }
        // what a clip path or a label names must be there
        for (at, _) in page.match_indices("url(#") {
            let id = page[at + 5..].split(')').next().expect("an id");
            assert!(ids.binary_search(&id).is_ok(), "no {id}");
        }
    }
}

#[test]
fn nothing_is_fetched_and_nothing_runs() {
    for joint in joints() {
        let page = page_of(&joint);
        let bare = page
            .replace("http://www.w3.org/2000/svg", "")
            .replace("http://www.w3.org/1999/xhtml", "");
        for banned in [
            "http:", "https:", "//", "<script", "@import", "<link", "<img", "src=", " on",
        ] {
            let found = bare
                .find(banned)
                .map(|at| bare[at..].chars().take(60).collect::<String>());
            let text = found.clone().unwrap_or_default();
            // " on" is banned as the beginning of an attribute only
            let harmless = banned == " on" && !text.contains("=\"");
            assert!(found.is_none() || harmless, "{banned}: {text}");
        }
    }
}

#[test]
fn every_finding_stands_there_with_all_it_says() {
    for joint in joints() {
        let text = visible_text(&page_of(&joint));
        let members = joint
            .members
            .iter()
            .flat_map(|member| member.findings.clone());
        for finding in findings().into_iter().chain(members) {
            for part in [
                say::weight(finding.weight).to_string(),
                finding.message,
                finding.place,
                finding.value,
                finding.limit,
                finding.cause,
                finding.next_step,
            ] {
                assert!(text.contains(&part), "{}: no {part:?}", joint.name);
            }
        }
    }
}

#[test]
fn a_copy_that_was_changed_is_not_called_bit_for_bit() {
    let joint = &joints()[0];
    let mut output = sample::output(joint);
    output.files[0].channels[0].group = "main pair".into();
    output.files[0].channels[0].exact = false;
    let mut page = Markup::default();
    tables::channels(&mut page, &output);
    let text = page.finish();
    assert_eq!(
        text.matches("copied, rounded or changed in level").count(),
        1
    );
    assert!(text.contains("main pair") && text.contains("bit for bit"));
}

#[test]
fn names_come_through_as_they_are() {
    let text = visible_text(&page_of(&sample::common_signal()));
    assert!(text.contains("+0.67 dB, turned round") && text.contains("it lies 55 dB below NORTH"));
    assert!(text.contains(sample::AWKWARD) && text.contains("Split <main>"));
}

#[test]
fn the_claim_is_what_the_basis_allows() {
    for (joint, words) in [
        (
            sample::common_signal(),
            "Measured on a common electrical signal, ±0.010 samples, ±0.208 µs.",
        ),
        (
            sample::stamps(),
            "Placed by the units' stamps, good to one timecode frame (±1600 samples, ±33.3 ms).",
        ),
        (
            sample::not_established(),
            "Not established: nothing reliable was found and nothing was shifted.",
        ),
    ] {
        let text = visible_text(&page_of(&joint));
        assert!(text.contains(words), "{}: {text}", joint.name);
    }
}

#[test]
fn an_acoustic_claim_names_the_distance() {
    let mut joint = sample::stamps();
    joint.members[1].basis = Basis::Acoustic;
    joint.members[1].offset_bound_samples = 1_398.601_398_601_4;
    let text = visible_text(&page_of(&joint));
    // 10 m / 343.2 m/s * 48 kHz = 1398.6 samples = 29.1 ms
    assert!(
        text.contains(
            "plus or minus distance / speed of sound, echoes counted (±1399 samples, ±29.1 ms, 10 m of air)"
        ),
        "{text}"
    );
}

#[test]
fn a_difference_is_told_by_a_word_and_only_where_it_is() {
    let page = page_of(&sample::common_signal());
    let tree = parsed(&page);
    let marked: Vec<String> = tree
        .descendants()
        .filter(|node| node.attribute("class") == Some("differs"))
        .map(|node| {
            node.descendants()
                .filter_map(|node| node.text().filter(|_| node.is_text()))
                .collect()
        })
        .collect();
    assert_eq!(marked, ["24-bit integer ≠ differs"]);
}

#[test]
fn a_lead_alone_has_a_page_too() {
    let mut joint = sample::common_signal();
    joint.members.truncate(1);
    let page = html(&ReportInput::measured("commontime 0.1.0", &joint));
    let text = visible_text(&page);
    assert!(text.contains("NORTH ran alone.") && text.contains("nothing was built"));
}

#[test]
fn broken_numbers_break_no_page() {
    let mut joint = sample::common_signal();
    let south = &mut joint.members[1];
    south.offset_samples = f64::NAN;
    south.offset_bound_samples = f64::INFINITY;
    south.rate_sigma_ppm = -1.0;
    south.knots = vec![[0.0, 0.0], [1e300, 1e300], [f64::MAX, f64::MAX]];
    joint.sample_rate = 0;
    joint.length_samples = u64::MAX;
    parsed(&page_of(&joint));
}

#[test]
fn findings_that_differ_only_in_where_and_how_much_stand_together() {
    let joint = sample::common_signal();
    let one = |place: &str, value: &str| {
        Finding::new("above-full-scale", Weight::Note, "above full scale")
            .at(place)
            .measured(value, "below 0 dBFS")
    };
    let findings = [
        one("Mic 1", "+1.0 dBFS"),
        Finding::new("gap", Weight::Note, "a gap").at("Mic 9"),
        one("Mic 2", "+2.0 dBFS"),
        // another limit is another finding
        one("Mic 3", "+3.0 dBFS").measured("+3.0 dBFS", "below -1 dBFS"),
    ];
    let page = html(&ReportInput {
        made_by: "commontime 0.1.0",
        joint_take: &joint,
        settings: Settings::default(),
        findings: &findings,
        overlays: &[],
        differences: &[],
        output: None,
        others: &[],
    });
    let text = visible_text(&page);
    assert_eq!(text.matches("above full scale").count(), 2, "{text}");
    for words in ["Mic 1: +1.0 dBFS", "Mic 2: +2.0 dBFS", "+3.0 dBFS", "Mic 9"] {
        assert!(text.contains(words), "{words}");
    }
}

#[test]
fn quality_and_groups_stand_there() {
    let joint = sample::common_signal();
    let mut output = sample::output(&joint);
    let measured = |name: &str, unit: &str, quality: ChannelQuality| MeasuredChannel {
        name: name.into(),
        unit: unit.into(),
        unit_channel: 1,
        group: None,
        quality,
    };
    let loud = ChannelQuality {
        rms_dbfs: Some(-20.04),
        range_lu: Some(4.26),
        drop_outs: Runs {
            count: 3,
            longest: 64,
            first: vec![[480, 64]],
        },
        timecode: Some(Code {
            label: "10:00:00:07".into(),
            counting: "25/1 NDF".into(),
            heard: 11,
            carrying: 9,
        }),
        envelope: Envelope {
            stretch: 1_440_000,
            // a stretch of digital silence in the middle
            cells: (0..10)
                .map(|cell| match cell {
                    4 | 5 => Loud::default(),
                    _ => Loud {
                        peak: 0.5,
                        mean_square: 0.01,
                    },
                })
                .collect(),
        },
        ..ChannelQuality::default()
    };
    let quality = TakeQuality {
        joint_take: joint.name.clone(),
        sample_rate: 48_000,
        length_samples: joint.length_samples,
        channels: vec![
            measured("Flöte <1>", "NORTH", loud),
            measured("Silent", "SOUTH", ChannelQuality::default()),
        ],
        pairs: vec![Pair {
            channels: [0, 1],
            correlation: -0.75,
            gain_db: -3.0,
        }],
    };
    let session = "[[group]]\nname = \"pair & co\"\nclass = \"array\"\nchannels = [\"NORTH:1\", \"SOUTH:1\"]\n";
    let session = Session::from_toml(session).expect("a session");
    output.groups = judge_groups(&session.groups, &joint, Some(&quality));
    output.quality = Some(quality);
    let page = html(&ReportInput {
        made_by: "commontime 0.1.0",
        joint_take: &joint,
        settings: Settings::default(),
        findings: &[],
        overlays: &[],
        differences: &[],
        output: Some(&output),
        others: &[],
    });
    parsed(&page);
    let text = visible_text(&page);
    for words in [
        "Flöte <1>",
        "-20.0",
        "4.3",
        "3 times, up to 64 samples",
        "opposite",
        "from 10:00:00:07, 9 of 11 probes",
        "Level against time",
        "the sound breaks off there",
        "pair & co",
        "capsules of one array",
        "certain enough",
        "-0.75",
    ] {
        assert!(text.contains(words), "{words}");
    }
}
