//! A session file's text in, what it declares out, or where it makes no sense.

use std::collections::HashSet;

use serde::Deserialize;
use timecode::Counting;

use super::plan::plan;
use super::rig::{
    ClockGrade, ClockPlan, CommonKind, CommonPlan, RigUnit, SampleFormat, Shoot, Source,
};
use super::{Class, Group, LARGEST_OF_32_BITS, PlannedGroup, Session};
use crate::error::{Error, Kind, Result};
use crate::units::SampleRate;

/// Most inputs of a unit; what recorders have is far below.
const MOST_INPUTS: u32 = 256;
/// Most units and most sources, so that a slip of the pen does not become hours of planning.
const MOST: usize = 512;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(default)]
    shoot: FileShoot,
    #[serde(default)]
    unit: Vec<FileUnit>,
    #[serde(default)]
    source: Vec<FileSource>,
    #[serde(default)]
    group: Vec<FileGroup>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, default)]
struct FileShoot {
    name: String,
    date: String,
    hours: f64,
    longest_take_minutes: f64,
    sample_rate: u32,
    format: SampleFormat,
    timecode_rate: String,
    common_signal: CommonKind,
    split: Option<String>,
    spacing_m: f64,
    jam_every_hours: Option<f64>,
    receiver: String,
}

impl Default for FileShoot {
    fn default() -> Self {
        Self {
            name: String::new(),
            date: String::new(),
            hours: 8.0,
            longest_take_minutes: 60.0,
            sample_rate: 48_000,
            format: SampleFormat::Int24,
            timecode_rate: "30".into(),
            common_signal: CommonKind::None,
            split: None,
            spacing_m: 20.0,
            jam_every_hours: None,
            receiver: String::new(),
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileUnit {
    name: String,
    inputs: u32,
    #[serde(default)]
    lead: bool,
    #[serde(default)]
    mix_tracks: u32,
    media_gb: Option<f64>,
    file_limit_gib: Option<f64>,
    battery_hours: Option<f64>,
    clock: Option<ClockGrade>,
    clock_ppm: Option<f64>,
    #[serde(default)]
    note: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileSource {
    name: String,
    unit: Option<String>,
    input: Option<u32>,
    #[serde(default)]
    phantom: bool,
    #[serde(default)]
    note: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileGroup {
    name: String,
    class: Class,
    #[serde(default)]
    channels: Vec<String>,
    #[serde(default)]
    sources: Vec<String>,
}

fn usage(what: impl Into<String>, next: &str) -> Error {
    Error::new(Kind::Usage, what).then(next)
}

/// Reads a session file's text.
pub(super) fn read(text: &str) -> Result<Session> {
    let file: File = toml::from_str(text).map_err(|error| {
        Error::new(Kind::Format, "is no session file")
            .then(
                "texts and rates of timecode stand in quotes, counts are whole numbers; `commontime prep --new FILE` writes a \
                 file with every field explained",
            )
            .from_source(error)
    })?;
    if file.unit.len() > MOST || file.source.len() > MOST {
        return Err(usage(
            format!("declares more than {MOST} units or sources"),
            "plan one rig a file",
        ));
    }
    let lead = lead_of(&file.unit)?;
    let units = file
        .unit
        .into_iter()
        .map(unit)
        .collect::<Result<Vec<_>>>()?;
    no_name_twice("unit", units.iter().map(|unit| unit.name.as_str()))?;
    let sources = sources(file.source, &units)?;
    let shoot = shoot(&file.shoot, &sources)?;
    let (planned, declared) = groups(file.group, &sources)?;
    let plan = plan(&units, lead, &sources, &planned, shoot.common);
    let mut groups = declared;
    for group in &planned {
        let placed = group
            .sources
            .iter()
            .filter_map(|source| plan.place_of(*source));
        groups.push(Group {
            name: group.name.clone(),
            class: group.class,
            channels: placed
                .map(|(unit, input)| (units[unit].name.clone(), input))
                .collect(),
        });
    }
    Ok(Session {
        groups,
        shoot,
        units,
        lead,
        sources,
        planned,
        plan,
    })
}

fn shoot(file: &FileShoot, sources: &[Source]) -> Result<Shoot> {
    let next = "correct it under [shoot]";
    let within = |name: &str, value: f64, low: f64, high: f64| {
        if (low..=high).contains(&value) {
            return Ok(value);
        }
        let what = format!("{name} is {value}; expected {low} to {high}");
        Err(usage(what, next))
    };
    if !(8000..=768_000).contains(&file.sample_rate) {
        let what = format!(
            "sample_rate is {}; expected 8000 to 768000",
            file.sample_rate
        );
        return Err(usage(what, next));
    }
    let counting = Counting::parse(&file.timecode_rate).map_err(|error| {
        let what = format!("timecode_rate is `{}`", file.timecode_rate);
        usage(what, "write 24, 25, 29.97, '29.97 DF', 30 or a fraction").from_source(error)
    })?;
    let source = match (&file.split, file.common_signal) {
        (Some(name), CommonKind::SplitSource) => Some(position(sources, name, "split")?),
        (None, CommonKind::SplitSource) => {
            return Err(usage(
                "the common signal is a split source, but which is not said",
                "name it under [shoot]: split = \"a source\"",
            ));
        }
        (Some(_), _) => {
            return Err(usage(
                "a source is named to be split, but the common signal is another",
                "write common_signal = \"split-source\", or take split out",
            ));
        }
        (None, _) => None,
    };
    if file.longest_take_minutes > 60.0 * file.hours {
        let what = format!(
            "longest_take_minutes is {}, more than the {} hours of the whole shoot",
            file.longest_take_minutes, file.hours
        );
        return Err(usage(what, next));
    }
    Ok(Shoot {
        name: file.name.trim().into(),
        date: file.date.trim().into(),
        hours: within("hours", file.hours, 0.01, 10_000.0)?,
        longest_take_minutes: within(
            "longest_take_minutes",
            file.longest_take_minutes,
            0.01,
            100_000.0,
        )?,
        sample_rate: SampleRate(file.sample_rate),
        format: file.format,
        counting,
        common: CommonPlan {
            kind: file.common_signal,
            source,
        },
        spacing_m: within("spacing_m", file.spacing_m, 0.0, 100_000.0)?,
        jam_every_hours: file
            .jam_every_hours
            .map(|hours| within("jam_every_hours", hours, 0.01, 10_000.0))
            .transpose()?,
        receiver: file.receiver.trim().into(),
    })
}

/// The unit that says it leads; else the first.
fn lead_of(units: &[FileUnit]) -> Result<usize> {
    let mut leading = units.iter().enumerate().filter(|(_, unit)| unit.lead);
    let first = leading.next();
    match leading.next() {
        Some((_, second)) => Err(usage(
            format!(
                "both {} and {} lead",
                first.map_or("", |(_, unit)| &unit.name),
                second.name
            ),
            "write lead = true at one unit",
        )),
        None => Ok(first.map_or(0, |(at, _)| at)),
    }
}

fn unit(file: FileUnit) -> Result<RigUnit> {
    let name = file.name.trim().to_string();
    let wrong = |what: String| usage(format!("unit {name}: {what}"), "correct it under [[unit]]");
    if name.is_empty() || name.contains([':', '=', '@']) {
        return Err(wrong("a unit has a name without : = and @".into()));
    }
    let positive = |field: &str, value: Option<f64>| match value {
        Some(value) if !(value > 0.0 && value.is_finite()) => {
            Err(wrong(format!("{field} is {value}; expected more than 0")))
        }
        value => Ok(value),
    };
    if !(1..=MOST_INPUTS).contains(&file.inputs) || file.mix_tracks > MOST_INPUTS {
        return Err(wrong(format!(
            "{} inputs and {} mix tracks; expected 1 to {MOST_INPUTS} inputs",
            file.inputs, file.mix_tracks
        )));
    }
    let clock = match (file.clock, positive("clock_ppm", file.clock_ppm)?) {
        (Some(_), Some(_)) => {
            return Err(wrong("clock and clock_ppm say the same thing twice".into()));
        }
        (Some(grade), None) => ClockPlan::Grade(grade),
        (None, Some(ppm)) if ppm > 1000.0 => {
            return Err(wrong(format!(
                "clock_ppm is {ppm}; beyond 1000 it is no clock"
            )));
        }
        (None, Some(ppm)) => ClockPlan::Within(ppm),
        (None, None) => ClockPlan::Unknown,
    };
    let media = positive("media_gb", file.media_gb)?;
    let limit = positive("file_limit_gib", file.file_limit_gib)?;
    let battery_hours = positive("battery_hours", file.battery_hours)?;
    Ok(RigUnit {
        inputs: file.inputs,
        mix_tracks: file.mix_tracks,
        media_bytes: media.map(|gb| gb * 1e9),
        file_limit_bytes: limit.map(bytes_of_gib),
        battery_hours,
        clock,
        note: file.note.trim().into(),
        name,
    })
}

/// 4 GiB is what 32 bits hold: a byte less.
fn bytes_of_gib(gib: f64) -> u64 {
    match gib == 4.0 {
        true => LARGEST_OF_32_BITS,
        false => (gib * 1_073_741_824.0) as u64,
    }
}

fn sources(file: Vec<FileSource>, units: &[RigUnit]) -> Result<Vec<Source>> {
    let mut taken = HashSet::new();
    let mut sources = Vec::new();
    for one in file {
        let name = one.name.trim().to_string();
        let wrong = |what: String| {
            usage(
                format!("source {name}: {what}"),
                "correct it under [[source]]",
            )
        };
        if name.is_empty() {
            return Err(wrong("a source has a name".into()));
        }
        let unit = match &one.unit {
            None => None,
            Some(named) => {
                let mut known = units.iter();
                let at = known.position(|unit| unit.name.eq_ignore_ascii_case(named.trim()));
                Some(at.ok_or_else(|| wrong(format!("there is no unit {named}")))?)
            }
        };
        if let Some(input) = one.input {
            let Some(unit) = unit else {
                return Err(wrong(format!(
                    "input {input}, but of which unit is not said"
                )));
            };
            if input == 0 || input > units[unit].inputs {
                return Err(wrong(format!(
                    "{} has inputs 1 to {}, not {input}",
                    units[unit].name, units[unit].inputs
                )));
            }
            if !taken.insert((unit, input)) {
                return Err(wrong(format!(
                    "{}:{input} is taken already",
                    units[unit].name
                )));
            }
        }
        sources.push(Source {
            unit,
            input: one.input,
            phantom: one.phantom,
            note: one.note.trim().into(),
            name,
        });
    }
    no_name_twice("source", sources.iter().map(|source| source.name.as_str()))?;
    Ok(sources)
}

fn no_name_twice<'a>(what: &str, names: impl Iterator<Item = &'a str>) -> Result<()> {
    let mut met = HashSet::new();
    for name in names {
        if !met.insert(name.to_lowercase()) {
            return Err(usage(
                format!("{what} {name} stands in the file twice"),
                "give each a name of its own",
            ));
        }
    }
    Ok(())
}

fn position(sources: &[Source], name: &str, by: &str) -> Result<usize> {
    let mut known = sources.iter();
    let at = known.position(|source| source.name.eq_ignore_ascii_case(name.trim()));
    at.ok_or_else(|| {
        usage(
            format!("{by} names the source {name}, which is not declared"),
            "write names as under [[source]]",
        )
    })
}

/// Groups by their sources, and groups by channels of units.
fn groups(file: Vec<FileGroup>, sources: &[Source]) -> Result<(Vec<PlannedGroup>, Vec<Group>)> {
    let (mut taken, mut names) = (HashSet::new(), HashSet::new());
    let mut grouped = HashSet::new();
    let (mut planned, mut declared) = (Vec::new(), Vec::new());
    for group in file {
        let wrong = |what: String| {
            usage(
                format!("group {}: {what}", group.name),
                "write channels as UNIT:CH or UNIT:CH-CH, counted from 1, or sources by their names, each in one group",
            )
        };
        let name = group.name.trim().to_string();
        if !names.insert(name.to_lowercase()) {
            return Err(wrong("another group has that name".into()));
        }
        if name.is_empty() || group.channels.is_empty() == group.sources.is_empty() {
            return Err(wrong(
                "a group has a name and at least one channel, or at least one source".into(),
            ));
        }
        if group.channels.is_empty() {
            let mut own = Vec::new();
            for text in &group.sources {
                let at = position(sources, text, &format!("group {name}"))?;
                if !grouped.insert(at) {
                    return Err(wrong(format!("{text} stands in a group already")));
                }
                own.push(at);
            }
            planned.push(PlannedGroup {
                name,
                class: group.class,
                sources: own,
            });
            continue;
        }
        let mut channels = Vec::new();
        for text in &group.channels {
            let named = channels_of(text);
            let named = named.ok_or_else(|| wrong(format!("`{text}` names no channels")))?;
            channels.extend(named);
        }
        for (unit, channel) in &channels {
            if !taken.insert((unit.to_lowercase(), *channel)) {
                return Err(wrong(format!("{unit}:{channel} stands in a group already")));
            }
        }
        declared.push(Group {
            name,
            class: group.class,
            channels,
        });
    }
    Ok((planned, declared))
}

/// `UNIT:CH` or `UNIT:CH-CH`.
fn channels_of(text: &str) -> Option<Vec<(String, u32)>> {
    let (unit, channels) = text.rsplit_once(':')?;
    let number = |text: &str| {
        text.trim()
            .parse::<u32>()
            .ok()
            .filter(|n| (1..=65_535).contains(n))
    };
    let (first, last) = match channels.split_once('-') {
        Some((first, last)) => (number(first)?, number(last)?),
        None => (number(channels)?, number(channels)?),
    };
    let unit = unit.trim();
    (first <= last && !unit.is_empty()).then(|| {
        (first..=last)
            .map(|channel| (unit.to_string(), channel))
            .collect()
    })
}
