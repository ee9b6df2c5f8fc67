//! A kernel's specification in, its exact coefficients at any fraction out.

use std::f64::consts::PI;

use super::POWERS;

/// A windowed sinc.
pub(super) struct Design {
    pub(super) taps: usize,
    /// Of Kaiser's window.
    pub(super) beta: f64,
    /// Half-amplitude frequency as a part of the Nyquist frequency.
    pub(super) cut_off: f64,
}

impl Design {
    /// The exact coefficients at `fraction`, normalised to unit gain at 0 Hz.
    pub(super) fn exact_row(&self, fraction: f64) -> Vec<f64> {
        let half = self.taps as f64 / 2.0;
        let mut row: Vec<f64> = (0..self.taps)
            .map(|tap| {
                let t = tap as f64 - (half - 1.0) - fraction;
                let x = PI * t * self.cut_off;
                let sinc = if x.abs() < 1e-12 { 1.0 } else { x.sin() / x };
                let inside = 1.0 - (t / half) * (t / half);
                if inside > 0.0 {
                    sinc * bessel_i0(self.beta * inside.sqrt())
                } else {
                    0.0
                }
            })
            .collect();
        let sum: f64 = row.iter().sum();
        row.iter_mut().for_each(|value| *value /= sum);
        row
    }
}

/// The modified Bessel function of order 0 by its power series.
fn bessel_i0(x: f64) -> f64 {
    let quarter = x * x / 4.0;
    let (mut term, mut sum, mut k) = (1.0, 1.0, 1.0);
    while term > sum * 1e-18 {
        term *= quarter / (k * k);
        sum += term;
        k += 1.0;
    }
    sum
}

/// Coefficients, lowest power first, of the parabola through three points: Newton's divided differences, multiplied out.
pub(super) fn parabola_through(x: &[f64; POWERS], y: &[f64; POWERS]) -> [f64; POWERS] {
    let mut d = *y;
    for order in 1..POWERS {
        for i in (order..POWERS).rev() {
            d[i] = (d[i] - d[i - 1]) / (x[i] - x[i - order]);
        }
    }
    let mut c = [0.0; POWERS];
    c[0] = d[POWERS - 1];
    for i in (0..POWERS - 1).rev() {
        for power in (1..POWERS).rev() {
            c[power] = c[power - 1] - x[i] * c[power];
        }
        c[0] = d[i] - x[i] * c[0];
    }
    c
}
