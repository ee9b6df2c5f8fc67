//! Templates in, where the content lies against the guess out: the peak of the whole take's cross-correlation once the
//! rate is taken out, pair by pair, and how single nodes scatter about it.

use realfft::num_complex::Complex32;

use super::AcousticRequest;
use super::path::Path;
use crate::tie::acoustic::edges::Meter;
use crate::tie::acoustic::listening::Listening;
use crate::tie::acoustic::phasors::WINDOW;
use crate::tie::acoustic::templates::Templates;
use crate::units::Samples;

/// A single node's peak counts when it stands out of its side lobes by this factor.
const CLEAR: f64 = 6.0;

/// By how much the follower hears the content later than the guess says, once the rate is taken out.
#[derive(Debug, Clone, PartialEq)]
pub struct ContentLag {
    /// The median over the pairs.
    pub pooled: Samples,
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
    pub lag: Samples,
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
                single.push(path_lag + factor * peak.delta);
            }
        }
        let peak = meter.delay(&sum, search);
        pairs.push(PairLag {
            lead,
            follower,
            lag: Samples(path_lag + factor * peak.delta),
            prominence: peak.prominence,
        });
    }
    let pooled = median(pairs.iter().map(|pair| pair.lag.0).collect())?;
    let spread = median(single.iter().map(|lag| (lag - pooled).abs()).collect()).unwrap_or(0.0);
    let within = single.iter().filter(|lag| lag.abs() <= spacing).count();
    Some(ContentLag {
        pooled: Samples(pooled),
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
