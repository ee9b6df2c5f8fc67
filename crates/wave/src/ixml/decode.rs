//! Payload bytes in, text and what was odd about its encoding out.

use crate::text::utf8_or_windows_1252;

/// The text without byte-order mark and without zero bytes around it, and whether any of that was needed.
pub(super) fn decode(payload: &[u8]) -> (String, Vec<String>) {
    let mut odd = Vec::new();
    let mut utf16 = |bytes: &[u8], word: fn([u8; 2]) -> u16, name: &str| {
        odd.push(name.to_owned());
        let words = bytes.as_chunks::<2>().0.iter().map(|&pair| word(pair));
        char::decode_utf16(words)
            .map(|c| c.unwrap_or(char::REPLACEMENT_CHARACTER))
            .collect()
    };
    let text: String = match payload {
        [0xFF, 0xFE, rest @ ..] => utf16(rest, u16::from_le_bytes, "UTF-16, little-endian"),
        [0xFE, 0xFF, rest @ ..] => utf16(rest, u16::from_be_bytes, "UTF-16, big-endian"),
        [b'<', 0, ..] => utf16(
            payload,
            u16::from_le_bytes,
            "UTF-16 without byte-order mark",
        ),
        [0, b'<', ..] => utf16(
            payload,
            u16::from_be_bytes,
            "UTF-16 without byte-order mark",
        ),
        [0xEF, 0xBB, 0xBF, rest @ ..] => {
            odd.push("a byte-order mark".to_owned());
            utf8_or_windows_1252(trim_nul(rest))
        }
        _ => {
            let bytes = trim_nul(payload);
            if std::str::from_utf8(bytes).is_err() {
                odd.push("text that is no UTF-8".to_owned());
            }
            utf8_or_windows_1252(bytes)
        }
    };
    // A single zero byte is a pad byte that was counted; that is hardly worth a word, but it is one.
    if payload.last() == Some(&0) && odd.is_empty() {
        odd.push("zero bytes at the end".to_owned());
    }
    (text.trim_matches('\0').to_owned(), odd)
}

fn trim_nul(bytes: &[u8]) -> &[u8] {
    let end = bytes
        .iter()
        .rposition(|&byte| byte != 0)
        .map_or(0, |last| last + 1);
    &bytes[..end]
}
