//! A form filled in, or an alignment file, in; what it says of each take of the follower out.

use std::collections::BTreeMap;

use serde::Deserialize;

use super::key::{Key, take_of};
use super::verdict::plain;

/// What was said to one question.
#[derive(Debug, Clone, PartialEq)]
pub enum Said {
    /// A number, and how far off it may be.
    Number(f64, Option<f64>),
    /// A word.
    Word(String),
    /// That it is not established.
    NotEstablished,
}

/// What was said of one take, by question.
pub type TakeAnswers = BTreeMap<String, Said>;

/// What was said of every take.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Answers {
    /// By the follower's take.
    pub takes: BTreeMap<String, TakeAnswers>,
    /// Whether the program said it, not a person.
    pub by_program: bool,
}

impl Answers {
    pub(super) fn of(text: &str, key: &Key) -> Result<Self, String> {
        if text.trim_start().starts_with('{') {
            of_alignment(text, key)
        } else {
            of_form(text, key)
        }
    }
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Form {
    take: Vec<BTreeMap<String, Filled>>,
}

#[derive(Debug, Deserialize)]
#[serde(untagged)]
enum Filled {
    Whole(i64),
    Number(f64),
    Words(String),
}

impl Filled {
    fn words(&self) -> String {
        match self {
            Self::Whole(whole) => whole.to_string(),
            Self::Number(number) => number.to_string(),
            Self::Words(words) => words.trim().to_owned(),
        }
    }
}

const NUMBERS: [(&str, Option<&str>); 3] = [
    ("offset_samples", Some("offset_plus_minus")),
    ("rate_ppm", Some("rate_plus_minus")),
    ("slip_samples", None),
];
const WORDS: [&str; 3] = ["ran_with", "inverted", "basis"];

/// The words a question takes; none for any.
fn words_for(field: &str) -> &'static [&'static str] {
    match field {
        "inverted" => &["yes", "no", "no common signal"],
        "basis" => &[
            "common-signal",
            "timecode-track",
            "calibration",
            "stamps",
            "acoustic",
            "manual",
            "none",
        ],
        _ => &[],
    }
}

fn of_form(text: &str, key: &Key) -> Result<Answers, String> {
    let form: Form = toml::from_str(text).map_err(|error| error.to_string())?;
    let mut answers = Answers::default();
    let known: Vec<String> = followers(key).collect();
    for filled in form.take {
        let name = filled.get("take").map_or_else(String::new, Filled::words);
        if !known.contains(&name) {
            return Err(format!(
                "answers for a take `{name}`; the shoot has {}",
                known.join(", ")
            ));
        }
        let fields = |field: &&str| {
            WORDS.contains(field) || NUMBERS.iter().any(|n| n.0 == *field || n.1 == Some(field))
        };
        if let Some(odd) = filled
            .keys()
            .map(String::as_str)
            .find(|f| *f != "take" && !fields(f))
        {
            return Err(format!("{name}: there is no question `{odd}`"));
        }
        let mut said = TakeAnswers::new();
        for (field, beside) in NUMBERS {
            let number =
                |field: &str| -> Result<Option<Said>, String> {
                    let words = filled.get(field).map_or_else(String::new, Filled::words);
                    match plain(&words).as_str() {
                        "" => return Ok(None),
                        "not established" => return Ok(Some(Said::NotEstablished)),
                        _ => {}
                    }
                    let number = words.parse().ok().filter(|number: &f64| number.is_finite());
                    number.map(|number| Some(Said::Number(number, None))).ok_or_else(|| {
                    format!("{name}: {field} is `{words}`; expected a number or `not established`")
                })
                };
            let plus_minus = match beside.map(number).transpose()?.flatten() {
                Some(Said::Number(number, _)) if number < 0.0 => {
                    let field = beside.unwrap_or_default();
                    return Err(format!("{name}: {field} is {number}; expected 0 or more"));
                }
                Some(Said::Number(number, _)) => Some(number),
                _ => None,
            };
            match number(field)? {
                Some(Said::Number(number, _)) => {
                    said.insert(field.to_owned(), Said::Number(number, plus_minus));
                }
                Some(other) => {
                    said.insert(field.to_owned(), other);
                }
                None => {}
            }
        }
        for field in WORDS {
            let words = filled.get(field).map_or_else(String::new, Filled::words);
            match plain(&words).as_str() {
                "" => {}
                "not established" => {
                    said.insert(field.to_owned(), Said::NotEstablished);
                }
                _ => {
                    let may = words_for(field);
                    if !may.is_empty() && !may.iter().any(|word| plain(word) == plain(&words)) {
                        return Err(format!(
                            "{name}: {field} is `{words}`; expected {} or not established",
                            may.join(", ")
                        ));
                    }
                    said.insert(field.to_owned(), Said::Word(words));
                }
            }
        }
        if answers.takes.insert(name.clone(), said).is_some() {
            return Err(format!("{name}: is answered twice"));
        }
    }
    if answers.takes.values().all(BTreeMap::is_empty) {
        return Err("answers nothing yet: fill it in before the truth is told".into());
    }
    Ok(answers)
}

fn followers(key: &Key) -> impl Iterator<Item = String> + '_ {
    key.takes
        .iter()
        .flat_map(|truth| truth.units.iter().skip(1).map(take_of))
}

// The published fields of an alignment file that answer something.

#[derive(Debug, Deserialize)]
struct Alignment {
    format: String,
    joint_takes: Vec<JointTake>,
}

#[derive(Debug, Deserialize)]
struct JointTake {
    lead: String,
    members: Vec<Member>,
}

#[derive(Debug, Deserialize)]
struct Member {
    unit: String,
    #[serde(default)]
    take: String,
    basis: String,
    status: String,
    offset_samples: f64,
    offset_bound_samples: f64,
    rate_ppm: f64,
    rate_sigma_ppm: f64,
    #[serde(default)]
    rate_measured: bool,
    #[serde(default)]
    slips: Vec<Slip>,
    #[serde(default)]
    evidence: Option<Evidence>,
}

#[derive(Debug, Deserialize)]
struct Slip {
    samples: f64,
}

#[derive(Debug, Deserialize)]
struct Evidence {
    #[serde(default)]
    common_level: Option<CommonLevel>,
}

#[derive(Debug, Deserialize)]
struct CommonLevel {
    inverted: bool,
}

fn of_alignment(text: &str, key: &Key) -> Result<Answers, String> {
    let alignment: Alignment = serde_json::from_str(text).map_err(|error| error.to_string())?;
    if alignment.format != "commontime-alignment" {
        return Err(format!(
            "is a `{}`; expected an alignment file or the form filled in",
            alignment.format
        ));
    }
    // a take that is in no joint take: the program placed it nowhere
    let mut takes: BTreeMap<String, TakeAnswers> =
        followers(key).map(|take| (take, nothing_said())).collect();
    for joint in &alignment.joint_takes {
        if joint.lead != key.lead() {
            return Err(format!(
                "was made with {} as the lead; align again with --lead {}",
                joint.lead,
                key.lead()
            ));
        }
        let lead = joint
            .members
            .iter()
            .find(|member| member.unit == joint.lead);
        let with = lead.map_or("", |lead| lead.take.as_str());
        for member in joint
            .members
            .iter()
            .filter(|member| member.unit != joint.lead)
        {
            if let Some(said) = takes.get_mut(&member.take) {
                *said = told(member, with);
            }
        }
    }
    Ok(Answers {
        takes,
        by_program: true,
    })
}

fn nothing_said() -> TakeAnswers {
    let asked = WORDS.into_iter().chain(NUMBERS.iter().map(|n| n.0));
    asked
        .map(|asked| (asked.to_owned(), Said::NotEstablished))
        .collect()
}

fn told(member: &Member, with: &str) -> TakeAnswers {
    let mut said = nothing_said();
    let mut say = |asked: &str, what: Said| {
        said.insert(asked.to_owned(), what);
    };
    // what needs a person's decision is not claimed
    if member.status != "established" {
        return said;
    }
    say("ran_with", Said::Word(with.to_owned()));
    say(
        "offset_samples",
        Said::Number(member.offset_samples, Some(member.offset_bound_samples)),
    );
    if member.rate_measured {
        say(
            "rate_ppm",
            Said::Number(member.rate_ppm, Some(3.0 * member.rate_sigma_ppm)),
        );
    }
    let slipped: f64 = member.slips.iter().map(|slip| slip.samples).sum();
    say("slip_samples", Said::Number(slipped.round(), None));
    let level = member
        .evidence
        .as_ref()
        .and_then(|e| e.common_level.as_ref());
    let inverted = match (level, member.basis.as_str()) {
        (Some(level), _) if level.inverted => "yes",
        (Some(_), _) => "no",
        (None, "common-signal") => "",
        (None, _) => "no common signal",
    };
    if !inverted.is_empty() {
        say("inverted", Said::Word(inverted.to_owned()));
    }
    say("basis", Said::Word(member.basis.clone()));
    said
}
