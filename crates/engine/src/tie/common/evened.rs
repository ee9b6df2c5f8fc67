//! Values along frequency in, the same evened out: means over neighbours, phases turned by a smooth curve.

use realfft::num_complex::Complex64;

/// Mean over `2 reach + 1` neighbours.
pub(super) fn boxed(values: &[f64], reach: usize) -> Vec<f64> {
    let mut sums = vec![0.0];
    let mut sum = 0.0;
    for value in values {
        sum += value;
        sums.push(sum);
    }
    (0..values.len())
        .map(|i| {
            let (from, to) = (i.saturating_sub(reach), (i + reach + 1).min(values.len()));
            (sums[to] - sums[from]) / (to - from) as f64
        })
        .collect()
}

/// Unit phasors of the phase, smoothed over `2 reach + 1` neighbouring bins.
pub(super) fn smooth_phase(values: &[Complex64], reach: usize) -> Vec<Complex64> {
    let part = |pick: fn(&Complex64) -> f64| {
        let picked: Vec<f64> = values.iter().map(pick).collect();
        boxed(&picked, reach)
    };
    part(|c| c.re)
        .into_iter()
        .zip(part(|c| c.im))
        .map(|(re, im)| {
            let sum = Complex64::new(re, im);
            let size = sum.norm();
            if size > 0.0 {
                sum / size
            } else {
                Complex64::new(1.0, 0.0)
            }
        })
        .collect()
}
