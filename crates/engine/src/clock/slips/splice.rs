//! A stretch of a file in, the place where it was spliced out: what comes after lost samples cannot be foretold from what
//! stands before them. Linear prediction by the autocorrelation method (Makhoul, "Linear prediction: a tutorial review",
//! Proc. IEEE 63, 1975), its errors counted over all channels of the file at once.

use realfft::num_complex::Complex64;

use crate::error::Result;
use crate::signal::{Sound, Transform, hann};

/// Order of the prediction.
const ORDER: usize = 32;
/// Errors are held against their mean power over so many samples either way.
const AROUND: usize = 2048;
/// Errors of so many samples count together.
const TOGETHER: usize = 8;
/// The splice must stand out of everything else by this factor.
const CLEAR: f64 = 2.5;
/// And of chance by this factor.
const UNLIKELY: f64 = 12.0;
/// Longest stretch that is looked at, samples.
const LONGEST: i64 = 1 << 20;

/// The sample between `from` and `to` that begins a splice; `None` when no place stands out.
///
/// # Errors
/// When the file cannot be read.
pub fn splice(sound: &dyn Sound, from: i64, to: i64) -> Result<Option<u64>> {
    let margin = (AROUND + ORDER) as i64;
    let (begin, length) = (from - margin, to - from + 2 * margin);
    if from < 0 || to <= from || length > LONGEST {
        return Ok(None);
    }
    let length = length as usize;
    let mut power = vec![0.0; length];
    let mut voices = 0.0;
    for channel in 0..sound.channels() {
        let mut plane = vec![0.0; length];
        sound.read(&[channel], begin, &mut [&mut plane])?;
        let Some(errors) = unforetold(&plane) else {
            continue;
        };
        voices += 1.0;
        for (power, error) in power.iter_mut().zip(errors) {
            *power += error;
        }
    }
    let window = |i: usize| power[i..i + TOGETHER].iter().sum::<f64>();
    let inside = margin as usize..length - margin as usize;
    let Some(best) = inside
        .clone()
        .max_by(|&a, &b| window(a).total_cmp(&window(b)))
    else {
        return Ok(None);
    };
    let next = inside
        .filter(|i| i.abs_diff(best) > 2 * ORDER)
        .map(window)
        .fold(0.0, f64::max);
    let highest = window(best);
    let clear = highest > CLEAR * next && highest > UNLIKELY * TOGETHER as f64 * voices;
    if !clear || voices == 0.0 {
        return Ok(None);
    }
    // the first of them that is as unlikely as the rest
    let first = (best..best + TOGETHER).find(|&i| power[i] > 0.1 * highest);
    Ok(first.map(|first| (begin + first as i64) as u64))
}

/// The squared error of the prediction at each sample, over its mean nearby; `None` for silence.
fn unforetold(plane: &[f64]) -> Option<Vec<f64>> {
    let weights = weights(plane)?;
    let mut errors = vec![0.0; plane.len()];
    for i in ORDER..plane.len() {
        let foretold: f64 = weights
            .iter()
            .zip(plane[i - ORDER..i].iter().rev())
            .map(|(w, s)| w * s)
            .sum();
        errors[i] = (plane[i] - foretold).powi(2);
    }
    let mut sums = vec![0.0];
    let mut sum = 0.0;
    for error in &errors {
        sum += error;
        sums.push(sum);
    }
    let mean = |i: usize| {
        let (from, to) = (i.saturating_sub(AROUND), (i + AROUND).min(errors.len()));
        (sums[to] - sums[from]) / (to - from) as f64
    };
    let over = |i: usize| errors[i] / mean(i).max(f64::MIN_POSITIVE);
    Some((0..errors.len()).map(over).collect())
}

/// The weights of the last [`ORDER`] samples, latest first, by Levinson's recursion.
fn weights(plane: &[f64]) -> Option<Vec<f64>> {
    let size = (2 * plane.len()).next_power_of_two();
    let transform = Transform::new(size);
    let mut padded = vec![0.0; size];
    for (out, (sample, weight)) in padded.iter_mut().zip(plane.iter().zip(hann(plane.len()))) {
        *out = sample * weight;
    }
    let spectrum = transform.spectrum(&padded);
    let power = spectrum
        .iter()
        .map(|value| Complex64::new(value.norm_sqr(), 0.0))
        .collect();
    let mut lags = transform.samples(power);
    lags.truncate(ORDER + 1);
    if !(lags[0] > 0.0 && lags[0].is_finite()) {
        return None;
    }
    // a whisper of white noise keeps the recursion sound
    lags[0] *= 1.0 + 1e-9;
    let mut weights: Vec<f64> = Vec::new();
    let mut error = lags[0];
    for order in 0..ORDER {
        let foretold: f64 = weights
            .iter()
            .zip(lags[1..=order].iter().rev())
            .map(|(w, lag)| w * lag)
            .sum();
        let reflection = (lags[order + 1] - foretold) / error;
        let turned: Vec<f64> = weights.iter().rev().copied().collect();
        for (weight, other) in weights.iter_mut().zip(turned) {
            *weight -= reflection * other;
        }
        weights.push(reflection);
        error *= 1.0 - reflection * reflection;
        if error <= 0.0 || !error.is_finite() {
            return None;
        }
    }
    Some(weights)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::MemorySound;
    use crate::units::SampleRate;

    /// Dark noise: white noise through a low-pass, with a whisper on top.
    fn dark(seed: u64, length: usize) -> Vec<f64> {
        let mut state = seed;
        let mut white = move || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            (state >> 11) as f64 / (1u64 << 52) as f64 - 1.0
        };
        let (mut a, mut b) = (0.0, 0.0);
        (0..length)
            .map(|_| {
                a += 0.05 * (white() - a);
                b += 0.05 * (a - b);
                b + 1e-4 * white()
            })
            .collect()
    }

    #[test]
    fn a_splice_is_found_to_a_few_samples_and_none_where_there_is_none() {
        let planes: Vec<Vec<f64>> = [1, 2].map(|seed| dark(seed, 40_000)).to_vec();
        let whole = MemorySound::new(SampleRate(48_000), planes.clone());
        assert_eq!(splice(&whole, 5000, 35_000).expect("memory"), None);
        let cut = planes.into_iter().map(|mut plane| {
            plane.drain(20_000..20_441);
            plane
        });
        let spliced = MemorySound::new(SampleRate(48_000), cut.collect());
        let at = splice(&spliced, 5000, 35_000)
            .expect("memory")
            .expect("a splice");
        assert!(at.abs_diff(20_000) <= 2, "{at}");
    }
}
