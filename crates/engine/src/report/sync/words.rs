//! A joint take's lines of the sync report in, the paragraph for whoever receives the recording out.

use super::{SyncedFollower, SyncedTake};
use crate::alignment::{Basis, Status};
use crate::report::say;
use crate::units::counted;

/// The finest residual that a paragraph tells, samples.
const FINEST: f64 = 0.001;

/// The paragraph: what the recording is made of, how every follower came to its place, what it may be used for.
pub fn in_words(take: &SyncedTake) -> String {
    let mut text = head(take);
    for follower in &take.followers {
        text.push(' ');
        text.push_str(&of_follower(follower, take));
    }
    text
}

fn head(take: &SyncedTake) -> String {
    let placed = take.followers.iter().filter(|one| is_placed(one)).count();
    let what = match (take.files.len(), placed) {
        (0, _) => return format!("Nothing was built of {}.", take.name),
        (_, 0) => format!("{} holds the channels of {} alone.", take.name, take.lead),
        (_, placed) => format!(
            "{} holds the channels of {} that ran together, on one clock, {}'s.",
            take.name,
            counted(placed + 1, "unit"),
            take.lead
        ),
    };
    let start = match take.start_label.as_str() {
        "" => String::new(),
        label => format!(" {}'s first sample is at {label}.", take.lead),
    };
    format!("{what}{start}")
}

fn is_placed(follower: &SyncedFollower) -> bool {
    follower.came_as != "not-placed"
}

fn of_follower(follower: &SyncedFollower, take: &SyncedTake) -> String {
    let unit = &follower.unit;
    let rate = f64::from(take.sample_rate.max(1));
    let Some(offset) = follower.offset.filter(|_| is_placed(follower)) else {
        let why = match (follower.decision.as_str(), follower.status) {
            ("", Status::NeedsDecision) => "a person has to decide about its place first",
            ("", _) => "nothing reliable ties it to the lead, and nothing was guessed",
            (decision, _) => decision,
        };
        return format!("{unit} is not in it: {why}.");
    };
    let after = match offset.samples < 0.0 {
        true => "before",
        false => "after",
    };
    let mut text = format!(
        "{unit} began {} {after} {}; its place rests on {} and is good to {} ({}).",
        say::short_time(offset.samples.abs() / rate),
        take.lead,
        say::rests_on(follower.basis),
        say::plus_minus_samples(offset.bound_samples),
        say::short_time(offset.bound_samples / rate)
    );
    if !follower.decision.is_empty() {
        text.push_str(&format!(" It was {}.", follower.decision));
    }
    text.push_str(&clock(follower, take));
    let lost: f64 = follower.slips.iter().map(|slip| slip.samples.abs()).sum();
    if !follower.slips.is_empty() {
        text.push_str(&format!(
            " Its file has {} ({lost:.0} samples in all); silence stands for what is missing, and what comes after is in \
             its place.",
            counted(follower.slips.len(), "slip")
        ));
    }
    text.push_str(&residual(follower, rate));
    text.push_str(&uses(follower, take));
    text
}

fn clock(follower: &SyncedFollower, take: &SyncedTake) -> String {
    let rate = f64::from(take.sample_rate.max(1));
    let copied = follower.came_as != "resampled";
    match (follower.rate, copied) {
        (None, _) => {
            " How its clock ran against the lead's could not be measured, so it may drift.".into()
        }
        (Some(clock), false) => format!(
            " Its clock ran {} ppm {}, {} over the take; it was resampled once along its measured clock, so no measurable drift \
             is left.",
            say::three_figures(clock.ppm.abs()),
            if clock.ppm < 0.0 { "slow" } else { "fast" },
            say::short_time(clock.over_take_samples.abs() / rate)
        ),
        (Some(clock), true) if clock.over_take_samples.abs() < 1.0 => {
            " The two clocks ran alike, and its samples are copies.".into()
        }
        (Some(clock), true) => format!(
            " Its clock ran {} ppm {} and its samples are copies: by the end of the take it has drifted {}.",
            say::three_figures(clock.ppm.abs()),
            if clock.ppm < 0.0 { "slow" } else { "fast" },
            say::short_time(clock.over_take_samples.abs() / rate)
        ),
    }
}

fn residual(follower: &SyncedFollower, rate: f64) -> String {
    let lags = follower.residuals.iter().map(|one| one.lag_samples.abs());
    match lags.clone().fold(f64::NEG_INFINITY, f64::max) {
        worst if worst.is_finite() => {
            // nobody has a use for less
            let worst = worst.max(FINEST);
            format!(
                " Measured again in {} of the finished recording, it lies within {} samples ({}) of the lead.",
                counted(follower.residuals.len(), "place"),
                say::three_figures(worst),
                say::short_time(worst / rate)
            )
        }
        _ => String::new(),
    }
}

fn uses(follower: &SyncedFollower, take: &SyncedTake) -> String {
    let with = format!("Together with {}'s channels", take.lead);
    let joined = |uses: &[String]| uses.join("; ");
    let air = match follower.basis {
        Basis::Stamps | Basis::Acoustic => {
            " The way of the sound between its microphones and the lead's was left as it was."
        }
        _ => "",
    };
    match (
        follower.good_for.as_slice(),
        follower.not_good_for.as_slice(),
    ) {
        ([], []) => air.into(),
        (_, []) => format!(
            " {with} it is good enough for every use, capsules of one array included; nothing has to be lined up.{air}"
        ),
        ([], not) => format!(
            " {with} it is good enough for none of these: {}.{air}",
            joined(not)
        ),
        (good, not) => format!(
            " {with} it is good enough for: {}. Not for: {}.{air}",
            joined(good),
            joined(not)
        ),
    }
}
