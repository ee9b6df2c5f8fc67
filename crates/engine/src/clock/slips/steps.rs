//! Delays of blocks in, the steps among them out: at every gap the clock by all blocks before is held against the clock by
//! all blocks after. Steps are whole numbers of samples; they are taken out one by one, the clearest first, until none is
//! left.

use crate::clock::breaks::{Break, breaks};
use crate::clock::smooth::{Phases, smooth};

/// A step counts when it is this many times its standard deviation.
const CLEAR: f64 = 8.0;
/// A step changes the phase, not the rate: no more sigma of that.
const STRAIGHT_ON: f64 = 3.5;
/// What may be wrong with a step that is a whole number, samples.
const WHOLE: f64 = 0.2;
/// Least blocks on either side.
const SIDE: usize = 2;
/// Rounds of taking out and correcting, at most.
const ROUNDS: usize = 200;

/// A delay.
#[derive(Debug, Clone, Copy)]
pub struct Delay {
    /// The middle of the block on the lead.
    pub lead: f64,
    /// The follower position of that instant.
    pub follower: f64,
    /// One sigma of it.
    pub sigma: f64,
}

/// A step of the follower position.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// It lies after this lead position.
    pub from: f64,
    /// And before this one.
    pub to: f64,
    /// By how many samples the follower position jumps; below 0: it lacks samples, or the lead has too many.
    pub size: i64,
    /// What was measured, less the whole number.
    pub rest: f64,
    /// One sigma of what was measured.
    pub sigma: f64,
}

impl Step {
    /// The middle of where it lies.
    #[must_use]
    pub fn middle(&self) -> f64 {
        0.5 * (self.from + self.to)
    }
}

/// Whether what is left of a step is nothing, and known well enough to say so.
#[must_use]
pub fn is_whole(rest: f64, sigma: f64) -> bool {
    sigma < WHOLE && rest.abs() <= WHOLE.max(4.0 * sigma)
}

/// What is left of a step at each of `places` (lead positions) and its sigma; `None` beyond the delays.
#[must_use]
pub fn left(delays: &[Delay], places: &[f64], rate_hz: f64) -> Vec<Option<(f64, f64)>> {
    let search = Search::new(delays, &[], rate_hz);
    places
        .iter()
        .map(|&place| {
            let after = search.lead.partition_point(|&lead| lead < place);
            let pair = (after.checked_sub(1)?, after);
            let found = breaks(&search.phases, &[pair]);
            found.first().map(|found| search.step_of(found))
        })
        .collect()
}

/// The follower samples by which `steps` have moved what lies at `lead`.
#[must_use]
pub fn moved(steps: &[Step], lead: f64) -> i64 {
    let before = steps.iter().filter(|step| step.middle() < lead);
    before.map(|step| step.size).sum()
}

/// The steps in `delays` (in order) on a clock of `rate_hz`; those already `known` are corrected.
#[must_use]
pub fn find(delays: &[Delay], known: &[Step], rate_hz: f64) -> Vec<Step> {
    let mut steps = known.to_vec();
    for _ in 0..ROUNDS {
        let search = Search::new(delays, &steps, rate_hz);
        if search.correct(&mut steps) {
            continue;
        }
        let new = match search.clearest(&steps) {
            Some(step) => vec![step],
            None => search.aside(&steps),
        };
        if new.is_empty() {
            break;
        }
        steps.extend(new);
        steps.sort_by(|a, b| a.middle().total_cmp(&b.middle()));
    }
    steps
}

/// The blocks that lie clear of the steps known, with those taken out.
struct Search {
    lead: Vec<f64>,
    phases: Phases,
    rate_hz: f64,
}

impl Search {
    fn new(delays: &[Delay], steps: &[Step], rate_hz: f64) -> Self {
        // the outermost blocks of where a step lies may hold a little of it
        let clear = |delay: &&Delay| {
            steps
                .iter()
                .all(|step| delay.lead < step.from || delay.lead > step.to)
        };
        let kept: Vec<&Delay> = delays.iter().filter(clear).collect();
        let a = kept
            .first()
            .map_or(0.0, |first| first.follower - first.lead);
        Self {
            lead: kept.iter().map(|delay| delay.lead).collect(),
            phases: Phases {
                t: kept.iter().map(|delay| delay.lead / rate_hz).collect(),
                z: kept
                    .iter()
                    .map(|d| (d.follower - d.lead - a - moved(steps, d.lead) as f64) / rate_hz)
                    .collect(),
                variance: kept
                    .iter()
                    .map(|delay| (delay.sigma / rate_hz).powi(2))
                    .collect(),
            },
            rate_hz,
        }
    }

    fn step_of(&self, found: &Break) -> (f64, f64) {
        (found.step * self.rate_hz, found.step_sigma * self.rate_hz)
    }

    /// Measures what is left of each known step; true when a size changed or a step fell away.
    fn correct(&self, steps: &mut Vec<Step>) -> bool {
        let around: Vec<Option<(usize, usize)>> = steps
            .iter()
            .map(|step| {
                let after = self.lead.partition_point(|&lead| lead < step.middle());
                let before = after.checked_sub(1)?;
                (after < self.lead.len()).then_some((before, after))
            })
            .collect();
        let pairs: Vec<(usize, usize)> = around.iter().copied().flatten().collect();
        let mut found = breaks(&self.phases, &pairs).into_iter();
        let mut changed = false;
        let mut worst: Option<(usize, f64)> = None;
        for (i, (step, place)) in steps.iter_mut().zip(&around).enumerate() {
            let measured = place.and_then(|_| found.next());
            let Some((rest, sigma)) = measured.map(|found| self.step_of(&found)) else {
                step.sigma = f64::INFINITY;
                continue;
            };
            step.rest = rest;
            step.sigma = sigma;
            let off = rest.abs();
            if off > 0.5 && off > 4.0 * sigma && worst.is_none_or(|worst| off > worst.1) {
                worst = Some((i, off));
            }
        }
        if let Some((i, _)) = worst {
            steps[i].size += steps[i].rest.round() as i64;
            changed = true;
        }
        let many = steps.len();
        steps.retain(|step| step.size != 0);
        changed || steps.len() != many
    }

    /// Two steps there and back: neighbouring blocks that lie one whole number of samples beside the clock of all others.
    fn aside(&self, steps: &[Step]) -> Vec<Step> {
        let Some(smooth) = smooth(&self.phases) else {
            return Vec::new();
        };
        let beside: Vec<i64> = (0..self.lead.len())
            .map(|i| {
                let off = (self.phases.z[i] - smooth.phase[i]) * self.rate_hz;
                let sigma = self.phases.variance[i].sqrt() * self.rate_hz;
                let whole = sigma < WHOLE / CLEAR && (off - off.round()).abs() < WHOLE;
                if whole { off.round() as i64 } else { 0 }
            })
            .collect();
        let mut first = 0;
        for run in beside.chunk_by(|a, b| a == b) {
            let end = first + run.len();
            let inside = first > 0 && end < self.lead.len();
            if run[0] != 0 && run.len() > SIDE && inside {
                let step = |from: usize, size| Step {
                    from: self.lead[from],
                    to: self.lead[from + 1],
                    size,
                    rest: 0.0,
                    sigma: 0.0,
                };
                let new = [step(first - 1, run[0]), step(end - 1, -run[0])];
                let is_new = |new: &Step| {
                    let known = |step: &Step| step.from < new.to && new.from < step.to;
                    !steps.iter().any(known)
                };
                if new.iter().all(is_new) {
                    return new.to_vec();
                }
            }
            first = end;
        }
        Vec::new()
    }

    /// The clearest step that is not known yet.
    fn clearest(&self, steps: &[Step]) -> Option<Step> {
        let n = self.lead.len();
        // half-overlapping blocks: two of them hold any one moment
        let pairs: Vec<(usize, usize)> = (SIDE - 1..n.saturating_sub(SIDE + 2))
            .map(|i| (i, i + 3))
            .filter(|&(i, j)| {
                let (from, to) = (self.lead[i], self.lead[j]);
                steps.iter().all(|step| step.to <= from || step.from >= to)
            })
            .collect();
        let found = breaks(&self.phases, &pairs);
        let best = found
            .iter()
            .zip(&pairs)
            .filter(|(found, _)| {
                let (step, sigma) = self.step_of(found);
                step.abs() >= 0.5
                    && step.abs() >= CLEAR * sigma
                    && found.bend.abs() <= STRAIGHT_ON * found.bend_sigma
            })
            .max_by(|a, b| {
                let clear = |found: &Break| found.step.abs() / found.step_sigma;
                clear(a.0).total_cmp(&clear(b.0))
            })?;
        let ((step, sigma), (i, j)) = (self.step_of(best.0), best.1);
        Some(Step {
            from: self.lead[*i],
            to: self.lead[*j],
            size: step.round() as i64,
            rest: step - step.round(),
            sigma,
        })
    }
}
