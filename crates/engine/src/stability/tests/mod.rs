//! Intervals, forecasts and slopes held against many simulated clocks; deviations held against another library; and clocks of
//! rehearsal shoots held against the truth.

mod simulated;
mod coverage;
mod outside;
mod rehearsed;

use super::Spaced;

/// Phases a second apart.
fn spaced(ahead_s: Vec<f64>) -> Spaced {
    let end = ahead_s.len() as f64 - 1.0;
    Spaced {
        from_s: 0.0,
        interval_s: 1.0,
        ahead_s,
        gaps: Vec::new(),
        whole: [0.0, end],
        sigma_s: 0.0,
    }
}
