//! A member's claim in, what an error of that size means to a listener out: the first comb null of a sum, and the uses
//! it is good enough for.
//!
//! Two equal signals, one later by `d` seconds, sum to `|cos(pi f d)|`: nulls at `f = (2 i + 1) / (2 d)`
//! (computed; the same figures stand in any text on comb filters).

use super::say;
use crate::alignment::{JointTake, Member, Placement, Status};
use crate::session::Class;
use crate::units::SampleRate;

/// The first frequency at which two equal signals `delay_s` seconds apart cancel, `1 / (2 d)`; infinite without delay.
#[must_use]
pub fn first_null_hz(delay_s: f64) -> f64 {
    1.0 / (2.0 * delay_s.abs())
}

/// How much a sum of two equal signals `delay_s` apart loses at `hz`, in decibels, 0 or negative.
#[must_use]
pub fn sum_loss_db(delay_s: f64, hz: f64) -> f64 {
    20.0 * (std::f64::consts::PI * hz * delay_s).cos().abs().log10()
}

/// How far the member may lie from its true place in the output, as far as is claimed.
#[derive(Debug, Clone, PartialEq)]
pub struct Fitness {
    /// The constant part: the claim, and what placing at a whole sample leaves. Seconds, plus or minus.
    pub constant_s: f64,
    /// The part that changes over the take: three sigma of the clock's shape. Seconds, plus or minus.
    pub changing_s: f64,
    /// The uses, most demanding first.
    pub uses: Vec<Use>,
}

/// One use of two channels of different units together.
#[derive(Debug, Clone, PartialEq)]
pub struct Use {
    /// What the channels are used for.
    pub name: &'static str,
    /// The error allowed, seconds.
    pub allowed_s: f64,
    /// Whether the error stays within.
    pub good_enough: bool,
    /// Why this much is allowed.
    pub why: &'static str,
}

/// Where a timecode frame rate is unknown, half of the shortest timecode frame in common use, 1/30 s, is allowed
/// against picture (common practice, no source).
const SHORTEST_TIMECODE_FRAME_S: f64 = 1.0 / 30.0;

impl Fitness {
    /// What `member`'s claim is good for; `None` when nothing is claimed, or when it is the lead.
    #[must_use]
    pub fn of(member: &Member, joint: &JointTake) -> Option<Self> {
        let claimed = member.status != Status::NotEstablished
            && member.basis != crate::alignment::Basis::None
            && member.role == crate::alignment::Role::Follower;
        if !claimed {
            return None;
        }
        let rate = say::rate_of(joint);
        let left = left_by_whole_samples(member);
        let constant_s = (member.offset_bound_samples + left) / rate.hz();
        let changing_s = 3.0 * shape_sigma(member) / rate.hz();
        let finite = constant_s.is_finite() && changing_s.is_finite();
        finite.then(|| Self {
            constant_s,
            changing_s,
            uses: uses(constant_s + changing_s, joint, rate),
        })
    }

    /// The largest error that the claim leaves possible, seconds.
    #[must_use]
    pub fn largest_s(&self) -> f64 {
        self.constant_s + self.changing_s
    }
}

/// How far bit-for-bit copies at a whole sample lie from the clock, at worst.
fn left_by_whole_samples(member: &Member) -> f64 {
    if member.placement != Placement::Exact {
        return 0.0;
    }
    let whole = member.offset_samples.round();
    let seams = member.seams();
    member
        .knots
        .iter()
        .map(|[follower, lead]| (lead - seams.mended(*follower) - whole).abs())
        .fold((member.offset_samples - whole).abs(), f64::max)
}

/// One sigma of the clock's shape at its worst: the band where there is one, else what the rate's sigma makes of the
/// take's length.
fn shape_sigma(member: &Member) -> f64 {
    let band = member
        .evidence
        .iter()
        .flat_map(|evidence| &evidence.band)
        .map(|[_, sigma]| *sigma)
        .fold(0.0, f64::max);
    if band > 0.0 {
        return band;
    }
    member.rate_sigma_ppm * 1e-6 * member.length_samples as f64
}

fn uses(error_s: f64, joint: &JointTake, rate: SampleRate) -> Vec<Use> {
    let picture_s =
        say::timecode_frame_s(&joint.start.frame_rate).unwrap_or(SHORTEST_TIMECODE_FRAME_S) / 2.0;
    // what the classes of groups do not have: half a decibel at 5 kHz by the comb above; the picture is common practice
    let of = |class: Class, why| (class.words(), class.allowed_s(), why);
    let table = [
        of(
            Class::Array,
            "decoding uses phase up to several kHz; must also be constant",
        ),
        of(
            Class::StereoPair,
            "the smallest difference between the ears that is heard is about 7 to 10 µs",
        ),
        of(
            Class::Summed,
            "a quarter of a sample at 48 kHz loses half a decibel at 20 kHz",
        ),
        (
            "summed, flat to 5 kHz",
            1.0 / 48_000.0,
            "one sample at 48 kHz loses half a decibel at 5 kHz",
        ),
        of(
            Class::Spots,
            "their distance makes several milliseconds anyway; a change is heard before an offset",
        ),
        of(
            Class::Ambience,
            "sounds fuse; transients split above about 20 ms",
        ),
        ("against picture", picture_s, "half a timecode frame"),
    ];
    // A claim of exactly the limit must not fail by the last bit of its product: a millionth of a sample is allowed.
    let slack_s = 1e-6 / rate.hz();
    table
        .into_iter()
        .map(|(name, allowed_s, why)| Use {
            name,
            allowed_s,
            good_enough: error_s <= allowed_s + slack_s,
            why,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    /// Equal levels, 48 kHz: 1 sample 24 000 Hz, 4 samples 6000 Hz; sum loss of 1 sample 2.01 dB at 10 kHz and
    /// 11.74 dB at 20 kHz, of half a sample 0.47 and 2.01 dB (computed from the cosine, checked by hand).
    #[test]
    fn combs_are_where_the_cosine_is_zero() {
        assert!((first_null_hz(1.0 / 48_000.0) - 24_000.0).abs() < 1e-6);
        assert!((first_null_hz(-4.0 / 48_000.0) - 6000.0).abs() < 1e-6);
        for (samples, hz, loss) in [
            (1.0, 10_000.0, -2.01),
            (1.0, 20_000.0, -11.74),
            (0.5, 10_000.0, -0.47),
            (0.5, 20_000.0, -2.01),
        ] {
            let found = sum_loss_db(samples / 48_000.0, hz);
            assert!((found - loss).abs() < 0.005, "{samples} at {hz}: {found}");
        }
        assert!(first_null_hz(0.0).is_infinite());
    }

    fn good(fitness: &Fitness) -> Vec<&'static str> {
        fitness
            .uses
            .iter()
            .filter(|one| one.good_enough)
            .map(|one| one.name)
            .collect()
    }

    #[test]
    fn hundredths_of_a_sample_are_good_for_everything() {
        let joint = sample::common_signal();
        let fitness = Fitness::of(&joint.members[1], &joint).expect("a claim");
        assert_eq!(good(&fitness).len(), fitness.uses.len(), "{fitness:?}");
    }

    #[test]
    fn a_timecode_frame_is_good_for_nothing_that_is_listed() {
        let joint = sample::stamps();
        let fitness = Fitness::of(&joint.members[1], &joint).expect("a claim");
        assert!(fitness.largest_s() >= 1600.0 / 48_000.0);
        assert!(good(&fitness).is_empty(), "{fitness:?}");
    }

    #[test]
    fn a_whole_sample_shift_leaves_its_fraction() {
        let mut joint = sample::common_signal();
        joint.members[1].placement = Placement::Exact;
        joint.members[1].knots = vec![[0.0, 100.4], [1e6, 1_000_100.9]];
        joint.members[1].offset_samples = 100.4;
        let fitness = Fitness::of(&joint.members[1], &joint).expect("a claim");
        // offset 100.4 is placed at 100; the last knot lies 0.9 from there
        let left = fitness.constant_s * 48_000.0 - joint.members[1].offset_bound_samples;
        assert!((left - 0.9).abs() < 1e-9, "{left}");
    }

    #[test]
    fn nothing_is_claimed_of_what_was_not_established() {
        let joint = sample::not_established();
        assert_eq!(Fitness::of(&joint.members[1], &joint), None);
    }
}
