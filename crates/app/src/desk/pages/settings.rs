//! The units' settings side by side, before anything is measured.

use std::sync::Arc;

use axum::extract::State;
use axum::response::Response;
use engine::report::{Settings, settings_part};

use super::{Page, entry, findings, shell};
use crate::desk::server::answer;
use crate::desk::state::Desk;

/// The page.
pub async fn page(State(desk): State<Arc<Desk>>) -> Response {
    answer(desk.refresh().map(|()| text(&desk)))
}

fn text(desk: &Desk) -> String {
    let page = Page {
        address: "/settings",
        title: "Settings side by side",
        purpose: "What the units wrote about themselves. What differs is marked and said in words.",
        scripts: &[],
    };
    let found = desk.known().found.clone();
    shell(desk, &page, |markup| {
        let Some(found) = found.filter(|found| !found.survey.units.is_empty()) else {
            markup.leaf(
                "p",
                &[("class", "empty")],
                "There is nothing to compare before two cards lie on the desk.",
            );
            markup.element("p", &[], |markup| {
                markup.leaf("a", &[("href", "/")], "To the cards")
            });
            return;
        };
        let units: Vec<String> = found
            .survey
            .units
            .iter()
            .map(|unit| unit.name.clone())
            .collect();
        entry(markup, "Units", |markup| {
            let settings = Settings {
                units: &units,
                rows: &found.settings,
            };
            markup.raw(&settings_part(settings, ""));
        });
        entry(markup, "Findings", |markup| {
            findings(markup, &found.findings)
        });
        markup.element("p", &[("class", "next")], |markup| {
            markup.leaf("a", &[("href", "/day")], "Next: the day");
        });
    })
}
