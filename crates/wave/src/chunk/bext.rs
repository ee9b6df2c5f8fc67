//! The `bext` chunk: payload bytes in, [`Bext`] out, and back. EBU Tech 3285 v2 (May 2011), clause 2.3.

use zerocopy::byteorder::little_endian::{I16, U16, U32};
use zerocopy::{FromBytes, FromZeros, Immutable, IntoBytes, KnownLayout, Unaligned};

use crate::oddity::{Oddities, OddityKind, Words};
use crate::text::{ascii, until_nul, utf8_or_windows_1252};

const CLAUSE: &str = "EBU Tech 3285 v2, 2.3";

/// What a loudness field says when it is not used. From memory, unconfirmed.
const UNUSED_LOUDNESS: i16 = 0x7FFF;

/// Where the loudness fields stand in the payload.
pub(crate) const LOUDNESS_AT: u64 = std::mem::offset_of!(Record, loudness) as u64;

/// Bytes before the coding history.
pub(crate) const BEXT_BYTES: usize = size_of::<Record>();

/// The fixed part, 602 bytes.
#[derive(FromBytes, IntoBytes, Immutable, KnownLayout, Unaligned)]
#[repr(C)]
struct Record {
    /// +0: ASCII, ended by a zero byte if shorter.
    description: [u8; 256],
    /// +256
    originator: [u8; 32],
    /// +288
    originator_reference: [u8; 32],
    /// +320: yyyy-mm-dd, any separator.
    date: [u8; 10],
    /// +330: hh-mm-ss, any separator.
    time: [u8; 8],
    /// +338: low word of the first sample since midnight.
    time_reference_low: U32,
    /// +342: high word.
    time_reference_high: U32,
    /// +346: 0, 1 or 2.
    version: U16,
    /// +348: from version 1 on; SMPTE ST 330.
    umid: [u8; 64],
    /// +412: the five loudness fields, from version 2 on, each 100 times its value.
    loudness: [I16; 5],
    /// +422: zero.
    reserved: [u8; 180],
}

/// What a broadcast extension says.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Bext {
    /// Free text, at most 256 characters; the first 64 are its summary.
    pub description: String,
    /// Who or what made it, at most 32 characters.
    pub originator: String,
    /// The maker's unambiguous reference, at most 32 characters.
    pub originator_reference: String,
    /// Date of origin, `yyyy-mm-dd`; read with any separator.
    pub date: String,
    /// Time of origin, `hh:mm:ss`; read with any separator.
    pub time: String,
    /// The first sample, counted since midnight in samples at the rate of the `fmt ` chunk.
    pub time_reference: u64,
    /// 0, 1 or 2: which of the fields below are meant. Later ones read as 2.
    pub version: u16,
    /// The unique material identifier as stored; `None` before version 1 or when all zero.
    pub umid: Option<[u8; 64]>,
    /// `None` before version 2.
    pub loudness: Option<Loudness>,
    /// What was done to the signal: lines ended by CR LF, the newest last (EBU R 98).
    pub coding_history: String,
}

/// The loudness fields, each 100 times its value and `None` when not used.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Loudness {
    /// Integrated loudness, 100 LUFS.
    pub value: Option<i16>,
    /// Loudness range, 100 LU.
    pub range: Option<i16>,
    /// Maximum true peak level, 100 dBTP.
    pub max_true_peak: Option<i16>,
    /// Maximum momentary loudness, 100 LUFS.
    pub max_momentary: Option<i16>,
    /// Maximum short-term loudness, 100 LUFS.
    pub max_short_term: Option<i16>,
}

impl Loudness {
    /// The five fields in the order of the chunk.
    fn stored(self) -> [I16; 5] {
        [
            self.value,
            self.range,
            self.max_true_peak,
            self.max_momentary,
            self.max_short_term,
        ]
        .map(|field| I16::new(field.unwrap_or(UNUSED_LOUDNESS)))
    }

    /// The ten bytes that stand for it.
    pub(crate) fn to_bytes(self) -> Vec<u8> {
        self.stored().as_bytes().to_vec()
    }
}

impl Bext {
    /// Reads a payload by position. A short one is read as far as it goes, down to the end of the time reference;
    /// `None` below that.
    pub(crate) fn parse(payload: &[u8], oddities: &mut Oddities<'_>) -> Option<Self> {
        if payload.len() < BEXT_BYTES {
            let found = format!("{} bytes", payload.len());
            let words = Words::new(found, "602 bytes or more", CLAUSE);
            oddities.add(OddityKind::ChunkTooShort, 0, words);
        }
        if payload.len() < 346 {
            return None;
        }
        let mut record = Record::new_zeroed();
        let (fixed, history) = payload.split_at(payload.len().min(BEXT_BYTES));
        record.as_mut_bytes()[..fixed.len()].copy_from_slice(fixed);

        let mut field = |at: u64, bytes: &[u8]| {
            let bytes = until_nul(bytes);
            if !bytes.is_ascii() {
                let words = Words::new("characters beyond ASCII", "ASCII", CLAUSE);
                oddities.add(OddityKind::BextText, at, words);
            }
            utf8_or_windows_1252(bytes)
        };
        let version = record.version.get();
        let loud = record
            .loudness
            .map(I16::get)
            .map(|field| Some(field).filter(|&f| f != UNUSED_LOUDNESS));
        let [value, range, max_true_peak, max_momentary, max_short_term] = loud;
        Some(Self {
            description: field(0, &record.description),
            originator: field(256, &record.originator),
            originator_reference: field(288, &record.originator_reference),
            date: field(320, &record.date),
            time: field(330, &record.time),
            time_reference: u64::from(record.time_reference_high.get()) << 32
                | u64::from(record.time_reference_low.get()),
            version,
            umid: (version >= 1 && record.umid != [0; 64]).then_some(record.umid),
            // Bytes 412 to 421 mean nothing before version 2, whatever they hold (clause 1.1).
            loudness: (version >= 2).then_some(Loudness {
                value,
                range,
                max_true_peak,
                max_momentary,
                max_short_term,
            }),
            coding_history: field(602, history),
        })
    }

    /// The payload, of even size. Text is made ASCII and cut to its field; the coding history's lines end with CR LF;
    /// the version is raised to what the fields used need.
    #[must_use]
    pub fn to_bytes(&self) -> Vec<u8> {
        let needed = if self.loudness.is_some() {
            2
        } else {
            u16::from(self.umid.is_some())
        };
        let version = self.version.clamp(needed, 2.max(needed));
        let record = Record {
            description: fixed(&ascii(&self.description, &['\r', '\n'])),
            originator: fixed(&ascii(&self.originator, &[])),
            originator_reference: fixed(&ascii(&self.originator_reference, &[])),
            date: fixed(&ascii(&self.date, &[])),
            time: fixed(&ascii(&self.time, &[])),
            time_reference_low: U32::new((self.time_reference & 0xFFFF_FFFF) as u32),
            time_reference_high: U32::new((self.time_reference >> 32) as u32),
            version: U16::new(version),
            umid: self.umid.unwrap_or([0; 64]),
            loudness: if version >= 2 {
                self.loudness.unwrap_or_default().stored()
            } else {
                [I16::ZERO; 5]
            },
            reserved: [0; 180],
        };
        let mut bytes = record.as_bytes().to_vec();
        for line in self.coding_history.lines().filter(|line| !line.is_empty()) {
            bytes.extend(ascii(line, &[]).bytes());
            bytes.extend(*b"\r\n");
        }
        // An even size, because a widespread reader of RF64 knows no pad bytes before the audio.
        if !bytes.len().is_multiple_of(2) {
            bytes.push(0);
        }
        bytes
    }

    /// Year, month and day, read by position whatever the separators are; `None` when they are no date.
    #[must_use]
    pub fn date_parts(&self) -> Option<(u16, u8, u8)> {
        let [year, month, day] = [(0, 4), (5, 7), (8, 10)].map(|(a, b)| digits(&self.date, a, b));
        let (year, month, day) = (year?, month? as u8, day? as u8);
        ((1..=12).contains(&month) && (1..=31).contains(&day)).then_some((year, month, day))
    }

    /// Hour, minute and second, read by position whatever the separators are; `None` when they are no time of day.
    #[must_use]
    pub fn time_parts(&self) -> Option<(u8, u8, u8)> {
        let [hour, minute, second] =
            [(0, 2), (3, 5), (6, 8)].map(|(a, b)| digits(&self.time, a, b));
        let (hour, minute, second) = (hour? as u8, minute? as u8, second? as u8);
        (hour < 24 && minute < 60 && second < 60).then_some((hour, minute, second))
    }
}

/// The text in `N` bytes, cut or filled with zero bytes.
fn fixed<const N: usize>(text: &str) -> [u8; N] {
    let mut out = [0; N];
    let n = text.len().min(N);
    out[..n].copy_from_slice(&text.as_bytes()[..n]);
    out
}

/// The decimal number in characters `from..to`.
fn digits(text: &str, from: usize, to: usize) -> Option<u16> {
    let part = text.get(from..to)?;
    part.bytes()
        .all(|byte| byte.is_ascii_digit())
        .then(|| part.parse().ok())?
}
