//! A common signal whose clock steps in, the slips of both files out: a first track past all steps, blocks measured along
//! it, steps found, located and mended, and the same on what was mended until no step is left.

use super::blocks::{BLOCK, Block, Meter, Plan, Wire, delays};
use super::overlap;
use super::track::Track;
use crate::clock::slips::locate::{Stretch, Voice, locate};
use crate::clock::slips::mended;
use crate::clock::slips::repeat::doubled;
use crate::clock::slips::steps::{self, Step, moved};
use crate::clock::{Clock, Knot, Side, Slip};
use crate::error::Result;
use crate::progress::Progress;
use crate::signal::{Mended, Seam, Sound};
use crate::tie::common::{Ladder, climb};
use crate::units::{LeadPos, Samples, UnitPos};

/// How far from the track the whole sample is searched, samples.
const SEARCH: usize = 64;
/// Rounds of mending, at most.
const ROUNDS: usize = 6;
/// So many samples do not repeat by chance anywhere near.
const UNMISTAKABLE: i64 = 8;
/// A certain slip is this many times its sigma: in noise as loud as a talker a rate that jumps by 3 ppm looks like single
/// samples lost now and then, of fifteen (measured, `slip_table clean`).
const SURE: f64 = 20.0;
/// From this sigma on a place is not clear enough for a few samples there to tell who slipped, samples.
const UNCLEAR: f64 = 16.0;
/// Where a doubled stretch is looked for beyond where the step was located, samples.
const AROUND: f64 = 256.0;

/// A common signal whose slips are looked for.
pub struct Hunt<'a> {
    /// The lead's take.
    pub lead: &'a dyn Sound,
    /// The follower's take.
    pub follower: &'a dyn Sound,
    /// The channels that carry the signal.
    pub wire: Wire,
    /// Where the follower starts, within a tenth of a second or two.
    pub offset: LeadPos,
    /// Whether the channels are known to carry one signal, or only may: then only steps that peaks of single windows show
    /// can be why no pair keeps one clock, and without one it is not worth a closer look.
    pub certain: bool,
    /// Whom to tell.
    pub progress: &'a dyn Progress,
}

/// The slips, and the clock over the files mended of the certain ones.
pub struct Caught {
    /// The slips, in order of lead position.
    pub slips: Vec<Slip>,
    /// From mended follower to mended lead positions.
    pub map: Clock,
}

impl Hunt<'_> {
    /// Finds the slips; `None` when the signal cannot be followed or does not step.
    ///
    /// # Errors
    /// When a file cannot be read.
    pub fn run(&self) -> Result<Option<Caught>> {
        let Some((mut map, mut steps)) = self.first_round()? else {
            return Ok(None);
        };
        for _ in 0..ROUNDS {
            let slips = self.located(&mut steps, &map)?;
            let (lead, follower) = mended(self.lead, self.follower, &slips);
            let on_lead: Vec<Step> = steps
                .iter()
                .zip(&slips)
                .filter(|(_, slip)| slip.side == Side::Lead)
                .map(|(step, _)| *step)
                .collect();
            let Some(past) = past_lead_slips(&map, &on_lead) else {
                return Ok(None);
            };
            let blocks = self.blocks(&lead, &follower, &past)?;
            let left = steps::find(&delays(&blocks), &[], self.rate_hz());
            let Some(track) = track(&blocks, &left, self.rate_hz()) else {
                return Ok(None);
            };
            let clean = track.clock(follower.length().0);
            if left.is_empty() {
                let files = (&lead, &follower);
                return Ok(self.judged(slips, &blocks, files, &clean));
            }
            let places: Vec<f64> = slips
                .iter()
                .map(|slip| place(slip, (&lead, &follower), &clean))
                .collect();
            merge(&mut steps, &places, &left, &lead);
            let back = clean.knots().iter().map(|knot| {
                let own = LeadPos(lead.seams().own(knot.lead.0));
                Knot {
                    lead: own,
                    follower: knot.follower + (own - knot.lead),
                    ..*knot
                }
            });
            let Some(back) = rising(back) else {
                return Ok(None);
            };
            map = back;
        }
        Ok(None)
    }

    /// Every step as a slip of one of the files; a step that cannot be located is dropped.
    fn located(&self, steps: &mut Vec<Step>, map: &Clock) -> Result<Vec<Slip>> {
        let mut slips = Vec::new();
        let mut kept = Vec::new();
        for step in steps.iter() {
            let cut = Cut {
                hunt: self,
                map,
                before: moved(steps, step.middle()),
            };
            if let Some(slip) = cut.slip(step)? {
                slips.push(slip);
                kept.push(*step);
            }
        }
        *steps = kept;
        Ok(slips)
    }

    fn rate_hz(&self) -> f64 {
        self.lead.rate().hz()
    }

    /// The clock with all steps taken out, and the steps, on the files as they are.
    fn first_round(&self) -> Result<Option<(Clock, Vec<Step>)>> {
        let channels = (self.wire.lead, self.wire.follower);
        let ladder = climb(
            self.lead,
            self.follower,
            channels,
            (self.offset, (0.0, f64::INFINITY)),
            self.progress,
        )?;
        let Some(ladder) = ladder else {
            return Ok(None);
        };
        let rough = rough_steps(&ladder);
        if rough.is_empty() && !self.certain {
            return Ok(None);
        }
        let rungs: Vec<Block> = ladder.stretches.iter().flatten().map(as_block).collect();
        let Some(seed) = track(&rungs, &rough, self.rate_hz()) else {
            return Ok(None);
        };
        let seed = seed.clock(self.follower.length().0);
        let seams: Vec<Seam> = rough
            .iter()
            .map(|step| {
                let at = seed.follower_at(LeadPos(step.middle())).0
                    + moved(&rough, step.middle()) as f64;
                Seam {
                    at: at.max(0.0) as u64,
                    samples: step.size,
                }
            })
            .collect();
        let follower = Mended::new(self.follower, &seams);
        let mut blocks = self.blocks(self.lead, &follower, &seed)?;
        for block in &mut blocks {
            shift(block, moved(&rough, block.lead) as f64);
        }
        let found = steps::find(&delays(&blocks), &rough, self.rate_hz());
        let track = track(&blocks, &found, self.rate_hz());
        Ok(track
            .filter(|_| !found.is_empty())
            .map(|track| (track.clock(self.follower.length().0), found)))
    }

    fn blocks(&self, lead: &dyn Sound, follower: &dyn Sound, map: &Clock) -> Result<Vec<Block>> {
        let plan = Plan {
            span: overlap(map, lead, follower),
            every: 1,
            search: SEARCH,
        };
        let meter = Meter::new(lead, follower, self.wire);
        Ok(meter.pass(map, plan, self.progress)?.blocks)
    }

    /// Judges every slip by what is left of it on the mended files, and leaves in the clock what is not certain.
    fn judged(
        &self,
        mut slips: Vec<Slip>,
        blocks: &[Block],
        files: (&Mended<'_>, &Mended<'_>),
        map: &Clock,
    ) -> Option<Caught> {
        let places: Vec<f64> = slips.iter().map(|slip| place(slip, files, map)).collect();
        let left = steps::left(&delays(blocks), &places, self.rate_hz());
        for (slip, left) in slips.iter_mut().zip(left) {
            slip.sigma = Samples(left.map_or(0.0, |(_, sigma)| sigma));
            slip.certain = left.is_none_or(|(rest, sigma)| {
                steps::is_whole(rest, sigma) && slip.samples.abs() as f64 >= SURE * sigma
            });
        }
        let knots = map.knots().iter().map(|knot| {
            let mut knot = *knot;
            let at = knot.lead.0;
            let left_in = slips.iter().zip(&places);
            for (slip, _) in left_in.filter(|(slip, place)| !slip.certain && **place < at) {
                let by = Samples(slip.samples as f64);
                match slip.side {
                    Side::Lead => knot.lead = knot.lead + by,
                    Side::Follower => knot.follower = knot.follower + by,
                }
            }
            knot
        });
        let map = rising(knots)?;
        (!slips.is_empty()).then_some(Caught { slips, map })
    }
}

/// One step on the files as they are.
struct Cut<'a> {
    hunt: &'a Hunt<'a>,
    /// The clock without any step.
    map: &'a Clock,
    /// What the steps before this one move.
    before: i64,
}

impl Cut<'_> {
    /// The slip that a step is: located on the samples, and put down to one of the files.
    fn slip(&self, step: &Step) -> Result<Option<Slip>> {
        let wire = self.hunt.wire;
        let lead_voice = Voice {
            sound: self.hunt.lead,
            channel: wire.lead,
        };
        let follower_voice = Voice {
            sound: self.hunt.follower,
            channel: wire.follower,
        };
        let follower_at = |lead: f64| self.map.follower_at(LeadPos(lead)).0 + self.before as f64;
        let lead_at = |own: f64| self.map.lead_at(UnitPos(own - self.before as f64)).0;
        let size = step.size.abs();
        let missing = step.size < 0;
        let located = locate(&Stretch {
            whole: lead_voice,
            slipped: follower_voice,
            before: &follower_at,
            jump: step.size,
            gap: if missing { size } else { 0 },
            from: step.from as i64,
            to: step.to as i64,
        })?;
        let Some(located) = located else {
            return Ok(None);
        };
        let slip = |side, at: f64, samples: i64, at_sigma: f64| Slip {
            side,
            at: at.max(0.0) as u64,
            samples,
            sigma: Samples(step.sigma),
            at_sigma: Samples(at_sigma),
            certain: true,
        };
        // the one file may have lost what the other has, or the other may have it twice
        let lead_own = located.at as f64;
        let follower_own = follower_at(lead_own).ceil();
        let (twice, twice_at, side) = if missing {
            (self.hunt.lead, lead_own, Side::Lead)
        } else {
            (self.hunt.follower, follower_own, Side::Follower)
        };
        let reach = 2.0 * size as f64 + AROUND + (4.0 * located.sigma).min(BLOCK as f64);
        let (mut from, mut to) = (twice_at - reach, twice_at + reach);
        if size >= UNMISTAKABLE {
            // in a pause the samples do not tell the place: wherever the step may be
            let moved = twice_at - located.at as f64;
            from = from.min(step.from + moved - reach);
            to = to.max(step.to + moved + reach);
        }
        let again = doubled(twice, size as u64, from as i64, to as i64)?;
        if let Some(at) = again {
            return Ok(Some(slip(side, at as f64, size, 0.0)));
        }
        if missing {
            return Ok(Some(slip(
                Side::Follower,
                follower_own,
                -size,
                located.sigma,
            )));
        }
        if size < UNMISTAKABLE && located.sigma > UNCLEAR {
            // a few samples written twice elsewhere, or lost by the lead: the lead is not parted on such grounds
            let anywhere = (step.to - step.from) / 12f64.sqrt();
            let at_sigma = located.sigma.max(anywhere);
            return Ok(Some(slip(Side::Follower, follower_own, size, at_sigma)));
        }
        let (from, to) = (follower_at(step.from), follower_at(step.to) + size as f64);
        let located = locate(&Stretch {
            whole: follower_voice,
            slipped: lead_voice,
            before: &lead_at,
            jump: -size,
            gap: size,
            from: from as i64,
            to: to as i64,
        })?;
        Ok(located.map(|located| {
            let own = lead_at(located.at as f64).ceil();
            slip(Side::Lead, own, -size, located.sigma)
        }))
    }
}

/// Adds what is `left` on the mended files to the steps that it is left of, and as new steps where there were none.
fn merge(steps: &mut Vec<Step>, places: &[f64], left: &[Step], lead: &Mended<'_>) {
    let near = BLOCK as f64 / 2.0;
    let mut new = Vec::new();
    for rest in left {
        let away = |place: f64| (place - rest.middle()).abs();
        let nearest = places
            .iter()
            .enumerate()
            .filter(|(_, place)| rest.from - near < **place && **place < rest.to + near)
            .min_by(|a, b| away(*a.1).total_cmp(&away(*b.1)));
        match nearest {
            Some((known, _)) => steps[known].size += rest.size,
            None => new.push(Step {
                from: lead.seams().own(rest.from),
                to: lead.seams().own(rest.to),
                ..*rest
            }),
        }
    }
    steps.extend(new);
    steps.retain(|step| step.size != 0);
    steps.sort_by(|a, b| a.middle().total_cmp(&b.middle()));
}

/// Where a slip lies on the mended lead.
fn place(slip: &Slip, (lead, follower): (&Mended<'_>, &Mended<'_>), map: &Clock) -> f64 {
    match slip.side {
        Side::Lead => lead.seams().mended(slip.at as f64),
        Side::Follower => {
            map.lead_at(UnitPos(follower.seams().mended(slip.at as f64)))
                .0
        }
    }
}

/// The same clock once the lead's file is mended of `steps`: from each on, both positions are later by what the lead lacked.
fn past_lead_slips(map: &Clock, steps: &[Step]) -> Option<Clock> {
    rising(map.knots().iter().map(|knot| {
        let by = Samples(moved(steps, knot.lead.0) as f64);
        Knot {
            lead: knot.lead + by,
            follower: knot.follower + by,
            ..*knot
        }
    }))
}

/// The clock through those knots that rise above all before them.
fn rising(knots: impl Iterator<Item = Knot>) -> Option<Clock> {
    let mut kept: Vec<Knot> = Vec::new();
    for knot in knots {
        let rises = kept
            .last()
            .is_none_or(|last| knot.lead.0 > last.lead.0 && knot.follower.0 > last.follower.0);
        if rises {
            kept.push(knot);
        }
    }
    Clock::new(kept)
}

fn shift(block: &mut Block, by: f64) {
    block.follower += by;
    block.halves = block.halves.map(|half| half + by);
}

/// The clock through the blocks once `steps` are taken out of it.
fn track(blocks: &[Block], steps: &[Step], rate_hz: f64) -> Option<Track> {
    let mut blocks = blocks.to_vec();
    for block in &mut blocks {
        shift(block, -moved(steps, block.lead) as f64);
    }
    Track::of(&blocks, rate_hz)
}

fn as_block(rung: &crate::tie::common::Rung) -> Block {
    let follower = (rung.lead - rung.offset).0;
    Block {
        lead: rung.lead.0,
        follower,
        sigma: 0.3,
        halves: [follower; 2],
        correlation: 1.0,
    }
}

/// The steps between the stretches of a ladder.
fn rough_steps(ladder: &Ladder) -> Vec<Step> {
    let reach = BLOCK as f64 / 4.0;
    ladder
        .stretches
        .windows(2)
        .filter_map(|pair| {
            let (before, after) = (pair[0].last()?, pair[1].first()?);
            let change =
                (after.offset - before.offset).0 - ladder.slope * (after.lead - before.lead).0;
            Some(Step {
                from: before.lead.0 - reach,
                to: after.lead.0 + reach,
                size: -change.round() as i64,
                rest: 0.0,
                sigma: 1.0,
            })
        })
        .filter(|step| step.size != 0)
        .collect()
}
