//! Numbers and claims in, the words for them out: what may be said of an offset because of its basis (design section 5),
//! times, samples and names, the same in every format.

use crate::alignment::{Basis, JointTake, Member, Placement, Role, Status};
use crate::finding::Weight;
use crate::report::OutputChannel;
use crate::units::{SPEED_OF_SOUND_M_PER_S, SampleRate, signed};

/// The most decimals ever shown: a thousandth of the hundredth that a common signal is good to.
const MOST_DECIMALS: usize = 7;

/// Rates below this are no difference between two clocks, ppm: half a sample in three minutes at 48 kHz.
const COMMON_PPM: f64 = 0.05;

/// A time as `hh:mm:ss.sss`, with a minus sign when negative; `not known` when it is no number.
#[must_use]
pub fn clock_time(seconds: f64) -> String {
    if !seconds.is_finite() {
        return "not known".into();
    }
    let milliseconds = (seconds.abs() * 1e3).round() as u64;
    let sign = if seconds < 0.0 && milliseconds > 0 {
        "-"
    } else {
        ""
    };
    let (whole, milliseconds) = (milliseconds / 1000, milliseconds % 1000);
    let (hours, minutes, seconds) = (whole / 3600, whole / 60 % 60, whole % 60);
    format!("{sign}{hours:02}:{minutes:02}:{seconds:02}.{milliseconds:03}")
}

/// A length of time for reading: `4 min 03 s`, `1 h 20 min 05 s`, `12.4 s`.
#[must_use]
pub fn length_of_time(seconds: f64) -> String {
    if !seconds.is_finite() {
        return "not known".into();
    }
    if seconds < 60.0 {
        return format!("{seconds:.1} s");
    }
    let whole = seconds.round() as u64;
    let (hours, minutes, seconds) = (whole / 3600, whole / 60 % 60, whole % 60);
    match hours {
        0 => format!("{minutes} min {seconds:02} s"),
        _ => format!("{hours} h {minutes:02} min {seconds:02} s"),
    }
}

/// A short time in the unit that suits it: `0.21 µs`, `33.3 ms`, `2.50 s`.
#[must_use]
pub fn short_time(seconds: f64) -> String {
    let size = seconds.abs();
    match size {
        _ if !seconds.is_finite() => "not known".into(),
        _ if size >= 1.0 => format!("{} s", three_figures(seconds)),
        _ if size >= 1e-3 => format!("{} ms", three_figures(seconds * 1e3)),
        _ => format!("{} µs", three_figures(seconds * 1e6)),
    }
}

/// A frequency in the unit that suits it.
#[must_use]
pub fn frequency(hz: f64) -> String {
    match hz {
        _ if !hz.is_finite() => "none".into(),
        _ if hz >= 1e6 => format!("{} MHz", three_figures(hz / 1e6)),
        _ if hz >= 1e3 => format!("{} kHz", three_figures(hz / 1e3)),
        _ => format!("{} Hz", three_figures(hz)),
    }
}

/// Three figures, no more than three decimals, no exponent.
#[must_use]
pub fn three_figures(value: f64) -> String {
    let decimals = match value.abs() {
        size if size >= 99.95 => 0,
        size if size >= 9.995 => 1,
        size if size >= 0.9995 => 2,
        size if size >= 0.001 || size == 0.0 => 3,
        // smaller ones keep two figures down to a ten-millionth
        size => (1.0 - size.log10().floor()).clamp(4.0, 7.0) as usize,
    };
    let text = format!("{value:.decimals$}");
    if text.contains('.') {
        let text = text.trim_end_matches('0').trim_end_matches('.');
        return if text == "-0" {
            "0".into()
        } else {
            text.into()
        };
    }
    text
}

/// As many decimals as a value with this sigma deserves: one figure beyond the sigma's first.
#[must_use]
pub fn decimals_for(sigma: f64) -> usize {
    if !(sigma.is_finite() && sigma > 0.0) {
        return 3;
    }
    let figures = 1.0 - sigma.log10().floor();
    figures.clamp(0.0, MOST_DECIMALS as f64) as usize
}

/// Samples with a sign and the decimals its sigma deserves: `+49440.003 samples`.
#[must_use]
pub fn samples(value: f64, sigma: f64) -> String {
    let decimals = decimals_for(sigma);
    format!("{value:+.decimals$} samples")
}

/// A plus or minus in samples: hundredths when small, whole when large.
#[must_use]
pub fn plus_minus_samples(bound: f64) -> String {
    format!("±{} samples", bound_figure(bound))
}

/// The figure of a bound: rounded up, so that no more is promised than is claimed.
fn bound_figure(bound: f64) -> String {
    let decimals: usize = match bound {
        bound if bound >= 99.0 => 0,
        bound if bound >= 9.9 => 1,
        bound if bound >= 0.0995 => 2,
        _ => 3,
    };
    let scale = 10f64.powi(decimals as i32);
    // A bound that is a figure already must not be pushed up by the last bit of its product.
    let figure = (bound * scale - 1e-6).ceil() / scale;
    let text = format!("{figure:.decimals$}");
    match text.split_once('.') {
        Some((whole, zeros)) if zeros.bytes().all(|digit| digit == b'0') => whole.into(),
        _ => text,
    }
}

/// The rate in ppm with its sigma, or that it was not measured.
#[must_use]
pub fn rate(member: &Member) -> String {
    match member.rate_measured {
        true => ppm(member.rate_ppm, member.rate_sigma_ppm),
        false => format!(
            "not measured; the nominal rate was assumed, good to ±{:.0} ppm (two sigma)",
            2.0 * member.rate_sigma_ppm
        ),
    }
}

/// A measured rate with its sigma, with the decimals that it deserves.
#[must_use]
pub fn ppm(rate: f64, sigma: f64) -> String {
    let decimals = decimals_for(sigma);
    format!("{rate:+.decimals$} ppm (sigma {sigma:.decimals$})")
}

/// Level and polarity on the common signal, in a phrase; `None` when there is none or it was not measured.
#[must_use]
pub fn common_level(member: &Member) -> Option<String> {
    let level = member.evidence.as_ref()?.common_level.as_ref()?;
    Some(format!(
        "{} dB (sigma {}) against {}, {} ({} channel {} and {} channel {} only)",
        signed(level.level_db, 2),
        three_figures(level.level_sigma_db),
        level.against,
        if level.inverted {
            "inverted"
        } else {
            "same polarity"
        },
        level.against,
        level.lead_channel,
        member.unit,
        level.follower_channel
    ))
}

/// The contract's word for a basis.
#[must_use]
pub fn basis(basis: Basis) -> &'static str {
    match basis {
        Basis::CommonSignal => "common-signal",
        Basis::TimecodeTrack => "timecode-track",
        Basis::Calibration => "calibration",
        Basis::Stamps => "stamps",
        Basis::Acoustic => "acoustic",
        Basis::Manual => "manual",
        Basis::None => "none",
    }
}

/// What a basis rests on, in a phrase.
#[must_use]
pub fn rests_on(basis: Basis) -> &'static str {
    match basis {
        Basis::CommonSignal => "the same electrical signal found on both units",
        Basis::TimecodeTrack => "timecode recorded on a track of both units",
        Basis::Calibration => "a stored offset for this pair of units in these modes",
        Basis::Stamps => "the units' own start times",
        Basis::Acoustic => "the sound of the place at different microphones",
        Basis::Manual => "a person's own tie",
        Basis::None => "nothing reliable",
    }
}

/// The contract's word for a placement.
#[must_use]
pub fn placement(placement: Placement) -> &'static str {
    match placement {
        Placement::Exact => "exact",
        Placement::Resampled => "resampled",
        Placement::NotPlaced => "not-placed",
    }
}

/// What became of a channel's samples, for machines: a copy that was rounded or changed in level is no exact one.
#[must_use]
pub fn came_as(channel: &OutputChannel) -> &'static str {
    match channel.placement {
        Placement::Exact if !channel.exact => "copied",
        own => placement(own),
    }
}

/// Copies that are not the source's bit for bit, in words.
const COPIED: &str = "copied, rounded or changed in level";

/// The same in words.
#[must_use]
pub fn came_as_words(channel: &OutputChannel) -> &'static str {
    match channel.placement {
        Placement::Exact if !channel.exact => COPIED,
        own => placement_words(own),
    }
}

/// The words for what [`came_as`] calls it; the name itself where it is none of ours.
#[must_use]
pub fn came_as_of_name(name: &str) -> &str {
    match name {
        "exact" => placement_words(Placement::Exact),
        "resampled" => placement_words(Placement::Resampled),
        "not-placed" => placement_words(Placement::NotPlaced),
        "copied" => COPIED,
        other => other,
    }
}

/// Labels a second as people write them: `30` for `30/1`, `29.97` for `30000/1001`.
#[must_use]
pub fn label_rate(fraction: &str) -> String {
    match timecode_frame_s(fraction) {
        Some(seconds) => written(1.0 / seconds),
        None => fraction.into(),
    }
}

fn written(rate: f64) -> String {
    let text = format!("{rate:.3}");
    text.trim_end_matches('0').trim_end_matches('.').into()
}

/// A placement in words.
#[must_use]
pub fn placement_words(placement: Placement) -> &'static str {
    match placement {
        Placement::Exact => "bit for bit",
        Placement::Resampled => "resampled once",
        Placement::NotPlaced => "not in the recording",
    }
}

/// How a member's samples come to the recording, and for a follower copied bit for bit that its clock was common with the
/// lead's, where that was measured.
#[must_use]
pub fn placement_of(member: &Member) -> String {
    let words = placement_words(member.placement);
    let none = (3.0 * member.rate_sigma_ppm).max(COMMON_PPM);
    let common = member.role == Role::Follower
        && member.placement == Placement::Exact
        && member.rate_measured
        && member.rate_ppm.abs() <= none;
    match common {
        true => format!("the clocks were common: copied {words}"),
        false => words.into(),
    }
}

/// The contract's word for a weight.
#[must_use]
pub fn weight(weight: Weight) -> &'static str {
    match weight {
        Weight::Note => "note",
        Weight::Warn => "warn",
        Weight::Ask => "ask",
        Weight::Stop => "stop",
    }
}

/// A name, or a word that says there is none.
#[must_use]
pub fn name_or<'a>(name: &'a str, otherwise: &'a str) -> &'a str {
    if name.trim().is_empty() {
        otherwise
    } else {
        name
    }
}

/// The joint take's nominal rate.
#[must_use]
pub fn rate_of(joint: &JointTake) -> SampleRate {
    SampleRate(joint.sample_rate.max(1))
}

/// Seconds a timecode frame lasts, from a fraction such as `30000/1001`; `None` when it is no fraction.
#[must_use]
pub fn timecode_frame_s(frame_rate: &str) -> Option<f64> {
    let (numerator, denominator) = frame_rate.split_once('/')?;
    let numerator: f64 = numerator.trim().parse().ok()?;
    let denominator: f64 = denominator.trim().parse().ok()?;
    (numerator > 0.0 && denominator > 0.0).then(|| denominator / numerator)
}

/// What may be said of a follower's offset because of its basis, as one phrase.
#[must_use]
pub fn claim_words(member: &Member, joint: &JointTake) -> String {
    let bound = member.offset_bound_samples;
    let time_s = bound / rate_of(joint).hz();
    let both = format!("{}, ±{}", plus_minus_samples(bound), short_time(time_s));
    let words = match (member.basis, member.status) {
        (Basis::None, _) | (_, Status::NotEstablished) => {
            return "not established: nothing reliable was found and nothing was shifted".into();
        }
        (Basis::CommonSignal, _) => format!("measured on a common electrical signal, {both}"),
        (Basis::TimecodeTrack, _) => {
            format!("measured on timecode recorded on a track of both units, {both}")
        }
        (Basis::Calibration, _) => {
            format!("taken from the stored offset of this pair of units, {both}")
        }
        (Basis::Stamps, _) => format!(
            "placed by the units' stamps, good to {} ({both})",
            stamp_grain(bound, joint)
        ),
        (Basis::Acoustic, _) => format!(
            "placed by the sound of the place alone: plus or minus distance / speed of sound, echoes counted ({both}, {} m of air)",
            three_figures(time_s * SPEED_OF_SOUND_M_PER_S)
        ),
        (Basis::Manual, _) => format!("placed by a person's own tie ({both})"),
    };
    let through = member.evidence.as_ref().and_then(|e| e.through.as_ref());
    let words = match through {
        Some(unit) => format!("{words}, through {unit}"),
        None => words,
    };
    match member.status {
        Status::NeedsDecision => format!("{words}; needs a person's decision"),
        _ => words,
    }
}

fn stamp_grain(bound: f64, joint: &JointTake) -> &'static str {
    let rate = rate_of(joint).hz();
    let is = |samples: f64| (bound - samples).abs() <= 0.51;
    match timecode_frame_s(&joint.start.frame_rate) {
        _ if bound <= 1.5 => "one sample",
        Some(frame) if is(frame * rate) => "one timecode frame",
        _ if is(rate) => "one second",
        _ if is(rate / 1e3) => "one millisecond",
        _ => "what stamps and content leave open",
    }
}

/// Each slip of a member's file in words, in order.
pub fn slips(member: &Member, joint: &JointTake) -> Vec<String> {
    let rate = rate_of(joint).hz();
    let words = member.slips.iter().map(|slip| {
        let done = if slip.samples < 0.0 {
            "missing, silence stands there"
        } else {
            "too many, left out"
        };
        let many = slip.samples.abs();
        format!(
            "{many:.0} {} {done}, at its sample {} ({})",
            if many == 1.0 { "sample" } else { "samples" },
            slip.at_sample,
            clock_time(slip.at_sample as f64 / rate)
        )
    });
    words.collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_carry_over_when_they_round_up() {
        assert_eq!(clock_time(59.9996), "00:01:00.000");
        assert_eq!(clock_time(-1.03), "-00:00:01.030");
        assert_eq!(clock_time(-0.0001), "00:00:00.000");
        assert_eq!(clock_time(86_399.999), "23:59:59.999");
        assert_eq!(length_of_time(243.2), "4 min 03 s");
        assert_eq!(clock_time(f64::NAN), "not known");
    }

    #[test]
    fn a_bound_is_never_rounded_down() {
        assert_eq!(plus_minus_samples(0.01), "±0.010 samples");
        assert_eq!(plus_minus_samples(0.0101), "±0.011 samples");
        assert_eq!(plus_minus_samples(1600.0), "±1600 samples");
        assert_eq!(plus_minus_samples(1601.6), "±1602 samples");
        assert_eq!(plus_minus_samples(1.5), "±1.50 samples");
        assert_eq!(plus_minus_samples(1.0), "±1 samples");
    }

    #[test]
    fn decimals_follow_the_sigma() {
        assert_eq!(samples(49_440.003_4, 0.003), "+49440.0034 samples");
        assert_eq!(samples(-12.4, 533.0), "-12 samples");
        assert_eq!(decimals_for(0.0), 3);
    }

    #[test]
    fn times_and_frequencies_choose_their_unit() {
        assert_eq!(short_time(2.083e-7), "0.208 µs");
        assert_eq!(short_time(0.033_333), "33.3 ms");
        assert_eq!(frequency(24_000.0), "24 kHz");
        assert_eq!(frequency(2.4e6), "2.4 MHz");
    }
}
