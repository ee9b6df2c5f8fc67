//! A follower with its claim in, its member of the alignment out.

use crate::alignment::{Basis, Evidence, Member, Role, Status};
use crate::clock::Side;

use super::claim::{Claim, Evidences};
use super::level::level_finding;
use super::place::placed;
use super::record::{band, channels_of, parts_of, tie_records};
use super::scene::Scene;
use super::several::Placed;
use super::slips::{ask_about_sizes, findings, records};

impl Scene<'_, '_> {
    /// The follower as it is written down.
    pub(super) fn member(&self, follower: Placed<'_>) -> Member {
        let mut claim = follower.claim;
        if !self.candidate.undecided.is_empty() && claim.basis != Basis::Manual {
            claim.status = Status::NeedsDecision;
            claim
                .findings
                .extend(self.candidate.undecided.iter().cloned());
        }
        ask_about_sizes(&mut claim);
        self.write_down(claim, &follower.evidences)
    }

    fn write_down(&self, claim: Claim, evidences: &Evidences) -> Member {
        let take = self.candidate.take;
        let mut claim = claim;
        let placement = placed(&mut claim, self.options.resample, take.length.0);
        let measured = claim.measured.as_ref();
        let level = evidences.level.as_ref();
        claim
            .findings
            .extend(level.and_then(|level| level_finding(level, &take.unit)));
        claim.findings.extend(
            measured.map_or_else(Vec::new, |m| findings(&m.slips, Side::Follower, take.rate)),
        );
        let mut story = claim.story;
        story.extend(evidences.unlocked_reasons.iter().cloned());
        Member {
            unit: take.unit.clone(),
            role: Role::Follower,
            take: take.name.clone(),
            length_samples: take.length.0,
            sample_rate: None,
            parts: parts_of(take),
            channels: channels_of(take),
            basis: claim.basis,
            status: claim.status,
            offset_samples: claim.offset.0,
            offset_sigma_samples: claim.offset_sigma.0,
            offset_bound_samples: claim.offset_bound.0,
            rate_ppm: claim.rate.0,
            rate_sigma_ppm: claim.rate_sigma.0,
            rate_measured: claim.rate_measured,
            knots: claim
                .clock
                .knots()
                .iter()
                .map(|knot| [knot.follower.0, knot.lead.0])
                .collect(),
            slips: measured.map_or_else(Vec::new, |m| records(&m.slips, Side::Follower)),
            placement,
            findings: claim.findings,
            decision: None,
            evidence: Some(Evidence {
                story,
                signs: measured
                    .map_or(&evidences.unlocked_signs, |m| &m.signs)
                    .iter()
                    .chain(&claim.signs)
                    .cloned()
                    .collect(),
                ties: measured.map(tie_records).unwrap_or_default(),
                band: measured.map(band).unwrap_or_default(),
                residual_rms_samples: measured.map_or(0.0, |m| m.residual_rms.0),
                candidates: evidences
                    .candidates
                    .iter()
                    .map(|(at, score)| [at.0, *score])
                    .collect(),
                common_level: evidences.level.clone(),
                through: claim.through,
            }),
        }
    }
}
