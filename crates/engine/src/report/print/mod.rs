//! A document in, a PDF out: A4, text that can be selected and searched, figures as curves, pages numbered. The same
//! document gives the same bytes. Layout is ours, files are written by krilla (docs/decisions/print.md).

mod face;
mod flow;
mod table;
mod draw;
#[cfg(test)]
mod tests;

pub use face::Faces;

use super::document::{Block, Document, Fact};
use crate::error::Result;
use flow::{Flow, Ink, Sheet, Style};

/// Sizes of text, points.
const TITLE: Style = Style::new(17.0).bold();
const HEADING: Style = Style::new(11.0).bold();
const SMALL_HEADING: Style = Style::new(9.0).bold();
const BODY: Style = Style::new(9.0);
const VERDICT: Style = Style::new(10.5);
const SMALL: Style = Style::new(8.0);

/// How wide the names of facts stand, points.
const NAMES: f32 = 86.0;
/// How much of a part must fit below its heading, points.
const KEEP: f32 = 60.0;

/// The document as a PDF file's bytes. For characters that no face has a stand-in is drawn; they are named at the end.
///
/// # Errors
/// When the library refuses, which a sound document gives no reason for.
pub fn print(document: &Document, faces: &Faces) -> Result<Vec<u8>> {
    let sheet = match document.broad {
        true => Sheet::BROAD,
        false => Sheet::TALL,
    };
    let mut flow = Flow::new(faces, sheet);
    head(&mut flow, document);
    let mut own_sheet = false;
    for entry in &document.entries {
        if own_sheet || entry.own_sheet {
            flow.page();
        }
        own_sheet = entry.own_sheet;
        flow.part(KEEP);
        flow.words(&entry.heading, HEADING, Ink::Text);
        flow.space(3.0);
        entry.blocks.iter().for_each(|one| block(&mut flow, one));
    }
    if let Some(missing) = flow.missing() {
        flow.space(8.0);
        flow.words(&missing, SMALL, Ink::Soft);
    }
    draw::draw(flow.finish(), document, faces, sheet)
}

fn head(flow: &mut Flow<'_>, document: &Document) {
    flow.words(&document.kind, BODY, Ink::Soft);
    flow.words(&document.title, TITLE, Ink::Text);
    flow.space(4.0);
    facts(flow, &document.facts);
    if !document.verdict.is_empty() {
        flow.space(4.0);
        flow.words(&document.verdict, VERDICT, Ink::Text);
    }
}

fn block(flow: &mut Flow<'_>, block: &Block) {
    match block {
        Block::Words(text) => flow.words(text, BODY, Ink::Text),
        Block::Claim(text) => flow.barred(text, VERDICT),
        Block::Heading(text) => {
            flow.space(5.0);
            flow.keep(KEEP);
            flow.words(text, SMALL_HEADING, Ink::Text);
        }
        Block::Facts(own) => facts(flow, own),
        Block::Table(own) => table::table(flow, own),
        Block::Picture(drawing, caption) => {
            flow.picture(drawing);
            flow.words(caption, SMALL, Ink::Soft);
        }
    }
    flow.space(4.0);
}

fn facts(flow: &mut Flow<'_>, facts: &[Fact]) {
    for (name, value) in facts.iter().filter(|(_, value)| !value.is_empty()) {
        flow.named(name, value, BODY, NAMES);
    }
}
