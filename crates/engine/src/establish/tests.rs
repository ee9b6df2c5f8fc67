//! Each rule of design section 5 tried on numbers alone.

use super::*;
use crate::alignment::{Basis, Status};
use crate::clock::acoustic::Delay;
use crate::clock::{Clock, Measured};
use crate::units::{LeadPos, Ppm, SampleRate, Samples, UnitPos};

pub(super) const AROUND: Circumstances = Circumstances {
    rate: SampleRate(48_000),
    follower_length: 4_800_000,
    spacing_m: 5.0,
    timecode_frame: Some(Samples(1600.0)),
};

pub(super) fn measured(offset: f64, rate: f64, sigma: f64) -> Measured {
    Measured {
        clock: Clock::straight(LeadPos(offset), Ppm(rate), AROUND.follower_length, 48_000.0),
        offset: LeadPos(offset),
        offset_sigma: Samples(sigma),
        rate: Ppm(rate),
        rate_sigma: Ppm(0.004),
        ties: Vec::new(),
        residual_rms: Samples(0.001),
        signs: Vec::new(),
        slips: Vec::new(),
    }
}

pub(super) fn stamps(offset: f64, resolution: f64) -> Option<StampEvidence> {
    Some(StampEvidence {
        offset: LeadPos(offset),
        resolution: Samples(resolution),
    })
}

pub(super) fn room(offset: f64, lag: f64) -> Option<RoomEvidence> {
    Some(RoomEvidence {
        measured: measured(offset, 8.0, 0.01),
        content_lag: Delay::sure(Samples(lag)),
    })
}

#[test]
fn content_does_not_move_what_the_stamps_explain() {
    // 480 samples at 48 kHz are 3.43 m of air: within 5 m, so the distance stays.
    let evidences = Evidences {
        stamps: stamps(49_440.0, 1.0),
        room: room(49_440.0, 480.0),
        ..Default::default()
    };
    let claim = claim(&evidences, AROUND);
    assert_eq!(
        (claim.basis, claim.status),
        (Basis::Stamps, Status::Established)
    );
    assert_eq!(claim.offset, LeadPos(49_440.0));
    assert_eq!(claim.offset_bound, Samples(1.0), "the stamps' resolution");
    assert!(claim.rate_measured && claim.findings.is_empty());
}

#[test]
fn a_distance_beyond_the_declared_one_warns_and_widens_the_bound() {
    let evidences = Evidences {
        stamps: stamps(49_440.0, 1.0),
        room: room(49_440.0, 480.0),
        ..Default::default()
    };
    let claim = claim(
        &evidences,
        Circumstances {
            spacing_m: 1.0,
            ..AROUND
        },
    );
    assert_eq!(claim.offset, LeadPos(49_440.0), "not moved");
    assert_eq!(claim.findings[0].code, "content-beyond-spacing");
    // 480 samples + 1 m of air (139.86 samples at 20 degrees Celsius, ISO 9613-1)
    assert!(
        (claim.offset_bound.0 - 619.86).abs() < 0.01,
        "{:?}",
        claim.offset_bound
    );
}

#[test]
fn stamps_a_second_off_are_contradicted_and_a_person_decides() {
    let evidences = Evidences {
        stamps: stamps(0.0, 1600.0),
        room: room(0.0, -48_000.0),
        ..Default::default()
    };
    let claim = claim(&evidences, AROUND);
    assert_eq!(
        (claim.basis, claim.status),
        (Basis::Acoustic, Status::NeedsDecision)
    );
    assert_eq!(
        claim.offset,
        LeadPos(48_000.0),
        "the follower hears it early: it started later"
    );
    assert!(
        (claim.offset_bound.0 - 699.3).abs() < 0.1,
        "5 m / 343.2 m/s at 48 kHz"
    );
}

/// The room as heard where echoes are nearly as high as the sound itself.
fn echoing(offset: f64, [earliest, best, latest]: [f64; 3]) -> Option<RoomEvidence> {
    Some(RoomEvidence {
        content_lag: Delay {
            best: Samples(best),
            earliest: Samples(earliest),
            latest: Samples(latest),
        },
        ..room(offset, best)?
    })
}

#[test]
fn echoes_nearly_as_high_widen_a_place_by_sound_alone_and_are_told() {
    let evidences = Evidences {
        room: echoing(0.0, [-971.0, -190.0, 499.0]),
        ..Default::default()
    };
    let claim = claim(&evidences, AROUND);
    assert_eq!(
        claim.offset,
        LeadPos(190.0),
        "the highest peak still places it"
    );
    // 5 m / 343.2 m/s at 48 kHz, and 781 samples to the furthest peak
    assert!((claim.offset_bound.0 - (699.3 + 781.0)).abs() < 0.1);
    let told = &claim.findings[0];
    assert_eq!(told.code, "echoes-fit-too");
    assert!(
        told.value.contains("from -689 to +781 samples"),
        "a sound heard later is a follower that lies earlier: {}",
        told.value
    );
}

#[test]
fn an_echo_beyond_the_declared_distance_contradicts_no_stamps() {
    for lags in [[100.0, 4_800.0, 4_800.0], [-4_800.0, -4_800.0, 300.0]] {
        let evidences = Evidences {
            stamps: stamps(0.0, 1.0),
            room: echoing(0.0, lags),
            ..Default::default()
        };
        let claim = claim(&evidences, AROUND);
        assert_eq!(
            (claim.basis, claim.status),
            (Basis::Stamps, Status::Established)
        );
        assert_eq!(
            (claim.offset, claim.offset_bound),
            (LeadPos(0.0), Samples(1.0))
        );
        assert!(claim.findings.is_empty(), "{:?}", claim.findings);
        assert!(
            claim.story[1].contains("echoes nearly as high"),
            "{}",
            claim.story[1]
        );
    }
}

#[test]
fn stamps_without_any_sound_to_confirm_them_ask() {
    let claim = claim(
        &Evidences {
            stamps: stamps(10.0, 1600.0),
            ..Default::default()
        },
        AROUND,
    );
    assert_eq!(
        (claim.basis, claim.status),
        (Basis::Stamps, Status::NeedsDecision)
    );
    assert!(!claim.rate_measured);
    assert_eq!(claim.offset_bound, Samples(1600.0));
}

#[test]
fn a_common_signal_decides_and_names_wrong_stamps() {
    // a stamp wrong by one 30 fps timecode frame and 7.3 samples
    let evidences = Evidences {
        common: Some((
            measured(51_047.3, 12.0, 0.001),
            "NORTH 6 and SOUTH 6".into(),
        )),
        stamps: stamps(49_440.0, 1.0),
        ..Default::default()
    };
    let claim = claim(&evidences, AROUND);
    assert_eq!(
        (claim.basis, claim.offset),
        (Basis::CommonSignal, LeadPos(51_047.3))
    );
    assert_eq!(claim.offset_bound, Samples(0.01));
    assert_eq!(claim.findings[0].code, "stamps-differ-from-common-signal");
    assert!(
        claim.findings[0].value.contains("+1607.3"),
        "{:?}",
        claim.findings[0]
    );
}

#[test]
fn a_person_s_tie_places_and_the_measured_rate_stays() {
    let manual = ManualEvidence {
        lead: LeadPos(1_000_000.0),
        follower: UnitPos(950_000.0),
        reason: "the slate is heard on both".into(),
    };
    let evidences = Evidences {
        manual: Some(manual),
        room: room(49_000.0, 0.0),
        ..Default::default()
    };
    let claim = claim(&evidences, AROUND);
    assert_eq!(claim.basis, Basis::Manual);
    assert!((claim.clock.lead_at(UnitPos(950_000.0)).0 - 1_000_000.0).abs() < 1e-6);
    assert_eq!(claim.rate, Ppm(8.0));
    assert!(
        claim
            .story
            .iter()
            .any(|words| words.contains("the slate is heard on both"))
    );
}

#[test]
fn nothing_reliable_shifts_nothing() {
    let claim = claim(&Evidences::default(), AROUND);
    assert_eq!(
        (claim.basis, claim.status),
        (Basis::None, Status::NotEstablished)
    );
    assert_eq!(claim.offset, LeadPos(0.0));
}

#[test]
fn rates_no_crystal_has_are_named() {
    for (rate, cause) in [
        (1000.0, "pull-up"),
        (-999.0, "pull-up"),
        (88_435.0, "44.1 kHz"),
        (12_300.0, "a fault"),
    ] {
        let evidences = Evidences {
            common: Some((measured(0.0, rate, 0.001), "A 1 and B 1".into())),
            ..Default::default()
        };
        let claim = claim(&evidences, AROUND);
        assert_eq!(claim.status, Status::NeedsDecision);
        assert!(
            claim.findings[0].cause.contains(cause),
            "{rate}: {:?}",
            claim.findings[0].cause
        );
    }
}
