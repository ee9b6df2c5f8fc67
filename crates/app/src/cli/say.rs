//! Findings and results in, lines for a person (standard error) or a machine (standard output) out.

use anstream::{eprintln, println};
use anstyle::{AnsiColor, Style};
use comfy_table::{Table, presets};
use engine::finding::{Finding, Weight};
use serde::Serialize;

/// Prints the findings on standard error, gravest first, each with its place, its cause and its next step.
pub fn findings(findings: &[Finding]) {
    let mut sorted: Vec<&Finding> = findings.iter().collect();
    sorted.sort_by_key(|finding| std::cmp::Reverse(finding.weight));
    for finding in sorted {
        let (word, style) = word_of(finding.weight);
        eprint_finding(finding, word, style);
    }
}

fn eprint_finding(finding: &Finding, word: &str, style: Style) {
    let place = if finding.place.is_empty() {
        String::new()
    } else {
        format!("{}: ", finding.place)
    };
    eprintln!("{style}{word:>5}{style:#}  {place}{}", finding.message);
    if !finding.value.is_empty() {
        let limit = if finding.limit.is_empty() {
            String::new()
        } else {
            format!("; expected {}", finding.limit)
        };
        eprintln!("       found {}{limit}", finding.value);
    }
    if !finding.cause.is_empty() {
        eprintln!("       likely cause: {}", finding.cause);
    }
    if !finding.next_step.is_empty() {
        eprintln!("       next: {}", finding.next_step);
    }
}

fn word_of(weight: Weight) -> (&'static str, Style) {
    let colour = |colour: AnsiColor| Style::new().fg_color(Some(colour.into())).bold();
    match weight {
        Weight::Note => ("note", Style::new().dimmed()),
        Weight::Warn => ("warn", colour(AnsiColor::Yellow)),
        Weight::Ask => ("ask", colour(AnsiColor::Magenta)),
        Weight::Stop => ("stop", colour(AnsiColor::Red)),
    }
}

/// A table without lines.
pub fn plain_table() -> Table {
    let mut table = Table::new();
    table.load_style(presets::NOTHING);
    table
}

/// Prints a line for a person on standard output.
pub fn line(text: impl AsRef<str>) {
    println!("{}", text.as_ref());
}

/// Prints a result for a machine on standard output.
///
/// # Errors
/// When the value cannot be expressed as JSON.
pub fn json(value: &impl Serialize) -> anyhow::Result<()> {
    println!("{}", serde_json::to_string_pretty(value)?);
    Ok(())
}

/// Prints an error on standard error.
pub fn error(error: &anyhow::Error) {
    let style = Style::new().fg_color(Some(AnsiColor::Red.into())).bold();
    // the engine's own errors tell their causes themselves
    match error.downcast_ref::<engine::Error>() {
        Some(own) => eprintln!("{style}error{style:#}  {own}"),
        None => eprintln!("{style}error{style:#}  {error:#}"),
    }
}

/// Prints a line for a person on standard error: what goes on, not what came of it.
pub fn aside(text: impl AsRef<str>) {
    eprintln!("{}", text.as_ref());
}

/// A number of bytes in the unit that suits it.
pub fn bytes(bytes: u64) -> String {
    match bytes {
        0..1_000_000 => format!("{:.1} kB", bytes as f64 / 1e3),
        1_000_000..1_000_000_000 => format!("{:.1} MB", bytes as f64 / 1e6),
        _ => format!("{:.2} GB", bytes as f64 / 1e9),
    }
}
