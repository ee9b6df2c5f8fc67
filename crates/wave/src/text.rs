//! Bytes of unknown encoding in, text out; text in, ASCII out.

/// Windows-1252 for 0x80..=0x9F; the five codes it leaves open stay themselves. From memory; ISO 8859-1 elsewhere.
const WINDOWS_1252: [char; 32] = [
    '\u{20AC}', '\u{81}', '\u{201A}', '\u{192}', '\u{201E}', '\u{2026}', '\u{2020}', '\u{2021}',
    '\u{2C6}', '\u{2030}', '\u{160}', '\u{2039}', '\u{152}', '\u{8D}', '\u{17D}', '\u{8F}',
    '\u{90}', '\u{2018}', '\u{2019}', '\u{201C}', '\u{201D}', '\u{2022}', '\u{2013}', '\u{2014}',
    '\u{2DC}', '\u{2122}', '\u{161}', '\u{203A}', '\u{153}', '\u{9D}', '\u{17E}', '\u{178}',
];

/// The bytes as UTF-8 if they are, else as Windows-1252, which never fails.
pub(crate) fn utf8_or_windows_1252(bytes: &[u8]) -> String {
    match std::str::from_utf8(bytes) {
        Ok(text) => text.to_owned(),
        // Text that has shown itself to be UTF-8 and ends inside a character is cut, not another encoding.
        Err(error) if error.error_len().is_none() && !bytes[..error.valid_up_to()].is_ascii() => {
            String::from_utf8_lossy(&bytes[..error.valid_up_to()]).into_owned()
        }
        Err(_) => bytes.iter().map(|&byte| windows_1252(byte)).collect(),
    }
}

/// The bytes up to the first zero byte.
pub(crate) fn until_nul(bytes: &[u8]) -> &[u8] {
    bytes.split(|&byte| byte == 0).next().unwrap_or_default()
}

/// The text as printable ASCII: accents dropped where a plain letter remains, `?` for what has none. `keep` names
/// control characters that stay.
pub(crate) fn ascii(text: &str, keep: &[char]) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            ' '..='~' => out.push(c),
            _ if keep.contains(&c) => out.push(c),
            _ => out.push_str(plain(c)),
        }
    }
    out
}

fn windows_1252(byte: u8) -> char {
    match byte {
        0x80..=0x9F => WINDOWS_1252[usize::from(byte - 0x80)],
        _ => char::from(byte),
    }
}

/// The plain letters of an accented Latin one (ISO 8859-1 and its neighbours), `?` for anything else.
fn plain(c: char) -> &'static str {
    match c {
        'À'..='Å' | 'Ā' | 'Ă' | 'Ą' => "A",
        'à'..='å' | 'ā' | 'ă' | 'ą' => "a",
        'Æ' => "AE",
        'æ' => "ae",
        'Ç' | 'Ć' | 'Č' => "C",
        'ç' | 'ć' | 'č' => "c",
        'Ð' | 'Ď' | 'Đ' => "D",
        'ð' | 'ď' | 'đ' => "d",
        'È'..='Ë' | 'Ē' | 'Ę' | 'Ě' => "E",
        'è'..='ë' | 'ē' | 'ę' | 'ě' => "e",
        'Ğ' => "G",
        'ğ' => "g",
        'Ì'..='Ï' | 'Ī' | 'İ' => "I",
        'ì'..='ï' | 'ī' | 'ı' => "i",
        'Ł' => "L",
        'ł' => "l",
        'Ñ' | 'Ń' | 'Ň' => "N",
        'ñ' | 'ń' | 'ň' => "n",
        'Ò'..='Ö' | 'Ø' | 'Ō' | 'Ő' => "O",
        'ò'..='ö' | 'ø' | 'ō' | 'ő' => "o",
        'Œ' => "OE",
        'œ' => "oe",
        'Ř' => "R",
        'ř' => "r",
        'Ś' | 'Š' | 'Ş' | 'Ș' => "S",
        'ś' | 'š' | 'ş' | 'ș' => "s",
        'ß' => "ss",
        'Ť' | 'Ț' => "T",
        'ť' | 'ț' => "t",
        'Ù'..='Ü' | 'Ū' | 'Ů' | 'Ű' => "U",
        'ù'..='ü' | 'ū' | 'ů' | 'ű' => "u",
        'Ý' => "Y",
        'ý' | 'ÿ' => "y",
        'Ź' | 'Ż' | 'Ž' => "Z",
        'ź' | 'ż' | 'ž' => "z",
        '\u{2018}' | '\u{2019}' => "'",
        '\u{201C}' | '\u{201D}' => "\"",
        '\u{2010}'..='\u{2014}' => "-",
        '\u{2026}' => "...",
        '\t' | '\n' | '\r' | '\u{A0}' => " ",
        _ => "?",
    }
}

/// The text without the characters that XML 1.0 does not allow (clause 2.2), its lines ended as a reader would hand
/// them on (clause 2.11).
pub(crate) fn allowed(text: &str) -> String {
    let fine = |c: &char| matches!(c, '\t' | '\n' | '\r' | ' '..='\u{FFFD}' | '\u{10000}'..);
    let text: String = text
        .replace("\r\n", "\n")
        .replace('\r', "\n")
        .chars()
        .filter(fine)
        .collect();
    // what is left out may have stood between blanks and the end, where reading takes no blanks
    text.trim().to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn accents_become_plain_letters_and_the_rest_a_question_mark() {
        assert_eq!(ascii("Größe – Łódź 録\u{1}", &[]), "Grosse - Lodz ??");
        assert_eq!(ascii("a\r\nb", &['\r', '\n']), "a\r\nb");
        assert_eq!(ascii("a\r\nb", &[]), "a  b");
    }

    #[test]
    fn bytes_that_are_no_utf8_are_windows_1252() {
        assert_eq!(utf8_or_windows_1252(b"caf\xE9 \x80"), "café €");
        assert_eq!(utf8_or_windows_1252("café".as_bytes()), "café");
        assert_eq!(utf8_or_windows_1252(b"caf\xC3\xA9 caf\xC3"), "café caf");
        assert_eq!(utf8_or_windows_1252(b"caf\xE9"), "café");
    }
}
