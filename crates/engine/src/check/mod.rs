//! Finished files in, findings out: levels as they were read back, and the alignment measured again on the result.

mod levels;
mod quality;
mod residual;

use serde::Serialize;

use crate::alignment::Alignment;
use crate::build::{BuildReport, OutputFile};
use crate::finding::Finding;
use crate::progress::Progress;

pub(crate) use quality::DEAD_DBFS;
pub use residual::{Place, Residual, residuals};

/// What checking came to.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Checked {
    /// How far followers still are from the lead, where one electrical signal is on both.
    pub residuals: Vec<Residual>,
    /// What a person should know.
    pub findings: Vec<Finding>,
}

/// Checks every file of a build.
#[must_use]
pub fn check(alignment: &Alignment, report: &BuildReport, progress: &dyn Progress) -> Checked {
    let mut checked = Checked::default();
    progress.stage("checking", alignment.joint_takes.len() as u64);
    for take in &alignment.joint_takes {
        let outputs: Vec<&OutputFile> = report
            .outputs
            .iter()
            .filter(|output| output.joint_take == take.name)
            .collect();
        let quality = report.quality_of(&take.name);
        let over = levels::Over::of(&outputs, quality);
        for output in &outputs {
            checked.findings.extend(levels::findings(output, over));
        }
        if let Some(quality) = quality {
            checked
                .findings
                .extend(quality::findings(&take.members, quality));
        }
        match residuals(&outputs, take) {
            Ok(found) => {
                checked.findings.extend(residual::findings(take, &found));
                checked.residuals.extend(found);
            }
            Err(error) => checked.findings.push(residual::unmeasured(take, &error)),
        }
        progress.advance(1);
    }
    checked
}
