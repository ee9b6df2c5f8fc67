//! A practice shoot's truth in, what is asked and what is right out; sealed and opened again.
//!
//! Sealing keeps one from reading the truth by accident, and nothing more: whoever has the program can open it.

use std::fmt::Write as _;

use serde::{Deserialize, Serialize};

use super::kind::Kind;
use crate::error::{Error, Result};
use crate::rig::Feed;
use crate::rng;
use crate::room::SPEED_OF_SOUND_M_PER_S;
use crate::truth::{Truth, UnitTruth};

/// The largest distance of microphones on different units that the sheet tells, metres; all scenes stay below it.
pub(super) const SPACING_M: f64 = 2.0;
/// The distance the program assumes when it is told none, metres.
const UNTOLD_M: f64 = 10.0;
const FORMAT: &str = "commontime-practice";
const HEADING: &str = "# The truth of a practice shoot, sealed so that nobody reads it by accident. It is no secret:\n\
    # `commontime rehearse mark` opens it, and so can whoever wants to.\n";

/// All that is true of a practice shoot.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Key {
    format: String,
    version: u32,
    /// What happened.
    pub kind: Kind,
    /// What everything random follows from.
    pub seed: u64,
    /// The takes.
    pub takes: Vec<Truth>,
}

/// One question about one take of the follower.
#[derive(Debug, Clone, PartialEq)]
pub struct Question {
    /// The follower's take.
    pub take: String,
    /// What is asked, as the form calls it.
    pub asked: &'static str,
    /// What is right.
    pub expected: Expected,
    /// Why.
    pub why: String,
}

/// What is right.
#[derive(Debug, Clone, PartialEq)]
pub enum Expected {
    /// One of these words; the first is shown as the truth.
    Words(Vec<String>),
    /// A number.
    Number {
        /// The truth.
        truth: f64,
        /// How closely the recordings can tell it.
        reach: f64,
        /// A claim wider than this says too little.
        widest: f64,
        /// The unit of all three.
        unit: &'static str,
    },
    /// Nothing in the recordings tells; `words` are right too.
    NotEstablished {
        /// What else is right.
        words: Vec<String>,
    },
}

/// What a take of the follower can be placed by.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Ground {
    Wire,
    Stamps,
    Room,
    Nothing,
}

/// How a file's take is called: the file's name without its ending.
pub(super) fn take_of(unit: &UnitTruth) -> String {
    let file = unit.files.first().map_or("", String::as_str);
    let name = file.rsplit('/').next().unwrap_or(file);
    name.rsplit_once('.')
        .map_or(name, |(stem, _)| stem)
        .to_owned()
}

impl Key {
    pub(super) fn new(kind: Kind, seed: u64, takes: Vec<Truth>) -> Self {
        Self {
            format: FORMAT.to_owned(),
            version: 1,
            kind,
            seed,
            takes,
        }
    }

    /// The lead's name.
    #[must_use]
    pub fn lead(&self) -> &str {
        self.takes.first().map_or("", |take| take.lead.as_str())
    }

    pub(super) fn sealed(&self) -> Result<String> {
        let plain =
            serde_json::to_string(self).map_err(|error| Error::invalid(error.to_string()))?;
        let mut text = HEADING.to_owned();
        let covered: Vec<u8> = cover(plain.as_bytes()).collect();
        for line in covered.chunks(48) {
            for byte in line {
                let _ = write!(text, "{byte:02x}");
            }
            text.push('\n');
        }
        Ok(text)
    }

    pub(super) fn of_sealed(text: &str) -> std::result::Result<Self, String> {
        let not_ours = || "is not the sealed truth of a practice shoot".to_owned();
        let digits: Vec<u8> = text
            .lines()
            .filter(|line| !line.starts_with('#'))
            .flat_map(|line| line.trim().bytes())
            .collect();
        let nibble = |digit: u8| (digit as char).to_digit(16);
        let (pairs, rest) = digits.as_chunks::<2>();
        let bytes: Option<Vec<u8>> = pairs
            .iter()
            .map(|[high, low]| Some((nibble(*high)? * 16 + nibble(*low)?) as u8))
            .collect();
        let bytes = bytes.filter(|_| rest.is_empty()).ok_or_else(not_ours)?;
        let plain: Vec<u8> = cover(&bytes).collect();
        let key: Self = serde_json::from_slice(&plain).map_err(|_| not_ours())?;
        if key.format != FORMAT || key.version != 1 {
            return Err(not_ours());
        }
        Ok(key)
    }

    /// All that is asked, take by take.
    #[must_use]
    pub fn questions(&self) -> Vec<Question> {
        let takes = self.takes.iter().enumerate();
        takes
            .flat_map(|(number, truth)| {
                let lead = truth.units.first();
                let followers = truth.units.iter().skip(1);
                followers.flat_map(move |unit| {
                    lead.map_or_else(Vec::new, |lead| self.about(number, lead, unit, truth))
                })
            })
            .collect()
    }

    fn ground(&self, number: usize) -> Ground {
        match self.kind {
            Kind::Linked | Kind::Slip => Ground::Wire,
            Kind::JamLost if number < 2 => Ground::Stamps,
            Kind::JamLost | Kind::WrongRate | Kind::Distance => Ground::Room,
            Kind::NoSigns => Ground::Nothing,
        }
    }

    fn about(
        &self,
        number: usize,
        lead: &UnitTruth,
        unit: &UnitTruth,
        truth: &Truth,
    ) -> Vec<Question> {
        let ground = self.ground(number);
        let take = take_of(unit);
        let ask = |asked: &'static str, expected: Expected, why: &str| Question {
            take: take.clone(),
            asked,
            expected,
            why: why.to_owned(),
        };
        let number = |truth: f64, reach: f64, widest: f64, unit: &'static str| {
            if ground == Ground::Nothing {
                return Expected::NotEstablished { words: Vec::new() };
            }
            Expected::Number {
                truth,
                reach,
                widest,
                unit,
            }
        };
        let rate_hz = f64::from(unit.clock.rate_hz);
        let metres = |metres: f64| metres / SPEED_OF_SOUND_M_PER_S * rate_hz;
        let (reach, widest, why) = match ground {
            Ground::Wire => (
                0.5,
                20.0,
                "one signal on both units tells it to hundredths of a sample",
            ),
            Ground::Stamps => (
                1.0,
                50.0,
                "the stamps tell it to a sample, and content does not contradict them",
            ),
            Ground::Room => (
                metres(SPACING_M),
                // the room's echoes leave open as much again
                2.0 * metres(UNTOLD_M),
                "only content tells it, and content cannot tell a later start from a longer way through the air",
            ),
            Ground::Nothing => (
                0.0,
                0.0,
                "nothing on the cards tells: no stamps, no common signal, no common sound",
            ),
        };
        let words =
            |words: &[&str]| Expected::Words(words.iter().map(|w| (*w).to_owned()).collect());
        let nothing = |also: &[&str]| Expected::NotEstablished {
            words: also.iter().map(|w| (*w).to_owned()).collect(),
        };
        let ran_with = take_of(lead);
        let together = match ground {
            Ground::Nothing => (nothing(&[]), why),
            Ground::Wire | Ground::Stamps => (
                words(&[&ran_with]),
                "they overlap, and what both recorded is the same",
            ),
            Ground::Room => (
                words(&[&ran_with]),
                "the sound of the room is the same on both, whatever the stamps say",
            ),
        };
        let slipped: i64 = unit.clock.slips.iter().map(|slip| slip.samples).sum();
        let slip = match ground {
            Ground::Wire => (
                number(slipped as f64, 0.5, 4.0, "samples"),
                "a slip is a step in the lag that leaves the rate as it was",
            ),
            Ground::Nothing => (nothing(&[]), why),
            _ => (
                words(&["0", "not established"]),
                "there is none; without a common signal a slip of a few samples could not be told",
            ),
        };
        let wires = |unit: &UnitTruth| {
            let spec = truth.shoot.units.iter().find(|spec| spec.name == unit.name);
            let mut channels = spec.into_iter().flat_map(|spec| &spec.channels);
            channels
                .find(|channel| matches!(channel.feed, Feed::Common(_)))
                .map(|channel| channel.polarity)
        };
        let inverted = match (wires(lead), wires(unit)) {
            (Some(a), Some(b)) if a != b => {
                (words(&["yes"]), "where one goes up, the other goes down")
            }
            (Some(_), Some(_)) => (words(&["no"]), "both go up together"),
            _ => (
                words(&["no common signal", "not established"]),
                "no channel of one unit carries the signal of a channel of the other",
            ),
        };
        let basis = match ground {
            Ground::Wire => words(&["common-signal"]),
            Ground::Stamps => words(&["stamps"]),
            Ground::Room => words(&["acoustic"]),
            Ground::Nothing => nothing(&["none"]),
        };
        let (rate_reach, rate_why) = match ground {
            Ground::Wire => (
                0.05,
                "the lag grows steadily, and a common signal tells how fast",
            ),
            Ground::Nothing => (0.0, why),
            _ => (
                1.0,
                "while nothing moves, the sound of the room tells how fast the lag grows",
            ),
        };
        let offset = number(unit.offset_samples, reach, widest, "samples");
        let rate = number(unit.rate_ppm, rate_reach, 10.0 * rate_reach, "ppm");
        vec![
            ask("ran_with", together.0, together.1),
            ask("offset_samples", offset, why),
            ask("rate_ppm", rate, rate_why),
            ask("slip_samples", slip.0, slip.1),
            ask("inverted", inverted.0, inverted.1),
            ask("basis", basis, why),
        ]
    }
}

/// Bytes with a running pattern laid over them; laid over twice it is gone.
fn cover(bytes: &[u8]) -> impl Iterator<Item = u8> + '_ {
    bytes.iter().enumerate().map(|(at, byte)| {
        let word = rng::key(0x5ea1, &[(at / 8) as u64]);
        byte ^ (word >> (8 * (at % 8))) as u8
    })
}
