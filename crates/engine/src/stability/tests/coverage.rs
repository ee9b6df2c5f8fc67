//! How often a 95 % interval or a forecast of a simulated clock is wrong. The figures of longer runs: docs/decisions/stability.md.

use super::simulated::{Kind, Random, phases};
use super::spaced;
use crate::stability::judge::taken_apart;
use crate::stability::{Judged, Outlook, Rate, Reading, Temperature, Until};

const POINTS: usize = 512;
const SEEDS: u64 = 200;

/// The phases of measuring a clock for `POINTS` seconds.
fn measured(all: &[f64], noise: f64, seed: u64) -> Vec<f64> {
    let white = phases(Kind::WhitePhase, POINTS, seed + 99_999);
    let both = all[..POINTS].iter().zip(&white);
    both.map(|(clock, white)| clock + noise * white).collect()
}

/// The 95 % intervals of all octaves miss the true Allan deviation about as often as they say. White rate: `1 / tau`; flicker
/// made so: `2 ln 2 / pi` once a few values are averaged; walking rate: `(2 m^2 + 1) / (6 m)` (each by summing the covariances
/// of its definition).
#[test]
fn intervals_miss_the_truth_as_often_as_they_say() {
    type Variance = fn(f64) -> f64;
    let kinds: [(Kind, Variance); 3] = [
        (Kind::WhiteRate, |m| 1.0 / m),
        (Kind::FlickerRate, |_| {
            2.0 * 2_f64.ln() / std::f64::consts::PI
        }),
        (Kind::WalkingRate, |m| (2.0 * m * m + 1.0) / (6.0 * m)),
    ];
    for (kind, truth) in kinds {
        let (mut missed, mut asked) = (0, 0);
        for seed in 0..SEEDS {
            let judged = Judged::of(&spaced(phases(kind, POINTS, seed)), 0.04);
            for row in judged.rows.iter().filter(|row| row.averaging_s >= 8.0) {
                let true_one = truth(row.averaging_s).sqrt();
                asked += 1;
                missed += u32::from(!(row.allan.low..=row.allan.high).contains(&true_one));
            }
        }
        let share = f64::from(missed) / f64::from(asked);
        assert!((0.02..0.09).contains(&share), "{kind:?}: {share}");
    }
}

/// Clocks go on after the test for up to ten times its length; a limit has been exceeded when the forecast says in about five
/// of a hundred continuations.
#[test]
fn forecasts_are_exceeded_about_as_often_as_they_say() {
    let mut shares = Vec::new();
    for kind in [Kind::WhiteRate, Kind::FlickerRate, Kind::WalkingRate] {
        for noise in [0.0, 3.0] {
            let mut exceeded = [0; 3];
            let mut told = [0; 3];
            for seed in 0..SEEDS {
                let all = phases(kind, 16 * POINTS, seed);
                let test = spaced(measured(&all, noise, seed));
                let (model, line, _) = taken_apart(&test);
                let outlook = Outlook {
                    model: &model,
                    line: &line,
                    end_s: test.at(POINTS - 1),
                    seconds: test.seconds(),
                };
                for (place, part) in [0.1, 1.0, 9.0].into_iter().enumerate() {
                    let after = part * POINTS as f64;
                    let limit = 2.0 * outlook.expected(after, Rate::TakenOut).sigma_s;
                    let Until::Seconds(until) = outlook.until(limit, Rate::TakenOut) else {
                        continue;
                    };
                    let end = all[POINTS - 1];
                    let gone = |t: usize| all[POINTS - 1 + t] - end - line.rate * t as f64;
                    told[place] += 1;
                    exceeded[place] +=
                        u32::from((1..=until as usize).any(|t| gone(t).abs() > limit));
                }
            }
            let of = |place: usize| f64::from(exceeded[place]) / f64::from(told[place]);
            shares.extend([0, 1, 2].map(|place| (kind, noise, of(place))));
        }
    }
    for (kind, noise, share) in &shares {
        assert!(*share <= 0.09, "{kind:?} with {noise}: {share}");
    }
    let mean = shares.iter().map(|one| one.2).sum::<f64>() / shares.len() as f64;
    assert!((0.02..=0.06).contains(&mean), "{mean}: {shares:?}");
}

/// A constant rate beneath a noise of measuring alone: the rate lies within 1.96 sigma in 95 of a hundred tests, and nothing
/// is taken for ageing in more than some.
#[test]
fn rates_are_as_sure_as_they_say_and_ageing_is_seldom_seen_where_there_is_none() {
    let (mut off, mut ageing) = (0, 0);
    for seed in 0..SEEDS {
        let line: Vec<f64> = (0..POINTS).map(|i| 0.25 * i as f64).collect();
        let judged = Judged::of(&spaced(measured(&line, 1.0, seed)), 0.04);
        off += u32::from((1e-6 * judged.rate_ppm - 0.25).abs() > 1.96e-6 * judged.rate_sigma_ppm);
        ageing += u32::from(judged.ageing.is_some());
    }
    assert!((2..=20).contains(&off), "{off} of {SEEDS}");
    assert!(ageing <= 8, "{ageing} of {SEEDS}");
}

/// A rate that changes steadily, with white noise in it, is seen to age, by as much as it does.
#[test]
fn ageing_is_told_where_it_is_beyond_doubt() {
    let per_s = 2e-2;
    let mut off = 0;
    for seed in 0..50 {
        let noise = phases(Kind::WhiteRate, POINTS, seed);
        let bent = noise.iter().enumerate().map(|(i, x)| {
            let t = i as f64;
            x + 0.5 * per_s * t * t
        });
        let judged = Judged::of(&spaced(bent.collect()), 0.04);
        let ageing = judged.ageing.expect("ageing");
        let per_day = 86_400e6;
        let miss = (ageing.ppm_per_day - per_s * per_day).abs();
        off += u32::from(miss > 1.96 * ageing.sigma_ppm_per_day);
    }
    assert!(off <= 7, "{off} of 50");
}

/// A rate that follows the temperature, with white and with walking noise of the rate in it, while the temperature goes up and
/// down once or four times: the slope lies within its interval in 95 of a hundred tests and more.
#[test]
fn slopes_of_temperature_seldom_miss_the_truth() {
    let mut all = Vec::new();
    for slow in [97.0, 24.0] {
        let log: Vec<Reading> = (0..=600)
            .map(|i| Reading {
                at_s: f64::from(i),
                celsius: 20.0 + 3.0 * (f64::from(i) / slow).sin(),
            })
            .collect();
        for (white, walking) in [(1.0, 0.0), (1.0, 0.02), (0.0, 0.05)] {
            let (mut missed, mut sum) = (0, 0.0);
            for seed in 0..SEEDS {
                let told = Temperature::of(&spaced(warmed(&log, [white, walking], seed)), &log);
                let slope = told.slope.expect("a slope");
                sum += 1e-6 * slope.ppm_per_c;
                let miss = (1e-6 * slope.ppm_per_c - 0.5).abs();
                missed += u32::from(miss > 1e-6 * slope.within_ppm_per_c);
            }
            let mean = sum / SEEDS as f64;
            assert!((mean - 0.5).abs() < 0.03, "{white} {walking}: {mean}");
            all.push(missed);
        }
    }
    assert!(all.iter().all(|missed| *missed <= 20), "{all:?} of {SEEDS}");
    assert!(all.iter().sum::<u32>() >= 6, "{all:?} of {SEEDS}");
}

/// Phases of a clock that gains half a second a second with each degree over twenty, with white and walking noise of its rate.
fn warmed(log: &[Reading], [white, walking]: [f64; 2], seed: u64) -> Vec<f64> {
    let mut random = Random(seed * 7919 + 17);
    let (mut ahead, mut rate) = (0.0, 0.0);
    let phases = log[..600].iter().map(|reading| {
        rate += walking * random.normal();
        ahead += 0.5 * (reading.celsius - 20.0) + rate + white * random.normal();
        ahead
    });
    phases.collect()
}

#[test]
fn a_log_that_tells_nothing_is_said_to() {
    let test = spaced((0..600).map(|i| 1e-6 * f64::from(i)).collect());
    let steady = |celsius: f64, from: f64| {
        let at = move |i: i32| Reading {
            at_s: from + f64::from(i),
            celsius,
        };
        (0..600).map(at).collect::<Vec<_>>()
    };
    let told = Temperature::of(&test, &steady(21.0, 0.0));
    assert!(
        told.slope.is_none() && told.why_not.contains("half a degree"),
        "{told:?}"
    );
    assert_eq!(told.mean_c, Some(21.0));
    let elsewhere = Temperature::of(&test, &steady(21.0, 5000.0));
    assert!(elsewhere.mean_c.is_none() && elsewhere.covered == 0.0);
}
