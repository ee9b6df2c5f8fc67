//! A document in, a page for the screen out, in the style of all pages.

use super::document::{Block, Cell, Document, Entry, Fact, Table};
use super::html::{entry, facts, figure, page_of, sheet_entry, table};
use super::markup::Markup;

/// The document as a page.
#[must_use]
pub fn screen(document: &Document) -> String {
    page_of(&document.title, &document.made_by, |page| {
        page.element("header", &[("class", "entry")], |page| {
            page.leaf("p", &[("class", "kind")], &document.kind);
            page.leaf("h1", &[], &document.title);
            pairs(page, &document.facts);
            if !document.verdict.is_empty() {
                page.leaf("p", &[("class", "verdict")], &document.verdict);
            }
        });
        page.element("main", &[], |page| {
            for part in &document.entries {
                section(page, part);
            }
        });
    })
}

/// The parts of a document that are not handed out by themselves, as sections of another page.
pub fn sections(page: &mut Markup, document: &Document) {
    let parts = document.entries.iter();
    for part in parts.filter(|part| !part.own_sheet) {
        section(page, part);
    }
}

fn section(page: &mut Markup, part: &Entry) {
    let inside = |page: &mut Markup| part.blocks.iter().for_each(|one| block(page, one));
    match part.own_sheet {
        true => sheet_entry(page, &part.heading, inside),
        false => entry(page, &part.heading, inside),
    }
}
fn block(page: &mut Markup, block: &Block) {
    match block {
        Block::Words(text) => page.leaf("p", &[], text),
        Block::Claim(text) => page.leaf("p", &[("class", "claim")], text),
        Block::Heading(text) => page.leaf("h3", &[], text),
        Block::Facts(own) => pairs(page, own),
        Block::Table(own) => rows(page, own),
        Block::Picture(drawing, caption) => {
            figure(page, drawing, |page| page.words(caption));
        }
    }
}

fn pairs(page: &mut Markup, own: &[Fact]) {
    let pairs: Vec<(&str, &str)> = own
        .iter()
        .map(|(name, value)| (*name, value.as_str()))
        .collect();
    facts(page, &pairs);
}

fn rows(page: &mut Markup, own: &Table) {
    table(page, &own.caption, &own.headings, |page| {
        for row in &own.rows {
            page.element("tr", &[], |page| {
                for (place, one) in row.iter().enumerate() {
                    cell(page, one, place == 0);
                }
            });
        }
    });
}

fn cell(page: &mut Markup, cell: &Cell, first: bool) {
    let mut attributes = Vec::new();
    if first {
        attributes.push(("scope", "row"));
    }
    if cell.code {
        attributes.push(("class", "code"));
    }
    let name = if first { "th" } else { "td" };
    page.element(name, &attributes, |page| match &cell.href {
        Some(href) => page.leaf("a", &[("href", href)], &cell.text),
        None => page.words(&cell.text),
    });
}
