//! A straight path along which the room was heard to step in, the slips out: what came before each moment is held against
//! what came after it; a slip moves all of the room's sound at once and leaves its shape as it was, a source that walks does
//! not. Where the step is, single windows tell to a tenth of a second, and the file itself to a sample where it repeats or
//! where it cannot be foretold.

use realfft::num_complex::{Complex32, Complex64};

use super::AcousticRequest;
use super::path::Path;
use super::steps;
use crate::clock::slips::repeat::doubled;
use crate::clock::slips::splice::splice;
use crate::clock::{Side, Slip};
use crate::error::Result;
use crate::progress::Progress;
use crate::signal::median;
use crate::tie::acoustic::edges::{Meter, Peak};
use crate::tie::acoustic::listening::Listening;
use crate::tie::acoustic::templates::{Grid, Templates};
use crate::units::{Samples, UnitPos};

/// Distance of the moments that are looked at, seconds; longer takes are looked at more coarsely.
const TICK_S: f64 = 2.0;
/// Ticks on either side of a moment, at most and at least.
const SIDE: (usize, usize) = (10, 4);
/// How far a step is searched, analysis samples: 4500 samples at 48 kHz.
const FURTHEST: f64 = 1500.0;
/// Smallest step, analysis samples: 3.6 samples at 48 kHz. Smaller ones are left to the solved clock.
const SMALLEST: f64 = 1.2;
/// A step's peak must stand out of the side lobes by this factor (a false giant step had 4.6), and by this share of what
/// peaks stand out by elsewhere: where a source walked, the room's response has changed.
const CLEAR: (f64, f64) = (6.0, 0.5);
/// Neighbouring moments must agree on a step within this many analysis samples.
const ALIKE: f64 = 0.5;
/// How far on either side of its likeliest place a step is looked for in the file, seconds.
const AROUND_S: f64 = 0.4;
/// One sigma of a place that only windows tell, seconds.
const PLACE_S: f64 = 0.1;
/// The size of a doubled stretch is tried this many samples either way.
const TRIED: i64 = 2;
/// The scatter of sizes is never taken for less, samples.
const LEAST_SIGMA: f64 = 0.05;
/// A step is this many times that scatter: where the rate changes within the take, sizes scatter by as much.
const LEAST_SIGMAS: f64 = 6.0;

/// What was heard of the room before any step was looked for.
pub(super) struct Heard {
    pub path: Path,
    pub pairs: Vec<(usize, usize)>,
}

/// A moment and by how much the content after it is later than the content before.
struct Cut {
    node: usize,
    peak: Peak,
}

/// Finds the slips of a take that was `heard`, in order.
pub(super) fn scan(
    request: &AcousticRequest<'_>,
    heard: &Heard,
    mut listening: Listening<'_>,
    progress: &dyn Progress,
) -> Result<Vec<Slip>> {
    listening.pairs.clone_from(&heard.pairs);
    let grid = Grid::even(listening.windows, TICK_S * listening.windows_per_s());
    if grid.nodes() < 2 * SIDE.1 + 3 {
        return Ok(Vec::new());
    }
    progress.stage(
        "looking for slips by the room's sound",
        grid.nodes() as u64 + 1,
    );
    let warp = |lead: f64| heard.path.follower_at(lead);
    let templates = Templates::listen(&listening, &grid, &warp, progress)?;
    let mut meter = Meter::new(listening.band);
    let cuts: Vec<Cut> = (SIDE.1..grid.nodes() - SIDE.1)
        .map(|node| {
            let product = across(&templates, node, SIDE.0);
            Cut {
                node,
                peak: meter.of_product(&product, FURTHEST),
            }
        })
        .collect();
    let ordinary = middle(cuts.iter().map(|cut| cut.peak.prominence));
    let base = middle(cuts.iter().map(|cut| cut.peak.delta));
    let near = cuts.iter().map(|cut| (cut.peak.delta - base).abs());
    let scatter = 1.4826 * middle(near.filter(|off| *off < SMALLEST));
    let factor = listening.decimator.factor() as f64;
    let sigma = (scatter * factor).max(LEAST_SIGMA);
    let mut slips = Vec::new();
    let mut is_step = |cut: &Cut| {
        let close = meter.of_product(&across(&templates, cut.node, SIDE.1), FURTHEST);
        let closer = (SIDE.1 + 1) as f64 / (SIDE.0 + 1) as f64;
        (close.delta - closer * base - (cut.peak.delta - base)).abs() <= ALIKE
    };
    for cut in clear_steps(&cuts, base, ordinary, &mut is_step) {
        let step = Step {
            request,
            heard,
            size: (factor * (cut.peak.delta - base)).round() as i64,
            lead: moment(&listening, &templates, &grid, cut, &warp)?,
            sigma,
        };
        if step.size.abs() as f64 >= LEAST_SIGMAS * sigma {
            slips.push(step.slip()?);
        }
    }
    Ok(slips)
}

/// A step too small to refuse the clock for is a slip that is possible. `factor` samples are one of the step's, whose moment
/// is good to `at_sigma` of those.
pub(super) fn possible(
    step: steps::Step,
    at: UnitPos,
    (factor, at_sigma): (f64, f64),
) -> Option<Slip> {
    let samples = (factor * step.size).round() as i64;
    (samples != 0).then_some(Slip {
        side: Side::Follower,
        at: at.0.max(0.0) as u64,
        samples,
        sigma: Samples(factor * step.sigma),
        at_sigma: Samples(factor * at_sigma),
        certain: false,
    })
}

/// The moments of clear steps, in order: the clearest of every group. A step `is_step` when it is as large for what was heard
/// close to it; where the clock's rate is another than elsewhere, the delay grows with the time between.
fn clear_steps<'a>(
    cuts: &'a [Cut],
    base: f64,
    ordinary: f64,
    is_step: &mut dyn FnMut(&Cut) -> bool,
) -> Vec<&'a Cut> {
    let least = CLEAR.0.max(CLEAR.1 * ordinary);
    let clear =
        |cut: &Cut| cut.peak.prominence >= least && (cut.peak.delta - base).abs() >= SMALLEST;
    let alike = |a: &Cut, b: &Cut| (a.peak.delta - b.peak.delta).abs() <= ALIKE;
    let mut found: Vec<&Cut> = cuts
        .windows(3)
        .filter(|three| {
            clear(&three[1]) && alike(&three[0], &three[1]) && alike(&three[1], &three[2])
        })
        .map(|three| &three[1])
        .filter(|cut| is_step(cut))
        .collect();
    found.sort_by(|a, b| b.peak.prominence.total_cmp(&a.peak.prominence));
    let mut kept: Vec<&Cut> = Vec::new();
    for cut in found {
        if kept.iter().all(|k| k.node.abs_diff(cut.node) > SIDE.0) {
            kept.push(cut);
        }
    }
    kept.sort_by_key(|cut| cut.node);
    kept
}

/// The templates after a node times those before it, `side` of them at most on either side, all pairs summed.
fn across(templates: &Templates, node: usize, side: usize) -> Vec<Complex64> {
    let mut product: Vec<Complex64> = Vec::new();
    for pair in 0..templates.pairs() {
        let (before, after) = sides(templates, node, pair, side);
        product.resize(before.len(), Complex64::default());
        for (sum, (a, b)) in product.iter_mut().zip(after.iter().zip(&before)) {
            let value = a * b.conj();
            *sum += Complex64::new(f64::from(value.re), f64::from(value.im));
        }
    }
    product
}

/// What a pair's templates before and after a node add up to, `side` of them at most.
fn sides(
    templates: &Templates,
    node: usize,
    pair: usize,
    side: usize,
) -> (Vec<Complex32>, Vec<Complex32>) {
    let sum = |nodes: std::ops::Range<usize>| {
        let mut total = vec![Complex32::default(); templates.of(node, pair).len()];
        for node in nodes {
            for (sum, value) in total.iter_mut().zip(templates.of(node, pair)) {
                *sum += value;
            }
        }
        total
    };
    let last = templates.nodes();
    (
        sum(node.saturating_sub(side)..node),
        sum(node + 1..last.min(node + 1 + side)),
    )
}

/// The lead position at which single windows cease to sound like what came before and begin to sound like what comes after.
fn moment(
    listening: &Listening<'_>,
    templates: &Templates,
    grid: &Grid,
    cut: &Cut,
    warp: &(dyn Fn(f64) -> f64 + Sync),
) -> Result<f64> {
    let bins = listening.band.bins;
    let turn: Vec<Complex32> = (0..bins)
        .map(|bin| {
            let angle = listening.band.omega(bin) * cut.peak.delta;
            Complex32::new(angle.cos() as f32, angle.sin() as f32)
        })
        .collect();
    // both sides as they sound before the step
    let whole: Vec<Vec<Complex32>> = (0..templates.pairs())
        .map(|pair| {
            let (before, after) = sides(templates, cut.node, pair, SIDE.0);
            let both = before.iter().zip(&after).zip(&turn);
            both.map(|((b, a), turn)| b + a * turn.conj()).collect()
        })
        .collect();
    let windows = grid.around(cut.node, 3);
    let first = windows.start;
    let mut rather = vec![0.0; windows.len()];
    listening.phasors(windows, warp, |window, pair, phasors| {
        let terms = phasors.iter().zip(&whole[pair]).zip(&turn);
        let sum: f64 = terms
            .map(|((p, w), turn)| {
                let before = p * w.conj();
                f64::from((before - before * turn.conj()).re)
            })
            .sum();
        rather[window - first] += sum;
    })?;
    let (mut best, mut most, mut sum) = (0, f64::NEG_INFINITY, 0.0);
    for (i, value) in rather.iter().enumerate() {
        sum += value;
        if sum > most {
            (best, most) = (i, sum);
        }
    }
    Ok(listening.centre((first + best) as f64 + 0.5))
}

/// A step of the room's sound.
struct Step<'a> {
    request: &'a AcousticRequest<'a>,
    heard: &'a Heard,
    /// Samples by which the follower's positions jump.
    size: i64,
    lead: f64,
    sigma: f64,
}

impl Step<'_> {
    /// Whose slip it is, and where in that file.
    fn slip(&self) -> Result<Slip> {
        let (lead, follower) = (self.request.lead, self.request.follower);
        let rate_hz = lead.rate().hz();
        let own = self.heard.path.follower_at(self.lead) - self.heard.path.lag;
        let reach = (AROUND_S * rate_hz) as i64 + self.size.abs();
        let missing = self.size < 0;
        let (twice, twice_at) = if missing {
            (lead, self.lead)
        } else {
            (follower, own)
        };
        let (side, lacks, at) = if missing {
            (Side::Follower, follower, own)
        } else {
            (Side::Lead, lead, self.lead)
        };
        let around = |at: f64| (at as i64 - reach, at as i64 + reach);
        let (from, to) = around(twice_at);
        let mut sizes: Vec<i64> = (-TRIED..=TRIED).map(|by| self.size.abs() + by).collect();
        sizes.sort_by_key(|size| (size - self.size.abs()).abs());
        for size in sizes.into_iter().filter(|size| *size > 2) {
            if let Some(at) = doubled(twice, size as u64, from, to)? {
                return Ok(Slip {
                    side: if missing { Side::Lead } else { Side::Follower },
                    at,
                    samples: size,
                    sigma: Samples(0.0),
                    at_sigma: Samples(0.0),
                    certain: true,
                });
            }
        }
        let (from, to) = around(at);
        let spliced = splice(lacks, from, to)?;
        Ok(Slip {
            side,
            at: spliced.unwrap_or(at.max(0.0) as u64),
            samples: -self.size.abs(),
            sigma: Samples(self.sigma),
            at_sigma: Samples(spliced.map_or(PLACE_S * rate_hz, |_| 2.0)),
            certain: true,
        })
    }
}

/// Their median; 0 for none.
fn middle(values: impl Iterator<Item = f64>) -> f64 {
    median(&mut values.collect::<Vec<f64>>()).unwrap_or(0.0)
}
