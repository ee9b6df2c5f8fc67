//! One answer and what is right in, right, near or wrong and the reason out.

use super::answer::Said;
use super::key::Expected;

/// How one answer was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// Right, and no more claimed than the recordings bear.
    Right,
    /// The truth, or nearly, with a claim that is too narrow or too wide.
    Near,
    /// Wrong, or claimed though nothing tells.
    Wrong,
    /// Said not to be established though it can be.
    NotKnown,
    /// Not answered.
    Empty,
}

impl Verdict {
    /// What it brings: a wrong answer costs as much as a right one brings, and saying that one does not know costs nothing.
    #[must_use]
    pub fn points(self) -> i32 {
        match self {
            Self::Right => MOST,
            Self::Near => 1,
            Self::NotKnown | Self::Empty => 0,
            Self::Wrong => -MOST,
        }
    }

    /// As it is printed.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Right => "right",
            Self::Near => "near",
            Self::Wrong => "wrong",
            Self::NotKnown => "not known",
            Self::Empty => "empty",
        }
    }
}

/// What a right answer brings.
pub(super) const MOST: i32 = 2;

/// A number so many times as far off as the recordings can tell is wrong; below it, near. Where content bounds it, twice: that
/// bound is no sigma.
const NEAR: f64 = 4.0;
const NEAR_BY_CONTENT: f64 = 2.0;
/// A claim narrower than this share of what content can tell claims too much.
const NARROW: f64 = 0.5;

/// How `said` is found, and a sentence about it where there is more to say than why the truth is the truth.
pub(super) fn judged(
    expected: &Expected,
    said: Option<&Said>,
    by_program: bool,
) -> (Verdict, String) {
    let plain = |verdict| (verdict, String::new());
    let with = |verdict, words: &str| (verdict, words.to_owned());
    match (expected, said) {
        (_, None) => plain(Verdict::Empty),
        (Expected::NotEstablished { .. }, Some(Said::NotEstablished)) => plain(Verdict::Right),
        (Expected::NotEstablished { words }, Some(Said::Word(word))) if holds(words, word) => {
            plain(Verdict::Right)
        }
        (Expected::NotEstablished { .. }, Some(_)) => with(
            Verdict::Wrong,
            "claimed although nothing on the cards tells; lucky or not",
        ),
        (Expected::Words(words), Some(said)) => {
            let word = match said {
                Said::NotEstablished => "not established".to_owned(),
                Said::Word(word) => word.clone(),
                // plus 0: minus nothing is nothing
                Said::Number(number, _) => format!("{}", number + 0.0),
            };
            match (holds(words, &word), said) {
                (true, _) => plain(Verdict::Right),
                (false, Said::NotEstablished) => plain(Verdict::NotKnown),
                (false, _) => plain(Verdict::Wrong),
            }
        }
        (Expected::Number { .. }, Some(Said::NotEstablished)) => plain(Verdict::NotKnown),
        (Expected::Number { .. }, Some(Said::Word(_))) => {
            with(Verdict::Wrong, "a number was asked for")
        }
        (
            Expected::Number {
                truth,
                reach,
                widest,
                ..
            },
            Some(Said::Number(number, plus_minus)),
        ) => {
            let far = (number - truth).abs();
            let claimed = plus_minus.unwrap_or(*reach);
            // content bounds what may be claimed; a wire or a stamp may be read as finely as one can
            let narrow = !by_program && *reach > 1.0 && claimed < NARROW * reach;
            if far <= claimed && claimed > *widest {
                with(
                    Verdict::Near,
                    "it holds the truth, but is so wide that it says little",
                )
            } else if far <= claimed && narrow {
                with(
                    Verdict::Near,
                    "true, but nothing on the cards bears so narrow a claim",
                )
            } else if far <= claimed {
                plain(Verdict::Right)
            } else if far <= *reach {
                with(
                    Verdict::Near,
                    "close, but the plus or minus does not hold the truth",
                )
            } else if far <= reach * if *reach > 1.0 { NEAR_BY_CONTENT } else { NEAR } {
                plain(Verdict::Near)
            } else {
                plain(Verdict::Wrong)
            }
        }
    }
}

/// A word as it is compared: without case, a hyphen or an underscore like a space.
pub(super) fn plain(word: &str) -> String {
    word.trim().to_lowercase().replace(['-', '_'], " ")
}

fn holds(words: &[String], word: &str) -> bool {
    words.iter().any(|known| plain(known) == plain(word))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn offset(truth: f64, reach: f64, widest: f64) -> Expected {
        Expected::Number {
            truth,
            reach,
            widest,
            unit: "samples",
        }
    }

    #[test]
    fn numbers_are_judged_with_what_was_claimed_of_them() {
        let wire = offset(100.0, 0.5, 20.0);
        let judge = |number: f64, plus_minus: Option<f64>| {
            judged(&wire, Some(&Said::Number(number, plus_minus)), false).0
        };
        assert_eq!(judge(100.3, None), Verdict::Right);
        assert_eq!(judge(100.001, Some(0.01)), Verdict::Right);
        assert_eq!(judge(100.3, Some(0.01)), Verdict::Near);
        assert_eq!(judge(110.0, Some(15.0)), Verdict::Right);
        assert_eq!(judge(110.0, Some(100.0)), Verdict::Near);
        assert_eq!(judge(101.5, None), Verdict::Near);
        assert_eq!(judge(103.0, Some(0.1)), Verdict::Wrong);
    }

    #[test]
    fn content_bears_no_narrow_claim() {
        let room = offset(100.0, 280.0, 1700.0);
        let judge =
            |plus_minus| judged(&room, Some(&Said::Number(101.0, Some(plus_minus))), false).0;
        assert_eq!(judge(280.0), Verdict::Right);
        assert_eq!(judge(2.0), Verdict::Near);
    }

    #[test]
    fn where_nothing_tells_saying_so_is_right_and_a_lucky_number_is_wrong() {
        let nothing = Expected::NotEstablished {
            words: vec!["none".into()],
        };
        assert_eq!(
            judged(&nothing, Some(&Said::NotEstablished), false).0,
            Verdict::Right
        );
        assert_eq!(
            judged(&nothing, Some(&Said::Word("None".into())), false).0,
            Verdict::Right
        );
        assert_eq!(
            judged(&nothing, Some(&Said::Number(1.0, None)), false).0,
            Verdict::Wrong
        );
        assert_eq!(judged(&nothing, None, false).0, Verdict::Empty);
        let wire = offset(100.0, 0.5, 20.0);
        assert_eq!(
            judged(&wire, Some(&Said::NotEstablished), false).0,
            Verdict::NotKnown
        );
        // a confident wrong answer costs more than saying that one does not know
        assert!(Verdict::Wrong.points() < Verdict::NotKnown.points());
    }
}
