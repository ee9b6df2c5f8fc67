//! The sound of one place at the microphones of two units in, the follower's clock out: rate and wander from content, the
//! absolute offset left where the caller put it.
//!
//! Two microphones hear a sound at different times, so content says nothing exact about an offset; but as long as
//! something coherent stays where it is, the change of its delay is the clock's. The chain: coarse place, decimation to
//! about 16 kHz, coherence phasors, a vote for the rate, templates every 10 s, secondary cross-correlation of templates
//! at lags up to the whole take, one joint solution for clock and geometry; then again with the follower warped by the
//! result until nothing moves. Independent signs decide whether it is believed.

mod content;
mod path;
mod signs;
mod slips;
mod steps;

use self::content::content_lag;
pub use self::content::{ContentLag, Delay, PairLag};
use self::path::Path;
use self::signs::Trial;
use self::slips::Heard;
use crate::clock::graph::{Prior, Solution, solve_as_restless};
use crate::clock::slips::{mended, on_files};
use crate::clock::{Measured, Outcome};
use crate::error::{Error, Kind, Result};
use crate::finding::Sign;
use crate::progress::Progress;
use crate::signal::Sound;
use crate::tie::acoustic::edges::{Comb, Edge, Reach, comparisons, edges};
use crate::tie::acoustic::listening::Listening;
use crate::tie::acoustic::screen::{self, PLAUSIBLE_RATE, Place, Search};
use crate::tie::acoustic::templates::{Grid, Templates};
use crate::tie::acoustic::vote::vote;
use crate::tie::{Guess, Source, Tie, all_pairs};
use crate::units::{LeadPos, Ppm, SPEED_OF_SOUND_M_PER_S, Samples, UnitPos};

/// Takes that ran together for less than this many seconds are not measured.
const SHORTEST_S: f64 = 20.0;

/// Content may lie this far from where it is looked for, seconds, and still fill most of an analysis window.
const TOLERABLE_S: f64 = 0.05;

/// A coarse place must score this many times the next best one to be believed (measured on synthetic rooms).
const LEAST_MARGIN: f64 = 1.3;

/// How the rate of a pair walks at least, a ratio per square root of a second: a sixteenth of what crystals in a room do
/// (0.012 ppm, measured on synthetic wander).
const WANDER: f64 = 0.000_75e-6;

/// The whole take's correlation must stand so many times above its side lobes: rooms 30 and more, two different loops of
/// one period, whose phases are as steady as a clock's, 8 at most (measured, `no_lock_table` and `acoustic_table`).
const LEAST_GATHERED: f64 = 12.0;

/// Listening passes at most.
const PASSES: usize = 4;

/// By how much the rate may still be wrong in each pass (a ratio): how far edges are searched for.
/// The first pass must find a crystal that changed its rate by several parts per million in the middle of the take.
const RATE_ERRORS: [f64; PASSES] = [8e-6, 1.5e-6, 0.6e-6, 0.3e-6];

/// Where fewer agree across some moment slips are looked for: templates holding both sides of one agree with either (0.37 seen).
const WELL_ACROSS: f64 = 0.6;

/// A pass that moves the clock by less than this many analysis samples within one template changes no template.
const SETTLED: f64 = 0.05;

/// What is to be measured.
#[derive(Clone)]
pub struct AcousticRequest<'a> {
    /// The lead's take.
    pub lead: &'a dyn Sound,
    /// The follower's take, of the same nominal rate.
    pub follower: &'a dyn Sound,
    /// Channel pairs (lead, follower), 0-based, that may be compared; `None`: all.
    pub pairs: Option<Vec<(usize, usize)>>,
    /// Where the follower is expected; the clock that is found has this offset.
    pub guess: Guess,
    /// The largest distance between microphones on different units, metres.
    pub spacing_m: f64,
}

/// What a measurement by content came to.
#[derive(Debug, Clone, PartialEq)]
pub struct AcousticOutcome {
    /// The clock, its offset that of the guess; or why there is none.
    pub outcome: Outcome,
    /// Where the content lies against the guess; `None` when nothing coherent was found.
    pub lag: Option<ContentLag>,
    /// The channel pairs listened to, best first.
    pub pairs: Vec<(usize, usize)>,
    /// The rate that one kelvin of warming, spread over the take, would feign over the declared distance: 0.175 % of it.
    pub per_kelvin: Ppm,
}

/// Measures a follower's clock by the sound of the place, past any slips.
///
/// # Errors
/// When a take cannot be read, or the two have different nominal rates.
pub fn measure_acoustic(
    request: &AcousticRequest<'_>,
    progress: &dyn Progress,
) -> Result<AcousticOutcome> {
    let (found, heard) = measure_as_it_is(request, progress)?;
    let suspect = match &found.outcome {
        Outcome::Locked(measured) => {
            let weak = |sign: &Sign| sign.name == signs::ACROSS && sign.value < WELL_ACROSS;
            !measured.slips.is_empty() || measured.signs.iter().any(weak)
        }
        Outcome::NotEstablished { .. } => true,
    };
    let Some(heard) = heard.filter(|_| suspect) else {
        return Ok(found);
    };
    let (lead, follower, (from, to)) = (request.lead, request.follower, together(request));
    let listening = Listening::new(lead, follower, from, to);
    let slips = slips::scan(request, &heard, listening, progress)?;
    if slips.is_empty() {
        return Ok(found);
    }
    let (mended_lead, mended_follower) = mended(lead, follower, &slips);
    let past = AcousticRequest {
        lead: &mended_lead,
        follower: &mended_follower,
        ..request.clone()
    };
    let (past, _) = measure_as_it_is(&past, progress)?;
    Ok(match past.outcome {
        Outcome::Locked(measured) => AcousticOutcome {
            outcome: Outcome::Locked(Box::new(on_files(*measured, slips, follower.length().0))),
            ..past
        },
        // a clock that steps is no clock, however well its pieces agree
        Outcome::NotEstablished { .. } if matches!(found.outcome, Outcome::Locked(_)) => past,
        Outcome::NotEstablished { .. } => found,
    })
}

/// The lead positions between which both units recorded, by the guess.
fn together(request: &AcousticRequest<'_>) -> (f64, f64) {
    let offset = request.guess.offset.0;
    let end = offset + request.follower.length().0 as f64;
    (offset.max(0.0), (request.lead.length().0 as f64).min(end))
}

/// Measures along one clock without slips; also what was heard first, if anything.
fn measure_as_it_is(
    request: &AcousticRequest<'_>,
    progress: &dyn Progress,
) -> Result<(AcousticOutcome, Option<Heard>)> {
    let (lead, follower) = (request.lead, request.follower);
    if lead.rate() != follower.rate() {
        let message = format!(
            "the lead was recorded at {}, the follower at {}",
            lead.rate(),
            follower.rate()
        );
        return Err(Error::new(Kind::Unsupported, message)
            .then("bring both units to one rate before their clocks are compared"));
    }
    let (from, to) = together(request);
    let rate_hz = lead.rate().hz();
    let mut chain = Chain {
        request,
        progress,
        listening: Listening::new(lead, follower, from, to),
        signs: Vec::new(),
        heard: None,
        per_kelvin: Ppm(1e6 * 0.00175 * request.spacing_m
            / SPEED_OF_SOUND_M_PER_S
            / ((to - from) / rate_hz).max(1.0)),
    };
    let together_s = ((to - from) / rate_hz).max(0.0);
    if !chain.ask(
        "both units recorded together, seconds",
        together_s,
        SHORTEST_S,
    ) {
        let refused = chain.refuse(
            format!("they recorded together for {together_s:.0} s; {SHORTEST_S:.0} s are needed"),
            None,
        );
        return Ok((refused, None));
    }
    let outcome = chain.measure()?;
    Ok((outcome, chain.heard))
}

/// Whether the two units hear one sound at all, rather than two that repeat in the same time: over the whole take its
/// correlation must gather at one delay.
fn one_sound(lag: Option<&ContentLag>) -> Sign {
    let heights = lag.into_iter().flat_map(|lag| &lag.pairs);
    let highest = heights.map(|pair| pair.prominence).fold(0.0, f64::max);
    let name = "height of the content's own peak over its side lobes";
    Sign::at_least(name, highest, LEAST_GATHERED)
}

/// Edges measured on templates that were warped by `believed`, made differences of the whole delay.
fn on_top_of(believed: &[f64], edges: Vec<Edge>) -> Vec<Edge> {
    edges
        .into_iter()
        .map(|edge| Edge {
            delta: edge.delta + believed[edge.to] - believed[edge.from],
            ..edge
        })
        .collect()
}

/// One measurement under way.
struct Chain<'a> {
    request: &'a AcousticRequest<'a>,
    progress: &'a dyn Progress,
    listening: Listening<'a>,
    signs: Vec<Sign>,
    heard: Option<Heard>,
    per_kelvin: Ppm,
}

impl Chain<'_> {
    /// Records a sign that asks for at least `limit`.
    fn ask(&mut self, name: &str, value: f64, limit: f64) -> bool {
        let sign = Sign::at_least(name, value, limit);
        let passed = sign.passed;
        self.signs.push(sign);
        passed
    }

    fn refuse(&mut self, why: String, place: Option<&Place>) -> AcousticOutcome {
        let rate_hz = self.request.lead.rate().hz();
        let candidates = place.map_or_else(Vec::new, |place| {
            std::iter::once((place.lag_s, 1.0))
                .chain(place.others.iter().copied())
                .map(|(lag_s, score)| {
                    (
                        LeadPos(self.request.guess.offset.0 - lag_s * rate_hz),
                        score,
                    )
                })
                .collect()
        });
        AcousticOutcome {
            outcome: Outcome::NotEstablished {
                signs: std::mem::take(&mut self.signs),
                why,
                candidates,
            },
            lag: None,
            pairs: std::mem::take(&mut self.listening.pairs),
            per_kelvin: self.per_kelvin,
        }
    }

    fn measure(&mut self) -> Result<AcousticOutcome> {
        let rate_hz = self.request.lead.rate().hz();
        let search = Search {
            offset: self.request.guess.offset.0,
            within_s: self.request.guess.within.0.max(0.0) / rate_hz,
            spacing_s: self.request.spacing_m.max(0.0) / SPEED_OF_SOUND_M_PER_S,
        };
        self.progress
            .stage("finding the room's sound on both units", 3);
        self.listening.pairs = self.allowed_pairs();
        let place = screen::place(&self.listening, search)?;
        self.progress.advance(1);
        let near = search.within_s + search.spacing_s <= TOLERABLE_S;
        if !near
            && !self.ask(
                "the content's coarse place over the next best",
                place.margin,
                LEAST_MARGIN,
            )
        {
            let why = "no place of the content stands out of the others".to_owned();
            return Ok(self.refuse(why, Some(&place)));
        }
        let path = if place.margin >= LEAST_MARGIN {
            Path::straight(search.offset, place.lag_s * rate_hz, place.rate)
        } else {
            Path::straight(search.offset, 0.0, 0.0)
        };
        let warp = |lead: f64| path.follower_at(lead);
        self.listening.pairs = screen::best_pairs(&self.listening, &warp)?;
        self.progress.advance(1);
        if self.listening.pairs.is_empty() {
            return Ok(self.refuse(
                "one of the units recorded nothing but silence".to_owned(),
                None,
            ));
        }
        let lowest = -PLAUSIBLE_RATE - path.rate;
        let highest = PLAUSIBLE_RATE - path.rate;
        let found = vote(&self.listening, &warp, lowest, highest)?;
        self.progress.advance(1);
        let path = Path::straight(path.offset, path.lag, path.rate + found);
        self.heard = Some(Heard {
            path: path.clone(),
            pairs: self.listening.pairs.clone(),
        });
        self.iterate(path, &place)
    }

    fn allowed_pairs(&self) -> Vec<(usize, usize)> {
        let (lead, follower) = (
            self.request.lead.channels(),
            self.request.follower.channels(),
        );
        match &self.request.pairs {
            Some(pairs) => pairs
                .iter()
                .copied()
                .filter(|&(a, b)| a < lead && b < follower)
                .collect(),
            None => all_pairs(self.request.lead, self.request.follower),
        }
    }

    fn iterate(&mut self, mut path: Path, place: &Place) -> Result<AcousticOutcome> {
        let listening = &self.listening;
        let factor = listening.decimator.factor() as f64;
        let grid = Grid::new(listening.windows, listening.windows_per_s());
        let nodes: Vec<f64> = grid
            .centres()
            .iter()
            .map(|&w| listening.centre(w))
            .collect();
        let times_s: Vec<f64> = nodes
            .iter()
            .map(|n| n / (listening.band.hz * factor))
            .collect();
        let spacing = (nodes[nodes.len() - 1] - nodes[0]) / (nodes.len() - 1) as f64 / factor;
        let comparisons = comparisons(grid.nodes());
        let prior = Prior {
            times_s: &times_s,
            hz: listening.band.hz,
            wander: WANDER,
        };
        // What the templates were warped by, analysis samples at the nodes on top of the straight line.
        let mut believed = vec![0.0; nodes.len()];
        let mut last: Option<(Templates, Vec<Edge>, Solution)> = None;
        for (pass, rate_error) in RATE_ERRORS.into_iter().enumerate() {
            let name = format!("measuring the clock by the room's sound, pass {}", pass + 1);
            self.progress.stage(&name, grid.nodes() as u64 + 1);
            drop(last.take());
            let warp = |lead: f64| path.follower_at(lead);
            let templates = Templates::listen(&self.listening, &grid, &warp, self.progress)?;
            let reach = Reach {
                rate_error,
                spacing,
                least: 1.0,
            };
            let found = edges(
                &templates,
                self.listening.band,
                Comb::Whole,
                reach,
                &comparisons,
            );
            let found = on_top_of(&believed, found);
            let solution = if found.len() < grid.nodes() {
                None
            } else {
                solve_as_restless(&found, &prior)
            };
            let Some(solution) = solution else {
                let share = found.len() as f64 / comparisons.len() as f64;
                self.ask(
                    "share of the moments that could be compared",
                    share,
                    signs::LEAST_YIELD,
                );
                let why = "the two units' sound has too little in common".to_owned();
                return Ok(self.refuse(why, Some(place)));
            };
            let mean = solution.clock.iter().sum::<f64>() / solution.clock.len() as f64;
            let clock: Vec<f64> = solution.clock.iter().map(|r| r - mean).collect();
            let moved: Vec<f64> = clock.iter().zip(&believed).map(|(r, b)| r - b).collect();
            let steepest = moved
                .windows(3)
                .map(|m| (m[2] - m[0]).abs())
                .fold(0.0, f64::max);
            path = path.bent(&nodes, clock.iter().map(|r| r * factor).collect());
            last = Some((templates, found, solution));
            if steepest < SETTLED || pass + 1 == PASSES {
                break;
            }
            believed = clock;
        }
        let Some((templates, edges, solution)) = last else {
            return Ok(self.refuse("nothing was listened to".to_owned(), None));
        };
        let prior = Prior {
            wander: solution.wander,
            ..prior
        };
        let trial = Trial {
            templates: &templates,
            band: self.listening.band,
            grid: &grid,
            comparisons: &comparisons,
            edges: &edges,
            believed: &believed,
            prior: &prior,
            solution: &solution,
            spacing,
        };
        self.conclude(&path, &trial, place)
    }

    fn conclude(
        &mut self,
        path: &Path,
        trial: &Trial<'_>,
        place: &Place,
    ) -> Result<AcousticOutcome> {
        let halves = trial.halves();
        let rate_hz = self.request.lead.rate().hz();
        let factor = self.listening.decimator.factor() as f64;
        let nodes = &path.nodes;
        let (from, to) = (
            self.listening.origin,
            self.listening
                .lead_at((self.listening.windows * 2048 + 6144) as f64),
        );
        let span = to - from;
        let rate = (path.follower_at(to) - path.follower_at(from)) / span - 1.0;
        let sigma = trial.sigma(nodes, &halves, rate_hz);
        let rate_sigma = factor * sigma.between(from, to) / span;

        let lag = content_lag(&self.listening, trial.templates, path, self.request);
        let mut signs = trial.signs(&halves, path);
        signs.push(one_sound(lag.as_ref()));
        let failed = signs.iter().find(|sign| !sign.passed).cloned();
        self.signs.extend(signs);
        if let Some(failed) = failed {
            let why = format!(
                "the content does not hold together: {} is {:.2}, needed {:.2}",
                failed.name, failed.value, failed.limit
            );
            return Ok(AcousticOutcome {
                lag,
                ..self.refuse(why, Some(place))
            });
        }
        let sigma_at = |lead: f64| factor * sigma.at(lead);
        let Some((clock, shift)) = path.clock(self.request.follower.length().0, rate_hz, sigma_at)
        else {
            return Ok(self.refuse("the clock found does not rise".to_owned(), Some(place)));
        };
        let apart: Vec<f64> = trial.apart().iter().map(|a| a * factor).collect();
        let limit = 4.0 * trial.solution.geometry * factor;
        let ties: Vec<Tie> = nodes
            .iter()
            .zip(&apart)
            .map(|(&node, &apart)| Tie {
                lead: LeadPos(node + shift.0),
                follower: UnitPos(path.follower_at(node) + apart),
                sigma: Samples((trial.solution.geometry * factor).hypot(sigma_at(node))),
                used: apart.abs() <= limit,
                source: Source::Acoustic,
            })
            .collect();
        let at_sigma = 0.5 * trial.spacing;
        let slips = trial.step().and_then(|step| {
            let moment = LeadPos(step.moment_s * rate_hz) + shift;
            slips::possible(step, clock.follower_at(moment), (factor, at_sigma))
        });
        let slips = Vec::from_iter(slips);
        let used: Vec<f64> = ties
            .iter()
            .zip(&apart)
            .filter(|(tie, _)| tie.used)
            .map(|(_, a)| a * a)
            .collect();
        let measured = Measured {
            clock,
            offset: self.request.guess.offset,
            offset_sigma: Samples(sigma_at(self.request.guess.offset.0 - shift.0)),
            rate: Ppm(rate * 1e6),
            rate_sigma: Ppm(rate_sigma * 1e6),
            residual_rms: Samples((used.iter().sum::<f64>() / used.len().max(1) as f64).sqrt()),
            ties,
            signs: std::mem::take(&mut self.signs),
            slips,
        };
        Ok(AcousticOutcome {
            outcome: Outcome::Locked(Box::new(measured)),
            lag,
            pairs: self.listening.pairs.clone(),
            per_kelvin: self.per_kelvin,
        })
    }
}
