//! One channel of a sound and rising positions on it in, its sound there out: straight lines between positions that are asked
//! for now and then.

use std::cell::Cell;
use std::ops::Range;

use super::kernel::place;
use super::{Kernel, Sound};
use crate::error::Result;

/// Outputs between two positions that are asked for; straight in between. At 16 kHz that is 4 ms, in which a clock that
/// wanders by 1 ppm a second bends by less than 1e-6 sample.
const STRAIGHT: usize = 64;

/// Positions on straight lines between those that were asked for.
#[derive(Default)]
pub struct Lines {
    /// Where every 64th output is, and one beyond the last.
    ends: Vec<f64>,
    length: usize,
}

impl Lines {
    /// The positions of `outputs`: `position` is asked for every 64th and the one after the last, the others lie in between.
    pub fn lay(&mut self, outputs: Range<usize>, position: &impl Fn(usize) -> f64) {
        self.length = outputs.len();
        self.ends.clear();
        self.ends
            .extend(outputs.clone().step_by(STRAIGHT).map(position));
        self.ends.push(position(outputs.end));
    }

    /// The lowest and the highest of all positions and the one after the last; infinitely far apart where one is no number.
    fn reach(&self) -> (f64, f64) {
        let numbers = self.ends.iter().all(|at| at.is_finite());
        let nowhere = (f64::INFINITY, f64::NEG_INFINITY);
        if !numbers {
            return (nowhere.1, nowhere.0);
        }
        let wider = |(low, high): (f64, f64), at: &f64| (low.min(*at), high.max(*at));
        self.ends.iter().fold(nowhere, wider)
    }

    /// The whole sample below the first position.
    pub fn first(&self) -> i64 {
        self.ends.first().map_or(0, |at| at.floor() as i64)
    }

    /// The whole sample below the last position; what rises only.
    pub fn last(&self) -> i64 {
        self.ends.last().map_or(0, |at| at.floor() as i64)
    }

    /// Every position as a whole sample counted from `start` on and a fraction; none may lie before `start`.
    pub fn places(&self, start: i64, places: &mut Vec<(usize, f64)>) {
        places.clear();
        for (line, ends) in self.ends.windows(2).enumerate() {
            let steps = STRAIGHT.min(self.length - line * STRAIGHT);
            let (here, slope) = (ends[0] - start as f64, (ends[1] - ends[0]) / steps as f64);
            places.extend((0..steps).map(|step| place(here + slope * step as f64)));
        }
    }
}

/// What a thread warps in, so that no memory is asked for at every stretch.
#[derive(Default)]
struct Work {
    lines: Lines,
    places: Vec<(usize, f64)>,
    plane: Vec<f64>,
}

thread_local! {
    static WORK: Cell<Work> = Cell::default();
}

/// The sound of `channel` at the positions of `out`; `position(i)` should rise by nearly 1 a step. Positions that spread over
/// more than twice the length of `out` are no clock's, and nothing is heard there.
///
/// # Errors
/// When the sound cannot be read.
pub fn warp(
    (sound, channel): (&dyn Sound, usize),
    kernel: &Kernel,
    out: &mut [f64],
    position: impl Fn(usize) -> f64,
) -> Result<()> {
    let mut work = WORK.take();
    work.lines.lay(0..out.len(), &position);
    let (lowest, highest) = work.lines.reach();
    let spread = highest - lowest;
    if out.is_empty() || spread > 2.0 * out.len() as f64 {
        out.fill(0.0);
        return Ok(());
    }
    let margin = kernel.taps();
    let first = lowest.floor() as i64 - margin as i64;
    work.plane
        .resize(spread.ceil() as usize + 2 * margin + 2, 0.0);
    sound.read(&[channel], first, &mut [&mut work.plane])?;
    work.lines.places(first, &mut work.places);
    kernel.resample_at(&[&work.plane], &work.places, &mut [out]);
    WORK.set(work);
    Ok(())
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
        let warped = |length: usize, position: &dyn Fn(usize) -> f64| {
            let mut out = vec![f64::NAN; length];
            warp((&sound, 0), &kernel, &mut out, position).expect("memory");
            out
        };
        let out = warped(4000, &position);
        let worst = out
            .iter()
            .enumerate()
            .map(|(i, value)| (value - wave(position(i))).abs())
            .fold(0.0, f64::max);
        assert!(worst < 1e-6, "{worst}");
        let falling = |i: usize| 2000.5 - i as f64;
        let out = warped(1000, &falling);
        assert!((out[999] - wave(falling(999))).abs() < 1e-6, "{}", out[999]);
        for no_clock in [
            (|i| 9.0 * i as f64) as fn(usize) -> f64,
            |i| if i < 640 { i as f64 } else { f64::NAN },
            |i| if i < 640 { i as f64 } else { -f64::INFINITY },
        ] {
            assert_eq!(warped(1000, &no_clock), vec![0.0; 1000]);
        }
        assert!(warped(0, &position).is_empty());
    }
}
