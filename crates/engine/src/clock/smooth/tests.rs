//! Phases with known noise and known clocks, smoothed.

use super::*;

/// A fixed scrambling of the index: uniform in -0.5..0.5.
fn noise(i: usize) -> f64 {
    let x = (i as u64 + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    let x = (x ^ (x >> 29)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    ((x ^ (x >> 32)) >> 11) as f64 / (1u64 << 53) as f64 - 0.5
}

/// Twelve uniform numbers added up: normal enough, of unit variance.
fn normal(i: usize) -> f64 {
    (0..12).map(|j| noise(12 * i + j)).sum()
}

fn rms(values: impl Iterator<Item = f64>) -> f64 {
    let (count, sum) = values.fold((0.0, 0.0), |(n, s), v| (n + 1.0, s + v * v));
    f64::sqrt(sum / count)
}

fn seconds(n: u32) -> Vec<f64> {
    (0..n).map(|i| f64::from(i) * 0.34).collect()
}

#[test]
fn a_sine_wander_is_followed_within_its_noise_past_outliers() {
    let t = seconds(800);
    let truth: Vec<f64> = t
        .iter()
        .map(|t| 12e-6 * t + 2e-6 * (t / 15.0).sin())
        .collect();
    let sigma = 2e-8;
    let mut z: Vec<f64> = truth
        .iter()
        .enumerate()
        .map(|(i, x)| x + sigma * normal(i))
        .collect();
    for outlier in [0, 1, 400, 401, 402, 799] {
        z[outlier] += 1e-4;
    }
    let smooth = smooth(&Phases {
        t,
        z,
        variance: vec![sigma * sigma; 800],
    })
    .expect("enough");
    let error = rms(smooth.phase.iter().zip(&truth).map(|(a, b)| a - b));
    assert!(error < sigma, "{error:e}");
    for outlier in [0, 1, 400, 401, 402, 799] {
        assert!(smooth.weight[outlier] < 1e-3, "{outlier}");
    }
    let claimed = smooth.variance()[200].sqrt();
    assert!(
        claimed < sigma && claimed > error / 3.0,
        "claimed {claimed:e}, true {error:e}"
    );
}

#[test]
fn a_straight_clock_comes_out_as_the_least_squares_line() {
    // Variance of a line through n points of unit variance: 4 / n at the ends, 1 / n in the middle.
    let n = 881;
    let t = seconds(n);
    let sigma = 1.3e-9;
    let z: Vec<f64> = t
        .iter()
        .enumerate()
        .map(|(i, t)| 12e-6 * t + sigma * normal(i))
        .collect();
    let smooth = smooth(&Phases {
        z,
        variance: vec![sigma * sigma; n as usize],
        t: t.clone(),
    })
    .expect("enough");
    let (middle, end) = (n as usize / 2, n as usize - 1);
    let per_point = sigma / f64::from(n).sqrt();
    for (i, expected) in [(middle, 1.0), (end, 2.0), (0, 2.0)] {
        let claimed = smooth.variance()[i].sqrt() / per_point;
        assert!((claimed / expected - 1.0).abs() < 0.25, "{i}: {claimed}");
        let error = (smooth.phase[i] - 12e-6 * t[i]) / per_point;
        assert!(error.abs() < 3.5 * expected, "{i}: {error}");
    }
    // Variance of the slope of that line: 12 / n over the span squared.
    let ends = smooth.ends_variance.sqrt() / per_point;
    assert!((ends / 12f64.sqrt() - 1.0).abs() < 0.25, "{ends}");
    let bend = smooth.rate.iter().map(|r| (r - smooth.rate[middle]).abs());
    assert!(bend.fold(0.0, f64::max) < 1e-13, "not straight");
}

#[test]
fn a_rate_that_jumps_once_is_followed_and_stays_sharp_elsewhere() {
    let t = seconds(1600);
    let (sigma, jump) = (2e-9, t[800] + 0.1);
    let truth: Vec<f64> = t
        .iter()
        .map(|t| 8e-6 * t + 6e-6 * (t - jump).max(0.0))
        .collect();
    let z: Vec<f64> = truth
        .iter()
        .enumerate()
        .map(|(i, x)| x + sigma * normal(i))
        .collect();
    let variance = vec![sigma * sigma; 1600];
    let smooth = smooth(&Phases { t, z, variance }).expect("enough");
    let miss = |i: usize| (smooth.phase[i] - truth[i]).abs();
    // a tenth of a sample at 48 kHz: the blocks about the jump pass for outliers
    let worst = (0..1600).map(miss).fold(0.0, f64::max);
    assert!(worst < 2.1e-6, "{worst:e}");
    let calm = rms((0..700).map(|i| smooth.phase[i] - truth[i]));
    assert!(calm < sigma, "{calm:e}");
}

#[test]
fn scatter_beyond_what_was_claimed_is_noticed() {
    let t = seconds(400);
    let z: Vec<f64> = (0..400).map(|i| 5e-8 * normal(i)).collect();
    let variance = vec![1e-16; 400];
    let smooth = smooth(&Phases { t, z, variance }).expect("enough");
    assert!((15.0..40.0).contains(&smooth.scale), "{}", smooth.scale);
}

#[test]
fn beyond_the_last_measurement_doubt_grows() {
    let t = seconds(400);
    let z: Vec<f64> = (0..400).map(|i| 5e-9 * normal(i)).collect();
    let variance = vec![25e-18; 400];
    let smooth = smooth(&Phases { t, z, variance }).expect("enough");
    let at = |after, least| smooth.beyond(399, after, least).1;
    assert!(at(10.0, 0.0) < at(100.0, 0.0) && at(0.0, 0.0) < at(10.0, 0.0));
    // q2 D^3 / 3 = 2.4e-17 * 1e6 / 3
    assert!((at(100.0, 2.4e-17) - at(100.0, 0.0) - 8e-12).abs() < 1e-13);
    assert!(smooth.beyond(0, -100.0, 0.0).1 > at(0.0, 0.0));
}

#[test]
fn two_points_are_no_clock() {
    let phases = Phases {
        t: vec![0.0, 1.0],
        z: vec![0.0; 2],
        variance: vec![1e-16; 2],
    };
    assert!(smooth(&phases).is_none());
}

/// Over many takes of a minute: root mean square of the errors of start and gain, in claimed sigma, and the share of all
/// phases within two sigma.
fn honesty(clock: impl Fn(u32, f64) -> f64) -> (f64, f64, f64) {
    let (n, sigma) = (176, 2e-9);
    let t = seconds(n);
    let takes = (0..24).map(|take| {
        let truth: Vec<f64> = t.iter().map(|t| clock(take, *t)).collect();
        let noise = |i: usize| sigma * normal(1000 * take as usize + i);
        let z = truth.iter().enumerate().map(|(i, x)| x + noise(i));
        let smooth = smooth(&Phases {
            z: z.collect(),
            variance: vec![sigma * sigma; n as usize],
            t: t.clone(),
        })
        .expect("enough");
        let off: Vec<f64> = smooth
            .phase
            .iter()
            .zip(&truth)
            .map(|(a, b)| a - b)
            .collect();
        let end = off.len() - 1;
        let variance = smooth.variance();
        let within = off
            .iter()
            .zip(&variance)
            .filter(|(o, v)| *o * *o < 4.0 * *v);
        (
            off[0] / variance[0].sqrt(),
            (off[end] - off[0]) / smooth.ends_variance.sqrt(),
            within.count() as f64 / off.len() as f64,
        )
    });
    let takes: Vec<(f64, f64, f64)> = takes.collect();
    (
        rms(takes.iter().map(|take| take.0)),
        rms(takes.iter().map(|take| take.1)),
        takes.iter().map(|take| take.2).sum::<f64>() / 24.0,
    )
}

#[test]
fn what_is_claimed_of_wandering_clocks_holds_at_their_ends_too() {
    // 24 takes tell a root mean square to a seventh; 0.3 ppm with periods of 97 s and 41 s
    let wander = |take: u32, t: f64| {
        let turn = 2.4 * f64::from(take);
        3.2e-6 * (t / 15.44 + turn).sin() + 0.6e-6 * (t / 6.53 + 2.0 * turn).sin()
    };
    let (start, gained, within) = honesty(wander);
    assert!((0.6..1.4).contains(&start), "start {start}");
    assert!((0.6..1.4).contains(&gained), "gained {gained}");
    assert!((0.9..0.995).contains(&within), "within {within}");
}

#[test]
fn what_is_claimed_of_a_rate_that_jumps_holds() {
    // up by 6 ppm and down again, anywhere between two measurements
    let jumps = |take: u32, t: f64| {
        let at = 20.0 + 0.0618 * f64::from(take);
        6e-6 * ((t - at).max(0.0) - (t - at - 20.0).max(0.0))
    };
    let (start, gained, within) = honesty(jumps);
    assert!((0.6..1.4).contains(&start), "start {start}");
    assert!((0.6..1.4).contains(&gained), "gained {gained}");
    assert!((0.9..0.999).contains(&within), "within {within}");
}
