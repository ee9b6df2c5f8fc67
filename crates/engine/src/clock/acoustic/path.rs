//! Phases at nodes in, one smooth path from lead to follower positions out: a straight line, plus a natural cubic spline
//! through the nodes, prolonged straight beyond them; and that path as knots.

use crate::clock::{Clock, Knot};
use crate::units::{LeadPos, Samples, UnitPos};

/// Nodes whose straight line prolongs the spline at either end.
const END_NODES: usize = 3;

/// Knots are set so close that straight lines between them stay within this many samples of the path, half of what the
/// contract allows.
const CHORD_ERROR: f64 = 0.0005;

/// Knots are at most this far apart, seconds (design section 7).
const KNOT_SPACING_S: f64 = 5.0;

/// And never closer than this, seconds.
const CLOSEST_KNOTS_S: f64 = 0.1;

/// A path from lead position to follower position, samples of the source rate.
#[derive(Debug, Clone)]
pub struct Path {
    /// The lead position of the follower's sample 0, as guessed.
    pub offset: f64,
    /// How much later the follower hears the content, samples.
    pub lag: f64,
    /// Rate, a ratio; positive: the follower's clock runs fast.
    pub rate: f64,
    /// Lead positions of the nodes.
    pub nodes: Vec<f64>,
    /// Follower samples that come on top at each node.
    pub phase: Vec<f64>,
    bend: Vec<f64>,
}

impl Path {
    /// A straight path.
    #[must_use]
    pub fn straight(offset: f64, lag: f64, rate: f64) -> Self {
        Self {
            offset,
            lag,
            rate,
            nodes: Vec::new(),
            phase: Vec::new(),
            bend: Vec::new(),
        }
    }

    /// The same straight line with `phase` samples on top at each of `nodes` (lead positions, rising).
    #[must_use]
    pub fn bent(&self, nodes: &[f64], phase: Vec<f64>) -> Self {
        Self {
            bend: second_derivatives(nodes, &phase),
            nodes: nodes.to_vec(),
            phase,
            ..*self
        }
    }

    /// The follower position of the content heard at `lead`.
    #[must_use]
    pub fn follower_at(&self, lead: f64) -> f64 {
        (lead - self.offset) * (1.0 + self.rate) + self.lag + self.extra(lead)
    }

    /// The rate (a ratio) between each two neighbouring nodes.
    #[must_use]
    pub fn rates(&self) -> Vec<f64> {
        let nodes = self.nodes.windows(2).zip(self.phase.windows(2));
        nodes
            .map(|(n, p)| self.rate + (p[1] - p[0]) / (n[1] - n[0]))
            .collect()
    }

    /// The lead position whose content is at `follower`.
    #[must_use]
    pub fn lead_at(&self, follower: f64) -> f64 {
        let mut lead = self.offset + (follower - self.lag) / (1.0 + self.rate);
        // The path's slope is within a few hundred parts per million of the divisor: each step gains three digits.
        for _ in 0..4 {
            lead -= (self.follower_at(lead) - follower) / (1.0 + self.rate);
        }
        lead
    }

    fn extra(&self, lead: f64) -> f64 {
        let nodes = &self.nodes;
        let Some((first, last)) = nodes.first().zip(nodes.last()) else {
            return 0.0;
        };
        if lead <= *first || lead >= *last {
            let weights = end_weights(nodes, lead);
            return weights.iter().map(|&(i, w)| w * self.phase[i]).sum();
        }
        let j = nodes.partition_point(|&node| node <= lead);
        let i = j - 1;
        let h = nodes[j] - nodes[i];
        let (a, b) = ((nodes[j] - lead) / h, (lead - nodes[i]) / h);
        a * self.phase[i]
            + b * self.phase[j]
            + ((a * a * a - a) * self.bend[i] + (b * b * b - b) * self.bend[j]) * h * h / 6.0
    }

    /// The path as a clock over a follower of `length` samples, its lead positions moved so that sample 0 falls at the
    /// guessed offset; `sigma` gives one standard deviation at a lead position. Also the move, samples.
    #[must_use]
    pub fn clock(
        &self,
        length: u64,
        rate_hz: f64,
        sigma: impl Fn(f64) -> f64,
    ) -> Option<(Clock, Samples)> {
        let last = length.saturating_sub(1).max(1) as f64;
        let sharpest = self.bend.iter().fold(0.0_f64, |m, b| m.max(b.abs()));
        let spacing = (8.0 * CHORD_ERROR / sharpest.max(1e-30))
            .sqrt()
            .clamp(CLOSEST_KNOTS_S * rate_hz, KNOT_SPACING_S * rate_hz);
        let shift = self.offset - self.lead_at(0.0);
        // The path has a corner at either outer node: a knot stands there too.
        let mut corners = vec![0.0];
        for node in [self.nodes.first(), self.nodes.last()]
            .into_iter()
            .flatten()
        {
            corners.push(self.follower_at(*node));
        }
        corners.push(last);
        corners.retain(|corner| (0.0..=last).contains(corner));
        let mut places = vec![0.0];
        for corner in corners.windows(2) {
            let pieces = ((corner[1] - corner[0]) / spacing).ceil() as u64;
            let width = (corner[1] - corner[0]) / pieces.max(1) as f64;
            places.extend((1..=pieces).map(|piece| corner[0] + width * piece as f64));
        }
        let knots = places
            .into_iter()
            .map(|follower| {
                let lead = self.lead_at(follower);
                Knot {
                    follower: UnitPos(follower),
                    lead: LeadPos(lead + shift),
                    sigma: Samples(sigma(lead)),
                }
            })
            .collect();
        Some((Clock::new(knots)?, Samples(shift)))
    }
}

/// How the value at `lead` hangs on the nodes' values: straight between neighbours (the cubic's share is small), the
/// straight line through the outer nodes beyond them.
#[must_use]
pub fn weights(nodes: &[f64], lead: f64) -> Vec<(usize, f64)> {
    let j = nodes.partition_point(|&node| node <= lead);
    if j == 0 || j == nodes.len() {
        return end_weights(nodes, lead);
    }
    let b = (lead - nodes[j - 1]) / (nodes[j] - nodes[j - 1]);
    vec![(j - 1, 1.0 - b), (j, b)]
}

/// The outer node's own value plus the slope of the least-squares line through the outer nodes.
fn end_weights(nodes: &[f64], lead: f64) -> Vec<(usize, f64)> {
    let count = END_NODES.min(nodes.len());
    let early = lead < 0.5 * (nodes[0] + nodes[nodes.len() - 1]);
    let (from, outer) = if early {
        (0, 0)
    } else {
        (nodes.len() - count, nodes.len() - 1)
    };
    let used = &nodes[from..from + count];
    let mean = used.iter().sum::<f64>() / count as f64;
    let square: f64 = used.iter().map(|t| (t - mean).powi(2)).sum();
    let ahead = lead - nodes[outer];
    used.iter()
        .enumerate()
        .map(|(i, t)| {
            let slope = if square > 0.0 {
                (t - mean) / square
            } else {
                0.0
            };
            (
                from + i,
                ahead * slope + if from + i == outer { 1.0 } else { 0.0 },
            )
        })
        .collect()
}

/// Second derivatives of the natural cubic spline (Numerical Recipes 3.3, from memory): a tridiagonal system.
fn second_derivatives(nodes: &[f64], values: &[f64]) -> Vec<f64> {
    let count = nodes.len();
    let mut bend = vec![0.0; count];
    let mut carry = vec![0.0; count];
    for i in 1..count.saturating_sub(1) {
        let share = (nodes[i] - nodes[i - 1]) / (nodes[i + 1] - nodes[i - 1]);
        let pivot = share * bend[i - 1] + 2.0;
        bend[i] = (share - 1.0) / pivot;
        let turn = (values[i + 1] - values[i]) / (nodes[i + 1] - nodes[i])
            - (values[i] - values[i - 1]) / (nodes[i] - nodes[i - 1]);
        carry[i] = (6.0 * turn / (nodes[i + 1] - nodes[i - 1]) - share * carry[i - 1]) / pivot;
    }
    if let Some(last) = bend.last_mut() {
        *last = 0.0;
    }
    for i in (0..count.saturating_sub(1)).rev() {
        bend[i] = bend[i] * bend[i + 1] + carry[i];
    }
    bend
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wavy() -> (Path, impl Fn(f64) -> f64) {
        let nodes: Vec<f64> = (0..31)
            .map(|i| 240_000.0 + 480_000.0 * f64::from(i))
            .collect();
        // 0.3 ppm with a period of 140 s: at its turns the phase bends by 3e-13 a sample squared.
        let wave = |n: f64| {
            0.3e-6 * 140.0 * 48_000.0 / std::f64::consts::TAU
                * (n / (140.0 * 48_000.0) * std::f64::consts::TAU).sin()
        };
        let phase: Vec<f64> = nodes.iter().map(|&n| wave(n)).collect();
        (Path::straight(1000.25, 0.0, 8e-6).bent(&nodes, phase), wave)
    }

    #[test]
    fn the_path_and_its_inverse_agree() {
        let (path, wave) = wavy();
        for n in [2e5, 1.1e6, 7.77e6, 1.4e7, 1.49e7] {
            assert!((path.lead_at(path.follower_at(n)) - n).abs() < 1e-6);
        }
        let exact = (7.77e6 - 1000.25) * (1.0 + 8e-6) + wave(7.77e6);
        assert!((path.follower_at(7.77e6) - exact).abs() < 2e-3);
    }

    #[test]
    fn knots_stay_within_a_thousandth_of_the_path() {
        let (path, _) = wavy();
        let (clock, shift) = path.clock(14_800_000, 48_000.0, |_| 0.0).unwrap();
        let knots = clock.knots();
        assert_eq!(knots[0].follower, UnitPos(0.0));
        assert_eq!(knots[0].lead, LeadPos(1000.25));
        assert!((knots[knots.len() - 1].follower.0 - 14_799_999.0).abs() < 1e-6);
        assert!(
            knots
                .windows(2)
                .all(|k| (k[1].follower - k[0].follower).0 <= 240_000.0)
        );
        for k in (0..14_799_999).step_by(7_777) {
            let k = f64::from(k);
            let miss = clock.lead_at(UnitPos(k)).0 - shift.0 - path.lead_at(k);
            assert!(miss.abs() < 1e-3, "{miss} at {k}");
        }
    }
}
