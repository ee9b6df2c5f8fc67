//! The first roll after linking: whether the units are ready for the day.

use std::sync::Arc;

use axum::extract::State;
use axum::response::Response;
use engine::first_roll::{FirstRoll, Ready};
use engine::report::Markup;

use super::{Page, entry, findings, form, shell, submit};
use crate::desk::server::answer;
use crate::desk::state::Desk;

/// The page.
pub async fn page(State(desk): State<Arc<Desk>>) -> Response {
    answer(desk.refresh().map(|()| text(&desk)))
}

fn text(desk: &Desk) -> String {
    let page = Page {
        address: "/first-roll",
        title: "First roll",
        purpose: "Before the day: link the units, let them lock, record 15 to 60 s on all of them, and have it judged.",
        scripts: &[],
    };
    let (units, roll) = {
        let known = desk.known();
        let units = known
            .found
            .as_ref()
            .map_or(0, |found| found.survey.units.len());
        (units, known.roll.clone())
    };
    shell(desk, &page, |markup| {
        entry(markup, "Judge", |markup| judge(markup, desk, units));
        if let Some(roll) = &roll {
            entry(markup, "Verdict", |markup| verdict(markup, roll));
            entry(markup, "Findings", |markup| {
                findings(markup, &roll.findings)
            });
        }
    })
}

fn judge(markup: &mut Markup, desk: &Desk, units: usize) {
    if units < 2 {
        markup.element("p", &[("class", "empty")], |markup| {
            markup.words("The cards of two or more units are wanted for that. ");
            markup.leaf("a", &[("href", "/")], "To the cards");
        });
        return;
    }
    markup.leaf(
        "p",
        &[],
        "The last take of every unit on the desk is judged. Make the sound of the day during the roll, and record the common \
         signal if there will be one.",
    );
    form(markup, desk, "/do/first-roll", |markup| {
        submit(markup, "Judge the roll")
    });
}

/// A sign beside the word, so that the verdict is seen without colour.
fn sign(ready: Ready) -> &'static str {
    match ready {
        Ready::Not => "■",
        Ready::Ambience => "△",
        Ready::Stereo | Ready::Arrays => "✓",
    }
}

fn verdict(markup: &mut Markup, roll: &FirstRoll) {
    let words = format!("{} {}.", sign(roll.ready), roll.verdict);
    markup.leaf("p", &[("class", "claim")], &words);
    markup.element("ul", &[("class", "story")], |markup| {
        for line in roll.story() {
            markup.leaf("li", &[], &line);
        }
    });
}
