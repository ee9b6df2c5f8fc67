//! A scene in, what measuring it found against what is true out; and quantiles, shares and roots of many such.

use engine::clock::acoustic::{AcousticRequest, measure_acoustic};
use engine::clock::common::measure_common;
use engine::clock::{Knot, Measured, Outcome};
use engine::progress::Silent;
use engine::signal::Sound as _;
use engine::tie::Guess;
use engine::tie::common::find_common;
use engine::units::{LeadPos, Samples, UnitPos};

use super::scenes::Scene;

/// One measurement against the truth; samples of 48 kHz unless said.
#[derive(Debug, Clone)]
pub struct Score {
    /// Found less true lead position of the follower's sample 0.
    pub offset: f64,
    /// The same in sigma; by content it is the first knot against the curve's mean.
    pub offset_z: f64,
    /// Found less true mean rate, parts per million.
    pub rate_ppm: f64,
    /// The same in sigma.
    pub rate_z: f64,
    /// Root mean square error of the curve; by content about its mean.
    pub rms: f64,
    /// Largest error of the curve; by content about its mean.
    pub worst: f64,
    /// Share of the time in which the curve is within two sigma of the truth.
    pub within: f64,
    /// Root mean square of the curve's errors in sigma.
    pub z: f64,
}

/// Measures on the common signal of the scene.
pub fn by_wire(scene: &Scene) -> Result<Score, String> {
    let [lead, follower] = &scene.sounds;
    let guess = Guess {
        offset: LeadPos((scene.offset + 1607.3).round()),
        within: Samples(4800.0),
    };
    let pairs = find_common(lead, follower, &guess, &Silent).expect("memory");
    let pair = pairs.first().ok_or("no common signal was found")?;
    match measure_common(lead, follower, pair, &Silent).expect("memory") {
        Outcome::Locked(measured) => Ok(score(scene, &measured, About::Itself)),
        Outcome::NotEstablished { why, .. } => Err(why),
    }
}

/// Measures by the sound of the room.
pub fn by_room(scene: &Scene) -> Result<Score, String> {
    let request = AcousticRequest {
        lead: &scene.sounds[0],
        follower: &scene.sounds[1],
        pairs: None,
        guess: Guess {
            offset: LeadPos(scene.offset),
            within: Samples(100.0),
        },
        spacing_m: scene.spacing_m,
    };
    match measure_acoustic(&request, &Silent).expect("memory").outcome {
        Outcome::Locked(measured) => Ok(score(scene, &measured, About::Mean)),
        Outcome::NotEstablished { why, .. } => Err(why),
    }
}

/// What a curve's error is counted from.
#[derive(Clone, Copy, PartialEq, Eq)]
enum About {
    Itself,
    Mean,
}

fn score(scene: &Scene, measured: &Measured, about: About) -> Score {
    // figures are told in samples at 48 kHz
    let scale = 48_000.0 / scene.sounds[0].rate().hz();
    let (first, last) = scene.shared();
    let miss = |k: f64| measured.clock.lead_at(UnitPos(k)).0 - scene.lead_at(k);
    let even: Vec<f64> = (0..=2000)
        .map(|i| first + (last - first) * f64::from(i) / 2000.0)
        .collect();
    let misses: Vec<f64> = even.iter().map(|k| miss(*k)).collect();
    let mean = match about {
        About::Itself => 0.0,
        About::Mean => misses.iter().sum::<f64>() / misses.len() as f64,
    };
    let errors: Vec<f64> = misses.iter().map(|m| scale * (m - mean)).collect();
    let knots = measured.clock.knots();
    let z: Vec<f64> = misses
        .iter()
        .zip(&even)
        .map(|(miss, k)| (miss - mean) / sigma_at(knots, *k))
        .collect();
    let rate_ppm = measured.rate.0 - scene.rate_ppm();
    let offset = miss(0.0) - mean;
    Score {
        offset: scale * offset,
        offset_z: offset / measured.offset_sigma.0,
        rate_ppm,
        rate_z: rate_ppm / measured.rate_sigma.0,
        rms: root(&errors),
        worst: errors.iter().fold(0.0, |most, e| most.max(e.abs())),
        within: within_two(&z),
        z: root(&z),
    }
}

/// The sigma claimed at a follower position: straight between knots.
fn sigma_at(knots: &[Knot], follower: f64) -> f64 {
    let after = knots.partition_point(|knot| knot.follower.0 <= follower);
    let end = after.clamp(1, knots.len() - 1);
    let (a, b) = (knots[end - 1], knots[end]);
    let part = (follower - a.follower.0) / (b.follower - a.follower).0;
    a.sigma.0 + (b.sigma.0 - a.sigma.0) * part
}

/// Root mean square.
pub fn root(values: &[f64]) -> f64 {
    (values.iter().map(|v| v * v).sum::<f64>() / values.len().max(1) as f64).sqrt()
}

/// Mean.
pub fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len().max(1) as f64
}

/// Share of the values within two.
pub fn within_two(values: &[f64]) -> f64 {
    values.iter().filter(|z| z.abs() <= 2.0).count() as f64 / values.len().max(1) as f64
}

/// Median, 90 % and worst of the absolute values.
pub fn quantiles(values: &[f64]) -> [f64; 3] {
    let mut sizes: Vec<f64> = values.iter().map(|v| v.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    let at = |share: f64| {
        let place = (share * sizes.len() as f64).ceil() as usize;
        sizes
            .get(place.saturating_sub(1))
            .copied()
            .unwrap_or(f64::NAN)
    };
    [at(0.5), at(0.9), at(1.0)]
}
