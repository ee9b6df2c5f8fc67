//! Takes of two units that fit nowhere in, the speed at which they would fit out: files whose samples were counted at
//! another rate than they say (44.1 kHz stamped as 48, pulled up or down), or a fault.

use std::borrow::Borrow;

use rayon::prelude::*;

use super::onsets::{Onsets, PER_S};
use super::{Fit, among};
use crate::progress::{Progress, Silent};

/// Speeds that have a name: 1.001 either way, 48 to 44.1 and back.
const NAMED: [f64; 4] = [1.001, 1.0 / 1.001, 48.0 / 44.1, 44.1 / 48.0];
/// Speeds without a name are looked for this far from 1 ...
const FARTHEST: f64 = 0.1;
/// ... in steps of this, which over [`PART_S`] of sound come to less than one step of the onsets ...
const STEP: f64 = 2.5e-4;
/// ... on this much of a take, seconds ...
const PART_S: f64 = 40.0;
/// ... where no more than this many pairs of takes are in question.
const FEW: usize = 4;
/// Then in finer steps on all of it.
const FINE: f64 = 2e-5;
/// A speed is believed when it stands this high and this much higher than at the speed the files claim.
const LEAST: (f64, f64) = (8.0, 1.2);

/// A speed at which two takes fit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Speed {
    /// Samples the follower wrote for one of the lead's at equal nominal rates; 1 when both are what they say.
    pub ratio: f64,
    /// Where they fit, in the lead's and the stretched follower's time.
    pub fit: Fit,
}

/// Looks for a speed at which takes of the follower fit takes of the lead; `None` when none stands out.
#[must_use]
pub fn speed<A, B>(lead: &[A], follower: &[B], progress: &dyn Progress) -> Option<Speed>
where
    A: Borrow<Onsets> + Sync,
    B: Borrow<Onsets> + Sync,
{
    progress.stage("trying other sampling rates", 1);
    let follower: Vec<&Onsets> = follower.iter().map(Borrow::borrow).collect();
    let at = |ratio: f64, takes: &[&Onsets]| -> Option<Speed> {
        let stretched: Vec<Onsets> = takes.iter().map(|take| take.at_speed(ratio)).collect();
        let places = among(lead, &stretched, &Silent);
        places.first().map(|place| Speed {
            ratio,
            fit: place.fit,
        })
    };
    let as_claimed = at(1.0, &follower).map_or(0.0, |speed| speed.fit.height);
    let highest = |ratios: Vec<f64>, takes: &[&Onsets]| -> Option<Speed> {
        let found: Vec<Speed> = ratios
            .into_par_iter()
            .filter_map(|ratio| at(ratio, takes))
            .collect();
        found
            .into_iter()
            .max_by(|a, b| a.fit.height.total_cmp(&b.fit.height))
    };
    let named = highest(NAMED.to_vec(), &follower);
    let stands_out =
        |speed: &Speed| speed.fit.height >= LEAST.0 && speed.fit.height >= LEAST.1 * as_claimed;
    let coarse = named.filter(stands_out).or_else(|| {
        if lead.len() * follower.len() > FEW {
            return None;
        }
        let parts: Vec<Onsets> = follower
            .iter()
            .map(|take| take.middle((PART_S * PER_S) as usize))
            .collect();
        let steps = (FARTHEST / STEP) as i32;
        let all = (-steps..=steps)
            .map(|i| 1.0 + STEP * f64::from(i))
            .collect();
        highest(all, &parts.iter().collect::<Vec<_>>()).filter(stands_out)
    })?;
    let near = (-12..=12)
        .map(|i| coarse.ratio + FINE * f64::from(i))
        .collect();
    progress.advance(1);
    highest(near, &follower)
}
