//! What was measured in, what may be said about it out: basis, status, offset, rate and bounds exactly as design section 5
//! allows. No sound is read here; each rule can be tried on numbers alone.

use crate::alignment::{Basis, CommonLevel, Status};
use crate::clock::{Clock, Measured};
use crate::finding::{Finding, Sign, Weight};
use crate::pair::Ground;
use crate::units::{LeadPos, Ppm, SampleRate, Samples};

use super::calibrated::{CalibrationEvidence, by_calibration, told};
use super::coded::{self, TimecodeEvidence, by_timecode};
use super::line::{PLAUSIBLE_PPM, implausible_rate, no_line};
use super::room::{RoomEvidence, by_room_alone, by_stamps};

/// The rate difference assumed of two free-running units when none could be measured: professional audio clocks may be
/// off by up to 10 ppm each (Digital Interface Handbook, 3rd ed., section 6.1), taken as two sigma of the difference.
const UNMEASURED_RATE_SIGMA_PPM: f64 = 10.0;

/// A person's tie is taken to be good to the sample it names.
const MANUAL_SIGMA: Samples = Samples(0.5);

/// The finding that only stamps place a follower.
const STAMPS_ONLY: &str = "stamps-only";

/// The smallest bound ever claimed of a measured offset: the contract's "hundredths of a sample".
pub(super) const SMALLEST_BOUND: Samples = Samples(0.01);

/// A gap between stamps and content larger than this many seconds is no wrong distance but a wrong stamp: two timecode
/// frames at the slowest rate in use, 24000/1001.
pub(super) const STAMP_DOUBT_S: f64 = 2.0 * 1001.0 / 24_000.0;

/// What the stamps say.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StampEvidence {
    /// The lead position of the follower's sample 0 by the stamps.
    pub offset: LeadPos,
    /// What the coarser of the two units' stamps resolves.
    pub resolution: Samples,
}

/// A person's tie, already put on lead and follower.
#[derive(Debug, Clone, PartialEq)]
pub struct ManualEvidence {
    /// The instant on the lead.
    pub lead: LeadPos,
    /// The same instant on the follower.
    pub follower: crate::units::UnitPos,
    /// Why, in the person's own words; may be empty.
    pub reason: String,
}

/// Everything known about one follower before a claim is made.
#[derive(Debug, Clone, Default)]
pub struct Evidences {
    /// A person's own tie.
    pub manual: Option<ManualEvidence>,
    /// A common signal that locked, with a phrase naming its channels.
    pub common: Option<(Measured, String)>,
    /// Level and polarity on that common signal.
    pub level: Option<CommonLevel>,
    /// Timecode that both units recorded.
    pub timecode: Option<TimecodeEvidence>,
    /// The follower's channels that carry timecode, 0-based.
    pub code: Vec<usize>,
    /// What is odd about the follower's tracks: their timecode, a declared signal that stands elsewhere.
    pub on_tracks: Vec<Finding>,
    /// The sound of the room, locked.
    pub room: Option<RoomEvidence>,
    /// The stamps.
    pub stamps: Option<StampEvidence>,
    /// What a place that was looked for by sound rests on.
    pub heard: Option<Ground>,
    /// A stored calibration for these two units.
    pub calibration: Option<CalibrationEvidence>,
    /// Signs of whatever did not lock, for the report.
    pub unlocked_signs: Vec<Sign>,
    /// Why it did not lock, one sentence each.
    pub unlocked_reasons: Vec<String>,
    /// Places that fit, best first, with their score relative to the best.
    pub candidates: Vec<(LeadPos, f64)>,
}

/// What the claim needs to know besides the evidence.
#[derive(Debug, Clone, Copy)]
pub struct Circumstances {
    /// The nominal rate.
    pub rate: SampleRate,
    /// The follower's length, samples.
    pub follower_length: u64,
    /// The declared largest distance between microphones, metres.
    pub spacing_m: f64,
    /// How long a timecode frame of the stamps lasts, where that is known.
    pub timecode_frame: Option<Samples>,
}

/// What may be said.
#[derive(Debug, Clone)]
pub struct Claim {
    /// What the offset rests on.
    pub basis: Basis,
    /// Whether it is established.
    pub status: Status,
    /// The lead position of the follower's sample 0.
    pub offset: LeadPos,
    /// One sigma of the offset.
    pub offset_sigma: Samples,
    /// Plus or minus what the claim allows.
    pub offset_bound: Samples,
    /// The mean rate.
    pub rate: Ppm,
    /// One sigma of the rate.
    pub rate_sigma: Ppm,
    /// Whether the rate was measured.
    pub rate_measured: bool,
    /// The map.
    pub clock: Clock,
    /// The measurement the clock came from.
    pub measured: Option<Measured>,
    /// The follower through which it was placed, when not against the lead itself.
    pub through: Option<String>,
    /// Signs beyond those of the measurement: closure over three units.
    pub signs: Vec<Sign>,
    /// How it came about, sentence by sentence.
    pub story: Vec<String>,
    /// What a person should know.
    pub findings: Vec<Finding>,
}

/// Makes the claim the evidence allows.
#[must_use]
pub fn claim(evidences: &Evidences, around: Circumstances) -> Claim {
    let mut claim = if let Some(manual) = &evidences.manual {
        by_person(manual, evidences, around)
    } else if let Some((measured, channels)) = &evidences.common {
        by_common_signal(measured, channels, evidences, around)
    } else if let Some(claim) = by_timecode(evidences, around) {
        claim
    } else if let Some(stamps) = evidences.stamps {
        by_calibration(evidences, around)
            .unwrap_or_else(|| by_stamps(stamps, evidences.room.as_ref(), around))
    } else if let Some(room) = &evidences.room {
        by_room_alone(room, around)
    } else {
        nothing(evidences, around)
    };
    for finding in claim
        .findings
        .iter_mut()
        .filter(|finding| finding.code == STAMPS_ONLY)
    {
        finding.cause = evidences.unlocked_reasons.join("; ");
    }
    if let Some(ground) = evidences.heard {
        super::heard::judge(&mut claim, ground);
    }
    coded::tell(&mut claim, evidences, around);
    let calibration = told(&claim, evidences);
    claim.findings.extend(calibration);
    claim.ask_implausible_rate();
    claim
        .findings
        .extend(claim.measured.as_ref().and_then(no_line));
    claim.offset_bound = Samples(claim.offset_bound.0.max(3.0 * claim.offset_sigma.0));
    claim
}

fn by_common_signal(
    measured: &Measured,
    channels: &str,
    evidences: &Evidences,
    around: Circumstances,
) -> Claim {
    let mut claim = Claim::of_measured(Basis::CommonSignal, measured);
    claim.offset_bound = Samples((3.0 * measured.offset_sigma.0).max(SMALLEST_BOUND.0));
    claim.story.push(format!(
        "the same electrical signal stands on {channels}; the offset and the rate are measured on it"
    ));
    claim.findings.extend(differing_stamps(
        measured,
        evidences,
        around,
        "common signal",
    ));
    claim
}

/// That the stamps say another place than what was measured by `what`.
pub(super) fn differing_stamps(
    measured: &Measured,
    evidences: &Evidences,
    around: Circumstances,
    what: &str,
) -> Option<Finding> {
    let stamps = evidences.stamps?;
    let apart = measured.offset - stamps.offset;
    (apart.0.abs() > stamps.resolution.0 + 1.0).then(|| {
        Finding::new(
            &format!("stamps-differ-from-{}", what.replace(' ', "-")),
            Weight::Note,
            format!("the stamps and the {what} disagree; the {what} decides"),
        )
        .measured(
            format!(
                "{:+.1} samples ({:+.2} ms{})",
                apart.0,
                apart.seconds(around.rate) * 1e3,
                in_timecode_frames(apart, around)
            ),
            format!(
                "±{:.0} samples, what the stamps resolve",
                stamps.resolution.0
            ),
        )
        .because("jamming and reading timecode is good to a timecode frame or so")
        .then("nothing: the measured offset was used")
    })
}

fn in_timecode_frames(apart: Samples, around: Circumstances) -> String {
    around.timecode_frame.map_or_else(String::new, |frame| {
        format!(", {:+.2} timecode frames", apart.0 / frame.0)
    })
}

pub(super) fn by_stamps_alone(stamps: StampEvidence, around: Circumstances) -> Claim {
    let mut claim = Claim::unmeasured(Basis::Stamps, stamps.offset, around);
    claim.status = Status::NeedsDecision;
    claim.offset_sigma = Samples(stamps.resolution.0 / 3.0);
    claim.offset_bound = stamps.resolution;
    claim.story.push(format!(
        "the stamps alone place the follower at {:+.1} samples, good to ±{:.0} samples; no sound confirms them",
        stamps.offset.0, stamps.resolution.0
    ));
    let seconds = around.follower_length as f64 / around.rate.hz();
    claim.findings.push(
        Finding::new(
            STAMPS_ONLY,
            Weight::Ask,
            "only the stamps place this follower: no common signal was found and the microphones share no sound \
             that could confirm the place or measure the drift",
        )
        .measured(
            format!(
                "start ±{:.0} samples; drift unknown, up to {:.1} ms by the end if the clocks differ by {} ppm",
                stamps.resolution.0,
                seconds * UNMEASURED_RATE_SIGMA_PPM * 1e-3,
                UNMEASURED_RATE_SIGMA_PPM
            ),
            "a common signal, or sound that both units heard",
        )
        .then(
            "listen; if it will do, set this member's \"status\" to \"established\" in alignment.json and run \
             `commontime build`, or name a common signal with --common or an instant with --tie",
        ),
    );
    claim
}

fn by_person(manual: &ManualEvidence, evidences: &Evidences, around: Circumstances) -> Claim {
    let code = || evidences.timecode.as_ref()?.usable(around);
    let shape = evidences
        .common
        .as_ref()
        .map(|(measured, _)| measured)
        .or_else(code)
        .or_else(|| evidences.room.as_ref().map(|room| &room.measured));
    let mut claim = match shape {
        Some(measured) => {
            let mut claim = Claim::of_measured(Basis::Manual, measured);
            claim.shift(manual.lead - measured.clock.lead_at(manual.follower));
            claim
                .story
                .push("the rate was measured; the place is a person's own tie".into());
            claim
        }
        None => {
            let offset = LeadPos(manual.lead.0 - manual.follower.0);
            let mut claim = Claim::unmeasured(Basis::Manual, offset, around);
            claim
                .story
                .push("the place is a person's own tie; the rate was not measured".into());
            claim
        }
    };
    if !manual.reason.trim().is_empty() {
        claim
            .story
            .push(format!("the person's reason: {}", manual.reason.trim()));
    }
    claim.offset_sigma = MANUAL_SIGMA;
    claim.offset_bound = Samples(3.0 * MANUAL_SIGMA.0);
    if let Some((measured, channels)) = &evidences.common {
        let apart = claim.offset - measured.offset;
        if apart.0.abs() > claim.offset_bound.0 {
            claim.findings.push(
                Finding::new(
                    "tie-differs-from-common-signal",
                    Weight::Warn,
                    format!(
                        "your tie and the common signal on {channels} disagree; your tie was used"
                    ),
                )
                .measured(format!("{:+.1} samples", apart.0), "±1.5 samples")
                .then("leave --tie out to use the common signal"),
            );
        }
    }
    claim
}

fn nothing(evidences: &Evidences, around: Circumstances) -> Claim {
    let mut claim = Claim::unmeasured(Basis::None, LeadPos(0.0), around);
    claim.status = Status::NotEstablished;
    claim
        .story
        .push("nothing reliable was found; nothing was shifted".into());
    let candidates = evidences
        .candidates
        .iter()
        .take(3)
        .map(|(offset, score)| format!("{:+.0} samples (score {score:.2})", offset.0))
        .collect::<Vec<_>>();
    let mut finding = Finding::new(
        "not-established",
        Weight::Ask,
        "where this follower lies on the lead's clock could not be established",
    )
    .then("give an instant with --tie UNIT@POS=UNIT@POS, or name a common signal with --common");
    if !candidates.is_empty() {
        finding.value = format!("candidates: {}", candidates.join(", "));
    }
    finding.cause = evidences.unlocked_reasons.join("; ");
    claim.findings.push(finding);
    claim
}

impl Claim {
    /// Leaves a rate that no crystal has to a person.
    pub(super) fn ask_implausible_rate(&mut self) {
        if self.rate_measured && self.rate.0.abs() > PLAUSIBLE_PPM {
            self.status = Status::NeedsDecision;
            self.findings.push(implausible_rate(self.rate));
        }
    }

    pub(super) fn of_measured(basis: Basis, measured: &Measured) -> Self {
        Self {
            basis,
            status: Status::Established,
            offset: measured.offset,
            offset_sigma: measured.offset_sigma,
            offset_bound: Samples(3.0 * measured.offset_sigma.0),
            rate: measured.rate,
            rate_sigma: measured.rate_sigma,
            rate_measured: true,
            clock: measured.clock.clone(),
            measured: Some(measured.clone()),
            through: None,
            signs: Vec::new(),
            story: Vec::new(),
            findings: Vec::new(),
        }
    }

    fn unmeasured(basis: Basis, offset: LeadPos, around: Circumstances) -> Self {
        let offset = LeadPos(offset.0.round());
        Self {
            basis,
            status: Status::Established,
            offset,
            offset_sigma: Samples(0.0),
            offset_bound: Samples(0.0),
            rate: Ppm(0.0),
            rate_sigma: Ppm(UNMEASURED_RATE_SIGMA_PPM),
            rate_measured: false,
            clock: Clock::straight(offset, Ppm(0.0), around.follower_length, around.rate.hz()),
            measured: None,
            through: None,
            signs: Vec::new(),
            story: Vec::new(),
            findings: Vec::new(),
        }
    }

    pub(super) fn shift(&mut self, by: Samples) {
        self.offset = self.offset + by;
        self.clock = self.clock.shifted(by);
        if let Some(measured) = &mut self.measured {
            *measured = measured.shifted(by);
        }
    }
}
