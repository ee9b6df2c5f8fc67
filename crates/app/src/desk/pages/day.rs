//! The day: what ran when, the joint takes with how they stand, and measuring.

use std::sync::Arc;

use axum::extract::State;
use axum::response::Response;
use engine::alignment::{Alignment, JointTake, Role};
use engine::report::{Markup, claim_words, day_map_part, length_of_time};

use super::{Page, choice, entry, field, findings, form, shell, state_of, submit, take_address};
use crate::desk::server::answer;
use crate::desk::state::{Desk, Found};

/// The page.
pub async fn page(State(desk): State<Arc<Desk>>) -> Response {
    answer(desk.refresh().map(|()| text(&desk)))
}

fn text(desk: &Desk) -> String {
    let page = Page {
        address: "/day",
        title: "The day",
        purpose: "What ran together, measured against the lead's clock. Each joint take has a page of its own.",
        scripts: &[],
    };
    let (alignment, found, mut all) = {
        let known = desk.known();
        (
            known.alignment.clone(),
            known.found.clone(),
            known.findings.clone(),
        )
    };
    shell(desk, &page, |markup| {
        let Some(alignment) = alignment else {
            entry(markup, "Measure", |markup| {
                markup.leaf("p", &[("class", "empty")], "Nothing was measured yet.");
                measure(markup, desk, found.as_ref());
            });
            return;
        };
        entry(markup, "What ran when", |markup| {
            match day_map_part(&alignment) {
                map if map.is_empty() => markup.leaf(
                    "p",
                    &[("class", "empty")],
                    "No take says when it was recorded.",
                ),
                map => markup.raw(&map),
            }
        });
        entry(markup, "Joint takes", |markup| {
            joint_takes(markup, &alignment)
        });
        all.extend(alignment.findings.iter().cloned());
        if !all.is_empty() {
            entry(markup, "Findings", |markup| findings(markup, &all));
        }
        entry(markup, "Measure anew", |markup| {
            markup.leaf("p", &[], "All of the day is measured again; what was decided and tied by hand is given up by that.");
            measure(markup, desk, found.as_ref());
        });
        if !alignment.joint_takes.is_empty() {
            markup.element("p", &[("class", "next")], |markup| {
                markup.leaf("a", &[("href", "/build")], "Next: build and report");
            });
        }
    })
}

fn joint_takes(markup: &mut Markup, alignment: &Alignment) {
    if alignment.joint_takes.is_empty() {
        markup.leaf(
            "p",
            &[("class", "empty")],
            "No takes of different units ran together. The findings say why.",
        );
        return;
    }
    markup.element("ul", &[("class", "joint-takes")], |markup| {
        for joint in &alignment.joint_takes {
            markup.element("li", &[], |markup| {
                markup.element("p", &[("class", "name")], |markup| {
                    markup.leaf("a", &[("href", &take_address(&joint.name))], &joint.name);
                    markup.leaf("span", &[("class", "state")], state_of(joint));
                });
                markup.leaf("p", &[], &short(joint));
                for member in joint
                    .members
                    .iter()
                    .filter(|member| member.role == Role::Follower)
                {
                    let words = match member.decision_words() {
                        Some(words) => words,
                        None => claim_words(member, joint),
                    };
                    markup.leaf(
                        "p",
                        &[("class", "small")],
                        &format!("{}: {words}.", member.unit),
                    );
                }
            });
        }
    });
}

/// When, how long and of which lead.
fn short(joint: &JointTake) -> String {
    let seconds = joint.length_samples as f64 / f64::from(joint.sample_rate.max(1));
    let label = match joint.start.timecode.is_empty() {
        true => String::new(),
        false => format!("{} · ", joint.start.timecode),
    };
    format!(
        "{label}{} · {} leads {}",
        length_of_time(seconds),
        joint.lead,
        engine::units::counted(joint.members.len().saturating_sub(1), "follower")
    )
}

fn measure(markup: &mut Markup, desk: &Desk, found: Option<&Found>) {
    let Some(found) = found.filter(|found| found.survey.units.len() > 1) else {
        markup.element("p", &[], |markup| {
            markup.words("The cards of two or more units are wanted for that. ");
            markup.leaf("a", &[("href", "/")], "To the cards");
        });
        return;
    };
    form(markup, desk, "/do/measure", |markup| {
        let names: Vec<&str> = found
            .survey
            .units
            .iter()
            .map(|unit| unit.name.as_str())
            .collect();
        measure_fields(markup, &names, "");
        submit(markup, "Measure");
    });
}

/// What can be chosen before measuring.
pub fn measure_fields(markup: &mut Markup, units: &[&str], lead: &str) {
    let mut options = vec![("", "by rule: the most channels")];
    options.extend(units.iter().map(|unit| (*unit, *unit)));
    markup.element("div", &[("class", "fields")], |markup| {
        choice(markup, "Lead", "lead", &options, lead);
        field(
            markup,
            "Largest distance between microphones of different units, metres",
            "spacing",
            "10",
            &[("inputmode", "decimal"), ("size", "6")],
        );
        field(
            markup,
            "Channels with one common signal, if they are known",
            "common",
            "",
            &[("placeholder", "NORTH:6=SOUTH:6")],
        );
    });
}
