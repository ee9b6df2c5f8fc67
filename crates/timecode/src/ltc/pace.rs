//! The words of a run in, how long they are out, to the digits that a clock is compared by.

use super::line::Line;
use super::runs::{Run, SMOOTHED};

/// How long the words of a run are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pace {
    /// Their mean length by the line through them, samples.
    pub samples: f64,
    /// One standard deviation of it, by their scatter about that line.
    pub sigma: f64,
}

/// So far apart the places of words share none of what each is smoothed over.
pub const INDEPENDENT: usize = 2 * SMOOTHED + 1;

/// Where one place is off its neighbour by more than this, samples, and than so many times what is typical, against the
/// line, samples are missing or the code was cut: scatter reaches seven.
const BROKEN: (f64, f64) = (1.0, 12.0);
/// The run is then taken in so many parts, of which the middle one counts.
const PARTS: usize = 8;

impl Run {
    /// How long its words are; `None` for fewer than four that are independent of one another.
    #[must_use]
    pub fn pace(&self) -> Option<Pace> {
        let words = self.words.iter().step_by(INDEPENDENT);
        let points: Vec<(f64, f64)> = words.map(|word| (word.index as f64, word.start)).collect();
        let whole = pace_of(&points)?;
        if !whole.broken {
            return Some(whole.pace);
        }
        let parts = points.chunks(points.len().div_ceil(PARTS).max(4));
        let mut parts: Vec<Pace> = parts.filter_map(|part| Some(pace_of(part)?.pace)).collect();
        parts.sort_by(|a, b| a.samples.total_cmp(&b.samples));
        let quarter = parts.len() / 4;
        let middle = *parts.get(parts.len() / 2)?;
        // half of the parts lie within 0.6745 sigma of the middle one
        let half = (parts[parts.len() - 1 - quarter].samples - parts[quarter].samples) / 2.0;
        Some(Pace {
            sigma: middle.sigma.max(half / 0.6745),
            ..middle
        })
    }
}

struct Whole {
    pace: Pace,
    broken: bool,
}

fn pace_of(points: &[(f64, f64)]) -> Option<Whole> {
    if points.len() < 4 {
        return None;
    }
    let line = Line::through(points.iter().copied());
    let left: Vec<f64> = points.iter().map(|(x, y)| y - line.at(*x)).collect();
    let square: f64 = left.iter().map(|y| y * y).sum();
    let variance = square / (points.len() - 2) as f64 * line.slope_variance();
    let mut steps: Vec<f64> = left
        .windows(2)
        .map(|pair| (pair[1] - pair[0]).abs())
        .collect();
    steps.sort_by(f64::total_cmp);
    let (typical, most) = (steps[steps.len() / 2], steps[steps.len() - 1]);
    Some(Whole {
        pace: Pace {
            samples: line.slope,
            sigma: variance.sqrt(),
        },
        broken: most > BROKEN.0 && most > BROKEN.1 * typical,
    })
}
