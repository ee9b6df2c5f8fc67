//! Two spectra in, the delay between them out: the integer peak by transform, the fraction by Newton's method on the
//! weighted cross-spectrum. Knapp and Carter, "The generalized correlation method for estimation of time delay", 1976.
//!
//! Sign: a delay is positive when the second sound comes later than the first.

use realfft::num_complex::Complex64;

use crate::signal::widest;

/// Neighbouring bins that belong to one comb before the other takes over.
pub const COMB: usize = 32;
/// Bins that are summed side by side.
const LANES: usize = 8;
/// Steps of Newton's method; it doubles the digits with each.
const STEPS: usize = 8;
/// The largest step, samples: no further than the wave that a peak is on.
const STRIDE: f64 = 0.7;

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
    for _ in 0..STEPS {
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
        let step = (slope / bend).clamp(-STRIDE, STRIDE);
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

/// A cross-spectrum X conj(Y) on neighbouring bins of one transform.
#[derive(Debug, Clone, Copy)]
pub struct Bins<'a> {
    /// The values.
    pub cross: &'a [Complex64],
    /// The number of the first bin.
    pub first: usize,
    /// Radians a sample from one bin to the next.
    pub step: f64,
}

/// A delay with what was found on the way to it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Combed {
    /// The delay in samples from all bins.
    pub delay: f64,
    /// `sum w^2 Im^2 / (sum w^2 Re)^2` at the delay: its variance if neighbouring bins were independent.
    pub variance: f64,
    /// The delays from the even and from the odd comb of [`COMB`] bins alone: two measurements that share no bin.
    pub halves: [f64; 2],
    /// `Re sum C e^{-j w d}` at the delay.
    pub height: f64,
}

#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    height: f64,
    slope: f64,
    bend: f64,
    scatter: f64,
}

impl Sums {
    fn and(self, other: Self) -> Self {
        Self {
            height: self.height + other.height,
            slope: self.slope + other.slope,
            bend: self.bend + other.bend,
            scatter: self.scatter + other.scatter,
        }
    }
}

impl Bins<'_> {
    /// Refines a delay, as [`refine`] does, from a start within a sample of it; `None` when there is no peak.
    #[must_use]
    pub fn refine(&self, start: f64) -> Option<Combed> {
        let all = |delay| self.sums(delay, 0).and(self.sums(delay, 1));
        let delay = newton(start, STEPS, all)?;
        let at = all(delay);
        if at.bend <= 0.0 {
            return None;
        }
        let half = |odd| newton(delay, 3, |delay| self.sums(delay, odd)).unwrap_or(delay);
        Some(Combed {
            delay,
            variance: at.scatter / (at.bend * at.bend),
            halves: [half(0), half(1)],
            height: at.height,
        })
    }

    /// The sums over one comb.
    fn sums(&self, delay: f64, odd: usize) -> Sums {
        widest!(self.sums_in_lanes(delay, odd))
    }

    /// Eight neighbouring bins at a time, whose phasors are turned on together; plain loops, for whatever vectors there are.
    #[inline(always)]
    fn sums_in_lanes(&self, delay: f64, odd: usize) -> Sums {
        let phasor = |bins: usize| Complex64::from_polar(1.0, -self.step * bins as f64 * delay);
        let (onwards, to_next) = (phasor(LANES), phasor(2 * COMB));
        let mut within = [Complex64::default(); LANES];
        for (lane, within) in within.iter_mut().enumerate() {
            *within = phasor(lane);
        }
        let mut first = self.first + odd * COMB;
        let mut base = phasor(first);
        let mut lanes = Lanes::default();
        for cross in self.cross.chunks(COMB).skip(odd).step_by(2) {
            let (mut re, mut im, mut omega) = ([0.0; LANES], [0.0; LANES], [0.0; LANES]);
            for lane in 0..LANES {
                let turned = base * within[lane];
                (re[lane], im[lane]) = (turned.re, turned.im);
                omega[lane] = self.step * (first + lane) as f64;
            }
            let (groups, rest) = cross.as_chunks::<LANES>();
            for group in groups {
                for lane in 0..LANES {
                    lanes.add(lane, group[lane], (re[lane], im[lane]), omega[lane]);
                    (re[lane], im[lane]) = (
                        re[lane] * onwards.re - im[lane] * onwards.im,
                        re[lane] * onwards.im + im[lane] * onwards.re,
                    );
                    omega[lane] += self.step * LANES as f64;
                }
            }
            for (lane, c) in rest.iter().enumerate() {
                lanes.add(lane, *c, (re[lane], im[lane]), omega[lane]);
            }
            first += 2 * COMB;
            // a few hundred turns: what rounding leaves of them is 1e-13 of a radian
            base *= to_next;
        }
        lanes.all()
    }
}

/// The sums of every eighth bin.
#[derive(Default)]
struct Lanes {
    height: [f64; LANES],
    slope: [f64; LANES],
    bend: [f64; LANES],
    scatter: [f64; LANES],
}

impl Lanes {
    #[inline(always)]
    fn add(&mut self, lane: usize, c: Complex64, (re, im): (f64, f64), omega: f64) {
        let turned = (c.re * re - c.im * im, c.re * im + c.im * re);
        let (wi, wr) = (omega * turned.1, omega * omega * turned.0);
        self.height[lane] += turned.0;
        self.slope[lane] += wi;
        self.bend[lane] += wr;
        self.scatter[lane] += wi * wi;
    }

    fn all(&self) -> Sums {
        Sums {
            height: self.height.iter().sum(),
            slope: self.slope.iter().sum(),
            bend: self.bend.iter().sum(),
            scatter: self.scatter.iter().sum(),
        }
    }
}

fn newton(start: f64, steps: usize, sums: impl Fn(f64) -> Sums) -> Option<f64> {
    let mut delay = start;
    for _ in 0..steps {
        let at = sums(delay);
        if at.bend <= 0.0 {
            return None;
        }
        let step = (at.slope / at.bend).clamp(-STRIDE, STRIDE);
        delay += step;
        if step.abs() < 1e-9 {
            break;
        }
    }
    Some(delay)
}

/// A spectrum made flat: each bin divided by the root of the mean power of `2 reach + 1` bins around it, so that what a
/// sound is made of counts less than when it happens. Empty bins stay empty.
#[must_use]
pub fn whitened(spectrum: &[Complex64], reach: usize) -> Vec<Complex64> {
    let mut sums = Vec::with_capacity(spectrum.len() + 1);
    sums.push(0.0);
    let mut sum = 0.0;
    for value in spectrum {
        sum += value.norm_sqr();
        sums.push(sum);
    }
    // far below the rounding of the largest bin nothing is sound
    let floor = sum / spectrum.len().max(1) as f64 * 1e-20;
    spectrum
        .iter()
        .enumerate()
        .map(|(i, value)| {
            let (from, to) = (i.saturating_sub(reach), (i + reach + 1).min(spectrum.len()));
            let mean = (sums[to] - sums[from]) / (to - from) as f64;
            if mean > floor && mean.is_finite() {
                value / mean.sqrt()
            } else {
                Complex64::default()
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::PI;

    fn ramp(delay: f64) -> Vec<Complex64> {
        (1..400)
            .map(|i| Complex64::from_polar(1.0, PI * f64::from(i) / 512.0 * delay))
            .collect()
    }

    #[test]
    fn a_known_phase_ramp_gives_its_delay() {
        let omega: Vec<f64> = (1..400).map(|i| PI * f64::from(i) / 512.0).collect();
        let found = refine(&ramp(0.3217), &omega, 0.0).expect("a peak");
        assert!(
            (found.delay - 0.3217).abs() < 1e-9 && found.sigma < 1e-9,
            "{found:?}"
        );
    }

    #[test]
    fn combed_bins_give_the_same_delay_and_one_from_each_half() {
        let cross = ramp(-1.4137);
        let bins = Bins {
            cross: &cross,
            first: 1,
            step: PI / 512.0,
        };
        let found = bins.refine(-1.0).expect("a peak");
        for delay in [found.delay, found.halves[0], found.halves[1]] {
            assert!((delay + 1.4137).abs() < 1e-9, "{found:?}");
        }
        assert!(found.variance < 1e-18 && (found.height - 399.0).abs() < 1e-6);
    }

    #[test]
    fn the_halves_share_no_bin() {
        // a fault in the first tooth alone moves the even comb and the whole, never the odd comb
        let mut cross = ramp(0.2);
        cross[..COMB]
            .iter_mut()
            .for_each(|c| *c *= Complex64::from_polar(1.0, 0.3));
        let bins = Bins {
            cross: &cross,
            first: 1,
            step: PI / 512.0,
        };
        let found = bins.refine(0.0).expect("a peak");
        assert!((found.halves[1] - 0.2).abs() < 1e-9, "{found:?}");
        assert!(
            found.halves[0] > found.delay && found.delay > 0.2 + 1e-4,
            "{found:?}"
        );
    }

    #[test]
    fn an_inverted_signal_has_no_peak_at_its_delay() {
        let omega: Vec<f64> = (1..400).map(|i| PI * f64::from(i) / 512.0).collect();
        let cross = vec![Complex64::new(-1.0, 0.0); omega.len()];
        assert!(refine(&cross, &omega, 0.0).is_none());
        let bins = Bins {
            cross: &cross,
            first: 1,
            step: PI / 512.0,
        };
        assert!(bins.refine(0.0).is_none());
    }

    #[test]
    fn whitening_leaves_the_phase_and_evens_the_power() {
        let spectrum: Vec<Complex64> = (0..1000)
            .map(|i| Complex64::from_polar((-f64::from(i) / 200.0).exp(), f64::from(i)))
            .collect();
        let flat = whitened(&spectrum, 4);
        for (a, b) in spectrum.iter().zip(&flat) {
            assert!((b.norm() - 1.0).abs() < 0.02 && (b.arg() - a.arg()).abs() < 1e-9);
        }
        let silence = vec![Complex64::default(); 10];
        assert!(whitened(&silence, 4).iter().all(|c| c.norm() == 0.0));
    }
}
