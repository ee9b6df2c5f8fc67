//! Windows of two units in, for each channel pair the clock that most windows keep out: flattened spectra correlated
//! over the whole search, the highest peaks of each window, and a vote among the straight lines through them.

use rayon::prelude::*;
use realfft::num_complex::Complex64;

use crate::error::Result;
use crate::progress::{Progress, go_on};
use crate::signal::{Sound, Transform, hann, median};
use crate::tie::Guess;
use crate::tie::correlate::whitened;
use crate::units::LeadPos;

/// How many windows are spread over the overlap.
const WINDOWS: i64 = 10;
/// Length of a window, samples at 48 kHz.
const STRETCH: usize = 32_768;
/// A peak stands out when it is so many times the typical size of the correlation beside it; chance reaches 5 among a
/// million.
const OUTSTANDING: f64 = 6.0;
/// Peaks kept of each window.
const KEPT: usize = 3;
/// Peaks closer than this are one, samples.
const APART: usize = 16;
/// Lags looked at beside the search, so that chance can be told from a peak, samples.
const MARGIN: usize = 2048;
/// Longest transform of a search, samples; at 48 kHz it allows a search of 10 seconds either way.
const LONGEST: usize = 1 << 20;
/// Bins either way over which a spectrum is made flat, 94 Hz: wide enough that a partial stays above the noise beside it.
const REACH: usize = 64;
/// The largest rate difference searched for, parts of one.
const RATE: f64 = 300e-6;
/// How far a clock may leave a straight line over a take, parts of the take's length: half a part per million.
const BOW: f64 = 0.5e-6;
/// Lead channels held at once.
const BATCH: usize = 8;

/// What is searched and where.
pub struct Scope<'a> {
    pub lead: &'a dyn Sound,
    pub follower: &'a dyn Sound,
    pub guess: &'a Guess,
    /// Window lengths are chosen for 48 kHz and multiplied by this.
    pub faster: usize,
    stretch: usize,
    starts: Vec<i64>,
}

/// The clock that a pair keeps.
pub struct Track {
    /// Lead and follower channel.
    pub pair: (usize, usize),
    /// Middles of windows on the lead and the offset there.
    pub places: Vec<(f64, f64)>,
    /// Change of the offset per lead sample.
    pub slope: f64,
    pub inverted: bool,
    /// Share of the windows with any peak that keep this clock.
    pub agreement: f64,
    /// The best other clock's votes against this one's.
    pub second_peak: f64,
    /// Offsets of other clocks with nearly as many votes.
    pub rivals: Vec<f64>,
}

/// A pair whose windows correlate.
pub struct Strong {
    /// Lead and follower channel.
    pub pair: (usize, usize),
    /// Middles of windows on the lead, the offset there, and the signed height of the peak.
    pub places: Vec<(f64, f64, f64)>,
}

impl Strong {
    /// The middle of the window with the highest peak, and the offset there.
    pub fn best(&self) -> (LeadPos, LeadPos) {
        let highest = |a: &&(f64, f64, f64), b: &&(f64, f64, f64)| a.2.abs().total_cmp(&b.2.abs());
        let place = self.places.iter().max_by(highest);
        place.map_or((LeadPos(0.0), LeadPos(0.0)), |place| {
            (LeadPos(place.0), LeadPos(place.1))
        })
    }

    /// The median height of the highest peaks, 0 to 1.
    pub fn height(&self) -> f64 {
        let mut heights: Vec<f64> = self.places.iter().map(|place| place.2.abs()).collect();
        median(&mut heights).unwrap_or(0.0)
    }
}

/// A peak of one window: the offset it stands for and its height, negative when inverted.
#[derive(Debug, Clone, Copy)]
pub struct Peak {
    offset: f64,
    height: f64,
}

/// The pairs whose windows correlate most, whatever clock they keep, of what was [`Scope::heard`] of them: the strongest
/// first, each with the middles of its windows, the offset of the highest peak there and that peak's signed height.
pub fn strongest(pairs: &[(usize, usize)], heard: &[Windows]) -> Vec<Strong> {
    let mut found: Vec<Strong> = pairs
        .iter()
        .zip(heard)
        .map(|(&pair, heard)| Strong {
            pair,
            places: heard
                .iter()
                .filter_map(|(middle, peaks)| {
                    let peak = peaks.first()?;
                    Some((*middle, peak.offset, peak.height))
                })
                .collect(),
        })
        .filter(|strong| strong.places.len() >= 2)
        .collect();
    found.sort_by(|a, b| b.height().total_cmp(&a.height()));
    found
}

/// How many times faster than 48 kHz a unit runs, as a power of two.
fn faster(sound: &dyn Sound) -> usize {
    ((sound.rate().hz() / 48_000.0).round().max(1.0) as usize).next_power_of_two()
}

impl<'a> Scope<'a> {
    pub fn new(lead: &'a dyn Sound, follower: &'a dyn Sound, guess: &'a Guess) -> Self {
        let stretch = STRETCH * faster(lead);
        let from = guess.offset.0.max(0.0).ceil() as i64;
        let to = (guess.offset.0 + follower.length().0 as f64).min(lead.length().0 as f64) as i64;
        let room = to - from - stretch as i64;
        let many = if room < 0 {
            0
        } else {
            WINDOWS.min(room / stretch as i64 + 1)
        };
        let starts = (0..many)
            .map(|i| from + room * (2 * i + 1) / (2 * many))
            .collect();
        Self::of(lead, follower, guess, starts)
    }

    /// With windows about these places on the lead instead of windows that are spread evenly.
    pub fn about(
        lead: &'a dyn Sound,
        follower: &'a dyn Sound,
        guess: &'a Guess,
        middles: &[f64],
    ) -> Self {
        let mut scope = Self::of(lead, follower, guess, Vec::new());
        let half = scope.stretch as f64 / 2.0;
        scope.starts = middles.iter().map(|m| (m - half).round() as i64).collect();
        scope
    }

    fn of(
        lead: &'a dyn Sound,
        follower: &'a dyn Sound,
        guess: &'a Guess,
        starts: Vec<i64>,
    ) -> Self {
        let faster = faster(lead);
        Self {
            lead,
            follower,
            guess,
            faster,
            stretch: STRETCH * faster,
            starts,
        }
    }

    /// The middle of a window on the lead.
    fn middle(&self, start: i64) -> f64 {
        start as f64 + self.stretch as f64 / 2.0
    }

    /// How far from the guess a window's offset may be.
    fn reach(&self, start: i64) -> f64 {
        let elapsed = (self.middle(start) - self.guess.offset.0).max(0.0);
        self.guess.within.0.abs().max(1.0) + RATE * elapsed
    }

    /// The pairs in which two windows or more keep one clock, of what was [`Self::heard`] of them.
    pub fn tracks(&self, pairs: &[(usize, usize)], heard: &[Windows]) -> Vec<Track> {
        pairs
            .par_iter()
            .zip(heard)
            .filter_map(|(&pair, heard)| self.vote(pair, heard))
            .collect()
    }

    /// The middles of the windows in which a pair has any peaks, and the peaks.
    pub fn heard(&self, pairs: &[(usize, usize)], progress: &dyn Progress) -> Result<Vec<Windows>> {
        let mut heard: Vec<Windows> = vec![Vec::new(); pairs.len()];
        progress.stage("looking for a common signal", self.starts.len() as u64);
        let furthest = self
            .starts
            .iter()
            .map(|&s| self.reach(s))
            .fold(0.0, f64::max);
        let span = (furthest.ceil() as usize)
            .max(MARGIN)
            .min((LONGEST * self.faster - self.stretch) / 2);
        let finder = Finder::new(self.stretch, span);
        for &start in &self.starts {
            go_on(progress)?;
            let peaks = self.window(&finder, start, pairs)?;
            for (heard, peaks) in heard.iter_mut().zip(peaks) {
                if !peaks.is_empty() {
                    heard.push((self.middle(start), peaks));
                }
            }
            progress.advance(1);
        }
        Ok(heard)
    }

    /// The peaks of every pair in one window.
    fn window(
        &self,
        finder: &Finder,
        start: i64,
        pairs: &[(usize, usize)],
    ) -> Result<Vec<Vec<Peak>>> {
        let expected = (start as f64 - self.guess.offset.0).round() as i64;
        let reach = self.reach(start).min(finder.span as f64) as usize;
        let mut leads: Vec<usize> = pairs.iter().map(|pair| pair.0).collect();
        leads.sort_unstable();
        leads.dedup();
        let mut followers: Vec<usize> = pairs.iter().map(|pair| pair.1).collect();
        followers.sort_unstable();
        followers.dedup();
        let mut peaks = vec![Vec::new(); pairs.len()];
        for batch in leads.chunks(BATCH) {
            let short: Vec<Option<Short>> = batch
                .par_iter()
                .map(|&channel| {
                    let mut plane = vec![0.0; self.stretch];
                    self.lead.read(&[channel], start, &mut [&mut plane])?;
                    Ok(finder.short(&plane))
                })
                .collect::<Result<_>>()?;
            let found: Vec<Vec<(usize, Vec<Peak>)>> = followers
                .par_iter()
                .map(|&channel| {
                    let first = expected - finder.span as i64;
                    let mut plane = vec![0.0; self.stretch + 2 * finder.span];
                    self.follower.read(&[channel], first, &mut [&mut plane])?;
                    let Some(long) = finder.long(&plane) else {
                        return Ok(Vec::new());
                    };
                    let base = (start - first) as f64;
                    Ok(batch
                        .iter()
                        .zip(&short)
                        .filter_map(|(&lead, short)| {
                            let at = pairs.iter().position(|&pair| pair == (lead, channel))?;
                            let lags = finder.peaks(short.as_ref()?, &long, reach);
                            let peaks = lags
                                .into_iter()
                                .map(|(lag, height)| Peak {
                                    offset: base - lag as f64,
                                    height,
                                })
                                .collect();
                            Some((at, peaks))
                        })
                        .collect())
                })
                .collect::<Result<_>>()?;
            for (at, found) in found.into_iter().flatten() {
                peaks[at] = found;
            }
        }
        Ok(peaks)
    }

    /// The straight line with the most votes among those that agree with the guess, and its best rival.
    fn vote(&self, pair: (usize, usize), heard: &[(f64, Vec<Peak>)]) -> Option<Track> {
        let span = heard.last()?.0 - heard[0].0;
        let near = 3.0 + BOW * span;
        let lines = self.lines(heard, near);
        let best = lines.iter().max_by(|a, b| a.votes.total_cmp(&b.votes))?;
        let middle = heard[0].0 + span / 2.0;
        let mut rivals: Vec<(f64, f64)> = lines
            .iter()
            .map(|line| (line.at(middle), line.votes / best.votes))
            .filter(|rival| (rival.0 - best.at(middle)).abs() > (2.0 * near).max(APART as f64))
            .collect();
        rivals.sort_by(|a, b| b.1.total_cmp(&a.1));
        let second_peak = rivals.first().map_or(0.0, |rival| rival.1);
        let mut apart: Vec<f64> = Vec::new();
        for (offset, share) in rivals {
            let new = apart.iter().all(|o| (o - offset).abs() > APART as f64);
            if new && share > 0.9 * second_peak && apart.len() < 4 {
                apart.push(offset);
            }
        }
        let kept: Vec<(f64, Peak)> = heard
            .iter()
            .filter_map(|(middle, peaks)| Some((*middle, best.nearest(*middle, peaks, near)?)))
            .collect();
        let upright: f64 = kept.iter().map(|(_, peak)| peak.height).sum();
        (kept.len() >= 2).then(|| Track {
            pair,
            slope: best.slope,
            inverted: upright < 0.0,
            agreement: kept.len() as f64 / heard.len() as f64,
            places: kept
                .iter()
                .map(|(middle, peak)| (*middle, peak.offset))
                .collect(),
            second_peak,
            rivals: apart,
        })
    }

    fn lines(&self, heard: &[(f64, Vec<Peak>)], near: f64) -> Vec<Line> {
        let mut lines = Vec::new();
        for (i, (t, peaks)) in heard.iter().enumerate() {
            for (later_t, later) in &heard[i + 1..] {
                for (a, b) in peaks.iter().flat_map(|a| later.iter().map(move |b| (a, b))) {
                    let mut line = Line {
                        t: *t,
                        offset: a.offset,
                        slope: (b.offset - a.offset) / (later_t - t),
                        votes: 0.0,
                    };
                    let at_start = line.at(self.guess.offset.0);
                    let allowed = self.guess.within.0.abs() + near;
                    // a sample either way at both ends says nothing against a plausible rate
                    let steep = line.slope.abs() > RATE + 2.0 / (later_t - t);
                    if steep || (at_start - self.guess.offset.0).abs() > allowed {
                        continue;
                    }
                    line.votes = heard
                        .iter()
                        .filter_map(|(t, peaks)| line.nearest(*t, peaks, near))
                        .map(|peak| peak.height.abs())
                        .sum();
                    lines.push(line);
                }
            }
        }
        lines
    }
}

#[derive(Debug, Clone, Copy)]
struct Line {
    t: f64,
    offset: f64,
    slope: f64,
    votes: f64,
}

impl Line {
    fn at(&self, t: f64) -> f64 {
        self.offset + self.slope * (t - self.t)
    }

    /// The highest peak within `near` of the line.
    fn nearest(&self, t: f64, peaks: &[Peak], near: f64) -> Option<Peak> {
        peaks
            .iter()
            .filter(|peak| (peak.offset - self.at(t)).abs() <= near)
            .max_by(|a, b| a.height.abs().total_cmp(&b.height.abs()))
            .copied()
    }
}

/// The middles of the windows in which a pair has any peaks, and the peaks.
pub type Windows = Vec<(f64, Vec<Peak>)>;

/// Correlates a short window with a long one that holds it at an unknown lag, 0 to `2 span`.
pub struct Finder {
    stretch: usize,
    span: usize,
    window: Vec<f64>,
    short: Transform,
    long: Transform,
}

/// A lead channel's flattened window: the conjugate of its spectrum on the long grid, and its energy.
pub struct Short {
    spectrum: Vec<Complex64>,
    energy: f64,
}

/// A follower channel's flattened stretch: its spectrum and the running sum of its squares.
pub struct Long {
    spectrum: Vec<Complex64>,
    sums: Vec<f64>,
}

impl Finder {
    /// For windows of `stretch` samples and lags up to `span` either way.
    pub fn new(stretch: usize, span: usize) -> Self {
        Self {
            stretch,
            span,
            window: hann(stretch),
            short: Transform::new(stretch),
            long: Transform::new((stretch + 2 * span).next_power_of_two()),
        }
    }

    /// A lead window.
    pub fn short(&self, plane: &[f64]) -> Option<Short> {
        let faded: Vec<f64> = plane.iter().zip(&self.window).map(|(s, w)| s * w).collect();
        let samples = self.short.samples(flat(&self.short, &faded, REACH)?);
        let energy = samples.iter().map(|s| s * s).sum();
        let mut spectrum = self.long.spectrum(&samples);
        spectrum.iter_mut().for_each(|value| *value = value.conj());
        Some(Short { spectrum, energy })
    }

    /// A follower stretch that is longer by `2 span`.
    pub fn long(&self, plane: &[f64]) -> Option<Long> {
        let reach = REACH * self.long.length() / self.stretch;
        let spectrum = flat(&self.long, plane, reach)?;
        let mut sums = vec![0.0];
        let mut sum = 0.0;
        for sample in self.long.samples(spectrum.clone()) {
            sum += sample * sample;
            sums.push(sum);
        }
        Some(Long { spectrum, sums })
    }

    /// Lags and signed heights of the outstanding peaks within `reach` of the middle, highest first.
    pub fn peaks(&self, short: &Short, long: &Long, reach: usize) -> Vec<(usize, f64)> {
        let product = short
            .spectrum
            .iter()
            .zip(&long.spectrum)
            .map(|(x, y)| x * y)
            .collect();
        let mut correlation = self.long.samples(product);
        correlation.truncate(2 * self.span + 1);
        let quarter = self.stretch / 4;
        let mean = long.sums[self.stretch + 2 * self.span] / (self.stretch + 2 * self.span) as f64;
        for (lag, value) in correlation.iter_mut().enumerate() {
            // the power where the window, faded at both ends, has most of its weight
            let (from, to) = (lag + quarter, lag + 3 * quarter);
            let power = (long.sums[to] - long.sums[from]) / (to - from) as f64;
            // (sum w)^2 / sum w^2 = 2 N / 3 for a Hann window
            let energy = power.max(0.05 * mean) * self.stretch as f64 * 2.0 / 3.0;
            *value /= (short.energy * energy).sqrt();
        }
        let mut sizes: Vec<f64> = correlation.iter().map(|value| value.abs()).collect();
        let typical = median(&mut sizes).unwrap_or(0.0) / 0.6745;
        let (from, to) = (self.span - reach, self.span + reach);
        let highest = |range: &[f64]| range.iter().fold(0.0, |most: f64, v| most.max(v.abs()));
        let inside = highest(&correlation[from..=to]);
        let outside = highest(&correlation[..from]).max(highest(&correlation[to + 1..]));
        if outside > 1.2 * inside {
            return Vec::new();
        }
        let mut peaks: Vec<(usize, f64)> = Vec::new();
        while peaks.len() < KEPT {
            let next = (from..=to)
                .filter(|lag| peaks.iter().all(|peak| peak.0.abs_diff(*lag) > APART))
                .max_by(|&a, &b| correlation[a].abs().total_cmp(&correlation[b].abs()));
            match next {
                Some(lag) if correlation[lag].abs() > OUTSTANDING * typical => {
                    peaks.push((lag, correlation[lag]));
                }
                _ => break,
            }
        }
        // a rise towards the edge is no peak
        peaks.retain(|&(lag, _)| lag > from + 2 && lag + 2 < to);
        peaks
    }
}

/// A flat spectrum without its lowest bins; `None` for silence.
fn flat(transform: &Transform, samples: &[f64], reach: usize) -> Option<Vec<Complex64>> {
    if samples.iter().any(|s| !s.is_finite()) {
        return None;
    }
    let mut spectrum = transform.spectrum(samples);
    // about 20 Hz at 48 kHz
    let lowest = transform.length() / 2400;
    spectrum[..lowest].fill(Complex64::default());
    let flat = whitened(&spectrum, reach);
    flat.iter()
        .any(|value| value.norm_sqr() > 0.0)
        .then_some(flat)
}
