//! A joint take and what was built of it in, one self-contained page out: no script, nothing fetched, light and dark,
//! prints on paper; well-formed XML as well as HTML, so that a strict parser can hold it to account.

mod meaning;
mod difference;
mod follower;
mod tables;
mod output;
mod parts;
mod quality;

use std::collections::BTreeSet;

use super::markup::Markup;
use super::plots::Drawing;
use super::{ReportInput, fitness, say};
use crate::alignment::{Basis, JointTake, Member, Placement, Role, Status};
use crate::finding::{Finding, Weight};
use crate::units::counted;

pub use parts::*;
pub(super) use tables::table;

/// The style sheet of all pages.
pub const STYLE: &str = include_str!("report.css");

/// The page of one joint take.
#[must_use]
pub fn html(input: &ReportInput<'_>) -> String {
    let title = format!("{}: report", input.joint_take.name);
    page_of(&title, input.made_by, |page| {
        head(page, input);
        page.element("main", &[], |page| main(page, input));
    })
}

/// A page with its head and its style.
pub(super) fn page_of(title: &str, made_by: &str, body: impl FnOnce(&mut Markup)) -> String {
    let mut page = Markup::default();
    page.raw("<!DOCTYPE html>\n");
    let root = [("xmlns", "http://www.w3.org/1999/xhtml"), ("lang", "en")];
    page.element("html", &root, |page| {
        page.element("head", &[], |page| {
            page.void("meta", &[("charset", "utf-8")]);
            page.leaf("title", &[], title);
            page.void(
                "meta",
                &[
                    ("name", "viewport"),
                    ("content", "width=device-width, initial-scale=1"),
                ],
            );
            page.void(
                "meta",
                &[("name", "color-scheme"), ("content", "light dark")],
            );
            page.void("meta", &[("name", "generator"), ("content", made_by)]);
            page.element("style", &[], |page| page.raw(STYLE));
        });
        page.element("body", &[], body);
    });
    page.finish()
}

/// A section: its heading stands in the margin where there is room for one.
pub(super) fn entry(page: &mut Markup, heading: &str, inside: impl FnOnce(&mut Markup)) {
    classed_entry(page, "entry", heading, inside);
}

/// The same on a sheet of its own when it is printed.
pub(super) fn sheet_entry(page: &mut Markup, heading: &str, inside: impl FnOnce(&mut Markup)) {
    classed_entry(page, "entry own-sheet", heading, inside);
}

fn classed_entry(page: &mut Markup, class: &str, heading: &str, inside: impl FnOnce(&mut Markup)) {
    page.element("section", &[("class", class)], |page| {
        page.leaf("h2", &[], heading);
        page.element("div", &[("class", "body")], inside);
    });
}

/// Name and value pairs; those without a value are left out.
pub(super) fn facts(page: &mut Markup, pairs: &[(&str, &str)]) {
    page.element("dl", &[("class", "facts")], |page| {
        for (name, value) in pairs {
            if !value.is_empty() {
                page.leaf("dt", &[], name);
                page.leaf("dd", &[], value);
            }
        }
    });
}

/// A picture in a wide and a narrow drawing, of which the style sheet shows one.
pub(super) fn figure(page: &mut Markup, drawing: &Drawing, caption: impl FnOnce(&mut Markup)) {
    page.element("figure", &[], |page| {
        for (size, class) in [(drawing.printed(), "wide"), (drawing.narrow(), "narrow")] {
            let svg = drawing.svg(size, class);
            page.raw(&svg.replacen("<svg ", &format!("<svg class=\"{class}\" "), 1));
        }
        page.element("figcaption", &[], caption);
    });
}

/// A small drawing of a mark beside its meaning.
fn key(page: &mut Markup, path: &str, ink: &str, width: &str) {
    let attributes = [
        ("xmlns", "http://www.w3.org/2000/svg"),
        ("class", "key"),
        ("viewBox", "0 0 32 16"),
        ("aria-hidden", "true"),
    ];
    page.element("svg", &attributes, |page| {
        page.void(
            "path",
            &[
                ("d", path),
                ("fill", "none"),
                ("stroke", ink),
                ("stroke-width", width),
            ],
        );
    });
}

fn head(page: &mut Markup, input: &ReportInput<'_>) {
    let joint = input.joint_take;
    let rate = say::rate_of(joint).hz();
    page.element("header", &[("class", "entry")], |page| {
        page.leaf(
            "p",
            &[("class", "kind")],
            "Report on a recording made by several units",
        );
        page.leaf("h1", &[], &joint.name);
        let counting = match (joint.start.frame_rate.is_empty(), joint.start.drop_frame) {
            (true, _) => String::new(),
            (false, drop) => format!(
                " at {} timecode frames a second{}",
                joint.start.frame_rate,
                if drop { ", drop-frame" } else { "" }
            ),
        };
        let start = match joint.start.samples_since_midnight {
            Some(samples) => format!(
                "{} = {samples} samples since midnight{}",
                say::name_or(&joint.start.timecode, "no label"),
                if joint.start.timecode.is_empty() {
                    ""
                } else {
                    &counting
                }
            ),
            None => "the lead wrote no stamp".into(),
        };
        let lead = match joint.lead_rule.as_str() {
            "" => joint.lead.clone(),
            rule => format!("{} (by rule: {rule})", joint.lead),
        };
        let output = input.output.map_or("nothing was built".into(), |output| {
            // files that were cut by size hold the same channels one after the other
            let channels: BTreeSet<(&str, u32)> = output
                .files
                .iter()
                .flat_map(|file| &file.channels)
                .map(|channel| (channel.unit.as_str(), channel.source_channel))
                .collect();
            format!(
                "{} in {}, {}",
                counted(channels.len(), "channel"),
                counted(output.files.len(), "file"),
                say::clock_time(output.length_samples as f64 / rate)
            )
        });
        facts(
            page,
            &[
                ("Date", &joint.start.date),
                ("Start", &start),
                (
                    "Length",
                    &format!(
                        "{} = {} samples at {} Hz (the lead's)",
                        say::clock_time(joint.length_samples as f64 / rate),
                        joint.length_samples,
                        joint.sample_rate
                    ),
                ),
                ("Lead", &lead),
                ("Recording", &output),
            ],
        );
        page.leaf("p", &[("class", "verdict")], &verdict(joint));
    });
}

/// What the recordist wants to know first.
fn verdict(joint: &JointTake) -> String {
    let followers = || {
        joint
            .members
            .iter()
            .filter(|member| member.role == Role::Follower)
    };
    let missing: Vec<&str> = followers()
        .filter(|member| !member.is_left_out())
        .filter(|member| {
            member.placement == Placement::NotPlaced || member.status != Status::Established
        })
        .map(|member| member.unit.as_str())
        .collect();
    let left_out: Vec<&str> = followers()
        .filter(|member| member.is_left_out())
        .map(|member| member.unit.as_str())
        .collect();
    let placed = followers().count() - missing.len() - left_out.len();
    let mut text = match (placed, missing.len()) {
        (0, 0) if left_out.is_empty() => format!("{} ran alone.", joint.lead),
        (0, 0) => format!("{} alone.", joint.lead),
        (placed, 0) => format!(
            "{} on {}'s clock, every channel of every unit.",
            counted(placed + 1, "unit"),
            joint.lead
        ),
        (_, _) => format!(
            "Not established: {}. Nothing of it was shifted or put into the recording; see the findings.",
            missing.join(", ")
        ),
    };
    if !left_out.is_empty() {
        text.push_str(&format!(" Left out by a person: {}.", left_out.join(", ")));
    }
    let worst = followers()
        .filter(|member| !member.is_left_out())
        .filter_map(|member| Some((member, fitness::Fitness::of(member, joint)?.largest_s())))
        .filter(|(member, _)| member.status == Status::Established)
        .max_by(|a, b| a.1.total_cmp(&b.1));
    if let Some((member, _)) = worst {
        text.push_str(&format!(
            " Least certain place: {}, {}.",
            member.unit,
            say::claim_words(member, joint)
        ));
    }
    text
}

fn main(page: &mut Markup, input: &ReportInput<'_>) {
    let joint = input.joint_take;
    entry(page, "Findings", |page| all_findings(page, input));
    entry(page, "What ran together", |page| {
        tables::coverage(page, joint)
    });
    if !input.settings.rows.is_empty() {
        entry(page, "Settings side by side", |page| {
            tables::settings(page, input.settings, &joint.lead);
        });
    }
    for (number, member) in joint.members.iter().enumerate() {
        if member.role == Role::Follower {
            let heading = format!("{} on {}'s clock", member.unit, joint.lead);
            entry(page, &heading, |page| {
                follower::follower(page, input, number)
            });
        }
    }
    entry(page, "What was common", |page| {
        for member in joint
            .members
            .iter()
            .filter(|member| member.role == Role::Follower)
        {
            page.leaf("p", &[], &what_was_common(member, joint));
        }
    });
    if let Some(output) = input.output {
        entry(page, "Channels", |page| tables::channels(page, output));
        if let Some(measured) = &output.quality {
            entry(page, "Quality", |page| quality::measured(page, measured));
        }
        if !output.groups.is_empty() {
            entry(page, "Groups", |page| quality::groups(page, &output.groups));
        }
        entry(page, "Measured again", |page| {
            output::measured_again(page, output, joint)
        });
        if output.files.iter().any(|file| !file.fields.is_empty()) {
            entry(page, "Written in the files", |page| {
                output::fields(page, output)
            });
        }
    }
    entry(page, "Where it came from", |page| {
        tables::provenance(page, input)
    });
}

/// Every finding with the unit it concerns; what was said twice stands once, what a person decided about asks no more.
fn all_findings(page: &mut Markup, input: &ReportInput<'_>) {
    let general = input.findings.iter().map(|finding| ("", finding.clone()));
    let members = input.joint_take.members.iter().flat_map(|member| {
        let findings = member.weighed_findings();
        findings.map(|finding| (member.unit.as_str(), finding))
    });
    let mut all: Vec<(&str, Finding)> = Vec::new();
    for (unit, finding) in members.chain(general) {
        if !all.iter().any(|(_, known)| *known == finding) {
            all.push((unit, finding));
        }
    }
    let all: Vec<(&str, &Finding)> = all.iter().map(|(unit, finding)| (*unit, finding)).collect();
    gravest_first(page, &all);
}

/// Findings, gravest first, each with the unit it concerns.
fn gravest_first(page: &mut Markup, findings: &[(&str, &Finding)]) {
    let mut sorted = findings.to_vec();
    sorted.sort_by_key(|(_, finding)| std::cmp::Reverse(finding.weight));
    tables::findings(page, &sorted);
}

/// Timecode and audio clock kept apart, two sentences a follower.
fn what_was_common(member: &Member, joint: &JointTake) -> String {
    let (unit, lead) = (&member.unit, &joint.lead);
    let timecode = match (member.basis, joint.start.samples_since_midnight) {
        (Basis::Stamps, _) => format!(
            "Timecode told {unit} and {lead} what time it was, and by it alone {unit} was placed; it does not keep \
             their audio clocks in step."
        ),
        (Basis::Calibration, _) => format!(
            "Timecode told {unit} and {lead} what time it was, the stored offset of this pair of units was added to it, and \
             by both {unit} was placed; it does not keep their audio clocks in step."
        ),
        (Basis::None, _) => {
            format!("Neither timecode nor sound tied {unit} to {lead} reliably.")
        }
        (_, None) => format!(
            "There was no timecode to go by; {unit} was placed by {}.",
            say::rests_on(member.basis)
        ),
        (_, Some(_)) => format!(
            "Timecode brought the takes of {unit} and {lead} together, no more; the place rests on {}.",
            say::rests_on(member.basis)
        ),
    };
    let audio = match member.rate_measured {
        false => format!(
            "Whether the audio clocks of {unit} and {lead} were common could not be measured; two units of their own \
             run apart by milliseconds to tens of milliseconds an hour."
        ),
        true if member.rate_ppm.abs() <= 3.0 * member.rate_sigma_ppm => format!(
            "Between the audio clocks of {unit} and {lead} no difference was measured ({}): they were common, or as \
             good as common.",
            say::rate(member)
        ),
        true => format!(
            "The audio clocks were not common: {unit} ran {} against {lead}'s, {} an hour.",
            say::rate(member),
            say::short_time(member.rate_ppm.abs() * 1e-6 * 3600.0)
        ),
    };
    format!("{timecode} {audio}")
}

/// A shape beside the word, so that weight is seen without colour.
fn weight_shape(weight: Weight) -> &'static str {
    match weight {
        Weight::Note => "·",
        Weight::Warn => "△",
        Weight::Ask => "?",
        Weight::Stop => "■",
    }
}

#[cfg(test)]
mod tests;
