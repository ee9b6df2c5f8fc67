//! A tree of elements in, [`Ixml`] out: kind to what is not written as the specification says.

use crate::ixml::tree::{self, Node};
use crate::ixml::{FileSet, History, Ixml, Speed, SyncPoint, Track, decode};
use crate::oddity::{Oddities, OddityKind, Words};

const CLAUSE: &str = "iXML specification";

/// Most tracks and sync points that are read.
const MOST_ITEMS: usize = 10_000;

impl Ixml {
    /// Reads a payload. It never fails: what cannot be understood is said, and the text is kept.
    pub(crate) fn parse(payload: &[u8], oddities: &mut Oddities<'_>) -> Self {
        let (text, odd) = decode::decode(payload);
        for found in odd {
            oddities.add(
                OddityKind::IxmlEncoding,
                0,
                Words::new(found, "plain UTF-8", CLAUSE),
            );
        }
        let (root, wrong) = tree::parse(&text);
        for found in wrong {
            oddities.add(
                OddityKind::IxmlMalformed,
                0,
                Words::new(found, "well-formed XML", CLAUSE),
            );
        }
        let mut ixml = Self {
            raw: text,
            ..Self::default()
        };
        let Some(root) = root else { return ixml };
        if root.name != "BWFXML" {
            let words = Words::new(format!("root {}", root.name), "root BWFXML", CLAUSE);
            oddities.add(OddityKind::IxmlMalformed, 0, words);
        }
        ixml.fill(root, &mut Values { oddities });
        ixml
    }

    fn fill(&mut self, root: Node, values: &mut Values<'_, '_>) {
        for node in root.children {
            match node.name.to_ascii_uppercase().as_str() {
                "IXML_VERSION" => self.version = text(node),
                "PROJECT" => self.project = text(node),
                "SCENE" => self.scene = text(node),
                "TAKE" => self.take = text(node),
                "TAPE" => self.tape = text(node),
                "TAKE_TYPE" => self.take_type = text(node),
                "CIRCLED" => self.circled = values.truth(&node),
                "NOTE" => self.note = text(node),
                "FILE_UID" => self.file_uid = text(node),
                "UBITS" => self.ubits = text(node),
                "SPEED" => self.speed = speed(node, values),
                "HISTORY" => self.history = history(node),
                "FILE_SET" => self.file_set = Some(file_set(node, values)),
                "SYNC_POINT_LIST" => {
                    let points = node
                        .children
                        .iter()
                        .filter(|child| child.name == "SYNC_POINT");
                    self.sync_points = points
                        .take(MOST_ITEMS)
                        .map(|p| sync_point(p, values))
                        .collect();
                }
                "TRACK_LIST" => {
                    self.track_count = node
                        .child("TRACK_COUNT")
                        .and_then(|count| values.number(count));
                    let tracks = node
                        .children
                        .into_iter()
                        .filter(|child| child.name == "TRACK");
                    self.tracks = tracks.take(MOST_ITEMS).map(|t| track(t, values)).collect();
                }
                _ => self.others.push(node),
            }
        }
    }
}

/// Reads values and says which of them were written oddly.
struct Values<'a, 'b> {
    oddities: &'a mut Oddities<'b>,
}

impl Values<'_, '_> {
    fn odd(&mut self, node: &Node, expected: &str) {
        let shown: String = node.text.chars().take(40).collect();
        let words = Words::new(format!("{} \"{shown}\"", node.name), expected, CLAUSE);
        self.oddities.add(OddityKind::IxmlValue, 0, words);
    }

    /// A whole number of any width.
    fn number<T: std::str::FromStr>(&mut self, node: &Node) -> Option<T> {
        let value = node.text.parse().ok();
        if value.is_none() && !node.text.is_empty() {
            self.odd(node, "a whole number");
        }
        value
    }

    /// `TRUE` or `FALSE`; an element that is present with the text FALSE is false.
    fn truth(&mut self, node: &Node) -> Option<bool> {
        let value = match node.text.to_ascii_uppercase().as_str() {
            "TRUE" => return Some(true),
            "FALSE" => return Some(false),
            "1" | "YES" => Some(true),
            "0" | "NO" => Some(false),
            "" => return None,
            _ => None,
        };
        self.odd(node, "TRUE or FALSE");
        value
    }

    /// A rate, written as `30000/1001` should be.
    fn rate(&mut self, node: &Node) -> Option<(u32, u32)> {
        let (rate, _) = parse_rate(&node.text)?;
        if node
            .text
            .split_once('/')
            .and_then(|(n, d)| Some((n.parse().ok()?, d.parse().ok()?)))
            != Some(rate)
        {
            self.odd(node, "a fraction such as 30000/1001");
        }
        Some(rate)
    }

    /// A number from its high and its low word: two numbers, not two halves of one text.
    fn wide(&mut self, high: Option<&Node>, low: Option<&Node>) -> Option<u64> {
        if high.is_none() && low.is_none() {
            return None;
        }
        let high: u64 = high.and_then(|node| self.number(node)).unwrap_or(0);
        let low: u64 = low.and_then(|node| self.number(node)).unwrap_or(0);
        // A low word that needs more than 32 bits is a whole number from a writer who did not split it.
        (high << 32)
            .checked_add(low)
            .filter(|_| high <= u64::from(u32::MAX))
    }
}

fn text(node: Node) -> Option<String> {
    Some(node.text).filter(|text| !text.is_empty())
}

fn speed(node: Node, values: &mut Values<'_, '_>) -> Speed {
    let stamp = values.wide(
        node.child("TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI"),
        node.child("TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO"),
    );
    let mut speed = Speed {
        timestamp_samples_since_midnight: stamp,
        ..Speed::default()
    };
    for node in node.children {
        match node.name.to_ascii_uppercase().as_str() {
            "NOTE" => speed.note = text(node),
            "MASTER_SPEED" => speed.master_speed = values.rate(&node),
            "CURRENT_SPEED" => speed.current_speed = values.rate(&node),
            "TIMECODE_RATE" => {
                speed.timecode_rate = values.rate(&node);
                // Old files carry the flag here: 029.970-DF.
                let flag = parse_rate(&node.text).and_then(|(_, flag)| flag);
                speed.drop_frame = speed.drop_frame.or(flag);
            }
            "TIMECODE_FLAG" => {
                speed.drop_frame = match node.text.to_ascii_uppercase().as_str() {
                    "DF" => Some(true),
                    "NDF" => Some(false),
                    other => {
                        let value = match other {
                            "D" | "DROP" | "DROPFRAME" | "DROP_FRAME" => Some(true),
                            "ND" | "NON-DROP" | "NONDROP" | "NON_DROP" => Some(false),
                            _ => speed.drop_frame,
                        };
                        if !other.is_empty() {
                            values.odd(&node, "DF or NDF");
                        }
                        value
                    }
                };
            }
            "FILE_SAMPLE_RATE" => speed.file_sample_rate = values.number(&node),
            "AUDIO_BIT_DEPTH" => speed.audio_bit_depth = values.number(&node),
            "DIGITIZER_SAMPLE_RATE" => speed.digitizer_sample_rate = values.number(&node),
            "TIMESTAMP_SAMPLE_RATE" => speed.timestamp_sample_rate = values.number(&node),
            "TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI" | "TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO" => {}
            _ => speed.others.push(node),
        }
    }
    speed
}

fn history(node: Node) -> History {
    let mut history = History::default();
    for node in node.children {
        match node.name.to_ascii_uppercase().as_str() {
            "ORIGINAL_FILENAME" => history.original_filename = text(node),
            "PARENT_FILENAME" => history.parent_filename = text(node),
            "PARENT_UID" => history.parent_uid = text(node),
            _ => history.others.push(node),
        }
    }
    history
}

fn file_set(node: Node, values: &mut Values<'_, '_>) -> FileSet {
    let start_time = values.wide(
        node.child("FILE_SET_START_TIME_HI"),
        node.child("FILE_SET_START_TIME_LO"),
    );
    let mut set = FileSet {
        start_time,
        ..FileSet::default()
    };
    for node in node.children {
        match node.name.to_ascii_uppercase().as_str() {
            "TOTAL_FILES" => set.total_files = values.number(&node),
            "FAMILY_UID" => set.family_uid = text(node),
            "FAMILY_NAME" => set.family_name = text(node),
            "FILE_SET_INDEX" => set.file_set_index = text(node),
            "FILE_SET_START_TIME_HI" | "FILE_SET_START_TIME_LO" => {}
            _ => set.others.push(node),
        }
    }
    set
}

fn sync_point(node: &Node, values: &mut Values<'_, '_>) -> SyncPoint {
    let text = |name: &str| {
        node.child(name)
            .map(|node| node.text.clone())
            .unwrap_or_default()
    };
    let position = values.wide(node.child("SYNC_POINT_HIGH"), node.child("SYNC_POINT_LOW"));
    SyncPoint {
        kind: text("SYNC_POINT_TYPE"),
        function: text("SYNC_POINT_FUNCTION"),
        comment: text("SYNC_POINT_COMMENT"),
        position: position.unwrap_or(0),
        duration: node
            .child("SYNC_POINT_EVENT_DURATION")
            .and_then(|node| values.number(node))
            .unwrap_or(0),
    }
}

fn track(node: Node, values: &mut Values<'_, '_>) -> Track {
    let mut track = Track::default();
    for node in node.children {
        match node.name.to_ascii_uppercase().as_str() {
            "CHANNEL_INDEX" => track.channel_index = values.number(&node),
            "INTERLEAVE_INDEX" => track.interleave_index = values.number(&node),
            "NAME" => track.name = text(node),
            "FUNCTION" => track.function = text(node),
            _ => track.others.push(node),
        }
    }
    track
}

/// A frame rate as people write it, as a fraction, and whether a suffix says that labels are dropped: `30000/1001`,
/// `25`, `23.98`, `029.970-DF`, `29.97ND`. `None` when it is no rate.
///
/// Decimals within 0.05 % of a whole rate times 1000/1001 are that rate: 29.97, 23.976 and 23.98 all mean one.
#[must_use]
pub fn parse_rate(text: &str) -> Option<((u32, u32), Option<bool>)> {
    let text = text.trim();
    let end = text
        .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | '/')))
        .unwrap_or(text.len());
    let (number, suffix) = text.split_at(end);
    let suffix = suffix
        .trim_matches(|c: char| !c.is_ascii_alphabetic())
        .to_ascii_uppercase();
    let flag = match suffix.as_str() {
        "DF" | "D" => Some(true),
        "NDF" | "ND" => Some(false),
        "" | "FPS" => None,
        _ => return None,
    };
    let (top, bottom) = number.split_once('/').unwrap_or((number, "1"));
    if let (Ok(top), Ok(bottom)) = (top.parse::<u32>(), bottom.parse::<u32>())
        && top > 0
        && matches!(bottom, 1 | 1000 | 1001)
    {
        let rate = match (top, bottom) {
            (top, 1000) if top % 1000 == 0 => (top / 1000, 1),
            other => other,
        };
        if bottom != 1000 || rate.1 == 1 {
            return Some((rate, flag));
        }
    }
    let value = top.parse::<f64>().ok()? / bottom.parse::<f64>().ok()?;
    if !(value.is_finite() && (1.0..=1000.0).contains(&value)) {
        return None;
    }
    let whole = value.round();
    if (value - whole).abs() < 1e-6 {
        return Some(((whole as u32, 1), flag));
    }
    let pulled = (value * 1.001).round();
    if (value * 1.001 / pulled - 1.0).abs() < 5e-4 {
        return Some(((pulled as u32 * 1000, 1001), flag));
    }
    // Any other: thousandths, reduced.
    let thousandths = (value * 1000.0).round() as u32;
    let divisor = greatest_common_divisor(thousandths, 1000);
    Some(((thousandths / divisor, 1000 / divisor), flag))
}

fn greatest_common_divisor(a: u32, b: u32) -> u32 {
    if b == 0 {
        a
    } else {
        greatest_common_divisor(b, a % b)
    }
}
