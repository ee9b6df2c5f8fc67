//! An alignment and a person's decision in, the alignment with that decision in it out. Nothing is measured here.

use super::{Alignment, Decided, Decision, JointTake, Member, Placement, Role, Status};
use crate::error::{Error, Kind, Result};
use crate::finding::{Finding, Weight};

impl Alignment {
    /// The joint take of that name.
    ///
    /// # Errors
    /// [`Kind::Usage`] when there is none.
    pub fn joint_take(&self, name: &str) -> Result<&JointTake> {
        let mut takes = self.joint_takes.iter();
        takes
            .find(|take| take.name == name)
            .ok_or_else(|| no_take(name))
    }

    /// The same, to be changed.
    ///
    /// # Errors
    /// As for [`Self::joint_take`].
    pub fn joint_take_mut(&mut self, name: &str) -> Result<&mut JointTake> {
        let mut takes = self.joint_takes.iter_mut();
        takes
            .find(|take| take.name == name)
            .ok_or_else(|| no_take(name))
    }

    /// Decides about the follower `unit` of a joint take, all of its takes if it was started again; `None` takes an earlier
    /// decision back.
    ///
    /// # Errors
    /// [`Kind::Usage`] when there is no such joint take or follower, or when there is no place to accept.
    pub fn decide(
        &mut self,
        joint_take: &str,
        unit: &str,
        decided: Option<(Decided, String)>,
    ) -> Result<()> {
        let take = self.joint_take_mut(joint_take)?;
        let members = take.members.iter_mut();
        let mut of_unit: Vec<&mut Member> = members
            .filter(|member| member.role == Role::Follower && member.unit == unit)
            .collect();
        if of_unit.is_empty() {
            return Err(Error::new(
                Kind::Usage,
                format!("{joint_take} has no follower {unit}"),
            ));
        }
        of_unit.iter_mut().try_for_each(|member| {
            member.take_back();
            match &decided {
                Some((what, reason)) => member.decide(*what, reason.clone()),
                None => Ok(()),
            }
        })
    }
}

fn no_take(name: &str) -> Error {
    Error::new(Kind::Usage, format!("there is no joint take {name}"))
}

impl Member {
    /// Whether a person must decide about it, or place it, before anything is built with it.
    #[must_use]
    pub fn is_open(&self) -> bool {
        self.role == Role::Follower && self.status != Status::Established && !self.is_left_out()
    }

    /// Whether a person left it out of the recording.
    #[must_use]
    pub fn is_left_out(&self) -> bool {
        self.decision
            .as_ref()
            .is_some_and(|decision| decision.what == Decided::LeftOut)
    }

    /// Its findings as they weigh after what was decided: what asked for a decision that was made asks no more.
    pub fn weighed_findings(&self) -> impl Iterator<Item = Finding> + '_ {
        let answered = self.decision.is_some();
        self.findings.iter().cloned().map(move |mut finding| {
            if answered && finding.weight == Weight::Ask {
                finding.weight = Weight::Warn;
            }
            finding
        })
    }

    /// What was decided, in words.
    #[must_use]
    pub fn decision_words(&self) -> Option<String> {
        let decision = self.decision.as_ref()?;
        let what = match decision.what {
            Decided::Accepted => "accepted by a person as it was measured",
            Decided::LeftOut => "left out by a person",
        };
        Some(match decision.reason.trim() {
            "" => what.to_string(),
            reason => format!("{what}: {reason}"),
        })
    }

    fn take_back(&mut self) {
        if let Some(decision) = self.decision.take() {
            (self.status, self.placement) = decision.before;
        }
    }

    fn decide(&mut self, what: Decided, reason: String) -> Result<()> {
        let before = (self.status, self.placement);
        match what {
            Decided::Accepted if self.placement == Placement::NotPlaced => {
                return Err(Error::new(
                    Kind::Usage,
                    format!("{} has no place that could be accepted", self.unit),
                )
                .then("mark the same instant on both, or leave the unit out"));
            }
            Decided::Accepted => self.status = Status::Established,
            Decided::LeftOut => self.placement = Placement::NotPlaced,
        }
        self.decision = Some(Decision {
            what,
            reason,
            before,
        });
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// One joint take, "a", of the lead NORTH and the follower SOUTH.
    fn alignment() -> Alignment {
        let member = |unit: &str, role: &str| {
            format!(
                r#"{{ "unit": "{unit}", "role": "{role}", "length_samples": 10, "parts": [], "channels": [],
                "basis": "acoustic", "status": "established", "offset_samples": 0.0, "offset_sigma_samples": 1.0,
                "offset_bound_samples": 3.0, "rate_ppm": 0.0, "rate_sigma_ppm": 1.0, "knots": [], "placement": "exact" }}"#
            )
        };
        let text = format!(
            r#"{{ "format": "commontime-alignment", "version": 1, "made_by": "x", "joint_takes": [ {{
            "name": "a", "sample_rate": 48000, "lead": "NORTH", "length_samples": 10, "start": {{ "drop_frame": false }},
            "members": [ {}, {} ] }} ] }}"#,
            member("NORTH", "lead"),
            member("SOUTH", "follower")
        );
        Alignment::from_json(&text).expect("an alignment")
    }

    fn south(alignment: &mut Alignment) -> &mut Member {
        &mut alignment.joint_takes[0].members[1]
    }

    #[test]
    fn a_decision_is_made_and_taken_back() {
        let mut alignment = alignment();
        south(&mut alignment).status = Status::NeedsDecision;
        let ask = Finding::new("unsure", Weight::Ask, "which of two places?");
        south(&mut alignment).findings.push(ask);
        let asked = alignment.clone();
        let accept = Some((Decided::Accepted, "heard it".to_string()));
        alignment.decide("a", "SOUTH", accept).expect("accepted");
        let member = south(&mut alignment);
        assert_eq!(member.status, Status::Established);
        assert_eq!(
            member.decision_words().as_deref(),
            Some("accepted by a person as it was measured: heard it")
        );
        let weights: Vec<Weight> = member.weighed_findings().map(|f| f.weight).collect();
        assert_eq!(weights, [Weight::Warn], "an answered question asks no more");
        // another decision takes the place of the first, and what was measured comes back at the end
        let leave = Some((Decided::LeftOut, String::new()));
        alignment.decide("a", "SOUTH", leave).expect("left out");
        let member = south(&mut alignment);
        assert!(member.is_left_out());
        assert_eq!(
            (member.status, member.placement),
            (Status::NeedsDecision, Placement::NotPlaced)
        );
        let text = alignment.to_json().expect("finite");
        let mut again = Alignment::from_json(&text).expect("own text");
        assert_eq!(again, alignment);
        again.decide("a", "SOUTH", None).expect("taken back");
        assert_eq!(again, asked);
        // a unit that was started again has two takes, and both are decided about
        let second = south(&mut again).clone();
        again.joint_takes[0].members.push(second);
        let leave = Some((Decided::LeftOut, String::new()));
        again.decide("a", "SOUTH", leave).expect("left out");
        let left_out = again.joint_takes[0]
            .members
            .iter()
            .filter(|member| member.is_left_out());
        assert_eq!(left_out.count(), 2);
    }

    #[test]
    fn what_is_not_there_cannot_be_decided_about() {
        let mut alignment = alignment();
        south(&mut alignment).placement = Placement::NotPlaced;
        for (take, unit) in [("nowhere", "SOUTH"), ("a", "NORTH"), ("a", "SOUTH")] {
            let accept = Some((Decided::Accepted, String::new()));
            let error = alignment.decide(take, unit, accept).expect_err("refused");
            assert_eq!(error.kind(), Kind::Usage);
        }
    }
}
