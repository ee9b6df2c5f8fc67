//! Apparent delays at nodes in, the largest step among them out: a straight line before and one after each moment, and how
//! far apart they pass it. A clock bends, at once or little by little; samples that were lost, or sources that changed
//! places, step.

use std::ops::Range;

use crate::signal::median;

/// Nodes looked at on either side of a moment, at most and at least.
const SIDE: (usize, usize) = (5, 3);

/// A step counts when it is this many times its standard deviation: the largest of a hundred moments stays below 5 by
/// chance, and delays of neighbouring nodes are not quite independent.
const CLEAR: f64 = 7.0;

/// And when the delays, squared and summed, are off the two lines by less than this share of its own square: one of just
/// [`CLEAR`] leaves a tenth, one in the middle of a template, which hears either side, as much on top.
const LEFT: f64 = 0.25;

/// And when they are off by less than they are off a line with one bend, by the square of this many scatters: a rate that
/// changes at once looks like a step to lines that meet elsewhere.
const BETTER: f64 = 3.0;

/// Places at which a bend is tried, evenly over the nodes looked at.
const BENDS: i32 = 40;

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
            let (start, end) = (cut.saturating_sub(SIDE.0), (cut + SIDE.0).min(nodes));
            let part = |nodes: Range<usize>| (&times_s[nodes.clone()], &delays[nodes]);
            let (before, after) = (part(start..cut), part(cut..end));
            let [ends, begins] = [before, after].map(|part| line_at(moment, part));
            let step = Step {
                size: begins.0 - ends.0,
                sigma: scatter * (ends.1 + begins.1).sqrt(),
                moment_s: moment,
            };
            let clear = step.size.abs() > CLEAR * step.sigma;
            let stepping = square(&off_line(before)) + square(&off_line(after));
            let close = stepping < LEFT * step.size.powi(2);
            let better = bending(part(start..end)) - stepping > (BETTER * scatter).powi(2);
            (clear && close && better).then_some(step)
        })
        .max_by(|a, b| a.size.abs().total_cmp(&b.size.abs()))
}

/// Times and the delays at them.
type Part<'a> = (&'a [f64], &'a [f64]);

/// The least-squares line through points.
struct Line {
    middle: f64,
    mean: f64,
    slope: f64,
    /// The sum of the squares of the times about their middle.
    square: f64,
}

impl Line {
    fn through((times, values): Part<'_>) -> Self {
        let count = times.len() as f64;
        let middle = times.iter().sum::<f64>() / count;
        let mean = values.iter().sum::<f64>() / count;
        let square: f64 = times.iter().map(|t| (t - middle).powi(2)).sum();
        let points = times.iter().zip(values);
        let across: f64 = points.map(|(t, v)| (t - middle) * (v - mean)).sum();
        Self {
            middle,
            mean,
            slope: across / square,
            square,
        }
    }

    fn at(&self, time: f64) -> f64 {
        self.mean + (time - self.middle) * self.slope
    }
}

/// The value at `moment` of the line through the points, and its variance for points of variance 1.
fn line_at(moment: f64, part: Part<'_>) -> (f64, f64) {
    let line = Line::through(part);
    let ahead = moment - line.middle;
    let variance = 1.0 / part.0.len() as f64 + ahead * ahead / line.square;
    (line.at(moment), variance)
}

/// The points less the line through them.
fn off_line(part: Part<'_>) -> Vec<f64> {
    let line = Line::through(part);
    let points = part.0.iter().zip(part.1);
    points.map(|(t, v)| v - line.at(*t)).collect()
}

/// The sum of the squares that is left of the points by one line with one bend in it, wherever the bend fits best: a
/// crystal that changed its rate.
fn bending(part: Part<'_>) -> f64 {
    let times = part.0;
    let values = off_line(part);
    let whole = square(&values);
    let (first, last) = (times[0], times[times.len() - 1]);
    (1..BENDS)
        .map(|i| first + (last - first) * f64::from(i) / f64::from(BENDS))
        .map(|bend| {
            let bent: Vec<f64> = times.iter().map(|t| (t - bend).max(0.0)).collect();
            let bent = off_line((times, &bent));
            let along: f64 = bent.iter().zip(&values).map(|(b, v)| b * v).sum();
            whole - along * along / square(&bent).max(f64::MIN_POSITIVE)
        })
        .fold(whole, f64::min)
}

fn square(values: &[f64]) -> f64 {
    values.iter().map(|v| v * v).sum()
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
    fn a_rate_that_changes_at_once_is_no_step() {
        let times: Vec<f64> = (0..24).map(|i| 10.0 * f64::from(i)).collect();
        for (bend, back, ppm) in [
            (121.0, 300.0, 6.0),
            (117.0, 300.0, -6.0),
            (125.0, 300.0, 3.0),
            (85.0, 125.0, 6.0),
        ] {
            let bent = |t: f64| (t - bend).max(0.0) - (t - back).max(0.0);
            let delay = |t: &f64| 0.1 * t + 0.016 * ppm * bent(*t);
            let wobble = |t: f64| 0.03 * (1.7 * t * t).sin();
            let delays: Vec<f64> = times.iter().map(|t| delay(t) + wobble(*t)).collect();
            assert_eq!(largest_step(&times, &delays), None, "{bend} {ppm}");
        }
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
