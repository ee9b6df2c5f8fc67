//! An alignment in, a few lines for the terminal out. Plain text: colour and width are the front end's.

use std::fmt::Write as _;

use super::{say, span};
use crate::alignment::{Alignment, JointTake, Member, Role, Status};
use crate::finding::{Finding, Weight};

/// A whole alignment: a line for the count, the lines of every joint take, and what concerns none of them.
#[must_use]
pub fn alignment_text(alignment: &Alignment) -> String {
    let joints = &alignment.joint_takes;
    let mut text = match joints.len() {
        0 => "no joint take\n".to_string(),
        1 => "1 joint take\n".to_string(),
        many => format!("{many} joint takes\n"),
    };
    for joint in joints {
        text.push('\n');
        text.push_str(&joint_take_text(joint));
    }
    if !alignment.findings.is_empty() {
        text.push_str("\nbesides\n");
        for finding in &alignment.findings {
            push_finding(&mut text, finding);
        }
    }
    text
}

/// One joint take: what ran together, each member's claim, offset, rate and placement, and what is more than a note.
#[must_use]
pub fn joint_take_text(joint: &JointTake) -> String {
    let rate = say::rate_of(joint).hz();
    let mut text = format!(
        "{}  {}  {} at {} Hz\n",
        joint.name,
        say::name_or(&joint.start.timecode, "no label"),
        say::length_of_time(joint.length_samples as f64 / rate),
        joint.sample_rate
    );
    for member in &joint.members {
        push_member(&mut text, member, joint);
    }
    text
}

fn push_member(text: &mut String, member: &Member, joint: &JointTake) {
    let channels = match member.channels.len() {
        1 => "1 channel".into(),
        many => format!("{many} channels"),
    };
    let (unit, placed) = (&member.unit, say::placement_of(member));
    if member.role == Role::Lead {
        let _ = writeln!(text, "  {unit}  lead, {channels}, {placed}");
        if !joint.lead_rule.is_empty() {
            let _ = writeln!(text, "    the lead by rule: {}", joint.lead_rule);
        }
    } else {
        let _ = writeln!(text, "  {unit}  {channels}, {placed}");
        let _ = writeln!(text, "    {}", say::claim_words(member, joint));
        if member.status != Status::NotEstablished {
            let _ = writeln!(
                text,
                "    offset {} ({})",
                say::samples(member.offset_samples, member.offset_sigma_samples),
                say::clock_time(member.offset_samples / say::rate_of(joint).hz())
            );
            let _ = writeln!(text, "    rate {}", say::rate(member));
        }
        if let Some(words) = say::common_level(member) {
            let _ = writeln!(text, "    common signal {words}");
        }
        if let Some(span) = span::span_of(member, joint) {
            let _ = writeln!(text, "    {}", span::lacks(span, joint));
        }
    }
    for finding in member.weighed_findings() {
        if finding.weight > Weight::Note {
            push_finding(text, &finding);
        }
    }
}

/// A finding as one or two lines: its weight, sentence, figures; then what to do.
pub fn push_finding(text: &mut String, finding: &Finding) {
    let _ = write!(
        text,
        "    {}: {}",
        say::weight(finding.weight),
        finding.message
    );
    if !finding.place.is_empty() {
        let _ = write!(text, " [{}]", finding.place);
    }
    if !finding.value.is_empty() {
        let _ = write!(text, " ({}", finding.value);
        if !finding.limit.is_empty() {
            let _ = write!(text, "; allowed {}", finding.limit);
        }
        text.push(')');
    }
    text.push('\n');
    if !finding.cause.is_empty() {
        let _ = writeln!(text, "      likely cause: {}", finding.cause);
    }
    if !finding.next_step.is_empty() {
        let _ = writeln!(text, "      next: {}", finding.next_step);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    #[test]
    fn three_joint_takes_in_a_few_lines() {
        insta::assert_snapshot!(alignment_text(&sample::alignment()), @r#"
        3 joint takes

        evening-02  10:00:00:00  5 min 00 s at 48000 Hz
          NORTH  lead, 3 channels, bit for bit
          SOUTH  3 channels, resampled once
            measured on a common electrical signal, ±0.010 samples, ±0.208 µs
            offset +49440.0000 samples (00:00:01.030)
            rate +7.3100 ppm (sigma 0.0040)
            common signal -0.70 dB (sigma 0.02) against NORTH, inverted (NORTH channel 3 and SOUTH channel 3 only)
            starts 1.030 s after the lead (49440 samples); runs on 1.028 s after the lead (49335 samples)

        evening-03  10:00:00:00  5 min 00 s at 48000 Hz
          NORTH  lead, 3 channels, bit for bit
          SOUTH  2 channels, resampled once
            placed by the units' stamps, good to one timecode frame (±1600 samples, ±33.3 ms)
            offset +595200 samples (00:00:12.400)
            rate -3.200 ppm (sigma 0.020)
            starts 12.400 s after the lead (595200 samples); runs on 12.401 s after the lead (595246 samples)

        evening-04  10:00:00:00  5 min 00 s at 48000 Hz
          NORTH  lead, 3 channels, bit for bit
          SOUTH  1 channel, not in the recording
            not established: nothing reliable was found and nothing was shifted
            ask: where this follower lies on the lead's clock could not be established
              likely cause: the sound repeats every 0.5 s
              next: give an instant with --tie UNIT@POS=UNIT@POS

        besides
            warn: no other unit ran during this take [SOUTH T09]
        "#);
    }
}
