//! A member's knots, ties and band in, its lag against time out, as plain points for drawing and explaining.
//!
//! lag(n) = k - (n - offset) in samples: how many more samples the follower has counted than the lead since the
//! follower's first sample. It rises when the follower's clock runs fast; its slope is the rate. Slips are no clock's doing
//! and are taken out: k counts what is missing from the file and not what is in it twice.

use super::say;
use crate::alignment::{JointTake, Member, TieRecord};
use crate::clock::{Clock, Knot};
use crate::units::{LeadPos, Samples, UnitPos};

/// The most points a curve is drawn with: more than one a pixel says nothing more.
const MOST_POINTS: usize = 600;
/// The most ties drawn; the extremes of each stretch are always among them.
const MOST_TIES: usize = 300;

/// A point of a curve: seconds since the lead's first sample, samples.
pub type Point = (f64, f64);

/// Everything the plot of a follower's lag shows.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Lag {
    /// The whole lag.
    pub whole: Vec<Point>,
    /// What remains when the straight line of the mean rate is taken away.
    pub wander: Vec<Point>,
    /// One sigma along the take, at the times of `wander`.
    pub sigma: Vec<f64>,
    /// Ties the clock follows, against the straight line.
    pub used: Vec<Point>,
    /// Ties left out, against the straight line.
    pub unused: Vec<Point>,
    /// How many used ties there are, drawn or not.
    pub used_count: usize,
    /// How many unused ties there are, drawn or not.
    pub unused_count: usize,
}

/// The member's clock as the file has it; `None` when its knots do not rise.
pub fn clock_of(member: &Member) -> Option<Clock> {
    let finite = member.knots.iter().flatten().all(|value| value.is_finite());
    let knots = member.knots.iter().map(|[follower, lead]| Knot {
        follower: UnitPos(*follower),
        lead: LeadPos(*lead),
        sigma: Samples(0.0),
    });
    finite.then(|| Clock::new(knots.collect())).flatten()
}

/// How far a tie lies from the clock, samples of the follower's: positive when the follower counted more.
pub fn from_clock(tie: &TieRecord, clock: &Clock) -> f64 {
    (UnitPos(tie.follower) - clock.follower_at(LeadPos(tie.lead))).0
}

/// The lag of `member`; `None` when its clock is not known.
pub fn lag_of(member: &Member, joint: &JointTake) -> Option<Lag> {
    let clock = clock_of(member)?;
    let rate = say::rate_of(joint).hz();
    let offset = clock.lead_at(UnitPos(0.0));
    let ends = (clock.knots().first()?, clock.knots().last()?);
    let seams = member.seams();
    // a unit at another nominal rate counts its own samples: told as if it had the lead's
    let nominal = rate / member.sample_rate.map_or(rate, f64::from);
    let counted = |own: f64| seams.mended(own) * nominal;
    let slope =
        (counted(ends.1.follower.0) - counted(ends.0.follower.0)) / (ends.1.lead - ends.0.lead).0;
    let straight = |lead: LeadPos| (lead - offset).0 * slope;

    let mut lag = Lag::default();
    for lead in moments(&clock) {
        let follower = counted(clock.follower_at(lead).0);
        let time_s = lead.0 / rate;
        lag.whole.push((time_s, follower - (lead - offset).0));
        lag.wander.push((time_s, follower - straight(lead)));
        lag.sigma.push(sigma_at(member, lead, ends.0.lead));
    }
    let ties = member.evidence.as_ref().map_or(&[][..], |e| &e.ties);
    let points = |used: bool| -> Vec<Point> {
        ties.iter()
            .filter(|tie| tie.used == used && tie.lead.is_finite() && tie.follower.is_finite())
            .map(|tie| {
                let apart = counted(tie.follower) - straight(LeadPos(tie.lead));
                (tie.lead / rate, apart)
            })
            .collect()
    };
    let (used, unused) = (points(true), points(false));
    lag.used_count = used.len();
    lag.unused_count = unused.len();
    lag.used = thinned(used);
    lag.unused = thinned(unused);
    Some(lag)
}

/// Lead positions to draw the clock at: its knots, thinned when there are more than can be seen.
fn moments(clock: &Clock) -> Vec<LeadPos> {
    let knots = clock.knots();
    let step = knots.len().div_ceil(MOST_POINTS).max(1);
    let last = knots.last().map(|knot| knot.lead);
    let mut moments: Vec<LeadPos> = knots.iter().step_by(step).map(|knot| knot.lead).collect();
    if moments.last() != last.as_ref() {
        moments.extend(last);
    }
    moments
}

/// One sigma of the clock at `lead`: from the band where there is one, else what the rate's sigma makes of the time since
/// the beginning.
fn sigma_at(member: &Member, lead: LeadPos, first: LeadPos) -> f64 {
    let band = member.evidence.as_ref().map_or(&[][..], |e| &e.band);
    let after = band.partition_point(|[at, _]| *at <= lead.0);
    match (band.get(after.wrapping_sub(1)), band.get(after)) {
        (Some([a, sigma_a]), Some([b, sigma_b])) => {
            sigma_a + (sigma_b - sigma_a) * (lead.0 - a) / (b - a)
        }
        (Some([_, sigma]), None) | (None, Some([_, sigma])) => *sigma,
        (None, None) => member.rate_sigma_ppm * 1e-6 * (lead - first).0,
    }
}

/// At most [`MOST_TIES`] of the points: of each stretch of equally many the lowest and the highest.
fn thinned(points: Vec<Point>) -> Vec<Point> {
    if points.len() <= MOST_TIES {
        return points;
    }
    let stretch = points.len().div_ceil(MOST_TIES / 2);
    let mut kept = Vec::with_capacity(MOST_TIES);
    for stretch in points.chunks(stretch) {
        let order = |a: &&Point, b: &&Point| a.1.total_cmp(&b.1);
        let lowest = stretch.iter().min_by(order);
        let highest = stretch.iter().max_by(order);
        let mut pair: Vec<Point> = lowest.into_iter().chain(highest).copied().collect();
        pair.sort_by(|a, b| a.0.total_cmp(&b.0));
        pair.dedup();
        kept.extend(pair);
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    #[test]
    fn a_fast_follower_has_a_rising_lag() {
        let joint = sample::common_signal();
        let lag = lag_of(&joint.members[1], &joint).expect("a clock");
        let (_, end) = lag.whole.last().expect("points");
        // +7.31 ppm over 300 s at 48 kHz: 105.26 samples
        assert!((end - 105.26).abs() < 0.02, "{end}");
        // the wander put in was a sine of a tenth of a sample, seen from the follower with its sign turned
        let peak = lag
            .wander
            .iter()
            .map(|point| point.1.abs())
            .fold(0.0, f64::max);
        assert!((peak - 0.1).abs() < 0.005, "{peak}");
        assert_eq!((lag.used_count, lag.unused_count), (57, 1));
        let stray = lag.unused[0].1;
        assert!((stray - 0.4).abs() < 0.15, "{stray}");
    }

    #[test]
    fn thinning_keeps_the_extremes() {
        let mut points: Vec<Point> = (0..10_000).map(|i| (f64::from(i), 0.0)).collect();
        points[5_123].1 = 7.0;
        points[9_999].1 = -3.0;
        let kept = thinned(points);
        assert!(kept.len() <= MOST_TIES);
        assert!(kept.contains(&(5_123.0, 7.0)) && kept.contains(&(9_999.0, -3.0)));
    }

    #[test]
    fn knots_that_fall_are_no_clock() {
        let mut joint = sample::common_signal();
        joint.members[1].knots = vec![[0.0, 10.0], [5.0, 3.0]];
        assert_eq!(lag_of(&joint.members[1], &joint), None);
        joint.members[1].knots = vec![[0.0, f64::NAN], [5.0, 3.0]];
        assert_eq!(lag_of(&joint.members[1], &joint), None);
    }
}
