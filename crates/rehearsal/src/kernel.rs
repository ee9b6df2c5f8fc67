//! A fraction of a sample in, the weights of the samples around it out: a Kaiser-windowed sinc that reads a band-limited
//! signal between its samples (Kaiser 1974; the window's transition and depth after Oppenheim and Schafer,
//! "Discrete-Time Signal Processing", section on Kaiser windows).
//!
//! The weight of tap `j` at fraction `f` is `sin(pi f) / pi * (-1)^j / (f - j) * w((j - f) / HALF)`: the sine is shared
//! by all taps, the division is exact, and the smooth window is a short polynomial in `f` for each tap.

use std::f64::consts::PI;
use std::sync::OnceLock;

/// Samples on either side of an instant that are weighed.
pub(crate) const HALF: usize = 64;
/// Samples weighed for one instant.
pub(crate) const TAPS: usize = 2 * HALF;
/// Half the transition band is 2.25 kHz at 48 kHz for 128 taps at this depth, so content below 21.7 kHz is exact.
const DEPTH_DB: f64 = 180.0;
/// Degree of each tap's window polynomial; 5 leaves an error below 1e-9 of the window's peak.
const DEGREE: usize = 5;

/// The weights of samples `i - HALF + 1 ..= i + HALF` for an instant between `i` and `i + 1`.
pub(crate) type Row = [f64; TAPS];

/// The window polynomials, ready to give rows.
pub(crate) struct Kernel {
    /// `polynomials[d][j]`: the factor of `(f - 1/2)^d` for tap `j`, its sign and 1/pi included.
    polynomials: [[f64; TAPS]; DEGREE + 1],
    offsets: [f64; TAPS],
}

/// The zeroth-order modified Bessel function of the first kind, by its power series.
pub(crate) fn bessel_i0(x: f64) -> f64 {
    let quarter = x * x / 4.0;
    let mut term = 1.0;
    let mut sum = 1.0;
    for n in 1..200 {
        term *= quarter / f64::from(n * n);
        sum += term;
        if term < sum * 1e-18 {
            break;
        }
    }
    sum
}

/// Kaiser's shape parameter for a stop-band `depth_db` down (50 dB or more).
pub(crate) fn kaiser_beta(depth_db: f64) -> f64 {
    0.1102 * (depth_db - 8.7)
}

/// The Kaiser window at `u`, -1 to 1; 1 in the middle, 0 outside.
pub(crate) fn kaiser(beta: f64, u: f64) -> f64 {
    if u.abs() > 1.0 {
        0.0
    } else {
        bessel_i0(beta * (1.0 - u * u).sqrt()) / bessel_i0(beta)
    }
}

impl Kernel {
    /// The one kernel that rehearsals use, made at first use.
    pub(crate) fn shared() -> &'static Self {
        static KERNEL: OnceLock<Kernel> = OnceLock::new();
        KERNEL.get_or_init(Self::new)
    }

    fn new() -> Self {
        let beta = kaiser_beta(DEPTH_DB);
        let mut polynomials = [[0.0; TAPS]; DEGREE + 1];
        let mut offsets = [0.0; TAPS];
        for tap in 0..TAPS {
            let offset = tap as f64 - (HALF as f64 - 1.0);
            let sign = if (tap + HALF + 1).is_multiple_of(2) {
                1.0
            } else {
                -1.0
            };
            // The end taps reach one step past the window's edge; its even power series carries on smoothly there.
            let window = |f: f64| {
                let u = (offset - f) / HALF as f64;
                kaiser(beta, u.clamp(-1.0, 1.0)) * sign / PI
            };
            let fitted = interpolating_polynomial(window);
            for (degree, factor) in fitted.iter().enumerate() {
                polynomials[degree][tap] = *factor;
            }
            offsets[tap] = offset;
        }
        Self {
            polynomials,
            offsets,
        }
    }

    /// Fills `row` for fraction `f`, 0 to just below 1. At 0 the row is the sample itself.
    pub(crate) fn row(&self, f: f64, row: &mut Row) {
        if f == 0.0 {
            row.fill(0.0);
            row[HALF - 1] = 1.0;
            return;
        }
        // The nearer end's sine keeps full relative precision where the quotient is near 0 / 0.
        let sine = (PI * f.min(1.0 - f)).sin();
        let x = f - 0.5;
        let [p0, p1, p2, p3, p4, p5] = &self.polynomials;
        for j in 0..TAPS {
            let window = p0[j] + x * (p1[j] + x * (p2[j] + x * (p3[j] + x * (p4[j] + x * p5[j]))));
            row[j] = sine * window / (f - self.offsets[j]);
        }
    }
}

/// The factors of powers of `f - 1/2` of the polynomial through `curve` at the Chebyshev nodes of 0 to 1 (Newton's
/// divided differences).
fn interpolating_polynomial(curve: impl Fn(f64) -> f64) -> [f64; DEGREE + 1] {
    const NODES: usize = DEGREE + 1;
    let node = |i: usize| 0.5 * (PI * (i as f64 + 0.5) / NODES as f64).cos();
    let mut differences: [f64; NODES] = std::array::from_fn(|i| curve(0.5 + node(i)));
    for order in 1..NODES {
        for i in (order..NODES).rev() {
            differences[i] = (differences[i] - differences[i - 1]) / (node(i) - node(i - order));
        }
    }
    let mut factors = [0.0; NODES];
    for i in (0..NODES).rev() {
        // factors = factors * (x - node(i)) + differences[i]
        for power in (1..NODES).rev() {
            factors[power] = factors[power - 1] - node(i) * factors[power];
        }
        factors[0] = differences[i] - node(i) * factors[0];
    }
    factors
}

/// The sum of `row[j] * samples[j]`; `samples` holds [`TAPS`] values.
pub(crate) fn weigh(row: &Row, samples: &[f64]) -> f64 {
    let mut lanes = [0.0; 8];
    for (weights, values) in row.chunks_exact(8).zip(samples.chunks_exact(8)) {
        for lane in 0..8 {
            lanes[lane] += weights[lane] * values[lane];
        }
    }
    lanes.iter().sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A sinusoid known in closed form, read between its samples; full-scale error against frequency.
    fn worst_error_db(frequency_hz: f64) -> f64 {
        let omega = std::f64::consts::TAU * frequency_hz / 48_000.0;
        let samples: Vec<f64> = (0..TAPS).map(|i| (omega * i as f64 + 0.3).sin()).collect();
        let mut row = [0.0; TAPS];
        let worst = (0..2000)
            .map(|i| (f64::from(i) + 0.37) / 2000.0)
            .chain([0.0, 1e-15, 1e-9, 1.0 - 1e-9, 1.0 - 1e-15])
            .map(|f| {
                Kernel::shared().row(f, &mut row);
                let exact = (omega * (HALF as f64 - 1.0 + f) + 0.3).sin();
                (weigh(&row, &samples) - exact).abs()
            })
            .fold(0.0, f64::max);
        20.0 * worst.log10()
    }

    #[test]
    fn sinusoids_to_20_khz_are_read_to_minus_150_db() {
        for frequency_hz in [
            0.0, 37.0, 1000.0, 9_973.0, 15_000.0, 18_000.0, 19_999.0, 21_000.0,
        ] {
            let error_db = worst_error_db(frequency_hz);
            assert!(error_db < -170.0, "{frequency_hz} Hz: {error_db:.1} dB");
        }
    }

    #[test]
    fn the_limit_of_the_band_is_where_the_design_puts_it() {
        assert!(worst_error_db(23_000.0) > -60.0);
    }

    /// I0(1) = 1.2660658778, I0(5) = 27.239871824: Abramowitz and Stegun, table 9.8.
    #[test]
    fn bessel_function_has_its_tabulated_values() {
        assert!((bessel_i0(1.0) - 1.266_065_877_8).abs() < 1e-9);
        assert!((bessel_i0(5.0) - 27.239_871_824).abs() < 1e-8);
    }
}
