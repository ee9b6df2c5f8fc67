//! A rehearsal shoot written as cards and aligned, beside what is true.
#![allow(dead_code, reason = "each test binary uses its part")]

use engine::alignment::{Alignment, Member};
use engine::establish::{Options, align};
use engine::finding::{Finding, Sign};
use engine::progress::Silent;
use engine::take::scan;
use engine::units::UnitPos;
use rehearsal::{Shoot, Truth};

/// An alignment beside what is true.
pub struct Aligned {
    /// The cards lie in it as long as this lives.
    pub root: tempfile::TempDir,
    pub alignment: Alignment,
    pub truth: Truth,
}

impl Aligned {
    pub fn of(shoot: &Shoot) -> Self {
        let root = tempfile::tempdir().expect("temporary folder");
        let truth = shoot.write(root.path()).expect("written");
        let cards: Vec<_> = shoot
            .units
            .iter()
            .map(|unit| root.path().join(&unit.name))
            .collect();
        let survey = scan(&cards, &Silent).expect("surveyed").value;
        let options = Options {
            lead: Some("NORTH".into()),
            ..Options::default()
        };
        let alignment = align(&survey, &options, &Silent).expect("aligned");
        Self {
            root,
            alignment,
            truth,
        }
    }

    pub fn member(&self, unit: &str) -> &Member {
        let members = &self.alignment.joint_takes[0].members;
        let found = members.iter().find(|member| member.unit == unit);
        found.expect("a member")
    }

    pub fn closure(&self, unit: &str) -> Sign {
        let evidence = self.member(unit).evidence.as_ref().expect("evidence");
        let sign = evidence
            .signs
            .iter()
            .find(|s| s.name.starts_with("closure"));
        sign.expect("a closure").clone()
    }

    pub fn finding(&self, unit: &str, code: &str) -> Option<&Finding> {
        let findings = &self.member(unit).findings;
        findings.iter().find(|finding| finding.code == code)
    }

    /// The largest error of a member's clock, samples.
    pub fn error(&self, unit: &str) -> f64 {
        let clock = self.member(unit).clock().expect("a clock");
        let found = |k| clock.lead_at(UnitPos(k)).0;
        self.truth.compare(unit, found).expect("took part").max
    }
}
