//! A stretch of the lead's positions in, what a channel looks like there out: its values, or the least and the greatest of
//! each column.

use rayon::prelude::*;

use super::peaks::{PER_PEAK, Peaks};
use super::{How, View, place_of, segment_at};
use crate::error::Result;
use crate::render::{Course, Segment};
use crate::signal::Sound;

/// Samples a column up to which single values are shown.
const FEW: u64 = 4;
/// What a column of a sketch is made from, samples, and how many columns it has at most.
const PIECE: usize = 256;
const SKETCHED: usize = 256;

/// What a channel looks like. Where nothing was recorded values are no numbers.
#[derive(Debug, Clone, PartialEq)]
pub enum Seen {
    /// One value a lead position.
    Samples(Vec<f32>),
    /// The least and the greatest of each column.
    Extremes(Vec<[f32; 2]>),
    /// The same from a part of the samples: the peaks are not all there yet.
    Sketch(Vec<[f32; 2]>),
}

/// What is asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Asked<'a> {
    /// The unit and its channel, counted from 1.
    pub unit: &'a str,
    /// The channel.
    pub channel: u32,
    /// The first lead position and the one after the last.
    pub span: [i64; 2],
    /// Columns of the picture.
    pub columns: usize,
    /// Where the unit is shown.
    pub how: How,
}

const NOTHING: [f32; 2] = [f32::NAN, f32::NAN];

impl View {
    /// What a channel looks like over a stretch. `peaks` are those of the unit's take, as far as they are there.
    ///
    /// # Errors
    /// [`Kind::Usage`](crate::Kind::Usage) for a unit or channel that is not there; when a source cannot be read.
    pub fn seen(&self, asked: Asked<'_>, peaks: Option<&Peaks>) -> Result<Seen> {
        let [from, to] = asked.span;
        let length = to.saturating_sub(from).max(0) as u64;
        let columns = asked.columns.max(1);
        let party = self.party(asked.unit)?;
        let sound = self.sound(asked.unit)?;
        let channel = place_of(asked.unit, sound, asked.channel)?;
        let course = Course::of(&self.take, self.shown(party, asked.how))?;
        if length <= FEW * columns as u64 {
            let values = self.rendered(
                asked.unit,
                asked.channel,
                (from, length as usize),
                asked.how,
            )?;
            let values = (from..).zip(values).map(|(at, value)| {
                let recorded = segment_at(&course, at).is_some();
                if recorded { value as f32 } else { f32::NAN }
            });
            return Ok(Seen::Samples(values.collect()));
        }
        let width = length as f64 / columns as f64;
        let edge = |column: usize| from + (column as f64 * width).round() as i64;
        let look = Look {
            course: &course,
            sound,
            channel,
            peaks,
        };
        let columns_of = |column: usize| [edge(column), edge(column + 1)];
        if width < 2.0 * PER_PEAK as f64 {
            let all = (0..columns)
                .into_par_iter()
                .map(|c| look.whole(columns_of(c)));
            return Ok(Seen::Extremes(all.collect::<Result<_>>()?));
        }
        let known: Option<Vec<[f32; 2]>> =
            (0..columns).map(|c| look.known(columns_of(c))).collect();
        if let Some(known) = known {
            return Ok(Seen::Extremes(known));
        }
        // a sketch: few columns, each from its middle, the ones between as their neighbours
        let every = columns.div_ceil(SKETCHED).max(1);
        let few: Vec<[f32; 2]> = (0..columns.div_ceil(every))
            .into_par_iter()
            .map(|group| {
                let span = columns_of(group * every);
                look.known(span).map_or_else(|| look.piece(span), Ok)
            })
            .collect::<Result<_>>()?;
        let sketch = (0..columns).map(|column| few[column / every]);
        Ok(Seen::Sketch(sketch.collect()))
    }
}

/// One channel that is looked at.
struct Look<'a> {
    course: &'a Course,
    sound: &'a dyn Sound,
    channel: usize,
    peaks: Option<&'a Peaks>,
}

impl Look<'_> {
    /// Own samples that fall into a span of lead positions, segment by segment.
    fn own(&self, [from, to]: [i64; 2]) -> impl Iterator<Item = [i64; 2]> + '_ {
        let first = self
            .course
            .segments
            .partition_point(|segment| segment.lead.end <= from);
        self.course.segments[first..]
            .iter()
            .take_while(move |segment| segment.lead.start < to)
            .filter_map(move |segment| own_of(segment, from, to))
    }

    /// From all samples.
    fn whole(&self, span: [i64; 2]) -> Result<[f32; 2]> {
        let mut seen = NOTHING;
        for [first, end] in self.own(span) {
            seen = both(seen, self.read(first, (end - first) as usize)?);
        }
        Ok(seen)
    }

    /// From the peaks, if they are there as far as that.
    fn known(&self, span: [i64; 2]) -> Option<[f32; 2]> {
        let mut seen = NOTHING;
        for [first, end] in self.own(span) {
            seen = both(seen, self.peaks?.between(self.channel, first, end)?);
        }
        Some(seen)
    }

    /// From some samples in the middle.
    fn piece(&self, span: [i64; 2]) -> Result<[f32; 2]> {
        match self.own(span).max_by_key(|[first, end]| end - first) {
            Some([first, end]) => {
                let length = ((end - first) as usize).min(PIECE);
                self.read(first + (end - first - length as i64) / 2, length)
            }
            None => Ok(NOTHING),
        }
    }

    fn read(&self, first: i64, length: usize) -> Result<[f32; 2]> {
        let mut plane = vec![0.0; length];
        self.sound
            .read(&[self.channel], first, &mut [&mut plane[..]])?;
        Ok(extremes(&plane))
    }
}

/// Own samples of a segment between two lead positions; `None` where there are none.
fn own_of(segment: &Segment, from: i64, to: i64) -> Option<[i64; 2]> {
    let (from, to) = (from.max(segment.lead.start), to.min(segment.lead.end));
    let first = (segment.own_position(from).round() as i64).max(segment.own.start);
    let end = (segment.own_position(to).round() as i64)
        .max(first + 1)
        .min(segment.own.end);
    (first < end).then_some([first, end])
}

/// The least and the greatest of samples.
pub(super) fn extremes(samples: &[f64]) -> [f32; 2] {
    let all = samples.iter().filter(|value| value.is_finite());
    let [least, greatest] = all.fold(
        [f64::INFINITY, f64::NEG_INFINITY],
        |[least, most], value| [least.min(*value), most.max(*value)],
    );
    match least <= greatest {
        true => [least as f32, greatest as f32],
        false => NOTHING,
    }
}

/// Of two; what is no number counts as nothing.
pub(super) fn both(a: [f32; 2], b: [f32; 2]) -> [f32; 2] {
    [a[0].min(b[0]), a[1].max(b[1])]
}
