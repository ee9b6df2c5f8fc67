//! Phases in, the kind of noise that rules them out, and with it how many independent measurements a deviation is worth.
//!
//! Noise: the lag-1 autocorrelation (SP 1065, 5.5.3 ff.; Riley and Greenhall, "Power law noise identification using the lag 1
//! autocorrelation", EFTF 2004). Degrees of freedom: Greenhall and Riley, "Uncertainty of stability variances based on finite
//! differences", PTTI 2003, the combined algorithm (SP 1065, 5.4.1).

use serde::Serialize;

use super::quantile::chi_square;

/// So many phases are needed to tell a noise by its autocorrelation (SP 1065, 5.5.6).
const LEAST_PHASES: usize = 30;
/// Up to so many terms the sums keep the filter's own length; beyond, its limit (the paper's J_max).
const EXACT: usize = 100;

/// The kind of noise, by the power of frequency its density of rate goes with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Noise {
    /// Of the phase, each value by itself: what measuring adds (alpha 2).
    WhitePhase,
    /// Of the phase, flickering (alpha 1).
    FlickerPhase,
    /// Of the rate, each value by itself (alpha 0).
    WhiteRate,
    /// Of the rate, flickering (alpha -1).
    FlickerRate,
    /// A rate that walks at random (alpha -2).
    WalkingRate,
}

impl Noise {
    /// The power.
    #[must_use]
    pub const fn alpha(self) -> i32 {
        match self {
            Self::WhitePhase => 2,
            Self::FlickerPhase => 1,
            Self::WhiteRate => 0,
            Self::FlickerRate => -1,
            Self::WalkingRate => -2,
        }
    }

    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::WhitePhase => "white phase",
            Self::FlickerPhase => "flicker phase",
            Self::WhiteRate => "white rate",
            Self::FlickerRate => "flicker rate",
            Self::WalkingRate => "walking rate",
        }
    }

    fn of_alpha(alpha: f64) -> Self {
        match alpha.round() as i32 {
            2.. => Self::WhitePhase,
            1 => Self::FlickerPhase,
            0 => Self::WhiteRate,
            -1 => Self::FlickerRate,
            _ => Self::WalkingRate,
        }
    }
}

/// The noise that rules every `factor`-th phase; `None` for fewer than thirty of them. Differences are taken until the lag-1
/// autocorrelation `r` has `r / (1 + r) < 1/4`, once at least, twice at most; then `alpha = 2 - 2 (r / (1 + r) + d)`.
#[must_use]
pub fn noise_of(phases: &[f64], factor: usize) -> Option<Noise> {
    let mut z: Vec<f64> = phases.iter().step_by(factor.max(1)).copied().collect();
    if z.len() < LEAST_PHASES {
        return None;
    }
    for differences in 1..=2 {
        z = z.windows(2).map(|pair| pair[1] - pair[0]).collect();
        let r = lag_1(&z)?;
        let delta = r / (1.0 + r);
        if delta < 0.25 || differences == 2 {
            return Some(Noise::of_alpha(
                2.0 - 2.0 * (delta + f64::from(differences)),
            ));
        }
    }
    None
}

/// The autocorrelation of neighbours about the mean; `None` where nothing changes.
fn lag_1(z: &[f64]) -> Option<f64> {
    let mean = z.iter().sum::<f64>() / z.len() as f64;
    let square: f64 = z.iter().map(|v| (v - mean).powi(2)).sum();
    let across: f64 = z.windows(2).map(|p| (p[0] - mean) * (p[1] - mean)).sum();
    (square > 0.0).then(|| across / square)
}

/// Which deviation a number of degrees is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Without overlap.
    Plain,
    /// Overlapping.
    Overlapping,
    /// Modified; the time deviation has the same.
    Modified,
}

/// The equivalent degrees of freedom of an Allan variance of `phases` phases over `factor` intervals; `None` where there is no
/// term to sum.
#[must_use]
pub fn degrees_of_freedom(kind: Kind, noise: Noise, phases: usize, factor: usize) -> Option<f64> {
    const D: usize = 2;
    if factor == 0 {
        return None;
    }
    let alpha = noise.alpha();
    let reach = match kind {
        Kind::Modified => (D + 1).checked_mul(factor)?,
        _ => D.checked_mul(factor)? + 1,
    };
    let stride = match kind {
        Kind::Plain => 1,
        _ => factor,
    };
    let room = phases.checked_sub(reach)?;
    let terms = 1 + stride * room / factor;
    let lags = terms.min((D + 1) * stride);
    // the paper's F: 1 for modified, m for unmodified, whose limit serves where the rate is noisy and m is large
    let filter = match kind {
        Kind::Modified => Some(1.0),
        _ if alpha > 0 || factor * (D + 1) <= EXACT => Some(factor as f64),
        _ => None,
    };
    let sx = |t: f64| match filter {
        Some(f) => {
            let sides = sw(t - 1.0 / f, alpha) + sw(t + 1.0 / f, alpha);
            f * f * (2.0 * sw(t, alpha) - sides)
        }
        None => sw(t, alpha + 2),
    };
    let sz = |t: f64| 6.0 * sx(t) - 4.0 * (sx(t - 1.0) + sx(t + 1.0)) + sx(t - 2.0) + sx(t + 2.0);
    let (terms, stride) = (terms as f64, stride as f64);
    let at_zero = sz(0.0);
    let mut sum = at_zero * at_zero;
    for j in 1..=lags {
        let weight = match j == lags {
            true => 1.0 - j as f64 / terms,
            false => 2.0 * (1.0 - j as f64 / terms),
        };
        sum += weight * sz(j as f64 / stride).powi(2);
    }
    Some(terms * at_zero * at_zero / sum)
}

/// The generalised autocovariance of the phase for each noise (the paper's Table 1).
fn sw(t: f64, alpha: i32) -> f64 {
    let t = t.abs();
    let log = if t > 0.0 { t.ln() } else { 0.0 };
    match alpha {
        2 => -t,
        1 => t * t * log,
        0 => t.powi(3),
        -1 => -t.powi(4) * log,
        _ => -t.powi(5),
    }
}

/// A deviation and where the true one lies with 95 % confidence.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Interval {
    /// What was measured.
    pub value: f64,
    /// The lower end.
    pub low: f64,
    /// The upper end.
    pub high: f64,
}

impl Interval {
    /// Of a deviation worth so many degrees of freedom (SP 1065, 5.3.1, eq. 45): `s^2 edf / chi^2`.
    #[must_use]
    pub fn of(value: f64, freedom: f64) -> Self {
        let at = |p: f64| value * (freedom / chi_square(p, freedom)).sqrt();
        Self {
            value,
            low: at(0.975),
            high: at(0.025),
        }
    }

    /// The same in other units.
    #[must_use]
    pub fn times(self, factor: f64) -> Self {
        Self {
            value: self.value * factor,
            low: self.low * factor,
            high: self.high * factor,
        }
    }
}
