//! What the desk knows in, pages out. Every page is whole without scripts; scripts add the waveform, listening and what changed
//! meanwhile.

pub mod build;
pub mod cards;
pub mod day;
pub mod first_roll;
pub mod prep;
pub mod settings;
pub mod sums;
pub mod take;

use std::sync::Arc;

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use engine::alignment::{JointTake, Role, Status};
use engine::finding::Finding;
use engine::report::{Markup, findings_part};
use engine::units::capital;

use super::state::Desk;

/// A page of the desk.
pub struct Page<'a> {
    /// Its address, to mark it in the contents.
    pub address: &'a str,
    /// Its heading.
    pub title: &'a str,
    /// What it is for, in a sentence.
    pub purpose: &'a str,
    /// Scripts it needs beside the common one.
    pub scripts: &'a [&'a str],
}

/// The page with its head, the contents, what is going on, and its body.
pub fn shell(desk: &Desk, page: &Page<'_>, body: impl FnOnce(&mut Markup)) -> String {
    document(page.title, page.scripts, |markup| {
        let revision = desk.revision().to_string();
        markup.element(
            "body",
            &[("class", "desk"), ("data-revision", &revision)],
            |markup| {
                markup.leaf("a", &[("class", "skip"), ("href", "#main")], "To the page");
                contents(markup, desk, page.address);
                going_on(markup, desk);
                markup.element("main", &[("id", "main"), ("tabindex", "-1")], |markup| {
                    markup.leaf("h1", &[], page.title);
                    markup.leaf("p", &[("class", "purpose")], page.purpose);
                    body(markup);
                });
            },
        );
    })
}

fn document(title: &str, scripts: &[&str], body: impl FnOnce(&mut Markup)) -> String {
    let mut markup = Markup::default();
    markup.raw("<!DOCTYPE html>\n");
    markup.element("html", &[("lang", "en")], |markup| {
        markup.element("head", &[], |markup| {
            markup.void("meta", &[("charset", "utf-8")]);
            markup.leaf("title", &[], &format!("{title} · Commontime"));
            for [name, content] in [
                ["viewport", "width=device-width, initial-scale=1"],
                ["color-scheme", "light dark"],
            ] {
                markup.void("meta", &[("name", name), ("content", content)]);
            }
            markup.void("link", &[("rel", "icon"), ("href", "/assets/icon.svg")]);
            for sheet in ["page.css", "desk.css"] {
                let href = format!("/assets/{sheet}");
                markup.void("link", &[("rel", "stylesheet"), ("href", &href)]);
            }
            for script in ["desk.js"].iter().chain(scripts) {
                let src = format!("/assets/{script}");
                markup.element("script", &[("type", "module"), ("src", &src)], |_| {});
            }
        });
        body(markup);
    });
    markup.finish()
}

/// The contents in the margin: every page with how far it is.
fn contents(markup: &mut Markup, desk: &Desk, here: &str) {
    let known = desk.known();
    let takes: &[JointTake] = known.alignment.as_ref().map_or(&[], |all| &all.joint_takes);
    let cards = match known.cards.len() {
        0 => "none yet".to_string(),
        many => format!("{many} on the desk"),
    };
    let differ = known.found.as_ref().map_or(String::new(), |found| {
        match found.settings.iter().filter(|row| row.differs).count() {
            0 if found.survey.units.len() > 1 => "alike".into(),
            0 => String::new(),
            1 => "1 differs".into(),
            many => format!("{many} differ"),
        }
    });
    let day = match (known.alignment.is_some(), takes.len()) {
        (false, _) => "not measured".to_string(),
        (true, 1) => "1 joint take".to_string(),
        (true, many) => format!("{many} joint takes"),
    };
    let rolled = known
        .roll
        .as_ref()
        .map_or(String::new(), |roll| roll.ready.words().to_string());
    let mut entries = vec![
        ("/".to_string(), "Cards".to_string(), cards, ""),
        ("/settings".into(), "Settings".into(), differ, ""),
        ("/day".into(), "The day".into(), day, ""),
    ];
    for take in takes {
        let state = state_of(take).to_string();
        entries.push((take_address(&take.name), take.name.clone(), state, "take"));
    }
    entries.push((
        "/build".into(),
        "Build and report".into(),
        String::new(),
        "",
    ));
    let planned = match prep::is_kept(desk) {
        true => "planned",
        false => "",
    };
    entries.push((
        "/prep".into(),
        "Before the shoot".into(),
        planned.into(),
        "",
    ));
    entries.push(("/first-roll".into(), "First roll".into(), rolled, ""));
    entries.push(("/sums".into(), "Timecode sums".into(), String::new(), ""));
    markup.element(
        "nav",
        &[("class", "contents"), ("aria-label", "Contents")],
        |markup| {
            markup.element("p", &[("class", "product")], |markup| {
                markup.leaf("strong", &[], "Commontime");
                markup.words(" desk");
            });
            markup.element("ol", &[], |markup| {
                for (address, name, state, class) in &entries {
                    let mut attributes = vec![("href", address.as_str())];
                    if address == here {
                        attributes.push(("aria-current", "page"));
                    }
                    markup.element("li", &[("class", class)], |markup| {
                        markup.leaf("a", &attributes, name);
                        if !state.is_empty() {
                            markup.leaf("span", &[("class", "state")], state);
                        }
                    });
                }
            });
            markup.element("p", &[("class", "where")], |markup| {
                markup.words("Works in ");
                markup.leaf(
                    "span",
                    &[("class", "code")],
                    &desk.out.display().to_string(),
                );
            });
        },
    );
}

/// How a joint take stands, in a word or two with a sign beside it.
pub fn state_of(take: &JointTake) -> &'static str {
    let mut followers = take
        .members
        .iter()
        .filter(|member| member.role == Role::Follower);
    let asks = |status| {
        move |member: &engine::alignment::Member| member.status == status && !member.is_left_out()
    };
    if followers.clone().any(asks(Status::NeedsDecision)) {
        "? to be decided"
    } else if followers.clone().any(asks(Status::NotEstablished)) {
        "△ not established"
    } else if followers.any(engine::alignment::Member::is_left_out) {
        "– something left out"
    } else {
        "✓ established"
    }
}

/// What runs, with a way to stop it; or what the last work came to.
fn going_on(markup: &mut Markup, desk: &Desk) {
    let job = desk.job();
    let last = desk.known().last.clone();
    let class = match (&job, &last) {
        (Some(_), _) => "going-on running",
        (None, Some(came)) if came.well => "going-on",
        (None, Some(_)) => "going-on failed",
        (None, None) => "going-on nothing",
    };
    markup.element(
        "section",
        &[
            ("class", class),
            ("id", "going-on"),
            ("aria-label", "What is going on"),
        ],
        |markup| match (job, last) {
            (Some(job), _) => {
                let far = job.how_far();
                markup.leaf(
                    "p",
                    &[("id", "job-words"), ("role", "status")],
                    &far.words(),
                );
                let percent = far.percent.unwrap_or(0).to_string();
                markup.leaf(
                    "progress",
                    &[
                        ("id", "job-percent"),
                        ("max", "100"),
                        ("value", &percent),
                        ("aria-label", "How far it is"),
                    ],
                    "",
                );
                form(markup, desk, "/do/stop", |markup| submit(markup, "Stop it"));
            }
            (None, Some(came)) => {
                let what = capital(&came.what);
                markup.leaf(
                    "p",
                    &[("role", "status")],
                    &format!("{what}: {}.", came.words.trim_end_matches('.')),
                );
            }
            (None, None) => {}
        },
    );
}

/// A form with the token of the desk.
pub fn form(markup: &mut Markup, desk: &Desk, action: &str, inside: impl FnOnce(&mut Markup)) {
    named_form(markup, desk, (action, ""), inside);
}

/// The same with an id.
pub fn named_form(
    markup: &mut Markup,
    desk: &Desk,
    (action, id): (&str, &str),
    inside: impl FnOnce(&mut Markup),
) {
    let mut attributes = vec![("method", "post"), ("action", action)];
    if !id.is_empty() {
        attributes.push(("id", id));
    }
    markup.element("form", &attributes, |markup| {
        hidden(markup, "token", &desk.keys.token);
        inside(markup);
    });
}

/// A field nobody sees.
pub fn hidden(markup: &mut Markup, name: &str, value: &str) {
    markup.void(
        "input",
        &[("type", "hidden"), ("name", name), ("value", value)],
    );
}

/// A labelled line of text.
pub fn field(markup: &mut Markup, label: &str, name: &str, value: &str, more: &[(&str, &str)]) {
    markup.element("label", &[], |markup| {
        markup.leaf("span", &[], label);
        let mut attributes = vec![
            ("type", "text"),
            ("name", name),
            ("value", value),
            ("autocomplete", "off"),
        ];
        attributes.extend(more);
        markup.void("input", &attributes);
    });
}

/// A labelled choice: value and words of each.
pub fn choice(
    markup: &mut Markup,
    label: &str,
    name: &str,
    options: &[(&str, &str)],
    chosen: &str,
) {
    markup.element("label", &[], |markup| {
        markup.leaf("span", &[], label);
        markup.element("select", &[("name", name)], |markup| {
            for (value, words) in options {
                let mut attributes = vec![("value", *value)];
                if *value == chosen {
                    attributes.push(("selected", "selected"));
                }
                markup.leaf("option", &attributes, words);
            }
        });
    });
}

/// A button that sends its form.
pub fn submit(markup: &mut Markup, words: &str) {
    markup.leaf("button", &[("type", "submit")], words);
}

/// A part of a page under a heading of its own.
pub fn entry(markup: &mut Markup, heading: &str, inside: impl FnOnce(&mut Markup)) {
    markup.element("section", &[("class", "entry")], |markup| {
        markup.leaf("h2", &[], heading);
        markup.element("div", &[("class", "body")], inside);
    });
}

/// Findings, or that there are none.
pub fn findings(markup: &mut Markup, findings: &[Finding]) {
    let placed: Vec<(&str, &Finding)> = findings.iter().map(|finding| ("", finding)).collect();
    markup.raw(&findings_part(&placed));
}

/// The address of a joint take's page.
pub fn take_address(name: &str) -> String {
    format!("/take/{}", encoded(name))
}

/// A name as a part of an address (RFC 3986, section 2.1).
pub fn encoded(name: &str) -> String {
    let mut text = String::new();
    for byte in name.bytes() {
        match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'_' | b'.' | b'~' => {
                text.push(byte as char)
            }
            _ => text.push_str(&format!("%{byte:02X}")),
        }
    }
    text
}

/// A page that says why something was not done, with the way back.
pub fn refused(desk: &Desk, why: &str, back: &str) -> Response {
    let page = Page {
        address: "",
        title: "Not done",
        purpose: "Nothing was changed.",
        scripts: &[],
    };
    let text = shell(desk, &page, |markup| {
        markup.leaf("p", &[("class", "claim"), ("role", "alert")], why);
        markup.element("p", &[], |markup| {
            markup.leaf("a", &[("href", back)], "Back")
        });
    });
    (StatusCode::BAD_REQUEST, Html(text)).into_response()
}

/// For addresses that are none.
pub async fn not_found(State(desk): State<Arc<Desk>>) -> Response {
    let page = Page {
        address: "",
        title: "There is nothing here",
        purpose: "This address is none of the desk's; the contents show what there is.",
        scripts: &[],
    };
    let text = shell(&desk, &page, |_| {});
    (StatusCode::NOT_FOUND, Html(text)).into_response()
}

/// A page that could not be made.
pub fn broken(why: &str) -> String {
    document("Cannot be shown", &[], |markup| {
        markup.element("body", &[("class", "desk")], |markup| {
            markup.element("main", &[], |markup| {
                markup.leaf("h1", &[], "This cannot be shown");
                markup.leaf("p", &[("class", "claim"), ("role", "alert")], why);
                markup.element("p", &[], |markup| {
                    markup.leaf("a", &[("href", "/")], "To the cards")
                });
            });
        });
    })
}
