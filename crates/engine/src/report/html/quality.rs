//! What was measured of the channels, and the groups they form, in; their parts of the page out.

use super::super::groups::JudgedGroup;
use super::super::markup::Markup;
use super::super::plots::Drawing;
use super::super::say;
use super::super::strips::Strips;
use super::figure;
use super::tables::table;
use crate::build::TakeQuality;
use crate::quality::{ChannelQuality, Runs};
use crate::units::{counted, signed};

/// How many pairs of channels are named.
const MOST_PAIRS: usize = 8;
/// Less alike than this is not worth a row.
const ALIKE: f64 = 0.5;

/// The levels and faults of every channel, and the channels most alike.
pub fn measured(page: &mut Markup, quality: &TakeQuality) {
    page.leaf(
        "p",
        &[],
        "Measured while the recording was written, over its whole length, each channel by itself. Levels are dB of full \
         scale, RMS; a full sine has -3.0. The floor is what the quietest tenth of all tenths of a second stays below.",
    );
    let mut headings = vec![
        "Channel",
        "RMS",
        "Floor",
        "True peak, dBTP",
        "Loudness, LUFS",
        "Range, LU",
        "Mean",
        "Clipped",
        "Drop-outs",
        "Hum",
    ];
    let mut channels = quality.channels.iter();
    let coded = channels.any(|channel| channel.quality.timecode.is_some());
    if coded {
        headings.push("Timecode");
    }
    table(page, "Levels and faults", &headings, |page| {
        for channel in &quality.channels {
            let ChannelQuality {
                true_peak_dbtp,
                integrated_lufs,
                range_lu,
                rms_dbfs,
                noise_floor_dbfs,
                offset,
                clips,
                drop_outs,
                hum,
                timecode,
                envelope: _,
            } = &channel.quality;
            page.element("tr", &[], |page| {
                page.leaf("th", &[("scope", "row")], &channel.name);
                for level in [rms_dbfs, noise_floor_dbfs, true_peak_dbtp, integrated_lufs] {
                    page.leaf("td", &[], &level_words(*level));
                }
                let range = range_lu.map_or("–".into(), |range| format!("{range:.1}"));
                page.leaf("td", &[], &range);
                page.leaf("td", &[], &offset_words(*offset));
                page.leaf("td", &[], &runs_words(clips));
                page.leaf("td", &[], &runs_words(drop_outs));
                let hum = hum.as_ref().map_or("none".to_string(), |hum| {
                    format!("{} Hz, {:.0} dBFS", hum.mains_hz, hum.level_dbfs)
                });
                page.leaf("td", &[], &hum);
                if coded {
                    let code = timecode.as_ref().map_or("none".to_string(), |code| {
                        format!(
                            "from {}, {} of {} probes",
                            code.label, code.carrying, code.heard
                        )
                    });
                    page.leaf("td", &[], &code);
                }
            });
        }
    });
    alike(page, quality);
    strips(page, quality);
}

/// The level of every channel against time.
fn strips(page: &mut Markup, quality: &TakeQuality) {
    let Some(strips) = Strips::of(quality) else {
        return;
    };
    let [clipped, broken] = strips.marked();
    page.leaf("h3", &[], "Level against time");
    figure(page, &Drawing::Strips(strips), |page| {
        page.words(
            "From -60 to 0 dBFS, a strip a channel: the filled body is the RMS, the line above it the peak; where \
             nothing is drawn is digital silence.",
        );
        if clipped {
            page.words(" A triangle at the top: clipped there.");
        }
        if broken {
            page.words(" A cross at the bottom: the sound breaks off there.");
        }
        if clipped || broken {
            page.words(" Of each kind the first fifty of a channel are marked.");
        }
    });
}

fn alike(page: &mut Markup, quality: &TakeQuality) {
    let mut pairs: Vec<_> = quality
        .pairs
        .iter()
        .filter(|pair| pair.correlation.abs() >= ALIKE)
        .collect();
    pairs.sort_by(|a, b| b.correlation.abs().total_cmp(&a.correlation.abs()));
    if pairs.is_empty() {
        return;
    }
    let more = pairs.len().saturating_sub(MOST_PAIRS);
    let caption = match more {
        0 => "Channels that are alike".to_string(),
        _ => format!(
            "The {MOST_PAIRS} most alike of {}",
            counted(pairs.len(), "pair")
        ),
    };
    let headings = [
        "Channel",
        "And",
        "Correlation",
        "Second against first",
        "Polarity",
    ];
    table(page, &caption, &headings, |page| {
        for pair in pairs.into_iter().take(MOST_PAIRS) {
            let [a, b] = pair.channels.map(|index| &quality.channels[index].name);
            page.element("tr", &[], |page| {
                page.leaf("th", &[("scope", "row")], a);
                page.leaf("td", &[], b);
                page.leaf("td", &[], &signed(pair.correlation, 4));
                page.leaf("td", &[], &format!("{} dB", signed(pair.gain_db, 2)));
                let polarity = if pair.correlation < 0.0 {
                    "opposite"
                } else {
                    "alike"
                };
                page.leaf("td", &[], polarity);
            });
        }
    });
}

/// Every group with its verdict.
pub fn groups(page: &mut Markup, groups: &[JudgedGroup]) {
    page.leaf(
        "p",
        &[],
        "What the session declares to belong together, held against what is claimed of the units' places. Channels of one \
         unit share its clock.",
    );
    let headings = [
        "Group",
        "Used as",
        "Channels",
        "May differ by",
        "Allowed",
        "Correlation",
        "Verdict",
    ];
    table(page, "Groups", &headings, |page| {
        for group in groups {
            page.element("tr", &[], |page| {
                page.leaf("th", &[("scope", "row")], &group.name);
                page.leaf("td", &[], &group.used_as);
                let channels = group.channels.iter();
                let mut names: Vec<String> = channels
                    .map(|(unit, channel, name)| match name.is_empty() {
                        true => format!("{unit}:{channel}"),
                        false => format!("{unit}:{channel} {name}"),
                    })
                    .collect();
                let missing = group.missing.iter();
                names.extend(
                    missing.map(|(unit, channel)| format!("{unit}:{channel} (not recorded)")),
                );
                page.leaf("td", &[], &names.join(", "));
                let error = group.error_s.map(say::short_time);
                let error = error.map_or("–".to_string(), |error| format!("±{error}"));
                page.leaf("td", &[], &error);
                page.leaf("td", &[], &format!("±{}", say::short_time(group.allowed_s)));
                let correlation = group.correlation.map(|[low, high]| match low == high {
                    true => signed(low, 2),
                    false => format!("{} to {}", signed(low, 2), signed(high, 2)),
                });
                page.leaf("td", &[], &correlation.unwrap_or("–".into()));
                page.leaf("td", &[], group.verdict.words());
            });
        }
    });
}

fn level_words(level: Option<f64>) -> String {
    level.map_or("–".into(), |level| signed(level, 1))
}

fn offset_words(offset: f64) -> String {
    match offset.abs() < 5e-6 {
        true => "0".into(),
        false => signed(offset, 5),
    }
}

fn runs_words(runs: &Runs) -> String {
    match runs.count {
        0 => "none".into(),
        1 => format!("once, {} samples", runs.longest),
        count => format!("{count} times, up to {} samples", runs.longest),
    }
}
