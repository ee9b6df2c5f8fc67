//! Two spectra in, the delay between them out: the integer peak by transform, the fraction by Newton's method on the
//! weighted cross-spectrum. Knapp and Carter, "The generalized correlation method for estimation of time delay", 1976.
//!
//! Sign: a delay is positive when the second sound comes later than the first.

use realfft::num_complex::Complex64;

/// The delay that maximises `Re sum C e^{-j w d}`, refined from a start within a sample of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Refined {
    /// The delay in samples.
    pub delay: f64,
    /// One sigma by the sandwich estimate `sqrt(1.5 sum w^2 Im^2) / sum w^2 Re`; 1.5 for half-overlapping Hann windows.
    pub sigma: f64,
}

/// Refines a delay on `cross` = X conj(Y), whose bin `i` stands at `omega(i)` radians a sample. `None` when the curvature
/// has the wrong sign: there is no peak here.
#[must_use]
pub fn refine(cross: &[Complex64], omega: &[f64], start: f64) -> Option<Refined> {
    let mut delay = start;
    let mut curvature = 0.0;
    for _ in 0..8 {
        let (mut slope, mut bend) = (0.0, 0.0);
        for (c, w) in cross.iter().zip(omega) {
            let turned = c * Complex64::from_polar(1.0, -w * delay);
            slope += w * turned.im;
            bend += w * w * turned.re;
        }
        if bend <= 0.0 {
            return None;
        }
        curvature = bend;
        let step = (slope / bend).clamp(-0.7, 0.7);
        delay += step;
        if step.abs() < 1e-10 {
            break;
        }
    }
    let scatter: f64 = cross
        .iter()
        .zip(omega)
        .map(|(c, w)| {
            let im = (c * Complex64::from_polar(1.0, -w * delay)).im;
            w * w * im * im
        })
        .sum();
    Some(Refined {
        delay,
        sigma: (1.5 * scatter).sqrt() / curvature,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::PI;

    #[test]
    fn a_known_phase_ramp_gives_its_delay() {
        let omega: Vec<f64> = (1..400).map(|i| PI * f64::from(i) / 512.0).collect();
        let cross: Vec<Complex64> = omega
            .iter()
            .map(|w| Complex64::from_polar(1.0, w * 0.3217))
            .collect();
        let found = refine(&cross, &omega, 0.0).expect("a peak");
        assert!(
            (found.delay - 0.3217).abs() < 1e-9 && found.sigma < 1e-9,
            "{found:?}"
        );
    }

    #[test]
    fn an_inverted_signal_has_no_peak_at_its_delay() {
        let omega: Vec<f64> = (1..400).map(|i| PI * f64::from(i) / 512.0).collect();
        let cross = vec![Complex64::new(-1.0, 0.0); omega.len()];
        assert!(refine(&cross, &omega, 0.0).is_none());
    }
}
