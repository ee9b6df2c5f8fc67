//! The quality of a recording's channels in, findings out. Limits are common practice, no source, unless said otherwise.

use crate::alignment::Member;
use crate::build::{MeasuredChannel, TakeQuality};
use crate::finding::{Finding, Weight};
use crate::quality::{Pair, Runs};
use crate::units::counted;

/// A mean further from 0 is worth a word: -60 dBFS.
const OFFSET: f64 = 0.001;
/// Hum above this is heard in quiet places, dBFS RMS.
const HUM_HEARD_DBFS: f64 = -70.0;
/// Two channels that differ by less than this are one sound, dB below either.
const DOUBLED_DB: f64 = -40.0;
/// A channel that stays below this, and so far below the middle one of all, has no microphone, dBFS RMS and dB.
pub(crate) const DEAD_DBFS: f64 = -75.0;
const DEAD_BELOW_DB: f64 = 30.0;

/// What the quality of the channels of a joint take of `members` says.
pub(super) fn findings(members: &[Member], quality: &TakeQuality) -> Vec<Finding> {
    let mut levels: Vec<f64> = quality
        .channels
        .iter()
        .filter_map(|channel| channel.quality.rms_dbfs)
        .collect();
    let middle = crate::signal::median(&mut levels);
    let channels = quality.channels.iter();
    let mut findings: Vec<Finding> = channels
        .flat_map(|channel| of_channel(quality, channel, middle))
        .collect();
    findings.extend(off_centre(quality));
    findings.extend(coded(quality));
    let pairs = quality.pairs.iter();
    findings.extend(pairs.filter_map(|pair| doubled(members, quality, pair)));
    findings
}

fn of_channel(take: &TakeQuality, channel: &MeasuredChannel, middle: Option<f64>) -> Vec<Finding> {
    let quality = &channel.quality;
    let mut findings = Vec::new();
    let found = |runs: &Runs, of: &str| {
        let first = runs.first.first().map_or(0, |run| run[0]);
        format!(
            "{} runs{of}, the longest {} samples, first at {:.3} s",
            runs.count,
            runs.longest,
            first as f64 / f64::from(take.sample_rate)
        )
    };
    if quality.clips.count > 0 {
        findings.push(
            Finding::new("clipped", Weight::Warn, "samples in a row at full scale")
                .measured(found(&quality.clips, ""), "fewer than three in a row")
                .because("the converter or the gain before it was driven too far")
                .then("listen there; what is flat cannot be brought back by turning it down"),
        );
    }
    if quality.drop_outs.count > 0 {
        findings.push(
            Finding::new("drop-outs", Weight::Warn, "sound breaks off for moments")
                .measured(found(&quality.drop_outs, " of zeros"), "none")
                .because("a digital input that lost its clock, a radio link, or a bad connection")
                .then("listen there; mend it with another channel"),
        );
    }
    if let Some(hum) = &quality.hum {
        let weight = if hum.level_dbfs > HUM_HEARD_DBFS {
            Weight::Warn
        } else {
            Weight::Note
        };
        let found = format!(
            "{:.1} dBFS in {} lines on multiples of {:.2} Hz",
            hum.level_dbfs,
            hum.lines.len(),
            hum.found_hz
        );
        findings.push(
            Finding::new(
                "mains-hum",
                weight,
                format!("mains hum of {} Hz", hum.mains_hz),
            )
            .measured(found, format!("below {HUM_HEARD_DBFS:.0} dBFS"))
            .because("a cable beside a mains cable, a ground loop, or lighting")
            .then("narrow notches at these lines take it out"),
        );
    }
    let below = middle
        .zip(quality.rms_dbfs)
        .map(|(middle, own)| middle - own);
    if let (Some(level), Some(below)) = (quality.rms_dbfs, below)
        && level < DEAD_DBFS
        && below > DEAD_BELOW_DB
    {
        findings.push(
            Finding::new(
                "dead-channel",
                Weight::Warn,
                "nothing but the input's own noise",
            )
            .measured(
                format!("{level:.1} dBFS RMS, {below:.0} dB below the middle one of all channels"),
                format!("above {DEAD_DBFS:.0} dBFS"),
            )
            .because("no microphone, no phantom power, or a gain that was left down")
            .then("listen to it turned up; leave the channel out if it is not used"),
        );
    }
    let place = format!("{} {}", take.joint_take, channel.name);
    findings
        .into_iter()
        .map(|finding| finding.at(&place))
        .collect()
}

/// Channels that carry timecode, all of them at once: it is loud, and seldom wanted in what is handed over.
fn coded(take: &TakeQuality) -> Option<Finding> {
    let channels = take.channels.iter();
    let coded: Vec<String> = channels
        .filter_map(|channel| {
            let code = channel.quality.timecode.as_ref()?;
            Some(format!(
                "{} from {} at {}",
                channel.name, code.label, code.counting
            ))
        })
        .collect();
    (!coded.is_empty()).then(|| {
        Finding::new(
            "timecode-on-a-channel",
            Weight::Note,
            format!(
                "timecode as sound in the recording, on {}",
                counted(coded.len(), "channel")
            ),
        )
        .at(&take.joint_take)
        .measured(coded.join(", "), "sound that is to be heard")
        .because("a unit recorded the code it was given on a track")
        .then("leave the channel out with --channels (channels.csv) unless the receiver wants it")
    })
}

/// Channels that are not centred on zero, all of them at once: each one's mean stands in the report.
fn off_centre(take: &TakeQuality) -> Option<Finding> {
    let off = |channel: &&MeasuredChannel| channel.quality.offset.abs() > OFFSET;
    let channels: Vec<&MeasuredChannel> = take.channels.iter().filter(off).collect();
    let most = channels.iter().max_by(|a, b| {
        let [a, b] = [a, b].map(|channel| channel.quality.offset.abs());
        a.total_cmp(&b)
    })?;
    let found = format!(
        "{}, the most {:+.4} of full scale on {}",
        counted(channels.len(), "channel"),
        most.quality.offset,
        most.name
    );
    let finding = Finding::new("direct-offset", Weight::Note, "not centred on zero");
    Some(
        finding
            .at(&take.joint_take)
            .measured(found, format!("a mean within ±{OFFSET}"))
            .because("input stages with an offset")
            .then("a high-pass filter takes it out; edits without one click"),
    )
}

/// Two channels with one sound, unless they are the signal that units have in common.
fn doubled(members: &[Member], quality: &TakeQuality, pair: &Pair) -> Option<Finding> {
    let [a, b] = pair.channels.map(|channel| &quality.channels[channel]);
    if pair.unlike_db() > DOUBLED_DB || is_common(members, a, b) {
        return None;
    }
    let inverted = if pair.correlation < 0.0 {
        ", inverted"
    } else {
        ""
    };
    let finding = Finding::new(
        "doubled-channels",
        Weight::Warn,
        format!("{} and {} hold the same sound{inverted}", a.name, b.name),
    );
    Some(
        finding
            .at(&quality.joint_take)
            .measured(
                format!(
                    "{:+.1} dB from each other, the rest {:.0} dB below",
                    pair.gain_db,
                    pair.unlike_db()
                ),
                format!("more than {DOUBLED_DB:.0} dB of difference"),
            )
            .because(
                "one microphone on two inputs, or a routing that feeds one input to two tracks",
            )
            .then("leave one out, or see which microphone is missing"),
    )
}

/// Whether two channels carry what the alignment found to be common to their units.
fn is_common(members: &[Member], a: &MeasuredChannel, b: &MeasuredChannel) -> bool {
    let named = |channel: &MeasuredChannel, unit: &str, number: u32| {
        channel.unit == unit && channel.unit_channel == number
    };
    members.iter().any(|member| {
        let evidence = member.evidence.as_ref();
        let level = evidence.and_then(|evidence| evidence.common_level.as_ref());
        level.is_some_and(|level| {
            let ends = |x, y| {
                named(x, &level.against, level.lead_channel)
                    && named(y, &member.unit, level.follower_channel)
            };
            ends(a, b) || ends(b, a)
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quality::{ChannelQuality, Hum};

    fn take(channels: Vec<ChannelQuality>, pairs: Vec<Pair>) -> TakeQuality {
        let named = channels
            .into_iter()
            .zip(1..)
            .map(|(quality, number)| MeasuredChannel {
                name: format!("Mic {number}"),
                unit: "NORTH".into(),
                unit_channel: number,
                group: None,
                quality,
            });
        TakeQuality {
            joint_take: "evening".into(),
            sample_rate: 48_000,
            length_samples: 480_000,
            channels: named.collect(),
            pairs,
        }
    }

    fn at(rms: f64) -> ChannelQuality {
        ChannelQuality {
            rms_dbfs: Some(rms),
            ..ChannelQuality::default()
        }
    }

    fn codes(quality: &TakeQuality) -> Vec<(String, Weight)> {
        let found = findings(&[], quality);
        found
            .into_iter()
            .map(|finding| (finding.code, finding.weight))
            .collect()
    }

    #[test]
    fn sound_without_faults_gives_nothing_to_say() {
        let quality = take(vec![at(-20.0), at(-31.0), at(-62.0)], Vec::new());
        assert_eq!(codes(&quality), []);
    }

    #[test]
    fn every_fault_is_told_once_with_its_weight() {
        let run = |samples| Runs {
            count: 1,
            longest: samples,
            first: vec![[96_000, samples]],
        };
        let hum = |level_dbfs| Hum {
            mains_hz: 50,
            found_hz: 49.98,
            level_dbfs,
            lines: Vec::new(),
        };
        let mut faulty = vec![at(-20.0), at(-21.0), at(-22.0), at(-90.0)];
        faulty[0].clips = run(4);
        faulty[1].drop_outs = run(20);
        faulty[1].hum = Some(hum(-80.0));
        faulty[2].hum = Some(hum(-50.0));
        faulty[2].offset = -0.004;
        let same = Pair {
            channels: [0, 2],
            correlation: -0.999_99,
            gain_db: -2.0,
        };
        let expected = [
            ("clipped", Weight::Warn),
            ("drop-outs", Weight::Warn),
            ("mains-hum", Weight::Note),
            ("mains-hum", Weight::Warn),
            ("dead-channel", Weight::Warn),
            ("direct-offset", Weight::Note),
            ("doubled-channels", Weight::Warn),
        ];
        let expected = expected.map(|(code, weight)| (code.to_string(), weight));
        assert_eq!(codes(&take(faulty, vec![same])), expected);
    }
}
