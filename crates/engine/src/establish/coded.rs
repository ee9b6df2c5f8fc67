//! Timecode that both units recorded in, what may be claimed because of it out; and what is odd about it.
//!
//! Labels tell the place, the wave tells the clock, and each is held against the other. What they cannot tell is whether one
//! generator's code was fed to both units or each recorded its own: then rate and place are the generators', not the units'.
//! Two things do. The room's sound, where it locks, must run at the code's rate. And code made by a unit keeps step with that
//! unit's own clock: code on both that keeps step with one unit and not with the other came from that one. Where neither tells,
//! a person is asked.

use crate::alignment::{Basis, Status};
use crate::clock::Measured;
use crate::clock::acoustic::Delay;
use crate::finding::{Finding, Weight};
use crate::pair::Ground;
use crate::take::Take;
use crate::tie::timecode::{Shared, Track, timecode_findings};
use crate::units::{Ppm, SampleRate, Samples, signed};

use super::claim::{
    Circumstances, Claim, Evidences, SMALLEST_BOUND, STAMP_DOUBT_S, differing_stamps,
};
use super::room::{RoomEvidence, beyond_spacing};

/// A track keeps step with its unit's clock when it is off its own rate by no more than this, or three sigma ...
const IN_STEP: Ppm = Ppm(0.002);
/// ... and sigma is no larger than this: crystals come closer to a box than its threefold by chance only.
const STEP_KNOWN: Ppm = Ppm(0.015);
/// The code's rate and the room's may differ by this, or by six sigma: boxes that were set by one another differ by 0.2 to
/// 0.4 ppm (common practice, no source).
const RATES_APART: Ppm = Ppm(0.1);
/// Words and wave may lie this far apart, or four sigma, samples.
const READINGS_APART: f64 = 0.25;
/// And words from a common signal: the code may have gone another way through the same inputs.
const SIGNALS_APART: f64 = 1.0;
/// A take's stamp and the labels on its own track may differ by this many timecode frames: both are cut to whole ones.
const OWN_APART: f64 = 1.5;

/// Words of lines that bend the wave differently are good to so many bits: an edge comes later through a filter.
const BENT: f64 = 0.5;
/// Bits of a word.
const BITS: f64 = 80.0;

/// Timecode that both units recorded.
#[derive(Debug, Clone, PartialEq)]
pub struct TimecodeEvidence {
    /// The lead and the follower.
    pub units: [String; 2],
    /// A phrase naming the channels.
    pub channels: String,
    /// What the labels on the two tracks have in common.
    pub shared: Shared,
    /// The clock by the code's wave, where nothing else is common and it locks.
    pub wave: Option<Measured>,
    /// The clock by the words.
    pub words: Option<Measured>,
    /// By how much the words lie later on the follower than the wave's clock, or a common signal's, has them; with one
    /// standard deviation.
    pub apart: Option<(Samples, Samples)>,
    /// The room's sound against the code, where it locks.
    pub room: Option<RoomCheck>,
}

/// The room's sound held against the code.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RoomCheck {
    /// The room's rate less the code's.
    pub rate: Ppm,
    /// One standard deviation of it.
    pub rate_sigma: Ppm,
    /// By how much later the follower hears the content than the code has it: the distance between microphones.
    pub lag: Delay,
}

impl TimecodeEvidence {
    /// The better of the two readings.
    fn measured(&self) -> Option<&Measured> {
        self.wave.as_ref().or(self.words.as_ref())
    }

    /// The same, where nothing speaks against the code.
    pub(super) fn usable(&self, around: Circumstances) -> Option<&Measured> {
        let against = self.against(around.spacing_m, around.rate);
        self.measured().filter(|_| against.is_none())
    }

    /// Its rates against the code's generator, in words; nothing for a side that has too few words to tell.
    fn rates(&self) -> [Option<String>; 2] {
        [self.shared.lead, self.shared.follower].map(|side| {
            let (rate, sigma) = side.against_generator?;
            Some(format!("{} ± {:.3} ppm", signed(rate.0, 3), sigma.0))
        })
    }

    /// Whether the code keeps step with the lead's clock, and with the follower's.
    fn steps(&self) -> [Step; 2] {
        [self.shared.lead, self.shared.follower].map(|side| match side.against_generator {
            Some((rate, sigma)) if rate.0.abs() > IN_STEP.0.max(3.0 * sigma.0) => Step::Off,
            Some((_, sigma)) if sigma.0 <= STEP_KNOWN.0 => Step::In,
            _ => Step::Unknown,
        })
    }

    /// Holds the room's sound over the whole take against it.
    pub(super) fn check_by(&mut self, room: &RoomEvidence) {
        let check = self.measured().map(|code| RoomCheck {
            rate: Ppm(room.measured.rate.0 - code.rate.0),
            rate_sigma: Ppm(room.measured.rate_sigma.0.hypot(code.rate_sigma.0)),
            lag: room.at(code.offset).content_lag,
        });
        self.room = check.or(self.room);
    }

    /// What the sound of the room says against the code: another rate, or another place.
    pub(super) fn against(&self, spacing_m: f64, rate: SampleRate) -> Option<Against> {
        let room = self.room?;
        let limit = Ppm(RATES_APART.0.max(6.0 * room.rate_sigma.0));
        if room.rate.0.abs() > limit.0 {
            return Some(Against::Rate(room.rate, limit));
        }
        let allowed = Samples::of_air(spacing_m, rate);
        let doubt = STAMP_DOUBT_S * rate.hz();
        (room.lag.least().0.abs() > allowed.0 + doubt)
            .then_some(Against::Place(room.lag.best, allowed))
    }
}

/// Whether code keeps step with a unit's clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Step {
    In,
    Off,
    Unknown,
}

/// What speaks against the code.
pub(super) enum Against {
    /// The room's rate less the code's, and how far it may be.
    Rate(Ppm, Ppm),
    /// The content's delay, and how much of one is allowed.
    Place(Samples, Samples),
}

/// What timecode allows; `None` when it places nothing.
pub(super) fn by_timecode(evidences: &Evidences, around: Circumstances) -> Option<Claim> {
    let code = evidences.timecode.as_ref()?;
    let measured = code.usable(around)?;
    let mut claim = Claim::of_measured(Basis::TimecodeTrack, measured);
    let least = match code.wave {
        Some(_) => SMALLEST_BOUND.0,
        None => BENT * code.shared.word.0 / BITS,
    };
    claim.offset_sigma = Samples(claim.offset_sigma.0.max(least / 3.0));
    claim.offset_bound = Samples(3.0 * claim.offset_sigma.0);
    claim.story = story(code);
    claim
        .findings
        .extend(differing_stamps(measured, evidences, around, "timecode"));
    if let Some((apart, sigma)) = code.apart
        && apart.0.abs() > READINGS_APART.max(4.0 * sigma.0)
    {
        claim.status = Status::NeedsDecision;
        claim
            .findings
            .push(readings_differ(code, (apart, sigma), around.rate));
    }
    match code.room {
        Some(room) => weigh_content(&mut claim, room, around),
        None => {
            if let Some(finding) = unknown_source(code) {
                claim.status = Status::NeedsDecision;
                claim.findings.push(finding);
            }
        }
    }
    if code.room.is_none()
        && let Some(finding) = against_stamps(measured, evidences, around)
    {
        claim.status = Status::NeedsDecision;
        claim.findings.push(finding);
    }
    Some(claim)
}

fn story(code: &TimecodeEvidence) -> Vec<String> {
    let (first, last) = code.shared.labels;
    let mut story = vec![format!(
        "the same timecode stands on {}: {} words, {first} to {last}",
        code.channels, code.shared.words
    )];
    story.push(match (&code.wave, code.apart) {
        (Some(_), Some((apart, sigma))) => format!(
            "its labels place the follower and its wave measures the clock; the words lie {} ± {:.2} samples from there",
            signed(apart.0, 2),
            sigma.0
        ),
        (Some(_), None) => "its labels place the follower and its wave measures the clock".into(),
        (None, _) => format!(
            "its words place the follower and measure the clock; its wave is too different on the two, so that the place is \
             good to half a bit (±{:.0} samples)",
            BENT * code.shared.word.0 / BITS
        ),
    });
    let rates: Vec<String> = code
        .units
        .iter()
        .zip(code.rates())
        .filter_map(|(unit, rate)| Some(format!("{unit} {}", rate?)))
        .collect();
    if !rates.is_empty() {
        let source = match code.steps() {
            [Step::In, Step::Off] => format!("; it keeps step with {}", code.units[0]),
            [Step::Off, Step::In] => format!("; it keeps step with {}", code.units[1]),
            _ => String::new(),
        };
        let rates = rates.join(", ");
        story.push(format!("against the code's generator: {rates}{source}"));
    }
    story
}

fn readings_differ(
    code: &TimecodeEvidence,
    (apart, sigma): (Samples, Samples),
    rate: SampleRate,
) -> Finding {
    Finding::new(
        "timecode-readings-differ",
        Weight::Ask,
        format!(
            "the timecode on {} read as words and compared as a wave gives two places",
            code.channels
        ),
    )
    .measured(
        format!("{:+.2} samples ({:+.3} ms)", apart.0, 1e3 * apart.seconds(rate)),
        format!("±{:.2} samples", READINGS_APART.max(4.0 * sigma.0)),
    )
    .because("two codes that look alike, or an input that bends the wave")
    .then(
        "listen; to accept the wave's place, set \"status\" to \"established\" in alignment.json and run `commontime build`",
    )
}

/// That nothing tells whether one generator fed both units; `None` where the code is one unit's own.
fn unknown_source(code: &TimecodeEvidence) -> Option<Finding> {
    let (name, message) = match code.steps() {
        [Step::In, Step::Off] | [Step::Off, Step::In] => return None,
        [Step::In, Step::In] => (
            "timecode-own",
            "each track's timecode keeps step with its own unit's clock: either the clocks were common, or each unit recorded \
             code of its own and this is no measurement",
        ),
        _ => (
            "timecode-source-unknown",
            "nothing tells whether one generator's timecode was fed to both units or each had a box of its own: then the place \
             is good to how they were set, and the rate is the boxes'",
        ),
    };
    let rates = code.rates().map(Option::unwrap_or_default);
    let finding = Finding::new(name, Weight::Ask, message)
    .measured(
        rates.join(" and "),
        "one unit in step with the code, the other not",
    )
    .because("no sound that both units heard tells which")
    .then(
        "if one generator was fed to both units, set \"status\" to \"established\" in alignment.json and run \
         `commontime build`; else name a common signal with --common or an instant with --tie",
    );
    Some(finding)
}

/// That the stamps say quite another place and nothing that was heard tells which is right.
fn against_stamps(
    measured: &Measured,
    evidences: &Evidences,
    around: Circumstances,
) -> Option<Finding> {
    let looked_for = matches!(
        evidences.heard,
        Some(Ground::Timecode {
            contradicted: true,
            ..
        })
    );
    let apart = evidences
        .stamps
        .map(|stamps| measured.offset - stamps.offset);
    let doubt = STAMP_DOUBT_S * around.rate.hz();
    let value = match apart {
        Some(apart) if apart.0.abs() > doubt => format!("{:+.3} s", apart.seconds(around.rate)),
        None if looked_for => "by the stamps the takes did not run together".into(),
        _ => return None,
    };
    Some(
        Finding::new(
            "timecode-against-stamps",
            Weight::Ask,
            "the timecode on the tracks and the stamps tell different places, and no sound that both units heard tells \
             which is right",
        )
        .measured(value, format!("±{STAMP_DOUBT_S:.3} s"))
        .because("units whose own timecode was not set by the code they recorded; or code of two generators")
        .then(
            "if one generator was fed to both units, set \"status\" to \"established\" in alignment.json and run \
             `commontime build`; else give an instant with --tie",
        ),
    )
}

/// Holds the place against the content's, which may differ by the distance between microphones.
fn weigh_content(claim: &mut Claim, room: RoomCheck, around: Circumstances) {
    let lag = room.lag;
    let allowed = Samples::of_air(around.spacing_m, around.rate).0 + claim.offset_bound.0;
    claim.story.push(format!(
        "the sound of the room runs at the same rate ({} ± {:.3} ppm apart) and arrives {} from there",
        signed(room.rate.0, 3),
        room.rate_sigma.0,
        lag.told(around.rate)
    ));
    if lag.least().0.abs() > allowed {
        let limit = format!("±{allowed:.0} samples ({} m)", around.spacing_m);
        claim.findings.push(beyond_spacing(lag, limit, around.rate));
    }
}

/// Tells what a person should know of the timecode besides what a claim by it says.
pub(super) fn tell(claim: &mut Claim, evidences: &Evidences, around: Circumstances) {
    claim.findings.extend(evidences.on_tracks.iter().cloned());
    let Some(code) = &evidences.timecode else {
        return;
    };
    let finding = match claim.basis {
        Basis::TimecodeTrack => None,
        Basis::CommonSignal => code
            .apart
            .filter(|(apart, sigma)| apart.0.abs() > SIGNALS_APART.max(4.0 * sigma.0))
            .map(|apart| differs_from_signal(code, apart, around)),
        _ => code
            .against(around.spacing_m, around.rate)
            .map(|against| not_used(code, &against, around)),
    };
    // the room alone against the code: a sound may repeat
    if claim.basis == Basis::Acoustic && finding.is_some() {
        claim.status = Status::NeedsDecision;
    }
    claim.findings.extend(finding);
}

fn differs_from_signal(
    code: &TimecodeEvidence,
    (apart, sigma): (Samples, Samples),
    around: Circumstances,
) -> Finding {
    Finding::new(
        "timecode-differs-from-common-signal",
        Weight::Note,
        format!(
            "the timecode on {} and the common signal disagree; the common signal decides",
            code.channels
        ),
    )
    .measured(
        format!(
            "{:+.1} samples ({:+.3} ms)",
            apart.0,
            1e3 * apart.seconds(around.rate)
        ),
        format!("±{:.1} samples", SIGNALS_APART.max(4.0 * sigma.0)),
    )
    .because("each unit recorded code of its own, or one of the two signals was delayed on its way")
    .then("nothing: the common signal was used")
}

fn not_used(code: &TimecodeEvidence, against: &Against, around: Circumstances) -> Finding {
    let of_two = Finding::new(
        "timecode-of-two-generators",
        Weight::Warn,
        format!(
            "the timecode on {} did not come from one generator: it was not used",
            code.channels
        ),
    )
    .because("each unit recorded code of its own, or of a box of its own")
    .then("feed one generator's code to both units, or split a microphone to both");
    match against {
        Against::Rate(apart, limit) => of_two.measured(
            format!("{:+.3} ppm between the room's rate and the code's", apart.0),
            format!("±{:.3} ppm", limit.0),
        ),
        Against::Place(lag, allowed) => of_two.measured(
            format!(
                "the sound of the room lies {:+.0} samples ({:+.3} s) from where the labels place it",
                lag.0,
                lag.seconds(around.rate)
            ),
            format!("±{:.0} samples of air", allowed.0),
        ),
    }
}

/// What is odd about the timecode on a take's own tracks, and whether its stamp says the same.
pub(super) fn find_on_tracks(take: &Take, tracks: &[Track]) -> Vec<Finding> {
    let mut findings = Vec::new();
    for track in tracks {
        let place = take.channel_place(track.channel);
        findings.extend(timecode_findings(&place, take.rate.0, &track.reading));
        findings.extend(differs_from_stamp(take, track, &place));
    }
    findings
}

fn differs_from_stamp(take: &Take, track: &Track, place: &str) -> Option<Finding> {
    let counting = track.reading.counting;
    let first = track.reading.words().next()?;
    let per_second = counting.rate().per_second();
    let stamp_s = take.stamp_seconds()? + first.start / take.rate.hz();
    let day = counting.day() as f64;
    let apart = first.label.count() as f64 - stamp_s * per_second;
    let apart = apart - (apart / day).round() * day;
    (apart.abs() > OWN_APART).then(|| {
        Finding::new(
            "stamp-differs-from-track",
            Weight::Note,
            "the take's stamp and the timecode on its own track differ",
        )
        .at(place.to_owned())
        .measured(
            format!("{apart:+.1} timecode frames ({:+.3} s)", apart / per_second),
            format!("±{OWN_APART} timecode frames"),
        )
        .because("the unit was not set by this code, was set late or lost it; or its stamps follow a clock of its own")
        .then("set the unit's timecode by the code it records; for placing, the code on the tracks is used")
    })
}
