//! Offsets as measured and by the stamps, take by take, in; the constant between them with its sigma out, or that it is none.

use super::TWO_STAMPS;

/// Two takes' constants may differ by this much and still be one, samples: each of two stamps is rounded by half a sample at
/// most, and so is each of the other take.
const ROUNDING: f64 = 2.0;

/// One take's offset, twice.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Observation {
    /// As measured on a common signal, samples.
    pub measured: f64,
    /// One standard deviation of that.
    pub sigma: f64,
    /// By the stamps, samples.
    pub by_stamps: f64,
}

/// A constant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Constant {
    /// Measured less by stamps, the mean over the takes, samples.
    pub samples: f64,
    /// One standard deviation of the mean.
    pub sigma: f64,
    /// Standard deviation of one take about the mean; 0 for one take.
    pub scatter: f64,
    /// How many takes.
    pub takes: u32,
}

/// The takes do not agree on one constant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unsteady {
    /// The least and the greatest, samples.
    pub between: (f64, f64),
    /// How far apart they may be, samples.
    pub allowed: f64,
}

/// The mean over takes. The sigma counts what rounding of stamps leaves, even where the takes by chance agree better; `None`
/// without a take.
///
/// # Errors
/// [`Unsteady`] when takes differ by more than rounding explains: what drifts is no constant.
pub fn constant_of(takes: &[Observation]) -> Option<Result<Constant, Unsteady>> {
    let n = takes.len() as f64;
    if takes.is_empty() {
        return None;
    }
    let values = || takes.iter().map(|take| take.measured - take.by_stamps);
    let measured = takes.iter().map(|take| take.sigma.powi(2)).sum::<f64>() / n;
    let least = values().fold(f64::INFINITY, f64::min);
    let greatest = values().fold(f64::NEG_INFINITY, f64::max);
    let allowed = ROUNDING + 6.0 * measured.sqrt();
    if greatest - least > allowed {
        return Some(Err(Unsteady {
            between: (least, greatest),
            allowed,
        }));
    }
    let mean = values().sum::<f64>() / n;
    let square: f64 = values().map(|value| (value - mean).powi(2)).sum();
    let scatter = if takes.len() > 1 {
        (square / (n - 1.0)).sqrt()
    } else {
        0.0
    };
    let one = (TWO_STAMPS.powi(2) + measured).max(scatter.powi(2));
    Some(Ok(Constant {
        samples: mean,
        sigma: (one / n).sqrt(),
        scatter,
        takes: takes.len() as u32,
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn take(measured: f64) -> Observation {
        Observation {
            measured,
            sigma: 0.003,
            by_stamps: 49_440.0,
        }
    }

    #[test]
    fn one_take_is_as_good_as_two_rounded_stamps() {
        let constant = constant_of(&[take(49_449.4)])
            .expect("a take")
            .expect("steady");
        assert!((constant.samples - 9.4).abs() < 1e-9);
        // two roundings, each uniform over one sample: variance 1/12 each
        assert!((constant.sigma - (2.0_f64 / 12.0).sqrt()).abs() < 1e-4);
        assert_eq!((constant.takes, constant.scatter), (1, 0.0));
    }

    #[test]
    fn several_takes_give_mean_and_scatter() {
        let takes = [take(49_449.0), take(49_449.4), take(49_449.8)];
        let constant = constant_of(&takes).expect("takes").expect("steady");
        assert!((constant.samples - 9.4).abs() < 1e-9);
        assert!((constant.scatter - 0.4).abs() < 1e-9, "{constant:?}");
        // 0.408 of rounding exceeds the scatter of 0.4; over the root of three
        assert!((constant.sigma - 0.2357).abs() < 1e-3, "{constant:?}");
    }

    #[test]
    fn what_drifts_is_no_constant() {
        let drifting = constant_of(&[take(49_449.4), take(49_462.0)]).expect("takes");
        let unsteady = drifting.expect_err("12.6 samples apart");
        assert!((unsteady.between.1 - 22.0).abs() < 1e-9);
        assert!(constant_of(&[]).is_none());
    }
}
