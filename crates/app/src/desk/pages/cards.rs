//! Which cards lie on the desk, where others may be, and what is on them.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use axum::extract::{Query, State};
use axum::response::Response;
use engine::media;
use engine::report::length_of_time;
use engine::units::counted;
use serde::Deserialize;

use super::{Page, encoded, entry, field, findings, form, hidden, shell, submit};
use crate::desk::places::{Place, folders, home, mounted};
use crate::desk::server::answer;
use crate::desk::state::{Desk, Found};

/// Which folder is browsed.
#[derive(Deserialize)]
pub struct Browse {
    #[serde(default)]
    folder: String,
}

/// The page.
pub async fn page(State(desk): State<Arc<Desk>>, Query(browse): Query<Browse>) -> Response {
    answer(desk.refresh().map(|()| text(&desk, &browse)))
}

fn text(desk: &Desk, browse: &Browse) -> String {
    let page = Page {
        address: "/",
        title: "Cards",
        purpose: "Put the card of every unit on the desk: one folder a unit. Cards are read and never written.",
        scripts: &[],
    };
    let (cards, found) = {
        let known = desk.known();
        (known.cards.clone(), known.found.clone())
    };
    shell(desk, &page, |markup| {
        entry(markup, "On the desk", |markup| {
            if cards.is_empty() {
                markup.leaf(
                    "p",
                    &[("class", "empty")],
                    "No card yet. Choose one below, or type its folder.",
                );
            }
            markup.element("ul", &[("class", "cards")], |markup| {
                for card in &cards {
                    let shown = card.display().to_string();
                    markup.element("li", &[], |markup| {
                        markup.leaf("span", &[("class", "code")], &shown);
                        markup.leaf(
                            "span",
                            &[("class", "state")],
                            &units_on(card, found.as_ref()),
                        );
                        form(markup, desk, "/do/cards", |markup| {
                            hidden(markup, "remove", &shown);
                            let label = format!("Take off: {shown}");
                            markup.leaf(
                                "button",
                                &[("type", "submit"), ("aria-label", &label)],
                                "Take off",
                            );
                        });
                    });
                }
            });
            if cards.len() == 1
                && found
                    .as_ref()
                    .is_some_and(|found| found.survey.units.len() < 2)
            {
                markup.leaf(
                    "p",
                    &[],
                    "One unit alone has nothing to be joined with: the next card is wanted.",
                );
            }
            if let Some(found) = &found {
                takes(markup, found);
            }
        });
        entry(markup, "Choose a card", |markup| {
            choose(markup, desk, browse, &cards)
        });
        if let Some(found) = found.filter(|found| !found.findings.is_empty()) {
            entry(markup, "Findings", |markup| {
                findings(markup, &found.findings)
            });
        }
        if cards.len() > 1 {
            markup.element("p", &[("class", "next")], |markup| {
                markup.leaf("a", &[("href", "/settings")], "Next: settings side by side");
            });
        }
    })
}

fn units_on(card: &Path, found: Option<&Found>) -> String {
    let units = found.iter().flat_map(|found| &found.survey.units);
    let of_card = units.filter(|unit| {
        unit.cards
            .iter()
            .any(|own| own == card || media::is_inside(card, own))
    });
    let told: Vec<String> = of_card
        .map(|unit| format!("{}, {}", unit.name, counted(unit.takes.len(), "take")))
        .collect();
    match told.is_empty() {
        true => "no takes".into(),
        false => told.join("; "),
    }
}

fn takes(markup: &mut engine::report::Markup, found: &Found) {
    markup.element(
        "div",
        &[
            ("class", "scroll"),
            ("tabindex", "0"),
            ("role", "region"),
            ("aria-label", "Takes"),
        ],
        |markup| {
            markup.element("table", &[], |markup| {
                markup.leaf("caption", &[], "What is on them");
                markup.element("thead", &[], |markup| {
                    markup.element("tr", &[], |markup| {
                        for heading in ["Unit", "Take", "Start", "Length", "Channels", "Samples"] {
                            markup.leaf("th", &[("scope", "col")], heading);
                        }
                    });
                });
                markup.element("tbody", &[], |markup| {
                    for take in found.survey.units.iter().flat_map(|unit| &unit.takes) {
                        let seconds = take.length.seconds(take.rate);
                        let kind = if take.float { "float" } else { "integer" };
                        markup.element("tr", &[], |markup| {
                            markup.leaf("th", &[("scope", "row")], &take.unit);
                            markup.leaf("td", &[], &take.name);
                            markup.leaf("td", &[("class", "num")], &take.label());
                            markup.leaf("td", &[("class", "num")], &length_of_time(seconds));
                            markup.leaf(
                                "td",
                                &[("class", "num")],
                                &take.channels.len().to_string(),
                            );
                            markup.leaf(
                                "td",
                                &[],
                                &format!("{}, {}-bit {kind}", take.rate, take.bits),
                            );
                        });
                    }
                });
            });
        },
    );
}

fn choose(markup: &mut engine::report::Markup, desk: &Desk, browse: &Browse, cards: &[PathBuf]) {
    let media = mounted();
    markup.leaf("h3", &[], "Media that are mounted");
    match media.is_empty() {
        true => markup.leaf("p", &[("class", "empty")], "None is."),
        false => list(markup, desk, &media, cards),
    }
    let folder = match browse.folder.is_empty() {
        true => home(),
        false => PathBuf::from(&browse.folder),
    };
    markup.leaf("h3", &[], "Folders");
    markup.element("p", &[], |markup| {
        markup.words("In ");
        markup.leaf("span", &[("class", "code")], &folder.display().to_string());
        if let Some(above) = folder.parent() {
            markup.words(" · ");
            markup.leaf("a", &[("href", &address(above))], "the folder above");
        }
    });
    let inside = folders(&folder);
    match inside.is_empty() {
        true => markup.leaf(
            "p",
            &[("class", "empty")],
            "There are no folders in it that can be seen.",
        ),
        false => list(markup, desk, &inside, cards),
    }
    markup.leaf("h3", &[], "By its path");
    form(markup, desk, "/do/cards", |markup| {
        field(
            markup,
            "Folder of a card",
            "add",
            "",
            &[("placeholder", "/media/…")],
        );
        submit(markup, "Put on the desk");
    });
}

fn address(folder: &Path) -> String {
    format!("/?folder={}", encoded(&folder.display().to_string()))
}

fn list(markup: &mut engine::report::Markup, desk: &Desk, places: &[Place], cards: &[PathBuf]) {
    markup.element("ul", &[("class", "places")], |markup| {
        for place in places {
            markup.element("li", &[], |markup| {
                markup.leaf("a", &[("href", &address(&place.path))], &place.name);
                if cards.contains(&place.path) {
                    markup.leaf("span", &[("class", "state")], "on the desk");
                    return;
                }
                form(markup, desk, "/do/cards", |markup| {
                    hidden(markup, "add", &place.path.display().to_string());
                    let label = format!("Put on the desk: {}", place.name);
                    markup.leaf(
                        "button",
                        &[("type", "submit"), ("aria-label", &label)],
                        "Put on the desk",
                    );
                });
            });
        }
    });
}
