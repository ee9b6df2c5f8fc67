//! A pair of units in their modes and a calibrations file in, the stored constant out, or which mode stands in its way.

use super::file::{Calibrations, Entry};
use super::modes::{Difference, SetUnit, differences};

/// An entry for a pair of units.
#[derive(Debug, Clone, PartialEq)]
pub struct Found<'a> {
    /// The entry.
    pub entry: &'a Entry,
    /// Its constant for this lead and this follower, samples: turned round when it was stored the other way round.
    pub constant_samples: f64,
    /// Modes that are not what they were, each with its unit; empty when it fits.
    pub differences: Vec<(String, Difference)>,
}

/// The entry that fits; else, of those for these two units, the one with fewest modes that differ.
#[must_use]
pub fn look_up<'a>(
    calibrations: &'a Calibrations,
    lead: &SetUnit,
    follower: &SetUnit,
) -> Option<Found<'a>> {
    let found = calibrations.entries.iter().filter_map(|entry| {
        let (stored_lead, stored_follower, sign) =
            if entry.lead.is_unit(lead) && entry.follower.is_unit(follower) {
                (&entry.lead, &entry.follower, 1.0)
            } else if entry.lead.is_unit(follower) && entry.follower.is_unit(lead) {
                (&entry.follower, &entry.lead, -1.0)
            } else {
                return None;
            };
        let of = |now: &SetUnit, stored: &SetUnit| -> Vec<(String, Difference)> {
            let differ = differences(now, stored).into_iter();
            differ.map(|one| (now.unit.clone(), one)).collect()
        };
        let mut differ = of(lead, stored_lead);
        differ.extend(of(follower, stored_follower));
        Some(Found {
            entry,
            constant_samples: sign * entry.constant_samples,
            differences: differ,
        })
    });
    found.min_by_key(|found| found.differences.len())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration::Mode;
    use crate::error::Kind;

    fn set(unit: &str, rate: &str) -> SetUnit {
        SetUnit {
            unit: unit.into(),
            modes: vec![
                Mode {
                    name: "sampling rate".into(),
                    value: rate.into(),
                },
                Mode {
                    name: "channels".into(),
                    value: "8".into(),
                },
            ],
        }
    }

    fn entry(rate: &str, constant_samples: f64) -> Entry {
        Entry {
            lead: set("NORTH", rate),
            follower: set("SOUTH", rate),
            constant_samples,
            sigma_samples: 0.2,
            takes: 3,
            scatter_samples: 0.1,
            date: "2031-05-04".into(),
            note: String::new(),
            sources: Vec::new(),
        }
    }

    fn store() -> Calibrations {
        let mut store = Calibrations::new("test");
        assert_eq!(store.insert(entry("48000 Hz", 9.4)), None);
        assert_eq!(store.insert(entry("96000 Hz", 21.0)), None);
        store
    }

    #[test]
    fn the_entry_in_the_same_modes_is_found_and_turned_round_when_asked() {
        let store = store();
        let (north, south) = (set("north", "96000 Hz"), set("SOUTH", "96000 Hz"));
        let found = look_up(&store, &north, &south).expect("stored");
        assert_eq!((found.constant_samples, found.differences.len()), (21.0, 0));
        let turned = look_up(&store, &south, &north).expect("stored");
        assert_eq!(turned.constant_samples, -21.0);
        assert!(look_up(&store, &north, &set("WEST", "96000 Hz")).is_none());
    }

    #[test]
    fn a_mode_that_differs_is_named_with_both_values() {
        let store = store();
        let found = look_up(&store, &set("NORTH", "48000 Hz"), &set("SOUTH", "44100 Hz"));
        let found = found.expect("stored in other modes");
        let (unit, difference) = &found.differences[0];
        assert_eq!((unit.as_str(), found.differences.len()), ("SOUTH", 1));
        assert_eq!(
            (difference.value.as_str(), difference.stored.as_str()),
            ("44100 Hz", "48000 Hz")
        );
        // a mode that was not known when it was stored differs too
        let mut newer = set("SOUTH", "48000 Hz");
        newer.modes.push(Mode {
            name: "limiter".into(),
            value: "on".into(),
        });
        let found = look_up(&store, &set("NORTH", "48000 Hz"), &newer).expect("stored");
        assert_eq!(found.differences[0].1.name, "limiter");
    }

    #[test]
    fn the_file_reads_back_and_says_what_is_wrong() {
        let mut store = store();
        let again = Calibrations::from_json(&store.to_json().expect("finite")).expect("own text");
        assert_eq!(again, store);
        let before = store.insert(entry("48000 Hz", 9.6)).expect("replaced");
        assert_eq!((before.constant_samples, store.entries.len()), (9.4, 2));
        let kind = |text: &str| Calibrations::from_json(text).expect_err("wrong").kind();
        assert_eq!(kind("{"), Kind::Format);
        let other = r#"{"format": "commontime-alignment", "version": 1}"#;
        assert_eq!(kind(other), Kind::Format);
        let newer = r#"{"format": "commontime-calibrations", "version": 2}"#;
        assert_eq!(kind(newer), Kind::Unsupported);
        let mut wrong = store.clone();
        wrong.entries[0].sigma_samples = -1.0;
        assert_eq!(kind(&wrong.to_json().expect("finite")), Kind::Format);
    }
}
