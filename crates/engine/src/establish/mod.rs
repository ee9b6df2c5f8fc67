//! Joint takes in, an alignment out: which basis each follower's place rests on and what may be claimed because of it
//! (design section 5).

mod again;
mod line;
mod claim;
mod coded;
mod level;
mod calibrated;
mod calibrate;
mod several;
mod chain;
mod ring;
mod closure;
mod day;
mod epochs;
mod heard;
mod labels;
mod options;
mod place;
mod record;
mod room;
mod run;
mod scene;
mod slips;
mod unsure;
mod written;
#[cfg(test)]
mod tests;

pub use again::measure_again;
pub use calibrate::{Calibrated, calibrate};
pub use calibrated::{CalibrationEvidence, NamedCalibrations};
pub use claim::{Circumstances, Claim, Evidences, ManualEvidence, StampEvidence, claim};
pub use coded::TimecodeEvidence;
pub use options::{ManualTie, NamedChannel, NamedPair, NamedPosition, Options, Resample};
pub use room::RoomEvidence;
pub use run::{align, made_by};
