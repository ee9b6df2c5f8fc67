//! One channel of a sound and rising positions on it in, its sound there out: straight lines between positions that are asked
//! for now and then.

use std::ops::Range;

use super::{Kernel, Sound};
use crate::error::Result;

/// Outputs between two positions that are asked for; straight in between. At 16 kHz that is 4 ms, in which a clock that
/// wanders by 1 ppm a second bends by less than 1e-6 sample.
const STRAIGHT: usize = 64;

/// Adds to `positions` the positions of `outputs`: `position` is asked for every 64th, the others lie on straight lines.
pub fn straight(positions: &mut Vec<f64>, outputs: Range<usize>, position: &impl Fn(usize) -> f64) {
    let mut at = outputs.start;
    let mut here = position(at);
    while at < outputs.end {
        let steps = STRAIGHT.min(outputs.end - at);
        let there = position(at + steps);
        let slope = (there - here) / steps as f64;
        positions.extend((0..steps).map(|i| here + slope * i as f64));
        here = there;
        at += steps;
    }
}

/// The sound of `channel` at `length` positions; `position(i)` should rise by nearly 1 a step. Positions that spread over
/// more than twice `length` are no clock's, and nothing is heard there.
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
    straight(&mut positions, 0..length, &position);
    let margin = kernel.taps();
    let lowest = positions.iter().copied().fold(f64::INFINITY, f64::min);
    let highest = positions.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let mut out = vec![0.0; length];
    let spread = highest - lowest;
    let numbers = positions.iter().all(|at| at.is_finite());
    if length == 0 || !numbers || spread > 2.0 * length as f64 {
        return Ok(out);
    }
    let first = lowest.floor() as i64 - margin as i64;
    let mut plane = vec![0.0; spread.ceil() as usize + 2 * margin + 2];
    sound.read(&[channel], first, &mut [&mut plane])?;
    positions
        .iter_mut()
        .for_each(|position| *position -= first as f64);
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
        let falling = |i: usize| 2000.5 - i as f64;
        let out = warped((&sound, 0), &kernel, 1000, falling).expect("memory");
        assert!((out[999] - wave(falling(999))).abs() < 1e-6, "{}", out[999]);
        for no_clock in [
            (|i| 9.0 * i as f64) as fn(usize) -> f64,
            |i| if i < 640 { i as f64 } else { f64::NAN },
            |i| if i < 640 { i as f64 } else { -f64::INFINITY },
        ] {
            let out = warped((&sound, 0), &kernel, 1000, no_clock).expect("memory");
            assert_eq!(out, vec![0.0; 1000]);
        }
        assert!(
            warped((&sound, 0), &kernel, 0, position)
                .expect("memory")
                .is_empty()
        );
    }
}
