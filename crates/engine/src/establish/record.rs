//! Takes, clocks and refusals in, the alignment's own records out.

use std::collections::BTreeSet;

use crate::alignment::{
    AloneTake, Basis, Channel, JointTake, Member, Part, Placement, Role, Status, TieRecord,
};
use crate::clock::{Clock, Measured};
use crate::error::Error;
use crate::finding::{Finding, Weight};
use crate::media;
use crate::take::{Survey, Take};
use crate::tie::{Source, Tie};
use crate::units::{LeadPos, Ppm};

pub fn tie_records(measured: &Measured) -> Vec<TieRecord> {
    let name = |tie: &Tie| match &tie.source {
        Source::CommonSignal { lead, follower } => {
            format!("common-signal {}={}", lead + 1, follower + 1)
        }
        Source::Through {
            unit,
            lead,
            follower,
        } => format!(
            "through {unit}: common-signal {}={}",
            lead + 1,
            follower + 1
        ),
        Source::Timecode { lead, follower } => {
            format!("timecode {}={}", lead + 1, follower + 1)
        }
        Source::Acoustic => "acoustic".into(),
        Source::Stamps => "stamps".into(),
        Source::Manual(reason) => format!("manual: {reason}"),
    };
    measured
        .ties
        .iter()
        .map(|tie| TieRecord {
            lead: tie.lead.0,
            follower: tie.follower.0,
            sigma: tie.sigma.0,
            used: tie.used,
            source: name(tie),
        })
        .collect()
}

pub fn band(measured: &Measured) -> Vec<[f64; 2]> {
    measured
        .clock
        .knots()
        .iter()
        .map(|knot| [knot.lead.0, knot.sigma.0])
        .collect()
}

/// The takes that no joint take has.
pub fn alone(survey: &Survey, joint_takes: &[JointTake]) -> Vec<AloneTake> {
    let joined: BTreeSet<&str> = joint_takes
        .iter()
        .flat_map(|joint| &joint.members)
        .flat_map(|member| member.parts.iter().map(|part| part.path.as_str()))
        .collect();
    let takes = survey.units.iter().flat_map(|unit| &unit.takes);
    let alone = takes.filter(|take| {
        let mut files = take.parts.iter();
        !files.any(|part| joined.contains(part.path.display().to_string().as_str()))
    });
    alone
        .map(|take| AloneTake {
            unit: take.unit.clone(),
            take: take.name.clone(),
            date: take.date.clone(),
            samples_since_midnight: take.stamp.as_ref().map(|stamp| stamp.samples),
            sample_rate: take.rate.0,
            length_samples: take.length.0,
        })
        .collect()
}

pub fn parts_of(take: &Take) -> Vec<Part> {
    take.parts
        .iter()
        .map(|part| Part {
            path: part.path.display().to_string(),
            first_sample: part.first_sample,
            length_samples: part.length,
            first_channel: part.first_channel as u32 + 1,
            digest: media::digest(&part.path).unwrap_or_default(),
        })
        .collect()
}

pub fn channels_of(take: &Take) -> Vec<Channel> {
    take.channels
        .iter()
        .zip(1..)
        .map(|(name, index)| Channel {
            index,
            name: name.clone(),
        })
        .collect()
}

/// A member before anything is known about it: the lead as it stands, a follower that is not placed.
fn bare_member(take: &Take, role: Role) -> Member {
    let clock = Clock::straight(LeadPos(0.0), Ppm(0.0), take.length.0, take.rate.hz());
    Member {
        unit: take.unit.clone(),
        role,
        take: take.name.clone(),
        length_samples: take.length.0,
        sample_rate: None,
        parts: parts_of(take),
        channels: channels_of(take),
        basis: Basis::None,
        status: Status::NotEstablished,
        offset_samples: 0.0,
        offset_sigma_samples: 0.0,
        offset_bound_samples: 0.0,
        rate_ppm: 0.0,
        rate_sigma_ppm: 0.0,
        rate_measured: false,
        knots: clock
            .knots()
            .iter()
            .map(|knot| [knot.follower.0, knot.lead.0])
            .collect(),
        slips: Vec::new(),
        placement: Placement::NotPlaced,
        findings: Vec::new(),
        decision: None,
        evidence: None,
    }
}

pub fn lead_member(take: &Take) -> Member {
    let mut member = bare_member(take, Role::Lead);
    member.status = Status::Established;
    member.placement = Placement::Exact;
    member.rate_measured = true;
    member
}

pub fn unreadable_member(take: &Take, error: &Error) -> Member {
    let mut member = bare_member(take, Role::Follower);
    member.findings.push(
        Finding::new(
            "take-unreadable",
            Weight::Stop,
            "this take could not be read; not placed",
        )
        .at(take.place())
        .measured(error.to_string(), "a readable take"),
    );
    member
}

/// Writes a member that was measured at the lead's nominal rate down at its own: positions count its own samples. It can
/// only be resampled, whatever its clock.
pub fn at_own_rate(member: &mut Member, take: &Take, lead: &Take) {
    let ratio = take.rate.hz() / lead.rate.hz();
    let own = |position: f64| position * ratio;
    member.sample_rate = Some(take.rate.0);
    member.length_samples = take.length.0;
    for [follower, _] in &mut member.knots {
        *follower = own(*follower);
    }
    // the last knot to the last sample, along the last line
    let last = (take.length.0 as f64 - 1.0).max(0.0);
    if let [.., [k0, n0], [k1, n1]] = &mut member.knots[..]
        && k1 != k0
    {
        let slope = (*n1 - *n0) / (*k1 - *k0);
        (*k1, *n1) = (last, *n0 + slope * (last - *k0));
    }
    for slip in &mut member.slips {
        slip.at_sample = own(slip.at_sample as f64).round() as u64;
        slip.samples = own(slip.samples);
        slip.sigma_samples = own(slip.sigma_samples);
    }
    for tie in member
        .evidence
        .iter_mut()
        .flat_map(|evidence| &mut evidence.ties)
    {
        tie.follower = own(tie.follower);
    }
    let placed = member.placement != Placement::NotPlaced;
    if placed {
        member.placement = Placement::Resampled;
    }
    member.findings.push(
        Finding::new(
            "rates-differ",
            Weight::Warn,
            match placed {
                true => {
                    "the units ran at different sampling rates; this one is brought to the lead's"
                }
                false => "the units ran at different sampling rates",
            },
        )
        .at(take.place())
        .measured(take.rate.to_string(), lead.rate.to_string())
        .because("the units were not set alike")
        .then("set the units alike next time: what need not be resampled stays bit for bit"),
    );
}
