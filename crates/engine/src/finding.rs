//! A [`Finding`]: something a person should know, as data: what, how grave, where, value against limit, likely cause and
//! next step. Every front end shows the same findings in its own way.

use serde::{Deserialize, Serialize};

/// How grave a finding is; ordered from mild to grave.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Weight {
    /// Recorded, nothing to do.
    Note,
    /// Work goes on; listed at the top of the report.
    Warn,
    /// Needs a person's decision; unattended, this item is left out and the exit status tells.
    Ask,
    /// This item is refused; the others go on.
    Stop,
}

/// One thing a person should know.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// A stable name for machines: lower case, dashes, e.g. `rates-differ`.
    pub code: String,
    /// How grave it is.
    pub weight: Weight,
    /// One sentence for a person, lower case start allowed, no full stop needed.
    pub message: String,
    /// Where: a path, a unit, a take, a channel, a position; empty when it concerns everything.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub place: String,
    /// What was found, with its unit.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub value: String,
    /// What was expected or allowed, with its unit.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub limit: String,
    /// The likely cause in plain words.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub cause: String,
    /// What to do next.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub next_step: String,
}

impl Finding {
    /// A finding with a code, a weight and a sentence; fill the other fields with struct update or the `with_` methods.
    #[must_use]
    pub fn new(code: &str, weight: Weight, message: impl Into<String>) -> Self {
        Self {
            code: code.into(),
            weight,
            message: message.into(),
            place: String::new(),
            value: String::new(),
            limit: String::new(),
            cause: String::new(),
            next_step: String::new(),
        }
    }

    /// Says where.
    #[must_use]
    pub fn at(mut self, place: impl Into<String>) -> Self {
        self.place = place.into();
        self
    }

    /// Says what was found and what was expected or allowed.
    #[must_use]
    pub fn measured(mut self, value: impl Into<String>, limit: impl Into<String>) -> Self {
        self.value = value.into();
        self.limit = limit.into();
        self
    }

    /// Says the likely cause.
    #[must_use]
    pub fn because(mut self, cause: impl Into<String>) -> Self {
        self.cause = cause.into();
        self
    }

    /// Says what to do next.
    #[must_use]
    pub fn then(mut self, next_step: impl Into<String>) -> Self {
        self.next_step = next_step.into();
        self
    }
}

/// One independent sign that the answer is right, or is not.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sign {
    /// What was asked, in plain words.
    pub name: String,
    /// What was found.
    pub value: f64,
    /// What is needed.
    pub limit: f64,
    /// Whether it speaks for the answer.
    pub passed: bool,
}

impl Sign {
    /// One that asks for at least `limit`.
    #[must_use]
    pub fn at_least(name: impl Into<String>, value: f64, limit: f64) -> Self {
        Self {
            name: name.into(),
            value,
            limit,
            passed: value >= limit,
        }
    }

    /// One that allows at most `limit`.
    #[must_use]
    pub fn at_most(name: impl Into<String>, value: f64, limit: f64) -> Self {
        Self {
            name: name.into(),
            value,
            limit,
            passed: value <= limit,
        }
    }
}

/// A result that succeeded and still has something to say.
#[derive(Debug, Clone, PartialEq)]
pub struct Warned<T> {
    /// What was asked for.
    pub value: T,
    /// What a person should know about it.
    pub findings: Vec<Finding>,
}

impl<T> Warned<T> {
    /// A value with nothing to say about it.
    pub fn quiet(value: T) -> Self {
        Self {
            value,
            findings: Vec::new(),
        }
    }

    /// Takes the value and moves the findings to the end of `into`.
    pub fn drain_into(self, into: &mut Vec<Finding>) -> T {
        into.extend(self.findings);
        self.value
    }
}
