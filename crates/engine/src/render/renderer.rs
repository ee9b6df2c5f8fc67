//! A joint take and its sounds in, samples on the lead's clock out: the value of any channel of any unit at any lead
//! position, whatever ranges are asked for and in whatever order.

use std::cell::Cell;
use std::ops::Range;

use super::course::{Course, Segment, Way};
use crate::alignment::{JointTake, Member, Placement};
use crate::error::{Error, Kind, Result};
use crate::signal::{Kernel, KernelSpec, Sound};

thread_local! {
    /// Source samples around what a thread resamples, so that no memory is asked for at every range.
    static SOURCE: Cell<Vec<Vec<f64>>> = const { Cell::new(Vec::new()) };
}

/// One member of a joint take with its sound and its course.
pub struct Part<'a> {
    /// The member as the alignment has it.
    pub member: &'a Member,
    /// Its samples along the lead's positions.
    pub course: Course,
    sound: &'a dyn Sound,
    channels: Vec<usize>,
    kernel: Option<Kernel>,
}

/// The members that are in the output, in the order of the alignment; their channels follow each other.
pub struct Renderer<'a> {
    parts: Vec<Part<'a>>,
}

impl<'a> Renderer<'a> {
    /// Prepares `members` of `take`, each with the sound of its take.
    ///
    /// # Errors
    /// [`Kind::Usage`] when a member is not placed, [`Kind::Format`] when its numbers are no course or its sound is not what
    /// the alignment says.
    pub fn new(take: &JointTake, members: &[(&'a Member, &'a dyn Sound)]) -> Result<Self> {
        let all: Vec<(&Member, &dyn Sound, Vec<usize>)> = members
            .iter()
            .map(|&(member, sound)| (member, sound, (0..sound.channels()).collect()))
            .collect();
        Self::with_channels(take, all)
    }

    /// The same for chosen channels of each member, counted from 0.
    ///
    /// # Errors
    /// As for [`Self::new`].
    pub fn with_channels(
        take: &JointTake,
        members: Vec<(&'a Member, &'a dyn Sound, Vec<usize>)>,
    ) -> Result<Self> {
        let parts = members
            .into_iter()
            .map(|(member, sound, channels)| Part::new(take, member, sound, channels))
            .collect::<Result<_>>()?;
        Ok(Self { parts })
    }

    /// The members, in order.
    #[must_use]
    pub fn parts(&self) -> &[Part<'a>] {
        &self.parts
    }

    /// How many channels there are.
    #[must_use]
    pub fn channels(&self) -> usize {
        self.parts.iter().map(|part| part.channels.len()).sum()
    }

    /// Fills `out`, one slice a channel and all of one length, with the values at lead positions `start ..`. The same
    /// values whatever range they are asked in.
    ///
    /// # Errors
    /// When a source cannot be read.
    pub fn render(&self, start: i64, out: &mut [Vec<f64>]) -> Result<()> {
        let mut rest = out;
        for part in &self.parts {
            let (own, others) = rest.split_at_mut(part.channels.len());
            part.render(start, own)?;
            rest = others;
        }
        Ok(())
    }
}

impl<'a> Part<'a> {
    fn new(
        take: &JointTake,
        member: &'a Member,
        sound: &'a dyn Sound,
        channels: Vec<usize>,
    ) -> Result<Self> {
        let refuse = |kind, why: String| {
            Error::new(kind, format!("{}, {}: {why}", take.name, member.unit))
                .then("measure again with `commontime align`")
        };
        if member.placement == Placement::NotPlaced {
            return Err(refuse(
                Kind::Usage,
                "has no place on the lead's clock".into(),
            ));
        }
        let found = (sound.length().0, sound.channels());
        if found != (member.length_samples, member.channels.len()) {
            let why = format!(
                "has changed: {} channels of {} samples, expected {} of {}",
                found.1,
                found.0,
                member.channels.len(),
                member.length_samples
            );
            return Err(refuse(Kind::Format, why));
        }
        let course = Course::of(take, member)?;
        let resampled = course
            .segments
            .iter()
            .any(|segment| matches!(segment.way, Way::Lines(_)));
        let rates = (
            sound.rate().0,
            member.sample_rate.unwrap_or(take.sample_rate),
        );
        if rates.0 != rates.1 || (!resampled && rates.0 != take.sample_rate) {
            let why = format!("is at {} Hz, the lead at {} Hz", rates.0, take.sample_rate);
            return Err(refuse(Kind::Unsupported, why));
        }
        let kernel = resampled.then(|| {
            let (own, lead) = (sound.rate().hz(), f64::from(take.sample_rate));
            Kernel::shared(KernelSpec::rendering(own, lead))
        });
        Ok(Self {
            member,
            channels,
            course,
            sound,
            kernel,
        })
    }

    /// Whether its samples are copied bit for bit.
    #[must_use]
    pub fn is_copied(&self) -> bool {
        self.kernel.is_none()
    }

    fn render(&self, start: i64, out: &mut [Vec<f64>]) -> Result<()> {
        if out.is_empty() {
            return Ok(());
        }
        let length = out.first().map_or(0, Vec::len) as i64;
        // segments follow each other; what lies between them is silent
        let mut done = 0;
        for segment in &self.course.segments {
            let from = segment.lead.start.max(start);
            let to = segment.lead.end.min(start + length);
            if from >= to {
                continue;
            }
            let inside = (from - start) as usize..(to - start) as usize;
            out.iter_mut()
                .for_each(|plane| plane[done..inside.start].fill(0.0));
            done = inside.end;
            let mut planes: Vec<&mut [f64]> = out
                .iter_mut()
                .map(|plane| &mut plane[inside.clone()])
                .collect();
            match &segment.way {
                Way::Shift(shift) => self.sound.read(&self.channels, from - shift, &mut planes)?,
                Way::Lines(lines) => {
                    let mut positions = vec![(0, 0.0); inside.len()];
                    segment.positions(lines, from, &mut positions);
                    self.resample(segment, &positions, &mut planes)?;
                }
            }
        }
        out.iter_mut().for_each(|plane| plane[done..].fill(0.0));
        Ok(())
    }

    fn resample(
        &self,
        segment: &Segment,
        positions: &[(i64, f64)],
        out: &mut [&mut [f64]],
    ) -> Result<()> {
        let (Some(kernel), Some(first), Some(last)) =
            (&self.kernel, positions.first(), positions.last())
        else {
            return Ok(());
        };
        let begin = first.0 - kernel.before() as i64;
        let length = (last.0 + kernel.taps() as i64 - begin) as usize;
        let own = overlap(&segment.own, begin, length);
        let mut kept = SOURCE.take();
        kept.resize_with(self.channels.len().max(kept.len()), Vec::new);
        let planes = &mut kept[..self.channels.len()];
        for plane in planes.iter_mut() {
            plane.resize(length, 0.0);
            plane[..own.start].fill(0.0);
            plane[own.end..].fill(0.0);
        }
        if !own.is_empty() {
            let mut inside: Vec<&mut [f64]> = planes
                .iter_mut()
                .map(|plane| &mut plane[own.clone()])
                .collect();
            self.sound
                .read(&self.channels, begin + own.start as i64, &mut inside)?;
        }
        let places: Vec<(usize, f64)> = positions
            .iter()
            .map(|&(whole, fraction)| ((whole - begin) as usize, fraction))
            .collect();
        let planes: Vec<&[f64]> = planes.iter().map(|plane| &plane[..length]).collect();
        kernel.resample_at(&planes, &places, out);
        SOURCE.set(kept);
        Ok(())
    }
}

/// Which of `length` slots from `begin` on lie in `own`.
fn overlap(own: &Range<i64>, begin: i64, length: usize) -> Range<usize> {
    let from = (own.start - begin).clamp(0, length as i64) as usize;
    let to = (own.end - begin).clamp(0, length as i64) as usize;
    from..to.max(from)
}
