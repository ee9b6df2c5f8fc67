//! Takes made up by hand: who leads, what runs together, what never did, and why.

use jiff::civil::DateTime;
use timecode::{Counting, FrameRate};

use super::*;
use crate::error::Kind;
use crate::finding::Weight;
use crate::take::{Notes, Stamp, Timecode};
use crate::units::{SampleCount, SampleRate};

mod together;
mod calendar;
mod mistakes;
mod random;

const HOUR: f64 = 3600.0;

/// A take of two channels at 48 kHz with a stamp in seconds since midnight.
pub(crate) fn take(name: &str, stamp_s: f64, seconds: f64) -> Take {
    Take {
        unit: String::new(),
        name: name.into(),
        parts: Vec::new(),
        channels: vec![String::new(); 2],
        rate: SampleRate(48_000),
        length: SampleCount((seconds * 48_000.0) as u64),
        bits: 24,
        float: false,
        stamp: Some(Stamp {
            samples: (stamp_s * 48_000.0).round() as u64,
            counting: Counting::new(FrameRate::F30, false).ok(),
            source: "bext",
        }),
        date: String::new(),
        time: String::new(),
        recorded: None,
        notes: Notes::default(),
        other_chunks: Vec::new(),
        undecided: Vec::new(),
    }
}

fn dated(mut take: Take, at: &str) -> Take {
    take.recorded = Some(at.parse::<DateTime>().expect("a date and a time"));
    take
}

fn unstamped(mut take: Take) -> Take {
    take.stamp = None;
    take
}

fn counted(mut take: Take, rate: FrameRate, drop_frame: bool) -> Take {
    let stamp = take.stamp.as_mut().expect("stamped");
    stamp.counting = Counting::new(rate, drop_frame).ok();
    take
}

pub(crate) fn survey(units: Vec<(&str, Vec<Take>)>) -> Survey {
    let units = units.into_iter().map(|(name, mut takes)| {
        takes.iter_mut().for_each(|take| take.unit = name.into());
        Unit {
            name: name.into(),
            cards: vec![name.into()],
            stamp_resolution: Some((1.0, takes.len())),
            timecode: Timecode::Free,
            takes,
        }
    });
    Survey {
        units: units.collect(),
        cards: Vec::new(),
    }
}

fn two(north: Vec<Take>, south: Vec<Take>) -> Survey {
    survey(vec![("NORTH", north), ("SOUTH", south)])
}

/// Every pair found, as `lead take, follower's take, offset in seconds`.
fn pairs(found: &Warned<Vec<Joint<'_>>>) -> Vec<(String, String, Option<f64>)> {
    let mut pairs = Vec::new();
    for joint in &found.value {
        for follower in &joint.followers {
            let offset = follower
                .by_stamps
                .map(|offset| offset.0 / joint.lead.rate.hz());
            pairs.push((joint.lead.name.clone(), follower.take.name.clone(), offset));
        }
    }
    pairs
}

fn pair(lead: &str, take: &str, offset_s: f64) -> (String, String, Option<f64>) {
    (lead.into(), take.into(), Some(offset_s))
}

fn finding<'a>(found: &'a Warned<Vec<Joint<'_>>>, code: &str) -> &'a Finding {
    let mut list = found.findings.iter().filter(|finding| finding.code == code);
    let first = list
        .next()
        .unwrap_or_else(|| panic!("{code} in {:#?}", found.findings));
    assert!(
        !first.place.is_empty() && !first.next_step.is_empty() || code == "ran-alone",
        "{first:?}"
    );
    first
}

fn codes<'a>(found: &'a Warned<Vec<Joint<'_>>>) -> Vec<&'a str> {
    found
        .findings
        .iter()
        .map(|finding| finding.code.as_str())
        .collect()
}
