//! Before the shoot: the session file as text to write in, and all that follows from it. It is kept in the folder as the file
//! that `commontime prep` takes.

use std::path::PathBuf;
use std::sync::Arc;

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Redirect, Response};
use engine::deliver::{SESSION_PAPERS, session_papers};
use engine::first_roll::Ready;
use engine::history::History;
use engine::output::{Replace, write_text};
use engine::prep::{EXAMPLE, Prep, prepare};
use engine::report::{Markup, sections};
use engine::session::Session;
use engine::units::capital;
use serde::Deserialize;

use super::{Page, entry, form, shell, submit};
use crate::cli::day::{faces_of, history_of, text_of};
use crate::desk::forms::Checked;
use crate::desk::server::answer;
use crate::desk::state::Desk;

/// The session file in the desk's folder.
const SESSION: &str = "session.toml";
/// The clock history beside it, where there is one.
const HISTORY: &str = "clock-history.toml";

/// Where the session file is.
pub fn kept(desk: &Desk) -> PathBuf {
    desk.out.join(SESSION)
}

/// Whether a session was planned.
pub fn is_kept(desk: &Desk) -> bool {
    kept(desk).is_file()
}

/// The page.
pub async fn page(State(desk): State<Arc<Desk>>) -> Response {
    let kept = match is_kept(&desk) {
        true => text_of(&kept(&desk)).map(Some),
        false => Ok(None),
    };
    answer(kept.map(|kept| {
        let shown = kept.as_deref().unwrap_or(EXAMPLE);
        let prep = kept.as_deref().map(|text| worked_out(&desk, text));
        text(&desk, shown, prep)
    }))
}

/// What is written.
#[derive(Deserialize)]
pub struct SessionForm {
    #[serde(default)]
    session: String,
}

/// Keeps what makes sense, with its sheets; gives back what does not, with what is wrong.
pub async fn keep(State(desk): State<Arc<Desk>>, Checked(form): Checked<SessionForm>) -> Response {
    // forms end lines as HTML has it (WHATWG HTML, 4.10.22.4)
    let written = form.session.replace("\r\n", "\n");
    let done = worked_out(&desk, &written).and_then(|prep| {
        write_text(&kept(&desk), &written, Replace::Yes)?;
        for paper in session_papers(&prep, &faces_of(&[])?)? {
            paper.write(&desk.out, Replace::Yes)?;
        }
        Ok(())
    });
    match done {
        Ok(()) => Redirect::to("/prep").into_response(),
        Err(error) => {
            let page = text(&desk, &written, Some(Err(error)));
            (StatusCode::BAD_REQUEST, Html(page)).into_response()
        }
    }
}

fn worked_out(desk: &Desk, text: &str) -> engine::Result<Prep> {
    let history = desk.out.join(HISTORY);
    let history = match history.is_file() {
        true => history_of(&history)?,
        false => History::default(),
    };
    prepare(&Session::from_toml(text)?, &history)
}

fn text(desk: &Desk, written: &str, prep: Option<engine::Result<Prep>>) -> String {
    let page = Page {
        address: "/prep",
        title: "Before the shoot",
        purpose: "Write down units, sources and groups; read which source goes into which input, what will be provable, and print \
                  a sheet for each unit.",
        scripts: &[],
    };
    shell(desk, &page, |markup| {
        match &prep {
            Some(Ok(prep)) => entry(markup, "Verdict", |markup| verdict(markup, desk, prep)),
            Some(Err(error)) => entry(markup, "Not kept", |markup| {
                let words = format!("{error}");
                markup.leaf("p", &[("class", "claim"), ("role", "alert")], &words);
            }),
            None => {}
        }
        entry(markup, "Session file", |markup| {
            let words = match &prep {
                None => {
                    "Nothing is planned in this folder yet. Below stands an example with every field explained: change it to your own."
                }
                Some(_) => {
                    "Lines that begin with # are for people alone. The same file goes with commontime prep and commontime join --session; \
                            what is built here is judged by its groups."
                }
            };
            markup.leaf("p", &[], words);
            form(markup, desk, "/do/prep", |markup| {
                markup.element("label", &[("class", "whole")], |markup| {
                    markup.leaf("span", &[], "The session, as text");
                    let attributes = [
                        ("name", "session"),
                        ("spellcheck", "false"),
                        ("autocomplete", "off"),
                    ];
                    // a first line break is not shown (WHATWG HTML, 13.1.2.5)
                    markup.leaf("textarea", &attributes, &format!("\n{written}"));
                });
                submit(markup, "Keep it and work it out");
            });
        });
        if let Some(Ok(prep)) = &prep {
            sections(markup, &prep.document());
        }
    })
}

fn verdict(markup: &mut Markup, desk: &Desk, prep: &Prep) {
    let sign = match prep.ready {
        _ if prep.verdict.starts_with("not ready") => "■",
        Ready::Not => "■",
        Ready::Ambience => "△",
        Ready::Stereo | Ready::Arrays => "✓",
    };
    let words = format!("{sign} {}.", capital(&prep.verdict));
    markup.leaf("p", &[("class", "claim")], &words);
    markup.leaf(
        "p",
        &[],
        "To print, one sheet a unit, with the steps of linking and a brief for whoever receives the files:",
    );
    markup.element("ul", &[("class", "papers")], |markup| {
        let there = |name: &&str| desk.out.join(name).is_file();
        for name in SESSION_PAPERS.into_iter().filter(there) {
            markup.element("li", &[], |markup| {
                markup.leaf("a", &[("href", &format!("/out/{name}"))], name);
            });
        }
    });
}
