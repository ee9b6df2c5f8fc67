//! A joint take with its sounds in, what a screen shows and a loudspeaker plays of it out: any stretch of any channel, from
//! the whole take down to single samples, as it was measured ([`How::After`]) and as the stamps alone say ([`How::Before`]).

mod listen;
mod peaks;
mod seen;

pub use listen::{LONGEST_S, Played, Two};
pub use peaks::{PER_PEAK, Peaks};
pub use seen::{Asked, Seen};

use crate::alignment::{JointTake, Member, Placement, Role};
use crate::build::open_sound;
use crate::deliver::stamp_of;
use crate::error::{Error, Kind, Result};
use crate::render::{Course, Renderer, Segment};
use crate::signal::Sound;
use crate::take::TakeSound;
use crate::units::SampleRate;

/// Which place a follower is shown at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum How {
    /// As it comes to the recording.
    After,
    /// At its nominal rate where its stamp says, to a sample; where there is no stamp, from the lead's first sample on.
    Before,
}

/// A joint take that is looked at. The sources are opened, never written.
pub struct View {
    take: JointTake,
    parties: Vec<Party>,
}

/// A member with its sound.
struct Party {
    member: Member,
    /// The same, as its stamp says.
    stamped: Member,
    /// Absent when it could not be opened: the others are looked at without it.
    sound: Option<TakeSound>,
}

impl View {
    /// Opens the sources of a joint take. One that cannot be opened is told when its unit is asked for.
    #[must_use]
    pub fn open(take: &JointTake) -> Self {
        let party = |member: &Member| Party {
            member: member.clone(),
            stamped: stamped(take, member),
            sound: open_sound(take, member).ok(),
        };
        Self {
            take: take.clone(),
            parties: take.members.iter().map(party).collect(),
        }
    }

    /// The joint take.
    #[must_use]
    pub fn take(&self) -> &JointTake {
        &self.take
    }

    /// The sound of a unit's take, on its own clock.
    ///
    /// # Errors
    /// [`Kind::Usage`] when there is no such unit; [`Kind::Io`] when a file of it is not there, [`Kind::Verification`] when
    /// it is not the one that was measured.
    pub fn sound(&self, unit: &str) -> Result<&dyn Sound> {
        let party = self.party(unit)?;
        match &party.sound {
            Some(sound) => Ok(sound),
            // what is wrong is said as it is now
            None => Err(open_sound(&self.take, &party.member)
                .err()
                .unwrap_or_else(|| {
                    Error::new(
                        Kind::Io,
                        format!("{unit} could not be read, and can be now"),
                    )
                    .then("load the page again")
                })),
        }
    }

    /// The first lead position of any member and the one after the last.
    #[must_use]
    pub fn extent(&self) -> [i64; 2] {
        let lead = [0, self.take.length_samples as i64];
        let parties = self.parties.iter();
        parties.fold(lead, |[first, end], party| {
            let course = Course::of(&self.take, self.shown(party, How::After));
            match course.ok().and_then(|course| course.extent()) {
                Some(extent) => [first.min(extent.start), end.max(extent.end)],
                None => [first, end],
            }
        })
    }

    /// Where on its own clock a unit was at a lead position: samples since the first of its take; `None` where it recorded
    /// nothing.
    ///
    /// # Errors
    /// [`Kind::Usage`] when there is no such unit.
    pub fn instant(&self, unit: &str, at: f64, how: How) -> Result<Option<f64>> {
        let party = self.party(unit)?;
        let course = Course::of(&self.take, self.shown(party, how))?;
        let whole = at.floor() as i64;
        let Some(segment) = segment_at(&course, whole) else {
            return Ok(None);
        };
        let [here, next] = [whole, whole + 1].map(|n| segment.own_position(n));
        let own = here + (at - at.floor()) * (next - here);
        Ok(segment.own.contains(&(own.round() as i64)).then_some(own))
    }

    fn party(&self, unit: &str) -> Result<&Party> {
        let mut parties = self.parties.iter();
        parties
            .find(|party| party.member.unit == unit)
            .ok_or_else(|| {
                let names: Vec<&str> = self.take.members.iter().map(|m| m.unit.as_str()).collect();
                Error::new(Kind::Usage, format!("there is no unit {unit}"))
                    .then(format!("the units are {}", names.join(", ")))
            })
    }

    /// A member as it is shown: what has no place is shown as its stamp says.
    fn shown<'p>(&self, party: &'p Party, how: How) -> &'p Member {
        let unplaced = party.member.placement == Placement::NotPlaced;
        match how {
            How::After if !unplaced || party.member.role == Role::Lead => &party.member,
            _ => &party.stamped,
        }
    }

    /// The values of one channel, counted from 1, at lead positions `from ..`.
    fn rendered(
        &self,
        unit: &str,
        channel: u32,
        (from, length): (i64, usize),
        how: How,
    ) -> Result<Vec<f64>> {
        let party = self.party(unit)?;
        let sound = self.sound(unit)?;
        let channel = place_of(unit, sound, channel)?;
        let one = vec![(self.shown(party, how), sound, vec![channel])];
        let mut planes = vec![vec![0.0; length]];
        Renderer::with_channels(&self.take, one)?.render(from, &mut planes)?;
        Ok(planes.swap_remove(0))
    }
}

/// The place of a channel that is counted from 1.
fn place_of(unit: &str, sound: &dyn Sound, channel: u32) -> Result<usize> {
    let place = (channel as usize).wrapping_sub(1);
    let has = sound.channels();
    if place < has {
        return Ok(place);
    }
    Err(
        Error::new(Kind::Usage, format!("{unit} has no channel {channel}"))
            .then(format!("its channels are 1 to {has}")),
    )
}

fn segment_at(course: &Course, at: i64) -> Option<&Segment> {
    let segments = &course.segments;
    let after = segments.partition_point(|segment| segment.lead.end <= at);
    segments
        .get(after)
        .filter(|segment| segment.lead.contains(&at))
}

/// The member as its stamp alone says: at its nominal rate, no slips mended.
fn stamped(take: &JointTake, member: &Member) -> Member {
    let rates = (
        f64::from(take.sample_rate),
        f64::from(member.sample_rate.unwrap_or(take.sample_rate)),
    );
    let stamp = || {
        let own = stamp_of(member.parts.first()?)?;
        Some(own as f64 * rates.0 / rates.1)
    };
    let offset = take
        .start
        .samples_since_midnight
        .zip(stamp())
        .map_or(0.0, |(lead, own)| {
            let day = SampleRate(take.sample_rate).hz() * 86_400.0;
            let apart = own - lead as f64;
            apart - day * (apart / day).round()
        });
    let last = member.length_samples.saturating_sub(1) as f64;
    Member {
        placement: if member
            .sample_rate
            .is_some_and(|rate| rate != take.sample_rate)
        {
            Placement::Resampled
        } else {
            Placement::Exact
        },
        offset_samples: offset.round(),
        knots: vec![
            [0.0, offset.round()],
            [
                last.max(1.0),
                offset.round() + last.max(1.0) * rates.0 / rates.1,
            ],
        ],
        slips: Vec::new(),
        ..member.clone()
    }
}
