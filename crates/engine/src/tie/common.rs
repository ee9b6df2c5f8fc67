//! The sound of two units in, the channel pairs that carry one electrical signal out, found by their coherence.
//!
//! An electrical signal recorded twice differs by a gain, a delay and noise only: over the band it occupies the phase is
//! straight and the level ratio flat. Two microphones in a room differ by a long, dense response: phase and level ratio
//! scatter even where the coherence is high. Knapp and Carter 1976 for the correlation; coherence by averaged
//! half-overlapping Hann windows.

use rayon::prelude::*;
use realfft::num_complex::Complex64;

use crate::error::Result;
use crate::signal::{Sound, Transform, hann};
use crate::tie::Guess;
use crate::units::{Db, LeadPos, Samples};

/// Length of the stretch that is searched for a delay, samples.
const STRETCH: usize = 1 << 15;
/// Length of the windows whose coherence is averaged, samples.
const WINDOW: usize = 1 << 12;
/// How many stretches are spread over the overlap.
const STRETCHES: usize = 10;
/// Magnitude-squared coherence from which a bin takes part: thirty times what chance gives with the averages taken here.
const COHERENT: f64 = 0.25;
/// Least mean cosine of the phase about a straight line over the coherent bins.
const STRAIGHT: f64 = 0.98;
/// Largest scatter of the level ratio over the coherent bins, dB.
const FLAT_DB: f64 = 1.0;
/// Least coherent bandwidth, Hz: less is a hum or a drone, whose delay is ambiguous.
const LEAST_BAND_HZ: f64 = 300.0;
/// A second peak this close to the first makes the delay ambiguous (an exact loop has 1).
const AMBIGUOUS: f64 = 0.97;

/// Two channels that carry one electrical signal; channels are 0-based.
#[derive(Debug, Clone, PartialEq)]
pub struct CommonPair {
    /// The lead's channel.
    pub lead: usize,
    /// The follower's channel.
    pub follower: usize,
    /// Mean magnitude-squared coherence over the coherent bins.
    pub coherence: f64,
    /// Mean cosine of the phase about a straight line, 1 for one tap.
    pub straightness: f64,
    /// Scatter of the level ratio over the band, dB.
    pub ripple_db: f64,
    /// Whether one side is inverted.
    pub inverted: bool,
    /// The follower's level against the lead's.
    pub gain: Db,
    /// Lowest and highest coherent frequency, Hz.
    pub band_hz: (f64, f64),
    /// Coherent bandwidth, Hz.
    pub bandwidth_hz: f64,
    /// Second peak of the correlation against the first, 0 to 1.
    pub second_peak: f64,
    /// Where the signal was found, stretch by stretch: lead position of the stretch's middle and the follower's offset there.
    pub places: Vec<(LeadPos, LeadPos)>,
    /// Offsets of other peaks that fit as well, when the delay is ambiguous.
    pub rivals: Vec<LeadPos>,
}

impl CommonPair {
    /// Whether the delay is one of several that fit alike.
    #[must_use]
    pub fn is_ambiguous(&self) -> bool {
        self.second_peak > AMBIGUOUS
    }
}

/// Looks for a common signal among all channel pairs, or only in `named` (0-based lead and follower channel). Best first;
/// pairs whose delay is ambiguous are kept and say so.
///
/// # Errors
/// When a file cannot be read.
pub fn find_common(
    lead: &dyn Sound,
    follower: &dyn Sound,
    guess: &Guess,
    named: Option<(usize, usize)>,
) -> Result<Vec<CommonPair>> {
    let stretches = stretches(lead, follower, guess);
    let within = guess.within.0.max(1.0).ceil() as usize;
    let transform = Transform::new((STRETCH + 2 * within).next_power_of_two());
    let heard: Vec<Stretch> = stretches
        .into_iter()
        .map(|start| Stretch::read(lead, follower, guess, start, within))
        .collect::<Result<_>>()?;
    let pairs: Vec<(usize, usize)> = match named {
        Some(pair) => vec![pair],
        None => (0..lead.channels())
            .flat_map(|a| (0..follower.channels()).map(move |b| (a, b)))
            .collect(),
    };
    let spectra: Vec<Spectra> = heard
        .par_iter()
        .map(|stretch| Spectra::of(stretch, &transform))
        .collect();
    let rate_hz = lead.rate().hz();
    let mut found: Vec<CommonPair> = pairs
        .par_iter()
        .filter_map(|&(a, b)| judge(&heard, &spectra, &transform, Channels { a, b, rate_hz }))
        .collect();
    found.sort_by(|x, y| score(y).total_cmp(&score(x)));
    Ok(found)
}

fn score(pair: &CommonPair) -> f64 {
    pair.coherence / (1.0 - pair.coherence).max(1e-9)
        * pair.bandwidth_hz.powf(1.5)
        * if pair.is_ambiguous() { 1e-6 } else { 1.0 }
}

/// Start positions on the lead, spread over the expected overlap.
fn stretches(lead: &dyn Sound, follower: &dyn Sound, guess: &Guess) -> Vec<i64> {
    let from = guess.offset.0.max(0.0).ceil() as i64;
    let to = (guess.offset.0 + follower.length().0 as f64).min(lead.length().0 as f64) as i64;
    let room = to - from - STRETCH as i64;
    if room < 0 {
        return Vec::new();
    }
    let many = (STRETCHES as i64).min(room / STRETCH as i64 + 1);
    (0..many)
        .map(|i| from + room * (2 * i + 1) / (2 * many))
        .collect()
}

/// One stretch of the lead and the follower's sound around where it is expected.
struct Stretch {
    start: i64,
    /// Follower position of the first sample held, and the offset that this position stands for at delay 0.
    follower_start: i64,
    within: usize,
    lead: Vec<Vec<f64>>,
    follower: Vec<Vec<f64>>,
}

impl Stretch {
    fn read(
        lead: &dyn Sound,
        follower: &dyn Sound,
        guess: &Guess,
        start: i64,
        within: usize,
    ) -> Result<Self> {
        let follower_start = (start as f64 - guess.offset.0).round() as i64 - within as i64;
        Ok(Self {
            start,
            follower_start,
            within,
            lead: planes(lead, start, STRETCH)?,
            follower: planes(follower, follower_start, STRETCH + 2 * within)?,
        })
    }
}

fn planes(sound: &dyn Sound, start: i64, length: usize) -> Result<Vec<Vec<f64>>> {
    let channels: Vec<usize> = (0..sound.channels()).collect();
    let mut planes = vec![vec![0.0; length]; channels.len()];
    let mut out: Vec<&mut [f64]> = planes.iter_mut().map(Vec::as_mut_slice).collect();
    sound.read(&channels, start, &mut out)?;
    Ok(planes)
}

struct Spectra {
    lead: Vec<Vec<Complex64>>,
    follower: Vec<Vec<Complex64>>,
}

impl Spectra {
    fn of(stretch: &Stretch, transform: &Transform) -> Self {
        let all = |planes: &[Vec<f64>]| planes.iter().map(|p| transform.spectrum(p)).collect();
        Self {
            lead: all(&stretch.lead),
            follower: all(&stretch.follower),
        }
    }
}

#[derive(Clone, Copy)]
struct Channels {
    a: usize,
    b: usize,
    rate_hz: f64,
}

/// The strongest peak of a correlation and its strongest rival.
struct Peak {
    lag: usize,
    height: f64,
    rival: usize,
    rival_height: f64,
}

fn judge(
    heard: &[Stretch],
    spectra: &[Spectra],
    transform: &Transform,
    channels: Channels,
) -> Option<CommonPair> {
    let mut sums = Sums::new();
    let mut places = Vec::new();
    let mut ratios = Vec::new();
    let mut rivals = Vec::new();
    for (stretch, spectra) in heard.iter().zip(spectra) {
        let (x, y) = (&stretch.lead[channels.a], &stretch.follower[channels.b]);
        let Some(peak) = peak_of(
            &spectra.lead[channels.a],
            &spectra.follower[channels.b],
            transform,
            stretch.within,
        ) else {
            continue;
        };
        let at_edge = peak.lag < 4 || peak.lag + 4 > 2 * stretch.within;
        if at_edge || peak.height < 0.02 {
            continue;
        }
        sums.add(x, &y[peak.lag..peak.lag + STRETCH]);
        let middle = stretch.start as f64 + STRETCH as f64 / 2.0;
        let offset_of =
            |lag: usize| LeadPos((stretch.start - stretch.follower_start - lag as i64) as f64);
        places.push((LeadPos(middle), offset_of(peak.lag)));
        ratios.push(peak.rival_height / peak.height);
        rivals.push(offset_of(peak.rival));
    }
    let judged = sums.judge(channels.rate_hz)?;
    let second_peak = ratios.iter().sum::<f64>() / ratios.len() as f64;
    let steady = steady_places(&places);
    let common = judged.straightness >= STRAIGHT
        && judged.ripple_db <= FLAT_DB
        && judged.bandwidth_hz >= LEAST_BAND_HZ
        && steady.len() * 2 > places.len();
    common.then(|| CommonPair {
        lead: channels.a,
        follower: channels.b,
        places: steady,
        second_peak,
        rivals: if second_peak > AMBIGUOUS {
            rivals
        } else {
            Vec::new()
        },
        ..judged
    })
}

/// The places that lie on one line of a plausible clock: within a sample and 300 ppm of the median offset.
fn steady_places(places: &[(LeadPos, LeadPos)]) -> Vec<(LeadPos, LeadPos)> {
    let mut offsets: Vec<f64> = places.iter().map(|place| place.1.0).collect();
    if offsets.is_empty() {
        return Vec::new();
    }
    let middle = offsets.len() / 2;
    let median = *offsets.select_nth_unstable_by(middle, f64::total_cmp).1;
    let span = places.last().map_or(0.0, |last| last.0.0) - places[0].0.0;
    let allowed = Samples(2.0 + 300e-6 * span);
    places
        .iter()
        .filter(|place| (place.1.0 - median).abs() <= allowed.0)
        .copied()
        .collect()
}

/// Phase-transform correlation; `lag` counts from the start of the follower's stretch, 0 to `2 within`.
fn peak_of(x: &[Complex64], y: &[Complex64], transform: &Transform, within: usize) -> Option<Peak> {
    let floor = x
        .iter()
        .zip(y)
        .map(|(x, y)| (x * y).norm())
        .fold(0.0, f64::max)
        * 1e-9;
    if floor <= 0.0 || !floor.is_finite() {
        return None;
    }
    let mut used = 0.0;
    let cross = x
        .iter()
        .zip(y)
        .map(|(x, y)| {
            let c = x.conj() * y;
            let size = c.norm();
            if size > floor {
                used += 1.0;
                c / size
            } else {
                Complex64::default()
            }
        })
        .collect();
    let correlation = transform.samples(cross);
    let range = &correlation[..=2 * within];
    let best = |skip: Option<usize>| {
        range
            .iter()
            .enumerate()
            .filter(|(lag, _)| skip.is_none_or(|skip| lag.abs_diff(skip) > 16))
            .map(|(lag, value)| (lag, value.abs()))
            .max_by(|a, b| a.1.total_cmp(&b.1))
    };
    let (lag, height) = best(None)?;
    let (rival, rival_height) = best(Some(lag)).unwrap_or((lag, 0.0));
    let scale = transform.length() as f64 / (2.0 * used);
    Some(Peak {
        lag,
        height: height * scale,
        rival,
        rival_height: rival_height * scale,
    })
}

/// Averaged spectra of a pair over all stretches, each turned to its own delay.
struct Sums {
    transform: Transform,
    window: Vec<f64>,
    cross: Vec<Complex64>,
    x: Vec<f64>,
    y: Vec<f64>,
}

impl Sums {
    fn new() -> Self {
        let transform = Transform::new(WINDOW);
        let bins = transform.bins();
        Self {
            transform,
            window: hann(WINDOW),
            cross: vec![Complex64::default(); bins],
            x: vec![0.0; bins],
            y: vec![0.0; bins],
        }
    }

    fn add(&mut self, x: &[f64], y: &[f64]) {
        let bins = self.transform.bins();
        let mut cross = vec![Complex64::default(); bins];
        let mut start = 0;
        while start + WINDOW <= x.len().min(y.len()) {
            let part = |s: &[f64]| {
                let windowed: Vec<f64> = s[start..start + WINDOW]
                    .iter()
                    .zip(&self.window)
                    .map(|(s, w)| s * w)
                    .collect();
                self.transform.spectrum(&windowed)
            };
            let (sx, sy) = (part(x), part(y));
            for i in 0..bins {
                cross[i] += sx[i] * sy[i].conj();
                self.x[i] += sx[i].norm_sqr();
                self.y[i] += sy[i].norm_sqr();
            }
            start += WINDOW / 2;
        }
        // turn by the fraction of a sample that the integer lag left over, the sign kept for the polarity
        let omega: Vec<f64> = (1..bins).map(omega_of).collect();
        let total: Complex64 = cross[1..].iter().sum();
        let sign = if total.re < 0.0 { -1.0 } else { 1.0 };
        let upright: Vec<Complex64> = cross[1..].iter().map(|c| c * sign).collect();
        let delay = super::correlate::refine(&upright, &omega, 0.0)
            .map_or(0.0, |refined| refined.delay.clamp(-2.0, 2.0));
        for i in 1..bins {
            self.cross[i] += cross[i] * Complex64::from_polar(1.0, -omega[i - 1] * delay);
        }
    }

    fn judge(&self, rate_hz: f64) -> Option<CommonPair> {
        let bin_hz = rate_hz / WINDOW as f64;
        let first = (40.0 / bin_hz).ceil() as usize;
        let coherence = |i: usize| {
            let power = self.x[i] * self.y[i];
            if power > 0.0 {
                self.cross[i].norm_sqr() / power
            } else {
                0.0
            }
        };
        let bins: Vec<usize> = (first..self.cross.len() - 1)
            .filter(|&i| coherence(i) > COHERENT)
            .collect();
        if bins.is_empty() {
            return None;
        }
        let weight = |i: usize| (coherence(i) / (1.0 - coherence(i)).max(1e-9)).min(10.0);
        let total: f64 = bins.iter().map(|&i| weight(i)).sum();
        let mean =
            |f: &dyn Fn(usize) -> f64| bins.iter().map(|&i| weight(i) * f(i)).sum::<f64>() / total;
        let cosine = mean(&|i| self.cross[i].re / self.cross[i].norm());
        let ratio_db = |i: usize| 10.0 * (self.y[i] / self.x[i]).log10();
        let level = mean(&ratio_db);
        let ripple = mean(&|i| (ratio_db(i) - level).powi(2)).sqrt();
        let mean_coherence = mean(&coherence);
        Some(CommonPair {
            lead: 0,
            follower: 0,
            coherence: mean_coherence,
            straightness: cosine.abs(),
            ripple_db: ripple,
            inverted: cosine < 0.0,
            gain: Db(level),
            band_hz: (
                bins[0] as f64 * bin_hz,
                bins[bins.len() - 1] as f64 * bin_hz,
            ),
            bandwidth_hz: bins.len() as f64 * bin_hz,
            second_peak: 0.0,
            places: Vec::new(),
            rivals: Vec::new(),
        })
    }
}

fn omega_of(bin: usize) -> f64 {
    2.0 * std::f64::consts::PI * bin as f64 / WINDOW as f64
}
