//! The short test recording made after linking the units in, whether they are ready for the day out: settings, stamps, clocks,
//! common signal, levels, what lies on the cards, and one line that says what the day may be used for.

mod levels;
mod stamps;
#[cfg(test)]
mod tests;

use serde::Serialize;

use crate::alignment::{Alignment, Basis, JointTake, Member, Role, Status};
use crate::error::{Error, Kind, Result};
use crate::establish::{Options, align};
use crate::finding::{Finding, Weight};
use crate::progress::Progress;
use crate::report::Fitness;
use crate::session::Class;
use crate::take::{Survey, Take, Unit, settings_table};
use crate::units::{SampleCount, SampleRate, counted, decimals_of, distinct, signed};

/// A first roll is at least so long, seconds: units need 5 to 15 s to lock after power-up. Common practice, no source.
const SHORTEST_S: f64 = 5.0;

/// What the units are ready for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Ready {
    /// For nothing: something must be mended first.
    Not,
    /// For unrelated microphones.
    Ambience,
    /// For spots and for two halves of a stereo pair.
    Stereo,
    /// For capsules of one array as well.
    Arrays,
}

impl Ready {
    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Not => "not ready",
            Self::Ambience => "ready for ambience only",
            Self::Stereo => "ready for stereo",
            Self::Arrays => "ready for arrays",
        }
    }
}

/// What a first roll came to.
#[derive(Debug, Clone, Serialize)]
pub struct FirstRoll {
    /// The unit that the others are measured against; empty when no two ran together.
    pub lead: String,
    /// What the units are ready for.
    pub ready: Ready,
    /// The verdict in one line, with its reason.
    pub verdict: String,
    /// How every follower stands to the lead.
    pub followers: Vec<Rolled>,
    /// What a person should know, gravest first.
    pub findings: Vec<Finding>,
    /// What was measured.
    pub alignment: Alignment,
}

/// How one follower stands to the lead.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Rolled {
    /// The unit.
    pub unit: String,
    /// What the place rests on.
    pub basis: Basis,
    /// When it began after the lead, seconds; absent when that is not known.
    pub began_s: Option<f64>,
    /// How far its clock is from the lead's, ppm, with three sigma; absent when so short a roll cannot tell.
    pub rate_ppm: Option<[f64; 2]>,
    /// By how much the two run apart in an hour at worst, seconds; absent as above.
    pub apart_an_hour_s: Option<f64>,
    /// Whether the common signal is inverted; absent without one.
    pub inverted: Option<bool>,
    /// What it is ready for.
    pub ready: Ready,
}

/// Judges the last take of every unit.
///
/// # Errors
/// [`Kind::Usage`] when there are not two units with takes; when a take cannot be read.
pub fn first_roll(
    survey: &Survey,
    options: &Options,
    progress: &dyn Progress,
) -> Result<FirstRoll> {
    let rolls = last_takes(survey);
    if rolls.units.len() < 2 {
        return Err(Error::new(
            Kind::Usage,
            "a first roll needs the cards of two or more units",
        )
        .then("record 5 to 60 s on all units at once, and give their cards"));
    }
    let alignment = align(&rolls, options, progress)?;
    let mut findings = settings_table(&rolls).findings;
    findings.extend(old_takes(survey));
    findings.extend(stamps::findings(&rolls, alignment.joint_takes.first()));
    findings.extend(levels::findings(&rolls, progress)?);
    findings.extend(alignment.findings.iter().cloned());
    let mut followers = Vec::new();
    for joint in &alignment.joint_takes {
        let members = joint
            .members
            .iter()
            .filter(|member| member.role == Role::Follower);
        for member in members {
            findings.extend(member.findings.iter().cloned());
            followers.push(rolled(joint, member));
        }
        findings.extend(too_short(joint));
    }
    if alignment.joint_takes.is_empty() {
        findings.push(none_together());
    } else {
        let alone = rolls.units.iter().filter(|unit| {
            let mut members = alignment
                .joint_takes
                .iter()
                .flat_map(|joint| &joint.members);
            !members.any(|member| member.unit == unit.name)
        });
        findings.extend(alone.map(ran_alone));
    }
    let mut findings: Vec<Finding> = distinct(findings.into_iter().map(of_a_test));
    findings.sort_by_key(|finding| std::cmp::Reverse(finding.weight));
    let (ready, verdict) = verdict(&followers, &findings);
    Ok(FirstRoll {
        lead: (alignment.joint_takes.first()).map_or(String::new(), |joint| joint.lead.clone()),
        ready,
        verdict,
        followers,
        findings,
        alignment,
    })
}

/// The survey with the last take of every unit alone.
fn last_takes(survey: &Survey) -> Survey {
    let units = survey.units.iter().filter_map(|unit| {
        let last = unit.takes.last()?.clone();
        Some(Unit {
            takes: vec![last],
            ..unit.clone()
        })
    });
    Survey {
        units: units.collect(),
        cards: survey.cards.clone(),
    }
}

fn old_takes(survey: &Survey) -> Vec<Finding> {
    let many = survey.units.iter().filter(|unit| unit.takes.len() > 1);
    many.map(|unit| {
        let others = counted(unit.takes.len() - 1, "take");
        Finding::new(
            "old-takes",
            Weight::Warn,
            "there is more on the card than this roll",
        )
        .at(&unit.name)
        .measured(format!("{others} before it"), "a freshly formatted card")
        .because("the card was not formatted, or rolls were made before")
        .then("if they are copied and verified, format the card in its unit before the day")
    })
    .collect()
}

/// A finding as it is to be told of a test: nothing of it needs deciding or building, it is made again.
fn of_a_test(finding: Finding) -> Finding {
    let of_the_day = ["alignment.json", "--tie", "these takes"];
    match of_the_day
        .iter()
        .any(|word| finding.next_step.contains(word))
    {
        true => finding
            .then("set and link the units' timecode again, let them lock, and roll once more"),
        false => finding,
    }
}

const NONE_TOGETHER: &str = "no two units' last takes ran together";
const ROLL_AGAIN: &str =
    "link the units, let them lock, roll all of them at once for 15 s, and try again";

fn none_together() -> Finding {
    Finding::new("not-together", Weight::Stop, NONE_TOGETHER)
    .because("a unit was not recording, timecode is not linked, a file was cut short, or the last takes are of two rolls")
    .then(ROLL_AGAIN)
}

fn ran_alone(unit: &Unit) -> Finding {
    Finding::new(
        "not-together",
        Weight::Stop,
        format!("{} did not run together with the lead", unit.name),
    )
    .at(&unit.name)
    .because("it was not recording, its timecode is not linked, or its last take is another roll")
    .then(ROLL_AGAIN)
}

fn too_short(joint: &JointTake) -> Option<Finding> {
    let seconds = SampleCount(joint.length_samples).seconds(SampleRate(joint.sample_rate));
    (seconds < SHORTEST_S).then(|| {
        Finding::new("roll-too-short", Weight::Warn, "the roll is very short")
            .at(&joint.name)
            .measured(
                format!("{seconds:.1} s"),
                format!("{SHORTEST_S:.0} s and more"),
            )
            .because("units take 5 to 15 s to lock after power-up (common practice, no source)")
            .then("roll again for 15 s or more")
    })
}

fn rolled(joint: &JointTake, member: &Member) -> Rolled {
    let rate = f64::from(joint.sample_rate.max(1));
    let placed = member.status != Status::NotEstablished;
    let clock =
        (member.rate_measured && placed).then_some([member.rate_ppm, 3.0 * member.rate_sigma_ppm]);
    Rolled {
        unit: member.unit.clone(),
        basis: member.basis,
        began_s: placed.then_some(member.offset_samples / rate),
        rate_ppm: clock,
        apart_an_hour_s: clock.map(|[ppm, within]| (ppm.abs() + within) * 1e-6 * 3600.0),
        inverted: member
            .evidence
            .as_ref()
            .and_then(|evidence| evidence.common_level.as_ref())
            .map(|level| level.inverted),
        ready: ready_for(joint, member),
    }
}

/// What one follower is ready for: what its claim is good for, and no more than what it rests on can hold through a day.
fn ready_for(joint: &JointTake, member: &Member) -> Ready {
    let Some(fitness) = Fitness::of(member, joint) else {
        return Ready::Not;
    };
    let good = |class: Class| {
        let mut uses = fitness.uses.iter();
        uses.any(|one| one.name == class.words() && one.good_enough)
    };
    let measured = matches!(member.basis, Basis::CommonSignal | Basis::TimecodeTrack);
    match (member.status, measured) {
        (Status::NotEstablished, _) => Ready::Not,
        (Status::Established, true) if good(Class::Array) => Ready::Arrays,
        (Status::Established, true) if good(Class::StereoPair) => Ready::Stereo,
        _ if good(Class::Ambience) => Ready::Ambience,
        _ => Ready::Not,
    }
}

/// Settings that differ must be set alike while it is still easy.
const MENDED_FIRST: [&str; 3] = [
    "sampling-rate-differs",
    "timecode-rate-differs",
    "drop-frame-differs",
];

fn verdict(followers: &[Rolled], findings: &[Finding]) -> (Ready, String) {
    let least = followers.iter().min_by_key(|one| one.ready);
    let blocking = findings.iter().find(|finding| {
        finding.weight >= Weight::Stop || MENDED_FIRST.contains(&finding.code.as_str())
    });
    let Some(least) = least else {
        return (
            Ready::Not,
            format!("{}: {NONE_TOGETHER}", Ready::Not.words()),
        );
    };
    if let Some(finding) = blocking {
        return (
            Ready::Not,
            format!("{}: {}", Ready::Not.words(), finding.message),
        );
    }
    let why = match (least.ready, least.basis) {
        (Ready::Arrays | Ready::Stereo, _) => {
            format!(
                "{} shares a common signal with the lead; go on recording it",
                least.unit
            )
        }
        (Ready::Ambience, Basis::Stamps) => format!(
            "only the stamps place {}; record one signal on all units to be ready for more",
            least.unit
        ),
        (Ready::Ambience, _) => format!("{} is not placed closely enough for more", least.unit),
        (Ready::Not, _) => format!("the place of {} is not established", least.unit),
    };
    (least.ready, format!("{}: {why}", least.ready.words()))
}

impl FirstRoll {
    /// Who leads and how every follower stands to it, a line each.
    #[must_use]
    pub fn story(&self) -> Vec<String> {
        let lead = (!self.lead.is_empty()).then(|| format!("{} leads.", self.lead));
        lead.into_iter()
            .chain(self.followers.iter().map(Rolled::words))
            .collect()
    }
}

impl Rolled {
    /// What the roll says of it, in a sentence or two.
    #[must_use]
    pub fn words(&self) -> String {
        let began = match self.began_s {
            Some(began) if began.abs() < 5e-4 => "began with the lead".to_string(),
            Some(began) if began > 0.0 => {
                let usual = if (0.2..=2.5).contains(&began) && self.ready > Ready::Not {
                    ", as followers that wait for timecode do"
                } else {
                    ""
                };
                format!("began {began:.3} s after the lead{usual}")
            }
            Some(began) => format!("began {:.3} s before the lead", began.abs()),
            None => "its place is not established".into(),
        };
        let clock = match (self.rate_ppm, self.apart_an_hour_s) {
            (Some([ppm, within]), Some(apart)) => format!(
                "; its clock differs by {} ppm, give or take {within:.*}: the two run apart by up to {:.2} ms an hour",
                signed(ppm, decimals_of(within)),
                usize::from(decimals_of(within)),
                1e3 * apart
            ),
            _ => "; so short a roll cannot tell how its clock runs".into(),
        };
        let polarity = match self.inverted {
            Some(true) => "; the common signal is inverted",
            Some(false) => "; the common signal has the same polarity",
            None => "; no common signal was found",
        };
        format!("{} {began}{clock}{polarity}.", self.unit)
    }
}

/// A take's channel as it is named.
fn channel_name(take: &Take, channel: usize) -> String {
    match take.channels.get(channel).map_or("", String::as_str) {
        "" => format!("{} {}", take.unit, channel + 1),
        name => format!("{} {} {name}", take.unit, channel + 1),
    }
}
