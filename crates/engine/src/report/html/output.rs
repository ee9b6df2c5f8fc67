//! What was built in, what was found of it afterwards and what is written in it out, for the page.

use super::super::markup::Markup;
use super::super::{Output, say};
use super::tables::table;
use crate::alignment::JointTake;
use crate::units::signed;

/// The lag of every follower behind the lead, measured on the finished files.
pub fn measured_again(page: &mut Markup, output: &Output, joint: &JointTake) {
    if output.residuals.is_empty() {
        page.leaf(
            "p",
            &[],
            "Nothing that two units recorded alike is in the finished recording, so how far they still are apart could \
             not be measured on it; what is known of it stands above.",
        );
        return;
    }
    let rate = say::rate_of(joint).hz();
    page.leaf(
        "p",
        &[],
        "The signal that units have in common was looked for again in the finished files. What it still is apart there \
         is what a listener gets.",
    );
    let headings = [
        "Unit",
        "Place",
        "At",
        "Lag, samples",
        "Lag, µs",
        "Sigma, samples",
    ];
    table(page, "Lag behind the lead", &headings, |page| {
        for found in &output.residuals {
            page.element("tr", &[], |page| {
                page.leaf("th", &[("scope", "row")], &found.unit);
                page.leaf("td", &[], &found.place);
                page.leaf("td", &[], &say::clock_time(found.position / rate));
                page.leaf("td", &[], &signed(found.lag_samples, 5));
                page.leaf("td", &[], &signed(1e6 * found.lag_samples / rate, 4));
                page.leaf("td", &[], &say::three_figures(found.sigma_samples));
            });
        }
    });
}

/// What stands in the files' metadata and by which rule; what all files have alike stands once.
pub fn fields(page: &mut Markup, output: &Output) {
    let mut rows: Vec<(&[String; 3], Vec<&str>)> = Vec::new();
    for file in &output.files {
        for field in &file.fields {
            match rows.iter_mut().find(|(known, _)| *known == field) {
                Some((_, files)) => files.push(&file.path),
                None => rows.push((field, vec![&file.path])),
            }
        }
    }
    // by field, in the order in which the first file has them
    let order = |name: &str| {
        let first = output.files.iter().flat_map(|file| &file.fields);
        first
            .map(|field| field[0].as_str())
            .position(|found| found == name)
    };
    rows.sort_by_key(|(field, _)| order(&field[0]));
    let many = output.files.len() > 1;
    let headings: &[&str] = match many {
        true => &["Field", "Says", "By which rule", "In"],
        false => &["Field", "Says", "By which rule"],
    };
    table(page, "Metadata", headings, |page| {
        for ([name, value, rule], files) in rows {
            page.element("tr", &[], |page| {
                page.leaf("th", &[("scope", "row")], name);
                page.leaf("td", &[], value);
                page.leaf("td", &[], rule);
                if many {
                    let files = match files.len() == output.files.len() {
                        true => "all files".to_string(),
                        false => files.join(", "),
                    };
                    page.leaf("td", &[], &files);
                }
            });
        }
    });
}
