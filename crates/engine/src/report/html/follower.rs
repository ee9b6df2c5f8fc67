//! One follower in, its part of the page out: claim, figures, lag against time, overlays, what the error means, signs.

use super::difference::difference;
use super::meaning::{meaning, signs_table};
use super::{counted, facts, figure, key};
use crate::alignment::{JointTake, Member, Status};
use crate::report::axis::{Axis, Scale, axis_around};
use crate::report::lag::{Lag, Point, lag_of};
use crate::report::markup::Markup;
use crate::report::plots::{Figure, Mark, Size};
use crate::report::{Excerpt, Overlay, ReportInput, say};
use crate::units::capital;

/// Three side by side, or one on a telephone.
const THIRD: Size = Size {
    width: 340.0,
    height: 200.0,
};

/// The section of the member at place `number`.
pub fn follower(page: &mut Markup, input: &ReportInput<'_>, number: usize) {
    let joint = input.joint_take;
    let member = &joint.members[number];
    let claim = capital(&say::claim_words(member, joint));
    page.leaf("p", &[("class", "claim")], &format!("{claim}."));
    figures(page, member, joint);
    story(page, member);
    if let Some(lag) = lag_of(member, joint).filter(|_| member.status != Status::NotEstablished) {
        page.leaf("h3", &[], "Lag against time");
        lag_figures(page, &lag, member, number);
    }
    let overlays: Vec<&Overlay> = input
        .overlays
        .iter()
        .filter(|overlay| overlay.follower == member.unit)
        .collect();
    if !overlays.is_empty() {
        page.leaf("h3", &[], "Laid over each other");
        overlay_figures(page, &overlays, joint, number);
    }
    let mut differences = input.differences.iter();
    if let Some(one) = differences.find(|one| one.follower == member.unit) {
        page.leaf("h3", &[], "Taken from each other");
        difference(page, one, &joint.lead, number);
    }
    page.leaf("h3", &[], "What an error of this size means");
    meaning(page, member, joint);
    let signs = member.evidence.as_ref().map_or(&[][..], |e| &e.signs);
    if !signs.is_empty() {
        page.leaf("h3", &[], "Signs asked");
        signs_table(page, signs);
    }
}

fn figures(page: &mut Markup, member: &Member, joint: &JointTake) {
    let rate = say::rate_of(joint).hz();
    let placed = member.status != Status::NotEstablished;
    let basis = format!(
        "{}: {}",
        say::basis(member.basis),
        say::rests_on(member.basis)
    );
    let offset = format!(
        "{} = {} (sigma {} samples)",
        say::samples(member.offset_samples, member.offset_sigma_samples),
        say::clock_time(member.offset_samples / rate),
        say::three_figures(member.offset_sigma_samples)
    );
    let drift = member.rate_ppm * 1e-6 * member.length_samples as f64;
    let over = format!(
        "{drift:+.1} samples = {} by the end of its take",
        say::short_time(drift / rate)
    );
    let evidence = member
        .evidence
        .as_ref()
        .filter(|evidence| !evidence.ties.is_empty());
    let residual = evidence.map_or(String::new(), |evidence| {
        let used = evidence.ties.iter().filter(|tie| tie.used).count();
        format!(
            "{} samples rms over {used} of {}",
            say::three_figures(evidence.residual_rms_samples),
            counted(evidence.ties.len(), "tie")
        )
    });
    let slips = say::slips(member, joint);
    let only_placed = |text: String| if placed { text } else { String::new() };
    facts(
        page,
        &[
            ("Basis", &basis),
            ("Offset", &only_placed(offset)),
            ("Rate", &only_placed(say::rate(member))),
            (
                "That is",
                &if member.rate_measured {
                    over
                } else {
                    String::new()
                },
            ),
            (
                "Common signal",
                &say::common_level(member)
                    .map(|words| {
                        format!("{words}; other inputs were not compared, nothing was changed")
                    })
                    .unwrap_or_default(),
            ),
            ("Residual", &residual),
            ("Slips", &slips.join("; ")),
            ("Samples", &say::placement_of(member)),
            ("Decision", &member.decision_words().unwrap_or_default()),
        ],
    );
}

fn story(page: &mut Markup, member: &Member) {
    let Some(evidence) = &member.evidence else {
        return;
    };
    page.element("ul", &[("class", "story")], |page| {
        for sentence in &evidence.story {
            page.leaf("li", &[], sentence);
        }
        for [offset, score] in &evidence.candidates {
            page.leaf(
                "li",
                &[],
                &format!("{offset:+.0} samples would fit too, {score:.2} as well as the best"),
            );
        }
    });
}

fn lag_figures(page: &mut Markup, lag: &Lag, member: &Member, number: usize) {
    let across = time_axis(lag);
    let whole = Figure {
        id: format!("lag{number}"),
        title: format!("Lag of {} against time", member.unit),
        description: format!(
            "How many samples more than the lead {} has counted since its start; from {:.2} to {:.2} samples.",
            member.unit,
            lag.whole.first().map_or(0.0, |point| point.1),
            lag.whole.last().map_or(0.0, |point| point.1)
        ),
        across: across.clone(),
        up: axis_around(lag.whole.iter().map(|point| point.1), "lag, samples"),
        marks: vec![Mark::Line(lag.whole.clone())],
    };
    figure(page, &whole.into(), |page| {
        page.words(&format!(
            "How many more samples {} has counted than the lead since its own start. A rising line is a clock that \
             runs fast; its slope is the rate.",
            member.unit
        ));
        if !member.slips.is_empty() {
            page.words(" What its file lacks is counted here, and what it has twice is not.");
        }
    });
    wander_figure(page, lag, member, number, across);
}

fn wander_figure(page: &mut Markup, lag: &Lag, member: &Member, number: usize, across: Axis) {
    let band: Vec<(f64, f64, f64)> = lag
        .wander
        .iter()
        .zip(&lag.sigma)
        .map(|((time, value), sigma)| (*time, value - 2.0 * sigma, value + 2.0 * sigma))
        .collect();
    let shown = band
        .iter()
        .flat_map(|(_, low, high)| [*low, *high])
        .chain(lag.used.iter().map(|point| point.1));
    let up = axis_around(shown, "samples");
    let inside = |point: &&Point| (up.least..=up.greatest).contains(&point.1);
    let near: Vec<Point> = lag.unused.iter().filter(inside).copied().collect();
    let far: Vec<Point> = lag
        .unused
        .iter()
        .filter(|point| !inside(point))
        .map(|(time, value)| (*time, value.clamp(up.least, up.greatest)))
        .collect();
    let (far_count, near_count) = (far.len(), near.len());
    let shape = Figure {
        id: format!("wander{number}"),
        title: format!("Lag of {} with its mean rate taken away", member.unit),
        description: format!(
            "The clock's wander with a band of two sigma; {} used and {} unused ties about it.",
            lag.used_count, lag.unused_count
        ),
        across,
        up,
        marks: vec![
            Mark::Band(band),
            Mark::Rings(lag.used.clone()),
            Mark::Crosses(near),
            Mark::Triangles(far),
            Mark::Line(lag.wander.clone()),
        ],
    };
    figure(page, &shape.into(), |page| {
        page.words("The same with the straight line of the mean rate taken away: ");
        key(page, "M0 8H32", "var(--ink)", "1.4");
        page.words("the clock, ");
        key(page, "M0 8H32", "var(--band)", "12");
        page.words("plus and minus two sigma of it");
        if lag.used_count > 0 {
            page.words(", ");
            key(page, "M16 4a4 4 0 1 0 .01 0Z", "var(--ink)", "1");
            page.words(&drawn("used", lag.used.len(), lag.used_count));
        }
        if near_count > 0 {
            page.words(", ");
            key(page, "M12 4l8 8M20 4l-8 8", "var(--second)", "1.4");
            page.words(&drawn("not used", near_count, lag.unused_count));
        }
        if far_count > 0 {
            page.words(", ");
            key(page, "M16 3l5 9h-10Z", "var(--second)", "1.4");
            page.words(&format!(
                "{} not used, beyond the edge",
                counted(far_count, "tie")
            ));
        }
        page.words(
            ". The band is what the measurement leaves of the clock's shape; how well the whole is placed, the claim says.",
        );
    });
}

fn drawn(word: &str, drawn: usize, all: usize) -> String {
    match drawn == all {
        true => format!("{} {word}", counted(all, "tie")),
        false => format!("{} {word} ({drawn} drawn)", counted(all, "tie")),
    }
}

fn overlay_figures(page: &mut Markup, overlays: &[&Overlay], joint: &JointTake, number: usize) {
    page.element("div", &[("class", "three")], |page| {
        for (place, overlay) in overlays.iter().enumerate() {
            page.element("figure", &[], |page| {
                overlay_figure(page, overlay, joint, &format!("over{number}-{place}"));
            });
        }
    });
    let Some(first) = overlays.first() else {
        return;
    };
    page.element("p", &[], |page| {
        page.words("Each curve is drawn to its own peak: ");
        key(page, "M0 8H32", "var(--broad)", "6");
        page.words(&format!("{} (broad, pale), ", named(&joint.lead, &first.lead)));
        key(page, "M0 8H32", "var(--ink)", "1.4");
        page.words(&format!("{} (thin, dark). ", named(&first.follower, &first.followed)));
        page.words(match first.one_signal {
            true => "Both are one electrical signal: the curves must lie on each other.",
            false => {
                "These are different microphones: the sound's way between them is real, was left in, and shows as a shift."
            }
        });
    });
}

fn named(unit: &str, excerpt: &Excerpt) -> String {
    match excerpt.name.trim() {
        "" => format!("{unit} {}", excerpt.channel),
        name => format!("{unit} {} “{name}”", excerpt.channel),
    }
}

fn overlay_figure(page: &mut Markup, overlay: &Overlay, joint: &JointTake, id: &str) {
    let rate = say::rate_of(joint).hz();
    let at = say::clock_time(overlay.first_lead_position as f64 / rate);
    if overlay.lead.samples.is_empty() && overlay.followed.samples.is_empty() {
        page.element("figcaption", &[], |page| {
            page.leaf("b", &[], &overlay.title);
            page.words(&format!(
                ", {at}: no signal near there on {}",
                named(&joint.lead, &overlay.lead)
            ));
        });
        return;
    }
    let longest = overlay
        .lead
        .samples
        .len()
        .max(overlay.followed.samples.len());
    let drawing = Figure {
        id: id.into(),
        title: format!("{} and {}, {}", joint.lead, overlay.follower, overlay.title),
        description: format!(
            "{} and {} laid over each other after alignment, {} from {at} on.",
            named(&joint.lead, &overlay.lead),
            named(&overlay.follower, &overlay.followed),
            say::short_time(longest as f64 / rate)
        ),
        across: Axis {
            label: "ms".into(),
            least: 0.0,
            greatest: longest.max(2) as f64 / rate * 1e3,
            scale: Scale::Number,
        },
        up: Axis {
            label: "share of peak".into(),
            least: -1.1,
            greatest: 1.1,
            scale: Scale::Number,
        },
        marks: vec![
            Mark::Broad(to_own_peak(&overlay.lead.samples, rate)),
            Mark::Line(to_own_peak(&overlay.followed.samples, rate)),
        ],
    };
    page.raw(&drawing.svg(THIRD, ""));
    page.element("figcaption", &[], |page| {
        page.leaf("b", &[], &overlay.title);
        page.words(&format!(
            ": from {at}, the lead's sample {}; peaks {} and {}",
            overlay.first_lead_position,
            peak_words(&overlay.lead.samples),
            peak_words(&overlay.followed.samples)
        ));
    });
}

fn peak(samples: &[f64]) -> f64 {
    samples
        .iter()
        .filter(|sample| sample.is_finite())
        .fold(0.0, |peak, sample| peak.max(sample.abs()))
}

fn peak_words(samples: &[f64]) -> String {
    match peak(samples) {
        peak if peak > 0.0 => format!("{:.1} dBFS", 20.0 * peak.log10()),
        _ => "silent".into(),
    }
}

fn to_own_peak(samples: &[f64], rate: f64) -> Vec<Point> {
    let peak = peak(samples);
    let scale = if peak > 0.0 { 1.0 / peak } else { 0.0 };
    samples
        .iter()
        .enumerate()
        .map(|(place, sample)| (place as f64 / rate * 1e3, sample * scale))
        .collect()
}

fn time_axis(lag: &Lag) -> Axis {
    let times = || lag.whole.iter().map(|point| point.0);
    let least = times().fold(f64::INFINITY, f64::min);
    let greatest = times().fold(f64::NEG_INFINITY, f64::max);
    let sound = least.is_finite() && greatest > least;
    Axis {
        label: "time since the lead's first sample".into(),
        least: if sound { least } else { 0.0 },
        greatest: if sound { greatest } else { 1.0 },
        scale: Scale::Time,
    }
}
