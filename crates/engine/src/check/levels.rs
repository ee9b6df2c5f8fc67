//! A file's levels as read back in, findings out: channels without sound, values that are no numbers, float above full
//! scale, gaps.

use crate::build::{Gap, OutputChannel, OutputFile, TakeQuality};
use crate::finding::{Finding, Weight};
use crate::units::Db;

/// What the levels of `output` say, one of the files of a recording that goes `over` full scale or not.
pub(super) fn findings(output: &OutputFile, over: Over) -> Vec<Finding> {
    let mut findings = Vec::new();
    for channel in &output.channels {
        let place = format!("{} {}", output.path.display(), channel.name);
        findings.extend(
            of_channel(output, channel, over)
                .into_iter()
                .map(|finding| finding.at(&place)),
        );
    }
    findings.extend(output.gaps.iter().map(|gap| of_gap(output, gap)));
    findings
}

fn of_gap(output: &OutputFile, gap: &Gap) -> Finding {
    let Gap { unit, samples, .. } = gap;
    let seconds = |samples: u64| samples as f64 / f64::from(output.sample_rate);
    let finding = Finding::new(
        "gap",
        Weight::Warn,
        format!("{unit} recorded nothing for {samples} samples; they are exact silence"),
    )
    .at(format!(
        "{} {unit} at {:.3} s",
        output.path.display(),
        seconds(gap.first_sample)
    ))
    .measured(
        format!("{samples} samples, {:.1} ms", 1e3 * seconds(*samples)),
        "none",
    );
    match gap.between_takes {
        true => finding
            .because("the unit was stopped and started again")
            .then("mend it there with the channels of the other units"),
        false => finding
            .because("the card or its writing could not keep up")
            .then("listen there; try another card in this unit"),
    }
}

/// How far a recording goes above full scale.
#[derive(Debug, Clone, Copy)]
pub(super) struct Over {
    /// The largest sample of all its files, dBFS.
    peak_dbfs: f64,
    /// The largest value between samples, where it was measured.
    true_peak_dbtp: Option<f64>,
    /// The gain that it was built with.
    gain_db: f64,
}

impl Over {
    pub(super) fn of(outputs: &[&OutputFile], quality: Option<&TakeQuality>) -> Self {
        let channels = outputs.iter().flat_map(|output| &output.channels);
        let peak = channels
            .map(|channel| channel.levels.peak)
            .fold(0.0, f64::max);
        let channels = quality.iter().flat_map(|quality| &quality.channels);
        let true_peaks = channels.filter_map(|channel| channel.quality.true_peak_dbtp);
        Self {
            peak_dbfs: Db::of_amplitude(peak).0,
            true_peak_dbtp: true_peaks.max_by(f64::total_cmp),
            gain_db: outputs.first().map_or(0.0, |output| output.gain_db),
        }
    }

    /// What brings it under: in tenths of a decibel, rounded down, so that nothing is left above; a gain that was asked for
    /// is counted, since the next one takes its place.
    fn next_step(self) -> String {
        let under = |level: f64| (10.0 * (self.gain_db - level) - 1e-6).floor() / 10.0;
        let gain = under(self.peak_dbfs);
        let between = self.true_peak_dbtp.map(under).filter(|other| *other < gain);
        let between = between.map_or(String::new(), |gain| {
            format!("; with --gain {gain:.1} what goes over between samples as well")
        });
        format!(
            "nothing is lost as long as it stays float; built with --gain {gain:.1} the largest sample is under full \
             scale{between}. --gain fit does it for integers, with --format int24"
        )
    }
}

fn of_channel(output: &OutputFile, channel: &OutputChannel, over: Over) -> Vec<Finding> {
    let levels = &channel.levels;
    let mut findings = Vec::new();
    if levels.not_finite > 0 {
        findings.push(
            Finding::new("not-a-number", Weight::Warn, "samples that are no numbers")
                .measured(format!("{} samples", levels.not_finite), "none")
                .because("the source holds them, as they are kept bit for bit")
                .then("many programs stop at them: repair the channel before it is edited"),
        );
    }
    if levels.peak == 0.0 && levels.not_finite == 0 {
        findings.push(
            Finding::new(
                "silent-channel",
                Weight::Warn,
                "nothing but digital silence",
            )
            .measured("no sample other than 0", "sound")
            .because("an input that was armed without a source, or muted")
            .then("check the unit's inputs; leave the channel out if it is not used"),
        );
    } else {
        let inner = levels
            .silences
            .iter()
            .filter(|[first, samples]| *first > 0 && first + samples < output.length_samples)
            .filter(|[first, samples]| !is_gap(output, channel, *first, *samples));
        if let Some([first, samples]) = inner.max_by_key(|[_, samples]| *samples) {
            let seconds = |samples: u64| samples as f64 / f64::from(output.sample_rate);
            findings.push(
                Finding::new(
                    "digital-silence",
                    Weight::Note,
                    format!(
                        "digital silence of {:.2} s at {:.2} s",
                        seconds(*samples),
                        seconds(*first)
                    ),
                )
                .measured(format!("{} stretches in all", levels.silence_runs), "none")
                .because("a muted or unplugged digital input, or sound that was edited"),
            );
        }
    }
    if levels.at_full_scale > 0 && output.encoding.contains("float") {
        findings.push(
            Finding::new(
                "above-full-scale",
                Weight::Note,
                "float samples at or above full scale, kept as they are",
            )
            .measured(
                format!(
                    "{:+.1} dBFS, {} samples",
                    Db::of_amplitude(levels.peak).0,
                    levels.at_full_scale
                ),
                "below 0 dBFS",
            )
            .then(over.next_step()),
        );
    }
    findings
}

/// Whether a silence is one of the gaps that are listed by themselves.
fn is_gap(output: &OutputFile, channel: &OutputChannel, first: u64, samples: u64) -> bool {
    output.gaps.iter().any(|gap| {
        gap.unit == channel.unit
            && first <= gap.first_sample
            && gap.first_sample + gap.samples <= first + samples
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_brings_overs_under_full_scale_is_never_too_little() {
        let step = |peak_dbfs, true_peak_dbtp, gain_db| {
            Over {
                peak_dbfs,
                true_peak_dbtp,
                gain_db,
            }
            .next_step()
        };
        let text = step(3.11, Some(3.62), 0.0);
        assert!(text.contains("with --gain -3.2 the largest"), "{text}");
        assert!(text.contains("with --gain -3.7 what"), "{text}");
        let text = step(3.11, Some(3.12), 0.0);
        assert!(!text.contains("between samples"), "{text}");
        // a gain that was there is replaced by the next: +5.0 dB at the source, built with -2
        assert!(step(3.0, None, -2.0).contains("with --gain -5.1 the largest"));
        // just at full scale is one step above what integers hold
        assert!(step(0.0, None, 0.0).contains("--gain -0.1"));
    }
}
