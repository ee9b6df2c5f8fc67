//! One follower of a joint take with its sound, what is known about it and what is claimed because of that, before it is
//! written down.

use crate::alignment::{Basis, Status};
use crate::clock::slips::seams;
use crate::clock::{Clock, Side, Slip};
use crate::error::Result;
use crate::pair::Candidate;
use crate::signal::{AtRate, Mended};
use crate::take::TakeSound;
use crate::tie::{Pairs, Source, all_pairs};

use super::chain::place_through;
use super::claim::{Claim, Evidences};
use super::closure::{Rings, close};

/// A follower that was measured against the lead.
pub struct Placed<'a> {
    /// Its take and what the stamps say of it.
    pub candidate: &'a Candidate<'a>,
    /// Its sound, at the lead's nominal rate.
    pub sound: AtRate<TakeSound>,
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

/// The channel pairs of two followers. Two tracks of code may carry one electrical signal where both are known to carry that of
/// one generator.
pub fn pairs(a: &Placed<'_>, b: &Placed<'_>) -> Pairs {
    let (first, second) = (&a.evidences.code, &b.evidences.code);
    let mut pairs = Pairs::beside((first, second), &a.sound, &b.sound);
    if a.is_coded() && b.is_coded() {
        pairs.wired = all_pairs(&a.sound, &b.sound);
    }
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
