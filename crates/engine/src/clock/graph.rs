//! Edges between nodes in, the clock's phase at every node out, with its covariance and the scatter of the geometry.
//!
//! The apparent delay of node `i` is `a_i = r_i + g_i`: `r` the clock's phase, whose frequency walks at random with
//! `q` per square root of a second; `g` what the sources do (who speaks, how he sways), independent from node to node
//! with a scatter that is estimated along. An edge measures `a_j - a_i`. Geman-McClure weights, annealed from scale 40
//! to 2.5 (graduated non-convexity), keep wrong edges out; all unknowns are solved for together, `a` eliminated first.

use rayon::prelude::*;

use super::dense::{Square, dot};
use crate::tie::acoustic::edges::Edge;

/// Floor of an edge's sigma, analysis samples; what edges scatter beyond their sigma is estimated along.
const LEAST_SIGMA: f64 = 0.001;

/// Scale of the weights at the start, in sigmas: nothing is an outlier yet.
const FIRST_SCALE: f64 = 40.0;

/// Scale of the weights at the end.
const LAST_SCALE: f64 = 2.5;

/// By which the scale shrinks a round.
const ANNEALING: f64 = 0.8;

/// Rounds at most.
const ROUNDS: usize = 40;

/// From this round on the scatter of the geometry is estimated.
const SETTLED: usize = 6;

/// The geometry's scatter: first value and limits, analysis samples.
const GEOMETRY: (f64, f64, f64) = (2.0, 0.0005, 20.0);

/// The normal distribution's standard deviation over its median absolute value.
const MAD_TO_SIGMA: f64 = 1.4826;

/// What is known of the clock beforehand.
#[derive(Debug, Clone)]
pub struct Prior<'a> {
    /// The time of each node, seconds.
    pub times_s: &'a [f64],
    /// The analysis rate, samples a second.
    pub hz: f64,
    /// How the clock's rate walks, a ratio per square root of a second.
    pub wander: f64,
}

/// The clock at the nodes.
#[derive(Debug, Clone)]
pub struct Solution {
    /// Apparent delay of the follower at each node, analysis samples; its mean is arbitrary.
    pub apparent: Vec<f64>,
    /// The part of it that is the clock's.
    pub clock: Vec<f64>,
    /// Covariance of `clock`, analysis samples squared; of [`solve_as_restless`] that of clocks of every restlessness.
    pub covariance: Square,
    /// Standard deviation of `apparent` about the clock, analysis samples.
    pub geometry: f64,
    /// Weight of each edge, 0 to 1.
    pub weights: Vec<f64>,
    /// How restless the clock was taken for, a ratio per square root of a second.
    pub wander: f64,
    /// How restless it may be: the root mean square over every restlessness tried, each by its evidence.
    pub likely_wander: f64,
    /// Logarithm of the marginal likelihood up to a constant of the edges; weights count by what the line process of
    /// their rule costs (Black and Rangarajan 1996).
    pub evidence: f64,
}

/// How much more restless a clock is tried as, step by step.
const RESTLESS_STEP: f64 = 4.0;

/// How often: over three decades.
const RESTLESS_STEPS: i32 = 5;

/// By how much the logarithm of the evidence must grow for a more restless clock to be believed.
const WORTH: f64 = 3.0;

/// Solves for the clock, taken for as restless as the edges make it (at least as `prior` says); `None` when they do not
/// determine it. Which restlessness it is the edges may leave open: the covariance counts every one by its evidence.
#[must_use]
pub fn solve_as_restless(edges: &[Edge], prior: &Prior<'_>) -> Option<Solution> {
    let tried: Vec<Solution> = (0..=RESTLESS_STEPS)
        .into_par_iter()
        .map(|step| prior.wander * RESTLESS_STEP.powi(step))
        .filter_map(|wander| solve(edges, &Prior { wander, ..*prior }))
        .collect();
    let best = tried.iter().reduce(|best, more| {
        let better = more.evidence > best.evidence + WORTH;
        if better { more } else { best }
    })?;
    Some(best.widened(&tried))
}

impl Solution {
    /// This solution with the covariance of all that were tried, their distances from it included.
    fn widened(&self, tried: &[Self]) -> Self {
        let most = tried.iter().map(|s| s.evidence).fold(f64::MIN, f64::max);
        let weigh = |solution: &Self| (solution.evidence - most).exp();
        let sum: f64 = tried.iter().map(weigh).sum();
        let nodes = self.clock.len();
        let mut covariance = Square::zeros(nodes);
        let mut square = 0.0;
        for solution in tried {
            let share = weigh(solution) / sum;
            if share < 1e-3 {
                continue;
            }
            square += share * solution.wander.powi(2);
            let apart: Vec<f64> = solution
                .clock
                .iter()
                .zip(&self.clock)
                .map(|(other, own)| other - own)
                .collect();
            for i in 0..nodes {
                for j in 0..nodes {
                    let value = solution.covariance.at(i, j) + apart[i] * apart[j];
                    covariance.add(i, j, share * value);
                }
            }
        }
        Self {
            covariance,
            likely_wander: square.sqrt(),
            ..self.clone()
        }
    }
}

/// Solves for the clock; `None` when the edges do not determine it.
#[must_use]
pub fn solve(edges: &[Edge], prior: &Prior<'_>) -> Option<Solution> {
    let nodes = prior.times_s.len();
    if edges.is_empty() || nodes < 3 {
        return None;
    }
    let smoothness = smoothness(prior);
    let own_sigma: Vec<f64> = edges.iter().map(|e| e.sigma.max(LEAST_SIGMA)).collect();
    let mut inflation = 1.0;
    let mut weights = vec![1.0; edges.len()];
    let mut scale = FIRST_SCALE;
    let mut geometry = GEOMETRY.0;
    let mut last: Option<Solution> = None;
    for round in 0..ROUNDS {
        let precision: Vec<f64> = weights
            .iter()
            .zip(&own_sigma)
            .map(|(weight, sigma)| weight / (sigma * inflation).powi(2))
            .collect();
        let system = System::new(edges, &precision, nodes, geometry);
        let estimate_geometry = round >= SETTLED && (round % 3 == 0 || round + 1 == ROUNDS);
        let mut solution = system.solve(&smoothness, prior)?;
        let outliers: f64 = weights.iter().map(|w| (w.sqrt() - 1.0).powi(2)).sum();
        solution.evidence -=
            0.5 * LAST_SCALE.powi(2) * outliers + edges.len() as f64 * f64::ln(inflation);
        let residuals: Vec<f64> = edges
            .iter()
            .map(|e| e.delta - (solution.apparent[e.to] - solution.apparent[e.from]))
            .collect();
        let standardised = residuals.iter().zip(&own_sigma).map(|(r, s)| r.abs() / s);
        inflation = (MAD_TO_SIGMA * median(standardised.collect())).clamp(1.0, 50.0);
        let limit = scale.max(LAST_SCALE);
        weights = residuals
            .iter()
            .zip(&own_sigma)
            .map(|(residual, sigma)| {
                (1.0 + (residual / (sigma * inflation * limit)).powi(2)).powi(-2)
            })
            .collect();
        solution.weights.clone_from(&weights);
        let before = geometry;
        if estimate_geometry {
            geometry = system.geometry(&solution);
        }
        let moved = last.as_ref().map_or(f64::INFINITY, |last| {
            largest_difference(&last.clock, &solution.clock)
        });
        let settled = scale <= LAST_SCALE
            && estimate_geometry
            && moved < 1e-4
            && (geometry - before).abs() < 0.02 * before;
        scale *= ANNEALING;
        last = Some(solution);
        if settled {
            break;
        }
    }
    last
}

/// The second-difference prior `D'D`, banded but stored whole, and a weak hold on the mean.
fn smoothness(prior: &Prior<'_>) -> Square {
    let times = prior.times_s;
    let nodes = times.len();
    let mut matrix = Square::zeros(nodes);
    for k in 1..nodes - 1 {
        let (before, after) = (times[k] - times[k - 1], times[k + 1] - times[k]);
        let sd = prior.wander * prior.hz * (0.5 * (before + after)).sqrt();
        let row = [1.0 / before, -1.0 / before - 1.0 / after, 1.0 / after];
        for (i, a) in row.iter().enumerate() {
            for (j, b) in row.iter().enumerate() {
                matrix.add(k - 1 + i, k - 1 + j, a * b / (sd * sd));
            }
        }
    }
    let hold = 1e-4 / (nodes * nodes) as f64;
    for i in 0..nodes {
        for j in 0..nodes {
            matrix.add(i, j, hold);
        }
    }
    matrix
}

/// The part of the normal equations that belongs to the apparent delays.
struct System<'a> {
    edges: &'a [Edge],
    precision: &'a [f64],
    geometry: f64,
    right: Vec<f64>,
    /// `(L + I / g^2)^-1`, `L` the graph's weighted Laplacian.
    inner: Option<(Square, f64)>,
}

impl<'a> System<'a> {
    fn new(edges: &'a [Edge], precision: &'a [f64], nodes: usize, geometry: f64) -> Self {
        let mut laplacian = Square::zeros(nodes);
        let mut right = vec![0.0; nodes];
        for (edge, &weight) in edges.iter().zip(precision) {
            laplacian.add(edge.from, edge.from, weight);
            laplacian.add(edge.to, edge.to, weight);
            laplacian.add(edge.from, edge.to, -weight);
            laplacian.add(edge.to, edge.from, -weight);
            right[edge.to] += weight * edge.delta;
            right[edge.from] -= weight * edge.delta;
        }
        for i in 0..nodes {
            laplacian.add(i, i, geometry.powi(-2));
        }
        Self {
            edges,
            precision,
            geometry,
            right,
            inner: laplacian.inverse(),
        }
    }

    fn solve(&self, smoothness: &Square, prior: &Prior<'_>) -> Option<Solution> {
        let nodes = smoothness.size();
        let (inner, inner_log_det) = self.inner.as_ref()?;
        let tie = self.geometry.powi(-2);
        let mut schur = smoothness.clone();
        for i in 0..nodes {
            for (j, value) in inner.row(i).iter().enumerate() {
                schur.add(i, j, f64::from(u8::from(i == j)) * tie - tie * tie * value);
            }
        }
        let (covariance, schur_log_det) = schur.inverse()?;
        let seen = inner.times(&self.right);
        let pull: Vec<f64> = seen.iter().map(|value| tie * value).collect();
        let clock = covariance.times(&pull);
        let apparent: Vec<f64> = inner
            .times(&clock)
            .iter()
            .zip(&seen)
            .map(|(moved, seen)| seen + tie * moved)
            .collect();
        // log p(y) = 1/2 (b'x - y'Wy) - 1/2 log|N| + 1/2 log|prior|, b'x with b non-zero for `a` alone.
        let fit = dot(&self.right, &apparent)
            - self
                .edges
                .iter()
                .zip(self.precision)
                .map(|(edge, weight)| weight * edge.delta.powi(2))
                .sum::<f64>();
        let free = nodes as f64 - 2.0;
        let prior_log_det = nodes as f64 * tie.ln() - 2.0 * free * prior.wander.ln();
        Some(Solution {
            apparent,
            clock,
            covariance,
            geometry: self.geometry,
            weights: Vec::new(),
            wander: prior.wander,
            likely_wander: prior.wander,
            evidence: 0.5 * (fit - inner_log_det - schur_log_det + prior_log_det),
        })
    }

    /// One step of expectation and maximisation for the geometry's scatter, made robust by the smaller of two measures.
    fn geometry(&self, solution: &Solution) -> f64 {
        let Some((inner, _)) = &self.inner else {
            return self.geometry;
        };
        let tie = self.geometry.powi(-2);
        let nodes = solution.clock.len();
        let (mut apart, mut doubt) = (Vec::with_capacity(nodes), Vec::with_capacity(nodes));
        for i in 0..nodes {
            apart.push(solution.apparent[i] - solution.clock[i]);
            // var(a - r) = B_ii + (B C B)_ii / g^4 + C_ii - 2 (B C)_ii / g^2, B the inner inverse, C the clock's
            // covariance: the variance of `a` given `r`, and the doubt of `r` as far as `a` does not follow it.
            let mut follow: Vec<f64> = inner.row(i).iter().map(|value| tie * value).collect();
            follow[i] -= 1.0;
            doubt.push(inner.at(i, i) + solution.covariance.quadratic(&follow));
        }
        let square = |values: &[f64]| values.iter().map(|v| v * v).sum::<f64>() / nodes as f64;
        let mean_doubt = doubt.iter().sum::<f64>() / nodes as f64;
        let typical = MAD_TO_SIGMA * median(apart.iter().map(|v| v.abs()).collect());
        let robust = typical * typical + median(doubt);
        let plain = square(&apart) + mean_doubt;
        robust.min(plain).sqrt().clamp(GEOMETRY.1, GEOMETRY.2)
    }
}

fn largest_difference(a: &[f64], b: &[f64]) -> f64 {
    let mean = a.iter().zip(b).map(|(a, b)| a - b).sum::<f64>() / a.len() as f64;
    a.iter()
        .zip(b)
        .map(|(a, b)| (a - b - mean).abs())
        .fold(0.0, f64::max)
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    match values.len() {
        0 => 0.0,
        n if n % 2 == 1 => values[n / 2],
        n => 0.5 * (values[n / 2 - 1] + values[n / 2]),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A clock with a known bend, a geometry scatter of 0.4, a fifth of the edges wrong by up to 8 samples.
    #[test]
    fn the_clock_comes_out_of_scattered_geometry_and_wrong_edges() {
        let nodes = 40;
        let times: Vec<f64> = (0..nodes).map(|i| 10.0 * f64::from(i)).collect();
        let truth: Vec<f64> = times
            .iter()
            .map(|t| 0.02 * t + 0.8 * (t / 90.0).sin())
            .collect();
        let mut state = 1_u64;
        let mut uniform = move || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (state >> 11) as f64 / (1_u64 << 53) as f64 - 0.5
        };
        let mut normal = move |sd: f64| sd * (0..12).map(|_| uniform()).sum::<f64>();
        let apparent: Vec<f64> = truth.iter().map(|r| r + normal(0.4)).collect();
        let edges: Vec<Edge> = crate::tie::acoustic::edges::comparisons(40)
            .into_iter()
            .enumerate()
            .map(|(i, (from, to))| {
                let wrong = if i % 5 == 0 { normal(4.0) } else { 0.0 };
                let delta = apparent[to] - apparent[from] + normal(0.03) + wrong;
                Edge {
                    from,
                    to,
                    delta,
                    sigma: 0.03,
                }
            })
            .collect();
        let prior = Prior {
            times_s: &times,
            hz: 16_000.0,
            wander: 0.012e-6,
        };
        let found = solve(&edges, &prior).unwrap();
        let misses: Vec<f64> = found.clock.iter().zip(&truth).map(|(a, b)| a - b).collect();
        let mean = misses.iter().sum::<f64>() / 40.0;
        let rms = (misses.iter().map(|m| (m - mean).powi(2)).sum::<f64>() / 40.0).sqrt();
        let claimed = (0..40).map(|i| found.covariance.at(i, i)).sum::<f64>() / 40.0;
        assert!(rms < 0.3, "rms {rms}, claimed {}", claimed.sqrt());
        assert!((0.2..0.7).contains(&found.geometry), "{}", found.geometry);
        let kept = edges.iter().zip(&found.weights).enumerate();
        let wrong_kept = kept
            .filter(|(i, (e, w))| {
                i % 5 == 0 && (e.delta - apparent[e.to] + apparent[e.from]).abs() > 1.0 && **w > 0.3
            })
            .count();
        assert_eq!(wrong_kept, 0);
    }

    #[test]
    fn no_edges_no_clock() {
        let prior = Prior {
            times_s: &[0.0, 10.0, 20.0],
            hz: 16_000.0,
            wander: 1e-8,
        };
        assert!(solve(&[], &prior).is_none());
    }
}
