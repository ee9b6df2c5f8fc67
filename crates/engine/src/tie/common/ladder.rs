//! One channel pair in, its offset block by block along the take out, with the steps it makes: a track past slips, where no
//! single clock fits. Each block keeps its highest peaks; the track through them gives up what a step must buy.

use rayon::prelude::*;

use super::search::Finder;
use crate::error::Result;
use crate::progress::Progress;
use crate::signal::Sound;
use crate::units::LeadPos;

/// Length of a block and distance of neighbouring ones, samples at 48 kHz: two blocks or more between slips a second apart.
const BLOCK: usize = 16_384;
/// How far from where the track was last the next offset is looked for, samples: half a second.
const SPAN: usize = 24_576;
/// Blocks looked at before the search moves on with the track.
const CHUNK: usize = 32;
/// A peak's height over chance counts up to this much.
const MOST: f64 = 25.0;
/// A step must raise the track's height over chance by so much: two clear blocks.
const STEP: f64 = 40.0;
/// Fewer blocks to one side of both their neighbours than this are no stretch: a second and a third.
const SHORTEST: usize = 4;
/// Blocks with peaks that the track may pass over.
const PASSED_OVER: usize = 8;
/// The rate a clock may have until it is known, parts of one.
const RATE: f64 = 300e-6;
/// How far it may then be off, parts of one, and whole samples that a block's peak may be off on top.
const NEAR: (f64, f64) = (20e-6, 2.5);

/// A block on the track.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rung {
    /// The middle of the block on the lead.
    pub lead: LeadPos,
    /// The follower's offset there, a whole number of samples.
    pub offset: LeadPos,
}

/// The track, parted where it steps.
#[derive(Debug, Clone, PartialEq)]
pub struct Ladder {
    /// Stretches without a step, in order; none is empty.
    pub stretches: Vec<Vec<Rung>>,
    /// Change of the offset per lead sample within them.
    pub slope: f64,
}

impl Ladder {
    /// Middles on the lead of windows of `length` samples that each lie within one stretch, and the offset there: no more
    /// than `most`, the longest stretches first.
    pub fn windows(&self, length: f64, most: usize) -> Vec<(f64, f64)> {
        let span = |stretch: &&Vec<Rung>| {
            let (first, last) = (stretch.first(), stretch.last());
            first.zip(last).map_or(0.0, |(a, b)| (b.lead - a.lead).0)
        };
        let mut longest: Vec<&Vec<Rung>> = self.stretches.iter().collect();
        longest.sort_by(|a, b| span(b).total_cmp(&span(a)));
        let mut windows: Vec<(f64, f64)> = longest
            .into_iter()
            .flat_map(|stretch| {
                let many = (span(&stretch) / length).floor();
                let each = span(&stretch) / many;
                let first = stretch.first().map_or(0.0, |rung| rung.lead.0);
                (0..many as usize).map(move |i| {
                    let middle = (first + (i as f64 + 0.5) * each).floor();
                    (middle, self.offset_at(stretch, middle))
                })
            })
            .take(most)
            .collect();
        windows.sort_by(|a, b| a.0.total_cmp(&b.0));
        windows
    }

    /// The offset at a lead position by the nearest rung of a stretch: past a step of a sample or two, which parts no
    /// stretch, a rung far away is off by as much.
    fn offset_at(&self, stretch: &[Rung], lead: f64) -> f64 {
        let off = |rung: &&Rung| (rung.lead.0 - lead).abs();
        let nearest = stretch.iter().min_by(|a, b| off(a).total_cmp(&off(b)));
        nearest.map_or(0.0, |rung| {
            rung.offset.0 + self.slope * (lead - rung.lead.0)
        })
    }
}

#[derive(Debug, Clone, Copy)]
struct Peak {
    offset: f64,
    height: f64,
}

/// The best height of a track that ends at a peak, and the block and peak before it.
type Score = (f64, Option<(usize, usize)>);

struct Heard {
    middle: f64,
    peaks: Vec<Peak>,
}

/// Follows channel `pair.0` of the lead and `pair.1` of the follower, which starts near `offset`, over as much of `span`,
/// lead positions, as both recorded.
///
/// # Errors
/// When a file cannot be read.
pub fn climb(
    lead: &dyn Sound,
    follower: &dyn Sound,
    pair: (usize, usize),
    (offset, span): (LeadPos, (f64, f64)),
    progress: &dyn Progress,
) -> Result<Option<Ladder>> {
    let heard = listen(lead, follower, pair, (offset, span), progress)?;
    let rough = best_track(&heard, 0.0, RATE);
    let Some(slope) = slope(&parted(&rough, 0.0, RATE)) else {
        return Ok(None);
    };
    let track = best_track(&heard, slope, NEAR.0);
    let stretches = without_detours(parted(&track, slope, NEAR.0));
    Ok((!stretches.is_empty()).then_some(Ladder { stretches, slope }))
}

fn listen(
    lead: &dyn Sound,
    follower: &dyn Sound,
    pair: (usize, usize),
    (offset, over): (LeadPos, (f64, f64)),
    progress: &dyn Progress,
) -> Result<Vec<Heard>> {
    let faster = ((lead.rate().hz() / 48_000.0).round().max(1.0) as usize).next_power_of_two();
    let (block, span) = (BLOCK * faster, SPAN * faster);
    let finder = Finder::new(block, span);
    let from = (offset.0 - span as f64).max(0.0).max(over.0) as i64;
    let to = (offset.0 + (follower.length().0 + span as u64) as f64)
        .min(lead.length().0 as f64)
        .min(over.1);
    let many = usize::try_from((to as i64 - from) / block as i64).unwrap_or(0);
    progress.stage("following the common signal past slips", many as u64);
    let mut centre = offset.0.round() as i64;
    let mut all: Vec<Heard> = Vec::new();
    for first in (0..many).step_by(CHUNK) {
        let chunk: Vec<Heard> = (first..many.min(first + CHUNK))
            .into_par_iter()
            .map(|i| {
                let start = from + (i * block) as i64;
                let begin = start - centre - span as i64;
                let mut x = vec![0.0; block];
                lead.read(&[pair.0], start, &mut [&mut x])?;
                let mut y = vec![0.0; block + 2 * span];
                follower.read(&[pair.1], begin, &mut [&mut y])?;
                progress.advance(1);
                let (short, long) = (finder.short(&x), finder.long(&y));
                let peaks = match (short, long) {
                    (Some(short), Some(long)) => finder.peaks(&short, &long, span - 64),
                    _ => Vec::new(),
                };
                Ok(Heard {
                    middle: start as f64 + block as f64 / 2.0,
                    peaks: peaks
                        .into_iter()
                        .map(|(lag, height)| Peak {
                            offset: (start - begin) as f64 - lag as f64,
                            height: (height.abs() * (block as f64).sqrt()).min(MOST),
                        })
                        .collect(),
                })
            })
            .collect::<Result<_>>()?;
        let clear = |heard: &&Heard| heard.peaks.first().is_some_and(|p| p.height > 0.5 * MOST);
        if let Some(last) = chunk.iter().rev().find(clear) {
            centre = last.peaks[0].offset as i64;
        }
        all.extend(chunk.into_iter().filter(|heard| !heard.peaks.is_empty()));
    }
    Ok(all)
}

/// The track of the greatest height, steps paid for.
fn best_track(heard: &[Heard], slope: f64, rate: f64) -> Vec<Rung> {
    let mut best: Vec<Vec<Score>> = Vec::new();
    for (i, here) in heard.iter().enumerate() {
        let scores = here.peaks.iter().map(|peak| {
            let mut found = (0.0, None);
            for j in i.saturating_sub(PASSED_OVER)..i {
                for (q, earlier) in heard[j].peaks.iter().enumerate() {
                    let apart = here.middle - heard[j].middle;
                    let cost = if joins(earlier.offset, peak.offset, apart, slope, rate) {
                        0.0
                    } else {
                        STEP
                    };
                    let score = best[j][q].0 - cost;
                    if score > found.0 {
                        found = (score, Some((j, q)));
                    }
                }
            }
            (found.0 + peak.height, found.1)
        });
        let scores = scores.collect();
        best.push(scores);
    }
    let ends = best
        .iter()
        .enumerate()
        .flat_map(|(i, scores)| scores.iter().enumerate().map(move |(p, s)| (s.0, (i, p))));
    let mut at = ends
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, place)| place);
    let mut track = Vec::new();
    while let Some((i, p)) = at {
        track.push(Rung {
            lead: LeadPos(heard[i].middle),
            offset: LeadPos(heard[i].peaks[p].offset),
        });
        at = best[i][p].1;
    }
    track.reverse();
    track
}

fn joins(before: f64, after: f64, apart: f64, slope: f64, rate: f64) -> bool {
    (after - before - slope * apart).abs() <= NEAR.1 + rate * apart
}

fn parted(track: &[Rung], slope: f64, rate: f64) -> Vec<Vec<Rung>> {
    track
        .chunk_by(|a, b| joins(a.offset.0, b.offset.0, (b.lead - a.lead).0, slope, rate))
        .map(<[Rung]>::to_vec)
        .collect()
}

/// Without detours, short stretches to one side of both neighbours: where samples are lost, one period of a plucked string
/// fits a block or three better than either side does.
fn without_detours(stretches: Vec<Vec<Rung>>) -> Vec<Vec<Rung>> {
    let offset = |i: usize| stretches.get(i).and_then(|s| s.first()).map(|r| r.offset.0);
    let is_detour = |i: usize| {
        let before = i.checked_sub(1).and_then(offset);
        let (Some(before), Some(here), Some(after)) = (before, offset(i), offset(i + 1)) else {
            return false;
        };
        stretches[i].len() < SHORTEST && (here - before) * (after - here) < 0.0
    };
    let kept = (0..stretches.len()).filter(|&i| !is_detour(i));
    kept.map(|i| stretches[i].clone()).collect()
}

/// The common slope of all stretches, by least squares.
fn slope(stretches: &[Vec<Rung>]) -> Option<f64> {
    let (mut across, mut along) = (0.0, 0.0);
    for stretch in stretches {
        let count = stretch.len() as f64;
        let middle = stretch.iter().map(|r| r.lead.0).sum::<f64>() / count;
        let mean = stretch.iter().map(|r| r.offset.0).sum::<f64>() / count;
        for rung in stretch {
            across += (rung.lead.0 - middle) * (rung.offset.0 - mean);
            along += (rung.lead.0 - middle).powi(2);
        }
    }
    (along > 0.0).then(|| across / along)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rungs(from_s: f64, many: u32, offset: f64) -> Vec<Rung> {
        let rung = |i| Rung {
            lead: LeadPos(48_000.0 * from_s + BLOCK as f64 * f64::from(i)),
            offset: LeadPos(offset),
        };
        (0..many).map(rung).collect()
    }

    #[test]
    fn windows_past_a_step_of_a_sample_lie_after_it() {
        let mut stretch = rungs(0.0, 30, 500.0);
        stretch.extend(rungs(10.24, 30, 499.0));
        let ladder = Ladder {
            stretches: vec![stretch],
            slope: 0.0,
        };
        let windows = ladder.windows(131_072.0, 24);
        assert_eq!(windows.len(), 7);
        for (middle, offset) in windows {
            let expected = if middle < 10.1 * 48_000.0 {
                500.0
            } else {
                499.0
            };
            assert_eq!(offset, expected, "at {middle}");
        }
    }

    #[test]
    fn a_detour_of_three_blocks_is_none() {
        let stretches = vec![
            rungs(0.0, 2, 500.0),
            rungs(2.0, 20, 900.0),
            rungs(9.0, 3, 125.0),
            rungs(10.1, 20, 891.0),
            rungs(17.0, 3, 880.0),
            rungs(18.1, 20, 700.0),
        ];
        let kept: Vec<f64> = without_detours(stretches)
            .iter()
            .map(|stretch| stretch[0].offset.0)
            .collect();
        assert_eq!(kept, [500.0, 900.0, 891.0, 880.0, 700.0]);
    }
}
