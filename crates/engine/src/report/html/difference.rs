//! The difference of lead and follower in, its picture and what it says out.

use super::{figure, key};
use crate::report::axis::{Axis, Scale};
use crate::report::difference::{Band, Difference};
use crate::report::markup::Markup;
use crate::report::plots::{Figure, Mark};
use crate::report::say;
use crate::units::{Db, signed};

/// What is not drawn any more, dB below the lead's loudest band.
const DEEPEST_DB: f64 = 130.0;

/// The picture.
pub fn difference(page: &mut Markup, difference: &Difference, lead: &str, number: usize) {
    let loudest = difference
        .bands
        .iter()
        .map(|band| band.lead_db)
        .fold(f64::NEG_INFINITY, f64::max);
    let least = loudest - DEEPEST_DB;
    let curve = |of: fn(&Band) -> f64| -> Vec<(f64, f64)> {
        let bands = difference.bands.iter();
        bands
            .map(|band| (band.hz.log10(), of(band).max(least)))
            .collect()
    };
    let lines = [
        curve(|band| band.lead_db),
        curve(|band| band.claim_db),
        curve(|band| band.left_db),
    ];
    let levels = || lines.iter().flatten().map(|point| point.1);
    let [whole, claim, left] = lines.clone();
    let unit = &difference.follower;
    let shape = Figure {
        id: format!("difference{number}"),
        title: format!("Spectrum of {lead} and of its difference from {unit}"),
        description: format!(
            "From 100 Hz to {} the difference lies {:.0} dB below {lead}.",
            highest(difference),
            difference.depth_db
        ),
        across: Axis {
            label: "frequency, Hz".into(),
            least: whole.first().map_or(1.3, |point| point.0),
            greatest: whole.last().map_or(4.3, |point| point.0),
            scale: Scale::Frequency,
        },
        up: Axis {
            label: "dBFS".into(),
            least: (levels().fold(f64::INFINITY, f64::min) / 10.0).floor() * 10.0,
            greatest: (levels().fold(f64::NEG_INFINITY, f64::max) / 10.0).ceil() * 10.0 + 1.0,
            scale: Scale::Number,
        },
        marks: vec![Mark::Broad(whole), Mark::Dashed(claim), Mark::Line(left)],
    };
    figure(page, &shape.into(), |page| {
        let [lead_channel, channel] = difference.channels;
        page.words("In thirds of an octave: ");
        key(page, "M0 8H32", "var(--broad)", "6");
        page.words(&format!("{lead} {lead_channel}, "));
        key(page, "M0 8H32", "var(--ink)", "1.4");
        page.words(&format!(
            "what is left when {unit} {channel}, brought to the same level ({}), is taken from it, ",
            level_words(difference.gain)
        ));
        key(page, "M0 8H8M12 8H20M24 8H32", "var(--second)", "1.4");
        page.words(&format!(
            "what would be left if {unit} were late by all that the claim allows. {}",
            verdict(difference, lead)
        ));
    });
}

fn level_words(gain: f64) -> String {
    let decibels = Db::of_amplitude(gain).0;
    match gain < 0.0 {
        true => format!("{} dB, turned round", signed(decibels, 2)),
        false => format!("{} dB", signed(decibels, 2)),
    }
}

fn verdict(difference: &Difference, lead: &str) -> String {
    let deepest = difference
        .bands
        .iter()
        .max_by(|a, b| (a.lead_db - a.left_db).total_cmp(&(b.lead_db - b.left_db)));
    let deepest = deepest.map_or(String::new(), |band| {
        format!(
            ", deepest around {} ({:.0} dB)",
            say::frequency(band.hz),
            band.lead_db - band.left_db
        )
    });
    // a delay rises by 6 dB an octave and ends at the claim; noise does not follow the signal
    let beyond = difference
        .bands
        .iter()
        .filter(|band| band.left_db > band.claim_db + 1.0)
        .count();
    let cause = match beyond * 2 > difference.bands.len() {
        true => {
            "Most of what is left is more than such a delay would leave: noise of the two inputs, or unlike converters."
        }
        false => "Most of what is left is no more than such a delay would leave.",
    };
    format!(
        "From 100 Hz to {} it lies {:.0} dB below {lead}{deepest}. {cause}",
        highest(difference),
        difference.depth_db
    )
}

/// How far up the told figure goes: 10 kHz, or the last band of lower rates.
fn highest(difference: &Difference) -> String {
    let last = difference.bands.last().map_or(10_000.0, |band| band.hz);
    say::frequency(last.min(10_000.0))
}
