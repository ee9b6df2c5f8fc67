//! Practice: a kind of shoot in, cards, a sheet of questions and a sealed truth out; an answer in, marks out.
//!
//! [`make`] writes a shoot whose truth is known but not shown; [`mark`] holds a person's answers, or what the program itself
//! found, against it. Where nothing can be established, saying so is the right answer, and a confident wrong answer costs
//! more than "not established".

mod kind;
mod key;
mod sheet;
mod answer;
mod verdict;
mod marking;

use std::fs::{self, File};
use std::io::Write as _;
use std::path::Path;

pub use answer::{Answers, Said, TakeAnswers};
pub use key::{Expected, Key, Question};
pub use kind::{Kind, Level};
pub use marking::{Mark, Marks};
pub use verdict::Verdict;

use crate::error::{Error, Result};
use crate::write::write_cards;

/// Where the cards are.
pub const CARDS: &str = "cards";
/// The sealed truth.
pub const SEALED: &str = "truth.sealed";
/// The sheet of questions.
pub const SHEET: &str = "questions.txt";
/// The form for the answers.
pub const FORM: &str = "answers.toml";

/// Makes a practice shoot below `root`, which must not exist.
///
/// # Errors
/// When `root` exists or something cannot be written.
pub fn make(root: &Path, kind: Kind, seed: u64, progress: impl FnMut(f64)) -> Result<Key> {
    if root.exists() {
        return Err(Error::file(root, "exists already"));
    }
    let shoots = kind.shoots(seed);
    let takes = write_cards(&shoots, &root.join(CARDS), progress)?;
    let key = Key::new(kind, seed, takes);
    write(&root.join(SEALED), &key.sealed()?)?;
    write(&root.join(SHEET), &sheet::questions(&key))?;
    write(&root.join(FORM), &sheet::form(&key))?;
    Ok(key)
}

fn write(path: &Path, text: &str) -> Result<()> {
    #[expect(
        clippy::disallowed_methods,
        reason = "rehearsal makes the files of a shoot"
    )]
    let mut file = File::create_new(path).map_err(|error| Error::file(path, error))?;
    file.write_all(text.as_bytes())
        .map_err(|error| Error::file(path, error))
}

/// Marks the answers in `answer`, a form filled in or an alignment file, against the truth of the practice shoot in `root`.
///
/// # Errors
/// When either cannot be read or is not what it should be.
pub fn mark(root: &Path, answer: &Path) -> Result<Marks> {
    let sealed = root.join(SEALED);
    let key = Key::of_sealed(&text(&sealed)?).map_err(|why| Error::file(&sealed, why))?;
    let answers = Answers::of(&text(answer)?, &key).map_err(|why| Error::file(answer, why))?;
    Ok(Marks::of(&key, &answers))
}

/// Largest answer that is read: the alignment of a day of practice has some megabytes.
const LARGEST: u64 = 1 << 28;

fn text(path: &Path) -> Result<String> {
    let about = fs::metadata(path).map_err(|error| Error::file(path, error))?;
    if about.len() > LARGEST {
        return Err(Error::file(path, "is too large for an answer"));
    }
    fs::read_to_string(path).map_err(|error| Error::file(path, error))
}
