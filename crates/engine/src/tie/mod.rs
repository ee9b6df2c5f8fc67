//! A joint take's sound in, ties out: positions on two units that are one instant, each with its sigma and its source.

pub mod correlate;
pub mod acoustic;
pub mod common;
pub mod timecode;

use crate::signal::Sound;
use crate::units::{LeadPos, Samples, UnitPos};

/// Two positions on two units that are one instant.
#[derive(Debug, Clone, PartialEq)]
pub struct Tie {
    /// The instant on the lead.
    pub lead: LeadPos,
    /// The same instant on the follower.
    pub follower: UnitPos,
    /// One standard deviation of the follower position.
    pub sigma: Samples,
    /// Whether the clock was made to follow it (false: an outlier).
    pub used: bool,
    /// Where it came from.
    pub source: Source,
}

/// Where a tie came from. Channels are 0-based.
#[derive(Debug, Clone, PartialEq)]
pub enum Source {
    /// One electrical signal on `lead` and `follower`.
    CommonSignal {
        /// The lead's channel.
        lead: usize,
        /// The follower's channel.
        follower: usize,
    },
    /// The beginning of one word of timecode on both.
    Timecode {
        /// The lead's channel.
        lead: usize,
        /// The follower's channel.
        follower: usize,
    },
    /// One electrical signal on another follower, `unit`, through which this one was placed, and on this follower.
    Through {
        /// The unit in the middle.
        unit: String,
        /// Its channel.
        lead: usize,
        /// The follower's channel.
        follower: usize,
    },
    /// The sound of one place at different microphones.
    Acoustic,
    /// The units' stamps.
    Stamps,
    /// A person, with the reason given.
    Manual(String),
}

/// Where a follower is expected before anything was measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Guess {
    /// The lead position of the follower's sample 0.
    pub offset: LeadPos,
    /// Plus or minus how much, samples: the half width of the search.
    pub within: Samples,
}

/// The channel pairs of two takes, 0-based, some of whose channels carry timecode.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pairs {
    /// Those that may carry one electrical signal: the code of two generators looks enough alike for one, so two tracks of
    /// code are not among them.
    pub wired: Vec<(usize, usize)>,
    /// Those that may have heard one room: code is no sound of it.
    pub heard: Vec<(usize, usize)>,
}

impl Pairs {
    /// Of the lead's channels and the follower's, `code` those of either that carry timecode.
    #[must_use]
    pub fn beside(code: (&[usize], &[usize]), lead: &dyn Sound, follower: &dyn Sound) -> Self {
        let kept = |keep: fn(bool, bool) -> bool| {
            let mut pairs = all_pairs(lead, follower);
            pairs.retain(|(a, b)| keep(code.0.contains(a), code.1.contains(b)));
            pairs
        };
        Self {
            wired: kept(|a, b| !(a && b)),
            heard: kept(|a, b| !a && !b),
        }
    }
}

/// Every channel of the lead with every one of the follower, 0-based.
#[must_use]
pub fn all_pairs(lead: &dyn Sound, follower: &dyn Sound) -> Vec<(usize, usize)> {
    (0..lead.channels())
        .flat_map(|a| (0..follower.channels()).map(move |b| (a, b)))
        .collect()
}
