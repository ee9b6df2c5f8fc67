//! A planned session in, all that should be known before the shoot out: which source goes into which input, what that costs, how
//! much is recorded, how far the clocks will run apart and what will be provable, and the sheets that go to the units.

mod drift;
mod example;
mod findings;
mod paper;
mod proof;
mod storage;
#[cfg(test)]
mod tests;
mod words;

pub use drift::{Drift, JamAgain};
pub use example::EXAMPLE;
pub use proof::{Proof, proofs};
pub use storage::{JointSize, Storage};

use serde::Serialize;

use crate::error::{Error, Kind, Result};
use crate::establish::made_by;
use crate::finding::{Finding, Weight};
use crate::first_roll::Ready;
use crate::history::History;
use crate::output::{no_table, table_text};
use crate::session::{Class, CommonKind, Session, Wired};
use crate::units::distinct;

/// What should be known before a shoot.
#[derive(Debug, Clone, Serialize)]
pub struct Prep {
    /// The program that worked it out.
    pub made_by: String,
    /// What the shoot is called.
    pub name: String,
    /// Its day.
    pub date: String,
    /// What the units will be good for together.
    pub ready: Ready,
    /// The verdict in one line.
    pub verdict: String,
    /// What all units are set to.
    pub settings: Vec<(&'static str, String)>,
    /// A sheet a unit, the lead's first.
    pub units: Vec<UnitSheet>,
    /// The channels of the joint recording, in order.
    pub channels: Vec<JointChannel>,
    /// The groups, judged.
    pub groups: Vec<PlannedUse>,
    /// What every choice of a common signal can prove; the planned one is marked.
    pub proofs: Vec<Proof>,
    /// How far every follower's clock runs from the lead's.
    pub drift: Vec<Drift>,
    /// The joint recording.
    pub joint: JointSize,
    /// How the units are linked, in steps.
    pub linking: Vec<String>,
    /// What can hurt someone.
    pub cautions: Vec<String>,
    /// What a receiver should know.
    pub brief: Vec<String>,
    /// What a person should know, gravest first.
    pub findings: Vec<Finding>,
}

/// What goes to one unit.
#[derive(Debug, Clone, Serialize)]
pub struct UnitSheet {
    /// Its name.
    pub name: String,
    /// Whether it leads.
    pub lead: bool,
    /// Its clock, in words.
    pub clock: String,
    /// What goes into its inputs.
    pub inputs: Vec<PlannedInput>,
    /// What is recorded, on what, for how long.
    pub storage: Storage,
    /// What is to be done at it, in order.
    pub checklist: Vec<String>,
    /// What should be remembered at it.
    pub note: String,
}

/// What goes into one input.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PlannedInput {
    /// Its number, counted from 1.
    pub number: u32,
    /// The source, or the common signal; empty for nothing.
    pub name: String,
    /// The group it belongs to; empty for none.
    pub group: String,
    /// Whether phantom power is on.
    pub phantom: bool,
    /// What is to be remembered.
    pub note: String,
}

/// A channel of the joint recording.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct JointChannel {
    /// Its number in the joint recording, counted from 1.
    pub number: usize,
    /// Its name.
    pub name: String,
    /// The unit.
    pub unit: String,
    /// The unit's input, counted from 1.
    pub input: u32,
    /// The group it belongs to; empty for none.
    pub group: String,
}

/// A group judged before the shoot.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlannedUse {
    /// Its name.
    pub name: String,
    /// What it is used for, in words.
    pub used_as: String,
    /// The error that use allows between two channels, seconds.
    pub allowed_s: f64,
    /// The units its sources go to.
    pub units: Vec<String>,
    /// The error that the plan will leave between two of its channels at most, seconds; nothing on one unit.
    pub error_s: f64,
    /// Whether that is allowed.
    pub good_enough: bool,
}

/// Works a session out.
///
/// # Errors
/// [`Kind::Usage`] when the session has no units or no sources.
pub fn prepare(session: &Session, history: &History) -> Result<Prep> {
    if session.units.is_empty() || session.sources.is_empty() {
        return Err(Error::new(
            Kind::Usage,
            match session.units.is_empty() {
                true => "declares no units",
                false => "declares no sources to record",
            },
        )
        .then("`commontime prep --new FILE` writes a session file with every field explained"));
    }
    let order = lead_first(session);
    let proofs = proofs(&session.shoot);
    let proven_s = proofs
        .iter()
        .find(|proof| proof.planned)
        .map_or(f64::INFINITY, |proof| proof.error_s);
    let worst_s = between(session, &session.recording(), proven_s);
    let groups = uses(session, proven_s);
    let drift: Vec<Drift> = order
        .iter()
        .filter(|unit| **unit != session.lead)
        .map(|unit| Drift::of(session, *unit, history))
        .collect();
    let joint = JointSize::of(session);
    let units: Vec<UnitSheet> = (order.iter())
        .map(|unit| sheet(session, *unit, &drift))
        .collect();
    let ready = match units.len() {
        1 => Ready::Arrays,
        _ => ready(worst_s),
    };
    let findings = findings::all(session, &groups, &drift, &units, history);
    let prep = Prep {
        made_by: made_by(),
        name: session.shoot.name.clone(),
        date: session.shoot.date.clone(),
        ready,
        verdict: String::new(),
        settings: words::settings(&session.shoot),
        channels: channels(&units),
        linking: words::linking(session, &drift),
        cautions: words::cautions(session),
        brief: words::brief(session, worst_s, &joint),
        units,
        groups,
        proofs,
        drift,
        joint,
        findings,
    };
    Ok(Prep {
        verdict: verdict(&prep),
        ..prep
    })
}

fn lead_first(session: &Session) -> Vec<usize> {
    let others = (0..session.units.len()).filter(|unit| *unit != session.lead);
    std::iter::once(session.lead).chain(others).collect()
}

/// What two units are ready for that lie no further apart than that, by the same uses as a first roll.
fn ready(error_s: f64) -> Ready {
    match error_s {
        _ if Class::Array.allows(error_s) => Ready::Arrays,
        _ if Class::StereoPair.allows(error_s) => Ready::Stereo,
        _ if Class::Ambience.allows(error_s) => Ready::Ambience,
        _ => Ready::Not,
    }
}

/// How far two channels on these units may lie apart, seconds, each unit placed to `proven_s` against the lead: what two
/// followers may be off adds up.
fn between(session: &Session, units: &[usize], proven_s: f64) -> f64 {
    match units {
        [] | [_] => 0.0,
        units if units.contains(&session.lead) && units.len() == 2 => proven_s,
        _ => 2.0 * proven_s,
    }
}

fn verdict(prep: &Prep) -> String {
    let stops = prep.findings.iter().filter(|one| one.weight >= Weight::Ask);
    let first = stops.map(|finding| finding.message.clone()).next();
    let broken: Vec<&str> = (prep.groups.iter())
        .filter(|group| !group.good_enough)
        .map(|group| group.name.as_str())
        .collect();
    match (first, prep.units.len()) {
        (Some(why), _) => format!("not ready: {why}"),
        (None, 1) => "one unit alone: nothing has to be brought together".into(),
        (None, _) if prep.ready == Ready::Not => format!(
            "for recording side by side only: nothing that is heard together may cross the units{}; plan a common signal",
            match broken.as_slice() {
                [] => String::new(),
                broken => format!(", so not for {}", broken.join(", ")),
            }
        ),
        (None, _) if !broken.is_empty() => format!(
            "{} across units, but not for {}",
            prep.ready.words(),
            broken.join(", ")
        ),
        (None, _) => format!("{} across units", prep.ready.words()),
    }
}

fn uses(session: &Session, proven_s: f64) -> Vec<PlannedUse> {
    let groups = session.planned.iter();
    groups
        .map(|group| {
            let placed = group
                .sources
                .iter()
                .filter_map(|s| session.plan.place_of(*s));
            let units = distinct(placed.map(|(unit, _)| unit));
            let error_s = between(session, &units, proven_s);
            PlannedUse {
                name: group.name.clone(),
                used_as: group.class.words().into(),
                allowed_s: group.class.allowed_s(),
                units: units
                    .iter()
                    .map(|unit| session.units[*unit].name.clone())
                    .collect(),
                error_s,
                good_enough: group.class.allows(error_s),
            }
        })
        .collect()
}

fn group_name(session: &Session, source: usize) -> String {
    let group = session
        .planned
        .iter()
        .find(|group| group.sources.contains(&source));
    group.map_or(String::new(), |group| group.name.clone())
}

/// What the common signal is called on a track.
fn common_name(session: &Session) -> String {
    match session.shoot.common.source {
        Some(source) => format!("{} (split)", session.sources[source].name),
        None => match session.shoot.common.kind {
            CommonKind::Timecode => "timecode".into(),
            CommonKind::Marker => "marker".into(),
            CommonKind::Tone => "tone".into(),
            _ => "common signal".into(),
        },
    }
}

fn planned_inputs(session: &Session, unit: usize) -> Vec<PlannedInput> {
    let inputs = session.plan.inputs[unit].iter().enumerate();
    inputs
        .map(|(at, wired)| {
            let number = at as u32 + 1;
            match wired {
                Wired::Free => PlannedInput {
                    number,
                    name: String::new(),
                    group: String::new(),
                    phantom: false,
                    note: String::new(),
                },
                Wired::Common => PlannedInput {
                    number,
                    name: common_name(session),
                    group: String::new(),
                    phantom: false,
                    note: words::common_note(session.shoot.common.kind).into(),
                },
                Wired::Source(source) => PlannedInput {
                    number,
                    name: session.sources[*source].name.clone(),
                    group: group_name(session, *source),
                    phantom: session.sources[*source].phantom,
                    note: session.sources[*source].note.clone(),
                },
            }
        })
        .collect()
}

fn sheet(session: &Session, unit: usize, drift: &[Drift]) -> UnitSheet {
    let rig = &session.units[unit];
    let inputs = planned_inputs(session, unit);
    let storage = Storage::of(session, unit);
    let measured = drift
        .iter()
        .find(|one| one.unit == rig.name && one.known.is_some())
        .map(|one| one.rests_on.clone());
    UnitSheet {
        name: rig.name.clone(),
        lead: unit == session.lead,
        clock: measured.unwrap_or_else(|| rig.clock.words()),
        checklist: words::checklist(session, unit, &storage),
        inputs,
        storage,
        note: rig.note.clone(),
    }
}

/// The channels as a build without a list has them: the lead's, then each follower's, by their numbers.
fn channels(units: &[UnitSheet]) -> Vec<JointChannel> {
    let used = units.iter().flat_map(|unit| {
        let inputs = unit.inputs.iter().filter(|input| !input.name.is_empty());
        inputs.map(move |input| (unit, input))
    });
    used.enumerate()
        .map(|(at, (unit, input))| JointChannel {
            number: at + 1,
            name: input.name.clone(),
            unit: unit.name.clone(),
            input: input.number,
            group: input.group.clone(),
        })
        .collect()
}

impl Prep {
    /// The channels as a list that `join --channels` and `build --channels` take: names and groups as they were planned.
    ///
    /// # Errors
    /// When the table cannot be written to memory.
    pub fn channel_list(&self) -> Result<String> {
        let mut table = csv::Writer::from_writer(Vec::new());
        let put = |table: &mut csv::Writer<Vec<u8>>, row: [&str; 5]| {
            table.write_record(row).map_err(no_table)
        };
        put(&mut table, ["unit", "channel", "use", "name", "group"])?;
        for channel in &self.channels {
            let number = channel.input.to_string();
            put(
                &mut table,
                [&channel.unit, &number, "yes", &channel.name, &channel.group],
            )?;
        }
        table_text(table)
    }
}
