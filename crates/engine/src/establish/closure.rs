//! The followers of a joint take in, closure over three units out: two followers measured on each other, beside what their
//! places on the lead say of the same.
//!
//! Only followers whose clocks were measured take part. Where the two share a common signal, the gap is in samples, looked at
//! in three stretches at most; a pair of channels that neither was placed by is taken before one that was, because only that
//! checks the wiring too. Where one of them rests on the sound of the room, and they share that, the rates must close.

use crate::alignment::{Basis, Status};
use crate::error::Result;
use crate::finding::{Finding, Sign, Weight};
use crate::progress::Progress;
use crate::units::Samples;

use super::ring::gap;
use super::several::Placed;

/// A ring is open beyond so many sigma: chance does that once in 16 000.
const SIGMAS: f64 = 4.0;
/// What a ring of places may be open by however small the sigma, samples: the channels of one unit delay alike to some
/// thousandths of a sample (coupling capacitors differ; common practice, no source).
pub(super) const FLOOR: Samples = Samples(0.006);
/// A ring open by more than this is not built unasked: content is heard at another place, samples.
const GRAVE: f64 = 1.0;

/// What all rings of a joint take have in common.
pub struct Rings<'a> {
    /// The lead's name.
    pub lead: &'a str,
    /// Its length, samples.
    pub lead_length: u64,
    /// The largest distance between microphones on different units, metres.
    pub spacing_m: f64,
    /// Who is told how far it is.
    pub progress: &'a dyn Progress,
}

/// Looks at every ring of the lead and two followers, and writes what is found to both followers' claims.
///
/// # Errors
/// When a file cannot be read.
pub fn close(rings: &Rings<'_>, placed: &mut [Placed<'_>]) -> Result<()> {
    for second in 1..placed.len() {
        for first in 0..second {
            let (a, b) = (&placed[first], &placed[second]);
            if !takes_part(a) || !takes_part(b) || !are_apart(a, b) {
                continue;
            }
            let Some(gap) = gap(rings, (a, b))? else {
                continue;
            };
            let names = [rings.lead, a.unit(), b.unit()].join(", ");
            let (sign, finding) = (gap.sign(&names), gap.finding(&names));
            for index in [first, second] {
                let claim = &mut placed[index].claim;
                claim.signs.push(sign.clone());
                if finding.weight >= Weight::Ask {
                    claim.status = Status::NeedsDecision;
                }
                if index == second || finding.weight >= Weight::Ask {
                    claim.findings.push(finding.clone());
                }
            }
        }
    }
    Ok(())
}

fn takes_part(placed: &Placed<'_>) -> bool {
    let claim = &placed.claim;
    claim.measured.is_some()
        && claim.status != Status::NotEstablished
        && claim.basis != Basis::Manual
}

/// Not two takes of one unit, nor one placed through the other, whose ring closes by construction.
fn are_apart(a: &Placed<'_>, b: &Placed<'_>) -> bool {
    let rests_on = |x: &Placed<'_>, y: &Placed<'_>| x.claim.through.as_deref() == Some(y.unit());
    a.unit() != b.unit() && !rests_on(a, b) && !rests_on(b, a)
}

/// How far a ring is from closing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gap {
    /// The gap.
    pub value: f64,
    /// One standard deviation of it if the three measurements were independent.
    pub sigma: f64,
    /// What it may be however small the sigma.
    pub floor: f64,
    /// What was compared.
    pub kind: Kind,
}

/// What closes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Places, in samples, on channels that neither follower was placed by: checks the wiring too.
    OwnChannels,
    /// Places, in samples, on channels that a follower was placed by: checks the measuring alone.
    SameChannels,
    /// Rates by the sound of the room, in ppm.
    Rates,
}

impl Gap {
    /// What the gap may be.
    pub fn limit(&self) -> f64 {
        (SIGMAS * self.sigma).max(self.floor)
    }

    /// Whether the ring closes.
    pub fn closes(&self) -> bool {
        self.value.abs() <= self.limit()
    }

    fn unit(&self) -> &'static str {
        match self.kind {
            Kind::Rates => "ppm",
            _ => "samples",
        }
    }

    fn sign(&self, names: &str) -> Sign {
        Sign {
            name: format!("closure over {names}, {}", self.unit()),
            value: self.value,
            limit: self.limit(),
            passed: self.closes(),
        }
    }

    /// What a person should know of it; `names` are the three units, lead first.
    pub fn finding(&self, names: &str) -> Finding {
        let (value, limit, unit) = (self.value, self.limit(), self.unit());
        let what = match self.kind {
            Kind::OwnChannels => "measured on channels of its own",
            Kind::SameChannels => {
                "measured on the same channels, which checks the measuring but not the wiring"
            }
            Kind::Rates => "rates by the sound of the room",
        };
        let message = format!(
            "closure over {names}: {value:+.3} {unit}, expected within ±{limit:.3} ({what})"
        );
        let measured = (
            format!("{value:+.4} {unit} (sigma {:.4})", self.sigma),
            format!("±{limit:.4} {unit}"),
        );
        if self.closes() {
            return Finding::new("closure", Weight::Note, message).measured(measured.0, measured.1);
        }
        let weight = match self.kind {
            Kind::Rates => Weight::Warn,
            _ if value.abs() > GRAVE => Weight::Ask,
            _ => Weight::Warn,
        };
        Finding::new("closure-open", weight, format!("the ring does not close: {message}"))
            .measured(measured.0, measured.1)
            .because(match self.kind {
                Kind::Rates => "one of the three rates is wrong: something moved, or one pair shares too little sound",
                _ => {
                    "one of the three signals is not the same at both its ends: a radio link, an effect or a converter \
                     delays it on one unit"
                }
            })
            .then(
                "find which connection has a device in it; then name channels wired straight with --common \
                 UNIT:CH=UNIT:CH, or another lead with --lead, and measure again",
            )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NAMES: &str = "NORTH, SOUTH, WEST";

    fn gap(value: f64, sigma: f64, kind: Kind) -> Gap {
        Gap {
            value,
            sigma,
            floor: FLOOR.0,
            kind,
        }
    }

    #[test]
    fn four_sigma_are_allowed_and_never_less_than_the_knots_leave() {
        let close = gap(0.011, 0.003, Kind::OwnChannels);
        assert!(close.closes() && (close.limit() - 0.012).abs() < 1e-12);
        assert!(!gap(0.013, 0.003, Kind::OwnChannels).closes());
        assert!(gap(-0.005, 0.0001, Kind::OwnChannels).closes());
        assert!(!gap(-0.5, 0.01, Kind::Rates).closes());
        let finding = close.finding(NAMES);
        assert_eq!(finding.weight, Weight::Note);
        let words = "closure over NORTH, SOUTH, WEST: +0.011 samples, expected within ±0.012";
        assert!(finding.message.starts_with(words), "{}", finding.message);
    }

    #[test]
    fn an_open_ring_warns_and_one_open_by_more_than_a_sample_asks() {
        let weight = |value, kind| gap(value, 0.003, kind).finding(NAMES).weight;
        assert_eq!(weight(0.5, Kind::OwnChannels), Weight::Warn);
        assert_eq!(weight(-5.0, Kind::OwnChannels), Weight::Ask);
        assert_eq!(weight(5.0, Kind::Rates), Weight::Warn);
        let finding = gap(-5.0, 0.003, Kind::OwnChannels).finding(NAMES);
        assert!(!finding.cause.is_empty() && finding.next_step.contains("--common"));
    }
}
