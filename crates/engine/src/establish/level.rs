//! A common signal's channel pair in, level and polarity between two units out, with what to say about them. Nothing is
//! changed in the recording because of it.

use crate::alignment::CommonLevel;
use crate::finding::{Finding, Weight};
use crate::tie::common::CommonPair;

/// Differences smaller than this are nothing to tell, dB: about what gain controls and converters differ by when set
/// alike (common practice, no source).
const TOLD_DB: f64 = 0.3;

/// What a channel pair says of level and polarity; `against` is the unit on the pair's lead side. `None` when no window
/// told a level.
pub fn common_level(pair: &CommonPair, against: &str) -> Option<CommonLevel> {
    let known = pair.gain.0.is_finite() && pair.gain_sigma.0.is_finite();
    known.then(|| CommonLevel {
        against: against.into(),
        lead_channel: pair.lead as u32 + 1,
        follower_channel: pair.follower as u32 + 1,
        level_db: pair.gain.0,
        level_sigma_db: pair.gain_sigma.0,
        inverted: pair.inverted,
    })
}

/// What a person should know of it: a warning when the polarities differ, a note when only the levels do.
pub fn level_finding(level: &CommonLevel, unit: &str) -> Option<Finding> {
    let size = level.level_db.abs();
    let apart = size >= TOLD_DB && size > 3.0 * level.level_sigma_db;
    let against = &level.against;
    let strength = format!(
        "{size:.2} dB {} than {against}",
        if level.level_db < 0.0 {
            "lower"
        } else {
            "higher"
        }
    );
    let (weight, what) = match (apart, level.inverted) {
        (false, false) => return None,
        (true, false) => (Weight::Note, strength),
        (true, true) => (Weight::Warn, format!("{strength} and inverted")),
        (false, true) => (
            Weight::Warn,
            format!("inverted against {against}, as strong"),
        ),
    };
    let cause = match (apart, level.inverted) {
        (true, true) => "gains set differently, and pins 2 and 3 swapped in one of the two cables",
        (true, false) => "gains set differently on the two inputs, or a pad on one",
        (false, _) => "pins 2 and 3 swapped in one of the two cables, or a polarity switch",
    };
    let polarity = if level.inverted {
        "opposite polarity"
    } else {
        "same polarity"
    };
    Some(
        Finding::new(
            "common-level-differs",
            weight,
            format!("{unit} records the common signal {what}; nothing was changed"),
        )
        .measured(
            format!(
                "{:+.2} dB (sigma {:.2}), {polarity}, {against} channel {} and {unit} channel {}",
                level.level_db, level.level_sigma_db, level.lead_channel, level.follower_channel
            ),
            format!("within ±{TOLD_DB} dB, same polarity"),
        )
        .because(cause)
        .then(
            "correct level and polarity when mixing; this concerns these two channels only: the gains and polarities of \
             other inputs were not compared",
        ),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn level(level_db: f64, level_sigma_db: f64, inverted: bool) -> CommonLevel {
        CommonLevel {
            against: "NORTH".into(),
            lead_channel: 6,
            follower_channel: 2,
            level_db,
            level_sigma_db,
            inverted,
        }
    }

    #[test]
    fn lower_and_inverted_is_said_with_both_causes() {
        let finding = level_finding(&level(-0.7, 0.01, true), "SOUTH").expect("differs");
        assert_eq!(finding.weight, Weight::Warn);
        let start = "SOUTH records the common signal 0.70 dB lower than NORTH and inverted";
        assert!(finding.message.starts_with(start), "{}", finding.message);
        assert!(
            finding.cause.contains("gains") && finding.cause.contains("pins 2 and 3"),
            "{}",
            finding.cause
        );
        assert!(
            finding
                .value
                .contains("NORTH channel 6 and SOUTH channel 2")
        );
    }

    #[test]
    fn what_is_set_alike_is_not_told_and_neither_is_what_noise_may_have_done() {
        assert_eq!(level_finding(&level(0.1, 0.01, false), "SOUTH"), None);
        assert_eq!(level_finding(&level(2.0, 1.0, false), "SOUTH"), None);
        let only_level = level_finding(&level(2.0, 0.1, false), "SOUTH").expect("differs");
        assert_eq!(only_level.weight, Weight::Note);
        assert!(only_level.message.contains("2.00 dB higher"));
        let only_turned = level_finding(&level(0.1, 0.1, true), "SOUTH").expect("differs");
        assert_eq!(only_turned.weight, Weight::Warn);
        assert!(only_turned.message.contains("inverted"));
    }
}
