//! Any text as an alignment file or a calibrations file, as a person may have edited it: no panic in reading it, telling it and
//! writing it, and what was read comes back.

#![no_main]

use engine::alignment::Alignment;
use engine::calibration::Calibrations;
use engine::units::{LeadPos, UnitPos};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    let Ok(text) = std::str::from_utf8(data) else { return };
    if let Ok(alignment) = Alignment::from_json(text) {
        let _ = engine::report::alignment_text(&alignment);
        for member in alignment.joint_takes.iter().flat_map(|take| &take.members) {
            if let Some(clock) = member.clock() {
                let _ = clock.lead_at(UnitPos(1e6));
                let _ = clock.follower_at(LeadPos(-1e6));
            }
        }
        let written = alignment.to_json().expect("JSON holds no infinite number");
        let again = Alignment::from_json(&written).expect("what was written");
        assert_eq!(again, alignment);
    }
    if let Ok(calibrations) = Calibrations::from_json(text) {
        let written = calibrations.to_json().expect("JSON holds no infinite number");
        let again = Calibrations::from_json(&written).expect("what was written");
        assert_eq!(again, calibrations);
    }
});
