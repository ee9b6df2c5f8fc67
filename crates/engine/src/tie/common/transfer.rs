//! Channel pairs with a clock in, what stands between the two channels of each out: over which bins they are coherent, how
//! straight the phase is there and how far it leaves every smooth curve.
//!
//! Each window is cut in two halves that share no sample. What noise does to the phase of one half it does not do to the
//! other, so products of the two are free of it: `c = Re(c1 c2*)` is the squared coherence without bias, and
//! `mean(Im c1 Im c2) / mean(Re c1 Re c2)`, after each half is turned by its own smooth phase, is the mean square of
//! what echoes do to the phase.

use std::f64::consts::PI;

use rayon::prelude::*;
use realfft::num_complex::Complex64;

use super::evened::{boxed, smooth_phase};
use super::level::{BinLevel, Levels};
use super::search::{Scope, Track};
use crate::error::Result;
use crate::progress::Progress;
use crate::signal::{Sound, Transform, hann};
use crate::tie::correlate::Bins;
use crate::units::Db;

/// Length of the segments whose spectra are averaged, samples at 48 kHz.
const SEGMENT: usize = 4096;
/// Half-overlapping segments in each half of a window.
const SEGMENTS: usize = 31;
/// Bins either way over which a phase is smoothed, 280 Hz: what takes longer than some milliseconds is an echo.
const SMOOTH: usize = 24;
/// Bins either way over which coherence is smoothed before it is judged.
const NEAR: usize = 4;
/// Squared coherence from which a bin takes part.
const COHERENT: f64 = 0.1;
/// Squared coherence from which a bin tells a level.
const STRONG: f64 = 0.7;
/// Noise against signal below which a bin counts no more than another: a few bins must not decide alone.
const CALM: f64 = 0.02;
/// A departure from a smooth phase known no better than this leaves it open what a pair is, radians squared.
const OPEN: f64 = 2e-4;
/// Below this a low-cut filter turns the phase: no bin there is asked for echoes, Hz.
const FILTERS_HZ: f64 = 300.0;
/// Below this nothing is looked at, Hz.
const LOWEST_HZ: f64 = 40.0;

/// What stands between two channels.
pub struct Transfer {
    bin_hz: f64,
    windows: f64,
    /// Sums over the windows, bin by bin.
    coherence: Vec<f64>,
    straight: Vec<Complex64>,
    astray: Vec<f64>,
    along: Vec<f64>,
    lead: Vec<f64>,
    follower: Vec<f64>,
    /// What each window says of the level.
    levels: Levels,
    /// Middles of the windows on the lead, and the offset there to a fraction of a sample.
    pub places: Vec<(f64, f64)>,
}

/// What it says.
pub struct Judged {
    pub coherence: f64,
    pub straightness: f64,
    pub echo: f64,
    pub echo_sigma: f64,
    pub uneven_db: f64,
    pub gain: Db,
    pub gain_sigma: Db,
    pub band_hz: (f64, f64),
    pub bandwidth_hz: f64,
    pub score: f64,
}

/// Looks at each track's pair in the windows where it kept its clock; where noise leaves it open what the pair is, in as
/// many windows between them again.
pub fn transfers(
    scope: &Scope<'_>,
    tracks: &[Track],
    progress: &dyn Progress,
) -> Result<Vec<Transfer>> {
    let lens = Lens::new(scope);
    let mut found = lens.at_places(tracks, progress)?;
    let between: Vec<Vec<(f64, f64)>> = found
        .iter()
        .map(|found| {
            if found.is_open() {
                lens.between(&found.places)
            } else {
                Vec::new()
            }
        })
        .collect();
    lens.look(&mut found, tracks, &between, progress)?;
    for found in &mut found {
        found.places.sort_by(|a, b| a.0.total_cmp(&b.0));
    }
    Ok(found)
}

/// Looks at each track's pair at its places and nowhere else.
pub fn transfers_at_places(
    scope: &Scope<'_>,
    tracks: &[Track],
    progress: &dyn Progress,
) -> Result<Vec<Transfer>> {
    Lens::new(scope).at_places(tracks, progress)
}

/// Samples that a look at one place takes, half of them on either side.
pub fn window(scope: &Scope<'_>) -> usize {
    SEGMENT * scope.faster * (SEGMENTS + 1)
}

struct Lens<'a> {
    scope: &'a Scope<'a>,
    transform: Transform,
    window: Vec<f64>,
    segment: usize,
    step: f64,
}

/// One half of a window: the cross-spectrum and both powers.
struct Half {
    cross: Vec<Complex64>,
    lead: Vec<f64>,
    follower: Vec<f64>,
}

impl<'a> Lens<'a> {
    fn new(scope: &'a Scope<'a>) -> Self {
        let segment = SEGMENT * scope.faster;
        Self {
            scope,
            transform: Transform::new(segment),
            window: hann(segment),
            segment,
            step: 2.0 * PI / segment as f64,
        }
    }

    fn at_places(&self, tracks: &[Track], progress: &dyn Progress) -> Result<Vec<Transfer>> {
        let mut found: Vec<Transfer> = tracks.iter().map(|_| self.nothing()).collect();
        let places: Vec<_> = tracks.iter().map(|track| track.places.clone()).collect();
        self.look(&mut found, tracks, &places, progress)?;
        Ok(found)
    }

    /// Adds to `found` what the tracks' pairs say at `places`, each track's own.
    fn look(
        &self,
        found: &mut [Transfer],
        tracks: &[Track],
        places: &[Vec<(f64, f64)>],
        progress: &dyn Progress,
    ) -> Result<()> {
        let mut middles: Vec<f64> = places.iter().flatten().map(|place| place.0).collect();
        middles.sort_unstable_by(f64::total_cmp);
        middles.dedup();
        if middles.is_empty() {
            return Ok(());
        }
        progress.stage("looking closely at what correlates", middles.len() as u64);
        for middle in middles {
            let here: Vec<Option<f64>> = places
                .iter()
                .map(|places| places.iter().find(|p| p.0 == middle).map(|p| p.1))
                .collect();
            let mut leads: Vec<usize> = tracks
                .iter()
                .zip(&here)
                .filter(|(_, here)| here.is_some())
                .map(|(track, _)| track.pair.0)
                .collect();
            leads.sort_unstable();
            leads.dedup();
            let heard: Vec<Vec<Vec<Complex64>>> = leads
                .par_iter()
                .map(|&channel| self.lead(channel, middle))
                .collect::<Result<_>>()?;
            found.par_iter_mut().zip(tracks).zip(&here).try_for_each(
                |((found, track), here)| {
                    let Some(offset) = *here else {
                        return Ok(());
                    };
                    let Ok(at) = leads.binary_search(&track.pair.0) else {
                        return Ok(());
                    };
                    self.add(found, track, &heard[at], (middle, offset))
                },
            )?;
            progress.advance(1);
        }
        Ok(())
    }

    /// Halfway between neighbouring places, where a window shares no sound with either.
    fn between(&self, places: &[(f64, f64)]) -> Vec<(f64, f64)> {
        places
            .windows(2)
            .filter(|pair| pair[1].0 - pair[0].0 >= 2.0 * self.length() as f64)
            .map(|pair| {
                (
                    (0.5 * (pair[0].0 + pair[1].0)).floor(),
                    0.5 * (pair[0].1 + pair[1].1),
                )
            })
            .collect()
    }

    fn nothing(&self) -> Transfer {
        let bins = self.transform.bins();
        Transfer {
            bin_hz: self.scope.lead.rate().hz() / self.segment as f64,
            windows: 0.0,
            coherence: vec![0.0; bins],
            straight: vec![Complex64::default(); bins],
            astray: vec![0.0; bins],
            along: vec![0.0; bins],
            lead: vec![0.0; bins],
            follower: vec![0.0; bins],
            levels: Levels::default(),
            places: Vec::new(),
        }
    }

    /// Samples of a whole window, two halves.
    fn length(&self) -> usize {
        window(self.scope)
    }

    fn first(&self, middle: f64) -> i64 {
        middle as i64 - (self.length() / 2) as i64
    }

    /// Starts of all segments within a window: those of the first half, then those of the second.
    fn starts(&self) -> impl Iterator<Item = usize> {
        let (hop, half) = (self.segment / 2, self.length() / 2);
        (0..2).flat_map(move |h| (0..SEGMENTS).map(move |i| h * half + i * hop))
    }

    /// The spectra of a lead channel's segments.
    fn lead(&self, channel: usize, middle: f64) -> Result<Vec<Vec<Complex64>>> {
        let mut plane = vec![0.0; self.length()];
        self.scope
            .lead
            .read(&[channel], self.first(middle), &mut [&mut plane])?;
        Ok(self
            .starts()
            .map(|start| self.spectrum(&plane[start..start + self.segment]))
            .collect())
    }

    fn spectrum(&self, samples: &[f64]) -> Vec<Complex64> {
        let mut spectrum = Vec::new();
        self.transform
            .spectrum_under(&self.window, samples, &mut spectrum);
        spectrum
    }

    fn add(
        &self,
        found: &mut Transfer,
        track: &Track,
        lead: &[Vec<Complex64>],
        (middle, offset): (f64, f64),
    ) -> Result<()> {
        let first = self.first(middle);
        // follower position of a lead position n: n - offset - slope (n - middle)
        let position = |n: f64| n - offset - track.slope * (n - middle);
        let margin = 8 + (self.length() as f64 * track.slope.abs()).ceil() as i64;
        let follower_first = position(first as f64).round() as i64 - margin;
        let mut plane = vec![0.0; self.length() + 2 * margin as usize];
        self.scope
            .follower
            .read(&[track.pair.1], follower_first, &mut [&mut plane])?;
        let mut halves = [self.half(), self.half()];
        let sign = if track.inverted { -1.0 } else { 1.0 };
        for (i, (start, x)) in self.starts().zip(lead).enumerate() {
            let centre = first as f64 + start as f64 + self.segment as f64 / 2.0;
            let exact = position(centre) - self.segment as f64 / 2.0 - follower_first as f64;
            let whole = exact.round();
            let follower_start = follower_first + whole as i64;
            if !self.both_ran(first + start as i64, follower_start) {
                continue;
            }
            let Some(samples) = plane.get(whole as usize..whole as usize + self.segment) else {
                continue;
            };
            let y = self.spectrum(samples);
            let turn = Complex64::from_polar(1.0, -self.step * (exact - whole));
            let mut phasor = Complex64::new(sign, 0.0);
            let half = &mut halves[i / SEGMENTS];
            for (bin, (x, y)) in x.iter().zip(&y).enumerate() {
                half.cross[bin] += x * y.conj() * phasor;
                half.lead[bin] += x.norm_sqr();
                half.follower[bin] += y.norm_sqr();
                phasor *= turn;
            }
        }
        let delays = halves.each_ref().map(|half| self.delay(half));
        if let [Some(a), Some(b)] = delays {
            let turned = [self.turned(&halves[0], a), self.turned(&halves[1], b)];
            found.add(&turned, &halves);
            found.places.push((middle, offset - 0.5 * (a + b)));
        }
        Ok(())
    }

    /// Whether a segment lies within both takes.
    fn both_ran(&self, lead: i64, follower: i64) -> bool {
        let within = |start: i64, sound: &dyn Sound| {
            start >= 0 && (start + self.segment as i64) as u64 <= sound.length().0
        };
        within(lead, self.scope.lead) && within(follower, self.scope.follower)
    }

    fn half(&self) -> Half {
        let bins = self.transform.bins();
        Half {
            cross: vec![Complex64::default(); bins],
            lead: vec![0.0; bins],
            follower: vec![0.0; bins],
        }
    }

    /// The fraction of a sample, or the sample or two, by which a half is later than its track.
    fn delay(&self, half: &Half) -> Option<f64> {
        let lowest =
            (LOWEST_HZ * self.segment as f64 / self.scope.lead.rate().hz()).ceil() as usize;
        let bins = Bins {
            cross: half.cross.get(lowest..)?,
            first: lowest,
            step: self.step,
        };
        let delay = bins.refine(0.0)?.delay;
        (delay.abs() < 4.0).then_some(delay)
    }

    /// The coherence phasor with a delay taken off.
    fn turned(&self, half: &Half, delay: f64) -> Vec<Complex64> {
        half.cross
            .iter()
            .zip(half.lead.iter().zip(&half.follower))
            .enumerate()
            .map(|(bin, (cross, (x, y)))| {
                let power = (x * y).sqrt();
                if power > 0.0 {
                    cross / power * Complex64::from_polar(1.0, -self.step * bin as f64 * delay)
                } else {
                    Complex64::default()
                }
            })
            .collect()
    }
}

impl Transfer {
    fn add(&mut self, turned: &[Vec<Complex64>; 2], halves: &[Half; 2]) {
        self.windows += 1.0;
        self.levels.add(&self.window_level(turned, halves));
        let smooth = turned.each_ref().map(|half| smooth_phase(half, SMOOTH));
        for bin in 0..self.coherence.len() {
            let (a, b) = (turned[0][bin], turned[1][bin]);
            self.coherence[bin] += (a * b.conj()).re;
            self.straight[bin] += a + b;
            let (a, b) = (a * smooth[0][bin].conj(), b * smooth[1][bin].conj());
            self.astray[bin] += a.im * b.im;
            self.along[bin] += a.re * b.re;
            self.lead[bin] += halves[0].lead[bin] + halves[1].lead[bin];
            self.follower[bin] += halves[0].follower[bin] + halves[1].follower[bin];
        }
    }

    /// Whether the windows so far leave it open how much the phase departs from a smooth curve.
    fn is_open(&self) -> bool {
        self.judged()
            .is_some_and(|judged| judged.echo_sigma > OPEN && judged.echo < 10.0 * OPEN)
    }

    /// What the windows together say; `None` when no bin is coherent.
    pub fn judged(&self) -> Option<Judged> {
        if self.windows == 0.0 {
            return None;
        }
        let coherence: Vec<f64> = boxed(&self.coherence, NEAR)
            .iter()
            .map(|c| (c / self.windows).clamp(0.0, 1.0))
            .collect();
        let lowest = (LOWEST_HZ / self.bin_hz).ceil() as usize;
        let coherent: Vec<usize> = (lowest..coherence.len() - 1)
            .filter(|&bin| coherence[bin] > COHERENT)
            .collect();
        let wide: Vec<usize> = coherent
            .iter()
            .copied()
            .filter(|&bin| bin as f64 * self.bin_hz >= FILTERS_HZ)
            .collect();
        let (first, last) = (*coherent.first()?, *coherent.last()?);
        let odds = |bin: usize| coherence[bin] / (1.0 - coherence[bin]).max(1e-6);
        let mean = |bins: &[usize], value: &dyn Fn(usize) -> f64| {
            let (weights, sum) = bins.iter().fold((0.0, 0.0), |(w, s), &bin| {
                let weight = odds(bin).min(100.0);
                (w + weight, s + weight * value(bin))
            });
            sum / weights
        };
        let over = |value: &dyn Fn(usize) -> f64| wide.iter().map(|&bin| value(bin)).sum::<f64>();
        let echo = self.echo(&wide);
        let unknown = (Db(0.0), Db(f64::INFINITY));
        let (gain, gain_sigma) = self.levels.pooled().unwrap_or(unknown);
        Some(Judged {
            coherence: mean(&coherent, &|bin| coherence[bin]),
            straightness: over(&|bin| self.straight[bin].re)
                / over(&|bin| self.straight[bin].norm()).max(f64::MIN_POSITIVE),
            echo: echo.0,
            echo_sigma: echo.1,
            uneven_db: self.uneven_db(&coherence, &wide),
            gain,
            gain_sigma,
            band_hz: (first as f64 * self.bin_hz, last as f64 * self.bin_hz),
            bandwidth_hz: wide.len() as f64 * self.bin_hz,
            score: wide
                .iter()
                .map(|&bin| (bin as f64 * self.bin_hz).powi(2) * odds(bin))
                .sum::<f64>()
                * self.bin_hz,
        })
    }

    /// Mean square departure from a smooth phase, and its sigma. A bin counts by how little noise it has, since noise is
    /// all that is in the way: the partials of a note count, what lies between them hardly does.
    fn echo(&self, bins: &[usize]) -> (f64, f64) {
        let (mut astray, mut along, mut square) = (0.0, 0.0, 0.0);
        for &bin in bins {
            // not by the whole coherence, which holds the departure itself: in noise that favours bins that depart
            let coherence = (self.along[bin] / self.windows).clamp(0.01, 1.0);
            let weight = ((1.0 - coherence) / coherence + CALM).powi(-2);
            astray += weight * self.astray[bin];
            along += weight * self.along[bin];
            square += (weight * self.astray[bin]).powi(2);
        }
        if along > 0.0 {
            // neighbouring bins under a Hann window share 35/18 of their noise
            (astray / along, (35.0 / 18.0 * square).sqrt() / along)
        } else {
            (1.0, 1.0)
        }
    }

    /// The bins of one window, for its level.
    fn window_level(&self, turned: &[Vec<Complex64>; 2], halves: &[Half; 2]) -> Vec<BinLevel> {
        let squared: Vec<f64> = turned[0]
            .iter()
            .zip(&turned[1])
            .map(|(a, b)| (a * b.conj()).re)
            .collect();
        let lowest = (LOWEST_HZ / self.bin_hz).ceil() as usize;
        boxed(&squared, NEAR)
            .into_iter()
            .enumerate()
            .skip(lowest)
            .map(|(bin, coherence)| BinLevel {
                coherence,
                lead: halves[0].lead[bin] + halves[1].lead[bin],
                follower: halves[0].follower[bin] + halves[1].follower[bin],
            })
            .collect()
    }

    /// Scatter of the smoothed level ratio where the coherence is strong; 0 where it nowhere is.
    fn uneven_db(&self, coherence: &[f64], bins: &[usize]) -> f64 {
        let (lead, follower) = (boxed(&self.lead, SMOOTH), boxed(&self.follower, SMOOTH));
        let ratios: Vec<f64> = bins
            .iter()
            .filter(|&&bin| coherence[bin] > STRONG)
            .map(|&bin| 10.0 * (follower[bin] / lead[bin]).log10())
            .collect();
        if ratios.is_empty() {
            return 0.0;
        }
        let n = ratios.len() as f64;
        let mean = ratios.iter().sum::<f64>() / n;
        (ratios.iter().map(|r| (r - mean).powi(2)).sum::<f64>() / n).sqrt()
    }
}
