//! What a paper for people says, without how it looks: made once from a report's data, then shown as a page on the screen
//! ([`super::screen`]) and printed ([`super::print`]).

use super::plots::Drawing;
use crate::finding::Finding;
use crate::units::capital;

/// A paper for people.
#[derive(Debug, Clone)]
pub struct Document {
    /// What kind of paper it is, in a phrase.
    pub kind: String,
    /// Its title.
    pub title: String,
    /// The program and its version.
    pub made_by: String,
    /// What stands at its head.
    pub facts: Vec<Fact>,
    /// What a reader wants to know first; empty for nothing.
    pub verdict: String,
    /// Its parts, in order.
    pub entries: Vec<Entry>,
    /// Whether its tables need the broad side of the paper.
    pub broad: bool,
}

/// A name and what it is; those without a value are not shown.
pub type Fact = (&'static str, String);

/// A part of a paper.
#[derive(Debug, Clone)]
pub struct Entry {
    /// Its heading.
    pub heading: String,
    /// What stands in it, in order.
    pub blocks: Vec<Block>,
    /// Whether it is handed out by itself: it begins a sheet of its own, and what follows the next.
    pub own_sheet: bool,
}

impl Entry {
    /// A part that follows the one before.
    pub fn new(heading: &str, blocks: Vec<Block>) -> Self {
        Self {
            heading: heading.into(),
            blocks,
            own_sheet: false,
        }
    }
}

/// What stands in a part.
#[derive(Debug, Clone)]
pub enum Block {
    /// A paragraph.
    Words(String),
    /// A paragraph that matters most.
    Claim(String),
    /// A heading within the part.
    Heading(String),
    /// Names and values.
    Facts(Vec<Fact>),
    /// A table.
    Table(Table),
    /// A picture with its caption.
    Picture(Drawing, String),
}

impl Block {
    /// What a person should know, as a paragraph.
    pub fn finding(finding: &Finding) -> Self {
        let part = |before: &str, text: &str| match text.trim_end_matches('.') {
            "" => String::new(),
            text => format!("{before}{text}."),
        };
        let place = match finding.place.as_str() {
            "" => String::new(),
            place => format!("{place}: "),
        };
        let value = match finding.limit.as_str() {
            "" => finding.value.clone(),
            limit => format!("{}; expected {limit}", finding.value),
        };
        let text = format!(
            "{place}{}{}{}{}",
            part("", &finding.message),
            part(" Found ", &value),
            part(" Likely cause: ", &finding.cause),
            part(" Next: ", &finding.next_step)
        );
        Self::Words(capital(&text))
    }
}

/// A table.
#[derive(Debug, Clone)]
pub struct Table {
    /// What it holds.
    pub caption: String,
    /// One a column.
    pub headings: Vec<&'static str>,
    /// Cells, as many a row as there are headings.
    pub rows: Vec<Vec<Cell>>,
}

/// A cell of a table.
#[derive(Debug, Clone, Default)]
pub struct Cell {
    /// What it says.
    pub text: String,
    /// Where it leads on the screen.
    pub href: Option<String>,
    /// Whether it is a name for machines: shown so that characters can be told apart, broken anywhere.
    pub code: bool,
}

impl From<String> for Cell {
    fn from(text: String) -> Self {
        Self {
            text,
            ..Self::default()
        }
    }
}

impl From<&str> for Cell {
    fn from(text: &str) -> Self {
        text.to_string().into()
    }
}

impl From<&String> for Cell {
    fn from(text: &String) -> Self {
        text.clone().into()
    }
}

impl Cell {
    /// A name for machines.
    pub fn code(text: &str) -> Self {
        Self {
            code: true,
            ..text.into()
        }
    }
}
