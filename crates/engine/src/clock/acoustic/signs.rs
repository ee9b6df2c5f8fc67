//! A solved take in, the signs that it is right and its uncertainty out: share of edges found, two halves of the spectrum,
//! two parts of the take, plausibility of the rate.

use rayon::prelude::*;

use super::path::{Path, weights};
use super::steps::{Step, largest_step};
use super::{PLAUSIBLE_RATE, on_top_of};
use crate::clock::dense::Square;
use crate::clock::graph::{Prior, Solution, solve};
use crate::finding::Sign;
use crate::signal::median;
use crate::tie::acoustic::edges::{Comb, Edge, Meter, Reach, edges};
use crate::tie::acoustic::phasors::Band;
use crate::tie::acoustic::templates::{Grid, Templates};

/// Share of the comparisons that must yield an edge: good takes 0.5 to 1, wrong locks 0.15 to 0.39 (measured on synthetic
/// rooms).
pub(super) const LEAST_YIELD: f64 = 0.5;

/// Share of the edges that both halves of the spectrum must agree on: good takes 0.82 to 0.98, wrong locks 0.09 to 0.12,
/// chance 0.04 (measured on synthetic rooms).
const LEAST_AGREEMENT: f64 = 0.5;

/// Two halves of the spectrum agree on an edge within this many analysis samples, of a search of [`HALF_SEARCH`].
const AGREE: f64 = 0.25;
const HALF_SEARCH: f64 = 6.0;

/// Of the comparisons that reach across any one moment this share must agree with the clock. Chosen so that a pause of
/// a third of the take passes and a slip does not.
const LEAST_ACROSS: f64 = 0.25;

/// The sign that asks for it.
pub(super) const ACROSS: &str = "share of the comparisons that agree across the weakest moment";

/// No crystal changes its rate by more from one node to the next; lost samples look like it, parts per million.
const MOST_JUMP_PPM: f64 = 8.0;

/// A larger step of the apparent delay means that samples are missing, microseconds: four samples at 48 kHz. A smaller
/// one is no reason to refuse the clock, but half of it is added to its sigma.
const MOST_STEP_US: f64 = 83.0;

/// How the rate of a free-running pair walks, a ratio per square root of a second (measured on synthetic wander): parts of
/// a take may differ by as much whatever the edges say.
const USUAL_WANDER: f64 = 0.012e-6;

/// At most this many edges are asked twice.
const ASKED_TWICE: usize = 2000;

/// The peaks must stand above all others by this factor: a steady tone repeats itself (needs no fit: it is near 1 then).
const LEAST_UNIQUENESS: f64 = 1.5;
const ASKED_FOR_UNIQUENESS: usize = 200;

/// What both the posterior (templates overlap by half) and half the difference of two half-spectrum solutions are too
/// small by (measured, `evaluation -- uncertainty room`: with 1 the curve is off by half a sigma where sources and
/// clock keep still, by one where talkers sway or the rate wanders within a few templates, then at the ends by 1.6).
const TOO_SMALL: f64 = 1.25;

/// Everything about a take that was solved.
pub(super) struct Trial<'a> {
    pub templates: &'a Templates,
    pub band: Band,
    pub grid: &'a Grid,
    pub comparisons: &'a [(usize, usize)],
    pub edges: &'a [Edge],
    pub believed: &'a [f64],
    pub prior: &'a Prior<'a>,
    pub solution: &'a Solution,
    pub spacing: f64,
}

/// What two halves of the spectrum say, each by itself.
pub(super) struct Halves {
    agreement: f64,
    /// Half the difference of the two clocks, mean taken out.
    difference: Option<Vec<f64>>,
}

/// One standard deviation of the clock about its mean.
pub(super) struct Sigma<'a> {
    nodes: &'a [f64],
    covariance: &'a Square,
    clock: &'a [f64],
    difference: Option<&'a [f64]>,
    rate_hz: f64,
    analysis_hz: f64,
    wander: f64,
    step: f64,
}

impl Trial<'_> {
    pub(super) fn apart(&self) -> Vec<f64> {
        let both = self.solution.apparent.iter().zip(&self.solution.clock);
        both.map(|(apparent, clock)| apparent - clock).collect()
    }

    /// Solves the take twice, each time with every other group of bins.
    pub(super) fn halves(&self) -> Halves {
        let reach = Reach {
            rate_error: 0.0,
            spacing: self.spacing,
            least: 1.0,
        };
        let clocks: Vec<Option<Solution>> = [Comb::Even, Comb::Odd]
            .into_iter()
            .map(|comb| {
                let found = edges(self.templates, self.band, comb, reach, self.comparisons);
                solve(&on_top_of(self.believed, found), self.prior)
            })
            .collect();
        let difference = match &clocks[..] {
            [Some(a), Some(b)] => Some(centred(
                &a.clock
                    .iter()
                    .zip(&b.clock)
                    .map(|(a, b)| 0.5 * (a - b))
                    .collect::<Vec<_>>(),
            )),
            _ => None,
        };
        Halves {
            agreement: self.agreement(),
            difference,
        }
    }

    /// The share of edges between nodes that share no sound on which both halves of the spectrum agree.
    fn agreement(&self) -> f64 {
        let asked = self.far(ASKED_TWICE);
        let agreeing = asked
            .par_iter()
            .map_init(
                || Meter::new(self.band),
                |meter, &nodes| {
                    let [a, b] = [Comb::Even, Comb::Odd].map(|comb| {
                        meter
                            .between(self.templates, nodes, comb, HALF_SEARCH)
                            .delta
                    });
                    (a - b).abs() < AGREE
                },
            )
            .filter(|&agree| agree)
            .count();
        agreeing as f64 / asked.len().max(1) as f64
    }

    /// The median height of the peaks between nodes that share no sound, over the highest elsewhere.
    fn uniqueness(&self) -> f64 {
        let mut found: Vec<f64> = self
            .far(ASKED_FOR_UNIQUENESS)
            .par_iter()
            .map_init(
                || Meter::new(self.band),
                |meter, &nodes| meter.uniqueness(self.templates, nodes, HALF_SEARCH),
            )
            .collect();
        median(&mut found).unwrap_or(0.0)
    }

    /// At most `most` comparisons of nodes that share no sound.
    fn far(&self, most: usize) -> Vec<(usize, usize)> {
        let far: Vec<(usize, usize)> = self
            .comparisons
            .iter()
            .copied()
            .filter(|(from, to)| to - from >= self.grid.apart())
            .collect();
        let stride = far.len().div_ceil(most).max(1);
        far.into_iter().step_by(stride).collect()
    }

    pub(super) fn signs(&self, halves: &Halves, path: &Path) -> Vec<Sign> {
        let share = self.edges.len() as f64 / self.comparisons.len().max(1) as f64;
        let mut signs = vec![
            Sign::at_least(
                "share of the moments that could be compared",
                share,
                LEAST_YIELD,
            ),
            Sign::at_least(
                "agreement of two halves of the spectrum",
                halves.agreement,
                LEAST_AGREEMENT,
            ),
        ];
        signs.push(Sign::at_least(
            "height of the peaks over the next best",
            self.uniqueness(),
            LEAST_UNIQUENESS,
        ));
        let (difference, limit) = self.parts().unwrap_or((f64::INFINITY, 0.0));
        signs.push(Sign::at_most(
            "disagreement of the beginning and the end with the whole, ppm",
            1e6 * difference,
            1e6 * limit,
        ));
        signs.push(Sign::at_least(ACROSS, self.weakest_cut(), LEAST_ACROSS));
        signs.push(Sign::at_most(
            "largest step of the delay, microseconds",
            1e6 * self.step_size() / self.prior.hz,
            MOST_STEP_US,
        ));
        let rates = path.rates();
        let jump = rates
            .windows(2)
            .map(|r| (r[1] - r[0]).abs())
            .fold(0.0, f64::max);
        let size = rates.iter().map(|r| r.abs()).fold(0.0, f64::max);
        signs.push(Sign::at_most(
            "largest jump of the rate, ppm",
            1e6 * jump,
            MOST_JUMP_PPM,
        ));
        signs.push(Sign::at_most(
            "size of the rate, ppm",
            1e6 * size,
            1e6 * PLAUSIBLE_RATE,
        ));
        signs
    }

    /// The size of the largest step of the apparent delay, analysis samples; 0 when there is none.
    fn step_size(&self) -> f64 {
        self.step().map_or(0.0, |step| step.size.abs())
    }

    /// The largest step of the apparent delay, in analysis samples.
    pub(super) fn step(&self) -> Option<Step> {
        largest_step(self.prior.times_s, &self.solution.apparent)
    }

    /// The smallest share of the comparisons reaching across one moment that agree with the clock: none where samples
    /// were lost.
    fn weakest_cut(&self) -> f64 {
        let nodes = self.grid.nodes();
        let mut tally = vec![[0.0; 2]; nodes];
        for (from, to) in self.comparisons {
            tally[*from..*to].iter_mut().for_each(|cut| cut[0] += 1.0);
        }
        for (edge, &weight) in self.edges.iter().zip(&self.solution.weights) {
            if weight > 0.25 {
                tally[edge.from..edge.to]
                    .iter_mut()
                    .for_each(|cut| cut[1] += 1.0);
            }
        }
        tally[..nodes - 1]
            .iter()
            .map(|[possible, agreeing]| agreeing / f64::max(*possible, 1.0))
            .fold(1.0, f64::min)
    }

    /// The difference between the rates of the first and the last third, each solved for by itself and less what the whole
    /// solution says of it, and what it may be.
    fn parts(&self) -> Option<(f64, f64)> {
        let nodes = self.grid.nodes();
        let part = (nodes / 3).max(nodes.min(5));
        let early = self.part(0, part)?;
        let late = self.part(nodes - part, part)?;
        let middle = |start: usize| {
            let times = &self.prior.times_s[start..start + part];
            times.iter().sum::<f64>() / part as f64
        };
        let apart_s = middle(nodes - part) - middle(0);
        let wander = self.solution.likely_wander.max(USUAL_WANDER);
        let limit = 3.0 * (early.1.hypot(late.1) + wander * apart_s.max(0.0).sqrt());
        Some(((early.0 - late.0).abs(), limit))
    }

    /// The rate (a ratio) of nodes `start..start + count` by themselves, less that of the whole solution, and its sigma.
    fn part(&self, start: usize, count: usize) -> Option<(f64, f64)> {
        let inside = start..start + count;
        let clock = &self.solution.clock;
        let edges: Vec<Edge> = self
            .edges
            .iter()
            .filter(|edge| inside.contains(&edge.from) && inside.contains(&edge.to))
            .map(|edge| Edge {
                from: edge.from - start,
                to: edge.to - start,
                delta: edge.delta - (clock[edge.to] - clock[edge.from]),
                ..*edge
            })
            .collect();
        let prior = Prior {
            times_s: &self.prior.times_s[inside],
            ..*self.prior
        };
        let solution = solve(&edges, &prior)?;
        let times = centred(prior.times_s);
        let square: f64 = times.iter().map(|t| t * t).sum();
        let slope: Vec<f64> = times.iter().map(|t| t / square / prior.hz).collect();
        let rate = slope.iter().zip(&solution.clock).map(|(s, r)| s * r).sum();
        Some((
            rate,
            TOO_SMALL * solution.covariance.quadratic(&slope).sqrt(),
        ))
    }

    pub(super) fn sigma<'b>(
        &'b self,
        nodes: &'b [f64],
        halves: &'b Halves,
        rate_hz: f64,
    ) -> Sigma<'b> {
        Sigma {
            nodes,
            covariance: &self.solution.covariance,
            clock: &self.solution.clock,
            difference: halves.difference.as_deref(),
            rate_hz,
            analysis_hz: self.prior.hz,
            wander: self.solution.likely_wander,
            step: self.step_size(),
        }
    }
}

impl Sigma<'_> {
    /// The sigma of the clock at a lead position against its mean, analysis samples.
    pub(super) fn at(&self, lead: f64) -> f64 {
        let mut functional = vec![-1.0 / self.nodes.len() as f64; self.nodes.len()];
        for (node, weight) in weights(self.nodes, lead) {
            functional[node] += weight;
        }
        self.of(&functional, self.beyond(lead))
    }

    /// The sigma of the difference between the clock at two lead positions, analysis samples.
    pub(super) fn between(&self, from: f64, to: f64) -> f64 {
        let mut functional = vec![0.0; self.nodes.len()];
        for (lead, sign) in [(to, 1.0), (from, -1.0)] {
            for (node, weight) in weights(self.nodes, lead) {
                functional[node] += sign * weight;
            }
        }
        self.of(&functional, self.beyond(from) + self.beyond(to))
    }

    fn of(&self, functional: &[f64], beyond: f64) -> f64 {
        let posterior = self.covariance.quadratic(functional).max(0.0).sqrt();
        let halves = self.difference.map_or(0.0, |difference| {
            let half: f64 = functional.iter().zip(difference).map(|(f, d)| f * d).sum();
            half.abs()
        });
        let random = (TOO_SMALL * posterior.max(halves)).powi(2) + beyond;
        random.sqrt() + 0.5 * self.step
    }

    /// Variance of what the rate may have done beyond the outer nodes: the walk's `q^2 D^3 / 3`, and the bend of the last
    /// nodes gone on, `b (D^2 + D W) / 2` off a line through the outer `W` seconds.
    fn beyond(&self, lead: f64) -> f64 {
        let end = self.nodes.len() - 1;
        let (first, last) = (self.nodes[0], self.nodes[end]);
        let beyond_s = (first - lead).max(lead - last).max(0.0) / self.rate_hz;
        let at = if lead < first {
            [0, 2, 4]
        } else {
            [end, end.saturating_sub(2), end.saturating_sub(4)]
        };
        let (bend, across_s) = self.bend(at.map(|i| i.min(end)));
        let walk = (self.wander * self.analysis_hz).powi(2) * beyond_s.powi(3) / 3.0;
        walk + (0.5 * bend * beyond_s * (beyond_s + across_s)).powi(2)
    }

    /// The bend of the clock over three nodes, analysis samples a second squared, and the time they span; none for fewer.
    fn bend(&self, at: [usize; 3]) -> (f64, f64) {
        let [t0, t1, t2] = at.map(|i| self.nodes[i] / self.rate_hz);
        let [r0, r1, r2] = at.map(|i| self.clock[i]);
        if t0 == t1 || t1 == t2 {
            return (0.0, 0.0);
        }
        let change = (r2 - r1) / (t2 - t1) - (r1 - r0) / (t1 - t0);
        (2.0 * change / (t2 - t0), (t2 - t0).abs())
    }
}

fn centred(values: &[f64]) -> Vec<f64> {
    let mean = values.iter().sum::<f64>() / values.len().max(1) as f64;
    values.iter().map(|value| value - mean).collect()
}
