//! A joint take, a day, findings or settings in, single parts of their pages out, for pages that show more than a report. In
//! the style of [`STYLE`](super::STYLE).

use super::{ReportInput, Role, all_findings, figure, follower, gravest_first, tables};
use crate::alignment::Alignment;
use crate::finding::Finding;
use crate::report::document::Block;
use crate::report::markup::Markup;
use crate::report::{Settings, SoundReport};

/// A part of a page as markup.
fn part(write: impl FnOnce(&mut Markup)) -> String {
    let mut page = Markup::default();
    write(&mut page);
    page.finish()
}

/// Findings, gravest first, each with the unit it concerns.
#[must_use]
pub fn findings_part(findings: &[(&str, &Finding)]) -> String {
    part(|page| gravest_first(page, findings))
}

/// Everything there is to find in a joint take.
#[must_use]
pub fn take_findings_part(input: &ReportInput<'_>) -> String {
    part(|page| all_findings(page, input))
}

/// The units' settings side by side; of a joint take with its lead marked.
#[must_use]
pub fn settings_part(settings: Settings<'_>, lead: &str) -> String {
    part(|page| tables::settings(page, settings, lead))
}

/// What each unit covers of a joint take.
#[must_use]
pub fn coverage_part(input: &ReportInput<'_>) -> String {
    part(|page| tables::coverage(page, input.joint_take))
}

/// Claim, figures, lag and meaning of every follower, each with its unit.
#[must_use]
pub fn follower_parts(input: &ReportInput<'_>) -> Vec<(String, String)> {
    let members = input.joint_take.members.iter().enumerate();
    members
        .filter(|(_, member)| member.role == Role::Follower)
        .map(|(number, member)| {
            let markup = part(|page| follower::follower(page, input, number));
            (member.unit.clone(), markup)
        })
        .collect()
}

/// The map of every day on which anything has a time.
#[must_use]
pub fn day_map_part(alignment: &Alignment) -> String {
    let nothing: Vec<_> = alignment.joint_takes.iter().map(|_| None).collect();
    let blocks = SoundReport::of(alignment, &nothing).day_maps();
    part(|page| {
        for block in &blocks {
            match block {
                Block::Picture(drawing, caption) => {
                    figure(page, drawing, |page| page.words(caption));
                }
                Block::Heading(text) => page.leaf("h3", &[], text),
                Block::Words(text) => page.leaf("p", &[], text),
                _ => {}
            }
        }
    })
}
