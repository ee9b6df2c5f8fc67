//! Outcomes and errors in, the exit status of the contract out: 0 done, 1 needs a decision or was not established,
//! 2 usage, 3 could not read or write, 4 a verification failed.

use std::process::ExitCode;

use engine::Kind;
use engine::finding::{Finding, Weight};

/// How a command ended without an error.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Ended {
    /// Everything was done.
    Done,
    /// Done, but something needs a decision or was not established.
    Undecided,
    /// Done in part: something could not be read or written.
    Unreadable,
    /// What was written is not what was meant.
    Unverified,
}

impl Ended {
    /// The status for a set of findings: anything that asks or stops leaves something undecided.
    #[must_use]
    pub fn by_findings(findings: &[Finding]) -> Self {
        let grave = findings.iter().any(|finding| finding.weight >= Weight::Ask);
        if grave { Self::Undecided } else { Self::Done }
    }

    /// The status for what failed while the rest went on.
    #[must_use]
    fn by_failure(kind: Kind) -> Self {
        match kind {
            Kind::Verification => Self::Unverified,
            Kind::Io | Kind::Format => Self::Unreadable,
            Kind::Unsupported | Kind::Usage | Kind::Refused | Kind::Stopped => Self::Undecided,
        }
    }

    /// The status of work that went on past what failed in it.
    #[must_use]
    pub fn of(findings: &[Finding], failed: Option<Kind>) -> Self {
        failed
            .map_or(Self::Done, Self::by_failure)
            .max(Self::by_findings(findings))
    }

    /// The exit status.
    #[must_use]
    pub fn code(self) -> ExitCode {
        ExitCode::from(match self {
            Self::Done => 0,
            Self::Undecided => 1,
            Self::Unreadable => 3,
            Self::Unverified => 4,
        })
    }
}

/// The exit status of an error.
#[must_use]
pub fn code_of(error: &anyhow::Error) -> ExitCode {
    // a label, a rate or a sum that makes no sense
    if error.is::<timecode::Error>() {
        return ExitCode::from(2);
    }
    let kind = error
        .chain()
        .find_map(|cause| cause.downcast_ref::<engine::Error>());
    ExitCode::from(match kind.map(engine::Error::kind) {
        Some(Kind::Usage | Kind::Refused) => 2,
        Some(Kind::Stopped) => 1,
        Some(Kind::Verification) => 4,
        Some(Kind::Io | Kind::Format | Kind::Unsupported) | None => 3,
    })
}
