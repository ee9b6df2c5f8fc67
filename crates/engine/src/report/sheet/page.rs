//! The sound report in, one sheet for people out: the day at the top, a row a joint take, their tracks below.

use super::super::html::{document, entry, facts, table};
use super::super::markup::Markup;
use super::super::say;
use super::{ReportedTake, SoundReport};
use crate::units::{counted, distinct};

/// The sheet; `page_of` says where a joint take's own report is.
#[must_use]
pub fn sound_report_html(report: &SoundReport, page_of: &dyn Fn(&str) -> String) -> String {
    let title = match report.dates.as_slice() {
        [] => "Sound report".to_string(),
        dates => format!("Sound report, {}", dates.join(", ")),
    };
    document(&title, &report.made_by, |page| {
        page.element("header", &[("class", "entry")], |page| {
            page.leaf(
                "p",
                &[("class", "kind")],
                "Sound report of recordings made by several units",
            );
            page.leaf("h1", &[], &title);
            let units = report.units.iter().map(|unit| {
                format!(
                    "{} ({}, {})",
                    unit.name,
                    counted(unit.channels, "channel"),
                    counted(unit.takes, "take")
                )
            });
            let settings = distinct(report.takes.iter().map(settings));
            facts(
                page,
                &[
                    ("Production", &report.productions.join(", ")),
                    ("Roll", &report.rolls.join(", ")),
                    ("Units", &units.collect::<Vec<_>>().join(", ")),
                    ("Settings", &settings.join("; ")),
                ],
            );
        });
        page.element("main", &[], |page| {
            entry(page, "Takes", |page| takes(page, report, page_of));
            entry(page, "Tracks", |page| {
                for take in &report.takes {
                    tracks(page, take);
                }
            });
            entry(page, "Files", |page| files(page, report));
        });
    })
}

fn settings(take: &ReportedTake) -> String {
    let mut settings = vec![format!("{} Hz", take.sample_rate)];
    settings.extend(distinct(
        take.files.iter().map(|file| file.encoding.clone()),
    ));
    if !take.frame_rate.is_empty() {
        let rate = take
            .frame_rate
            .strip_suffix("/1")
            .unwrap_or(&take.frame_rate);
        let drop = if take.drop_frame { ", drop-frame" } else { "" };
        settings.push(format!("{rate} timecode frames a second{drop}"));
    }
    settings.join(", ")
}

fn takes(page: &mut Markup, report: &SoundReport, page_of: &dyn Fn(&str) -> String) {
    let headings = [
        "Recording",
        "Scene",
        "Take",
        "Circled",
        "Starts",
        "Length",
        "Units",
        "Note",
    ];
    table(
        page,
        "In the order in which they were recorded",
        &headings,
        |page| {
            for take in &report.takes {
                page.element("tr", &[], |page| {
                    page.element("th", &[("scope", "row")], |page| {
                        page.leaf("a", &[("href", &page_of(&take.name))], &take.name);
                    });
                    for text in [&take.scene, &take.take, &take.circled, &take.start_label] {
                        page.leaf("td", &[], text);
                    }
                    let seconds = take.length_samples as f64 / f64::from(take.sample_rate.max(1));
                    page.leaf("td", &[], &say::clock_time(seconds));
                    let mut units = take.units.join(", ");
                    for unit in &take.not_placed {
                        units += &format!("; {unit}: place not established");
                    }
                    if take.files.is_empty() {
                        units += "; nothing was built";
                    }
                    page.leaf("td", &[], &units);
                    page.leaf("td", &[], &take.note);
                });
            }
        },
    );
}

fn tracks(page: &mut Markup, take: &ReportedTake) {
    if take.tracks.is_empty() {
        return;
    }
    let grouped = take.tracks.iter().any(|track| !track.group.is_empty());
    let several = take.files.len() > 1;
    let mut headings = vec!["Track", "Name", "Unit", "Its channel"];
    if grouped {
        headings.push("Group");
    }
    if several {
        headings.push("File");
    }
    table(page, &take.name, &headings, |page| {
        for track in &take.tracks {
            page.element("tr", &[], |page| {
                page.leaf("th", &[("scope", "row")], &track.number.to_string());
                page.leaf("td", &[], &track.name);
                page.leaf("td", &[], &track.unit);
                page.leaf("td", &[], &track.unit_channel.to_string());
                if grouped {
                    page.leaf("td", &[], &track.group);
                }
                if several {
                    page.leaf("td", &[("class", "code")], &track.file);
                }
            });
        }
    });
}

fn files(page: &mut Markup, report: &SoundReport) {
    table(
        page,
        "What is handed over",
        &["File", "Bytes", "Encoding", "Digest"],
        |page| {
            for file in report.takes.iter().flat_map(|take| &take.files) {
                page.element("tr", &[], |page| {
                    page.leaf("th", &[("scope", "row"), ("class", "code")], &file.path);
                    page.leaf("td", &[], &file.bytes.to_string());
                    page.leaf("td", &[], &file.encoding);
                    page.leaf("td", &[("class", "code")], &file.digest);
                });
            }
        },
    );
}
