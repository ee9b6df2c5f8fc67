//! Apparent delays at nodes in, the largest step among them out: a straight line before and one after each moment, and how
//! far apart they pass it. A clock bends; samples that were lost, or sources that changed places, step.

use crate::signal::median;

/// Nodes looked at on either side of a moment, at most and at least.
const SIDE: (usize, usize) = (5, 3);

/// A step counts when it is this many times its standard deviation: the largest of a hundred moments stays below 5 by
/// chance, and delays of neighbouring nodes are not quite independent.
const CLEAR: f64 = 7.0;

/// The scatter of a single delay is never taken for less, analysis samples.
const LEAST_SCATTER: f64 = 0.02;

/// A step of the delay.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Step {
    /// By how much, in the unit of the delays; positive: later.
    pub size: f64,
    /// One standard deviation of it.
    pub sigma: f64,
    /// When, seconds.
    pub moment_s: f64,
}

/// The largest clear step; `None` when there is none.
pub(super) fn largest_step(times_s: &[f64], delays: &[f64]) -> Option<Step> {
    let scatter = scatter(times_s, delays).max(LEAST_SCATTER);
    let nodes = delays.len();
    (SIDE.1..=nodes.saturating_sub(SIDE.1))
        .filter_map(|cut| {
            let moment = 0.5 * (times_s[cut - 1] + times_s[cut]);
            let before = cut.saturating_sub(SIDE.0)..cut;
            let after = cut..(cut + SIDE.0).min(nodes);
            let before = line_at(moment, &times_s[before.clone()], &delays[before]);
            let after = line_at(moment, &times_s[after.clone()], &delays[after]);
            let step = Step {
                size: after.0 - before.0,
                sigma: scatter * (before.1 + after.1).sqrt(),
                moment_s: moment,
            };
            (step.size.abs() > CLEAR * step.sigma).then_some(step)
        })
        .max_by(|a, b| a.size.abs().total_cmp(&b.size.abs()))
}

/// The value at `moment` of the least-squares line through the points, and its variance for points of variance 1.
fn line_at(moment: f64, times: &[f64], values: &[f64]) -> (f64, f64) {
    let count = times.len() as f64;
    let middle = times.iter().sum::<f64>() / count;
    let mean = values.iter().sum::<f64>() / count;
    let square: f64 = times.iter().map(|t| (t - middle).powi(2)).sum();
    let across: f64 = times
        .iter()
        .zip(values)
        .map(|(t, v)| (t - middle) * (v - mean))
        .sum();
    let ahead = moment - middle;
    (
        mean + ahead * across / square,
        1.0 / count + ahead * ahead / square,
    )
}

/// The standard deviation of a single delay by how far it lies from the line through its neighbours: blind to a clock's
/// slow bend, and, by the median, to a step.
fn scatter(times: &[f64], delays: &[f64]) -> f64 {
    let mut apart: Vec<f64> = (1..delays.len().saturating_sub(1))
        .map(|i| {
            let share = (times[i] - times[i - 1]) / (times[i + 1] - times[i - 1]);
            let between = (1.0 - share) * delays[i - 1] + share * delays[i + 1];
            let variance = 1.0 + share * share + (1.0 - share) * (1.0 - share);
            (delays[i] - between).abs() / variance.sqrt()
        })
        .collect();
    1.4826 * median(&mut apart).unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bent(step: f64, noise: f64) -> Option<Step> {
        let times: Vec<f64> = (0..24).map(|i| 10.0 * f64::from(i)).collect();
        let delays: Vec<f64> = times
            .iter()
            .enumerate()
            .map(|(i, t)| {
                let wobble = noise * (1.7 * (i * i) as f64).sin();
                let after = if *t > 125.0 {
                    step + 0.02 * (t - 125.0)
                } else {
                    0.0
                };
                0.1 * t + 0.5 * (t / 70.0).sin() + wobble + after
            })
            .collect();
        largest_step(&times, &delays)
    }

    #[test]
    fn a_bend_is_no_step_and_a_step_is_one() {
        assert_eq!(bent(0.0, 0.05), None);
        for size in [1.5, -1.5] {
            let found = bent(size, 0.05).expect("a step");
            assert!((found.size - size).abs() < 0.25, "{found:?}");
            assert_eq!(found.moment_s, 125.0);
        }
    }
}
