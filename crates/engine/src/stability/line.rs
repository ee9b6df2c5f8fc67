//! Phases at equal distances and what noise is in them in; the mean rate, and the ageing where it is beyond doubt, out.

use serde::Serialize;

use super::deviations::overlapping_allan;
use super::model::{Model, Weighted};
use super::quantile::student;
use super::series::Spaced;

/// An end is the mean of at most this part of the phases.
const MOST_OF_AN_END: usize = 8;
/// Ageing is believed when chance gives as much in one of a hundred tests that have none.
const BELIEVED: f64 = 0.995;

/// The mean rate of a test.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// By how much the clock gains in a second.
    pub rate: f64,
    /// How well that is known, of this very stretch of time.
    pub sigma: f64,
    /// The first and the last phases' middle, and that between, seconds.
    pub at_s: [f64; 3],
    /// Of so many phases each of them is the mean.
    pub averaged: usize,
    /// What the rate gains in a second, by those three means.
    pub bend: f64,
    /// One standard deviation of that.
    pub bend_sigma: f64,
    /// Whether the bend is beyond what the noise gives.
    pub is_ageing: bool,
}

/// What a rate gains with time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Ageing {
    /// A day, ppm.
    pub ppm_per_day: f64,
    /// One standard deviation, ppm.
    pub sigma_ppm_per_day: f64,
}

impl Line {
    /// The line from the mean of the first phases to that of the last: of so many that the noise of measuring is worth least
    /// against what the clock itself does within them.
    #[must_use]
    pub fn of(spaced: &Spaced, model: &Model) -> Self {
        let x = &spaced.ahead_s;
        let whole = spaced.seconds();
        // where the model has no such noise there is no more of it than all of the shortest deviation
        let shortest = overlapping_allan(x, spaced.interval_s, 1).unwrap_or(0.0);
        let white = match model.parts.white_phase_s2 {
            0.0 => (shortest * spaced.interval_s).powi(2) / 3.0,
            known => known,
        };
        let unsure = |averaged: usize| {
            let off = 0.5 * (averaged - 1) as f64 * spaced.interval_s;
            let clock = match off > 0.0 {
                true => model
                    .parts
                    .clock_variance(off)
                    .max(model.parts.clock_variance(whole)),
                false => 0.0,
            };
            2.0 * white / averaged as f64 + 2.0 * off * off * clock
        };
        let averaged = (0..usize::BITS)
            .map(|power| 1_usize << power)
            .take_while(|many| many * MOST_OF_AN_END <= x.len().max(MOST_OF_AN_END))
            .min_by(|a, b| unsure(*a).total_cmp(&unsure(*b)))
            .unwrap_or(1);
        let starts = [0, (x.len() - averaged) / 2, x.len() - averaged];
        let mean = |start: usize| {
            let part = &x[start..start + averaged];
            part.iter().sum::<f64>() / averaged as f64
        };
        let at_s = starts.map(|start| 0.5 * (spaced.at(start) + spaced.at(start + averaged - 1)));
        let means = starts.map(mean);
        let rate = (means[2] - means[0]) / (at_s[2] - at_s[0]);
        let mut line = Self {
            rate,
            sigma: unsure(averaged).sqrt() / whole,
            at_s,
            averaged,
            bend: 0.0,
            bend_sigma: 0.0,
            is_ageing: false,
        };
        let weights = line.bend_weights();
        line.bend = weights.iter().zip(means).map(|(w, x)| w.weight * x).sum();
        let (variance, freedom) = model.sum(&weights);
        line.bend_sigma = variance.sqrt();
        line.is_ageing = line.bend.abs() > student(BELIEVED, freedom) * line.bend_sigma;
        line
    }

    /// The bend as a sum of phases: the second derivative of the parabola through the three means.
    #[must_use]
    pub fn bend_weights(&self) -> [Weighted; 3] {
        let [a, b, c] = self.at_s;
        let weights = [
            2.0 / ((a - b) * (a - c)),
            2.0 / ((b - a) * (b - c)),
            2.0 / ((c - a) * (c - b)),
        ];
        [0, 1, 2].map(|i| Weighted {
            at_s: self.at_s[i],
            weight: weights[i],
            measured: self.averaged,
        })
    }

    /// The phases with the bend taken out.
    #[must_use]
    pub fn unbent(&self, spaced: &Spaced) -> Vec<f64> {
        let phases = spaced.ahead_s.iter().enumerate();
        phases
            .map(|(i, x)| x - 0.5 * self.bend * (spaced.at(i) - self.at_s[1]).powi(2))
            .collect()
    }

    /// The ageing, where it is beyond doubt.
    #[must_use]
    pub fn ageing(&self) -> Option<Ageing> {
        let per_day = 86_400.0 * 1e6;
        self.is_ageing.then_some(Ageing {
            ppm_per_day: self.bend * per_day,
            sigma_ppm_per_day: self.bend_sigma * per_day,
        })
    }
}
