//! The waist of the program: joint takes, clocks, bases and findings as plain data in one JSON file (design section 7).
//! What stands before it may be fuzzy and is judged by tolerances; what stands after it is a pure function of this file
//! and the sources.

mod decide;
mod file;

pub use file::*;

use crate::clock::{Clock, Knot};
use crate::error::Result;
use crate::plain::Plain;
use crate::signal::{Seam, Seams};
use crate::units::{LeadPos, Samples, UnitPos};

const PLAIN: Plain = Plain {
    what: "alignment file",
    format: FORMAT,
    version: VERSION,
    give: "give the file that `commontime align` or `commontime join` wrote",
    newer: "use the program that made it, or measure again",
};

impl Alignment {
    /// Reads an alignment file's text. Fields that are not known are passed over.
    ///
    /// # Errors
    /// [`Kind::Format`](crate::Kind::Format) with line and column, or when it is another format;
    /// [`Kind::Unsupported`](crate::Kind::Unsupported) for a newer version.
    pub fn from_json(text: &str) -> Result<Self> {
        PLAIN.read(text)
    }

    /// The text of the alignment file.
    ///
    /// # Errors
    /// When a number is infinite or no number, which JSON cannot hold.
    pub fn to_json(&self) -> Result<String> {
        PLAIN.write(self)
    }
}

impl Member {
    /// The clock that the knots are; `None` unless there are two or more and both columns rise.
    #[must_use]
    pub fn clock(&self) -> Option<Clock> {
        let knots = self.knots.iter().map(|[follower, lead]| Knot {
            follower: UnitPos(*follower),
            lead: LeadPos(*lead),
            sigma: Samples(0.0),
        });
        Clock::new(knots.collect())
    }
}

impl Member {
    /// How positions in its file go together with positions as they would be without its slips.
    #[must_use]
    pub fn seams(&self) -> Seams {
        let sized = self.slips.iter().filter(|slip| slip.samples.is_finite());
        let seams: Vec<Seam> = sized
            .map(|slip| Seam {
                at: slip.at_sample,
                samples: slip.samples.round() as i64,
            })
            .collect();
        Seams::new(&seams, self.length_samples)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::error::Kind;

    #[test]
    fn what_is_no_alignment_says_where() {
        let error = Alignment::from_json("{\n  \"format\": 3 }")
            .expect_err("a number")
            .to_string();
        assert!(error.contains("line 2"), "{error}");
        let error =
            Alignment::from_json(r#"{"format": "other", "version": 1}"#).expect_err("other");
        assert!(
            error.to_string().contains("commontime-alignment"),
            "{error}"
        );
        let newer = r#"{"format": "commontime-alignment", "version": 2}"#;
        assert_eq!(
            Alignment::from_json(newer).expect_err("newer").kind(),
            Kind::Unsupported
        );
    }

    #[test]
    fn the_design_s_example_reads() {
        // the fields of the published contract, and no others
        let text = r#"{ "format": "commontime-alignment", "version": 1, "made_by": "x", "joint_takes": [ {
            "name": "a", "sample_rate": 48000, "lead": "NORTH", "length_samples": 10,
            "start": { "samples_since_midnight": 5, "timecode": "10:00:00:00", "frame_rate": "30/1", "drop_frame": false },
            "members": [ { "unit": "SOUTH", "role": "follower", "length_samples": 10,
              "parts": [ { "path": "p.wav", "first_sample": 0, "length_samples": 10, "digest": "" } ],
              "channels": [ { "index": 1, "name": "n" } ],
              "basis": "common-signal", "status": "established",
              "offset_samples": 49440.0, "offset_sigma_samples": 0.003, "offset_bound_samples": 0.01,
              "rate_ppm": 7.31, "rate_sigma_ppm": 0.004, "knots": [ [0, 49440.0], [9, 49449.0] ],
              "slips": [ { "at_sample": 4, "samples": -2, "sigma_samples": 0.5 } ],
              "placement": "resampled", "findings": [] } ] } ] }"#;
        let alignment = Alignment::from_json(text).expect("the contract");
        let member = &alignment.joint_takes[0].members[0];
        assert_eq!(
            (member.basis, member.placement),
            (Basis::CommonSignal, Placement::Resampled)
        );
        let again = Alignment::from_json(&alignment.to_json().expect("finite")).expect("own text");
        assert_eq!(again, alignment);
    }
}
