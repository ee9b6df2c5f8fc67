//! Bytes in, hashes of the kinds a hash list may hold out; and the hash of a set of hashes.
//!
//! Source: ASC Media Hash List v1.0 (2022), Appendix D (encodings) and G (hash of hashes).

use md5::Md5;
use serde::Serialize;
use sha1::Sha1;
use sha2::{Digest as _, Sha512};
use std::hash::Hasher as _;
use twox_hash::{XxHash3_64, XxHash3_128, XxHash64};

/// Digits of a C4 identifier after its two letters: base 58 of 512 bits, filled up with the digit for zero.
const C4_DIGITS: usize = 88;

/// A kind of hash, in the order in which a hash list names them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum HashKind {
    /// SHA-512 in base 58, after SMPTE ST 2114.
    C4,
    /// MD5.
    Md5,
    /// SHA-1.
    Sha1,
    /// XXH3 of 128 bits: what is written unless something else is asked for.
    Xxh128,
    /// XXH3 of 64 bits.
    Xxh3,
    /// XXH64.
    Xxh64,
}

impl HashKind {
    /// All of them, in the order of a hash list.
    pub const ALL: [Self; 6] = [
        Self::C4,
        Self::Md5,
        Self::Sha1,
        Self::Xxh128,
        Self::Xxh3,
        Self::Xxh64,
    ];

    /// Its name in a hash list.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::C4 => "c4",
            Self::Md5 => "md5",
            Self::Sha1 => "sha1",
            Self::Xxh128 => "xxh128",
            Self::Xxh3 => "xxh3",
            Self::Xxh64 => "xxh64",
        }
    }

    /// The kind of this name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.name() == name)
    }

    /// Bytes of a hash.
    fn bytes(self) -> usize {
        match self {
            Self::C4 => 64,
            Self::Md5 | Self::Xxh128 => 16,
            Self::Sha1 => 20,
            Self::Xxh3 | Self::Xxh64 => 8,
        }
    }

    /// Which of several kinds is checked: the quickest.
    pub(super) fn cost(self) -> u8 {
        match self {
            Self::Xxh128 => 0,
            Self::Xxh3 => 1,
            Self::Xxh64 => 2,
            Self::Md5 => 3,
            Self::Sha1 => 4,
            Self::C4 => 5,
        }
    }
}

/// A hash as it is written in a hash list.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
pub struct Hash {
    /// Its kind.
    pub kind: HashKind,
    /// Lower-case hexadecimal digits, the highest byte first; for C4 `c4` and 88 digits of base 58.
    pub text: String,
}

impl Hash {
    /// A hash as written, if it can be one of its kind.
    #[must_use]
    pub fn parse(kind: HashKind, text: &str) -> Option<Self> {
        let text = match kind {
            HashKind::C4 => text.to_string(),
            _ => text.to_ascii_lowercase(),
        };
        let hash = Self { kind, text };
        (hash.value()?.len() == kind.bytes()).then_some(hash)
    }

    fn of_value(kind: HashKind, value: &[u8]) -> Self {
        let text = match kind {
            HashKind::C4 => {
                let digits = bs58::encode(value).into_string();
                // one digit for every leading zero byte is not how this number is written
                let digits = digits.trim_start_matches('1');
                format!("c4{digits:1>C4_DIGITS$}")
            }
            _ => value.iter().map(|byte| format!("{byte:02x}")).collect(),
        };
        Self { kind, text }
    }

    /// Its bytes; `None` when its text is none of its kind.
    fn value(&self) -> Option<Vec<u8>> {
        let text = self.text.as_str();
        if self.kind == HashKind::C4 {
            let digits = text.strip_prefix("c4").filter(|d| d.len() == C4_DIGITS)?;
            let value = bs58::decode(digits.trim_start_matches('1'))
                .into_vec()
                .ok()?;
            let zeros = self.kind.bytes().checked_sub(value.len())?;
            return Some([vec![0; zeros], value].concat());
        }
        if text.len() != 2 * self.kind.bytes() || !text.bytes().all(|b| b.is_ascii_hexdigit()) {
            return None;
        }
        (0..text.len())
            .step_by(2)
            .map(|at| u8::from_str_radix(&text[at..at + 2], 16).ok())
            .collect()
    }

    /// The hash of a set of hashes of one kind, whatever their order: their texts sorted, their bytes in that order
    /// (Appendix G).
    #[must_use]
    pub fn of_hashes(kind: HashKind, hashes: &[Self]) -> Self {
        let mut hashes: Vec<&Self> = hashes.iter().collect();
        hashes.sort_by(|a, b| a.text.cmp(&b.text));
        let mut hasher = Hasher::new(&[kind]);
        for hash in hashes {
            hasher.update(&hash.value().unwrap_or_default());
        }
        hasher.only()
    }

    /// The hash of a name followed by a hash: what the structure of a folder is made of (6.5.2).
    #[must_use]
    pub fn of_named(name: &str, hash: &Self) -> Self {
        let mut hasher = Hasher::new(&[hash.kind]);
        hasher.update(name.as_bytes());
        hasher.update(&hash.value().unwrap_or_default());
        hasher.only()
    }

    /// The hash of these bytes.
    #[must_use]
    pub fn of(kind: HashKind, bytes: &[u8]) -> Self {
        let mut hasher = Hasher::new(&[kind]);
        hasher.update(bytes);
        hasher.only()
    }
}

/// Hashes one stream of bytes in several kinds at once.
pub struct Hasher(Vec<(HashKind, State)>);

enum State {
    Sha512(Sha512),
    Md5(Md5),
    Sha1(Sha1),
    Xxh128(Box<XxHash3_128>),
    Xxh3(Box<XxHash3_64>),
    Xxh64(XxHash64),
}

impl Hasher {
    /// One for these kinds.
    #[must_use]
    pub fn new(kinds: &[HashKind]) -> Self {
        let state = |kind: &HashKind| {
            let state = match kind {
                HashKind::C4 => State::Sha512(Sha512::new()),
                HashKind::Md5 => State::Md5(Md5::new()),
                HashKind::Sha1 => State::Sha1(Sha1::new()),
                HashKind::Xxh128 => State::Xxh128(Box::new(XxHash3_128::new())),
                HashKind::Xxh3 => State::Xxh3(Box::new(XxHash3_64::new())),
                HashKind::Xxh64 => State::Xxh64(XxHash64::with_seed(0)),
            };
            (*kind, state)
        };
        Self(kinds.iter().map(state).collect())
    }

    /// More of the stream.
    pub fn update(&mut self, bytes: &[u8]) {
        for (_, state) in &mut self.0 {
            match state {
                State::Sha512(state) => state.update(bytes),
                State::Md5(state) => state.update(bytes),
                State::Sha1(state) => state.update(bytes),
                State::Xxh128(state) => state.write(bytes),
                State::Xxh3(state) => state.write(bytes),
                State::Xxh64(state) => state.write(bytes),
            }
        }
    }

    /// The hashes, one a kind, in the order of the kinds.
    #[must_use]
    pub fn finish(self) -> Vec<Hash> {
        self.0
            .into_iter()
            .map(|(kind, state)| {
                let value: Vec<u8> = match state {
                    State::Sha512(state) => state.finalize().to_vec(),
                    State::Md5(state) => state.finalize().to_vec(),
                    State::Sha1(state) => state.finalize().to_vec(),
                    State::Xxh128(state) => state.finish_128().to_be_bytes().to_vec(),
                    State::Xxh3(state) => state.finish().to_be_bytes().to_vec(),
                    State::Xxh64(state) => state.finish().to_be_bytes().to_vec(),
                };
                Hash::of_value(kind, &value)
            })
            .collect()
    }

    /// The hash of a hasher of one kind.
    fn only(self) -> Hash {
        let mut hashes = self.finish();
        debug_assert_eq!(hashes.len(), 1, "one kind was asked for");
        hashes.swap_remove(0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ASC MHL reference, published test values for the ASCII text `media-hash-list`.
    #[test]
    fn published_hashes_of_a_text() {
        for (kind, expected) in [
            (HashKind::Md5, "9db0fc9f30f5ee70041a7538809e2858"),
            (HashKind::Sha1, "7b57673ac5633937a55b59009ad0c57ee08188b7"),
            (HashKind::Xxh64, "584b2ea1974f2b7c"),
            (HashKind::Xxh3, "6d4cbd75905c81aa"),
            (HashKind::Xxh128, "61a67c014f703a456ee7a776fd8c06bd"),
            (
                HashKind::C4,
                "c456LycWwpMMS7VDZEKvYv2L1uJS6s4qAFnaJdnQiy5JVbBFZMA8aLDS6SPaJjLqxXH4qZdnbuktopMt9frtC2qL1R",
            ),
        ] {
            assert_eq!(Hash::of(kind, b"media-hash-list").text, expected);
        }
    }

    /// The same of nothing: RFC 1321, FIPS 180-4, the xxHash specification; C4 as SMPTE ST 2114 writes it.
    #[test]
    fn published_hashes_of_nothing() {
        for (kind, expected) in [
            (HashKind::Md5, "d41d8cd98f00b204e9800998ecf8427e"),
            (HashKind::Sha1, "da39a3ee5e6b4b0d3255bfef95601890afd80709"),
            (HashKind::Xxh64, "ef46db3751d8e999"),
            (HashKind::Xxh3, "2d06800538d394c2"),
            (HashKind::Xxh128, "99aa06d3014798d86001c324468d497f"),
            (
                HashKind::C4,
                "c459dsjfscH38cYeXXYogktxf4Cd9ibshE3BHUo6a58hBXmRQdZrAkZzsWcbWtDg5oQstpDuni4Hirj75GEmTc1sFT",
            ),
        ] {
            assert_eq!(Hash::of(kind, b"").text, expected);
        }
    }

    /// ASC MHL reference, the hash of the list `bb, aa10, aa01, aa`, which are hexadecimal bytes of a hash list's
    /// Appendix G; here as hashes whose length does not matter.
    #[test]
    fn published_hash_of_hashes() {
        let list = ["bb", "aa10", "aa01", "aa"];
        let mut sorted = list.to_vec();
        sorted.sort_unstable();
        let bytes: Vec<u8> = sorted
            .concat()
            .as_bytes()
            .chunks(2)
            .map(|pair| {
                let text = std::str::from_utf8(pair).expect("ASCII");
                u8::from_str_radix(text, 16).expect("hexadecimal")
            })
            .collect();
        assert_eq!(
            Hash::of(HashKind::Md5, &bytes).text,
            "88abf5c156ff637c6380ae461fc50c3f"
        );
        assert_eq!(Hash::of(HashKind::Xxh64, &bytes).text, "c4e803e454029ee4");
        // of two files `abcd\n` and `def\n`: the published content hash of the folder that holds them
        let files: Vec<Hash> = [&b"abcd\n"[..], b"def\n"]
            .map(|bytes| Hash::of(HashKind::Xxh64, bytes))
            .to_vec();
        assert_eq!(
            files
                .iter()
                .map(|hash| hash.text.as_str())
                .collect::<Vec<_>>(),
            ["0ea03b369a463d9d", "7680e5f98f4a80fd"]
        );
        let content = Hash::of_hashes(HashKind::Xxh64, &files);
        assert_eq!(content.text, "4c226b42e27d7af3");
    }

    #[test]
    fn what_is_no_hash_is_refused() {
        assert!(Hash::parse(HashKind::Md5, "9DB0FC9F30F5EE70041A7538809E2858").is_some());
        for text in ["", "9db0", "zdb0fc9f30f5ee70041a7538809e2858", "\u{e9}"] {
            assert!(Hash::parse(HashKind::Md5, text).is_none(), "{text}");
        }
        let c4 = Hash::of(HashKind::C4, b"").text;
        assert!(Hash::parse(HashKind::C4, &c4).is_some());
        assert!(Hash::parse(HashKind::C4, &c4.replace('s', "0")).is_none());
        let largest = format!("c4{}", "z".repeat(88));
        assert!(
            Hash::parse(HashKind::C4, &largest).is_none(),
            "more than 512 bits"
        );
        // a value with leading zeros comes back
        let small = Hash::of_value(HashKind::C4, &[[0; 63].as_slice(), &[7]].concat());
        assert_eq!(small.text.len(), 90);
        assert_eq!(small.value().expect("a value")[63], 7);
    }
}
