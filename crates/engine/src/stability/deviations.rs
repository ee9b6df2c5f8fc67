//! Phases at equal distances in, Allan's deviations out: NIST SP 1065 (2008), section 5.2. Phases are seconds; a constant
//! and a slope in them change nothing.

/// The Allan deviation over `factor` intervals without overlap, on every `factor`-th phase (SP 1065, 5.2.2, eq. 8):
/// `sum (x[i+2] - 2 x[i+1] + x[i])^2 / (2 (N - 2) tau^2)`. `None` for fewer than three such phases.
#[must_use]
pub fn allan(phases: &[f64], interval_s: f64, factor: usize) -> Option<f64> {
    if factor == 0 {
        return None;
    }
    let taken: Vec<f64> = phases.iter().step_by(factor).copied().collect();
    overlapping_allan(&taken, interval_s * factor as f64, 1)
}

/// The overlapping Allan deviation (SP 1065, 5.2.4, eq. 11):
/// `sum over i of (x[i+2m] - 2 x[i+m] + x[i])^2 / (2 (N - 2m) (m tau0)^2)`. `None` for fewer than `2m + 1` phases.
#[must_use]
pub fn overlapping_allan(phases: &[f64], interval_s: f64, factor: usize) -> Option<f64> {
    let seconds = second_differences(phases, factor)?;
    let terms = seconds.len() as f64;
    let square: f64 = seconds.map(|d| d * d).sum();
    let tau = factor as f64 * interval_s;
    Some((square / (2.0 * terms)).sqrt() / tau)
}

/// The modified Allan deviation (SP 1065, 5.2.5, eq. 14): second differences averaged over `factor` neighbours before they
/// are squared. `None` for fewer than `3m` phases.
#[must_use]
pub fn modified_allan(phases: &[f64], interval_s: f64, factor: usize) -> Option<f64> {
    let seconds: Vec<f64> = second_differences(phases, factor)?.collect();
    let terms = (seconds.len() + 1).checked_sub(factor).filter(|n| *n > 0)?;
    let mut sum: f64 = seconds[..factor].iter().sum();
    let mut square = sum * sum;
    for at in 1..terms {
        sum += seconds[at + factor - 1] - seconds[at - 1];
        square += sum * sum;
    }
    let m = factor as f64;
    Some((square / (2.0 * terms as f64)).sqrt() / (m * m * interval_s))
}

/// The time deviation, seconds: `tau / sqrt(3)` times the modified Allan deviation (SP 1065, 5.2.6, eq. 16).
#[must_use]
pub fn time_deviation(phases: &[f64], interval_s: f64, factor: usize) -> Option<f64> {
    let tau = factor as f64 * interval_s;
    Some(modified_allan(phases, interval_s, factor)? * tau / 3_f64.sqrt())
}

fn second_differences(
    phases: &[f64],
    factor: usize,
) -> Option<impl ExactSizeIterator<Item = f64> + '_> {
    let reach = factor.checked_mul(2).filter(|reach| *reach > 0)?;
    let terms = phases.len().checked_sub(reach).filter(|n| *n > 0)?;
    Some((0..terms).map(move |i| phases[i + reach] - 2.0 * phases[i + factor] + phases[i]))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Phases of frequencies one second apart.
    fn phases(frequencies: impl IntoIterator<Item = f64>) -> Vec<f64> {
        let mut sum = 0.0;
        std::iter::once(0.0)
            .chain(frequencies.into_iter().map(|y| {
                sum += y;
                sum
            }))
            .collect()
    }

    /// The relative tolerance that seven published figures allow.
    const SEVEN_FIGURES: f64 = 5e-7;

    fn expect(found: Option<f64>, published: f64, what: &str) {
        let found = found.unwrap_or_else(|| panic!("{what} was not computed"));
        let off = (found / published - 1.0).abs();
        assert!(
            off <= SEVEN_FIGURES,
            "{what}: {found}, published {published}"
        );
    }

    type Measure = fn(&[f64], f64, usize) -> Option<f64>;

    const MEASURES: [(&str, Measure); 4] = [
        ("allan", allan),
        ("overlapping", overlapping_allan),
        ("modified", modified_allan),
        ("time", time_deviation),
    ];

    /// NIST SP 1065 (2008), section 12.4, Table 30: nine frequencies.
    #[test]
    fn nine_points_give_the_published_deviations() {
        let x = phases([892., 809., 823., 798., 671., 644., 883., 903., 677.]);
        let published = [
            [91.22945, 115.8082],
            [91.22945, 85.95287],
            [91.22945, 74.78849],
            [52.67135, 86.35831],
        ];
        for ((name, measure), values) in MEASURES.into_iter().zip(published) {
            for (m, value) in [1, 2].into_iter().zip(values) {
                expect(measure(&x, 1.0, m), value, &format!("{name} {m}"));
            }
        }
    }

    /// NIST SP 1065 (2008), section 12.4, Table 31: a thousand frequencies of the generator given there.
    #[test]
    fn a_thousand_points_give_the_published_deviations() {
        let mut n: u64 = 1_234_567_890;
        let frequencies: Vec<f64> = (0..1000)
            .map(|_| {
                let y = n as f64 / 2_147_483_647.0;
                n = 16_807 * n % 2_147_483_647;
                y
            })
            .collect();
        let mean = frequencies.iter().sum::<f64>() / 1000.0;
        expect(Some(mean), 4.897_745e-1, "mean of the set");
        let x = phases(frequencies);
        let published = [
            [2.922_319e-1, 9.965_736e-2, 3.897_804e-2],
            [2.922_319e-1, 9.159_953e-2, 3.241_343e-2],
            [2.922_319e-1, 6.172_376e-2, 2.170_921e-2],
            [1.687_202e-1, 3.563_623e-1, 1.253_382],
        ];
        for ((name, measure), values) in MEASURES.into_iter().zip(published) {
            for (m, value) in [1, 10, 100].into_iter().zip(values) {
                expect(measure(&x, 1.0, m), value, &format!("{name} {m}"));
            }
        }
    }

    #[test]
    fn a_rate_is_no_instability_and_too_few_phases_give_nothing() {
        let line: Vec<f64> = (0..50).map(|i| 3.0 + 0.25 * f64::from(i)).collect();
        for (name, measure) in MEASURES {
            assert_eq!(measure(&line, 1.0, 4), Some(0.0), "{name}");
            assert_eq!(measure(&line[..2], 1.0, 1), None, "{name}");
            assert_eq!(measure(&line, 1.0, 0), None, "{name}");
        }
        assert_eq!(modified_allan(&line[..5], 1.0, 2), None);
    }
}
