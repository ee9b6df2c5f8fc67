//! [`Ixml`] in, an XML document out: strict, elements in the order of the specification's sample, escaped, UTF-8.

use quick_xml::escape::escape;

use crate::ixml::{FileSet, History, Ixml, Node, Speed, SyncPoint, Track};
use crate::text::allowed;

impl Ixml {
    /// The document. `raw` and `track_count` are not used: the fields speak.
    #[must_use]
    pub fn to_xml(&self) -> String {
        let mut out = Out {
            text: String::from("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"),
            depth: 0,
        };
        out.inside("BWFXML", |out| {
            out.value(
                "IXML_VERSION",
                Some(self.version.as_deref().unwrap_or("2.0")),
            );
            out.value("PROJECT", self.project.as_deref());
            out.value("SCENE", self.scene.as_deref());
            out.value("TAKE", self.take.as_deref());
            out.value("TAPE", self.tape.as_deref());
            out.value("TAKE_TYPE", self.take_type.as_deref());
            out.value(
                "CIRCLED",
                self.circled
                    .map(|circled| if circled { "TRUE" } else { "FALSE" }),
            );
            out.value("NOTE", self.note.as_deref());
            out.value("FILE_UID", self.file_uid.as_deref());
            out.value("UBITS", self.ubits.as_deref());
            out.inside_if_any("SPEED", |out| out.speed(&self.speed));
            if !self.sync_points.is_empty() {
                out.inside("SYNC_POINT_LIST", |out| out.sync_points(&self.sync_points));
            }
            out.inside_if_any("HISTORY", |out| out.history(&self.history));
            if let Some(set) = &self.file_set {
                out.inside("FILE_SET", |out| out.file_set(set));
            }
            if !self.tracks.is_empty() {
                out.inside("TRACK_LIST", |out| out.tracks(&self.tracks));
            }
            out.nodes(&self.others);
        });
        out.text
    }
}

/// The document so far.
struct Out {
    text: String,
    depth: usize,
}

impl Out {
    fn indent(&mut self) {
        for _ in 0..self.depth {
            self.text.push_str("  ");
        }
    }

    fn inside(&mut self, name: &str, content: impl FnOnce(&mut Self)) {
        self.indent();
        self.text.push_str(&format!("<{name}>\n"));
        self.depth += 1;
        content(self);
        self.depth -= 1;
        self.indent();
        self.text.push_str(&format!("</{name}>\n"));
    }

    /// The same, but nothing at all when there is nothing to be written inside.
    fn inside_if_any(&mut self, name: &str, content: impl FnOnce(&mut Self)) {
        let mut inner = Self {
            text: String::new(),
            depth: self.depth + 1,
        };
        content(&mut inner);
        if !inner.text.is_empty() {
            self.inside(name, |out| out.text.push_str(&inner.text));
        }
    }

    fn value(&mut self, name: &str, value: Option<impl AsRef<str>>) {
        if let Some(value) = value {
            let value = allowed(value.as_ref());
            self.indent();
            self.text
                .push_str(&format!("<{name}>{}</{name}>\n", escape(value.as_str())));
        }
    }

    fn number(&mut self, name: &str, value: Option<impl ToString>) {
        self.value(name, value.map(|value| value.to_string()));
    }

    fn rate(&mut self, name: &str, rate: Option<(u32, u32)>) {
        self.value(name, rate.map(|(top, bottom)| format!("{top}/{bottom}")));
    }

    fn nodes(&mut self, nodes: &[Node]) {
        for node in nodes.iter().filter(|node| is_name(&node.name)) {
            // children whose names none can have are not written: without them it is a plain value
            if !node.children.iter().any(|child| is_name(&child.name)) {
                self.value(&node.name, Some(&node.text));
            } else {
                let text = allowed(&node.text);
                self.inside(&node.name, |out| {
                    if !text.is_empty() {
                        out.indent();
                        out.text.push_str(&escape(text.as_str()));
                        out.text.push('\n');
                    }
                    out.nodes(&node.children);
                });
            }
        }
    }

    fn speed(&mut self, speed: &Speed) {
        self.value("NOTE", speed.note.as_deref());
        self.rate("MASTER_SPEED", speed.master_speed);
        self.rate("CURRENT_SPEED", speed.current_speed);
        self.rate("TIMECODE_RATE", speed.timecode_rate);
        self.value(
            "TIMECODE_FLAG",
            speed.drop_frame.map(|drop| if drop { "DF" } else { "NDF" }),
        );
        self.number("FILE_SAMPLE_RATE", speed.file_sample_rate);
        self.number("AUDIO_BIT_DEPTH", speed.audio_bit_depth);
        self.number("DIGITIZER_SAMPLE_RATE", speed.digitizer_sample_rate);
        let stamp = speed.timestamp_samples_since_midnight;
        self.number(
            "TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI",
            stamp.map(|stamp| stamp >> 32),
        );
        self.number(
            "TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO",
            stamp.map(|stamp| stamp & 0xFFFF_FFFF),
        );
        self.number("TIMESTAMP_SAMPLE_RATE", speed.timestamp_sample_rate);
        self.nodes(&speed.others);
    }

    fn sync_points(&mut self, points: &[SyncPoint]) {
        self.number("SYNC_POINT_COUNT", Some(points.len()));
        for point in points {
            self.inside("SYNC_POINT", |out| {
                out.value("SYNC_POINT_TYPE", Some(&point.kind));
                out.value("SYNC_POINT_FUNCTION", Some(&point.function));
                out.value("SYNC_POINT_COMMENT", Some(&point.comment));
                out.number("SYNC_POINT_LOW", Some(point.position & 0xFFFF_FFFF));
                out.number("SYNC_POINT_HIGH", Some(point.position >> 32));
                out.number("SYNC_POINT_EVENT_DURATION", Some(point.duration));
            });
        }
    }

    fn history(&mut self, history: &History) {
        self.value("ORIGINAL_FILENAME", history.original_filename.as_deref());
        self.value("PARENT_FILENAME", history.parent_filename.as_deref());
        self.value("PARENT_UID", history.parent_uid.as_deref());
        self.nodes(&history.others);
    }

    fn file_set(&mut self, set: &FileSet) {
        self.number("TOTAL_FILES", set.total_files);
        self.value("FAMILY_UID", set.family_uid.as_deref());
        self.value("FAMILY_NAME", set.family_name.as_deref());
        self.value("FILE_SET_INDEX", set.file_set_index.as_deref());
        self.number(
            "FILE_SET_START_TIME_HI",
            set.start_time.map(|start| start >> 32),
        );
        self.number(
            "FILE_SET_START_TIME_LO",
            set.start_time.map(|start| start & 0xFFFF_FFFF),
        );
        self.nodes(&set.others);
    }

    fn tracks(&mut self, tracks: &[Track]) {
        self.number("TRACK_COUNT", Some(tracks.len()));
        for track in tracks {
            self.inside("TRACK", |out| {
                out.number("CHANNEL_INDEX", track.channel_index);
                out.number("INTERLEAVE_INDEX", track.interleave_index);
                out.value("NAME", Some(track.name.as_deref().unwrap_or("")));
                out.value("FUNCTION", Some(track.function.as_deref().unwrap_or("")));
                out.nodes(&track.others);
            });
        }
    }
}

/// Whether an element may have this name: a name of XML 1.0, clause 2.3, without colons.
fn is_name(name: &str) -> bool {
    name.starts_with(starts_name) && name.chars().all(is_in_name)
}

/// `NameStartChar` without the colon (XML 1.0, fifth edition, production 4).
fn starts_name(c: char) -> bool {
    matches!(c, 'A'..='Z' | '_' | 'a'..='z' | '\u{C0}'..='\u{D6}' | '\u{D8}'..='\u{F6}' | '\u{F8}'..='\u{2FF}'
        | '\u{370}'..='\u{37D}' | '\u{37F}'..='\u{1FFF}' | '\u{200C}'..='\u{200D}' | '\u{2070}'..='\u{218F}'
        | '\u{2C00}'..='\u{2FEF}' | '\u{3001}'..='\u{D7FF}' | '\u{F900}'..='\u{FDCF}' | '\u{FDF0}'..='\u{FFFD}'
        | '\u{10000}'..='\u{EFFFF}')
}

/// `NameChar` without the colon (production 4a).
fn is_in_name(c: char) -> bool {
    starts_name(c)
        || matches!(c, '-' | '.' | '0'..='9' | '\u{B7}' | '\u{300}'..='\u{36F}' | '\u{203F}'..='\u{2040}')
}

#[cfg(test)]
mod tests {
    use super::is_name;

    #[test]
    fn element_names_are_those_xml_1_0_allows() {
        // clause 2.3, productions 4 and 5; U+00B2 is a numeral to Unicode and no name character to XML
        for (name, allowed) in [
            ("TRACK", true),
            ("_a-b.c", true),
            ("été·1", true),
            ("𑎐", true),
            ("𑎐²", false),
            ("1st", false),
            ("a:b", false),
            ("a b", false),
            ("", false),
        ] {
            assert_eq!(is_name(name), allowed, "{name}");
        }
    }
}
