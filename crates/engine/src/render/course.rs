//! A member of a joint take in, its course out: which of its samples stand at which lead positions, segment by segment
//! between slips (design section 7, `knots` and `slips`).

use crate::alignment::{JointTake, Member, Placement, Role, Slip};
use crate::clock::{Clock, Knot};
use crate::error::{Error, Kind, Result};
use crate::units::{LeadPos, Ppm, Samples, UnitPos};

/// Between two knots the rates of two working clocks differ by far less than this; a steeper line between neighbouring
/// knots is a slip, not a clock. Plausible clocks stay within 200 ppm (design section 5); a slip of one sample stands
/// between knots that are a few samples apart.
const SLIP_PPM: f64 = 1000.0;

/// Positions beyond this are no recording: 2^52 samples, where whole numbers are still exact in `f64` with room to spare.
const LARGEST: f64 = 4_503_599_627_370_496.0;

/// A position this close to a take's first or last sample is on it, samples.
const TOUCHING: f64 = 1e-6;

/// How a member's samples run along the lead's positions.
#[derive(Debug, Clone, PartialEq)]
pub struct Course {
    /// In order, without overlap; lead positions in none of them are silent.
    pub segments: Vec<Segment>,
}

/// A stretch between two slips.
#[derive(Debug, Clone, PartialEq)]
pub struct Segment {
    /// The lead positions it covers.
    pub lead: std::ops::Range<i64>,
    /// The member's own samples that belong to it; others read as silence here.
    pub own: std::ops::Range<i64>,
    /// Where a lead position falls on the member.
    pub way: Way,
}

/// Where lead positions fall on a member.
#[derive(Debug, Clone, PartialEq)]
pub enum Way {
    /// At `lead position - shift`, a whole sample: copied bit for bit.
    Shift(i64),
    /// Along straight lines between knots: resampled.
    Lines(Vec<Line>),
}

/// One straight line from a knot on; it holds up to the start of the next line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// The whole part of the knot's lead position.
    lead: i64,
    /// The rest of it, in [0, 1).
    lead_rest: f64,
    /// The whole part of the knot's own position.
    own: i64,
    /// The rest of it, in [0, 1).
    own_rest: f64,
    /// Own samples for one lead sample, rounded.
    step: i64,
    /// What the rounding left.
    step_rest: f64,
}

impl Line {
    fn between(a: &Knot, b: &Knot) -> Self {
        let slope = (b.follower - a.follower).0 / (b.lead - a.lead).0;
        let (lead, own) = (a.lead.0.floor(), a.follower.0.floor());
        Self {
            lead: lead as i64,
            lead_rest: a.lead.0 - lead,
            own: own as i64,
            own_rest: a.follower.0 - own,
            step: slope.round() as i64,
            step_rest: slope - slope.round(),
        }
    }

    /// The own position of lead position `n` as a whole sample and a fraction in [0, 1). Whole samples and the small rest
    /// are kept apart, so that the fraction does not coarsen with the length of the take.
    fn at(&self, n: i64) -> (i64, f64) {
        let away = n - self.lead;
        let slope = self.step as f64 + self.step_rest;
        let rest = self.own_rest + away as f64 * self.step_rest - self.lead_rest * slope;
        // the whole number below, without a call of the library's
        let cut = rest as i64;
        let whole = cut - i64::from(cut as f64 > rest);
        (self.own + away * self.step + whole, rest - whole as f64)
    }
}

impl Segment {
    /// The first lead position of this segment at or after the instant of its own sample `own`; `None` when there is none.
    #[must_use]
    pub fn lead_position(&self, own: i64) -> Option<i64> {
        let at = match &self.way {
            Way::Shift(shift) => own + shift,
            Way::Lines(lines) => {
                let line = lines.partition_point(|line| line.own < own).max(1) - 1;
                lines[line].first_at_or_after(own as f64)
            }
        };
        let at = at.max(self.lead.start);
        self.lead.contains(&at).then_some(at)
    }

    /// The own position of lead position `n`, as a real number.
    #[must_use]
    pub fn own_position(&self, n: i64) -> f64 {
        match &self.way {
            Way::Shift(shift) => (n - shift) as f64,
            Way::Lines(lines) => {
                let mut place = [(0, 0.0)];
                self.positions(lines, n, &mut place);
                place[0].0 as f64 + place[0].1
            }
        }
    }

    /// The own positions of `lead.start + from ..`, as whole sample and fraction, one for each slot of `out`.
    pub(super) fn positions(&self, lines: &[Line], from: i64, out: &mut [(i64, f64)]) {
        let mut line = lines.partition_point(|line| line.starts_by(from)).max(1) - 1;
        for (n, slot) in (from..).zip(out) {
            while lines.get(line + 1).is_some_and(|next| next.starts_by(n)) {
                line += 1;
            }
            *slot = lines[line].at(n);
        }
    }
}

impl Line {
    /// Whether its knot lies at or before lead position `n`.
    fn starts_by(&self, n: i64) -> bool {
        self.lead < n || (self.lead == n && self.lead_rest == 0.0)
    }
}

impl Course {
    /// The course of a member of `take`.
    ///
    /// # Errors
    /// [`Kind::Format`] when its numbers are no course: knots that do not rise, positions beyond any recording.
    pub fn of(take: &JointTake, member: &Member) -> Result<Self> {
        let length = whole(take, member, member.length_samples as f64)?;
        let mut slips = member.slips.clone();
        slips.sort_by_key(|slip| slip.at_sample);
        let sized = |slip: &Slip| slip.samples.is_finite() && slip.samples.abs() < LARGEST;
        if !slips.iter().all(sized) {
            return Err(refuse(take, member, "a slip is no number of samples"));
        }
        if member.role == Role::Lead {
            return Ok(Self::copied(length, 0, &slips));
        }
        if member.placement == Placement::Exact {
            let shift = whole(take, member, member.offset_samples.round())?;
            return Ok(Self::copied(length, shift, &slips));
        }
        let knots = knots(take, member)?;
        Ok(Self::along(length, &knots, &slips))
    }

    /// Whole shifts: `shift` at the start, changed by every slip.
    fn copied(length: i64, shift: i64, slips: &[Slip]) -> Self {
        let mut segments = Vec::new();
        let (mut from, mut shift) = (0, shift);
        for slip in slips {
            let size = slip.samples.round() as i64;
            let at = (slip.at_sample as i64).clamp(from, length);
            segments.push(Segment::copied(from..at, shift));
            // missing samples leave a gap in the lead's positions, samples too many are left out
            from = (at + size.max(0)).min(length);
            shift -= size;
        }
        segments.push(Segment::copied(from..length, shift));
        segments.retain(|segment| !segment.own.is_empty());
        Self { segments }
    }

    /// Lines between knots, parted where a slip makes the line too steep for a clock.
    fn along(length: i64, knots: &[Knot], slips: &[Slip]) -> Self {
        let ratio = overall_ratio(knots);
        let steep = |pair: &[Knot]| {
            let slope = (pair[1].follower - pair[0].follower).0 / (pair[1].lead - pair[0].lead).0;
            (slope / ratio - 1.0).abs() > SLIP_PPM * 1e-6
        };
        let mut segments = Vec::new();
        let (mut first, mut own_from) = (0, 0);
        for end in 1..=knots.len() {
            let last = end == knots.len();
            if !last && !steep(&knots[end - 1..=end]) {
                continue;
            }
            // samples before the slip belong to this side, samples from its end on to the next
            let (own_to, next_from) = if last {
                (length, length)
            } else {
                side_ends(knots[end - 1].follower, knots[end].follower, slips)
            };
            let beyond = (!last).then(|| knots[end].lead.0);
            if let Some(segment) =
                Segment::along(&knots[first..end], ratio, own_from..own_to, beyond)
            {
                segments.push(segment);
            }
            (first, own_from) = (end, next_from);
        }
        part(&mut segments);
        Self { segments }
    }

    /// The lead positions from its first to its last sample; `None` when it has none.
    #[must_use]
    pub fn extent(&self) -> Option<std::ops::Range<i64>> {
        Some(self.segments.first()?.lead.start..self.segments.last()?.lead.end)
    }

    /// The silent lead positions between its segments.
    #[must_use]
    pub fn gaps(&self) -> Vec<std::ops::Range<i64>> {
        self.segments
            .windows(2)
            .map(|pair| pair[0].lead.end..pair[1].lead.start)
            .filter(|gap| !gap.is_empty())
            .collect()
    }
}

impl Segment {
    fn copied(own: std::ops::Range<i64>, shift: i64) -> Self {
        Self {
            lead: own.start + shift..own.end + shift,
            own,
            way: Way::Shift(shift),
        }
    }

    /// Lines through `knots`, the outer ones prolonged over the segment's own samples but not up to the lead position
    /// `beyond`, where the next segment begins. One knot alone takes the overall `ratio`.
    fn along(
        knots: &[Knot],
        ratio: f64,
        own: std::ops::Range<i64>,
        beyond: Option<f64>,
    ) -> Option<Self> {
        if own.is_empty() {
            return None;
        }
        let lines: Vec<Line> = match knots {
            [only] => {
                let ahead = Knot {
                    follower: only.follower + Samples(ratio * 65_536.0),
                    lead: only.lead + Samples(65_536.0),
                    sigma: only.sigma,
                };
                vec![Line::between(only, &ahead)]
            }
            _ => knots
                .windows(2)
                .map(|pair| Line::between(&pair[0], &pair[1]))
                .collect(),
        };
        let (first, last) = (lines.first()?, lines.last()?);
        let from = first.first_at_or_after(own.start as f64 - TOUCHING);
        let to = last.first_at_or_after((own.end - 1) as f64 + TOUCHING);
        let to = beyond.map_or(to, |beyond| to.min(beyond.ceil() as i64));
        (from < to).then_some(Self {
            lead: from..to,
            own,
            way: Way::Lines(lines),
        })
    }
}

impl Line {
    /// The first lead position on this line, prolonged, whose own position is at or after `own`.
    fn first_at_or_after(&self, own: f64) -> i64 {
        let before = |n| {
            let (whole, fraction) = self.at(n);
            (whole as f64 - own) + fraction < 0.0
        };
        let slope = self.step as f64 + self.step_rest;
        let away = (own - self.own as f64 - self.own_rest) / slope + self.lead_rest;
        let mut n = self.lead + away.round() as i64;
        // the estimate is within a few samples; the exact arithmetic of `at` decides
        while !before(n - 1) {
            n -= 1;
        }
        while before(n) {
            n += 1;
        }
        n
    }
}

/// Where one side of a slip ends and the other begins, in own samples, for a slip between two knots.
fn side_ends(before: UnitPos, after: UnitPos, slips: &[Slip]) -> (i64, i64) {
    let known = slips.iter().find(|slip| {
        let at = slip.at_sample as f64;
        before.0 - 1.0 <= at && at <= after.0 + 1.0
    });
    match known {
        Some(slip) => {
            let at = slip.at_sample as i64;
            (at, at + slip.samples.round().max(0.0) as i64)
        }
        None => (before.0.floor() as i64 + 1, after.0.ceil() as i64),
    }
}

/// Leaves each lead position to one segment: where two meet, the later one begins where the earlier one ends.
fn part(segments: &mut Vec<Segment>) {
    for i in 1..segments.len() {
        let end = segments[i - 1].lead.end;
        let start = &mut segments[i].lead.start;
        *start = (*start).max(end);
    }
    segments.retain(|segment| segment.lead.start < segment.lead.end);
}

/// Own samples for one lead sample, by the longest line.
fn overall_ratio(knots: &[Knot]) -> f64 {
    let longest = knots.windows(2).max_by(|a, b| {
        (a[1].lead - a[0].lead)
            .0
            .total_cmp(&(b[1].lead - b[0].lead).0)
    });
    longest.map_or(1.0, |pair| {
        (pair[1].follower - pair[0].follower).0 / (pair[1].lead - pair[0].lead).0
    })
}

fn knots(take: &JointTake, member: &Member) -> Result<Vec<Knot>> {
    if member.knots.is_empty() {
        let rate = f64::from(member.sample_rate.unwrap_or(take.sample_rate));
        if rate != f64::from(take.sample_rate) {
            return Err(refuse(take, member, "has no knots, and its rate differs"));
        }
        let offset = LeadPos(member.offset_samples);
        let clock = Clock::straight(offset, Ppm(member.rate_ppm), member.length_samples, rate);
        return checked(take, member, clock.knots().to_vec());
    }
    let knots = member.knots.iter().map(|&[follower, lead]| Knot {
        follower: UnitPos(follower),
        lead: LeadPos(lead),
        sigma: Samples(0.0),
    });
    checked(take, member, knots.collect())
}

fn checked(take: &JointTake, member: &Member, knots: Vec<Knot>) -> Result<Vec<Knot>> {
    let bounded = knots
        .iter()
        .all(|knot| knot.follower.0.abs() < LARGEST && knot.lead.0.abs() < LARGEST);
    if !bounded || Clock::new(knots.clone()).is_none() {
        let why = "the knots of its clock are fewer than two or do not rise";
        return Err(refuse(take, member, why));
    }
    let ratio = overall_ratio(&knots);
    if !(1.0 / 64.0..=64.0).contains(&ratio) {
        return Err(refuse(
            take,
            member,
            "its clock is no clock: more than 64 times the lead's rate or less than a 64th",
        ));
    }
    Ok(knots)
}

fn whole(take: &JointTake, member: &Member, position: f64) -> Result<i64> {
    if position.abs() < LARGEST {
        Ok(position as i64)
    } else {
        Err(refuse(
            take,
            member,
            "its offset or length is beyond any recording",
        ))
    }
}

fn refuse(take: &JointTake, member: &Member, why: &str) -> Error {
    Error::new(
        Kind::Format,
        format!("{}, {}: {why}", take.name, member.unit),
    )
    .then("measure again with `commontime align`")
}
