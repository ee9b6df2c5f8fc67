//! Phases of a clock in, how far it breaks at given moments out: one Kalman filter from each end, so that all that came
//! before a moment is compared with all that came after it. A slip is a step of the phase that leaves the rate as it was;
//! a crystal that changes its rate bends and does not step.

use crate::signal::median;

use super::smooth::{FLOOR, Line, Phases, Restless, State, measurement_scale, weighted};

/// How far the clock by the measurements up to one moment and the clock by those from another on are apart between them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Break {
    /// The phase by what comes after less the phase by what came before, s.
    pub step: f64,
    /// Its standard deviation, s.
    pub step_sigma: f64,
    /// The same of the rate, s/s.
    pub bend: f64,
    /// Its standard deviation, s/s.
    pub bend_sigma: f64,
}

/// The most restless working clock whose steps are looked for, 1/s: 0.3 ppm of wander with a period of 40 s turns that fast.
const STEADY: Restless = Restless::rate(1e-15);

/// Nothing nearer than this to the middle of its neighbours is astray, s: a quarter of a sample at 48 kHz.
const ASTRAY: f64 = 5e-6;

/// The break between the measurements up to the first and from the second index of each of `pairs`: two filters, one from
/// each end, both foretold to the middle. Empty for fewer than three measurements.
#[must_use]
pub fn breaks(phases: &Phases, pairs: &[(usize, usize)]) -> Vec<Break> {
    let (t, n) = (&phases.t, phases.t.len());
    if n < 3 {
        return Vec::new();
    }
    let z = Line::through(t, &phases.z).taken_off(t, &phases.z);
    let measured: Vec<f64> = phases.variance.iter().map(|v| v + FLOOR).collect();
    let scale = measurement_scale(t, &z, &measured);
    let scaled: Vec<f64> = measured.iter().map(|v| v * scale).collect();
    let variance = weighted(&scaled, &alone(&z, &scaled));
    let before = filtered(t, &z, &variance, STEADY);
    let turned = |values: &[f64], sign: f64| values.iter().rev().map(|v| sign * v).collect();
    let (back_t, back_z, back_v): (Vec<f64>, Vec<f64>, Vec<f64>) =
        (turned(t, -1.0), turned(&z, 1.0), turned(&variance, 1.0));
    let after = filtered(&back_t, &back_z, &back_v, STEADY);
    pairs
        .iter()
        .filter(|&&(i, j)| i < j && j < n)
        .map(|&(i, j)| {
            let half = 0.5 * (t[j] - t[i]);
            let (a, b) = (
                before[i].after(half, STEADY),
                after[n - 1 - j].after(half, STEADY),
            );
            Break {
                step: b.phase - a.phase,
                step_sigma: (a.p[0] + b.p[0]).sqrt(),
                bend: -b.rate - a.rate,
                bend_sigma: (a.p[2] + b.p[2]).sqrt(),
            }
        })
        .collect()
}

/// Weights that leave out what lies beside both its neighbourhoods: single measurements gone astray, but not several in a row,
/// which are what is looked for.
fn alone(z: &[f64], variance: &[f64]) -> Vec<f64> {
    let weight = |i: usize| {
        let (from, to) = (i.saturating_sub(2), (i + 3).min(z.len()));
        let mut near = z[from..to].to_vec();
        let off = (z[i] - median(&mut near).unwrap_or(z[i])).abs();
        let allowed = ASTRAY.max(6.0 * variance[i].sqrt());
        if off > allowed { 0.0 } else { 1.0 }
    };
    (0..z.len()).map(weight).collect()
}

/// The states after each measurement.
fn filtered(t: &[f64], z: &[f64], variance: &[f64], restless: Restless) -> Vec<State> {
    let mut states = vec![State::unknown(restless).with(z[0], variance[0])];
    for i in 1..t.len() {
        let next = states[i - 1].after(t[i] - t[i - 1], restless);
        states.push(next.with(z[i], variance[i]));
    }
    states
}

#[cfg(test)]
mod tests {
    use super::*;

    fn clock(phase: impl Fn(f64) -> f64) -> Phases {
        let t: Vec<f64> = (0..200).map(|i| 0.34 * f64::from(i)).collect();
        let noise = |i: usize| 2e-7 * (1.7 * (i * i) as f64).sin();
        Phases {
            z: t.iter()
                .enumerate()
                .map(|(i, t)| phase(*t) + noise(i))
                .collect(),
            variance: vec![2e-14; 200],
            t,
        }
    }

    #[test]
    fn a_step_is_a_step_and_a_change_of_rate_a_bend() {
        let at = (100, 102);
        let wander = |t: f64| 2e-6 * (t / 15.0).sin();
        let step = breaks(
            &clock(|t| wander(t) + if t > 34.3 { 2e-5 } else { 0.0 }),
            &[at],
        );
        assert!(
            (step[0].step - 2e-5).abs() < 4.0 * step[0].step_sigma,
            "{step:?}"
        );
        assert!(step[0].bend.abs() < 4.0 * step[0].bend_sigma, "{step:?}");
        let bent = breaks(
            &clock(|t| wander(t) + 4e-6 * f64::max(t - 34.34, 0.0)),
            &[at],
        );
        assert!(bent[0].step.abs() < 4.0 * bent[0].step_sigma, "{bent:?}");
        assert!((bent[0].bend - 4e-6).abs() < 1e-6, "{bent:?}");
    }
}
