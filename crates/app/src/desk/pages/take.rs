//! One joint take: what is claimed and why, the seam to be looked at and listened to, and decisions.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::response::{IntoResponse, Response};
use engine::alignment::{Alignment, JointTake, Member, Placement, Role, Status};
use engine::report::{Markup, ReportInput, coverage_part, follower_parts, take_findings_part};

use super::day::measure_fields;
use super::{
    Page, choice, entry, field, form, hidden, named_form, shell, state_of, submit, take_address,
};
use crate::desk::server::answer;
use crate::desk::state::Desk;

/// The page.
pub async fn page(State(desk): State<Arc<Desk>>, Path(name): Path<String>) -> Response {
    if let Err(error) = desk.refresh() {
        return answer(Err(error));
    }
    let alignment = desk.known().alignment.clone();
    let joint = alignment
        .as_ref()
        .and_then(|all| all.joint_take(&name).ok());
    match (&alignment, joint) {
        (Some(alignment), Some(joint)) => answer(Ok(text(&desk, alignment, joint))),
        _ => super::not_found(State(desk)).await.into_response(),
    }
}

fn text(desk: &Desk, alignment: &Alignment, joint: &JointTake) -> String {
    let address = take_address(&joint.name);
    let purpose = format!("{} leads. {}", joint.lead, state_of(joint));
    let page = Page {
        address: &address,
        title: &joint.name,
        purpose: &purpose,
        scripts: &["seams.js"],
    };
    let input = ReportInput::measured(&alignment.made_by, joint);
    let followers: Vec<&Member> = joint
        .members
        .iter()
        .filter(|member| member.role == Role::Follower)
        .collect();
    shell(desk, &page, |markup| {
        entry(markup, "Findings", |markup| {
            markup.raw(&take_findings_part(&input))
        });
        entry(markup, "What ran together", |markup| {
            markup.raw(&coverage_part(&input))
        });
        if followers.is_empty() {
            markup.leaf("p", &[("class", "empty")], "No other unit ran with it.");
            return;
        }
        entry(markup, "Look", |markup| seams(markup, joint));
        entry(markup, "Listen", |markup| listen(markup, joint));
        entry(markup, "Decide", |markup| {
            for member in &followers {
                decide(markup, desk, joint, member);
            }
            markup.leaf("h3", &[], "Mark the same instant by hand");
            tie(markup, desk, joint, &followers);
            markup.leaf("h3", &[], "Measure this joint take anew");
            form(markup, desk, "/do/again", |markup| {
                hidden(markup, "take", &joint.name);
                let names: Vec<&str> = joint
                    .members
                    .iter()
                    .map(|member| member.unit.as_str())
                    .collect();
                measure_fields(markup, &names, &joint.lead);
                submit(markup, "Measure anew");
            });
        });
        for (unit, part) in follower_parts(&input) {
            let heading = format!("{unit} on {}'s clock", joint.lead);
            entry(markup, &heading, |markup| markup.raw(&part));
        }
        markup.element("p", &[("class", "next")], |markup| {
            markup.leaf("a", &[("href", "/build")], "Next: build and report");
        });
    })
}

/// Name and number of a channel.
fn channel_words(channel: &engine::alignment::Channel) -> String {
    match channel.name.is_empty() {
        true => channel.index.to_string(),
        false => format!("{} {}", channel.index, channel.name),
    }
}

/// The channels that are shown first: the common signal where there is one, else the first of each.
fn first_channels(member: &Member) -> (u32, u32) {
    let evidence = member.evidence.as_ref();
    let level = evidence.and_then(|evidence| evidence.common_level.as_ref());
    level.map_or((1, 1), |level| (level.lead_channel, level.follower_channel))
}

fn channel_options(markup: &mut Markup, member: &Member, chosen: u32) {
    for channel in &member.channels {
        let value = channel.index.to_string();
        let mut attributes = vec![("value", value.as_str()), ("data-unit", &member.unit)];
        if channel.index == chosen {
            attributes.push(("selected", "selected"));
        }
        markup.leaf("option", &attributes, &channel_words(channel));
    }
}

fn select(markup: &mut Markup, label: &str, name: &str, inside: impl FnOnce(&mut Markup)) {
    markup.element("label", &[], |markup| {
        markup.leaf("span", &[], label);
        markup.element("select", &[("name", name)], inside);
    });
}

fn radios(markup: &mut Markup, legend: &str, name: &str, options: &[(&str, &str)]) {
    markup.element("fieldset", &[], |markup| {
        markup.leaf("legend", &[], legend);
        for (place, (value, words)) in options.iter().enumerate() {
            markup.element("label", &[], |markup| {
                let mut attributes = vec![("type", "radio"), ("name", name), ("value", *value)];
                if place == 0 {
                    attributes.push(("checked", "checked"));
                }
                markup.void("input", &attributes);
                markup.words(" ");
                markup.words(words);
            });
        }
    });
}

/// Where the picture of the seam goes; `assets/seams.js` draws it.
fn seams(markup: &mut Markup, joint: &JointTake) {
    let followers = || {
        joint
            .members
            .iter()
            .filter(|member| member.role == Role::Follower)
    };
    let Some(lead) = joint
        .members
        .iter()
        .find(|member| member.role == Role::Lead)
    else {
        return;
    };
    let first = followers().next().map_or((1, 1), first_channels);
    let (from, until) = followers().fold(
        (0.0_f64, joint.length_samples as f64),
        |(from, until), member| match (member.knots.first(), member.knots.last()) {
            (Some([_, first]), Some([_, last])) => (from.min(*first), until.max(*last + 1.0)),
            _ => (from, until),
        },
    );
    let (from, until) = (from.floor().to_string(), until.ceil().to_string());
    let rate = joint.sample_rate.to_string();
    let attributes = [
        ("id", "seams"),
        ("data-take", joint.name.as_str()),
        ("data-rate", &rate),
        ("data-from", &from),
        ("data-until", &until),
        ("data-lead", &joint.lead),
    ];
    markup.element("div", &attributes, |markup| {
        markup.element("form", &[("class", "seams-choice")], |markup| {
            select(
                markup,
                &format!("{}'s channel", joint.lead),
                "lead-channel",
                |markup| {
                    channel_options(markup, lead, first.0);
                },
            );
            select(markup, "Follower", "follower", |markup| {
                for member in followers() {
                    markup.leaf("option", &[("value", &member.unit)], &member.unit);
                }
            });
            select(markup, "its channel", "follower-channel", |markup| {
                for member in followers() {
                    channel_options(markup, member, first_channels(member).1);
                }
            });
            radios(
                markup,
                "Place",
                "how",
                &[("after", "as measured"), ("before", "as stamped")],
            );
            radios(
                markup,
                "Lines",
                "view",
                &[
                    ("apart", "one above the other"),
                    ("over", "laid over each other"),
                ],
            );
        });
        markup.element(
            "div",
            &[
                ("class", "seams-tools"),
                ("role", "group"),
                ("aria-label", "View"),
            ],
            |markup| {
                for (what, words) in [
                    ("all", "Whole take"),
                    ("out", "Wider"),
                    ("in", "Closer"),
                    ("samples", "Single samples"),
                    ("left", "Earlier"),
                    ("right", "Later"),
                    ("mark", "Mark an instant"),
                    ("clear", "Clear marks"),
                ] {
                    markup.leaf("button", &[("type", "button"), ("data-do", what)], words);
                }
            },
        );
        markup.element("canvas", &[("tabindex", "0")], |_| {});
        markup.element(
            "output",
            &[("class", "seams-reading"), ("aria-live", "polite")],
            |_| {},
        );
        markup.leaf(
            "noscript",
            &[],
            "The picture of the seam needs scripts; everything else does not.",
        );
    });
    for member in followers().filter(|member| member.placement == Placement::NotPlaced) {
        let words = format!(
            "{} has no measured place: it is shown where its stamp says, or from the lead's start where it has none.",
            member.unit
        );
        markup.leaf("p", &[], &words);
    }
    markup.leaf(
        "p",
        &[("class", "small")],
        "Solid ink is the lead, the outlined line the follower. Drag or use the arrow keys to move, + and − or the wheel to come closer; \
         comma and full stop move the cursor, M marks an instant and Enter chooses it, 0 shows the whole take.",
    );
}

fn listen(markup: &mut Markup, joint: &JointTake) {
    markup.leaf(
        "p",
        &[("class", "caution")],
        "Turn headphones down first: two recordings together can be much louder than one.",
    );
    markup.element(
        "form",
        &[
            ("id", "listen"),
            ("method", "get"),
            ("action", "/listen"),
            ("target", "_blank"),
        ],
        |markup| {
            hidden(markup, "take", &joint.name);
            for (name, value) in [("lead", "1"), ("unit", ""), ("channel", "1"), ("from", "0")] {
                hidden(markup, name, value);
            }
            choice(
                markup,
                "What is heard",
                "played",
                &[
                    ("sides", "lead left, follower right"),
                    ("sum", "both together"),
                    ("difference", "what one is not of the other"),
                ],
                "sides",
            );
            choice(
                markup,
                "Place",
                "how",
                &[("after", "as measured"), ("before", "as stamped")],
                "after",
            );
            choice(
                markup,
                "For",
                "seconds",
                &[("5", "5 s"), ("10", "10 s"), ("30", "30 s"), ("60", "60 s")],
                "10",
            );
            submit(markup, "Listen from the middle of the view");
        },
    );
    markup.element(
        "audio",
        &[
            ("id", "player"),
            ("controls", "controls"),
            ("preload", "none"),
        ],
        |_| {},
    );
}

/// What can be decided about a follower.
fn decide(markup: &mut Markup, desk: &Desk, joint: &JointTake, member: &Member) {
    markup.leaf("h3", &[], &member.unit);
    let words = match (member.decision_words(), member.status) {
        (Some(words), _) => format!("It was {words}."),
        (None, Status::Established) => "Its place is established; nothing needs deciding.".into(),
        (None, Status::NeedsDecision) => "Its place needs your decision: look and listen above, then accept it, mark an instant, or leave it out.".into(),
        (None, Status::NotEstablished) => "Its place is not established: mark the same instant on both, or leave it out.".into(),
    };
    markup.leaf("p", &[], &words);
    form(markup, desk, "/do/decide", |markup| {
        hidden(markup, "take", &joint.name);
        hidden(markup, "unit", &member.unit);
        let mut button = |what: &str, words: &str| {
            markup.leaf(
                "button",
                &[("type", "submit"), ("name", "what"), ("value", what)],
                words,
            );
        };
        if member.decision.is_some() {
            button("take-back", "Take the decision back");
            return;
        }
        if member.status == Status::NeedsDecision && member.placement != Placement::NotPlaced {
            button("accept", "Accept it as measured");
        }
        button("leave-out", "Leave it out");
        field(markup, "Reason", "reason", "", &[("size", "30")]);
    });
}

fn tie(markup: &mut Markup, desk: &Desk, joint: &JointTake, followers: &[&Member]) {
    markup.leaf(
        "p",
        &[],
        "A clap, a knock, the edge of a tone that both units heard at the same time. A tie by hand places the follower; its rate is \
         still measured where that can be done.",
    );
    named_form(markup, desk, ("/do/tie", "tie"), |markup| {
        hidden(markup, "take", &joint.name);
        let names: Vec<(&str, &str)> = followers
            .iter()
            .map(|member| (member.unit.as_str(), member.unit.as_str()))
            .collect();
        choice(
            markup,
            "Follower",
            "follower",
            &names,
            names.first().map_or("", |name| name.0),
        );
        let number = [
            ("inputmode", "decimal"),
            ("size", "14"),
            ("required", "required"),
        ];
        field(
            markup,
            &format!("Sample on {}", joint.lead),
            "lead-position",
            "",
            &number,
        );
        field(
            markup,
            "Sample on the follower",
            "follower-position",
            "",
            &number,
        );
        field(markup, "Reason", "reason", "", &[("size", "30")]);
        submit(markup, "Measure with this tie");
    });
}
