//! A practice shoot's truth in, the sheet of questions and the form for the answers out, neither of which gives it away.

use std::fmt::Write as _;

use super::key::{Key, SPACING_M, take_of};

/// The sheet.
pub(super) fn questions(key: &Key) -> String {
    let mut text = format!(
        "A PRACTICE SHOOT\n\n\
         Two units recorded; their cards are in the folder cards. {} is the lead. Microphones on different units stood at most \
         {SPACING_M} m\napart. Whether a signal was wired to both, whether the stamps are right, whether anything at all can be \
         said: find out.\n\n\
         Answer for each take of the follower, in {}:\n\n",
        key.lead(),
        super::FORM,
    );
    for (asked, question) in [
        ("ran_with", "Which take of the lead ran together with it?"),
        (
            "offset_samples",
            "At which sample of the lead does its first sample fall? Later is positive.",
        ),
        (
            "rate_ppm",
            "How much faster than the lead's does its clock run, in parts per million?",
        ),
        (
            "slip_samples",
            "How many samples too many are in its file (too few: below 0; none: 0)?",
        ),
        (
            "inverted",
            "Is the common signal upside down on it: yes, no, or no common signal?",
        ),
        (
            "basis",
            "What may be claimed of the offset: common-signal, stamps, acoustic (content alone), or none?",
        ),
    ] {
        let _ = writeln!(text, "  {asked:15} {question}");
    }
    text.push_str(
        "\nTo offset and rate belongs a plus_minus: how far off you may be. \"not established\" is an answer: full credit where \
         nothing\ncan be established, no loss where something could. A wrong answer costs two points; a line left empty costs \
         nothing.\nThe takes to answer for:\n\n",
    );
    for truth in &key.takes {
        for unit in truth.units.iter().skip(1) {
            let _ = writeln!(text, "  {} on {}", take_of(unit), unit.name);
        }
    }
    text
}

/// The form.
pub(super) fn form(key: &Key) -> String {
    let mut text = "# Fill in numbers or words between the quotes: \"48210.4\", \"not established\". Empty: not answered.\n"
        .to_owned();
    for truth in &key.takes {
        for unit in truth.units.iter().skip(1) {
            let _ = write!(text, "\n[[take]]\ntake = \"{}\"\n", take_of(unit));
            for line in [
                "ran_with",
                "offset_samples",
                "offset_plus_minus",
                "rate_ppm",
                "rate_plus_minus",
                "slip_samples",
                "inverted",
                "basis",
            ] {
                let _ = writeln!(text, "{line} = \"\"");
            }
        }
    }
    text
}
