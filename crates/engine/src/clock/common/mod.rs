//! A common signal in, a measured clock out: blocks measured along the map so far, smoothed, measured again until nothing
//! moves. Signs: a follower whose clock is fast has positions that grow faster than the lead's.

mod blocks;
#[cfg(test)]
mod tests;

use blocks::{BLOCK, Block, Meter, Pass};

use crate::clock::smooth::{Phases, Smooth, smooth};
use crate::clock::{Clock, Knot, Measured, Outcome};
use crate::error::Result;
use crate::finding::Sign;
use crate::progress::Progress;
use crate::signal::Sound;
use crate::tie::common::CommonPair;
use crate::tie::{Source, Tie};
use crate::units::{LeadPos, Ppm, Samples, UnitPos};

/// A pass that moves the map by less than this is the last, samples.
const SETTLED: f64 = 2e-4;
/// Claimed sigmas are this much larger than the estimate: the estimates proved 1.1 to 1.7 times too small over many
/// rehearsals of the method.
const HONESTY: f64 = 1.6;
/// Straight lines between the knots handed over stay this close to the clock, samples (the contract allows 0.001).
const KNOT_ERROR: f64 = 5e-4;

/// Measures the follower's clock on `pair`.
///
/// # Errors
/// When a file cannot be read.
pub fn measure_common(
    lead: &dyn Sound,
    follower: &dyn Sound,
    pair: &CommonPair,
    progress: &dyn Progress,
) -> Result<Outcome> {
    let Some(mut map) = seed(pair, follower.length().0) else {
        return Ok(refused(
            Vec::new(),
            "the common signal was heard in fewer than two places",
        ));
    };
    if pair.is_ambiguous() {
        let signs = vec![sign(
            "second peak against the first",
            pair.second_peak,
            0.97,
            false,
        )];
        let mut outcome = refused(signs, "the common signal repeats: several places fit alike");
        if let Outcome::NotEstablished { candidates, .. } = &mut outcome {
            candidates.extend(pair.rivals.iter().map(|rival| (*rival, pair.second_peak)));
        }
        return Ok(outcome);
    }
    let meter = Meter::new(lead, follower, pair);
    let long = lead.length().0.min(follower.length().0) > 600 * u64::from(lead.rate().0);
    let mut last = None;
    for (round, every) in [if long { 8 } else { 1 }, 1, 1, 1].into_iter().enumerate() {
        let pass = meter.pass(&map, overlap(&map, lead, follower), every, progress)?;
        let Some(track) = Track::of(&pass.blocks, lead.rate().hz()) else {
            return Ok(refused(
                vec![sign(
                    "blocks that agree",
                    pass.blocks.len() as f64,
                    3.0,
                    false,
                )],
                "too little of the take carries the common signal",
            ));
        };
        let next = track.clock(follower.length().0);
        let moved = track.lead.iter().fold(0.0, |most: f64, &lead| {
            most.max(
                (next.follower_at(LeadPos(lead)) - map.follower_at(LeadPos(lead)))
                    .0
                    .abs(),
            )
        });
        map = next;
        last = Some((track, pass));
        if round > 0 && moved < SETTLED {
            break;
        }
    }
    let Some((track, pass)) = last else {
        return Ok(refused(Vec::new(), "nothing was measured"));
    };
    Ok(conclude(
        &track,
        &pass,
        pair,
        lead.rate().hz(),
        follower.length().0,
    ))
}

/// The integer shift that the measurement is indistinguishable from, if it is: the clocks were common. The rule: along
/// the whole take the clock stays within `max(3 sigma, 0.005)` samples of one whole number.
#[must_use]
pub fn integer_shift(measured: &Measured) -> Option<i64> {
    let shift = measured.offset.0.round();
    let common = measured.clock.knots().iter().all(|knot| {
        let away = knot.lead.0 - knot.follower.0 - shift;
        away.abs() <= (3.0 * knot.sigma.0).clamp(0.005, 0.05)
    });
    common.then_some(shift as i64)
}

fn refused(signs: Vec<Sign>, why: &str) -> Outcome {
    Outcome::NotEstablished {
        signs,
        why: why.into(),
        candidates: Vec::new(),
    }
}

fn sign(name: &str, value: f64, limit: f64, passed: bool) -> Sign {
    Sign {
        name: name.into(),
        value,
        limit,
        passed,
    }
}

/// A straight map through the places where the signal was found: Theil and Sen's median slope.
fn seed(pair: &CommonPair, length: u64) -> Option<Clock> {
    let places = &pair.places;
    let mut slopes: Vec<f64> = Vec::new();
    for (i, a) in places.iter().enumerate() {
        for b in &places[i + 1..] {
            slopes.push((b.1.0 - a.1.0) / (b.0.0 - a.0.0));
        }
    }
    let slope = median(&mut slopes).unwrap_or(0.0);
    let mut offsets: Vec<f64> = places
        .iter()
        .map(|place| place.1.0 - slope * place.0.0)
        .collect();
    let offset = median(&mut offsets)?;
    // follower = lead - offset - slope * lead
    let knot = |lead: f64| Knot {
        follower: UnitPos(lead - offset - slope * lead),
        lead: LeadPos(lead),
        sigma: Samples(1.0),
    };
    let first = offset / (1.0 - slope);
    Clock::new(vec![knot(first), knot(first + length.max(2) as f64)])
}

fn median(values: &mut [f64]) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let middle = values.len() / 2;
    Some(*values.select_nth_unstable_by(middle, f64::total_cmp).1)
}

/// Lead positions that both units recorded.
fn overlap(map: &Clock, lead: &dyn Sound, follower: &dyn Sound) -> (i64, i64) {
    let first = map.lead_at(UnitPos(0.0)).0.max(0.0).ceil() as i64;
    let last = map
        .lead_at(UnitPos(follower.length().0 as f64))
        .0
        .min(lead.length().0 as f64);
    (first, last.floor() as i64)
}

/// The smoothed clock at the block middles.
struct Track {
    rate_hz: f64,
    lead: Vec<f64>,
    /// The straight line taken off before smoothing: follower = a + b * lead.
    line: (f64, f64),
    smooth: Smooth,
    /// Sigma at each block, samples.
    sigma: Vec<f64>,
}

impl Track {
    fn of(blocks: &[Block], rate_hz: f64) -> Option<Self> {
        let (first, last) = (blocks.first()?, blocks.last()?);
        if blocks.len() < 3 {
            return None;
        }
        let slope = (last.follower - first.follower) / (last.lead - first.lead);
        let line = (first.follower - slope * first.lead, slope);
        let series = |value: &dyn Fn(&Block) -> f64, widen: f64| {
            smooth(&Phases {
                t: blocks.iter().map(|block| block.lead / rate_hz).collect(),
                z: blocks
                    .iter()
                    .map(|block| (value(block) - line.0 - line.1 * block.lead) / rate_hz)
                    .collect(),
                variance: blocks
                    .iter()
                    .map(|block| widen * (block.sigma / rate_hz).powi(2))
                    .collect(),
            })
        };
        let whole = series(&|block| block.follower, 1.0)?;
        let even = series(&|block| block.halves[0], 2.0)?;
        let odd = series(&|block| block.halves[1], 2.0)?;
        let n = blocks.len() as f64;
        let half_split = (even
            .phase
            .iter()
            .zip(&odd.phase)
            .map(|(a, b)| (a - b).powi(2))
            .sum::<f64>()
            / n)
            .sqrt()
            / 2.0;
        let posterior = (whole
            .covariance
            .iter()
            .map(|covariance| covariance[0])
            .sum::<f64>()
            / n)
            .sqrt();
        let honest = HONESTY * (half_split / posterior).max(1.0);
        let sigma = whole
            .covariance
            .iter()
            .map(|c| honest * c[0].sqrt() * rate_hz)
            .collect();
        Some(Self {
            rate_hz,
            lead: blocks.iter().map(|block| block.lead).collect(),
            line,
            smooth: whole,
            sigma,
        })
    }

    fn follower(&self, i: usize) -> f64 {
        self.line.0 + self.line.1 * self.lead[i] + self.smooth.phase[i] * self.rate_hz
    }

    /// Follower samples a lead sample at block `i`.
    fn slope(&self, i: usize) -> f64 {
        self.line.1 + self.smooth.rate[i]
    }

    /// Sigma, samples, at `lead` beyond block `i`.
    fn sigma_beyond(&self, i: usize, lead: f64) -> f64 {
        let inflate = self.sigma[i] / (self.smooth.covariance[i][0].sqrt() * self.rate_hz);
        let after = (lead - self.lead[i]) / self.rate_hz;
        inflate * self.smooth.variance_beyond(i, after).max(0.0).sqrt() * self.rate_hz
    }

    /// The clock through every block, prolonged to the follower's first and last sample by the rate there.
    fn clock(&self, length: u64) -> Clock {
        let end = self.lead.len() - 1;
        let mut knots: Vec<Knot> = (0..=end)
            .map(|i| Knot {
                follower: UnitPos(self.follower(i)),
                lead: LeadPos(self.lead[i]),
                sigma: Samples(self.sigma[i]),
            })
            .collect();
        let prolonged = |i: usize, follower: f64| {
            let lead = self.lead[i] + (follower - self.follower(i)) / self.slope(i);
            Knot {
                follower: UnitPos(follower),
                lead: LeadPos(lead),
                sigma: Samples(self.sigma_beyond(i, lead)),
            }
        };
        let last = length.saturating_sub(1).max(1) as f64;
        let (head, tail) = (prolonged(0, 0.0), prolonged(end, last));
        knots.retain(|knot| knot.follower.0 > 1.0 && knot.follower.0 < last - 1.0);
        knots.insert(0, head);
        knots.push(tail);
        Clock::new(knots).unwrap_or_else(|| {
            let rate = Ppm((self.line.1 - 1.0) * 1e6);
            Clock::straight(head.lead, rate, length, self.rate_hz)
        })
    }
}

fn conclude(track: &Track, pass: &Pass, pair: &CommonPair, rate_hz: f64, length: u64) -> Outcome {
    let dense = track.clock(length);
    let clock = dense.thinned(rate_hz, KNOT_ERROR);
    let source = Source::CommonSignal {
        lead: pair.lead,
        follower: pair.follower,
    };
    let ties: Vec<Tie> = pass
        .blocks
        .iter()
        .zip(&track.smooth.weight)
        .map(|(block, weight)| Tie {
            lead: LeadPos(block.lead),
            follower: UnitPos(block.follower),
            sigma: Samples(block.sigma),
            used: *weight > 0.25,
            source: source.clone(),
        })
        .collect();
    let used: Vec<&Tie> = ties.iter().filter(|tie| tie.used).collect();
    let square: f64 = used
        .iter()
        .map(|tie| (tie.follower - dense.follower_at(tie.lead)).0.powi(2))
        .sum();
    let residual = (square / used.len().max(1) as f64).sqrt();
    let end = track.lead.len() - 1;
    let span = track.lead[end] - track.lead[0];
    let rate = ((track.follower(end) - track.follower(0)) / span - 1.0) * 1e6;
    let rate_sigma = track.sigma[0].hypot(track.sigma[end]) / span * 1e6;
    let thirds = thirds_apart_ppm(track);
    let heard = pass.blocks.len() as f64 / pass.sounding.max(1) as f64;
    let agree = used.len() as f64 / pass.blocks.len() as f64;
    let correlation = {
        let mut all: Vec<f64> = pass.blocks.iter().map(|block| block.correlation).collect();
        median(&mut all).unwrap_or(0.0)
    };
    let signs = vec![
        sign(
            "sounding blocks that carry the signal, share",
            heard,
            0.5,
            heard >= 0.5,
        ),
        sign(
            "blocks that follow one clock, share",
            agree,
            0.8,
            agree >= 0.8,
        ),
        sign(
            "correlation of the aligned signal",
            correlation,
            0.3,
            correlation >= 0.3,
        ),
        sign(
            "straightness of the phase",
            pair.straightness,
            0.98,
            pair.straightness >= 0.98,
        ),
        sign(
            "scatter of the level ratio, dB",
            pair.ripple_db,
            1.0,
            pair.ripple_db <= 1.0,
        ),
        sign(
            "second peak against the first",
            pair.second_peak,
            0.97,
            !pair.is_ambiguous(),
        ),
        sign(
            "rate of the first and the last third differ by, ppm",
            thirds,
            5.0,
            thirds <= 5.0,
        ),
        sign(
            "scatter about the clock, samples",
            residual,
            0.5,
            residual <= 0.5,
        ),
    ];
    if signs.iter().any(|sign| !sign.passed) {
        let why = "the signs on the common signal do not agree".to_string();
        return Outcome::NotEstablished {
            signs,
            why,
            candidates: vec![(clock.knots()[0].lead, 1.0)],
        };
    }
    let head = clock.knots()[0];
    Outcome::Locked(Box::new(Measured {
        offset: head.lead,
        offset_sigma: head.sigma,
        rate: Ppm(rate),
        rate_sigma: Ppm(rate_sigma),
        clock,
        ties,
        residual_rms: Samples(residual),
        signs,
    }))
}

fn thirds_apart_ppm(track: &Track) -> f64 {
    let n = track.lead.len();
    if n < 12 {
        return 0.0;
    }
    let mean = |range: std::ops::Range<usize>| {
        let (a, b) = (range.start, range.end - 1);
        (track.follower(b) - track.follower(a)) / (track.lead[b] - track.lead[a])
    };
    ((mean(0..n / 3) - mean(n - n / 3..n)) * 1e6).abs()
}

/// The shortest overlap this chain measures, samples: three blocks.
pub const SHORTEST: u64 = 2 * BLOCK as u64;
