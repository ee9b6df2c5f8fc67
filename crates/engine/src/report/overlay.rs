//! Lead and follower after alignment in, three short stretches laid over each other out: near the start, the middle and
//! the end of what both recorded, each around the strongest onset found there.

use super::say;
use super::span::{self, Span};
use crate::alignment::{JointTake, Member};
use crate::error::Result;

/// How long a stretch is shown, seconds: long enough for one onset, short enough to see a sample.
const SHOWN_S: f64 = 0.004;
/// How much sound is searched for an onset at each place, seconds.
const SEARCHED_S: f64 = 10.0;
/// The window in which an onset is weighed, seconds.
const WINDOW_S: f64 = 0.002;
/// Below this peak a stretch holds nothing worth comparing: -80 dB relative to full scale.
const SILENCE: f64 = 1e-4;

/// A short stretch of lead and follower laid over each other.
#[derive(Debug, Clone, PartialEq)]
pub struct Overlay {
    /// The follower it belongs to.
    pub follower: String,
    /// Where it is: `start`, `middle`, `end`.
    pub title: String,
    /// The lead position of its first sample.
    pub first_lead_position: i64,
    /// The lead's samples; empty when there was no signal.
    pub lead: Excerpt,
    /// The follower's samples at the same lead positions.
    pub followed: Excerpt,
    /// Whether both are one electrical signal; different microphones rightly keep the sound's way between them.
    pub one_signal: bool,
}

/// A channel's samples over a stretch.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Excerpt {
    /// 1-based channel on its unit.
    pub channel: u32,
    /// The channel's name; empty when it has none.
    pub name: String,
    /// Samples, full scale 1.
    pub samples: Vec<f64>,
}

/// What overlays are made from.
pub struct OverlayRequest<'a> {
    /// The joint take.
    pub joint_take: &'a JointTake,
    /// Which of its members is the follower.
    pub follower: usize,
    /// The samples of a member (by place in the joint take) and its 1-based channel from a lead position on, as they
    /// come to the output.
    pub read: &'a dyn Fn(usize, u32, i64, usize) -> Result<Vec<f64>>,
}

/// Three overlays of one follower: near the start, the middle and the end of what it shares with the lead. Fewer when
/// they share less than a hundredth of a second; none when the follower has no place.
///
/// # Errors
/// What `read` returns.
pub fn overlays(request: &OverlayRequest<'_>) -> Result<Vec<Overlay>> {
    let joint = request.joint_take;
    let Some(follower) = joint.members.get(request.follower) else {
        return Ok(Vec::new());
    };
    let lead_index = joint
        .members
        .iter()
        .position(|member| member.unit == joint.lead);
    let shared =
        span::span_of(follower, joint).and_then(|span| span.shared(span::lead_span(joint)));
    let (Some(lead_index), Some(shared)) = (lead_index, shared) else {
        return Ok(Vec::new());
    };
    let rate = say::rate_of(joint).hz();
    let shown = (SHOWN_S * rate).round().max(1.0) as usize;
    if shared.length() < shown as f64 {
        return Ok(Vec::new());
    }
    let pair = Pair::of(request, lead_index, shared)?;
    places(shared, rate)
        .into_iter()
        .map(|(title, place)| overlay(request, &pair, title, place, shown))
        .collect()
}

/// The three stretches to search: they do not overlap unless what is shared is short.
pub(super) fn places(shared: Span, rate: f64) -> [(&'static str, Span); 3] {
    let long = (SEARCHED_S * rate)
        .min(shared.length() / 3.0)
        .max(SHOWN_S * rate);
    let middle = shared.first + (shared.length() - long) / 2.0;
    let at = |first: f64| Span {
        first,
        end: first + long,
    };
    [
        ("start", at(shared.first)),
        ("middle", at(middle)),
        ("end", at(shared.end - long)),
    ]
}

/// The two channels that are compared.
pub(super) struct Pair {
    pub(super) lead_index: usize,
    pub(super) lead_channel: u32,
    pub(super) follower_channel: u32,
    /// Whether they carry one electrical signal.
    one_signal: bool,
}

impl Pair {
    /// The channels of the common signal that the ties name.
    pub(super) fn named(request: &OverlayRequest<'_>, lead_index: usize) -> Option<Self> {
        let members = &request.joint_take.members;
        let (lead, follower) = (&members[lead_index], &members[request.follower]);
        let has = |member: &Member, index: u32| {
            member.channels.iter().any(|channel| channel.index == index)
        };
        let (lead_channel, follower_channel) = common_channels(follower)
            .filter(|(own, followed)| has(lead, *own) && has(follower, *followed))?;
        Some(Self {
            lead_index,
            lead_channel,
            follower_channel,
            one_signal: true,
        })
    }

    /// The channels of the common signal that the ties name; otherwise the loudest of each unit in the middle.
    fn of(request: &OverlayRequest<'_>, lead_index: usize, shared: Span) -> Result<Self> {
        if let Some(named) = Self::named(request, lead_index) {
            return Ok(named);
        }
        let joint = request.joint_take;
        let rate = say::rate_of(joint).hz();
        let first = (shared.first + shared.length() / 2.0).floor() as i64;
        let length = shared.length().min(rate).max(2.0) as usize / 2;
        let loudest = |index: usize| -> Result<u32> {
            let mut best = (f64::NEG_INFINITY, 1);
            for channel in &joint.members[index].channels {
                let samples = (request.read)(index, channel.index, first, length)?;
                let energy: f64 = samples.iter().map(|sample| sample * sample).sum();
                if energy > best.0 {
                    best = (energy, channel.index);
                }
            }
            Ok(best.1)
        };
        Ok(Self {
            lead_index,
            lead_channel: loudest(lead_index)?,
            follower_channel: loudest(request.follower)?,
            one_signal: false,
        })
    }
}

/// The channels, lead's and follower's, of the tie source `common-signal 6=6`.
fn common_channels(member: &Member) -> Option<(u32, u32)> {
    let ties = &member.evidence.as_ref()?.ties;
    ties.iter().filter(|tie| tie.used).find_map(|tie| {
        let pair = tie.source.strip_prefix("common-signal ")?;
        let (lead, follower) = pair.split_once('=')?;
        Some((lead.trim().parse().ok()?, follower.trim().parse().ok()?))
    })
}

fn overlay(
    request: &OverlayRequest<'_>,
    pair: &Pair,
    title: &str,
    place: Span,
    shown: usize,
) -> Result<Overlay> {
    let joint = request.joint_take;
    let follower = &joint.members[request.follower];
    let rate = say::rate_of(joint).hz();
    let searched_first = place.first.ceil() as i64;
    let searched = (request.read)(
        pair.lead_index,
        pair.lead_channel,
        searched_first,
        place.length().floor().max(0.0) as usize,
    )?;
    let window = (WINDOW_S * rate).round().max(1.0) as usize;
    let onset = strongest_onset(&searched, window);
    // a fifth of what is shown stands before the onset
    let latest = searched.len().saturating_sub(shown);
    let begin = onset
        .unwrap_or(latest / 2)
        .saturating_sub(shown / 5)
        .min(latest);
    let first_lead_position = searched_first + begin as i64;
    let lead_samples = searched.get(begin..(begin + shown).min(searched.len()));
    let followed = (request.read)(
        request.follower,
        pair.follower_channel,
        first_lead_position,
        shown,
    )?;
    let excerpt = |member: &Member, channel: u32, samples: Vec<f64>| Excerpt {
        channel,
        name: member
            .channels
            .iter()
            .find(|one| one.index == channel)
            .map(|one| one.name.clone())
            .unwrap_or_default(),
        samples: if onset.is_some() { samples } else { Vec::new() },
    };
    Ok(Overlay {
        follower: follower.unit.clone(),
        title: title.into(),
        first_lead_position,
        lead: excerpt(
            &joint.members[pair.lead_index],
            pair.lead_channel,
            lead_samples.unwrap_or_default().to_vec(),
        ),
        followed: excerpt(follower, pair.follower_channel, followed),
        one_signal: pair.one_signal,
    })
}

/// Where the energy of the differences between neighbouring samples rises most from one window to the next; `None` in
/// silence.
fn strongest_onset(samples: &[f64], window: usize) -> Option<usize> {
    let peak = samples
        .iter()
        .fold(0.0, |peak: f64, sample| peak.max(sample.abs()));
    if !(peak.is_finite() && peak > SILENCE) || samples.len() < 2 {
        return None;
    }
    let change: Vec<f64> = samples
        .chunks(window)
        .map(|chunk| chunk.windows(2).map(|two| (two[1] - two[0]).powi(2)).sum())
        .collect();
    let rise = |index: usize| match index {
        0 => 0.0,
        _ => change[index] - change[index - 1],
    };
    (0..change.len())
        .max_by(|a, b| rise(*a).total_cmp(&rise(*b)))
        .map(|index| index * window)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    /// A click of 8 samples at `at`, on channel 3 of both members; nothing else but a faint tone on channel 1.
    fn click(at: i64) -> impl Fn(usize, u32, i64, usize) -> Result<Vec<f64>> {
        move |_member, channel, first, length| {
            Ok((first..first + length as i64)
                .map(|n| match channel {
                    3 if (at..at + 8).contains(&n) => 0.5,
                    1 => 1e-3 * (n as f64 * 0.1).sin(),
                    _ => 0.0,
                })
                .collect())
        }
    }

    #[test]
    fn the_onset_is_found_on_the_common_signal() {
        let joint = sample::common_signal();
        let read = click(49_440 + 123_456);
        let found = overlays(&OverlayRequest {
            joint_take: &joint,
            follower: 1,
            read: &read,
        })
        .expect("sound in memory");
        let titles: Vec<&str> = found.iter().map(|one| one.title.as_str()).collect();
        assert_eq!(titles, ["start", "middle", "end"]);
        let start = &found[0];
        assert!(start.one_signal && start.lead.channel == 3 && start.followed.channel == 3);
        let at = start
            .lead
            .samples
            .iter()
            .position(|sample| *sample == 0.5)
            .expect("the click");
        assert_eq!(start.first_lead_position + at as i64, 49_440 + 123_456);
        assert_eq!(start.lead.samples, start.followed.samples);
        assert_eq!(start.lead.samples.len(), 192);
        // elsewhere the channel is silent: said, not drawn
        assert!(found[1].lead.samples.is_empty() && found[2].followed.samples.is_empty());
    }

    #[test]
    fn different_microphones_are_compared_on_their_loudest_channels() {
        let joint = sample::stamps();
        let read = click(1_000_000);
        let found = overlays(&OverlayRequest {
            joint_take: &joint,
            follower: 1,
            read: &read,
        })
        .expect("sound in memory");
        assert_eq!(found.len(), 3);
        assert!(!found[0].one_signal);
        assert_eq!((found[1].lead.channel, found[1].followed.channel), (1, 1));
    }

    #[test]
    fn without_a_place_there_is_nothing_to_lay_over() {
        let joint = sample::not_established();
        let read = click(0);
        for follower in [1, 7] {
            let request = OverlayRequest {
                joint_take: &joint,
                follower,
                read: &read,
            };
            assert_eq!(overlays(&request).expect("nothing"), Vec::new());
        }
    }
}
