//! Two clocks in, how far they run apart in an hour, in a take and between two jams out, and when to jam again for which use.

use serde::Serialize;

use crate::finding::{Finding, Weight};
use crate::history::{History, Known};
use crate::report::{length_of_time, short_time};
use crate::session::{Class, RigUnit, Session};
use crate::units::{counted, signed};

/// A test of a clock that is as long has seen it warm up and wander: common practice, no source.
const LONG_ENOUGH_S: f64 = 3600.0;

/// How far a follower's clock runs from the lead's, at worst.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Drift {
    /// The follower.
    pub unit: String,
    /// What is known of the two clocks, in words.
    pub rests_on: String,
    /// What was measured of them, where the history has it.
    pub known: Option<Known>,
    /// The largest difference of their rates, ppm.
    pub worst_ppm: f64,
    /// How far they run apart in an hour, seconds.
    pub hour_s: f64,
    /// The same in samples.
    pub hour_samples: f64,
    /// The same in timecode frames.
    pub hour_timecode_frames: f64,
    /// How far they run apart in the longest take, seconds.
    pub take_s: f64,
    /// How long it is from one jam to the next, seconds.
    pub between_jams_s: f64,
    /// How far timecode is off by then, seconds.
    pub before_jam_s: f64,
    /// After how long timecode is off by more than each use allows.
    pub jam_again: Vec<JamAgain>,
}

/// When to jam again.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct JamAgain {
    /// For what.
    pub name: String,
    /// How far off timecode may be for that, seconds.
    pub allowed_s: f64,
    /// After how long it is, seconds.
    pub after_s: f64,
}

impl Drift {
    /// Of the follower at this place.
    #[must_use]
    pub fn of(session: &Session, unit: usize, history: &History) -> Self {
        let (lead, own) = (&session.units[session.lead], &session.units[unit]);
        let known = history.known(&own.name, &lead.name);
        let graded_ppm = graded_ppm(lead, own);
        let worst_ppm = known.as_ref().map_or(graded_ppm, Known::worst_ppm);
        let rests_on = match &known {
            Some(known) => measured(known),
            None => format!(
                "{}: {}; {}: {}",
                lead.name,
                lead.clock.words(),
                own.name,
                own.clock.words()
            ),
        };
        let shoot = &session.shoot;
        let rate = worst_ppm * 1e-6;
        let timecode_frame_s = shoot.timecode_frame_s();
        let between_jams_s = shoot.jam_every_hours.unwrap_or(shoot.hours) * 3600.0;
        let allowed = Class::ALL
            .iter()
            .map(|class| (class.words().to_string(), class.allowed_s()));
        let timecode = [
            ("half a timecode frame".to_string(), timecode_frame_s / 2.0),
            ("one timecode frame".to_string(), timecode_frame_s),
        ];
        Self {
            unit: own.name.clone(),
            rests_on,
            known,
            worst_ppm,
            hour_s: rate * 3600.0,
            hour_samples: rate * 3600.0 * shoot.sample_rate.hz(),
            hour_timecode_frames: rate * 3600.0 / timecode_frame_s,
            take_s: rate * shoot.longest_take_minutes * 60.0,
            between_jams_s,
            before_jam_s: rate * between_jams_s,
            jam_again: allowed
                .chain(timecode)
                .map(|(name, allowed_s)| JamAgain {
                    name,
                    allowed_s,
                    after_s: allowed_s / rate,
                })
                .collect(),
        }
    }

    /// When half a timecode frame is exceeded before the next jam.
    #[must_use]
    pub(super) fn finding(&self, session: &Session) -> Option<Finding> {
        let half = session.shoot.timecode_frame_s() / 2.0;
        (self.before_jam_s > half).then(|| {
            Finding::new(
                "jam-again",
                Weight::Warn,
                format!(
                    "timecode may be {} off before it is set again",
                    short_time(self.before_jam_s)
                ),
            )
            .at(&self.unit)
            .measured(
                format!(
                    "{:.3} ppm at worst over {}",
                    self.worst_ppm,
                    length_of_time(self.between_jams_s)
                ),
                format!("at most half a timecode frame, {}", short_time(half)),
            )
            .then({
                let holds = pause(half / (self.worst_ppm * 1e-6));
                match self.outlasts(session) {
                    true => format!(
                        "a take may outlast what a jam holds ({holds}): leave the units linked while they record, or take better \
                         clocks; places then come from the common signal, not from labels"
                    ),
                    false => format!("jam again every {holds}, in a break; takes are found by their stamps"),
                }
            })
        })
    }

    /// Whether half a timecode frame is exceeded within one take.
    pub(super) fn outlasts(&self, session: &Session) -> bool {
        self.take_s > session.shoot.timecode_frame_s() / 2.0
    }

    /// That what was measured of a clock is not what its grade promises, or rests on little.
    pub(super) fn doubts(&self, session: &Session) -> Vec<Finding> {
        let Some(known) = &self.known else {
            return Vec::new();
        };
        let lead = &session.units[session.lead];
        let own = session.units.iter().find(|unit| unit.name == self.unit);
        let graded = own.map_or(f64::INFINITY, |own| graded_ppm(lead, own));
        let mut findings = Vec::new();
        if known.rate_ppm.abs() > graded {
            findings.push(
                Finding::new(
                    "clock-beyond-grade",
                    Weight::Warn,
                    "the clocks were measured further apart than what is said of them in the session allows",
                )
                .at(&self.unit)
                .measured(
                    format!("{} ppm", signed(known.rate_ppm, 3)),
                    format!("within ±{graded} ppm of {}", lead.name),
                )
                .because("one of the clocks is worse than said, or has aged; or the history is of another unit of that name")
                .then("nothing to do for the plan: what was measured counts; correct the session's clock"),
            );
        }
        if known.longest_s < LONG_ENOUGH_S.min(session.shoot.hours * 3600.0) {
            findings.push(
                Finding::new(
                    "clock-briefly-known",
                    Weight::Note,
                    "the clock was measured briefly, and may wander further in the shoot",
                )
                .at(&self.unit)
                .measured(
                    length_of_time(known.longest_s),
                    format!("{} and more", length_of_time(LONG_ENOUGH_S)),
                )
                .then("make a longer test with commontime stability, at the temperatures of the shoot"),
            );
        }
        findings
    }
}

/// How far two units' rates may differ by what is said of their clocks, ppm: two free clocks may be off in opposite directions, so
/// what each may be off adds up.
fn graded_ppm(lead: &RigUnit, own: &RigUnit) -> f64 {
    lead.clock.within_ppm() + own.clock.within_ppm()
}

fn measured(known: &Known) -> String {
    let through = known
        .through
        .as_ref()
        .map_or(String::new(), |third| format!(" through {third}"));
    let day = match known.latest.as_str() {
        "" => String::new(),
        day => format!(", last on {day}"),
    };
    format!(
        "measured{through} in {}{day}: {} to {} ppm",
        counted(known.tests, "test"),
        signed(known.range_ppm[0], 3),
        signed(known.range_ppm[1], 3)
    )
}

/// How long one may wait, rounded down to what a person can keep.
pub(super) fn pause(seconds: f64) -> String {
    match seconds {
        _ if seconds >= 172_800.0 => format!("{} days", (seconds / 86_400.0).floor()),
        _ if seconds >= 7200.0 => format!("{} h", (seconds / 3600.0).floor()),
        _ if seconds >= 120.0 => format!("{} min", (seconds / 60.0).floor()),
        _ => short_time(seconds),
    }
}
