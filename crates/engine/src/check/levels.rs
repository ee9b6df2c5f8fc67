//! A file's levels as read back in, findings out: channels without sound, values that are no numbers, float above full
//! scale, gaps.

use crate::build::{Gap, OutputChannel, OutputFile};
use crate::finding::{Finding, Weight};

/// What the levels of `output` say.
pub(super) fn findings(output: &OutputFile) -> Vec<Finding> {
    let mut findings = Vec::new();
    for channel in &output.channels {
        let place = format!("{} {}", output.path.display(), channel.name);
        findings.extend(
            of_channel(output, channel)
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

fn of_channel(output: &OutputFile, channel: &OutputChannel) -> Vec<Finding> {
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
                    20.0 * levels.peak.log10(),
                    levels.at_full_scale
                ),
                "below 0 dBFS",
            )
            .then("turn the channel down before it becomes integers"),
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
