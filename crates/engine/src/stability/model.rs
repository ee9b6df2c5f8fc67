//! Allan variances in, how much of each noise they are made of out; and the variance that such noise gives any sum of phases.
//!
//! The Allan variance of a sum of noises (SP 1065, section 6, Table 5; the flicker of the phase is taken for white):
//! `3 s^2 / tau^2 + a / tau + f + q tau / 3`. A sum of phases whose weights cancel a constant and a slope has the variance
//! `sum of w_i w_j K(t_i - t_j)` with the generalised covariance of each noise (the `sw` of Greenhall and Riley, PTTI 2003, in
//! proportion): `s^2` for one and the same phase, `-a |t| / 2`, `f t^2 ln|t| / (4 ln 2)`, `q |t|^3 / 12`.

use serde::Serialize;

/// Rounds of weighting each variance by what the last round made of it.
const ROUNDS: usize = 12;
/// A variance is taken to be known with so many degrees of freedom at least: a part that came out as next to nothing is known
/// with next to none, and would make every forecast shorter than chance does (tried without: docs/decisions/stability.md).
const LEAST_FREEDOM: f64 = 3.0;
const PARTS: usize = 4;

/// How much there is of each noise.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct Parts {
    /// White noise of the phase, its variance, s^2.
    pub white_phase_s2: f64,
    /// White noise of the rate: the Allan variance at one second, s.
    pub white_rate_s: f64,
    /// Flicker of the rate: the Allan variance at any time.
    pub flicker_rate: f64,
    /// A walking rate: the variance it gains in a second, 1/s.
    pub walking_rate_per_s: f64,
}

/// One Allan variance.
#[derive(Debug, Clone, Copy)]
pub struct Seen {
    /// Averaging time, seconds.
    pub tau_s: f64,
    /// The variance.
    pub variance: f64,
    /// Its degrees of freedom.
    pub freedom: f64,
}

/// What Allan variances are made of.
#[derive(Debug, Clone, PartialEq)]
pub struct Model {
    /// The likeliest parts.
    pub parts: Parts,
    /// The covariance of those that are something.
    covariance: [[f64; PARTS]; PARTS],
}

/// A weight on the phase at a time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weighted {
    /// When, seconds.
    pub at_s: f64,
    /// The weight.
    pub weight: f64,
    /// How many measured phases it is the mean of; 0: the clock itself, not measured.
    pub measured: usize,
}

fn shapes(tau: f64) -> [f64; PARTS] {
    [3.0 / (tau * tau), 1.0 / tau, 1.0, tau / 3.0]
}

impl Parts {
    fn of(values: [f64; PARTS]) -> Self {
        Self {
            white_phase_s2: values[0],
            white_rate_s: values[1],
            flicker_rate: values[2],
            walking_rate_per_s: values[3],
        }
    }

    fn values(&self) -> [f64; PARTS] {
        [
            self.white_phase_s2,
            self.white_rate_s,
            self.flicker_rate,
            self.walking_rate_per_s,
        ]
    }

    /// The Allan variance over `tau` seconds.
    #[must_use]
    pub fn allan_variance(&self, tau: f64) -> f64 {
        dot(&self.values(), &shapes(tau))
    }

    /// The same of the clock alone, without the white noise of the phase.
    #[must_use]
    pub fn clock_variance(&self, tau: f64) -> f64 {
        let alone = Self {
            white_phase_s2: 0.0,
            ..*self
        };
        alone.allan_variance(tau)
    }
}

impl Model {
    /// The likeliest parts, none below nothing: each variance is taken for a chi-square variable with its degrees of
    /// freedom, independent of the others.
    #[must_use]
    pub fn of(seen: &[Seen]) -> Self {
        let seen: Vec<Seen> = seen
            .iter()
            .copied()
            .filter(|one| one.variance > 0.0 && one.freedom > 0.0)
            .collect();
        let (mut best, mut least) = ([0.0; PARTS], f64::INFINITY);
        for set in 1_u32..1 << PARTS {
            let used: Vec<usize> = (0..PARTS).filter(|part| set >> part & 1 == 1).collect();
            let Some(values) = likeliest(&seen, &used) else {
                continue;
            };
            let unlikely: f64 = seen
                .iter()
                .map(|one| {
                    let model = dot(&values, &shapes(one.tau_s));
                    one.freedom * (one.variance / model + model.ln())
                })
                .sum();
            if unlikely < least {
                (best, least) = (values, unlikely);
            }
        }
        Self {
            parts: Parts::of(best),
            covariance: covariance(&seen, &best),
        }
    }

    /// The same with at least the noise that is claimed for one phase: a wander of no power law leaves none of it.
    #[must_use]
    pub fn with_claimed(mut self, sigma_s: f64) -> Self {
        let claimed = sigma_s * sigma_s;
        self.parts.white_phase_s2 = self.parts.white_phase_s2.max(claimed);
        self
    }

    /// The variance of a weighted sum of phases, and the degrees of freedom it is known with (Satterthwaite:
    /// `2 v^2 / var(v)`).
    #[must_use]
    pub fn sum(&self, phases: &[Weighted]) -> (f64, f64) {
        let mut shares = [0.0; PARTS];
        for (i, a) in phases.iter().enumerate() {
            if a.measured > 0 {
                shares[0] += a.weight * a.weight / a.measured as f64;
            }
            for b in &phases[..i] {
                let both = 2.0 * a.weight * b.weight;
                let apart = (a.at_s - b.at_s).abs();
                if apart > 0.0 {
                    shares[1] -= both * apart / 2.0;
                    shares[2] += both * apart * apart * apart.ln() / (4.0 * 2_f64.ln());
                    shares[3] += both * apart.powi(3) / 12.0;
                }
            }
        }
        let variance = dot(&self.parts.values(), &shares).max(0.0);
        let mut unsure = 0.0;
        for (row, share) in self.covariance.iter().zip(&shares) {
            unsure += share * dot(row, &shares);
        }
        let freedom = match unsure > 0.0 {
            true => (2.0 * variance * variance / unsure).max(LEAST_FREEDOM),
            false => f64::INFINITY,
        };
        (variance, freedom)
    }
}

fn dot(a: &[f64; PARTS], b: &[f64; PARTS]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// The likeliest values of the parts in `used`; `None` when one comes out below nothing.
fn likeliest(seen: &[Seen], used: &[usize]) -> Option<[f64; PARTS]> {
    let mut model: Vec<f64> = seen.iter().map(|one| one.variance).collect();
    let mut values = [0.0; PARTS];
    for _ in 0..ROUNDS {
        let mut normal = vec![vec![0.0; used.len() + 1]; used.len()];
        for (one, expected) in seen.iter().zip(&model) {
            let shape = shapes(one.tau_s);
            let weight = one.freedom / (2.0 * expected * expected);
            for (row, a) in normal.iter_mut().zip(used) {
                for (cell, b) in row.iter_mut().zip(used) {
                    *cell += weight * shape[*a] * shape[*b];
                }
                row[used.len()] += weight * shape[*a] * one.variance;
            }
        }
        let found = solved(normal)?;
        values = [0.0; PARTS];
        for (part, value) in used.iter().zip(&found) {
            values[*part] = *value;
        }
        model = seen
            .iter()
            .map(|one| dot(&values, &shapes(one.tau_s)))
            .collect();
        if model.iter().any(|v| *v <= 0.0) {
            return None;
        }
    }
    values.iter().all(|value| *value >= 0.0).then_some(values)
}

/// The covariance of the parts that came out as something; nothing for the others.
fn covariance(seen: &[Seen], values: &[f64; PARTS]) -> [[f64; PARTS]; PARTS] {
    let used: Vec<usize> = (0..PARTS).filter(|part| values[*part] > 0.0).collect();
    let mut all = [[0.0; PARTS]; PARTS];
    for (place, column) in used.iter().enumerate() {
        let mut normal = vec![vec![0.0; used.len() + 1]; used.len()];
        for one in seen {
            let shape = shapes(one.tau_s);
            let expected = dot(values, &shape);
            let weight = one.freedom / (2.0 * expected * expected);
            for (row, a) in normal.iter_mut().zip(&used) {
                for (cell, b) in row.iter_mut().zip(&used) {
                    *cell += weight * shape[*a] * shape[*b];
                }
            }
        }
        normal[place][used.len()] = 1.0;
        for (row, value) in used.iter().zip(solved(normal).unwrap_or_default()) {
            all[*row][*column] = value;
        }
    }
    all
}

/// The solution of linear equations, each a row with its right side last; `None` where there is no single one. Rows and
/// columns of a normal matrix are first brought to diagonals of one: the parts differ by many powers of ten.
fn solved(mut rows: Vec<Vec<f64>>) -> Option<Vec<f64>> {
    let n = rows.len();
    let scale: Vec<f64> = (0..n).map(|i| rows[i][i].sqrt()).collect();
    if scale.iter().any(|s| !s.is_normal()) {
        return None;
    }
    for (i, row) in rows.iter_mut().enumerate() {
        for (j, cell) in row.iter_mut().enumerate() {
            *cell /= scale[i] * scale.get(j).copied().unwrap_or(1.0);
        }
    }
    for column in 0..n {
        let pivot = (column..n).max_by(|a, b| {
            let size = |row: usize| rows[row][column].abs();
            size(*a).total_cmp(&size(*b))
        })?;
        rows.swap(column, pivot);
        let top = rows[column].clone();
        if top[column].abs() < 1e-12 {
            return None;
        }
        for (at, row) in rows.iter_mut().enumerate() {
            if at != column {
                let share = row[column] / top[column];
                row.iter_mut().zip(&top).for_each(|(c, t)| *c -= share * t);
            }
        }
    }
    Some((0..n).map(|i| rows[i][n] / rows[i][i] / scale[i]).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: Parts = Parts {
        white_phase_s2: 1e-14,
        white_rate_s: 4e-16,
        flicker_rate: 9e-18,
        walking_rate_per_s: 6e-21,
    };

    #[test]
    fn exact_variances_give_their_parts_back() {
        let seen: Vec<Seen> = (0..14)
            .map(|octave| {
                let tau_s = f64::from(1 << octave);
                let variance = ALL.allan_variance(tau_s);
                Seen {
                    tau_s,
                    variance,
                    freedom: 50.0,
                }
            })
            .collect();
        let found = Model::of(&seen).parts;
        for (a, b) in found.values().iter().zip(ALL.values()) {
            assert!((a / b - 1.0).abs() < 1e-6, "{found:?}");
        }
    }

    /// `x(t + 2 tau) - 2 x(t + tau) + x(t)` has twice `tau^2` times the Allan variance, by its definition.
    #[test]
    fn the_variance_of_a_second_difference_is_the_allan_variance() {
        let model = Model {
            parts: ALL,
            covariance: [[0.0; PARTS]; PARTS],
        };
        for tau in [0.3, 1.0, 40.0, 3000.0] {
            let phase = |at: f64, weight| Weighted {
                at_s: 7.0 + at * tau,
                weight,
                measured: 1,
            };
            let (variance, _) = model.sum(&[phase(0.0, 1.0), phase(1.0, -2.0), phase(2.0, 1.0)]);
            let allan = variance / (2.0 * tau * tau);
            let expected = ALL.allan_variance(tau);
            assert!((allan / expected - 1.0).abs() < 1e-9, "{tau}: {allan}");
        }
    }
}
