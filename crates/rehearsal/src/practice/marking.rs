//! A practice shoot's truth and the answers in, one mark a question and the score out.

use serde::Serialize;

use super::answer::{Answers, Said};
use super::key::{Expected, Key};
use super::kind::Kind;
use super::verdict::{MOST, Verdict, judged};

/// One answer, marked.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Mark {
    /// The follower's take.
    pub take: String,
    /// The question, as the form calls it.
    pub asked: String,
    /// How the answer was found.
    pub verdict: Verdict,
    /// What was said.
    pub said: String,
    /// The truth.
    pub truth: String,
    /// Why.
    pub why: String,
    /// What it brings.
    pub points: i32,
}

/// All answers, marked.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Marks {
    /// What happened on the shoot.
    pub kind: Kind,
    /// One entry a question.
    pub marks: Vec<Mark>,
    /// The points of all.
    pub points: i32,
    /// What could be had.
    pub most: i32,
}

impl Marks {
    pub(super) fn of(key: &Key, answers: &Answers) -> Self {
        let marks: Vec<Mark> = key
            .questions()
            .into_iter()
            .map(|question| {
                let take = answers.takes.get(&question.take);
                let said = take.and_then(|take| take.get(question.asked));
                let (verdict, more) = judged(&question.expected, said, answers.by_program);
                let why = match more.is_empty() {
                    true => question.why,
                    false => format!("{more}; {}", question.why),
                };
                Mark {
                    take: question.take,
                    asked: question.asked.to_owned(),
                    verdict,
                    said: said.map_or_else(String::new, shown),
                    truth: truth(&question.expected),
                    why,
                    points: verdict.points(),
                }
            })
            .collect();
        Self {
            kind: key.kind,
            points: marks.iter().map(|mark| mark.points).sum(),
            most: MOST * marks.len() as i32,
            marks,
        }
    }

    /// How many answers were found so.
    #[must_use]
    pub fn count(&self, verdict: Verdict) -> usize {
        self.marks
            .iter()
            .filter(|mark| mark.verdict == verdict)
            .count()
    }
}

fn shown(said: &Said) -> String {
    match said {
        Said::Number(number, Some(plus_minus)) => {
            // two digits of what is uncertain, and the number as far
            let digits = match *plus_minus > 0.0 {
                true => (1.0 - plus_minus.log10().floor()).clamp(0.0, 6.0) as usize,
                false => 3,
            };
            format!("{number:.digits$} ±{plus_minus:.digits$}")
        }
        Said::Number(number, None) => short(*number),
        Said::Word(word) => word.clone(),
        Said::NotEstablished => "not established".to_owned(),
    }
}

fn truth(expected: &Expected) -> String {
    match expected {
        Expected::Words(words) => words.first().cloned().unwrap_or_default(),
        Expected::Number { truth, unit, .. } => format!("{} {unit}", short(*truth)),
        Expected::NotEstablished { .. } => "not established".to_owned(),
    }
}

/// To thousandths, without zeros at the end.
fn short(number: f64) -> String {
    let text = format!("{number:.3}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    match text {
        "-0" | "" => "0".to_owned(),
        _ => text.to_owned(),
    }
}
