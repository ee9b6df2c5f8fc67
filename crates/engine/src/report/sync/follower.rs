//! A member of a joint take in, its lines of the sync report out.

use super::{Closure, Offset, Rate, SyncedFollower, Ties};
use crate::alignment::{Evidence, JointTake, Member, Status};
use crate::report::lag::{Lag, lag_of};
use crate::report::{Fitness, Output, say};

/// The most points that a curve is kept with.
const MOST_POINTS: usize = 241;

/// The lines of a follower.
pub fn follower(member: &Member, joint: &JointTake, output: Option<&Output>) -> SyncedFollower {
    let known = member.status != Status::NotEstablished;
    let evidence = member.evidence.as_ref();
    let fitness = Fitness::of(member, joint);
    let uses = |wanted: bool| {
        let uses = fitness.iter().flat_map(|fitness| &fitness.uses);
        let uses = uses.filter(|one| one.good_enough == wanted);
        uses.map(|one| one.name.to_string()).collect()
    };
    SyncedFollower {
        unit: member.unit.clone(),
        take: member.take.clone(),
        basis: member.basis,
        status: member.status,
        claim: say::claim_words(member, joint),
        offset: known.then_some(Offset {
            samples: member.offset_samples,
            sigma_samples: member.offset_sigma_samples,
            bound_samples: member.offset_bound_samples,
        }),
        rate: (known && member.rate_measured).then_some(Rate {
            ppm: member.rate_ppm,
            sigma_ppm: member.rate_sigma_ppm,
            over_take_samples: member.rate_ppm * 1e-6 * member.length_samples as f64,
        }),
        curve: match known {
            true => lag_of(member, joint).map_or(Vec::new(), |lag| curve(&lag)),
            false => Vec::new(),
        },
        slips: member.slips.clone(),
        came_as: say::placement(member.placement).into(),
        decision: member.decision_words().unwrap_or_default(),
        through: evidence
            .and_then(|evidence| evidence.through.clone())
            .unwrap_or_default(),
        ties: evidence.map_or_else(Ties::default, ties),
        closures: evidence.map_or_else(Vec::new, closures),
        common_level: evidence.and_then(|evidence| evidence.common_level.clone()),
        residuals: output.map_or(Vec::new(), |output| {
            let own = output.residuals.iter();
            own.filter(|one| one.unit == member.unit).cloned().collect()
        }),
        worst_s: fitness.as_ref().map(Fitness::largest_s),
        good_for: uses(true),
        not_good_for: uses(false),
    }
}

fn ties(evidence: &Evidence) -> Ties {
    Ties {
        found: evidence.ties.len(),
        used: evidence.ties.iter().filter(|tie| tie.used).count(),
        scatter_samples: evidence.residual_rms_samples,
    }
}

fn closures(evidence: &Evidence) -> Vec<Closure> {
    let rings = evidence.signs.iter();
    let rings = rings.filter(|sign| sign.name.starts_with("closure over"));
    let closure = |sign: &crate::finding::Sign| Closure {
        ring: sign.name.clone(),
        value: sign.value,
        limit: sign.limit,
        closes: sign.passed,
    };
    rings.map(closure).collect()
}

/// The lag with its band, thinned to what a printed curve shows, in figures that a person can read.
fn curve(lag: &Lag) -> Vec<[f64; 4]> {
    let short = |value: f64, decimals: i32| {
        let scale = 10_f64.powi(decimals);
        (value * scale).round() / scale
    };
    let points = lag.whole.iter().zip(&lag.wander).zip(&lag.sigma);
    let points: Vec<[f64; 4]> = points
        .map(|((whole, wander), sigma)| {
            let at = short(whole.0, 3);
            [at, short(whole.1, 5), short(wander.1, 5), short(*sigma, 5)]
        })
        .collect();
    let step = points.len().div_ceil(MOST_POINTS).max(1);
    let mut kept: Vec<[f64; 4]> = points.iter().step_by(step).copied().collect();
    if kept.last() != points.last() {
        kept.extend(points.last());
    }
    kept
}
