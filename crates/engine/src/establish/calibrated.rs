//! A stored calibration with stamps in, what may be said because of it out. The rule (design section 5): it is added to the
//! stamps when both units are in the very modes it was stored in, the stamps are good to a sample, and no common signal
//! stands on both; where one does, that decides and the calibration is held against it.

use crate::alignment::Basis;
use crate::calibration::{Calibrations, Found, SetUnit, TWO_STAMPS, look_up};
use crate::finding::{Finding, Weight};
use crate::take::Take;
use crate::units::Samples;

use super::claim::{Circumstances, Claim, Evidences, StampEvidence};
use super::room::{RoomEvidence, by_stamps};

/// Stamps coarser than this are not good to a sample, samples.
const TO_A_SAMPLE: f64 = 1.0;
/// Calibration and common signal agree within so many sigma.
const SIGMAS: f64 = 4.0;

/// A calibrations file with the name it goes by.
#[derive(Debug, Clone, PartialEq)]
pub struct NamedCalibrations {
    /// The file's name, to be cited.
    pub file: String,
    /// What stands in it.
    pub calibrations: Calibrations,
}

/// What a calibrations file says of a lead and a follower.
#[derive(Debug, Clone, PartialEq)]
pub struct CalibrationEvidence {
    /// What is to be added to the offset by the stamps.
    pub constant: Samples,
    /// One standard deviation of it.
    pub sigma: Samples,
    /// Where it comes from, in words.
    pub cited: String,
    /// Modes that are not what they were, in words, with the stored values in the same order; empty when it fits.
    pub now_and_stored: Option<(String, String)>,
}

impl NamedCalibrations {
    /// What stands in the file for these two takes.
    #[must_use]
    pub fn evidence(&self, lead: &Take, follower: &Take) -> Option<CalibrationEvidence> {
        let found = look_up(
            &self.calibrations,
            &SetUnit::of(lead),
            &SetUnit::of(follower),
        )?;
        let Found {
            entry, differences, ..
        } = &found;
        let words = |value: fn(&crate::calibration::Difference) -> &str| {
            let each = differences
                .iter()
                .map(|(unit, one)| format!("{unit} {} {}", one.name, value(one)));
            each.collect::<Vec<_>>().join(", ")
        };
        let date = match entry.date.as_str() {
            "" => "without a date",
            date => date,
        };
        let note = match entry.note.as_str() {
            "" => String::new(),
            note => format!(", noted: {note}"),
        };
        Some(CalibrationEvidence {
            constant: Samples(found.constant_samples),
            sigma: Samples(entry.sigma_samples),
            cited: format!(
                "calibration of {date} in {} ({} take{}{note})",
                self.file,
                entry.takes,
                if entry.takes == 1 { "" } else { "s" }
            ),
            now_and_stored: (!differences.is_empty())
                .then(|| (words(|one| &one.value), words(|one| &one.stored))),
        })
    }
}

impl CalibrationEvidence {
    fn fits(&self) -> bool {
        self.now_and_stored.is_none()
    }

    /// One standard deviation of stamps and constant together.
    fn sigma_with(&self, stamps: StampEvidence) -> Samples {
        Samples(self.sigma.0.hypot(TWO_STAMPS * stamps.resolution.0))
    }
}

/// The claim by stamps and a stored constant; `None` when there is none to be used.
pub fn by_calibration(evidences: &Evidences, around: Circumstances) -> Option<Claim> {
    let (stamps, stored) = (evidences.stamps?, evidences.calibration.as_ref()?);
    if !stored.fits() || stamps.resolution.0 > TO_A_SAMPLE {
        return None;
    }
    let moved = StampEvidence {
        offset: stamps.offset + stored.constant,
        ..stamps
    };
    // the lag is told from where the follower is looked for: that place moves, the sound does not
    let room = evidences.room.as_ref().map(|room| RoomEvidence {
        measured: room.measured.shifted(stored.constant),
        content_lag: room.content_lag.later(stored.constant),
    });
    let mut claim = by_stamps(moved, room.as_ref(), around);
    if claim.basis != Basis::Stamps {
        return Some(claim);
    }
    claim.shift(moved.offset - claim.offset);
    let sigma = stored.sigma_with(stamps);
    // sound from beyond the declared distance has widened the bound: that stands
    let widened = claim.offset_bound.0 > stamps.resolution.0;
    if !widened {
        claim.offset_bound = Samples(3.0 * sigma.0);
    }
    claim.basis = Basis::Calibration;
    claim.offset_sigma = sigma;
    let first = format!(
        "the stamps say {:+.1} samples; to that the stored offset of this pair of units in these modes was added, {:+.2} ± \
         {:.2} samples: {}",
        stamps.offset.0, stored.constant.0, stored.sigma.0, stored.cited
    );
    match claim.story.first_mut() {
        Some(sentence) => *sentence = first,
        None => claim.story.push(first),
    }
    Some(claim)
}

/// What is to be said of a calibration that was not what placed the follower: held against the common signal, or why it was
/// not used.
pub fn told(claim: &Claim, evidences: &Evidences) -> Option<Finding> {
    let stored = evidences.calibration.as_ref()?;
    if matches!(claim.basis, Basis::Calibration | Basis::Manual) {
        return None;
    }
    if let Some((now, then)) = &stored.now_and_stored {
        // beside a common signal it is not needed
        let weight = match evidences.common {
            Some(_) => Weight::Note,
            None => Weight::Warn,
        };
        return Some(
            Finding::new(
                "calibration-modes-differ",
                weight,
                format!("a stored offset was not used: the units are not in the modes of the {}", stored.cited),
            )
            .measured(now, then)
            .because("converters, filters and limiters delay differently in other modes")
            .then("calibrate in these modes with `commontime calibrate`, or set the units as they were"),
        );
    }
    let stamps = evidences.stamps?;
    if stamps.resolution.0 > TO_A_SAMPLE {
        return Some(
            Finding::new(
                "calibration-needs-fine-stamps",
                Weight::Warn,
                format!(
                    "a stored offset was not used: the stamps are not good to a sample ({})",
                    stored.cited
                ),
            )
            .measured(
                format!("stamps good to {:.0} samples", stamps.resolution.0),
                "1 sample",
            )
            .because(
                "a unit stamps whole timecode frames, or too few of its stamps are known to tell",
            )
            .then("record a common signal; a stored offset adds nothing to coarse stamps"),
        );
    }
    let (measured, channels) = evidences.common.as_ref()?;
    let apart = (measured.offset - (stamps.offset + stored.constant)).0;
    let sigma = stored.sigma_with(stamps).0.hypot(measured.offset_sigma.0);
    let allowed = SIGMAS * sigma;
    let value = format!(
        "{apart:+.2} samples between the common signal on {channels} and stamps with the stored {:+.2} samples",
        stored.constant.0
    );
    let limit = format!("±{allowed:.2} samples");
    let finding =
        |code, weight, message| Finding::new(code, weight, message).measured(value, limit);
    Some(match apart.abs() <= allowed {
        true => finding(
            "calibration-confirmed",
            Weight::Note,
            format!("the common signal confirms the stored offset: {}", stored.cited),
        ),
        false => finding(
            "calibration-contradicted",
            Weight::Warn,
            format!("the common signal contradicts the stored offset and decides: {}", stored.cited),
        )
        .because("the units were jammed too long ago, or a mode that no file tells has changed (limiter, filter, firmware)")
        .then("jam the units again before a take, and calibrate again"),
    })
}

#[cfg(test)]
mod tests {
    use super::super::claim::claim;
    use super::super::tests::{AROUND, measured, room, stamps};
    use super::*;
    use crate::alignment::Status;
    use crate::units::LeadPos;

    fn stored(constant: f64) -> Option<CalibrationEvidence> {
        Some(CalibrationEvidence {
            constant: Samples(constant),
            sigma: Samples(0.2),
            cited: "calibration of 2031-05-04 in rig.json (3 takes)".into(),
            now_and_stored: None,
        })
    }

    #[test]
    fn stamps_good_to_a_sample_and_a_stored_offset_place_together() {
        let evidences = Evidences {
            stamps: stamps(49_440.0, 1.0),
            room: room(49_440.0, 480.0),
            calibration: stored(9.4),
            ..Default::default()
        };
        let claim = claim(&evidences, AROUND);
        assert_eq!(
            (claim.basis, claim.status),
            (Basis::Calibration, Status::Established)
        );
        assert!(
            (claim.offset.0 - 49_449.4).abs() < 1e-9,
            "{:?}",
            claim.offset
        );
        let start = claim.clock.knots()[0].lead;
        assert!((start.0 - 49_449.4).abs() < 1e-9, "{start:?}");
        // the root of 0.2^2 and 2/12
        assert!((claim.offset_sigma.0 - 0.4546).abs() < 1e-3);
        assert!((claim.offset_bound.0 - 3.0 * claim.offset_sigma.0).abs() < 1e-9);
        assert!(claim.rate_measured && claim.findings.is_empty());
        assert!(claim.story[0].contains("calibration of 2031-05-04 in rig.json"));
        assert!(
            claim.story[1].contains("+489.4 samples"),
            "{:?}",
            claim.story
        );
    }

    #[test]
    fn without_sound_to_confirm_it_a_person_decides() {
        let evidences = Evidences {
            stamps: stamps(49_440.0, 1.0),
            calibration: stored(9.4),
            ..Default::default()
        };
        let claim = claim(&evidences, AROUND);
        assert_eq!(
            (claim.basis, claim.status),
            (Basis::Calibration, Status::NeedsDecision)
        );
        assert!((claim.offset.0 - 49_449.4).abs() < 1e-9);
    }

    #[test]
    fn other_modes_and_coarse_stamps_are_no_ground_for_it() {
        let mut evidences = Evidences {
            stamps: stamps(49_440.0, 1.0),
            room: room(49_440.0, 480.0),
            calibration: stored(9.4),
            ..Default::default()
        };
        if let Some(calibration) = &mut evidences.calibration {
            let words = |hz: &str| format!("SOUTH sampling rate {hz} Hz");
            calibration.now_and_stored = Some((words("96000"), words("48000")));
        }
        let other = claim(&evidences, AROUND);
        assert_eq!(
            (other.basis, other.offset),
            (Basis::Stamps, LeadPos(49_440.0))
        );
        let finding = &other.findings[0];
        assert_eq!(
            (finding.code.as_str(), finding.weight),
            ("calibration-modes-differ", Weight::Warn)
        );
        assert!(finding.value.contains("96000") && finding.limit.contains("48000"));

        evidences.calibration = stored(9.4);
        evidences.stamps = stamps(49_440.0, 1600.0);
        let coarse = claim(&evidences, AROUND);
        assert_eq!(coarse.basis, Basis::Stamps);
        assert_eq!(coarse.findings[0].code, "calibration-needs-fine-stamps");
    }

    #[test]
    fn a_common_signal_decides_and_the_stored_offset_is_held_against_it() {
        let with = |offset| {
            let evidences = Evidences {
                common: Some((measured(offset, 8.0, 0.003), "NORTH 6 and SOUTH 6".into())),
                stamps: stamps(49_440.0, 1.0),
                calibration: stored(9.4),
                ..Default::default()
            };
            claim(&evidences, AROUND)
        };
        let code = |claim: &Claim| claim.findings.last().map(|f| (f.code.clone(), f.weight));
        let close = with(49_449.0);
        assert_eq!(
            (close.basis, close.offset.0),
            (Basis::CommonSignal, 49_449.0)
        );
        let confirmed = ("calibration-confirmed".into(), Weight::Note);
        assert_eq!(code(&close), Some(confirmed));
        let contradicted = ("calibration-contradicted".into(), Weight::Warn);
        assert_eq!(code(&with(49_460.0)), Some(contradicted));
    }
}
