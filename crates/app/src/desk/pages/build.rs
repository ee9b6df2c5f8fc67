//! Building, and what was built: how, going on, papers.

use std::sync::Arc;

use axum::extract::State;
use axum::response::Response;
use engine::alignment::{Alignment, Member};
use engine::deliver::{ALIGNMENT, paper_names, report_name};
use engine::report::Markup;
use engine::units::counted;

use super::{Page, choice, encoded, entry, findings, form, shell, submit, take_address};
use crate::desk::server::answer;
use crate::desk::state::Desk;

/// The page.
pub async fn page(State(desk): State<Arc<Desk>>) -> Response {
    answer(desk.refresh().map(|()| text(&desk)))
}

fn text(desk: &Desk) -> String {
    let page = Page {
        address: "/build",
        title: "Build and report",
        purpose: "One recording a joint take, on the lead's clock, read back and measured again; then the reports.",
        scripts: &[],
    };
    let (alignment, last) = {
        let known = desk.known();
        (known.alignment.clone(), known.last.clone())
    };
    shell(desk, &page, |markup| {
        let Some(alignment) = alignment.filter(|alignment| !alignment.joint_takes.is_empty())
        else {
            markup.leaf(
                "p",
                &[("class", "empty")],
                "There is nothing to build before joint takes are measured.",
            );
            markup.element("p", &[], |markup| {
                markup.leaf("a", &[("href", "/day")], "To the day")
            });
            return;
        };
        let names = paper_names(&alignment);
        let there = there(desk, &names);
        entry(markup, "Build", |markup| {
            open_questions(markup, &alignment);
            how(markup, desk, !there.is_empty());
        });
        if let Some(came) = last.filter(|came| !came.findings.is_empty()) {
            entry(markup, "Findings", |markup| {
                findings(markup, &came.findings)
            });
        }
        entry(markup, "Reports", |markup| {
            papers(markup, desk, &alignment, &there)
        });
    })
}

fn open_questions(markup: &mut Markup, alignment: &Alignment) {
    let open: Vec<_> = alignment
        .joint_takes
        .iter()
        .filter(|joint| joint.members.iter().any(Member::is_open))
        .collect();
    match open.as_slice() {
        [] => markup.leaf(
            "p",
            &[],
            &format!(
                "{} can be built: nothing is left to decide.",
                counted(alignment.joint_takes.len(), "joint take")
            ),
        ),
        open => {
            markup.leaf(
                "p",
                &[("class", "claim")],
                "These are not built before something is decided; the others are:",
            );
            markup.element("ul", &[], |markup| {
                for joint in open {
                    markup.element("li", &[], |markup| {
                        markup.leaf("a", &[("href", &take_address(&joint.name))], &joint.name);
                    });
                }
            });
        }
    }
}

/// What is there of the papers.
fn there<'a>(desk: &Desk, names: &'a [String]) -> Vec<&'a str> {
    let all = names.iter().map(String::as_str);
    all.filter(|name| *name != ALIGNMENT && desk.out.join(name).is_file())
        .collect()
}

fn how(markup: &mut Markup, desk: &Desk, built_before: bool) {
    form(markup, desk, "/do/build", |markup| {
        markup.element("div", &[("class", "fields")], |markup| {
            choice(
                markup,
                "Files",
                "shape",
                &[
                    ("poly", "one file of all channels"),
                    ("per-unit", "one file a unit"),
                    ("mono", "one file a channel"),
                ],
                "poly",
            );
            choice(
                markup,
                "Sample format",
                "format",
                &[
                    ("source", "as the sources"),
                    ("float32", "32-bit float"),
                    ("int24", "24-bit integer"),
                ],
                "source",
            );
            choice(
                markup,
                "From when to when",
                "span",
                &[
                    ("lead", "as long as the lead ran"),
                    ("common", "where all ran"),
                    ("longest", "from the first to the last"),
                ],
                "lead",
            );
            if built_before {
                choice(
                    markup,
                    "What is there already",
                    "replace",
                    &[
                        ("no", "stays; refuse to write over it"),
                        ("yes", "is replaced once the new one is verified"),
                    ],
                    "no",
                );
            }
        });
        submit(markup, "Build");
    });
}

fn papers(markup: &mut Markup, desk: &Desk, alignment: &Alignment, there: &[&str]) {
    if there.is_empty() {
        markup.leaf("p", &[("class", "empty")], "Nothing was built yet.");
        return;
    }
    let link = |markup: &mut Markup, name: &str, words: &str| {
        let href = format!("/out/{}", encoded(name));
        markup.leaf("a", &[("href", &href)], words);
    };
    markup.element("ul", &[("class", "papers")], |markup| {
        for joint in &alignment.joint_takes {
            let name = report_name(&joint.name);
            if there.contains(&name.as_str()) {
                markup.element("li", &[], |markup| {
                    link(markup, &name, &format!("Report on {}", joint.name))
                });
            }
        }
        for (stem, words) in [
            ("sound-report", "Sound report of the day"),
            ("sync-report", "Sync report of the day"),
        ] {
            markup.element("li", &[], |markup| {
                for (place, ending) in ["html", "pdf", "csv", "json"].iter().enumerate() {
                    let name = format!("{stem}.{ending}");
                    if there.contains(&name.as_str()) {
                        markup.words(if place == 0 { "" } else { " · " });
                        let words = if place == 0 {
                            words.to_string()
                        } else {
                            ending.to_uppercase()
                        };
                        link(markup, &name, &words);
                    }
                }
            });
        }
    });
    markup.element("p", &[("class", "small")], |markup| {
        markup.words("The recordings lie beside them in ");
        markup.leaf(
            "span",
            &[("class", "code")],
            &desk.out.display().to_string(),
        );
        markup.words(".");
    });
}
