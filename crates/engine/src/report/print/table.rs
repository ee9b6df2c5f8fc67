//! A table in, rows on pages out: columns as wide as their texts ask for, headings again on every page.

use super::super::document::{Cell, Table};
use super::flow::{Flow, Ink, Mark, Sheet, Style};
use super::{SMALL, SMALL_HEADING};

/// Between columns, points.
const GAP: f32 = 9.0;
/// Above and below a row's text, points.
const PAD: f32 = 2.0;
/// The widest that a word makes its column; longer ones are broken, points.
const WORD: f32 = 110.0;
/// A name for machines may be broken into pieces as narrow as this, points.
const CODE: f32 = 70.0;
/// Text of cells, and of names for machines.
const CELL: Style = SMALL;
const CODE_CELL: Style = Style::new(7.0);

/// The table, below what is there.
pub fn table(flow: &mut Flow<'_>, table: &Table) {
    let widths = widths(flow, table);
    let headings: Vec<Vec<String>> = table
        .headings
        .iter()
        .zip(&widths)
        .map(|(heading, width)| flow.lines(heading, CELL.bold(), *width))
        .collect();
    flow.keep(5.0 * CELL.line());
    if !table.caption.is_empty() {
        flow.words(&table.caption, SMALL_HEADING, Ink::Text);
    }
    head(flow, &headings, &widths);
    for row in &table.rows {
        let styles: Vec<Style> = row.iter().map(style_of).collect();
        let cells: Vec<Vec<String>> = row
            .iter()
            .zip(&widths)
            .zip(&styles)
            .map(|((cell, width), style)| flow.lines(&cell.text, *style, *width))
            .collect();
        let lines = cells.iter().map(Vec::len).max().unwrap_or(0);
        let height = lines as f32 * CELL.line() + 2.0 * PAD;
        let head_height = height_of(&headings);
        if flow.left() < height && height + head_height < flow.whole() {
            flow.keep(f32::INFINITY);
            head(flow, &headings, &widths);
        }
        // a row that no page holds goes on over several
        let mut from = 0;
        while from < lines {
            let fit = ((flow.left() - 2.0 * PAD) / CELL.line()).floor().max(0.0) as usize;
            if fit == 0 {
                flow.keep(f32::INFINITY);
                head(flow, &headings, &widths);
                continue;
            }
            let until = (from + fit).min(lines);
            row_of(flow, &cells, &styles, &widths, from..until);
            from = until;
        }
        flow.rule(0.3, Ink::Rule, whole(&widths));
    }
}

fn style_of(cell: &Cell) -> Style {
    if cell.code { CODE_CELL } else { CELL }
}

fn height_of(headings: &[Vec<String>]) -> f32 {
    let lines = headings.iter().map(Vec::len).max().unwrap_or(0);
    lines as f32 * CELL.line() + 2.0 * PAD
}

fn head(flow: &mut Flow<'_>, headings: &[Vec<String>], widths: &[f32]) {
    let styles = vec![CELL.bold(); headings.len()];
    let lines = headings.iter().map(Vec::len).max().unwrap_or(0);
    row_of(flow, headings, &styles, widths, 0..lines);
    flow.rule(0.6, Ink::Text, whole(widths));
}

/// From the first column's left to the last one's right.
fn whole(widths: &[f32]) -> f32 {
    widths.iter().sum::<f32>() + GAP * widths.len().saturating_sub(1) as f32
}

fn row_of(
    flow: &mut Flow<'_>,
    cells: &[Vec<String>],
    styles: &[Style],
    widths: &[f32],
    lines: std::ops::Range<usize>,
) {
    let mut x = Sheet::MARGIN;
    for ((cell, style), width) in cells.iter().zip(styles).zip(widths) {
        let shown = cell.iter().skip(lines.start).take(lines.len());
        for (number, text) in shown.enumerate() {
            let y = flow.y() + PAD + number as f32 * CELL.line() + CELL.ascent();
            flow.push(Mark::Words {
                x,
                y,
                style: *style,
                ink: Ink::Text,
                text: text.clone(),
            });
        }
        x += width + GAP;
    }
    flow.advance(lines.len() as f32 * CELL.line() + 2.0 * PAD);
}

/// How wide each column is: as its longest text where all fit, else between that and its longest word.
fn widths(flow: &Flow<'_>, table: &Table) -> Vec<f32> {
    let columns = table.headings.len();
    let room = flow.across() - GAP * columns.saturating_sub(1) as f32;
    let (mut least, mut most) = (vec![0.0_f32; columns], vec![0.0_f32; columns]);
    let mut ask = |column: usize, text: &str, style: Style, longest: f32| {
        let whole = text.lines().map(|line| flow.faces.width(line, style.bold));
        let whole = whole.fold(0.0, f32::max) * style.size;
        let words = text.split_whitespace();
        let word = words.map(|word| flow.faces.width(word, style.bold));
        let word = word.fold(0.0, f32::max) * style.size;
        // a hair more, lest rounding breaks what fits
        most[column] = most[column].max(whole + 0.5);
        least[column] = least[column].max(word.min(longest) + 0.5);
    };
    for (column, heading) in table.headings.iter().enumerate() {
        ask(column, heading, CELL.bold(), WORD);
    }
    for row in &table.rows {
        for (column, cell) in row.iter().take(columns).enumerate() {
            let longest = if cell.code { CODE } else { WORD };
            ask(column, &cell.text, style_of(cell), longest);
        }
    }
    let (all_least, all_most): (f32, f32) = (least.iter().sum(), most.iter().sum());
    if all_most <= room {
        return most;
    }
    if all_least >= room {
        let scale = room / all_least;
        return least.iter().map(|width| width * scale).collect();
    }
    let share = (room - all_least) / (all_most - all_least);
    least
        .iter()
        .zip(&most)
        .map(|(least, most)| least + (most - least) * share)
        .collect()
}
