//! One channel of a sound and rising positions on it in, its sound there out: straight lines between positions that are asked
//! for now and then.

use super::{Kernel, Sound};
use crate::error::Result;

/// Samples between two positions that are asked for; straight in between, where a clock that wanders by 1 ppm a second bends
/// by less than 1e-7 sample.
const STEP: usize = 64;

/// The sound of `channel` at `length` positions; `position(i)` must rise by nearly 1 a step.
///
/// # Errors
/// When the sound cannot be read.
pub fn warped(
    (sound, channel): (&dyn Sound, usize),
    kernel: &Kernel,
    length: usize,
    position: impl Fn(usize) -> f64,
) -> Result<Vec<f64>> {
    let mut positions = Vec::with_capacity(length);
    let mut here = position(0);
    for i in (0..length).step_by(STEP) {
        let next = position(i + STEP);
        for j in 0..STEP.min(length - i) {
            positions.push(here + (next - here) * j as f64 / STEP as f64);
        }
        here = next;
    }
    let margin = kernel.taps();
    let (Some(first), Some(last)) = (positions.first(), positions.last()) else {
        return Ok(Vec::new());
    };
    let span = (last - first).max(0.0).ceil() as usize + 2 * margin + 2;
    let first = first.floor() as i64 - margin as i64;
    // what rises faster than allowed is not worth more memory
    let mut plane = vec![0.0; span.min(2 * (length + margin))];
    sound.read(&[channel], first, &mut [&mut plane])?;
    positions
        .iter_mut()
        .for_each(|position| *position -= first as f64);
    let mut out = vec![0.0; length];
    kernel.resample(&[&plane], &positions, &mut [&mut out]);
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::{KernelSpec, MemorySound};
    use crate::units::SampleRate;

    #[test]
    fn a_sine_is_read_off_where_a_fast_clock_says() {
        let wave = |at: f64| (at * 0.05).sin();
        let plane = (0..6000).map(|k| wave(f64::from(k))).collect();
        let sound = MemorySound::new(SampleRate(48_000), vec![plane]);
        let kernel = Kernel::new(KernelSpec::MEASURE);
        let position = |i: usize| 700.25 + i as f64 * (1.0 + 50e-6);
        let out = warped((&sound, 0), &kernel, 4000, position).expect("memory");
        let worst = out
            .iter()
            .enumerate()
            .map(|(i, value)| (value - wave(position(i))).abs())
            .fold(0.0, f64::max);
        assert!(worst < 1e-6, "{worst}");
        assert!(
            warped((&sound, 0), &kernel, 0, position)
                .expect("memory")
                .is_empty()
        );
    }
}
