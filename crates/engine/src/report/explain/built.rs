//! A place in what was built in, how its numbers were measured in plain words out: a channel, a group, a residual.

use std::fmt::Write as _;

use super::place::{find_named, unknown};
use crate::alignment::JointTake;
use crate::error::{Error, Kind, Result};
use crate::quality::{ChannelQuality, Runs};
use crate::report::{
    JudgedGroup, ReportedTake, ReportedTrack, SoundReport, SyncReport, SyncedTake, Verdict, say,
};
use crate::units::{counted, signed};

/// The reports of what was built; absent where nothing was or they are not at hand.
#[derive(Debug, Clone, Copy, Default)]
pub struct Built<'a> {
    /// What there is.
    pub sound: Option<&'a SoundReport>,
    /// How it came to its place.
    pub sync: Option<&'a SyncReport>,
}

/// What a person may ask of what was built.
enum Asked<'a> {
    Channel(&'a str, u32),
    Group(&'a str),
    Residual(&'a str),
}

/// How many channels most alike are named.
const ALIKE: usize = 3;
/// How many runs are listed.
const RUNS: usize = 10;

impl<'a> Built<'a> {
    /// What can be asked, in a line; empty when nothing was built.
    pub fn overview(&self) -> String {
        match self.sound {
            Some(_) => "\nof what was built: JOINT_TAKE/UNIT:CHANNEL, JOINT_TAKE/group NAME, JOINT_TAKE/UNIT/residual\n".into(),
            None => String::new(),
        }
    }

    /// The story behind `rest` of a joint take; `None` when it is no place in what was built.
    pub fn story(&self, joint: &JointTake, rest: &str) -> Result<Option<String>> {
        let Some(asked) = Asked::of(joint, rest) else {
            return Ok(None);
        };
        let absent = || {
            Error::new(
                Kind::Usage,
                format!("what was built of {} is not at hand", joint.name),
            )
            .then("give the folder that `join` or `build` wrote to")
        };
        let sound = self.sound.and_then(|report| {
            let mut takes = report.takes.iter();
            takes.find(|take| take.name == joint.name && !take.files.is_empty())
        });
        let text = match asked {
            Asked::Channel(unit, channel) => {
                channel_story(sound.ok_or_else(absent)?, unit, channel)
            }
            Asked::Group(name) => group_story(sound.ok_or_else(absent)?, joint, name),
            Asked::Residual(unit) => {
                let takes = self.sync.iter().flat_map(|report| &report.takes);
                let mut takes = takes.filter(|take| take.name == joint.name);
                residual_story(takes.next().ok_or_else(absent)?, unit)
            }
        };
        text.map(Some)
    }
}

impl<'a> Asked<'a> {
    fn of(joint: &'a JointTake, rest: &'a str) -> Option<Self> {
        let lower = rest.to_ascii_lowercase();
        if lower.starts_with("group ") {
            return rest
                .get("group ".len()..)
                .map(|name| Self::Group(name.trim()));
        }
        let unit_of = |name: &str| {
            let mut members = joint.members.iter();
            let member = members.find(|member| member.unit.eq_ignore_ascii_case(name))?;
            Some(member.unit.as_str())
        };
        if let Some((unit, topic)) = rest.rsplit_once('/') {
            let residual = topic.eq_ignore_ascii_case("residual");
            return unit_of(unit).filter(|_| residual).map(Self::Residual);
        }
        let (unit, channel) = rest.rsplit_once(':')?;
        Some(Self::Channel(unit_of(unit)?, channel.trim().parse().ok()?))
    }
}

fn channel_story(take: &ReportedTake, unit: &str, channel: u32) -> Result<String> {
    let of = |track: &&ReportedTrack| track.unit == unit && track.unit_channel == channel;
    let Some(track) = take.tracks.iter().find(of) else {
        let left_out = take.left_out.iter().any(|track| of(&track));
        let why = match left_out {
            true => "was recorded and is in no file of it",
            false => "was not recorded",
        };
        return Err(Error::new(
            Kind::Usage,
            format!("{unit}:{channel} {why}: {}", take.name),
        )
        .then("the channels that are in it stand in sound-report.csv"));
    };
    let mut text = format!(
        "{} / {unit}:{channel}\n\n  name     {}\n  stands   in {}, track {}\n  from     {}\n  samples  {}\n",
        take.name,
        say::name_or(&track.name, "none"),
        track.file,
        track.number,
        track.sources.join(", "),
        say::came_as_of_name(&track.came_as)
    );
    let channels = take.quality.iter().flat_map(|quality| &quality.channels);
    let mut measured = channels.enumerate();
    let found = measured.find(|(_, one)| one.unit == unit && one.unit_channel == channel);
    match found {
        Some((index, one)) => {
            push_quality(&mut text, &one.quality, f64::from(take.sample_rate.max(1)));
            push_alike(&mut text, take, index);
        }
        None => text.push_str("\n  its quality was not measured (--no-quality)\n"),
    }
    Ok(text)
}

fn push_quality(text: &mut String, quality: &ChannelQuality, rate: f64) {
    text.push_str("\nmeasured over the whole recording, on the values that were written\n");
    let level = |level: Option<f64>, unit: &str| {
        level.map_or("none".into(), |level| {
            format!("{} {unit}", signed(level, 1))
        })
    };
    let lines = [
        (
            "true peak",
            level(quality.true_peak_dbtp, "dBTP"),
            "the largest value between samples, by interpolation (ITU-R BS.1770-5, annex 2)",
        ),
        (
            "loudness",
            level(quality.integrated_lufs, "LUFS"),
            "K-weighted, 400 ms windows, gated at -70 LUFS and 10 LU below the mean (EBU Tech 3341), this channel alone",
        ),
        (
            "range",
            quality
                .range_lu
                .map_or("none".into(), |range| format!("{range:.1} LU")),
            "between the 10th and 95th percentile of 3 s windows, ten a second, gated (EBU Tech 3342)",
        ),
        (
            "rms",
            level(quality.rms_dbfs, "dBFS"),
            "root of the mean square of all samples; a full sine has -3.0",
        ),
        (
            "floor",
            level(quality.noise_floor_dbfs, "dBFS"),
            "what the quietest tenth of all tenths of a second stays below; digital silence left out",
        ),
        (
            "mean",
            format!("{:+.6}", quality.offset),
            "of all samples, full scale being 1",
        ),
    ];
    for (name, value, how) in lines {
        let _ = writeln!(text, "  {name:<10} {value:>12}  {how}");
    }
    push_runs(
        text,
        "clipped",
        &quality.clips,
        "three samples and more in a row at integer full scale, of one sign",
        rate,
    );
    push_runs(
        text,
        "drop-outs",
        &quality.drop_outs,
        "runs of exact zeros amid sound, shorter than a tenth of a second",
        rate,
    );
    match &quality.hum {
        None => text.push_str("  hum                none  no lines on multiples of 50 or 60 Hz stand out of what is around them\n"),
        Some(hum) => {
            let _ = writeln!(
                text,
                "  hum        {:>7.0} dBFS  lines on multiples of {} Hz in the mean of all spectra's logarithms",
                hum.level_dbfs, hum.mains_hz
            );
        }
    }
}

fn push_runs(text: &mut String, name: &str, runs: &Runs, how: &str, rate: f64) {
    let count = match runs.count {
        0 => "none".to_string(),
        1 => "once".to_string(),
        many => format!("{many} times"),
    };
    let _ = writeln!(text, "  {name:<10} {count:>12}  {how}");
    for [start, samples] in runs.first.iter().take(RUNS) {
        let _ = writeln!(
            text,
            "             at {}, sample {start}: {}",
            say::clock_time(*start as f64 / rate),
            counted(*samples as usize, "sample")
        );
    }
    if runs.count > RUNS as u64 {
        let _ = writeln!(text, "             and {} more", runs.count - RUNS as u64);
    }
}

fn push_alike(text: &mut String, take: &ReportedTake, index: usize) {
    let Some(quality) = &take.quality else {
        return;
    };
    let pairs = quality.pairs.iter();
    let mut pairs: Vec<_> = pairs
        .filter(|pair| pair.channels.contains(&index))
        .collect();
    pairs.sort_by(|a, b| b.correlation.abs().total_cmp(&a.correlation.abs()));
    if pairs.is_empty() {
        return;
    }
    text.push_str("\nmost alike, without any delay between them\n");
    for pair in pairs.into_iter().take(ALIKE) {
        let other = pair.channels.iter().find(|one| **one != index);
        let Some(other) = other.and_then(|other| quality.channels.get(*other)) else {
            continue;
        };
        let _ = writeln!(
            text,
            "  {}:{} {}  correlation {}",
            other.unit,
            other.unit_channel,
            other.name,
            signed(pair.correlation, 4)
        );
    }
}

fn group_story(take: &ReportedTake, joint: &JointTake, name: &str) -> Result<String> {
    let names = take.groups.iter().map(|group| group.name.as_str());
    let (index, _) = find_named(names.clone(), name)
        .ok_or_else(|| unknown(name, &format!("group of {}", take.name), names.collect()))?;
    let group: &JudgedGroup = &take.groups[index];
    let mut text = format!(
        "{} / group {}\n\n  used as  {}\n  allowed  ±{} between two channels\n  verdict  {}\n",
        take.name,
        group.name,
        group.used_as,
        say::short_time(group.allowed_s),
        group.verdict.words()
    );
    if group.verdict == Verdict::OneUnit {
        text.push_str("\n  all its channels were on one unit: they share its clock, and nothing had to be measured\n");
        return Ok(text);
    }
    text.push_str("\neach unit against the lead, at worst\n");
    for unit in &group.units {
        let mut members = joint.members.iter().filter(|member| member.unit == *unit);
        let fitness = members.find_map(|member| crate::report::Fitness::of(member, joint));
        match (unit == &joint.lead, fitness) {
            (true, _) => {
                let _ = writeln!(text, "  {unit}  is the lead: nothing");
            }
            (false, Some(fitness)) => {
                let _ = writeln!(
                    text,
                    "  {unit}  ±{}: ±{} by its claim, ±{} that may change over the take (ask {}/{unit}/offset, {}/{unit}/rate)",
                    say::short_time(fitness.largest_s()),
                    say::short_time(fitness.constant_s),
                    say::short_time(fitness.changing_s),
                    joint.name,
                    joint.name
                );
            }
            (false, None) => {
                let _ = writeln!(text, "  {unit}  has no established place");
            }
        }
    }
    if let Some(error) = group.error_s {
        let _ = writeln!(
            text,
            "\nthe two largest together: ±{}, against ±{} allowed",
            say::short_time(error),
            say::short_time(group.allowed_s)
        );
    }
    Ok(text)
}

fn residual_story(take: &SyncedTake, unit: &str) -> Result<String> {
    let rate = f64::from(take.sample_rate.max(1));
    let mut followers = take.followers.iter();
    let follower = followers.find(|follower| follower.unit == unit);
    let Some(follower) = follower.filter(|follower| !follower.residuals.is_empty()) else {
        return Err(Error::new(
            Kind::Usage,
            format!("{unit} was not measured again on {}", take.name),
        )
        .then("record one signal on both units: nothing else shows it on the finished files"));
    };
    let mut text = format!("{} / {unit} / residual\n\n", take.name);
    if let Some(level) = &follower.common_level {
        let _ = writeln!(
            text,
            "  {}:{} and {unit}:{} carry one signal; windows of both were taken from the finished files and laid over each \
             other anew",
            level.against, level.lead_channel, level.follower_channel
        );
    }
    let _ = writeln!(
        text,
        "\n  {:<8} {:>14}  {:>16}  {:>12}  {:>12}",
        "place", "at", "sample", "lag", "sigma"
    );
    for one in &follower.residuals {
        let _ = writeln!(
            text,
            "  {:<8} {:>14}  {:>16.0}  {:>+12.6}  {:>12.6}",
            one.place,
            say::clock_time(one.position / rate),
            one.position,
            one.lag_samples,
            one.sigma_samples
        );
    }
    text.push_str(
        "\n  positive: what the lead has, this unit's channel has later; samples of the lead's\n",
    );
    Ok(text)
}
