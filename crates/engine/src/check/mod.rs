//! Finished files in, findings out: levels as they were read back, and the alignment measured again on the result.

mod levels;
mod residual;

use serde::Serialize;

use crate::alignment::Alignment;
use crate::build::BuildReport;
use crate::finding::Finding;
use crate::progress::Progress;

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
    progress.stage("checking", report.outputs.len() as u64);
    for output in &report.outputs {
        checked.findings.extend(levels::findings(output));
        let take = alignment
            .joint_takes
            .iter()
            .find(|take| take.name == output.joint_take);
        if let Some(take) = take {
            match residuals(output, take) {
                Ok(found) => {
                    checked.findings.extend(residual::findings(take, &found));
                    checked.residuals.extend(found);
                }
                Err(error) => checked.findings.push(residual::unmeasured(output, &error)),
            }
        }
        progress.advance(1);
    }
    checked
}
