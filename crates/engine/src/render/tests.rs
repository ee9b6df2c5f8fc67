//! Rendering held to analytic signals at known clocks, to exact copies, and to itself in other divisions.

use super::{Course, Renderer};
use crate::alignment::{Basis, Channel, JointTake, Member, Placement, Role, Slip, Start, Status};
use crate::clock::Clock;
use crate::error::Result;
use crate::signal::{MemorySound, Sound};
use crate::units::{LeadPos, Ppm, SampleCount, SampleRate};

const RATE: u32 = 48_000;

fn member(unit: &str, role: Role, length: usize, channels: u32) -> Member {
    Member {
        unit: unit.into(),
        role,
        take: String::new(),
        length_samples: length as u64,
        sample_rate: None,
        parts: Vec::new(),
        channels: (1..=channels)
            .map(|index| Channel {
                index,
                name: String::new(),
            })
            .collect(),
        basis: Basis::CommonSignal,
        status: Status::Established,
        offset_samples: 0.0,
        offset_sigma_samples: 0.001,
        offset_bound_samples: 0.01,
        rate_ppm: 0.0,
        rate_sigma_ppm: 0.001,
        rate_measured: true,
        knots: Vec::new(),
        slips: Vec::new(),
        placement: Placement::Exact,
        findings: Vec::new(),
        decision: None,
        evidence: None,
    }
}

fn take(length: usize) -> JointTake {
    JointTake {
        name: "evening-01".into(),
        sample_rate: RATE,
        lead: "NORTH".into(),
        lead_rule: String::new(),
        length_samples: length as u64,
        start: Start {
            samples_since_midnight: None,
            timecode: String::new(),
            frame_rate: String::new(),
            drop_frame: false,
            date: String::new(),
        },
        members: Vec::new(),
    }
}

/// Tones up to 20 kHz, known at every instant `n` of the lead's clock.
fn sound_at(n: f64) -> f64 {
    [61.0, 997.0, 5003.0, 12_007.0, 19_990.0]
        .iter()
        .enumerate()
        .map(|(i, hz)| 0.1 * (std::f64::consts::TAU * hz / f64::from(RATE) * n + i as f64).sin())
        .sum()
}

fn render(
    member: &Member,
    sound: &MemorySound,
    start: i64,
    length: usize,
    piece: usize,
) -> Vec<Vec<f64>> {
    let take = take(20_000);
    let renderer = Renderer::new(&take, &[(member, sound as &dyn Sound)]).unwrap();
    let mut whole = vec![Vec::new(); renderer.channels()];
    for from in (0..length).step_by(piece) {
        let mut out = vec![vec![f64::NAN; piece.min(length - from)]; renderer.channels()];
        renderer.render(start + from as i64, &mut out).unwrap();
        for (whole, out) in whole.iter_mut().zip(out) {
            whole.extend(out);
        }
    }
    whole
}

fn worst(found: &[f64], truth: impl Fn(usize) -> f64) -> f64 {
    found
        .iter()
        .enumerate()
        .map(|(i, value)| (value - truth(i)).abs())
        .fold(0.0, f64::max)
}

#[test]
fn a_follower_with_a_common_clock_is_copied_bit_for_bit() {
    let plane: Vec<f64> = (0..1000)
        .map(|k| sound_at(f64::from(k)) as f32 as f64)
        .collect();
    let sound = MemorySound::new(SampleRate(RATE), vec![plane.clone()]);
    let mut follower = member("SOUTH", Role::Follower, 1000, 1);
    follower.offset_samples = -17.0004;
    let found = &render(&follower, &sound, -20, 1030, 1030)[0];
    assert!(found[..3].iter().all(|value| value.to_bits() == 0));
    assert!(
        found[3..1003]
            .iter()
            .zip(&plane)
            .all(|(a, b)| a.to_bits() == b.to_bits())
    );
    assert!(found[1003..].iter().all(|value| value.to_bits() == 0));
}

#[test]
fn a_drifting_follower_lands_on_the_leads_instants() {
    // -23 ppm and a start between two samples, at 1000.371
    let clock = Clock::straight(LeadPos(1000.371), Ppm(-23.0), 12_000, f64::from(RATE));
    let plane: Vec<f64> = (0..12_000)
        .map(|k| sound_at(1000.371 + f64::from(k) / (1.0 - 23e-6)))
        .collect();
    let sound = MemorySound::new(SampleRate(RATE), vec![plane]);
    let mut follower = member("SOUTH", Role::Follower, 12_000, 1);
    follower.placement = Placement::Resampled;
    follower.knots = clock
        .knots()
        .iter()
        .map(|knot| [knot.follower.0, knot.lead.0])
        .collect();
    let found = &render(&follower, &sound, 1200, 11_700, 11_700)[0];
    let error = worst(found, |i| sound_at(1200.0 + i as f64));
    assert!(20.0 * error.log10() < -160.0, "{error:e}");
}

#[test]
fn any_division_gives_the_same_bits() {
    let plane = |seed: f64| {
        (0..9000)
            .map(|k| sound_at(f64::from(k) * seed))
            .collect::<Vec<_>>()
    };
    let sound = MemorySound::new(SampleRate(RATE), vec![plane(1.0), plane(0.7)]);
    let mut follower = member("SOUTH", Role::Follower, 9000, 2);
    follower.placement = Placement::Resampled;
    follower.knots = vec![
        [0.0, 10.25],
        [3000.0, 3010.31],
        [4999.0, 5009.2],
        [5000.0, 5310.2],
        [8999.0, 9309.17],
    ];
    follower.slips = vec![Slip {
        at_sample: 5000,
        samples: -300.0,
        sigma_samples: 0.5,
    }];
    let whole = render(&follower, &sound, -100, 9800, 9800);
    for piece in [1, 7, 333, 4096] {
        let parts = render(&follower, &sound, -100, 9800, piece);
        for (a, b) in whole.iter().flatten().zip(parts.iter().flatten()) {
            assert_eq!(a.to_bits(), b.to_bits(), "pieces of {piece}");
        }
    }
}

#[test]
fn missing_samples_become_exact_silence_and_nothing_is_resampled_over_them() {
    // 300 samples of the lead's time are missing from the file before its sample 5000
    let rate = 1.0 + 40e-6;
    let lead_of = |k: f64| 10.25 + k / rate + if k >= 5000.0 { 300.0 } else { 0.0 };
    let plane: Vec<f64> = (0..9000).map(|k| sound_at(lead_of(f64::from(k)))).collect();
    let sound = MemorySound::new(SampleRate(RATE), vec![plane]);
    let mut follower = member("SOUTH", Role::Follower, 9000, 1);
    follower.placement = Placement::Resampled;
    follower.knots = [0.0, 2500.0, 4999.0, 5000.0, 8999.0]
        .map(|k| [k, lead_of(k)])
        .to_vec();
    follower.slips = vec![Slip {
        at_sample: 5000,
        samples: -300.0,
        sigma_samples: 0.5,
    }];
    let course = Course::of(&take(20_000), &follower).unwrap();
    // by hand: sample 4999 falls at 5009.05, sample 5000 at 5310.05
    assert_eq!(course.gaps(), std::slice::from_ref(&(5010..5311)));
    assert_eq!(course.extent(), Some(11..9309));
    let found = &render(&follower, &sound, 0, 9400, 9400)[0];
    assert!(found[5010..5311].iter().all(|value| value.to_bits() == 0));
    for sure in [200..4900, 5400..9200] {
        let error = worst(&found[sure.clone()], |i| sound_at((sure.start + i) as f64));
        assert!(20.0 * error.log10() < -150.0, "{sure:?}: {error:e}");
    }
}

#[test]
fn samples_too_many_are_left_out() {
    // the 50 samples from 2000 on are a repetition
    let lead_of = |k: i64| if k < 2000 { k } else { k - 50 } as f64;
    let plane: Vec<f64> = (0..4000).map(|k| sound_at(lead_of(k))).collect();
    let sound = MemorySound::new(SampleRate(RATE), vec![plane]);
    let slips = vec![Slip {
        at_sample: 2000,
        samples: 50.0,
        sigma_samples: 0.5,
    }];
    let mut copied = member("SOUTH", Role::Follower, 4000, 1);
    copied.slips = slips.clone();
    let found = &render(&copied, &sound, 0, 3950, 3950)[0];
    assert_eq!(worst(found, |n| sound_at(n as f64)), 0.0);

    let mut resampled = member("SOUTH", Role::Follower, 4000, 1);
    resampled.placement = Placement::Resampled;
    resampled.slips = slips;
    resampled.knots = [0, 1999, 2050, 3999]
        .map(|k| [k as f64, lead_of(k)])
        .to_vec();
    let found = &render(&resampled, &sound, 0, 3950, 3950)[0];
    for sure in [100..1900, 2100..3850] {
        let error = worst(&found[sure.clone()], |i| sound_at((sure.start + i) as f64));
        assert!(20.0 * error.log10() < -150.0, "{sure:?}: {error:e}");
    }
}

#[test]
fn a_copied_gap_keeps_both_sides_bit_for_bit() {
    let plane: Vec<f64> = (0..1000).map(f64::from).collect();
    let sound = MemorySound::new(SampleRate(RATE), vec![plane]);
    let mut follower = member("SOUTH", Role::Follower, 1000, 1);
    follower.offset_samples = 5.0;
    follower.slips = vec![Slip {
        at_sample: 400,
        samples: -64.0,
        sigma_samples: 0.1,
    }];
    let found = &render(&follower, &sound, 0, 1069, 1069)[0];
    assert_eq!(found[404], 399.0);
    assert!(found[405..469].iter().all(|value| value.to_bits() == 0));
    assert_eq!(found[469], 400.0);
    assert_eq!(found[1068], 999.0);
}

#[test]
fn positions_stay_exact_ten_hours_in() {
    // knots on whole samples, so that the exact position is a fraction of integers: 480 007 own samples for every
    // 480 000 of the lead
    let mut follower = member("SOUTH", Role::Follower, 1_728_025_201, 1);
    follower.placement = Placement::Resampled;
    follower.knots = (0..=3600)
        .map(|i| [f64::from(i) * 480_007.0, 3.0 + f64::from(i) * 480_000.0])
        .collect();
    let course = Course::of(&take(20_000), &follower).unwrap();
    let segment = &course.segments[0];
    let super::course::Way::Lines(lines) = &segment.way else {
        panic!("not resampled");
    };
    let mut found = [(0, 0.0); 3];
    let start = 1_700_000_001;
    segment.positions(lines, start, &mut found);
    for (i, (whole, fraction)) in found.into_iter().enumerate() {
        let exact = i128::from(start + i as i64 - 3) * 480_007;
        assert_eq!(i128::from(whole), exact / 480_000);
        let rest = (exact % 480_000) as f64 / 480_000.0;
        assert!((fraction - rest).abs() < 1e-9, "{fraction} {rest}");
    }
}

/// Two tones of 3/16 and 19/48 cycles an own sample (9 and 19 kHz), for whole samples of any number.
struct Endless(u64);

impl Sound for Endless {
    fn rate(&self) -> SampleRate {
        SampleRate(RATE)
    }

    fn channels(&self) -> usize {
        1
    }

    fn length(&self) -> SampleCount {
        SampleCount(self.0)
    }

    fn read(&self, _: &[usize], start: i64, out: &mut [&mut [f64]]) -> Result<()> {
        let inside = 0..self.0 as i64;
        for (k, value) in (start..).zip(out[0].iter_mut()) {
            let heard = inside.contains(&k);
            *value = f64::from(u8::from(heard)) * tones_at(i128::from(k), 1);
        }
        Ok(())
    }
}

/// Those tones at own position `n / d`, by whole numbers as far as cycles go.
fn tones_at(n: i128, d: i128) -> f64 {
    let cycles = |a: i128, b: i128| (a * n).rem_euclid(b * d) as f64 / (b * d) as f64;
    let tone = |cycles: f64| 0.4 * (std::f64::consts::TAU * cycles).sin();
    tone(cycles(3, 16)) + tone(cycles(19, 48))
}

#[test]
fn no_phase_steps_at_any_knot_of_ninety_minutes() {
    const SPAN: i64 = 480_000;
    const KNOTS: i64 = 540;
    // own samples gained over ten seconds, in 1024ths: about 8 ppm, up to 1.2 ppm more or less from knot to knot
    let gained = |i: i64| 3932 + (i * 7919 % 1201) - 600;
    let mut own = vec![5 * 1024];
    for i in 0..KNOTS {
        own.push(own[i as usize] + SPAN * 1024 + gained(i));
    }
    let length = own.last().map_or(0, |last| last / 1024 + 1);
    let mut follower = member("SOUTH", Role::Follower, length as usize, 1);
    follower.placement = Placement::Resampled;
    let knots = (0..=KNOTS).zip(&own);
    follower.knots = knots
        .map(|(i, &own)| [own as f64 / 1024.0, (i * SPAN) as f64])
        .collect();
    let sound = Endless(length as u64);
    let take = take((KNOTS * SPAN) as usize);
    let renderer = Renderer::new(&take, &[(&follower, &sound as &dyn Sound)]).unwrap();
    let mut worst = 0.0_f64;
    for knot in 1..KNOTS {
        let start = knot * SPAN - 300;
        let mut out = vec![vec![0.0; 600]];
        renderer.render(start, &mut out).unwrap();
        for (n, value) in (start..).zip(&out[0]) {
            let span = n.div_euclid(SPAN);
            let away = i128::from(n - span * SPAN);
            let from = i128::from(own[span as usize]) * i128::from(SPAN);
            let step = i128::from(SPAN * 1024 + gained(span));
            let truth = tones_at(from + away * step, i128::from(SPAN * 1024));
            worst = worst.max((value - truth).abs());
        }
    }
    // -160 dB of full scale, and a phase of 1e-8 radian
    assert!(worst < 1e-8, "{worst:e}");
}

#[test]
fn numbers_that_are_no_course_are_refused() {
    let mut follower = member("SOUTH", Role::Follower, 1000, 1);
    follower.placement = Placement::Resampled;
    for knots in [
        vec![[0.0, 0.0]],
        vec![[0.0, 0.0], [999.0, 0.0]],
        vec![[0.0, 0.0], [999.0, f64::INFINITY]],
        vec![[0.0, f64::NAN], [999.0, 999.0]],
        vec![[0.0, 0.0], [999.0, 1e9]],
    ] {
        follower.knots = knots;
        let error = Course::of(&take(1000), &follower).unwrap_err();
        assert_eq!(error.kind(), crate::Kind::Format, "{error}");
    }
}

#[test]
fn twice_the_leads_rate_is_brought_down_without_folding() {
    let plane: Vec<f64> = (0..20_000)
        .map(|k| {
            let n = f64::from(k) / 2.0;
            // 30 kHz is beyond what the lead can hold
            sound_at(n) - 0.1 * (std::f64::consts::TAU * 19_990.0 / 48_000.0 * n + 4.0).sin()
                + (std::f64::consts::TAU * 30_000.0 / 48_000.0 * n).sin()
        })
        .collect();
    let sound = MemorySound::new(SampleRate(96_000), vec![plane]);
    let mut follower = member("SOUTH", Role::Follower, 20_000, 1);
    follower.sample_rate = Some(96_000);
    follower.placement = Placement::Resampled;
    follower.knots = vec![[0.0, 0.0], [19_999.0, 9999.5]];
    let found = &render(&follower, &sound, 200, 9500, 9500)[0];
    let error = worst(found, |i| {
        let n = 200.0 + i as f64;
        sound_at(n) - 0.1 * (std::f64::consts::TAU * 19_990.0 / 48_000.0 * n + 4.0).sin()
    });
    assert!(20.0 * error.log10() < -140.0, "{error:e}");
    // copying it would play it at half speed
    follower.placement = Placement::Exact;
    assert!(Renderer::new(&take(1000), &[(&follower, &sound as &dyn Sound)]).is_err());
}
