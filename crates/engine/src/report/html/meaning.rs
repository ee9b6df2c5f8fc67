//! A claim in, what it means to a listener out: the comb a sum would have, the uses it is good enough for, the signs asked.

use super::tables::table;
use crate::alignment::{JointTake, Member};
use crate::finding::Sign;
use crate::report::fitness::{Fitness, first_null_hz, sum_loss_db};
use crate::report::markup::Markup;
use crate::report::say;

/// The highest frequency that anybody hears, for words about the comb.
const HEARING_HZ: f64 = 20_000.0;

/// The section on what a listener would hear and which uses the placement is good enough for.
pub fn meaning(page: &mut Markup, member: &Member, joint: &JointTake) {
    let Some(fitness) = Fitness::of(member, joint) else {
        page.leaf(
            "p",
            &[],
            "Nothing can be said: the place is not established, so it is good enough for nothing until it is.",
        );
        return;
    };
    let rate = say::rate_of(joint).hz();
    let largest = fitness.largest_s();
    let null = first_null_hz(largest);
    let mut text = format!(
        "At worst {} is {} from its true place ({}): {} constant by the claim, {} that may change over the take \
         (three sigma). ",
        member.unit,
        say::plus_minus_samples(largest * rate),
        say::short_time(largest),
        say::short_time(fitness.constant_s),
        say::short_time(fitness.changing_s)
    );
    text.push_str(&match null > HEARING_HZ {
        true => format!(
            "Summed with an equal signal of {}, the first frequency to cancel would be {}, above hearing; at 20 kHz the \
             sum would lose {}.",
            joint.lead,
            say::frequency(null),
            loss_words(sum_loss_db(largest, HEARING_HZ))
        ),
        false => format!(
            "Summed with an equal signal of {}, the sum would cancel at {} and every odd multiple: a comb that is heard.",
            joint.lead,
            say::frequency(null)
        ),
    });
    page.leaf("p", &[], &text);
    let caption = format!(
        "Channels of {} together with channels of {}",
        member.unit, joint.lead
    );
    table(
        page,
        &caption,
        &["Used as", "Good enough", "Allowed", "Why"],
        |page| {
            for one in &fitness.uses {
                page.element("tr", &[], |page| {
                    page.leaf("th", &[("scope", "row")], one.name);
                    page.leaf("td", &[], if one.good_enough { "✓ yes" } else { "✗ no" });
                    page.leaf("td", &[], &format!("±{}", say::short_time(one.allowed_s)));
                    page.leaf("td", &[], one.why);
                });
            }
        },
    );
}

fn loss_words(loss_db: f64) -> String {
    match loss_db > -0.05 {
        true => "less than 0.1 dB".into(),
        false => format!("{:.1} dB", -loss_db),
    }
}

/// The signs that were asked for agreement.
pub fn signs_table(page: &mut Markup, signs: &[Sign]) {
    table(
        page,
        "Each speaks for the answer or against it",
        &["Asked", "Found", "Limit", "Result"],
        |page| {
            for sign in signs {
                page.element("tr", &[], |page| {
                    page.leaf("th", &[("scope", "row")], &sign.name);
                    page.leaf("td", &[], &say::three_figures(sign.value));
                    page.leaf("td", &[], &say::three_figures(sign.limit));
                    page.leaf(
                        "td",
                        &[],
                        if sign.passed {
                            "✓ passed"
                        } else {
                            "✗ failed"
                        },
                    );
                });
            }
        },
    );
}
