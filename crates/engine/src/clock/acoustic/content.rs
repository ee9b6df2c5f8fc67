//! Templates in, where the content lies against the guess out: the peak of the whole take's cross-correlation once the
//! rate is taken out, pair by pair, which other peaks are nearly as high, and how single nodes scatter about it.

use realfft::num_complex::Complex32;

use super::AcousticRequest;
use super::path::Path;
use crate::tie::acoustic::edges::Meter;
use crate::tie::acoustic::listening::Listening;
use crate::tie::acoustic::phasors::WINDOW;
use crate::tie::acoustic::templates::Templates;
use crate::units::{SampleRate, Samples};

/// A single node's peak counts when it stands out of its side lobes by this factor.
const CLEAR: f64 = 6.0;

/// A peak at least this high against the highest one may be that of the direct sound, the highest one of an echo: of 128
/// rooms (T60 0.2 to 1.2 s, one or two microphones a side) the highest was an echo's in 10, the direct sound's then 0.77 of
/// it at least (docs/decisions/measuring.md).
const NEARLY_AS_HIGH: f64 = 0.75;

/// Peaks this near to the highest one are its own sides, samples.
const SIDES: f64 = 48.0;

/// By how much the follower hears something later, which may be any of several peaks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Delay {
    /// The highest peak.
    pub best: Samples,
    /// The earliest of those nearly as high; at most `best`.
    pub earliest: Samples,
    /// The latest of those nearly as high; at least `best`.
    pub latest: Samples,
}

impl Delay {
    /// One peak alone.
    #[must_use]
    pub fn sure(best: Samples) -> Self {
        Self {
            best,
            earliest: best,
            latest: best,
        }
    }

    /// The smallest delay, in magnitude, that lies between the earliest peak and the latest: 0 when they lie about 0.
    #[must_use]
    pub fn least(self) -> Samples {
        Samples(self.earliest.0.max(0.0) + self.latest.0.min(0.0))
    }

    /// The largest delay, in magnitude, of any of the peaks.
    #[must_use]
    pub fn largest(self) -> Samples {
        Samples(self.latest.0.max(-self.earliest.0))
    }

    /// How far the furthest peak nearly as high lies from the highest; 0 or more.
    #[must_use]
    pub fn doubt(self) -> Samples {
        Samples((self.latest.0 - self.best.0).max(self.best.0 - self.earliest.0))
    }

    /// In words: where the highest peak lies, and between which the others nearly as high.
    #[must_use]
    pub fn told(self, rate: SampleRate) -> String {
        let best = format!(
            "{:+.1} samples ({:+.2} m of air)",
            self.best.0,
            self.best.metres_of_air(rate)
        );
        if !self.is_ambiguous() {
            return best;
        }
        format!(
            "{best}, with echoes nearly as high between {:+.0} and {:+.0},",
            self.earliest.0, self.latest.0
        )
    }

    /// Whether other peaks than the sides of one are nearly as high.
    #[must_use]
    pub fn is_ambiguous(self) -> bool {
        self.doubt().0 > SIDES
    }

    /// The same, `by` later.
    #[must_use]
    pub fn later(self, by: Samples) -> Self {
        let [best, earliest, latest] =
            [self.best, self.earliest, self.latest].map(|lag| Samples(lag.0 + by.0));
        Self {
            best,
            earliest,
            latest,
        }
    }
}

/// By how much the follower hears the content later than the guess says, once the rate is taken out.
#[derive(Debug, Clone, PartialEq)]
pub struct ContentLag {
    /// The medians over the pairs.
    pub pooled: Delay,
    /// Scatter over nodes and pairs: what sources in several places and reflections do.
    pub spread: Samples,
    /// Share of the clear peaks of single nodes that lie within the declared distance of the guess, 0 to 1.
    pub within_spacing: f64,
    /// Pair by pair.
    pub pairs: Vec<PairLag>,
}

/// The lag of one pair of channels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PairLag {
    /// The lead's channel.
    pub lead: usize,
    /// The follower's channel.
    pub follower: usize,
    /// Positive: the follower hears it later.
    pub lag: Delay,
    /// Height of the peak over the root mean square of the side lobes.
    pub prominence: f64,
}

/// The content's lag against the guess; `None` when there is no peak at all.
pub(super) fn content_lag(
    listening: &Listening<'_>,
    templates: &Templates,
    path: &Path,
    request: &AcousticRequest<'_>,
) -> Option<ContentLag> {
    let factor = listening.decimator.factor() as f64;
    // What the path already lags the guess at the follower's first sample.
    let path_lag = path.offset - path.lead_at(0.0);
    let search = WINDOW as f64 / 4.0;
    let lag = |delta: f64| Samples(path_lag + factor * delta);
    let spacing = Samples::of_air(request.spacing_m, request.lead.rate()).0 + factor;
    let mut meter = Meter::new(listening.band);
    let mut pairs = Vec::new();
    let mut single = Vec::new();
    for (pair, &(lead, follower)) in listening.pairs.iter().enumerate() {
        let mut sum = vec![Complex32::default(); listening.band.bins];
        for node in 0..templates.nodes() {
            let template = templates.of(node, pair);
            for (sum, value) in sum.iter_mut().zip(template) {
                *sum += value;
            }
            let peak = meter.delay(template, search);
            if peak.prominence > CLEAR {
                single.push(lag(peak.delta).0);
            }
        }
        let peak = meter.delay(&sum, search);
        let (earliest, latest) = meter.rivals(search, NEARLY_AS_HIGH);
        pairs.push(PairLag {
            lead,
            follower,
            lag: Delay {
                best: lag(peak.delta),
                earliest: lag(earliest),
                latest: lag(latest),
            },
            prominence: peak.prominence,
        });
    }
    let over_pairs =
        |of: fn(&Delay) -> f64| median(pairs.iter().map(|pair| of(&pair.lag)).collect());
    let pooled = over_pairs(|lag| lag.best.0)?;
    // an echo stands elsewhere in every pair; of two in the middle the outer one
    let earliest = over_pairs(|lag| lag.earliest.0)?;
    let latest = -over_pairs(|lag| -lag.latest.0)?;
    let spread = median(single.iter().map(|lag| (lag - pooled).abs()).collect()).unwrap_or(0.0);
    let within = single.iter().filter(|lag| lag.abs() <= spacing).count();
    Some(ContentLag {
        pooled: Delay {
            best: Samples(pooled),
            earliest: Samples(earliest),
            latest: Samples(latest),
        },
        spread: Samples(1.4826 * spread),
        within_spacing: within as f64 / single.len().max(1) as f64,
        pairs,
    })
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let middle = values.len().checked_sub(1)? / 2;
    Some(values[middle])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn delay(earliest: f64, best: f64, latest: f64) -> Delay {
        Delay {
            best: Samples(best),
            earliest: Samples(earliest),
            latest: Samples(latest),
        }
    }

    #[test]
    fn a_delay_knows_its_least_its_largest_and_its_doubt() {
        for (lag, least, largest, doubt) in [
            (delay(-971.0, -190.0, 499.0), 0.0, 971.0, 781.0),
            (delay(100.0, 300.0, 1300.0), 100.0, 1300.0, 1000.0),
            (delay(-900.0, -50.0, -40.0), -40.0, 900.0, 850.0),
            (Delay::sure(Samples(-7.0)), -7.0, 7.0, 0.0),
        ] {
            assert_eq!(lag.least().0, least, "{lag:?}");
            assert_eq!(lag.largest().0, largest, "{lag:?}");
            assert_eq!(lag.doubt().0, doubt, "{lag:?}");
            let later = lag.later(Samples(5.0));
            assert_eq!(later.doubt(), lag.doubt(), "{lag:?}");
            assert_eq!(later.best.0, lag.best.0 + 5.0, "{lag:?}");
        }
    }

    #[test]
    fn the_middle_of_an_even_number_is_the_lower_one() {
        assert_eq!(median(vec![4.0, 1.0, 3.0, 2.0]), Some(2.0));
        assert_eq!(median(Vec::new()), None);
    }
}
