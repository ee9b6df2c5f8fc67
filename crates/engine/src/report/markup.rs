//! Names, attributes and text in, well-formed markup out that is HTML and XML at once: every element is closed, every
//! text escaped, characters that XML 1.0 (section 2.2) forbids replaced.

/// Markup being written.
#[derive(Debug, Default)]
pub struct Markup {
    text: String,
}

/// An element's attributes: names as they are, values of any text.
pub type Attributes<'a> = &'a [(&'a str, &'a str)];

impl Markup {
    /// Writes an element and whatever `inside` writes.
    pub fn element(
        &mut self,
        name: &str,
        attributes: Attributes<'_>,
        inside: impl FnOnce(&mut Self),
    ) {
        self.start(name, attributes);
        self.text.push('>');
        inside(self);
        self.text.push_str("</");
        self.text.push_str(name);
        self.text.push('>');
        if is_block(name) {
            self.text.push('\n');
        }
    }

    /// Writes an element that holds only text.
    pub fn leaf(&mut self, name: &str, attributes: Attributes<'_>, text: &str) {
        self.element(name, attributes, |markup| markup.words(text));
    }

    /// Writes an element that HTML forbids to have an end tag, e.g. `meta`.
    pub fn void(&mut self, name: &str, attributes: Attributes<'_>) {
        self.start(name, attributes);
        self.text.push_str("/>");
    }

    /// Writes text.
    pub fn words(&mut self, text: &str) {
        escape_into(text, &mut self.text);
    }

    /// Writes markup that is well formed already.
    pub fn raw(&mut self, markup: &str) {
        self.text.push_str(markup);
    }

    /// What was written.
    pub fn finish(self) -> String {
        self.text
    }

    fn start(&mut self, name: &str, attributes: Attributes<'_>) {
        self.text.push('<');
        self.text.push_str(name);
        for (name, value) in attributes {
            self.text.push(' ');
            self.text.push_str(name);
            self.text.push_str("=\"");
            escape_into(value, &mut self.text);
            self.text.push('"');
        }
    }
}

fn is_block(name: &str) -> bool {
    matches!(
        name,
        "section"
            | "p"
            | "tr"
            | "table"
            | "h1"
            | "h2"
            | "h3"
            | "figure"
            | "li"
            | "dl"
            | "style"
            | "head"
            | "title"
    )
}

fn escape_into(text: &str, out: &mut String) {
    for character in text.chars() {
        match character {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            // XML 1.0, section 2.2: the control characters but these three, and the two noncharacters, are no Char.
            '\t' | '\n' | '\r' => out.push(character),
            '\0'..='\u{1f}' | '\u{7f}'..='\u{9f}' | '\u{fffe}' | '\u{ffff}' => out.push('\u{fffd}'),
            _ => out.push(character),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_and_attributes_cannot_break_out() {
        let mut markup = Markup::default();
        markup.element("p", &[("title", "\"><script>")], |markup| {
            markup.words("a < b && c > \"d\" \u{1} é");
        });
        assert_eq!(
            markup.finish(),
            "<p title=\"&quot;&gt;&lt;script&gt;\">a &lt; b &amp;&amp; c &gt; &quot;d&quot; \u{fffd} é</p>\n"
        );
    }
}
