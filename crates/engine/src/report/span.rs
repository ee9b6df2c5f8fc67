//! A joint take in, which stretch of the lead's time each member covers out.

use super::say;
use crate::alignment::{JointTake, Member, Role, Status};
use crate::units::counted;

/// The stretch one member covers, on the lead's clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    /// The lead position of its first sample.
    pub first: f64,
    /// The lead position just after its last sample.
    pub end: f64,
}

impl Span {
    /// Its length, samples of the lead's.
    pub fn length(self) -> f64 {
        self.end - self.first
    }

    /// What it shares with `other`; `None` when nothing.
    pub fn shared(self, other: Self) -> Option<Self> {
        let both = Self {
            first: self.first.max(other.first),
            end: self.end.min(other.end),
        };
        (both.length() > 0.0).then_some(both)
    }
}

/// The stretch `member` covers; `None` when its place is not known.
pub fn span_of(member: &Member, joint: &JointTake) -> Option<Span> {
    if member.role == Role::Lead {
        return Some(lead_span(joint));
    }
    if member.status == Status::NotEstablished {
        return None;
    }
    let (first, end) = match (member.knots.first(), member.knots.last()) {
        (Some([_, first]), Some([_, last])) => (*first, last + 1.0),
        _ => (
            member.offset_samples,
            member.offset_samples + member.length_samples as f64,
        ),
    };
    (first.is_finite() && end.is_finite() && end > first).then_some(Span { first, end })
}

/// The lead's own stretch.
pub fn lead_span(joint: &JointTake) -> Span {
    Span {
        first: 0.0,
        end: joint.length_samples as f64,
    }
}

/// From the first sample of any member to the last of any.
pub fn whole(joint: &JointTake) -> Span {
    joint
        .members
        .iter()
        .filter_map(|member| span_of(member, joint))
        .fold(lead_span(joint), |all, span| Span {
            first: all.first.min(span.first),
            end: all.end.max(span.end),
        })
}

/// What a member lacks of the lead's stretch, in words: `starts 12.400 s late; stops 3.000 s early`.
pub fn lacks(span: Span, joint: &JointTake) -> String {
    let rate = say::rate_of(joint).hz();
    let lead = lead_span(joint);
    let late = span.first - lead.first;
    let early = lead.end - span.end;
    let say = |samples: f64, lacking: &str, beyond: &str| {
        let whole = samples.abs().round();
        (whole >= 1.0).then(|| {
            let word = if samples > 0.0 { lacking } else { beyond };
            format!("{word} ({})", counted(whole as usize, "sample"))
                .replace("{}", &format!("{:.3} s", samples.abs() / rate))
        })
    };
    let parts: Vec<String> = [
        say(
            late,
            "starts {} after the lead",
            "starts {} before the lead",
        ),
        say(
            early,
            "stops {} before the lead",
            "runs on {} after the lead",
        ),
    ]
    .into_iter()
    .flatten()
    .collect();
    match parts.is_empty() {
        true => "covers all of it".into(),
        false => parts.join("; "),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    #[test]
    fn a_late_start_and_an_early_stop_are_told_in_samples() {
        let mut joint = sample::stamps();
        joint.length_samples = 4_800_000;
        joint.members[1].knots = vec![[0.0, 595_200.0], [4_060_799.0, 4_655_999.0]];
        let span = span_of(&joint.members[1], &joint).expect("a place");
        assert_eq!(
            lacks(span, &joint),
            "starts 12.400 s after the lead (595200 samples); stops 3.000 s before the lead (144000 samples)"
        );
    }

    #[test]
    fn what_is_not_established_covers_nothing() {
        let joint = sample::not_established();
        assert_eq!(span_of(&joint.members[1], &joint), None);
        assert_eq!(whole(&joint), lead_span(&joint));
    }
}
