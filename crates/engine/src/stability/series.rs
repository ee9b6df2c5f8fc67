//! Phases as they were measured in, phases at equal distances out, with what is missing said.

use serde::Serialize;

use crate::signal::median;

/// Distances are doubled at most so often to close gaps.
const DOUBLINGS: u32 = 12;
/// A distance serves when so much of the test is in one piece.
const ENOUGH: f64 = 0.9;
/// Fewer phases in one piece tell nothing.
pub const LEAST_POINTS: usize = 16;
/// A phase stands for a moment at most this part of the distance away.
const NEAR: f64 = 0.25;

/// One measured phase.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Phase {
    /// When, seconds.
    pub at_s: f64,
    /// By how much the unit's clock is ahead of the other's, seconds.
    pub ahead_s: f64,
}

/// Phases at equal distances without a gap.
#[derive(Debug, Clone, PartialEq)]
pub struct Spaced {
    /// When the first was.
    pub from_s: f64,
    /// The distance.
    pub interval_s: f64,
    /// The phases, seconds.
    pub ahead_s: Vec<f64>,
    /// From when to when the whole test has no phases at this distance.
    pub gaps: Vec<[f64; 2]>,
    /// From when to when there are any phases at all.
    pub whole: [f64; 2],
    /// What is claimed for one phase, one standard deviation; 0 where nothing is.
    pub sigma_s: f64,
}

impl Spaced {
    /// How long, seconds.
    #[must_use]
    pub fn seconds(&self) -> f64 {
        self.interval_s * self.ahead_s.len().saturating_sub(1) as f64
    }

    /// When phase `i` was.
    #[must_use]
    pub fn at(&self, i: usize) -> f64 {
        self.from_s + self.interval_s * i as f64
    }

    /// The longest stretch without a gap. The distance is the usual one of neighbouring phases, doubled until one piece
    /// holds nine tenths of the test; where none does, the one whose piece is longest. Each moment takes the phase next to
    /// it, within a quarter of the distance, moved there along the mean rate. `None` for fewer than sixteen phases in a piece.
    #[must_use]
    pub fn of(phases: &[Phase]) -> Option<Self> {
        let mut phases: Vec<Phase> = phases
            .iter()
            .copied()
            .filter(|p| p.at_s.is_finite() && p.ahead_s.is_finite())
            .collect();
        phases.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
        phases.dedup_by(|b, a| b.at_s <= a.at_s);
        let (first, last) = (*phases.first()?, *phases.last()?);
        let mut steps: Vec<f64> = phases.windows(2).map(|p| p[1].at_s - p[0].at_s).collect();
        let usual = median(&mut steps).filter(|step| *step > 0.0)?;
        let whole = last.at_s - first.at_s;
        let rate = (last.ahead_s - first.ahead_s) / whole;
        let mut best: Option<Self> = None;
        for doubling in 0..DOUBLINGS {
            let interval = usual * f64::from(1_u32 << doubling);
            if whole / interval < LEAST_POINTS as f64 - 1.5 {
                break;
            }
            let Some(one) = Self::at_distance(&phases, interval, rate) else {
                continue;
            };
            let enough = one.seconds() >= ENOUGH * (whole - interval);
            // a longer distance must gain something for what it loses
            let longer = |best: &Self| one.seconds() > 1.25 * best.seconds();
            if enough || best.as_ref().is_none_or(longer) {
                best = Some(one);
            }
            if enough {
                break;
            }
        }
        best
    }

    fn at_distance(phases: &[Phase], interval: f64, rate: f64) -> Option<Self> {
        let (first, last) = (phases.first()?.at_s, phases.last()?.at_s);
        let many = (((last - first) / interval + NEAR).floor() as usize).saturating_add(1);
        // a text may name two moments a thousand years apart
        if many > phases.len().saturating_mul(4).saturating_add(64) {
            return None;
        }
        let mut next = phases.iter().peekable();
        let mut slots: Vec<Option<f64>> = Vec::with_capacity(many);
        for slot in 0..many {
            let at = first + interval * slot as f64;
            while next.next_if(|p| p.at_s < at - NEAR * interval).is_some() {}
            let mut nearest: Option<&Phase> = None;
            while let Some(p) = next.next_if(|p| p.at_s <= at + NEAR * interval) {
                let away = |p: &Phase| (p.at_s - at).abs();
                if nearest.is_none_or(|n| away(p) < away(n)) {
                    nearest = Some(p);
                }
            }
            slots.push(nearest.map(|p| p.ahead_s + rate * (at - p.at_s)));
        }
        let mut longest = 0..0;
        let mut gaps: Vec<[f64; 2]> = Vec::new();
        let mut begun = 0;
        for end in 0..=many {
            if slots.get(end).is_some_and(Option::is_some) {
                continue;
            }
            if end - begun > longest.len() {
                longest = begun..end;
            }
            if end < many {
                let at = |slot: usize| first + interval * slot as f64;
                match gaps.last_mut() {
                    Some([_, until]) if end == begun => *until = at(end + 1),
                    _ => gaps.push([at(end.saturating_sub(1)), at(end + 1)]),
                }
            }
            begun = end + 1;
        }
        (longest.len() >= LEAST_POINTS).then(|| Self {
            from_s: first + interval * longest.start as f64,
            interval_s: interval,
            ahead_s: slots[longest].iter().flatten().copied().collect(),
            gaps,
            whole: [first, last],
            sigma_s: 0.0,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn phases(times: impl Iterator<Item = f64>) -> Vec<Phase> {
        times
            .map(|at_s| Phase {
                at_s,
                ahead_s: 1e-6 * at_s,
            })
            .collect()
    }

    #[test]
    fn what_is_whole_stays_as_it_is() {
        let all = phases((0..100).map(|i| 10.0 + 0.5 * f64::from(i)));
        let spaced = Spaced::of(&all).expect("a series");
        assert_eq!((spaced.from_s, spaced.interval_s), (10.0, 0.5));
        let same: Vec<f64> = all.iter().map(|p| p.ahead_s).collect();
        assert_eq!(spaced.ahead_s, same);
        assert!(spaced.gaps.is_empty());
    }

    #[test]
    fn a_long_gap_leaves_the_longer_piece_and_is_said() {
        let times = (0..1000).filter(|i| !(300..900).contains(i));
        let spaced = Spaced::of(&phases(times.map(f64::from))).expect("a series");
        assert_eq!((spaced.from_s, spaced.interval_s), (0.0, 1.0));
        assert_eq!(spaced.ahead_s.len(), 300);
        assert_eq!(spaced.gaps, [[299.0, 900.0]]);
    }

    #[test]
    fn many_short_gaps_double_the_distance() {
        let times = (0..4000).filter(|i| i % 7 != 3);
        let spaced = Spaced::of(&phases(times.map(f64::from))).expect("a series");
        assert!(spaced.interval_s > 1.0 && spaced.seconds() > 3600.0);
        let on_line = |(i, x): (usize, &f64)| (x - 1e-6 * spaced.at(i)).abs() < 1e-15;
        assert!(spaced.ahead_s.iter().enumerate().all(on_line));
    }

    #[test]
    fn too_little_is_nothing() {
        assert!(Spaced::of(&phases((0..10).map(f64::from))).is_none());
        assert!(Spaced::of(&[]).is_none());
        let wild = phases([0.0, 1.0, 2.0, 1e300].into_iter());
        assert!(Spaced::of(&wild).is_none());
    }
}
