//! A planned session in, what people are told at the units out: settings, steps, checklists, cautions, and what a receiver should
//! know. What is said of the trade here is common practice without a source, unless one stands beside it.

use super::drift::{Drift, pause};
use super::storage::{JointSize, Storage, clock_time, gigabytes};
use crate::report::{length_of_time, short_time};
use crate::session::{CommonKind, Session, Shoot, Wired};

/// What all units are set to.
pub(super) fn settings(shoot: &Shoot) -> Vec<(&'static str, String)> {
    vec![
        ("Sampling rate", shoot.sample_rate.to_string()),
        ("Sample format", shoot.format.words().into()),
        ("Timecode", timecode(shoot)),
        ("Common signal", shoot.common.kind.words().into()),
        ("Recorded in all", format!("{} h", shoot.hours)),
        (
            "Longest take",
            length_of_time(shoot.longest_take_minutes * 60.0),
        ),
        (
            "Spacing",
            format!(
                "microphones on different units up to {} m apart",
                shoot.spacing_m
            ),
        ),
    ]
}

fn timecode(shoot: &Shoot) -> String {
    let drop = match (
        shoot.counting.drop_frame(),
        shoot.counting.rate().fraction(),
    ) {
        (true, _) => ", drop-frame",
        (false, (30, 1) | (30_000, 1001)) => ", non-drop",
        (false, _) => "",
    };
    let rate = shoot.counting.rate().per_second();
    format!(
        "{} timecode frames a second{drop}",
        format!("{rate:.3}")
            .trim_end_matches('0')
            .trim_end_matches('.')
    )
}

/// What is to be remembered at an input for the common signal.
pub(super) const fn common_note(kind: CommonKind) -> &'static str {
    match kind {
        CommonKind::SplitSource => {
            "from the split; phantom power off here, on at the unit that feeds it"
        }
        CommonKind::Timecode => {
            "line level, phantom power off, gain low; record it, do not monitor it"
        }
        CommonKind::Marker | CommonKind::Tone => {
            "line level, phantom power off; turn headphones down before it plays"
        }
        CommonKind::Clap | CommonKind::None => "",
    }
}

/// How the units are linked, in steps.
pub(super) fn linking(session: &Session, drift: &[Drift]) -> Vec<String> {
    let lead = &session.units[session.lead].name;
    let followers: Vec<&str> = (session.units.iter())
        .map(|unit| unit.name.as_str())
        .filter(|name| name != lead)
        .collect();
    if followers.is_empty() {
        return Vec::new();
    }
    let several = followers.len() > 1;
    let follow = if !several { "follows" } else { "follow" };
    let followers = followers.join(" and ");
    let mut steps = vec![
        format!("Switch all units on early enough to reach a steady temperature, and set them alike (see their sheets)."),
        format!("{lead} leads: its timecode runs by the time of day and is sent out while it records."),
        format!(
            "{followers} {follow}: timecode comes from outside. Record on its arrival, where the unit can; else start \
             by hand."
        ),
        // the crossover: common practice, no source
        match several {
            false => "Wire timecode output to timecode input as both units' own manuals say: plugs and levels differ. A crossover cable of \
                      3.5 mm plugs swaps tip and ring."
                .into(),
            true => "Wire the lead's timecode output to every follower's timecode input as the units' own manuals say: plugs and levels \
                     differ. One output feeds several inputs through a distributor, or from unit to unit where they pass it on. A crossover \
                     cable of 3.5 mm plugs swaps tip and ring."
                .into(),
        },
        "Compare the running labels on all displays: the same rate, the same drop-frame setting, no difference one can see.".into(),
    ];
    if let Some(step) = common_step(session) {
        steps.push(step);
    }
    steps.push(
        // 5 to 15 s, and a second late: common practice, no source
        "Roll a first test: 5 to 15 s after power-up to let the followers lock, then 15 to 60 s of the \
         sound of the day. A follower that starts about a second late is usual."
            .into(),
    );
    steps.push(
        "Judge it before anyone else arrives: commontime first-roll CARD..., with the cards of all units."
            .into(),
    );
    steps.push(jam_step(session, drift));
    steps
}

fn common_step(session: &Session) -> Option<String> {
    let shoot = &session.shoot;
    let inputs: Vec<String> = (0..session.units.len())
        .filter_map(|unit| {
            let input = session.plan.common_of(unit)?;
            Some(format!("{} input {input}", session.units[unit].name))
        })
        .collect();
    let inputs = inputs.join(", ");
    match shoot.common.kind {
        CommonKind::SplitSource => {
            let source = shoot.common.source?;
            let (unit, input) = session.plan.place_of(source)?;
            Some(format!(
                "Split {} from {} input {input} to {inputs}. Use a split that lets phantom power through from one unit only.",
                session.sources[source].name, session.units[unit].name
            ))
        }
        CommonKind::Timecode => Some(format!(
            "Feed timecode of one generator as sound into {inputs}, all from the same output. commontime ltc write makes a file of it."
        )),
        CommonKind::Marker => Some(format!(
            "Play the marker into {inputs}, all from the same output, through every take. commontime signal marker {} makes a file that \
             is as long as the longest take and never repeats: do not loop a shorter one, its places would fit several times.",
            file_of(shoot, "marker.wav")
        )),
        CommonKind::Tone => Some(format!(
            "Play the tone into {inputs}, all from the same output. It tells the clocks, not the places. commontime signal tone {} makes \
             the file.",
            file_of(shoot, "tone.wav")
        )),
        CommonKind::Clap => Some(
            "Clap once at the beginning and once at the end of every take, close to a microphone of every unit, and note who clapped \
             where."
                .into(),
        ),
        CommonKind::None => None,
    }
}

/// The options that make a file as long as the longest take, and a minute more.
fn file_of(shoot: &Shoot, name: &str) -> String {
    format!(
        "--out {name} --seconds {:.0} --sample-rate {}",
        (shoot.longest_take_minutes * 60.0).ceil() + 60.0,
        shoot.sample_rate.0
    )
}

fn jam_step(session: &Session, drift: &[Drift]) -> String {
    let shoot = &session.shoot;
    let worst = drift
        .iter()
        .map(|one| one.worst_ppm)
        .fold(0.0_f64, f64::max);
    let half = shoot.timecode_frame_s() / 2.0;
    let after = half / (worst * 1e-6);
    let day = shoot.hours * 3600.0;
    let holds = "timecode then stays within half a timecode frame, even at worst";
    let when = match after {
        _ if after >= day => format!("Jam once: {holds}, for the whole shoot"),
        _ if drift.iter().any(|one| one.outlasts(session)) => format!(
            "Jam before every take, and leave the units linked while they record: unlinked, timecode may be half a timecode frame \
             off after {}",
            pause(after)
        ),
        _ => format!("Jam again every {}: {holds}", pause(after)),
    };
    format!(
        "{when}. Jam after every change of battery as well. Jamming sets labels; it does not steer the sampling clocks, which run \
         apart within every take all the same."
    )
}

/// What is to be done at a unit, in order.
pub(super) fn checklist(session: &Session, unit: usize, storage: &Storage) -> Vec<String> {
    let (shoot, rig) = (&session.shoot, &session.units[unit]);
    let leads = unit == session.lead;
    let mut list = vec![
        format!(
            "Medium freshly formatted in the unit itself, after its last copy was verified; {}",
            match storage.media() {
                Some(media) if media > 1 => format!("{media} of them ready"),
                _ => "one spare ready".into(),
            }
        ),
        "Date, time of day and time zone set; the same on every unit".into(),
        format!("Unit name set to {}", rig.name),
        format!(
            "{}, {}",
            shoot.sample_rate,
            shoot.format.words()
        ),
        format!("{}; time of day", timecode(shoot)),
        match leads {
            true => "Timecode generated here, sent out while recording".into(),
            false => "Timecode taken from outside; record when it arrives, if the unit can".into(),
        },
        "One file of all tracks a take, if the unit can; pre-record, automatic gain and noise reduction off".into(),
        "Limiters and low-cut filters: alike on all units, or noted".into(),
        "Scene, take and track names entered".into(),
    ];
    if rig.mix_tracks > 0 {
        list.push(format!(
            "{} beside the inputs: named as such, or switched off",
            crate::units::counted(rig.mix_tracks as usize, "mix track")
        ));
    }
    list.push(match storage.batteries {
        None => "On the mains; a battery in it against a pulled plug".into(),
        Some(1) => format!(
            "Battery full: lasts {} h",
            storage.battery_hours.unwrap_or(0.0)
        ),
        Some(many) => format!(
            "Batteries full: {many}, {} h each; jam again after every change",
            storage.battery_hours.unwrap_or(0.0)
        ),
    });
    if let Some(split) = storage.split_s {
        list.push(format!("A file is full after {}", clock_time(split)));
    }
    let phantom: Vec<String> = session.plan.inputs[unit]
        .iter()
        .enumerate()
        .filter(|(_, wired)| matches!(wired, Wired::Source(at) if session.sources[*at].phantom))
        .map(|(at, _)| (at + 1).to_string())
        .collect();
    list.push(match phantom.as_slice() {
        [] => "Phantom power off on every input".into(),
        inputs => format!(
            "Phantom power on at {} {} only, with levels down while switching",
            if inputs.len() == 1 { "input" } else { "inputs" },
            inputs.join(", ")
        ),
    });
    list
}

/// What can hurt someone.
pub(super) fn cautions(session: &Session) -> Vec<String> {
    let mut cautions = vec![
        "Hearing: timecode, tones and markers are harsh and loud. Turn headphones and loudspeakers down, or unplug them, before \
         one is played or routed."
            .to_string(),
        "Phantom power: switch it with levels down; never into a line output or a timecode output; on a split from one unit only."
            .into(),
        "Mains: use tested leads and residual-current protection, keep plugs dry, never lift a protective earth against hum. \
         Installations belong to licensed electricians; local codes come first."
            .into(),
        "Height: nothing hangs over people without load-rated fixings and a second bond; rigging and work on ladders or lifts belong to \
         trained people under local rules."
            .into(),
        "Cables: taped or covered where people walk.".into(),
    ];
    if session.units.len() > 1 {
        cautions.push(
            "Soldering a cable: the iron burns and the fumes irritate. Ventilate, protect the eyes, wash hands after lead; test the \
             cable with a meter before it meets a unit."
                .into(),
        );
    }
    cautions
}

/// What whoever receives the files should know.
pub(super) fn brief(session: &Session, worst_s: f64, joint: &JointSize) -> Vec<String> {
    let shoot = &session.shoot;
    let units = session.recording().len();
    let mut brief = vec![format!(
        "One recording of {} channels, {}, {}, {}: every channel of {} on the clock of {}, with one start time and one channel list.",
        joint.channels,
        shoot.sample_rate,
        shoot.format.words(),
        timecode(shoot),
        crate::units::counted(units, "unit"),
        session.units[session.lead].name
    )];
    if units > 1 {
        brief.push(match shoot.common.kind {
            CommonKind::SplitSource | CommonKind::Timecode | CommonKind::Marker => format!(
                "The units' clocks are measured on a common signal ({}); between channels of different units expect ±{} at most. What was \
                 found stands in the sync report.",
                shoot.common.kind.words(),
                short_time(worst_s)
            ),
            _ => format!(
                "No common signal places the units exactly: between channels of different units expect ±{} at best. Do not sum them as \
                 one array.",
                short_time(worst_s)
            ),
        });
    }
    let missing = session.without_input();
    if !missing.is_empty() {
        brief.push(format!(
            "Not in it, because no input was left: {}.",
            missing.join(", ")
        ));
    }
    brief.push(format!(
        "Files are broadcast wave; one of this many channels is larger than 4 GiB after {} and is then RF64: say so if your software \
         needs parts of 2 or 4 GB, monos, or a file a unit.",
        clock_time(joint.four_gib_s)
    ));
    brief.push(format!(
        "About {} for {} h, with the sound report, the sync report, hash lists and a timeline of the original files.",
        gigabytes(joint.total_bytes),
        shoot.hours
    ));
    if !shoot.receiver.is_empty() {
        brief.push(format!("For: {}", shoot.receiver));
    }
    brief
}
