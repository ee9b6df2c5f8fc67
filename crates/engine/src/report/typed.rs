//! A document in, plain text out: lines of at most a hundred characters, tables in columns. Pictures stay out.

use super::document::{Block, Document, Fact, Table};

/// Characters of a line.
const LINE: usize = 100;
/// Spaces between columns.
const APART: usize = 2;
/// A column is never narrower than this, so that words stay whole where they can.
const NARROWEST: usize = 6;

/// The document as text.
#[must_use]
pub fn typed(document: &Document) -> String {
    let mut text = format!("{}\n{}\n\n", document.title, document.kind);
    pairs(&mut text, &document.facts);
    if !document.verdict.is_empty() {
        text.push('\n');
        paragraph(&mut text, &document.verdict);
    }
    for entry in &document.entries {
        let heading = entry.heading.to_uppercase();
        text.push_str(&format!("\n{heading}\n\n"));
        let mut before: Option<&Block> = None;
        for one in &entry.blocks {
            // paragraphs follow each other, and what stands below a heading follows it
            let goes_on = matches!(
                (before, one),
                (None | Some(Block::Heading(_)), _) | (Some(Block::Words(_)), Block::Words(_))
            );
            if !goes_on {
                text.push('\n');
            }
            block(&mut text, one);
            before = Some(one);
        }
    }
    text.push_str(&format!("\n{}\n", document.made_by));
    text
}

fn block(text: &mut String, block: &Block) {
    match block {
        Block::Words(words) | Block::Claim(words) => paragraph(text, words),
        Block::Heading(words) => text.push_str(&format!("{words}\n")),
        Block::Facts(own) => pairs(text, own),
        Block::Table(own) => table(text, own),
        Block::Picture(_, caption) => paragraph(text, caption),
    }
}

fn pairs(text: &mut String, own: &[Fact]) {
    let own: Vec<&Fact> = own.iter().filter(|(_, value)| !value.is_empty()).collect();
    let wide = own.iter().map(|(name, _)| width(name)).max().unwrap_or(0);
    for (name, value) in own {
        let lines = wrapped(value, LINE - wide - APART);
        row(text, &[vec![(*name).to_string()], lines], &[wide, LINE]);
    }
}

fn paragraph(text: &mut String, words: &str) {
    for line in wrapped(words, LINE) {
        text.push_str(&line);
        text.push('\n');
    }
}

fn table(text: &mut String, table: &Table) {
    paragraph(text, &format!("{}:", table.caption.trim_end_matches(':')));
    let columns = table.headings.len();
    let mut widths: Vec<usize> = table.headings.iter().map(|name| width(name)).collect();
    for row in &table.rows {
        for (column, cell) in row.iter().enumerate().take(columns) {
            widths[column] = widths[column].max(width(&cell.text));
        }
    }
    fit(&mut widths);
    let headings = table.headings.iter().map(|name| (*name).to_string());
    let rows = table.rows.iter().map(|row| {
        let cells = row.iter().map(|cell| cell.text.clone());
        cells.collect::<Vec<String>>()
    });
    for cells in std::iter::once(headings.collect()).chain(rows) {
        let cells: Vec<Vec<String>> = (cells.iter().zip(&widths))
            .map(|(cell, width)| wrapped(cell, *width))
            .collect();
        text.push_str("  ");
        row(text, &cells, &widths);
    }
}

/// Takes from the widest columns until a line holds all.
fn fit(widths: &mut [usize]) {
    let room = LINE.saturating_sub(APART * (widths.len() + 1));
    while widths.iter().sum::<usize>() > room {
        let Some(widest) = widths.iter_mut().max() else {
            return;
        };
        if *widest <= NARROWEST {
            return;
        }
        *widest -= 1;
    }
}

/// Cells beside each other, each of several lines.
fn row(text: &mut String, cells: &[Vec<String>], widths: &[usize]) {
    let high = cells.iter().map(Vec::len).max().unwrap_or(0).max(1);
    // what stands before the first line stands before all of them
    let begun = text.len() - text.rfind('\n').map_or(0, |at| at + 1);
    for line in 0..high {
        let mut whole = String::new();
        for (cell, width) in cells.iter().zip(widths) {
            let own = cell.get(line).map_or("", String::as_str);
            let fill = width.saturating_sub(self::width(own)) + APART;
            whole.push_str(own);
            whole.push_str(&" ".repeat(fill.min(LINE)));
        }
        if line > 0 {
            text.push_str(&" ".repeat(begun));
        }
        text.push_str(whole.trim_end());
        text.push('\n');
    }
}

fn width(text: &str) -> usize {
    text.chars().count()
}

/// The words in lines of at most so many characters; a longer word has a line of its own.
fn wrapped(text: &str, most: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        let Some(last) = lines.last_mut() else {
            continue;
        };
        match last.is_empty() {
            true => last.push_str(word),
            false if width(last) + 1 + width(word) <= most => {
                last.push(' ');
                last.push_str(word);
            }
            false => lines.push(word.to_string()),
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::document::Entry;

    #[test]
    fn no_word_is_lost_and_no_line_is_long() {
        let long = "one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen";
        let table = Table {
            caption: "A table".into(),
            headings: vec!["First", "Second", "Third"],
            rows: vec![vec![long.into(), "short".into(), long.into()]],
        };
        let document = Document {
            kind: "A kind".into(),
            title: "A title".into(),
            made_by: "made by".into(),
            facts: vec![("Name", long.into()), ("Empty", String::new())],
            verdict: String::new(),
            entries: vec![Entry::new(
                "Part",
                vec![Block::Table(table), Block::Words(long.into())],
            )],
            broad: false,
        };
        let text = typed(&document);
        assert!(text.lines().all(|line| width(line) <= LINE), "{text}");
        for word in long.split(' ') {
            let found = text.split_whitespace().filter(|own| *own == word).count();
            assert_eq!(found, 4, "{word} in\n{text}");
        }
        assert!(!text.contains("Empty"));
        let columns = text
            .lines()
            .find(|line| line.contains("First"))
            .expect("headings");
        let second = columns.find("Second").expect("a heading");
        let beside = text
            .lines()
            .find(|line| line.contains("short"))
            .expect("a row");
        assert_eq!(beside.find("short"), Some(second), "{text}");
    }
}
