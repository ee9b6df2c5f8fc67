//! Two places in a shoebox room in, the room's response between them out: mirror images of the source (Allen and
//! Berkley, "Image method for efficiently simulating small-room acoustics", J. Acoust. Soc. Am. 65(4), 1979), each
//! placed between the samples by the windowed sinc.

use serde::{Deserialize, Serialize};

use crate::kernel::{HALF, Kernel, TAPS};

/// The speed of sound in metres a second: dry air at 20 degrees Celsius, 343.2 * sqrt(T / 293.15), ISO 9613-1 (formula
/// from memory).
pub const SPEED_OF_SOUND_M_PER_S: f64 = 343.2;

/// How many samples before time zero a response begins, so that the sinc of a near source has room.
pub(crate) const LEAD_IN: usize = HALF;

/// A room, or the open field.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Room {
    /// Length, width and height in metres; one corner is the origin of all places. Unused in the open field.
    pub dims_m: [f64; 3],
    /// Reverberation time in seconds (a decay by 60 dB); 0 for the open field, where only the direct sound arrives.
    pub t60_s: f64,
}

/// Time steps over one reverberation time in which a decay is looked at.
const BINS: usize = 200;

/// Energy of one source's images by arrival time and number of reflections.
struct Decay {
    /// `bins[time][reflections]`.
    bins: Vec<Vec<f64>>,
    bin_s: f64,
}

impl Room {
    /// The open field: direct sound alone, places anywhere.
    #[must_use]
    pub fn open_field() -> Self {
        Self {
            dims_m: [0.0; 3],
            t60_s: 0.0,
        }
    }

    /// Whether a place is inside.
    #[must_use]
    pub fn holds(&self, place: [f64; 3]) -> bool {
        let inside = |(x, len): (f64, f64)| x > 0.0 && x < len;
        self.t60_s <= 0.0 || place.into_iter().zip(self.dims_m).all(inside)
    }

    /// The pressure reflection factor of all six walls that gives the room its reverberation time.
    ///
    /// Sabine's and Eyring's formulas miss the decay of an image model by a tenth or two, since sound between the far
    /// walls outlives the rest (Lehmann and Johansson, J. Acoust. Soc. Am. 124(1), 2008); so the factor is found by
    /// bisection on the decay of the model itself, its energy averaged over four pairs of places.
    #[must_use]
    pub fn reflection(&self) -> f64 {
        if self.t60_s <= 0.0 {
            return 0.0;
        }
        let place = |shares: [f64; 3]| std::array::from_fn(|i| shares[i] * self.dims_m[i]);
        let mut decay = Decay {
            bins: vec![Vec::new(); BINS],
            bin_s: self.t60_s / BINS as f64,
        };
        for (source, mic) in [
            ([0.28, 0.27, 0.4], [0.69, 0.7, 0.53]),
            ([0.81, 0.34, 0.47], [0.31, 0.59, 0.5]),
            ([0.37, 0.79, 0.55], [0.55, 0.21, 0.37]),
            ([0.72, 0.64, 0.37], [0.17, 0.38, 0.62]),
        ] {
            self.add_decay(&mut decay, place(source), place(mic));
        }
        let (mut low, mut high) = (0.0, 1.0);
        for _ in 0..40 {
            let middle = 0.5 * (low + high);
            if decay.t60_s(middle) < self.t60_s {
                low = middle;
            } else {
                high = middle;
            }
        }
        0.5 * (low + high)
    }

    fn add_decay(&self, decay: &mut Decay, source: [f64; 3], place: [f64; 3]) {
        self.each_image(source, place, |distance_m, reflections| {
            let bin = (distance_m / SPEED_OF_SOUND_M_PER_S / decay.bin_s) as usize;
            if let Some(bin) = decay.bins.get_mut(bin) {
                bin.resize(bin.len().max(reflections + 1), 0.0);
                bin[reflections] += 1.0 / (distance_m * distance_m);
            }
        });
    }

    /// Calls `visit` with distance and number of reflections of each image that arrives within the reverberation time.
    fn each_image(&self, source: [f64; 3], place: [f64; 3], mut visit: impl FnMut(f64, usize)) {
        let reach_m = self.t60_s * SPEED_OF_SOUND_M_PER_S;
        let axis = |i: usize| -> Vec<(f64, usize)> {
            if self.t60_s <= 0.0 {
                return vec![(source[i] - place[i], 0)];
            }
            let last = (reach_m / (2.0 * self.dims_m[i])) as i64 + 1;
            let image = |m: i64, q: i64| {
                let x = (1 - 2 * q) as f64 * source[i] + 2.0 * m as f64 * self.dims_m[i] - place[i];
                (
                    x,
                    (m - q).unsigned_abs() as usize + m.unsigned_abs() as usize,
                )
            };
            (-last..=last)
                .flat_map(|m| [image(m, 0), image(m, 1)])
                .collect()
        };
        let reach_sq = if self.t60_s > 0.0 {
            reach_m * reach_m
        } else {
            f64::INFINITY
        };
        let axes = [axis(0), axis(1), axis(2)];
        for &(x, rx) in &axes[0] {
            for &(y, ry) in &axes[1] {
                let xy_sq = x * x + y * y;
                if xy_sq > reach_sq {
                    continue;
                }
                for &(z, rz) in &axes[2] {
                    let distance_sq = xy_sq + z * z;
                    if distance_sq <= reach_sq {
                        visit(distance_sq.sqrt().max(0.01), rx + ry + rz);
                    }
                }
            }
        }
    }

    /// The response from `source` to `place` at `rate_hz`: 1 m away the direct sound has amplitude 1. Time zero is
    /// sample [`LEAD_IN`].
    pub(crate) fn response(&self, path: Path, rate_hz: f64) -> Vec<f64> {
        let direct_m = path
            .source
            .iter()
            .zip(path.place)
            .map(|(a, b)| (a - b) * (a - b))
            .sum::<f64>()
            .sqrt();
        let last_s = self.t60_s.max(direct_m / SPEED_OF_SOUND_M_PER_S);
        let mut response = vec![0.0; LEAD_IN + (last_s * rate_hz) as usize + TAPS];
        let kernel = Kernel::shared();
        let powers: Vec<f64> = (0..1000).map(|n| path.reflection.powi(n)).collect();
        let mut row = [0.0; TAPS];
        self.each_image(path.source, path.place, |distance_m, reflections| {
            let delay = distance_m / SPEED_OF_SOUND_M_PER_S * rate_hz + LEAD_IN as f64;
            let gain = powers.get(reflections).copied().unwrap_or(0.0) / distance_m;
            // Tap `HALF - 1` of a row belongs to the sample at or before the instant: here, before the impulse.
            kernel.row(delay.fract(), &mut row);
            let first = (delay as usize + 1).saturating_sub(HALF);
            for (sample, weight) in response.iter_mut().skip(first).zip(&row) {
                *sample += gain * weight;
            }
        });
        response
    }
}

/// From where to where, and what each wall leaves of the sound.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Path {
    pub(crate) source: [f64; 3],
    pub(crate) place: [f64; 3],
    pub(crate) reflection: f64,
}

impl Decay {
    /// The time for 60 dB, from the line through -5 to -35 dB of the energy still to come (Schroeder, J. Acoust. Soc.
    /// Am. 37, 1965; ISO 3382-1 evaluates T30 over that range).
    fn t60_s(&self, reflection: f64) -> f64 {
        let energies: Vec<f64> = self
            .bins
            .iter()
            .map(|bin| {
                let scaled = |(n, energy): (usize, &f64)| energy * reflection.powi(2 * n as i32);
                bin.iter().enumerate().map(scaled).sum()
            })
            .collect();
        t60_of(&energies, self.bin_s)
    }
}

/// The reverberation time of a run of energies, `step_s` apart: a line through -5 to -35 dB of the backward integral.
pub(crate) fn t60_of(energies: &[f64], step_s: f64) -> f64 {
    let mut to_come: Vec<f64> = energies
        .iter()
        .rev()
        .scan(0.0, |sum, energy| {
            *sum += energy;
            Some(*sum)
        })
        .collect();
    to_come.reverse();
    let whole = to_come.first().copied().unwrap_or(0.0);
    let points: Vec<(f64, f64)> = to_come
        .iter()
        .enumerate()
        .map(|(i, energy)| (i as f64 * step_s, 10.0 * (energy / whole).log10()))
        .filter(|(_, level_db)| (-35.0..=-5.0).contains(level_db))
        .collect();
    if points.len() < 2 {
        return 0.0;
    }
    let count = points.len() as f64;
    let mean = |pick: fn(&(f64, f64)) -> f64| points.iter().map(pick).sum::<f64>() / count;
    let (mean_s, mean_db) = (mean(|p| p.0), mean(|p| p.1));
    let across: f64 = points
        .iter()
        .map(|p| (p.0 - mean_s) * (p.1 - mean_db))
        .sum();
    let along: f64 = points.iter().map(|p| (p.0 - mean_s).powi(2)).sum();
    -60.0 * along / across
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::convolve::{Band, cascade};

    fn path(source: [f64; 3], place: [f64; 3], room: &Room) -> Path {
        Path {
            source,
            place,
            reflection: room.reflection(),
        }
    }

    #[test]
    fn the_decay_is_the_one_asked_for() {
        for (dims_m, t60_s) in [([7.2, 5.6, 3.0], 0.45), ([12.0, 9.0, 5.0], 1.1)] {
            let room = Room { dims_m, t60_s };
            // Reverberation is measured in bands and averaged over places (ISO 3382-1); this band is the octaves of 500,
            // 1000 and 2000 Hz.
            let (low, high) = (355.0 / 48_000.0, 2_840.0 / 48_000.0);
            let band = Band {
                low,
                high,
                transition: 0.004,
                depth_db: 60.0,
            }
            .taps();
            let mut energies = Vec::new();
            for (source, mic) in [
                ([0.25, 0.3, 0.4], [0.7, 0.62, 0.5]),
                ([0.6, 0.8, 0.5], [0.33, 0.25, 0.45]),
                ([0.2, 0.66, 0.55], [0.77, 0.4, 0.4]),
                ([0.8, 0.2, 0.45], [0.4, 0.7, 0.6]),
            ] {
                let place = |shares: [f64; 3]| std::array::from_fn(|i| shares[i] * dims_m[i]);
                let response = room.response(path(place(source), place(mic), &room), 48_000.0);
                let banded = cascade(&response, &band);
                energies.resize(banded.len().max(energies.len()), 0.0);
                energies
                    .iter_mut()
                    .zip(banded)
                    .for_each(|(sum, x)| *sum += x * x);
            }
            let found_s = t60_of(&energies, 1.0 / 48_000.0);
            println!("asked {t60_s} s, found {found_s} s");
            assert!(
                (found_s / t60_s - 1.0).abs() < 0.1,
                "asked {t60_s} s, found {found_s} s"
            );
        }
    }

    /// The direct sound is a sinc whose centroid is distance / speed: 3.432 m are 480 samples at 48 kHz.
    #[test]
    fn direct_sound_arrives_after_distance_over_speed_at_one_over_distance() {
        let room = Room::open_field();
        for distance_m in [3.432, 1.0, 0.3, 2.3456] {
            let response = room.response(path([0.0; 3], [distance_m, 0.0, 0.0], &room), 48_000.0);
            // The phase and size of the response at 1 kHz, against a pure delay.
            let omega = std::f64::consts::TAU * 1000.0 / 48_000.0;
            let (mut re, mut im) = (0.0, 0.0);
            for (i, sample) in response.iter().enumerate() {
                let (sin, cos) = (omega * (i as f64 - LEAD_IN as f64)).sin_cos();
                re += sample * cos;
                im += sample * sin;
            }
            let delay = im.atan2(re).rem_euclid(std::f64::consts::TAU) / omega;
            let expected = distance_m / 343.2 * 48_000.0;
            let miss = (delay - expected).rem_euclid(48.0);
            assert!(
                miss.min(48.0 - miss) < 1e-6,
                "{distance_m} m: {delay}, {expected}"
            );
            assert!((re.hypot(im) - 1.0 / distance_m).abs() < 1e-7 / distance_m);
        }
    }

    #[test]
    fn first_echo_of_the_floor_arrives_where_the_mirror_puts_it() {
        let room = Room {
            dims_m: [100.0, 80.0, 60.0],
            t60_s: 0.05,
        };
        let found = std::cell::RefCell::new(Vec::new());
        room.each_image(
            [50.0, 40.0, 1.0],
            [54.0, 40.0, 2.0],
            |distance_m, reflections| {
                found.borrow_mut().push((distance_m, reflections));
            },
        );
        let found = found.into_inner();
        let expected = [(17.0_f64.sqrt(), 0), (5.0, 1)];
        assert_eq!(found.len(), 2);
        for (distance_m, reflections) in expected {
            let same = |f: &&(f64, usize)| (f.0 - distance_m).abs() < 1e-12 && f.1 == reflections;
            assert_eq!(found.iter().filter(same).count(), 1);
        }
    }
}
