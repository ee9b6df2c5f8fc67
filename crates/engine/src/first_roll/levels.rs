//! The takes of a first roll in, channels that are dead, faint, driven too far or carry timecode out.

use super::channel_name;
use crate::check::DEAD_DBFS;
use crate::error::Result;
use crate::finding::{Finding, Weight};
use crate::progress::{Progress, go_on};
use crate::quality::{ChannelQuality, QualityMeter};
use crate::signal::Sound;
use crate::take::{Survey, Take, TakeSound};

/// How much of a roll is listened to, seconds.
const HEARD_S: f64 = 60.0;
/// Below this a peak is faint for a roll with sound in it, dBFS. Common practice, no source.
const FAINT_DBTP: f64 = -45.0;

/// What the levels of all channels say: dead, faint and driven channels of a unit each in one finding.
pub(super) fn findings(rolls: &Survey, progress: &dyn Progress) -> Result<Vec<Finding>> {
    let mut findings = Vec::new();
    for take in rolls.units.iter().filter_map(|unit| unit.takes.first()) {
        let qualities = measured(take, progress)?;
        let named = |is: &dyn Fn(&ChannelQuality) -> bool| -> Vec<String> {
            let all = qualities.iter().enumerate();
            all.filter(|(_, quality)| is(quality))
                .map(|(channel, _)| channel_name(take, channel))
                .collect()
        };
        let dead = named(&|quality| quality.rms_dbfs.is_none_or(|level| level < DEAD_DBFS));
        let faint = named(&|quality| {
            quality.rms_dbfs.is_some_and(|level| level >= DEAD_DBFS)
                && quality.true_peak_dbtp.is_some_and(|peak| peak < FAINT_DBTP)
        });
        let clipped = named(&|quality| quality.clips.count > 0);
        findings.extend(told(
            take,
            "dead-channel",
            "nothing but the input's own noise, or less",
            &dead,
            |finding| {
                finding
                    .because(
                        "no microphone, no phantom power, a cable, or a gain that was left down",
                    )
                    .then("speak into each microphone, and roll again; or switch the input off")
            },
        ));
        findings.extend(told(
            take,
            "faint-channel",
            "very faint",
            &faint,
            |finding| {
                finding
                    .because("nothing sounded during the roll, or the gain is low")
                    .then("make the sound of the day during the roll; set gains by it")
            },
        ));
        findings.extend(told(
            take,
            "clipped",
            "samples in a row at full scale",
            &clipped,
            |finding| {
                finding
                    .because("the converter or the gain before it was driven too far")
                    .then("turn the gain down and roll again")
            },
        ));
    }
    Ok(findings)
}

fn told(
    take: &Take,
    code: &str,
    message: &str,
    channels: &[String],
    more: impl FnOnce(Finding) -> Finding,
) -> Option<Finding> {
    (!channels.is_empty()).then(|| {
        let finding = Finding::new(code, Weight::Warn, message).at(&take.unit);
        more(finding.measured(channels.join(", "), "none"))
    })
}

fn measured(take: &Take, progress: &dyn Progress) -> Result<Vec<ChannelQuality>> {
    let sound = TakeSound::open(&take.parts)?;
    let rate = sound.rate();
    let heard = sound.length().0.min((HEARD_S * rate.hz()) as u64);
    let mut meter = QualityMeter::new(sound.channels(), rate.0);
    let all: Vec<usize> = (0..sound.channels()).collect();
    let step = rate.0.max(1) as u64;
    progress.stage(&format!("listening to {}", take.unit), heard.div_ceil(step));
    let mut from = 0;
    while from < heard {
        go_on(progress)?;
        let length = step.min(heard - from) as usize;
        let mut planes = vec![vec![0.0; length]; all.len()];
        let mut parts: Vec<&mut [f64]> = planes.iter_mut().map(Vec::as_mut_slice).collect();
        sound.read(&all, from as i64, &mut parts)?;
        let parts: Vec<&[f64]> = planes.iter().map(Vec::as_slice).collect();
        meter.add(&parts);
        from += length as u64;
        progress.advance(1);
    }
    Ok(meter.finish().channels)
}
