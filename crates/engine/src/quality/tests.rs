//! Quality held to sounds whose faults are known.

use ebur128::{EbuR128, Mode};

use super::*;
use crate::units::Db;

const RATE: u32 = 48_000;

/// Noise between -1 and 1, of one seed.
fn noise(seed: u64) -> impl FnMut() -> f64 {
    let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    move || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    }
}

fn measured(planes: &[Vec<f64>]) -> Quality {
    let mut meter = QualityMeter::new(planes.len(), RATE);
    let length = planes[0].len();
    for from in (0..length).step_by(50_000) {
        let to = length.min(from + 50_000);
        let part: Vec<&[f64]> = planes.iter().map(|plane| &plane[from..to]).collect();
        meter.add(&part);
    }
    meter.finish()
}

fn one(plane: Vec<f64>) -> ChannelQuality {
    measured(&[plane]).channels.remove(0)
}

fn sine(hz: f64, level: f64, seconds: f64) -> Vec<f64> {
    let samples = (seconds * f64::from(RATE)) as usize;
    let step = std::f64::consts::TAU * hz / f64::from(RATE);
    (0..samples)
        .map(|i| level * (step * i as f64 + 0.3).sin())
        .collect()
}

fn near(value: Option<f64>, meant: f64, within: f64) {
    let value = value.unwrap_or(f64::NAN);
    assert!((value - meant).abs() < within, "{value} instead of {meant}");
}

#[test]
fn a_sine_has_the_levels_that_arithmetic_gives_it() {
    let mut plane = sine(997.0, 0.5, 5.0);
    plane.iter_mut().for_each(|value| *value += 0.01);
    let quality = one(plane);
    // 0.5 / sqrt 2
    near(quality.rms_dbfs, -9.031, 0.01);
    assert!((quality.offset - 0.01).abs() < 1e-4, "{}", quality.offset);
    near(quality.true_peak_dbtp, -5.85, 0.2);
    // BS.1770: 0 dBFS at 997 Hz in one channel is -3.01 LKFS
    near(quality.integrated_lufs, -9.03, 0.1);
    near(quality.noise_floor_dbfs, -9.03, 0.2);
    assert_eq!(quality.clips.count + quality.drop_outs.count, 0);
    assert_eq!(quality.hum, None);
}

#[test]
fn the_noise_floor_is_what_the_quiet_tenth_stays_below() {
    let mut next = noise(5);
    // noise of -60 dBFS RMS, half a second louder by 30 dB every second
    let scale = 0.001 * 3.0_f64.sqrt();
    let plane = (0..RATE * 20).map(|i| {
        let loud = if i / (RATE / 2) % 2 == 1 { 31.62 } else { 1.0 };
        scale * loud * next()
    });
    let quality = one(plane.collect());
    near(quality.noise_floor_dbfs, -60.0, 0.4);
}

#[test]
fn flat_tops_are_clips_and_what_goes_beyond_full_scale_is_none() {
    let mut plane = sine(440.0, 1.2, 2.0);
    assert_eq!(one(plane.clone()).clips.count, 0, "floating point");
    plane
        .iter_mut()
        .for_each(|value| *value = value.clamp(-1.0, 8_388_607.0 / 8_388_608.0));
    let quality = one(plane.clone());
    // every half wave of 880 a second, for two seconds
    assert!(
        (1758..=1760).contains(&quality.clips.count),
        "{:?}",
        quality.clips.count
    );
    assert_eq!(quality.clips.first.len(), MOST_RUNS);
    let [start, samples] = quality.clips.first[3];
    let run = &plane[start as usize..][..samples as usize];
    assert!(run.iter().all(|value| value.abs() > 0.99999));
    assert!(plane[start as usize - 1].abs() < 0.9999);
}

#[test]
fn zeros_amid_sound_are_drop_outs_and_quiet_crossings_and_pauses_are_none() {
    let mut next = noise(9);
    let mut plane: Vec<f64> = (0..RATE * 10).map(|_| 0.1 * next()).collect();
    let meant = [[1000, 8], [70_000, 300], [99_990, 64], [200_001, 4700]];
    for [start, samples] in meant {
        plane[start..start + samples].fill(0.0);
    }
    // too short, and too long
    plane[300_000..300_007].fill(0.0);
    plane[310_000..315_000].fill(0.0);
    let found = one(plane).drop_outs;
    assert_eq!(
        found.first,
        meant.map(|run| run.map(|number| number as u64))
    );
    // a quiet low tone in 16 bits stays zero for many samples at every crossing
    let quiet = sine(20.0, 20.0 / 32_768.0, 5.0);
    let quiet = quiet
        .iter()
        .map(|value| (value * 32_768.0).round() / 32_768.0);
    assert_eq!(one(quiet.collect()).drop_outs.count, 0);
}

#[test]
fn a_faint_sound_that_glides_through_zero_has_no_drop_out() {
    let mut next = noise(13);
    let step = 1.0 / 32_768.0;
    // noise of some 23 steps RMS in 16 bits, which rests at zero now and then
    let mut plane: Vec<f64> = (0..RATE).map(|_| (40.0 * next()).round() * step).collect();
    for at in [10_000, 20_000, 30_000] {
        plane[at] = step;
        plane[at + 1..at + 20].fill(0.0);
        plane[at + 20] = -step;
    }
    assert_eq!(one(plane.clone()).drop_outs.count, 0);
    // the same zeros where the sound was cut off
    plane[20_000] = 7.0 * step;
    assert_eq!(one(plane).drop_outs.first, [[20_001, 19]]);
}

#[test]
fn hum_is_told_from_notes_and_noise() {
    let mut next = noise(3);
    let floor: Vec<f64> = (0..RATE * 20).map(|_| 1e-4 * next()).collect();
    let with = |tones: &[(f64, f64)]| {
        let mut plane = floor.clone();
        for &(hz, level) in tones {
            let tone = sine(hz, level, 20.0);
            plane
                .iter_mut()
                .zip(tone)
                .for_each(|(value, tone)| *value += tone);
        }
        one(plane).hum
    };
    assert_eq!(with(&[]), None);
    // 49.97 Hz and its multiples at -70, -74 and -80 dBFS peak
    let hum = with(&[(49.97, 3.16e-4), (99.94, 2e-4), (149.91, 1e-4)]).expect("hum");
    assert_eq!(hum.mains_hz, 50);
    assert!((hum.found_hz - 49.97).abs() < 0.03, "{hum:?}");
    let power: f64 = [3.16e-4_f64, 2e-4, 1e-4]
        .map(|level| level * level / 2.0)
        .iter()
        .sum();
    assert!(
        (hum.level_dbfs - 10.0 * power.log10()).abs() < 1.0,
        "{hum:?}"
    );
    assert_eq!(
        with(&[(120.02, 3e-4), (180.03, 3e-4)])
            .expect("hum")
            .mains_hz,
        60
    );
    // a held low note with its overtones, and a single tone on 100 Hz
    assert_eq!(
        with(&[(49.0, 0.1), (98.0, 0.05), (147.0, 0.03), (196.0, 0.02)]),
        None
    );
    assert_eq!(with(&[(100.0, 0.01)]), None);
}

#[test]
fn hum_is_found_in_the_gaps_of_a_louder_sound() {
    // noise of -1 dBFS peak with a gap of 1.4 s in every eight spectra, hum of -56 dBFS throughout
    let mut next = noise(21);
    let plane = (0..RATE * 48).map(|i| {
        let t = f64::from(i) / f64::from(RATE);
        let loud = if i % (8 * 65_536) < 67_200 { 1e-4 } else { 0.9 };
        let tone = |hz: f64, level: f64| level * (std::f64::consts::TAU * hz * t).sin();
        loud * next() + tone(50.01, 1.6e-3) + tone(100.02, 1.6e-3) + tone(150.03, 8e-4)
    });
    let hum = one(plane.collect()).hum.expect("hum");
    assert_eq!(hum.mains_hz, 50);
    assert!((hum.level_dbfs + 55.5).abs() < 4.0, "{hum:?}");
}

#[test]
fn alike_channels_are_found_with_their_polarity_and_gain() {
    let (mut a, mut b) = (noise(1), noise(2));
    let first: Vec<f64> = (0..RATE).map(|_| a()).collect();
    let other: Vec<f64> = (0..RATE).map(|_| b()).collect();
    let inverted: Vec<f64> = first.iter().map(|value| -0.5 * value).collect();
    let mixed: Vec<f64> = first
        .iter()
        .zip(&other)
        .map(|(a, b)| 0.6 * a + 0.8 * b)
        .collect();
    let silent = vec![0.0; first.len()];
    let pairs = measured(&[first, inverted, mixed, silent, other]).pairs;
    let pair = |channels| {
        *pairs
            .iter()
            .find(|pair| pair.channels == channels)
            .expect("a pair")
    };
    assert!((pair([0, 1]).correlation + 1.0).abs() < 1e-9);
    assert!((pair([0, 1]).gain_db + 6.0206).abs() < 1e-3);
    assert!(pair([0, 1]).unlike_db() < -80.0);
    assert!((pair([0, 2]).correlation - 0.6).abs() < 0.02);
    assert!(pair([0, 4]).correlation.abs() < 0.02);
    // silence is like nothing
    assert_eq!(pairs.len(), 6);
}

#[test]
fn the_true_peak_is_the_one_that_hearing_everything_gives() {
    // pauses, swells and peaks between samples, so that much is passed over
    let mut next = noise(11);
    let plane: Vec<f64> = (0..RATE * 8)
        .map(|i| {
            let t = f64::from(i) / f64::from(RATE);
            let swell = (1.3 * t).sin().powi(8) + 0.01;
            swell * (0.6 * (11_025.0 * std::f64::consts::TAU * t + 0.7).sin() + 0.2 * next())
        })
        .collect();
    // the library by itself, gates and all
    let mut all = EbuR128::new(1, RATE, Mode::I | Mode::TRUE_PEAK).expect("a meter");
    all.add_frames_f64(&plane).expect("added");
    let peak = Db::of_amplitude(all.true_peak(0).expect("a peak")).0;
    let loudness = all.loudness_global().expect("loud");
    let quality = one(plane);
    near(quality.true_peak_dbtp, peak, 1e-9);
    near(quality.integrated_lufs, loudness, 0.02);
}

#[test]
fn values_that_are_no_numbers_do_not_spoil_the_rest() {
    let mut plane = sine(997.0, 0.5, 3.0);
    plane[1000] = f64::NAN;
    plane[5000] = f64::INFINITY;
    let other = sine(997.0, 0.5, 3.0);
    let quality = measured(&[plane, other]);
    near(quality.channels[0].rms_dbfs, -9.03, 0.02);
    near(quality.channels[0].integrated_lufs, -9.03, 0.1);
    assert!(quality.pairs[0].correlation > 0.999);
}

/// Timecode by the rehearsal's own arithmetic, in speech, noise and hum, faint and loud; no other sound has any.
#[test]
fn timecode_is_told_from_sound() {
    let track = |change: fn(&mut rehearsal::TimecodeTrack)| {
        let mut track = rehearsal::TimecodeTrack {
            seconds: 70.0,
            ..rehearsal::TimecodeTrack::default()
        };
        change(&mut track);
        let (samples, words) = track.record().expect("a track");
        let plane: Vec<f64> = samples.iter().map(|value| f64::from(*value)).collect();
        let [hours, minutes, seconds, frames] = words[0].label;
        (
            plane,
            format!("{hours:02}:{minutes:02}:{seconds:02}:{frames:02}"),
        )
    };
    for (name, (plane, label)) in [
        ("as it is", track(|_| {})),
        ("faint", track(|track| track.level_dbfs = -50.0)),
        ("in noise", track(|track| track.snr_db = Some(12.0))),
        ("in speech", track(|track| track.speech_db = Some(-20.0))),
    ] {
        let quality = one(plane);
        assert_eq!(quality.hum, None, "{name}: its lines are no hum");
        let code = quality.timecode.unwrap_or_else(|| panic!("{name}: none"));
        assert_eq!((code.heard, code.carrying), (3, 3), "{name}");
        assert_eq!(code.label[..8], label[..8], "{name}");
    }
    let mut random = noise(11);
    let square = |hz: f64| -> Vec<f64> {
        let side = |value: f64| if value < 0.0 { -0.3 } else { 0.3 };
        sine(hz, 1.0, 65.0).into_iter().map(side).collect()
    };
    let others = [
        sine(1200.0, 0.5, 65.0),
        square(1200.0),
        square(2400.0),
        (0..65 * RATE).map(|_| 0.2 * random()).collect(),
        vec![0.0; 65 * RATE as usize],
    ];
    for (number, plane) in others.into_iter().enumerate() {
        assert_eq!(one(plane).timecode, None, "sound {number}");
    }
}

/// Faults in the last few samples of a piece, which fill no vector, and a peak late in a block: in pieces of any length, any
/// number at a time.
#[test]
fn however_it_is_cut_nothing_is_missed() {
    const PIECE: usize = 1003;
    let mut random = noise(11);
    let mut plane: Vec<f64> = (0..200 * PIECE).map(|_| 0.02 * random() + 0.001).collect();
    plane[1000..1020]
        .iter_mut()
        .for_each(|value| *value *= 25.0);
    let (clip, drop_out) = (51 * PIECE - 3, 81 * PIECE - 8);
    plane[clip..clip + 3].fill(1.0);
    plane[drop_out..drop_out + 8].fill(0.0);
    let mean = plane.iter().sum::<f64>() / plane.len() as f64;
    let mut all = EbuR128::new(1, RATE, Mode::TRUE_PEAK).expect("a rate it takes");
    all.add_frames_f64(&plane).expect("whole samples");
    let peak_dbtp = Db::of_amplitude(all.true_peak(0).expect("a channel")).0;

    let pieces: Vec<Vec<&[f64]>> = plane.chunks(PIECE).map(|piece| vec![piece]).collect();
    for together in [1, 7] {
        let mut meter = QualityMeter::new(1, RATE);
        pieces.chunks(together).for_each(|some| meter.add_all(some));
        let found = meter.finish().channels.remove(0);
        let runs = |runs: &Runs| (runs.count, runs.first.clone());
        assert_eq!(runs(&found.clips), (1, vec![[clip as u64, 3]]));
        assert_eq!(runs(&found.drop_outs), (1, vec![[drop_out as u64, 8]]));
        near(found.true_peak_dbtp, peak_dbtp, 1e-9);
        near(Some(found.offset), mean, 1e-12);
    }
}
