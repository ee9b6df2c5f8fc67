//! One follower of a joint take with its sound, what is known about it and what is claimed because of that, before it is
//! written down.

use crate::alignment::{Basis, Status};
use crate::clock::slips::seams;
use crate::clock::{Clock, Side, Slip};
use crate::error::Result;
use crate::pair::Candidate;
use crate::signal::Mended;
use crate::take::TakeSound;
use crate::tie::{Source, all_pairs};

use super::chain::place_through;
use super::claim::{Claim, Evidences};
use super::closure::{Rings, close};

/// A follower that was measured against the lead.
pub struct Placed<'a> {
    /// Its take and what the stamps say of it.
    pub candidate: &'a Candidate<'a>,
    /// Its sound.
    pub sound: TakeSound,
    /// What is known.
    pub evidences: Evidences,
    /// What may be said.
    pub claim: Claim,
}

/// What three and more units allow: a place through another follower, and rings that must close.
///
/// # Errors
/// When a file cannot be read.
pub fn several_units(rings: &Rings<'_>, placed: &mut [Placed<'_>]) -> Result<()> {
    if placed.len() < 2 {
        return Ok(());
    }
    place_through(placed, rings.progress)?;
    close(rings, placed)
}

/// The channel pairs of two followers that may carry one electrical signal. Code is one only where both are known to carry
/// that of one generator: that of two looks the same.
pub fn wired_pairs(a: &Placed<'_>, b: &Placed<'_>) -> Vec<(usize, usize)> {
    let known = a.is_coded() && b.is_coded();
    let mut pairs = all_pairs(&a.sound, &b.sound);
    pairs.retain(|(x, y)| known || !(a.evidences.code.contains(x) && b.evidences.code.contains(y)));
    pairs
}

/// The channel pairs of two followers that may have heard one room.
pub fn heard_pairs(a: &Placed<'_>, b: &Placed<'_>) -> Vec<(usize, usize)> {
    let mut pairs = all_pairs(&a.sound, &b.sound);
    pairs.retain(|(x, y)| !a.evidences.code.contains(x) && !b.evidences.code.contains(y));
    pairs
}

impl Placed<'_> {
    /// Whether timecode on its tracks placed it.
    pub fn is_coded(&self) -> bool {
        self.claim.basis == Basis::TimecodeTrack
    }

    /// Whether others may rest on its place.
    pub fn is_firm(&self) -> bool {
        self.claim.status == Status::Established && self.candidate.undecided.is_empty()
    }

    /// The slips of its file, when its clock was measured.
    fn slips(&self) -> &[Slip] {
        self.claim.measured.as_ref().map_or(&[][..], |m| &m.slips)
    }

    /// Its sound as it would stand without its slips.
    pub fn mended(&self) -> Mended<'_> {
        Mended::new(&self.sound, &seams(self.slips(), Side::Follower))
    }

    /// Its clock from the positions of [`Self::mended`].
    pub fn clock(&self) -> Clock {
        self.claim.clock.mended(self.slips())
    }

    /// Its name.
    pub fn unit(&self) -> &str {
        &self.candidate.take.unit
    }

    /// The channel, 0-based, on which it was measured by a common signal or timecode.
    pub fn used_channel(&self) -> Option<usize> {
        let ties = &self.claim.measured.as_ref()?.ties;
        ties.iter().find_map(|tie| match tie.source {
            Source::CommonSignal { follower, .. }
            | Source::Timecode { follower, .. }
            | Source::Through { follower, .. } => Some(follower),
            _ => None,
        })
    }
}
