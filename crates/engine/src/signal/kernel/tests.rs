//! The kernel held to analytic signals, to another library's interpolation and to itself on every instruction set.

use super::*;

/// 40 tones from 1 to 20 kHz at 48 kHz, known at every instant; the tones' levels add up to about -19 dBFS.
fn tones(t: f64) -> f64 {
    (0..40)
        .map(|i| {
            let hz = 1000.0 * 20.0_f64.powf(f64::from(i) / 39.0);
            (2.0 * PI * hz / 48_000.0 * t + f64::from(i * i) * 0.7).sin() * 0.025
        })
        .sum()
}

/// What renders at 48 kHz.
static RENDER: std::sync::LazyLock<KernelSpec> =
    std::sync::LazyLock::new(|| KernelSpec::rendering(48_000.0, 48_000.0));

fn residual_db(spec: KernelSpec) -> f64 {
    let kernel = Kernel::new(spec);
    let plane: Vec<f64> = (0..6000).map(|k| tones(f64::from(k))).collect();
    let positions: Vec<f64> = (0..4000)
        .map(|n| 200.0 + f64::from(n) * (1.0 + 0.37e-3))
        .collect();
    let mut out = vec![0.0; positions.len()];
    kernel.resample(&[&plane], &positions, &mut [&mut out]);
    let (mut error, mut signal) = (0.0, 0.0);
    for (position, value) in positions.iter().zip(&out) {
        let truth = tones(*position);
        error += (value - truth) * (value - truth);
        signal += truth * truth;
    }
    10.0 * (error / signal).log10()
}

#[test]
fn the_rendering_kernel_errs_below_minus_165_db_up_to_20_khz() {
    let db = residual_db(*RENDER);
    assert!(db < -165.0, "{db:.1} dB");
}

#[test]
fn the_measuring_kernel_errs_below_minus_140_db_up_to_20_khz() {
    let db = residual_db(KernelSpec::MEASURE);
    assert!(db < -140.0, "{db:.1} dB");
}

/// The slow obvious way: the windowed sinc evaluated at the position itself, no table.
#[test]
fn the_table_equals_the_formula() {
    let kernel = Kernel::new(*RENDER);
    let plane: Vec<f64> = (0..400).map(|k| tones(f64::from(k))).collect();
    let positions: Vec<f64> = (0..97).map(|i| 150.0 + f64::from(i) * 1.01).collect();
    let mut out = vec![0.0; positions.len()];
    kernel.resample(&[&plane], &positions, &mut [&mut out]);
    let design = Design {
        taps: kernel.taps,
        beta: 0.1102 * (RENDERING_DB - 8.7),
        cut_off: 1.0,
    };
    for (position, value) in positions.iter().zip(&out) {
        let first = position.floor() as usize - kernel.before();
        let exact: f64 = design
            .exact_row(position - position.floor())
            .iter()
            .zip(&plane[first..])
            .map(|(a, b)| a * b)
            .sum();
        assert!(
            (exact - value).abs() < 1e-10,
            "{position}: {value} against {exact}"
        );
    }
}

#[cfg(target_arch = "x86_64")]
#[test]
fn instruction_sets_give_the_same_bits_where_they_round_alike() {
    let mut kernel = Kernel::new(*RENDER);
    let planes: Vec<Vec<f64>> = (0..7)
        .map(|plane| {
            (0..2000)
                .map(|k| tones(f64::from(k + plane * 31)))
                .collect()
        })
        .collect();
    // apart by what crystals differ by, by more, and by whole steps; falling
    for step in [1.0 + 12e-6, 1.0 - 150e-6, 1.000_37, 1.01, 0.918_75, -1.0] {
        for count in [1, 2, 3, 4, 7] {
            let planes: Vec<&[f64]> = planes[..count].iter().map(|plane| &plane[..]).collect();
            let start = if step < 0.0 { 1700.3 } else { 100.999 };
            let positions: Vec<f64> = (0..1501).map(|i| start + f64::from(i) * step).collect();
            let mut by = |level: Level| {
                kernel.level = level;
                let mut out = vec![vec![0.0; positions.len()]; count];
                let mut slices: Vec<&mut [f64]> = out.iter_mut().map(|out| &mut out[..]).collect();
                kernel.resample(&planes, &positions, &mut slices);
                out.concat()
            };
            let found = Level::new();
            let twice = [
                found.as_sse2().map(Level::Sse2),
                found.as_sse4_2().map(Level::Sse4_2),
            ];
            let once = [
                found.as_avx2().map(Level::Avx2),
                found.as_avx512().map(Level::Avx512),
            ];
            let twice: Vec<Vec<f64>> = twice.into_iter().flatten().map(&mut by).collect();
            let once: Vec<Vec<f64>> = once.into_iter().flatten().map(&mut by).collect();
            assert!(!twice.is_empty());
            for alike in [&twice, &once] {
                let same = alike.windows(2).all(|pair| pair[0] == pair[1]);
                assert!(same, "{count} planes, step {step}");
            }
            // 64 products of values below 1 and coefficients whose magnitudes add up to less than 4
            let bound = 64.0 * 4.0 * f64::EPSILON;
            for (a, b) in twice.iter().zip(&once).flat_map(|(a, b)| a.iter().zip(b)) {
                assert!((a - b).abs() < bound, "{a} {b}");
            }
        }
    }
}

/// Positions side by side and positions by themselves are the same sums, so that it does not matter where ranges are cut.
#[test]
fn however_it_is_cut_the_values_are_the_same() {
    let kernel = Kernel::new(*RENDER);
    let plane: Vec<f64> = (0..2000).map(|k| tones(f64::from(k))).collect();
    // a whole sample is passed, and every 80th position lies in the next phase
    let positions: Vec<f64> = (0..1000)
        .map(|i| 100.99 + f64::from(i) * (1.0 + 12e-6))
        .collect();
    for planes in [1, 2, 3, 5] {
        let planes = vec![&plane[..]; planes];
        let by = |length: usize| {
            let mut out = vec![vec![0.0; positions.len()]; planes.len()];
            for (number, part) in positions.chunks(length).enumerate() {
                let from = number * length;
                let mut slices: Vec<&mut [f64]> = out
                    .iter_mut()
                    .map(|out| &mut out[from..from + part.len()])
                    .collect();
                kernel.resample(&planes, part, &mut slices);
            }
            out
        };
        let whole = by(positions.len());
        for length in [1, 7, 8, 9, 24, 100] {
            assert_eq!(by(length), whole, "{length}");
        }
    }
}

#[test]
fn an_impulse_lands_where_it_was_and_the_kernel_is_symmetric() {
    let kernel = Kernel::new(*RENDER);
    let mut plane = vec![0.0; 400];
    plane[200] = 1.0;
    // positions at equal distances before and after the impulse
    let positions: Vec<f64> = (-400..=400).map(|i| 200.0 + f64::from(i) * 0.125).collect();
    let mut out = vec![0.0; positions.len()];
    kernel.resample(&[&plane], &positions, &mut [&mut out]);
    let centre: f64 = positions
        .iter()
        .zip(&out)
        .map(|(p, v)| p * v * v)
        .sum::<f64>()
        / out.iter().map(|v| v * v).sum::<f64>();
    assert!((centre - 200.0).abs() < 1e-6, "{centre}");
    for (early, late) in out.iter().zip(out.iter().rev()) {
        assert!((early - late).abs() < 1e-9, "{early} {late}");
    }
}

/// The largest error of `kernel` at `positions` of a sound that is known at every instant, the values there being `share` of
/// it; and the largest value.
fn worst(
    kernel: &Kernel,
    length: i32,
    positions: &[f64],
    (sound, share): (impl Fn(f64) -> f64, f64),
) -> (f64, f64) {
    let plane: Vec<f64> = (0..length).map(|k| sound(f64::from(k))).collect();
    let mut out = vec![0.0; positions.len()];
    kernel.resample(&[&plane], positions, &mut [&mut out]);
    let off = positions.iter().zip(&out);
    let off = off.map(|(position, value)| (value - share * sound(*position)).abs());
    let peak = out.iter().map(|value| value.abs());
    (off.fold(0.0, f64::max), peak.fold(0.0, f64::max))
}

#[test]
fn a_tone_keeps_its_phase_and_its_level() {
    let kernel = Kernel::new(*RENDER);
    for hz in [20.0, 997.0, 10_007.0, 19_997.0] {
        let tone = |t: f64| (2.0 * PI * hz / 48_000.0 * t).sin();
        let positions: Vec<f64> = (0..4800)
            .map(|i| 200.0 + f64::from(i) * 1.000_012)
            .collect();
        let (worst, _) = worst(&kernel, 5200, &positions, (tone, 1.0));
        // 1e-8 of full scale bounds both the phase (radian) and the level error; -160 dB
        assert!(worst < 1e-8, "{hz} Hz: {worst:e}");
    }
}

#[test]
fn a_sweep_is_followed_without_spurious_tones() {
    let kernel = Kernel::new(*RENDER);
    // 100 Hz to 20 kHz in half a second, phase = 2 pi (f0 t + (f1 - f0) t^2 / 2T)
    let sweep = |position: f64| {
        let t = position / 48_000.0;
        (2.0 * PI * (100.0 * t + 19_900.0 * t * t)).sin()
    };
    let positions: Vec<f64> = (0..23_700)
        .map(|i| 100.0 + f64::from(i) * 1.000_1)
        .collect();
    let (worst, _) = worst(&kernel, 24_000, &positions, (sweep, 1.0));
    assert!(worst < 1e-7, "{worst:e}");
}

#[test]
fn half_the_rate_keeps_the_pass_band_and_folds_nothing() {
    // 96 kHz onto 48 kHz: a tone at 15 kHz stays, one at 30 kHz (which would fold to 18 kHz) goes
    let kernel = Kernel::new(KernelSpec::rendering(96_000.0, 48_000.0));
    let positions: Vec<f64> = (0..2000).map(|i| 400.0 + f64::from(i) * 2.000_02).collect();
    let level_db = |hz: f64| {
        let tone = |t: f64| (2.0 * PI * hz / 96_000.0 * t).sin();
        let (kept, peak) = worst(&kernel, 4900, &positions, (tone, 1.0));
        (20.0 * kept.log10(), 20.0 * peak.log10())
    };
    assert!(level_db(15_000.0).0 < -140.0, "{:?}", level_db(15_000.0));
    assert!(level_db(20_000.0).0 < -140.0, "{:?}", level_db(20_000.0));
    assert!(level_db(24_100.0).1 < -140.0, "{:?}", level_db(24_100.0));
    assert!(level_db(30_000.0).1 < -140.0, "{:?}", level_db(30_000.0));
}

#[test]
fn twice_the_rate_leaves_no_image() {
    // 48 kHz onto 96 kHz: a tone at 19 kHz has its first image at 29 kHz; the analytic tone holds none
    let kernel = Kernel::new(KernelSpec::rendering(48_000.0, 96_000.0));
    let tone = |t: f64| (2.0 * PI * 19_000.0 / 48_000.0 * t).sin();
    let positions: Vec<f64> = (0..2000).map(|i| 200.0 + f64::from(i) * 0.499_99).collect();
    let (worst, _) = worst(&kernel, 1500, &positions, (tone, 1.0));
    assert!(20.0 * worst.log10() < -140.0, "{worst:e}");
}

#[test]
fn a_whole_position_returns_the_sample_itself() {
    let kernel = Kernel::new(*RENDER);
    let plane: Vec<f64> = (0..400).map(|k| tones(f64::from(k))).collect();
    let mut out = [0.0; 1];
    kernel.resample(&[&plane], &[200.0], &mut [&mut out]);
    assert!(
        (out[0] - plane[200]).abs() < 1e-10,
        "{} {}",
        out[0],
        plane[200]
    );
}

#[test]
fn the_parabola_goes_through_its_points() {
    let x = [0.0, 0.25, 1.0];
    let c = parabola_through(&x, &x.map(|x| 1.0 - 2.0 * x + 3.0 * x * x));
    for (found, true_value) in c.iter().zip([1.0, -2.0, 3.0]) {
        assert!((found - true_value).abs() < 1e-12, "{c:?}");
    }
}

/// The pass band ends at 20 kHz at 44.1 and 48 kHz and above; between rates the stop band begins at the lower Nyquist
/// frequency.
#[test]
fn every_rate_is_flat_to_20_khz() {
    for (own, lead) in [
        (44_100.0, 44_100.0),
        (48_000.0, 48_000.0),
        (96_000.0, 96_000.0),
        (44_100.0, 48_000.0),
        (48_000.0, 44_100.0),
        (96_000.0, 44_100.0),
        (48_000.0, 192_000.0),
    ] {
        let kernel = Kernel::new(KernelSpec::rendering(own, lead));
        let response_db = |hz: f64, true_level: f64| {
            let tone = |t: f64| (2.0 * PI * hz / own * t).sin();
            let positions: Vec<f64> = (0..900)
                .map(|n| 1000.0 + f64::from(n) * own / lead * 1.000_03)
                .collect();
            let (worst, _) = worst(&kernel, 6000, &positions, (tone, true_level));
            20.0 * worst.log10()
        };
        for hz in [100.0, 10_000.0, 19_990.0] {
            let db = response_db(hz, 1.0);
            assert!(db < -155.0, "{own} to {lead} Hz, {hz} Hz: {db:.1} dB");
        }
        // what would fold is gone
        if own > 1.01 * lead {
            let db = response_db(lead / 2.0 + 10.0, 0.0);
            assert!(db < -155.0, "{own} to {lead} Hz: {db:.1} dB");
        }
    }
}
