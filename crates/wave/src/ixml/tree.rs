//! Text in, a small bounded tree of elements out, through quick-xml's events. What field machines write is taken as it
//! comes: dangling `&`, prefixes that are not declared, ends that do not match, a tail that is missing.

use crate::text::allowed;

use quick_xml::Reader;
use quick_xml::events::{BytesRef, Event};

/// An element: name, text, children in order. Attributes are not kept: iXML uses none.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Node {
    /// Its name without prefix.
    pub name: String,
    /// Its text, its children's not among it, without blanks around it.
    pub text: String,
    /// Its child elements.
    pub children: Vec<Node>,
}

/// Deepest nesting that is read; iXML uses four.
const DEEPEST: usize = 32;

/// Most elements that are read; 128 tracks need about 800.
const MOST_NODES: usize = 50_000;

/// The root, and what was wrong with the document.
pub(super) fn parse(text: &str) -> (Option<Node>, Vec<String>) {
    let mut reader = Reader::from_str(text.trim_start());
    let config = reader.config_mut();
    config.allow_dangling_amp = true;
    config.allow_unmatched_ends = true;
    config.check_end_names = false;

    let mut wrong = Wrong::default();
    let mut root = None;
    let mut open: Vec<Node> = Vec::new();
    let mut nodes = 0;
    let version = quick_xml::XmlVersion::Explicit1_0;
    loop {
        let event = match reader.read_event() {
            Ok(event) => event,
            Err(error) => {
                wrong.say(format!("at byte {}: {error}", reader.error_position()));
                break;
            }
        };
        if let Event::Start(_) | Event::Empty(_) = event {
            nodes += 1;
            if nodes > MOST_NODES || open.len() >= DEEPEST {
                wrong.say(format!(
                    "more than {MOST_NODES} elements or {DEEPEST} levels"
                ));
                break;
            }
        }
        match event {
            Event::Start(start) => open.push(named(start.local_name().as_ref())),
            Event::Empty(start) => close(named(start.local_name().as_ref()), &mut open, &mut root),
            Event::End(end) => {
                // An end belongs to the innermost open element of its name, which ends those inside too.
                let name = end.local_name();
                let Some(at) = open.iter().rposition(|node| node.name == name.as_ref()) else {
                    wrong.say(format!("the end of {}, which is not open", name.as_ref()));
                    continue;
                };
                if let Some(inner) = open.get(at + 1) {
                    wrong.say(format!("{} is never ended", inner.name));
                }
                while open.len() > at {
                    close_last(&mut open, &mut root);
                }
            }
            Event::Text(text) => add_text(&mut open, &text.xml_content(version)),
            Event::CData(text) => add_text(&mut open, &text.xml_content(version)),
            Event::GeneralRef(reference) => add_text(&mut open, &resolved(&reference)),
            // Entities are the one way for a small document to become a large one.
            Event::DocType(_) => {
                wrong.say("a document type, which is refused".to_owned());
                return (None, wrong.0);
            }
            Event::Eof => break,
            Event::Comment(_) | Event::Decl(_) | Event::PI(_) => {}
        }
    }
    if let Some(node) = open.last() {
        wrong.say(format!("{} is never ended", node.name));
    }
    while !open.is_empty() {
        close_last(&mut open, &mut root);
    }
    if root.is_none() && wrong.0.is_empty() {
        wrong.say("no element at all".to_owned());
    }
    (root, wrong.0)
}

impl Node {
    /// An element with text alone.
    #[must_use]
    pub fn new(name: impl Into<String>, text: impl Into<String>) -> Self {
        Self {
            name: name.into(),
            text: text.into(),
            children: Vec::new(),
        }
    }

    /// The first child of this name, whatever its case.
    #[must_use]
    pub fn child(&self, name: &str) -> Option<&Self> {
        self.children
            .iter()
            .find(|child| child.name.eq_ignore_ascii_case(name))
    }
}

fn named(name: &str) -> Node {
    Node::new(name, "")
}

/// What is wrong with a document: the first of it, because a hostile one has more.
#[derive(Default)]
struct Wrong(Vec<String>);

impl Wrong {
    fn say(&mut self, what: String) {
        if self.0.len() < 20 {
            self.0.push(what);
        }
    }
}

/// Ends the innermost open element.
fn close_last(open: &mut Vec<Node>, root: &mut Option<Node>) {
    if let Some(node) = open.pop() {
        close(node, open, root);
    }
}

/// Puts an ended element where it belongs; of several roots the first is taken.
fn close(mut node: Node, open: &mut [Node], root: &mut Option<Node>) {
    node.text = allowed(&node.text);
    match open.last_mut() {
        Some(parent) => parent.children.push(node),
        None => *root = root.take().or(Some(node)),
    }
}

fn add_text(open: &mut [Node], text: &str) {
    if let Some(node) = open.last_mut() {
        node.text.push_str(text);
    }
}

/// The five references that XML defines and numbers; any other stays as it is written.
fn resolved(reference: &BytesRef<'_>) -> String {
    if let Ok(Some(c)) = reference.resolve_char_ref() {
        return c.to_string();
    }
    match &*reference.xml10_content() {
        "amp" => "&".to_owned(),
        "lt" => "<".to_owned(),
        "gt" => ">".to_owned(),
        "quot" => "\"".to_owned(),
        "apos" => "'".to_owned(),
        other => format!("&{other};"),
    }
}
