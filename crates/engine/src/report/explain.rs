//! An alignment and a place in it in, the way from that number to its ties in plain words out.

mod built;
mod place;

use std::fmt::Write as _;

pub use built::Built;
use place::{joint_named, member_named};

use super::text::push_finding;
use super::{lag, say, span};
use crate::alignment::{Alignment, Evidence, JointTake, Member, Role, TieRecord};
use crate::clock::Clock;
use crate::error::{Error, Kind, Result};
use crate::units::{LeadPos, UnitPos};

/// How many ties are shown near a place.
const NEAREST: usize = 6;

/// What can be asked of one member.
const TOPICS: &str = "offset, rate, level, clock@TIME, signs, ties, findings";

/// Explains `place`: nothing for what can be asked; `JOINT_TAKE`, `JOINT_TAKE/UNIT`, or `JOINT_TAKE/UNIT/TOPIC` with one
/// of `offset`, `rate`, `level`, `clock@TIME` (time since the lead's first sample, `12:30` or `0:12:30.5`), `signs`, `ties`,
/// `findings`. Of what was built, `JOINT_TAKE/UNIT:CHANNEL`, `JOINT_TAKE/group NAME` and `JOINT_TAKE/UNIT/residual`. Upper
/// and lower case are the same.
///
/// # Errors
/// [`Kind::Usage`] when there is no such place, naming those that are.
pub fn explain(alignment: &Alignment, built: Built<'_>, place: Option<&str>) -> Result<String> {
    let Some(place) = place.map(str::trim).filter(|place| !place.is_empty()) else {
        return Ok(overview(alignment) + &built.overview());
    };
    let (joint, rest) = joint_named(alignment, place)?;
    let Some(rest) = rest else {
        return Ok(joint_story(joint));
    };
    if rest.eq_ignore_ascii_case("findings") {
        return Ok(joint_findings(joint));
    }
    if let Some(text) = built.story(joint, rest)? {
        return Ok(text);
    }
    let (member, topic) = member_named(joint, rest)?;
    member_story(Subject { joint, member }, topic.unwrap_or("").trim())
}

/// One member of one joint take.
#[derive(Clone, Copy)]
struct Subject<'a> {
    joint: &'a JointTake,
    member: &'a Member,
}

fn overview(alignment: &Alignment) -> String {
    let mut text = format!(
        "{} joint takes, measured by {}\n\nask about\n",
        alignment.joint_takes.len(),
        say::name_or(&alignment.made_by, "an unnamed program")
    );
    for joint in &alignment.joint_takes {
        let _ = writeln!(text, "  {}", joint.name);
        for member in &joint.members {
            if member.role == Role::Follower {
                let _ = writeln!(
                    text,
                    "  {}/{}  ({})",
                    joint.name,
                    member.unit,
                    say::claim_words(member, joint)
                );
            }
        }
    }
    let _ = writeln!(text, "\nand behind a unit, with a slash: {TOPICS}");
    for finding in &alignment.findings {
        push_finding(&mut text, finding);
    }
    text
}

fn joint_story(joint: &JointTake) -> String {
    let mut text = super::text::joint_take_text(joint);
    let units: Vec<String> = joint
        .members
        .iter()
        .filter(|member| member.role == Role::Follower)
        .map(|member| format!("{}/{}", joint.name, member.unit))
        .collect();
    if !units.is_empty() {
        let _ = writeln!(
            text,
            "\nask about {}; behind it: {TOPICS}",
            units.join(", ")
        );
    }
    text
}

fn joint_findings(joint: &JointTake) -> String {
    let mut text = format!("findings of {}\n", joint.name);
    for member in &joint.members {
        for finding in member.weighed_findings() {
            let _ = writeln!(text, "  {}", member.unit);
            push_finding(&mut text, &finding);
        }
    }
    if joint
        .members
        .iter()
        .all(|member| member.findings.is_empty())
    {
        text.push_str("  none\n");
    }
    text
}

fn member_story(subject: Subject<'_>, topic: &str) -> Result<String> {
    let Subject { joint, member } = subject;
    let lower = topic.to_lowercase();
    let mut text = format!("{} / {}", joint.name, member.unit);
    if !lower.is_empty() {
        let _ = write!(text, " / {topic}");
    }
    text.push_str("\n\n");
    match lower.as_str() {
        "findings" => {
            if member.findings.is_empty() {
                text.push_str("  no findings\n");
            }
            for finding in member.weighed_findings() {
                push_finding(&mut text, &finding);
            }
            return Ok(text);
        }
        _ if member.role == Role::Lead => {
            text.push_str(
                "  this is the lead: its clock is the one everything is put on; offset 0, rate 0 by definition, \
                 samples copied bit for bit\n",
            );
            if !joint.lead_rule.is_empty() {
                let _ = writeln!(text, "  the lead by rule: {}", joint.lead_rule);
            }
            push_slips(&mut text, subject);
            return Ok(text);
        }
        "" => {
            push_offset(&mut text, subject);
            push_rate(&mut text, subject);
            push_slips(&mut text, subject);
            if say::common_level(member).is_some() {
                push_level(&mut text, member);
            }
            push_story(&mut text, member);
            let _ = writeln!(text, "\nask further, behind a slash: {TOPICS}");
        }
        "offset" => {
            push_offset(&mut text, subject);
            push_story(&mut text, member);
            push_signs(&mut text, member);
            push_near(
                &mut text,
                subject,
                "ties nearest to the follower's first sample",
                UnitPos(0.0),
            );
        }
        "rate" => {
            push_rate(&mut text, subject);
            push_story(&mut text, member);
            push_rate_from_ties(&mut text, subject);
            push_signs(&mut text, member);
        }
        "signs" => push_signs(&mut text, member),
        "level" => push_level(&mut text, member),
        "ties" => push_all_ties(&mut text, subject),
        _ => {
            let time = lower
                .strip_prefix("clock")
                .map(|rest| rest.strip_prefix('@').unwrap_or(rest));
            match time {
                Some(time) => push_clock(&mut text, subject, time_s(time)?),
                None => {
                    return Err(Error::new(
                        Kind::Usage,
                        format!("`{topic}` is nothing a unit can be asked"),
                    )
                    .then(format!("ask for: {TOPICS}")));
                }
            }
        }
    }
    Ok(text)
}

/// Reads `ss`, `mm:ss` or `hh:mm:ss`, the seconds with or without a fraction; nothing is the beginning.
fn time_s(text: &str) -> Result<f64> {
    if text.is_empty() {
        return Ok(0.0);
    }
    let fields: Vec<&str> = text.split(':').collect();
    let mut seconds = 0.0;
    for field in &fields {
        let value: Option<f64> = field.trim().parse().ok();
        match value.filter(|value| value.is_finite() && *value >= 0.0) {
            Some(value) if fields.len() <= 3 => seconds = seconds * 60.0 + value,
            _ => {
                return Err(
                    Error::new(Kind::Usage, format!("`{text}` is no time in the take"))
                        .then("write it as mm:ss or hh:mm:ss since the lead's first sample, e.g. clock@12:30"),
                );
            }
        }
    }
    Ok(seconds)
}

fn push_offset(text: &mut String, Subject { joint, member }: Subject<'_>) {
    let rate = say::rate_of(joint).hz();
    let _ = writeln!(text, "  claim   {}", say::claim_words(member, joint));
    let _ = writeln!(
        text,
        "  basis   {}: {}",
        say::basis(member.basis),
        say::rests_on(member.basis)
    );
    if span::span_of(member, joint).is_some() {
        let _ = writeln!(
            text,
            "  offset  {}, sigma {}: {} from its start; the first sample of {} falls at this position of {}",
            say::samples(member.offset_samples, member.offset_sigma_samples),
            say::three_figures(member.offset_sigma_samples),
            say::clock_time(member.offset_samples / rate),
            member.unit,
            joint.lead
        );
    }
}

fn push_rate(text: &mut String, Subject { joint, member }: Subject<'_>) {
    let _ = writeln!(text, "  rate    {}", say::rate(member));
    if member.rate_measured {
        let samples = member.rate_ppm * 1e-6 * member.length_samples as f64;
        let _ = writeln!(
            text,
            "          {} over its length: {:.1} samples, {}",
            if samples < 0.0 {
                "it wrote fewer"
            } else {
                "it wrote more"
            },
            samples.abs(),
            say::short_time(samples.abs() / say::rate_of(joint).hz())
        );
    }
}

fn push_slips(text: &mut String, Subject { joint, member }: Subject<'_>) {
    for words in say::slips(member, joint) {
        let _ = writeln!(text, "  slip    {words}");
    }
}

fn push_level(text: &mut String, member: &Member) {
    match say::common_level(member) {
        Some(words) => {
            let _ = writeln!(
                text,
                "  level   common signal {words}\n          other inputs were not compared; nothing was changed"
            );
        }
        None => text.push_str("  level   not compared: it takes a common signal on both units\n"),
    }
}

fn push_story(text: &mut String, member: &Member) {
    let story = member.evidence.as_ref().map_or(&[][..], |e| &e.story);
    text.push_str("\nhow it came about\n");
    for sentence in story {
        let _ = writeln!(text, "  - {sentence}");
    }
    if story.is_empty() {
        text.push_str("  - nothing was kept in the file\n");
    }
    for [offset, score] in member.evidence.iter().flat_map(|e| &e.candidates) {
        let _ = writeln!(
            text,
            "  - {offset:+.0} samples would fit too, {score:.2} as well as the best"
        );
    }
}

fn push_signs(text: &mut String, member: &Member) {
    text.push_str("\nsigns asked\n");
    let signs = member.evidence.as_ref().map_or(&[][..], |e| &e.signs);
    for sign in signs {
        let _ = writeln!(
            text,
            "  {}  {}: {} (limit {})",
            if sign.passed { "passed" } else { "failed" },
            sign.name,
            say::three_figures(sign.value),
            say::three_figures(sign.limit)
        );
    }
    if signs.is_empty() {
        text.push_str("  none\n");
    }
}

fn evidence_of<'a>(text: &mut String, member: &'a Member) -> Option<(&'a Evidence, Clock)> {
    let evidence = member.evidence.as_ref().filter(|e| !e.ties.is_empty());
    let Some(evidence) = evidence else {
        text.push_str("\nno ties: this rests on no measurement of sound\n");
        return None;
    };
    let Some(clock) = lag::clock_of(member) else {
        text.push_str(
            "\nthe knots in this file do not rise: there is no clock to compare the ties with\n",
        );
        return None;
    };
    Some((evidence, clock))
}

fn push_rate_from_ties(text: &mut String, Subject { member, .. }: Subject<'_>) {
    let Some((evidence, clock)) = evidence_of(text, member) else {
        return;
    };
    let used: Vec<&TieRecord> = evidence.ties.iter().filter(|tie| tie.used).collect();
    if let [first, .., last] = used[..] {
        let lead = last.lead - first.lead;
        let follower = last.follower - first.follower;
        let _ = writeln!(
            text,
            "\nfrom the first used tie to the last\n  {lead:.3} samples of the lead are {follower:.3} of {}: {:+.4} ppm",
            member.unit,
            1e6 * (follower / lead - 1.0)
        );
    }
    push_ties(text, "first and last used ties", &clock, &ends(&used));
    push_count(text, evidence);
}

fn ends<'a>(used: &[&'a TieRecord]) -> Vec<&'a TieRecord> {
    let half = NEAREST / 2;
    match used.len() {
        many if many > NEAREST => [&used[..half], &used[many - half..]].concat(),
        _ => used.to_vec(),
    }
}

fn push_near(text: &mut String, subject: Subject<'_>, heading: &str, at: UnitPos) {
    let Some((evidence, clock)) = evidence_of(text, subject.member) else {
        return;
    };
    push_ties(
        text,
        heading,
        &clock,
        &nearest(&evidence.ties, clock.lead_at(at)),
    );
    push_count(text, evidence);
}

fn nearest(ties: &[TieRecord], lead: LeadPos) -> Vec<&TieRecord> {
    let mut order: Vec<&TieRecord> = ties.iter().collect();
    order.sort_by(|a, b| (a.lead - lead.0).abs().total_cmp(&(b.lead - lead.0).abs()));
    order.truncate(NEAREST);
    order.sort_by(|a, b| a.lead.total_cmp(&b.lead));
    order
}

fn push_all_ties(text: &mut String, Subject { member, .. }: Subject<'_>) {
    if let Some((evidence, clock)) = evidence_of(text, member) {
        let ties: Vec<&TieRecord> = evidence.ties.iter().collect();
        push_ties(text, "all ties", &clock, &ties);
        push_count(text, evidence);
    }
}

fn push_ties(text: &mut String, heading: &str, clock: &Clock, ties: &[&TieRecord]) {
    let _ = writeln!(
        text,
        "\n{heading}\n  {:>16}  {:>16}  {:>8}  {:>10}  {:8}  source",
        "lead position", "follower", "sigma", "from clock", ""
    );
    for tie in ties {
        let _ = writeln!(
            text,
            "  {:>16.3}  {:>16.3}  {:>8.4}  {:>+10.4}  {:8}  {}",
            tie.lead,
            tie.follower,
            tie.sigma,
            lag::from_clock(tie, clock),
            if tie.used { "used" } else { "not used" },
            tie.source
        );
    }
}

fn push_count(text: &mut String, evidence: &Evidence) {
    let used = evidence.ties.iter().filter(|tie| tie.used).count();
    let _ = writeln!(
        text,
        "  {used} of {} ties used; scatter about the clock {} samples rms",
        evidence.ties.len(),
        say::three_figures(evidence.residual_rms_samples)
    );
}

fn push_clock(text: &mut String, subject: Subject<'_>, time_s: f64) {
    let Subject { joint, member } = subject;
    let Some(clock) = lag::clock_of(member) else {
        text.push_str("  no clock: the knots in this file do not rise\n");
        return;
    };
    let lead = LeadPos(time_s * say::rate_of(joint).hz());
    let follower = clock.follower_at(lead);
    let own_rate = f64::from(member.sample_rate.unwrap_or(joint.sample_rate));
    let _ = writeln!(
        text,
        "  at {} of {}, lead position {:.0}\n  {} is at its own position {:.3}, {}",
        say::clock_time(time_s),
        joint.name,
        lead.0,
        member.unit,
        follower.0,
        say::clock_time(follower.0 / own_rate)
    );
    let outside = follower.0 < 0.0 || follower.0 > member.length_samples as f64;
    if outside {
        let _ = writeln!(
            text,
            "  which is outside its take: silence in the recording"
        );
    }
    let knots = clock.knots();
    let after = knots.partition_point(|knot| knot.lead.0 <= lead.0);
    let end = after.clamp(1, knots.len() - 1);
    text.push_str("\nknots on both sides\n");
    for knot in &knots[end - 1..=end] {
        let _ = writeln!(
            text,
            "  lead {:>16.4}   {} {:>16.4}",
            knot.lead.0, member.unit, knot.follower.0
        );
    }
    push_near(text, subject, "ties nearest in time", follower);
}

#[cfg(test)]
mod tests;
