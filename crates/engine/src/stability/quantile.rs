//! Probabilities in, quantiles of the chi-square and of Student's distribution out, for degrees of freedom that need not be
//! whole. Series and continued fractions: NIST Digital Library of Mathematical Functions 8.11, 8.9, 8.17 and 5.11.

/// More degrees of freedom than this are as good as any number of them.
const MANY: f64 = 1e4;
/// Terms of a series or a fraction, at most.
const TERMS: usize = 2000;

/// The value that a chi-square variable with `freedom` degrees stays below with probability `p`.
#[must_use]
pub fn chi_square(p: f64, freedom: f64) -> f64 {
    let half = 0.5 * freedom.max(1e-3);
    // from far below any quantile that is asked for to far above
    let (mut low, mut high) = (-700.0, (half + 40.0 * half.sqrt() + 400.0).ln());
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        match lower_gamma(half, f64::exp(middle)) < p {
            true => low = middle,
            false => high = middle,
        }
    }
    2.0 * f64::exp(0.5 * (low + high))
}

/// The probability that Student's variable with `freedom` degrees stays below `t`.
#[must_use]
pub fn student_below(t: f64, freedom: f64) -> f64 {
    if !t.is_finite() {
        return if t > 0.0 { 1.0 } else { 0.0 };
    }
    let freedom = freedom.clamp(0.1, MANY);
    let tail = 0.5 * incomplete_beta(0.5 * freedom, 0.5, freedom / (freedom + t * t));
    if t > 0.0 { 1.0 - tail } else { tail }
}

/// The value that Student's variable with `freedom` degrees stays below with probability `p`, half or more.
#[must_use]
pub fn student(p: f64, freedom: f64) -> f64 {
    let (mut low, mut high) = (0.0, 1e6);
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        match student_below(middle, freedom) < p {
            true => low = middle,
            false => high = middle,
        }
    }
    0.5 * (low + high)
}

/// The logarithm of the gamma function for a positive argument: Stirling's series (DLMF 5.11.1) above 10, the recurrence
/// (DLMF 5.5.1) below.
fn ln_gamma(z: f64) -> f64 {
    if z < 10.0 {
        return ln_gamma(z + 1.0) - z.ln();
    }
    let r = 1.0 / (z * z);
    let series = (1.0 / 12.0 - r * (1.0 / 360.0 - r * (1.0 / 1260.0 - r / 1680.0))) / z;
    (z - 0.5) * z.ln() - z + 0.5 * std::f64::consts::TAU.ln() + series
}

/// The regularised lower incomplete gamma function: the series DLMF 8.11.4, or the fraction DLMF 8.9.2.
fn lower_gamma(a: f64, x: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    let front = (a * x.ln() - x - ln_gamma(a)).exp();
    if x < a + 1.0 {
        let (mut term, mut sum) = (1.0 / a, 1.0 / a);
        for n in 1..TERMS {
            term *= x / (a + n as f64);
            sum += term;
            if term < sum * 1e-16 {
                break;
            }
        }
        return front * sum;
    }
    let step = |n: usize| match n {
        0 => (1.0, x + 1.0 - a),
        n => (-(n as f64) * (n as f64 - a), x + 2.0 * n as f64 + 1.0 - a),
    };
    1.0 - front * fraction(step)
}

/// The regularised incomplete beta function by its fraction DLMF 8.17.22.
fn incomplete_beta(a: f64, b: f64, x: f64) -> f64 {
    if x <= 0.0 || x >= 1.0 {
        return x.clamp(0.0, 1.0);
    }
    if x > (a + 1.0) / (a + b + 2.0) {
        return 1.0 - incomplete_beta(b, a, 1.0 - x);
    }
    let front = a * x.ln() + b * (-x).ln_1p() + ln_gamma(a + b) - ln_gamma(a) - ln_gamma(b);
    let step = |n: usize| {
        let m = (n / 2) as f64;
        let top = match n {
            0 => 1.0,
            n if n % 2 == 0 => m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m)),
            _ => -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0)),
        };
        (top, 1.0)
    };
    front.exp() * fraction(step) / a
}

/// A continued fraction of tops and bottoms by Lentz's way (DLMF 3.10(iii)).
fn fraction(step: impl Fn(usize) -> (f64, f64)) -> f64 {
    const TINY: f64 = 1e-300;
    let away = |v: f64| if v.abs() < TINY { TINY } else { v };
    let (mut value, mut c, mut d) = (TINY, TINY, 0.0);
    for n in 0..TERMS {
        let (top, bottom) = step(n);
        d = 1.0 / away(bottom + top * d);
        c = away(bottom + top / c);
        value *= c * d;
        if (c * d - 1.0).abs() < 1e-15 {
            break;
        }
    }
    value
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.4, critical values of the chi-square distribution.
    #[test]
    fn chi_square_values_are_those_of_the_handbook() {
        for (p, freedom, value) in [
            (0.95, 1.0, 3.841),
            (0.975, 10.0, 20.483),
            (0.025, 10.0, 3.247),
            (0.025, 1.0, 0.001),
            (0.975, 100.0, 129.561),
            (0.025, 100.0, 74.222),
        ] {
            let found = chi_square(p, freedom);
            assert!(
                (found - value).abs() < 6e-4,
                "{p} {freedom}: {found}, {value}"
            );
        }
    }

    /// NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2, critical values of Student's t distribution.
    #[test]
    fn student_values_are_those_of_the_handbook() {
        for (p, freedom, value) in [
            (0.975, 1.0, 12.706),
            (0.95, 2.0, 2.920),
            (0.975, 10.0, 2.228),
            (0.995, 30.0, 2.750),
            (0.975, 1e9, 1.960),
        ] {
            let found = student(p, freedom);
            assert!(
                (found - value).abs() < 6e-4,
                "{p} {freedom}: {found}, {value}"
            );
        }
        assert!((student_below(-2.228, 10.0) - 0.025).abs() < 2e-5);
    }
}
