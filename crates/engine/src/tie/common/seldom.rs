//! Two units' sound in, the channels that are quiet most of the time and where they sound out: a marker every minute stands
//! in none of ten windows that are spread blindly, so windows are put where it sounds.

use rayon::prelude::*;

use crate::error::Result;
use crate::progress::{Progress, go_on};
use crate::signal::{Sound, median};
use crate::tie::Guess;

/// Power is told for each hundredth of a second.
const HOPS_PER_S: f64 = 100.0;
/// A take is listened to in pieces of so many seconds ...
const PIECE_S: f64 = 30.0;
/// ... and in so many of them at most, spread evenly: half an hour in all.
const PIECES: usize = 60;
/// It sounds where it is so many times as strong as half of the time: noise alone is never four times.
const LOUD: f64 = 10.0;
/// Below -100 dB of full scale nothing sounds.
const FAINT: f64 = 1e-10;
/// A channel that sounds for a larger share of the time is not looked at again.
const SHARE: f64 = 0.25;
/// What sounds again within so many seconds belongs together.
const TOGETHER_S: f64 = 0.25;
/// So many channels of a unit are looked at, those that stand out most.
const CHANNELS: usize = 4;
/// Windows on a channel.
const WINDOWS: usize = 10;

/// A channel of the lead that is quiet most of the time, with the middles of some places where it sounds.
pub struct Seldom {
    /// 0-based.
    pub channel: usize,
    /// Lead positions, rising.
    pub middles: Vec<f64>,
}

/// The lead's channels among `pairs` that sound now and then, and the follower's.
pub fn seldom(
    lead: &dyn Sound,
    follower: &dyn Sound,
    guess: &Guess,
    pairs: &[(usize, usize)],
    progress: &dyn Progress,
) -> Result<(Vec<Seldom>, Vec<usize>)> {
    let from = guess.offset.0.max(0.0);
    let to = (guess.offset.0 + follower.length().0 as f64).min(lead.length().0 as f64);
    let span = |sound: &dyn Sound, offset: f64| {
        let length = sound.length().0 as f64;
        (
            (from - offset).clamp(0.0, length),
            (to - offset).clamp(0.0, length),
        )
    };
    let own = |side: fn(&(usize, usize)) -> usize| {
        let mut channels: Vec<usize> = pairs.iter().map(side).collect();
        channels.sort_unstable();
        channels.dedup();
        channels
    };
    let on_lead = outstanding(lead, &own(|pair| pair.0), span(lead, 0.0), progress)?;
    if on_lead.is_empty() {
        return Ok((Vec::new(), Vec::new()));
    }
    let there = span(follower, guess.offset.0);
    let on_follower = outstanding(follower, &own(|pair| pair.1), there, progress)?;
    let followers = on_follower.iter().map(|found| found.channel).collect();
    Ok((on_lead, followers))
}

/// The channels that stand out most from their own quiet.
fn outstanding(
    sound: &dyn Sound,
    channels: &[usize],
    (from, to): (f64, f64),
    progress: &dyn Progress,
) -> Result<Vec<Seldom>> {
    let rate_hz = sound.rate().hz();
    let hop = (rate_hz / HOPS_PER_S).round() as usize;
    let whole = to - from;
    // a take that is no longer than all pieces is listened to without gaps
    let many = (whole / (PIECE_S * rate_hz))
        .ceil()
        .clamp(1.0, PIECES as f64);
    let piece = (whole / many).min(PIECE_S * rate_hz);
    let hops = (piece / hop as f64) as usize;
    let starts: Vec<i64> = (0..many as usize)
        .map(|i| {
            let share = i as f64 / (many - 1.0).max(1.0);
            (from + (whole - piece) * share) as i64
        })
        .collect();
    progress.stage(
        "listening for what sounds now and then",
        starts.len() as u64,
    );
    let heard: Vec<Vec<Vec<f64>>> = starts
        .par_iter()
        .map(|&start| {
            go_on(progress)?;
            let powers = powers(sound, channels, start, (hop, hops));
            progress.advance(1);
            powers
        })
        .collect::<Result<_>>()?;
    let mut found: Vec<(f64, Seldom)> = (0..channels.len())
        .filter_map(|at| {
            let pieces = starts.iter().zip(heard.iter().map(|piece| &piece[at][..]));
            let (contrast, middles) = sounding(&pieces.collect::<Vec<_>>(), hop as f64)?;
            let channel = channels[at];
            Some((contrast, Seldom { channel, middles }))
        })
        .collect();
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    found.truncate(CHANNELS);
    Ok(found.into_iter().map(|(_, found)| found).collect())
}

/// The power of every hop of one piece, channel by channel, of the differences of neighbouring samples: hum and rumble are
/// not what is listened for.
fn powers(
    sound: &dyn Sound,
    channels: &[usize],
    start: i64,
    (hop, hops): (usize, usize),
) -> Result<Vec<Vec<f64>>> {
    let mut powers = vec![Vec::with_capacity(hops); channels.len()];
    let mut planes = vec![vec![0.0; hop]; channels.len()];
    let mut before = vec![0.0; channels.len()];
    for i in 0..hops {
        let mut out: Vec<&mut [f64]> = planes.iter_mut().map(Vec::as_mut_slice).collect();
        sound.read(channels, start + (i * hop) as i64, &mut out)?;
        for ((plane, before), powers) in planes.iter().zip(&mut before).zip(&mut powers) {
            let mut sum = 0.0;
            for &sample in plane {
                sum += (sample - *before).powi(2);
                *before = sample;
            }
            let power = sum / hop as f64;
            powers.push(if power.is_finite() { power } else { 0.0 });
        }
    }
    Ok(powers)
}

/// By how much a channel stands out where it sounds, and the middles of some such places; `None` when it sounds nowhere, in
/// one place, or most of the time.
fn sounding(pieces: &[(&i64, &[f64])], hop: f64) -> Option<(f64, Vec<f64>)> {
    let mut all: Vec<f64> = pieces.iter().flat_map(|piece| piece.1).copied().collect();
    let quiet = median(&mut all)?;
    let least = (LOUD * quiet).max(FAINT);
    let loud = all.iter().filter(|power| **power > least).count();
    if loud == 0 || loud as f64 > SHARE * all.len() as f64 {
        return None;
    }
    let reach = (TOGETHER_S * HOPS_PER_S) as usize;
    // energy and middle of each place
    let mut places: Vec<(f64, f64)> = Vec::new();
    for (start, powers) in pieces {
        let mut last: Option<usize> = None;
        let (mut energy, mut moment) = (0.0, 0.0);
        for (i, &power) in powers.iter().enumerate() {
            let over = last.is_some_and(|last| i - last > reach);
            if over && energy > 0.0 {
                places.push((energy, **start as f64 + moment / energy * hop));
                (energy, moment, last) = (0.0, 0.0, None);
            }
            if power > least {
                last = Some(i);
                energy += power;
                moment += power * (i as f64 + 0.5);
            }
        }
        if energy > 0.0 {
            places.push((energy, **start as f64 + moment / energy * hop));
        }
    }
    if places.len() < 2 {
        return None;
    }
    let strength: f64 = places.iter().map(|place| place.0).sum();
    let many = places.len().min(WINDOWS);
    // the strongest of each of ten parts of the take
    let middles = (0..many).filter_map(|i| {
        let part = &places[i * places.len() / many..(i + 1) * places.len() / many];
        part.iter()
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .map(|place| place.1)
    });
    Some((strength / loud as f64 / quiet.max(FAINT), middles.collect()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::progress::Silent;
    use crate::signal::MemorySound;
    use crate::units::{LeadPos, SampleRate, Samples};

    /// Noise of this size, a tone over it where told.
    fn plane(seconds: f64, noise: f64, sounds: &[(f64, f64)]) -> Vec<f64> {
        let mut state = 1_u64;
        (0..(seconds * 48_000.0) as u64)
            .map(|i| {
                state = state
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1_442_695_040_888_963_407);
                let random = (state >> 11) as f64 / (1_u64 << 52) as f64 - 1.0;
                let t_s = i as f64 / 48_000.0;
                let on = sounds.iter().any(|(a, b)| (*a..*b).contains(&t_s));
                noise * random
                    + if on {
                        0.1 * (0.8 * i as f64).sin()
                    } else {
                        0.0
                    }
            })
            .collect()
    }

    #[test]
    fn what_sounds_now_and_then_is_found_where_it_sounds() {
        let sounds = [(7.0, 7.3), (7.4, 7.7), (31.0, 31.7), (64.2, 64.9)];
        let lead = MemorySound::new(
            SampleRate(48_000),
            vec![plane(80.0, 0.01, &[]), plane(80.0, 1e-4, &sounds)],
        );
        let guess = Guess {
            offset: LeadPos(0.0),
            within: Samples(100.0),
        };
        let pairs = [(0, 0), (0, 1), (1, 0), (1, 1)];
        let (found, followers) = seldom(&lead, &lead, &guess, &pairs, &Silent).expect("memory");
        assert_eq!(followers, [1]);
        assert_eq!((found.len(), found[0].channel), (1, 1));
        let middles: Vec<f64> = found[0].middles.iter().map(|m| m / 48_000.0).collect();
        for (found, expected) in middles.iter().zip([7.35, 31.35, 64.55]) {
            assert!((found - expected).abs() < 0.01, "{middles:?}");
        }
    }

    #[test]
    fn steady_sound_silence_and_one_event_are_nothing() {
        for (noise, sounds) in [(0.1, vec![]), (0.0, vec![]), (1e-3, vec![(5.0, 5.5)])] {
            let lead = MemorySound::new(SampleRate(48_000), vec![plane(40.0, noise, &sounds)]);
            let guess = Guess {
                offset: LeadPos(0.0),
                within: Samples(100.0),
            };
            let (found, _) = seldom(&lead, &lead, &guess, &[(0, 0)], &Silent).expect("memory");
            assert!(found.is_empty(), "{noise}");
        }
    }
}
