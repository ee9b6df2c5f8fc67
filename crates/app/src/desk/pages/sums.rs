//! Timecode arithmetic: what `commontime timecode` works out, as a page.

use std::sync::Arc;

use axum::extract::{Query, State};
use axum::response::Response;
use engine::report::Markup;
use serde::Deserialize;

use super::{Page, choice, entry, field, shell, submit};
use crate::cli::args::TimecodeArgs;
use crate::cli::timecode::{Said, said};
use crate::desk::server::answer;
use crate::desk::state::Desk;

/// What is asked.
#[derive(Deserialize)]
pub struct Sum {
    #[serde(default)]
    sum: String,
    #[serde(default)]
    rate: String,
    #[serde(default)]
    sample_rate: String,
}

/// The page.
pub async fn page(State(desk): State<Arc<Desk>>, Query(sum): Query<Sum>) -> Response {
    answer(Ok(text(&desk, &sum)))
}

const RATES: [(&str, &str); 8] = [
    ("", "as the label is written"),
    ("23.976", "23.976"),
    ("24", "24"),
    ("25", "25"),
    ("29.97nd", "29.97 non-drop"),
    ("29.97df", "29.97 drop-frame"),
    ("30", "30"),
    ("50", "50"),
];

fn text(desk: &Desk, sum: &Sum) -> String {
    let page = Page {
        address: "/sums",
        title: "Timecode sums",
        purpose: "A label, samples, seconds, a sum of them or a clock in ppm: the same instant in every way of counting.",
        scripts: &[],
    };
    shell(desk, &page, |markup| {
        entry(markup, "Ask", |markup| {
            markup.element(
                "form",
                &[("method", "get"), ("action", "/sums")],
                |markup| {
                    markup.element("div", &[("class", "fields")], |markup| {
                        field(
                            markup,
                            "Sum",
                            "sum",
                            &sum.sum,
                            &[("placeholder", "10:00:00:00 + 90s"), ("size", "28")],
                        );
                        choice(markup, "Labels are counted at", "rate", &RATES, &sum.rate);
                        let rate = if sum.sample_rate.is_empty() {
                            "48000"
                        } else {
                            &sum.sample_rate
                        };
                        field(
                            markup,
                            "Samples a second",
                            "sample_rate",
                            rate,
                            &[("inputmode", "numeric"), ("size", "8")],
                        );
                    });
                    submit(markup, "Work it out");
                },
            );
            markup.leaf(
                "p",
                &[("class", "small")],
                "For example 01:00:00;02, 172800000 samples, 10:00:00:00 - 09:59:30:00, or 4.2 ppm.",
            );
        });
        if !sum.sum.trim().is_empty() {
            entry(markup, "Answer", |markup| found(markup, sum));
        }
    })
}

fn found(markup: &mut Markup, sum: &Sum) {
    let sample_rate = sum.sample_rate.trim().parse().unwrap_or(48_000);
    let args = TimecodeArgs {
        sum: sum.sum.split_whitespace().map(str::to_owned).collect(),
        rate: Some(sum.rate.clone()).filter(|rate| !rate.is_empty()),
        sample_rate,
    };
    let said: Vec<Said> = match said(&args) {
        Ok(said) => said,
        Err(error) => {
            markup.leaf(
                "p",
                &[("class", "claim"), ("role", "alert")],
                &format!("{error:#}"),
            );
            return;
        }
    };
    for part in said {
        match part {
            Said::Words(words) => markup.leaf("p", &[], &words),
            Said::Table(headings, rows) => markup.element(
                "div",
                &[
                    ("class", "scroll"),
                    ("tabindex", "0"),
                    ("role", "region"),
                    ("aria-label", &headings[0]),
                ],
                |markup| {
                    markup.element("table", &[("class", "short")], |markup| {
                        markup.element("thead", &[], |markup| {
                            markup.element("tr", &[], |markup| {
                                for (place, heading) in headings.iter().enumerate() {
                                    let class = if place == 0 { "" } else { "num" };
                                    markup.leaf(
                                        "th",
                                        &[("scope", "col"), ("class", class)],
                                        heading,
                                    );
                                }
                            });
                        });
                        markup.element("tbody", &[], |markup| {
                            for row in &rows {
                                markup.element("tr", &[], |markup| {
                                    for (place, cell) in row.iter().enumerate() {
                                        match place {
                                            0 => markup.leaf("th", &[("scope", "row")], cell),
                                            _ => markup.leaf("td", &[("class", "num")], cell),
                                        }
                                    }
                                });
                            }
                        });
                    });
                },
            ),
        }
    }
}
