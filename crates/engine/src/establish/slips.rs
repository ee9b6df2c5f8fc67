//! Slips that were measured in, what the alignment holds of them out: its own records, and one finding for each.

use super::claim::Claim;
use crate::alignment::{Member, Slip as Record, Status};
use crate::clock::slips::{parted, seams};
use crate::clock::{Clock, Measured, Side, Slip};
use crate::finding::{Finding, Weight};
use crate::signal::{Seam, Seams};
use crate::take::Take;
use crate::units::{LeadPos, Ppm, SampleRate};

/// One sigma of a size up to which the whole number is taken for sure, samples: two sigma are half a sample.
const SURE: f64 = 0.25;

/// The slips of the follower's file as the alignment holds them.
pub fn records(slips: &[Slip], side: Side) -> Vec<Record> {
    let certain = slips
        .iter()
        .filter(|slip| slip.certain && slip.side == side);
    certain
        .map(|slip| Record {
            at_sample: slip.at,
            samples: slip.samples as f64,
            sigma_samples: slip.sigma.0,
        })
        .collect()
}

/// A finding for each slip of `side`, and for those only possible.
pub fn findings(slips: &[Slip], side: Side, rate: SampleRate) -> Vec<Finding> {
    let told = slips
        .iter()
        .filter(|slip| slip.side == side || !slip.certain);
    told.map(|slip| finding(slip, rate)).collect()
}

fn finding(slip: &Slip, rate: SampleRate) -> Finding {
    let at = slip.at as f64 / rate.hz();
    let many = slip.samples.unsigned_abs();
    let samples = if many == 1 { "sample" } else { "samples" };
    let (is, stands) = if many == 1 {
        ("is", "one")
    } else {
        ("are", "that length")
    };
    let when = clock_time(at);
    let within = 3.0 * slip.at_sigma.0 / rate.hz() * 1e3;
    let place = format!("sample {} (±{within:.1} ms)", slip.at);
    let whose = match slip.side {
        Side::Lead => "the lead's file",
        Side::Follower => "the file",
    };
    let measured = |finding: Finding| {
        let value = format!("{:+} {samples} ±{:.3}", slip.samples, 3.0 * slip.sigma.0);
        finding.measured(value, "0").at(place)
    };
    if !slip.certain {
        return measured(
            Finding::new(
                "slip-possible",
                Weight::Warn,
                format!("a slip of about {many} {samples} is possible at {when}; nothing was done about it"),
            )
            .because("a card that was too slow for a moment, or a source or microphone that moved")
            .then("listen there; record a common signal next time: it tells a slip of one sample"),
        );
    }
    let (code, message) = if slip.samples < 0 {
        (
            "samples-missing",
            format!(
                "{many} {samples} {is} missing from {whose} at {when}; silence of {stands} stands there"
            ),
        )
    } else {
        (
            "samples-doubled",
            format!(
                "{many} {samples} {is} in {whose} twice at {when}; the second time was left out"
            ),
        )
    };
    let next = match slip.side {
        Side::Lead => {
            "mend the sound there by hand; with --lead another unit without slips can give the clock"
        }
        Side::Follower => "mend the sound there by hand if it can be heard; check the unit's card",
    };
    measured(
        Finding::new(code, Weight::Warn, message)
            .because("the unit's card was too slow for a moment, or its file was cut")
            .then(next),
    )
}

/// `20:00.000`, from the take's first sample on.
fn clock_time(seconds: f64) -> String {
    let thousandths = (seconds * 1e3).round().max(0.0) as u64;
    let (minutes, rest) = (thousandths / 60_000, thousandths % 60_000);
    format!("{minutes:02}:{:02}.{:03}", rest / 1000, rest % 1000)
}

/// A slip whose size is not sure to a sample asks for a decision: what comes after it may be a sample off.
pub fn ask_about_sizes(claim: &mut Claim) {
    let slips = claim.measured.as_ref().map_or(&[][..], |m| &m.slips);
    let unsure = slips
        .iter()
        .filter(|slip| slip.certain && slip.sigma.0 > SURE);
    let Some(worst) = unsure.max_by(|a, b| a.sigma.0.total_cmp(&b.sigma.0)) else {
        return;
    };
    let finding = Finding::new(
        "slip-size-unsure",
        Weight::Ask,
        format!(
            "the size of the slip at sample {} is not sure to a sample; what comes after it may be off",
            worst.at
        ),
    )
    .measured(
        format!("{:+} ±{:.1} samples", worst.samples, 3.0 * worst.sigma.0),
        format!("±{:.1}", 3.0 * SURE),
    )
    .because("no common signal, and a room whose sound does not tell it better")
    .then(
        "listen; if it will do, set this member's \"status\" to \"established\" in alignment.json and run \
         `commontime build`",
    );
    claim.findings.push(finding);
    if claim.status == Status::Established {
        claim.status = Status::NeedsDecision;
    }
}

/// What a measurement says of the lead's file, in positions of that file; `lead` is what was already known of it.
pub fn on_lead(measured: &Measured, lead: &Seams) -> Vec<Slip> {
    let found = measured
        .slips
        .iter()
        .filter(|slip| slip.certain && slip.side == Side::Lead);
    found
        .map(|slip| Slip {
            at: lead.own(slip.at as f64).max(0.0) as u64,
            ..*slip
        })
        .collect()
}

/// Writes the slips of the lead's file into its member: its clock goes on where the file lacks samples.
pub fn mend_lead(member: &mut Member, take: &Take, slips: &[Slip]) {
    let own: Vec<Seam> = seams(slips, Side::Lead);
    if own.is_empty() {
        return;
    }
    let length = take.length.0;
    let known = Seams::new(&own, length);
    let clock = Clock::straight(LeadPos(0.0), Ppm(0.0), known.length(), take.rate.hz());
    member.knots = parted(&clock, &own, &known, length)
        .knots()
        .iter()
        .map(|knot| [knot.follower.0, knot.lead.0])
        .collect();
    member.slips = records(slips, Side::Lead);
    member
        .findings
        .extend(findings(slips, Side::Lead, take.rate));
}

/// Another unit could give the clock better when the lead slips and a follower does not.
pub fn other_lead(members: &[Member]) -> Option<Finding> {
    let (lead, followers) = members.split_first()?;
    let better = followers
        .iter()
        .find(|member| member.slips.is_empty() && member.rate_measured)?;
    (!lead.slips.is_empty()).then(|| {
        Finding::new(
            "lead-slips",
            Weight::Warn,
            format!(
                "samples are missing from, or doubled in, the file of the lead; {} has no slips",
                better.unit
            ),
        )
        .measured(format!("{} slips", lead.slips.len()), "0")
        .because("the lead's card was too slow for a moment")
        .then(format!("join again with --lead {}", better.unit))
    })
}
