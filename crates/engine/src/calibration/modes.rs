//! A take in, the modes its unit was in out, as far as files tell them; two sets of modes in, what differs out.

use serde::{Deserialize, Serialize};

use crate::take::Take;

/// What stands where a unit wrote nothing.
const NOT_WRITTEN: &str = "not written";

/// A unit in its modes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SetUnit {
    /// The unit's name.
    pub unit: String,
    /// Its modes, each with a name of its own.
    pub modes: Vec<Mode>,
}

/// One mode: what is set and how.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Mode {
    /// What is set, e.g. `sampling rate`.
    pub name: String,
    /// How, in words.
    pub value: String,
}

/// A mode that is not what it was.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Difference {
    /// What is set.
    pub name: String,
    /// How it is now.
    pub value: String,
    /// How it was when the calibration was stored.
    pub stored: String,
}

impl SetUnit {
    /// The unit of a take in the modes that its files tell. Limiters and filters stand in no field that units agree on: what
    /// a person notes with the calibration is all that is known of them.
    #[must_use]
    pub fn of(take: &Take) -> Self {
        let counting = take.stamp.as_ref().and_then(|stamp| stamp.counting);
        let timecode = counting.map_or(NOT_WRITTEN.into(), |counting| {
            let labels = if counting.drop_frame() {
                "drop-frame"
            } else {
                "non-drop"
            };
            format!("{} {labels}", counting.rate())
        });
        let originator = match take.notes.originator.trim() {
            "" => NOT_WRITTEN.into(),
            written => written.to_string(),
        };
        let modes = [
            ("sampling rate", take.rate.to_string()),
            ("sample format", take.encoding()),
            ("channels", take.channels.len().to_string()),
            ("timecode", timecode),
            ("written by", originator),
        ];
        Self {
            unit: take.unit.clone(),
            modes: modes
                .into_iter()
                .map(|(name, value)| Mode {
                    name: name.into(),
                    value,
                })
                .collect(),
        }
    }

    /// Whether both are the same unit, upper and lower case alike.
    #[must_use]
    pub fn is_unit(&self, other: &Self) -> bool {
        self.unit.to_uppercase() == other.unit.to_uppercase()
    }

    fn value(&self, name: &str) -> Option<&str> {
        let mode = self.modes.iter().find(|mode| mode.name == name)?;
        Some(&mode.value)
    }
}

/// What differs between a unit now and as it was stored; empty when every mode is the same. A mode that only one side knows
/// differs.
#[must_use]
pub fn differences(now: &SetUnit, stored: &SetUnit) -> Vec<Difference> {
    let value = |unit: &SetUnit, name: &str| unit.value(name).unwrap_or(NOT_WRITTEN).to_string();
    let added = stored
        .modes
        .iter()
        .filter(|mode| now.value(&mode.name).is_none());
    now.modes
        .iter()
        .chain(added)
        .map(|mode| Difference {
            name: mode.name.clone(),
            value: value(now, &mode.name),
            stored: value(stored, &mode.name),
        })
        .filter(|difference| difference.value != difference.stored)
        .collect()
}
