//! Groups of channels with what they are used for in, whether their places are certain enough for it out.

use serde::{Deserialize, Serialize};

use super::Fitness;
use crate::alignment::{JointTake, Role};
use crate::build::TakeQuality;
use crate::finding::{Finding, Weight};
use crate::session::Group;
use crate::units::distinct;

/// What can be said of a group.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// All its channels were on one unit: one clock.
    OneUnit,
    /// The claims keep it within what its use allows.
    GoodEnough,
    /// They do not.
    NotGoodEnough,
    /// A unit of it has no established place.
    NotEstablished,
    /// None of its channels was recorded.
    NotRecorded,
}

/// A group judged.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct JudgedGroup {
    /// Its name.
    pub name: String,
    /// What it is used for, in words.
    pub used_as: String,
    /// The error that use allows between two channels, seconds.
    pub allowed_s: f64,
    /// Its channels that were recorded: unit, 1-based channel, name.
    pub channels: Vec<(String, u32, String)>,
    /// Its channels that were not.
    pub missing: Vec<(String, u32)>,
    /// Its units.
    pub units: Vec<String>,
    /// The largest error that the claims leave between two of its channels, seconds; absent without a claim.
    pub error_s: Option<f64>,
    /// What follows.
    pub verdict: Verdict,
    /// Lowest and highest correlation without delay between two of its channels, where the quality was measured.
    pub correlation: Option<[f64; 2]>,
    /// Whether such a group should stay on one unit.
    pub wants_one_unit: bool,
}

/// Judges every group in a joint take.
#[must_use]
pub fn judge_groups(
    groups: &[Group],
    joint: &JointTake,
    quality: Option<&TakeQuality>,
) -> Vec<JudgedGroup> {
    let groups = groups.iter();
    groups.map(|group| judge(group, joint, quality)).collect()
}

fn judge(group: &Group, joint: &JointTake, quality: Option<&TakeQuality>) -> JudgedGroup {
    let mut channels = Vec::new();
    for member in &joint.members {
        for channel in &member.channels {
            // a unit that was started again has its channels once more
            let known = channels
                .iter()
                .any(|(unit, index, _)| *unit == member.unit && *index == channel.index);
            if group.has(&member.unit, channel.index) && !known {
                channels.push((member.unit.clone(), channel.index, channel.name.clone()));
            }
        }
    }
    let missing = group.channels.iter().filter(|(unit, number)| {
        let mut found = channels.iter();
        !found.any(|(own, index, _)| own.eq_ignore_ascii_case(unit) && index == number)
    });
    let missing = missing.cloned().collect();
    let units = distinct(channels.iter().map(|(unit, _, _)| unit.clone()));
    let error_s = error_between(&units, joint);
    let allowed_s = group.class.allowed_s();
    let verdict = match (units.len(), error_s) {
        (0, _) => Verdict::NotRecorded,
        (1, _) => Verdict::OneUnit,
        (_, None) => Verdict::NotEstablished,
        (_, Some(error)) if group.class.allows(error) => Verdict::GoodEnough,
        _ => Verdict::NotGoodEnough,
    };
    JudgedGroup {
        name: group.name.clone(),
        used_as: group.class.words().into(),
        allowed_s,
        correlation: quality.and_then(|quality| correlation(group, quality)),
        channels,
        missing,
        units,
        error_s,
        verdict,
        wants_one_unit: group.class.wants_one_unit(),
    }
}

/// The largest error between two of the units: each may be off against the lead by its claim, in either direction.
fn error_between(units: &[String], joint: &JointTake) -> Option<f64> {
    let mut errors = Vec::new();
    for unit in units {
        let members = joint.members.iter().filter(|member| member.unit == *unit);
        let mut worst = 0.0_f64;
        for member in members.filter(|member| member.role == Role::Follower) {
            worst = worst.max(Fitness::of(member, joint)?.largest_s());
        }
        errors.push(worst);
    }
    errors.sort_by(|a, b| b.total_cmp(a));
    (errors.len() > 1).then(|| errors.iter().take(2).sum())
}

fn correlation(group: &Group, quality: &TakeQuality) -> Option<[f64; 2]> {
    let inside = |index: usize| {
        let channel = &quality.channels[index];
        group.has(&channel.unit, channel.unit_channel)
    };
    let pairs = quality.pairs.iter();
    let found = pairs.filter(|pair| pair.channels.iter().all(|&index| inside(index)));
    found
        .map(|pair| pair.correlation)
        .fold(None, |range, value| {
            let [low, high] = range.unwrap_or([value, value]);
            Some([low.min(value), high.max(value)])
        })
}

/// What a person should know of the groups of a joint take.
#[must_use]
pub fn group_findings(joint: &JointTake, groups: &[JudgedGroup]) -> Vec<Finding> {
    let found = groups.iter().filter_map(|group| {
        let microseconds = |seconds: f64| format!("±{:.3} µs", 1e6 * seconds);
        let error = microseconds(group.error_s.unwrap_or_default());
        let crossing = group.units.join(" and ");
        let name = &group.name;
        let finding = match group.verdict {
            Verdict::OneUnit | Verdict::NotRecorded if group.missing.is_empty() => return None,
            Verdict::OneUnit | Verdict::NotRecorded => {
                let missing: Vec<String> = group
                    .missing
                    .iter()
                    .map(|(unit, channel)| format!("{unit}:{channel}"))
                    .collect();
                Finding::new(
                    "group-incomplete",
                    Weight::Note,
                    format!("{name} lacks {} in this take", missing.join(", ")),
                )
            }
            Verdict::GoodEnough if !group.wants_one_unit => return None,
            Verdict::GoodEnough => Finding::new(
                "group-crosses-units",
                Weight::Note,
                format!("{name} is spread over {crossing}; it is certain enough, by the claims"),
            )
            .measured(error, microseconds(group.allowed_s))
            .then("next time keep it on one unit, where nothing has to be measured"),
            Verdict::NotGoodEnough => Finding::new(
                "group-not-certain-enough",
                Weight::Warn,
                format!("{name} is spread over {crossing}, and their places are not certain enough for it"),
            )
            .measured(
                error,
                format!("{} for {}", microseconds(group.allowed_s), group.used_as),
            )
            .because("what ties the units to each other does not tell more")
            .then("record a common signal on both units, or keep the group on one"),
            Verdict::NotEstablished => Finding::new(
                "group-not-established",
                Weight::Warn,
                format!("{name} is spread over {crossing}, and where one of them lies is not established"),
            )
            .then("give a tie by hand, or use the channels apart from each other"),
        };
        Some(finding.at(&joint.name))
    });
    found.collect()
}

impl Verdict {
    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::OneUnit => "one unit, one clock",
            Self::GoodEnough => "certain enough",
            Self::NotGoodEnough => "not certain enough",
            Self::NotEstablished => "not established",
            Self::NotRecorded => "not recorded",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;
    use crate::session::{Class, Session};

    fn judged(joint: &JointTake, class: Class, channels: &str) -> JudgedGroup {
        let text = format!(
            "[[group]]\nname = \"g\"\nclass = \"{}\"\nchannels = [{channels}]\n",
            class.key()
        );
        let session = Session::from_toml(&text).expect("a session");
        judge_groups(&session.groups, joint, None).remove(0)
    }

    #[test]
    fn hundredths_of_a_sample_do_for_an_array_and_stamps_for_nothing() {
        let (lead, follower) = ("\"NORTH:1\"", "\"SOUTH:1\"");
        let across = format!("{lead}, {follower}");
        let measured = sample::common_signal();
        for class in Class::ALL {
            let group = judged(&measured, class, &across);
            assert_eq!(group.verdict, Verdict::GoodEnough, "{group:?}");
            assert_eq!(
                group_findings(&measured, &[group]).len(),
                usize::from(class.wants_one_unit())
            );
        }
        let stamped = sample::stamps();
        for class in Class::ALL {
            let group = judged(&stamped, class, &across);
            assert_eq!(group.verdict, Verdict::NotGoodEnough, "{group:?}");
            assert_eq!(group_findings(&stamped, &[group])[0].weight, Weight::Warn);
        }
        let lost = sample::not_established();
        assert_eq!(
            judged(&lost, Class::Ambience, &across).verdict,
            Verdict::NotEstablished
        );
        assert_eq!(
            judged(&stamped, Class::Array, lead).verdict,
            Verdict::OneUnit
        );
        let absent = judged(&stamped, Class::Array, "\"EAST:1\"");
        assert_eq!(
            (absent.verdict, absent.missing.len()),
            (Verdict::NotRecorded, 1)
        );
    }
}
