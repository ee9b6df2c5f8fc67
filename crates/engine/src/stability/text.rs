//! Text in columns in, phases or temperatures out: commas, semicolons, tabs or spaces between columns, `#` before a comment, one
//! line of headings at most.

use super::series::Phase;
use super::temperature::Reading;
use crate::error::{Error, Kind, Result};

/// Rows that are read at most: a second apart they last fifty-seven days.
const MOST_ROWS: usize = 5_000_000;

/// Reads phases: the time in seconds, and by how many seconds the clock is ahead; or the latter alone, `interval_s` apart.
///
/// # Errors
/// [`Kind::Format`] with the line where a row is none, where time does not rise, or where one column has no interval.
pub fn phases_of(text: &str, interval_s: Option<f64>) -> Result<Vec<Phase>> {
    let rows = rows_of(text, "time in seconds and phase in seconds, or phase alone")?;
    let alone = rows.first().is_some_and(|(_, columns)| columns.len() == 1);
    let interval = match (alone, interval_s) {
        (true, None) => {
            return Err(Error::new(
                Kind::Usage,
                "holds one column: how far apart its phases are is not known",
            )
            .then("give --interval SECONDS, or a column of times before the phases"));
        }
        (false, Some(_)) => {
            return Err(Error::new(
                Kind::Usage,
                "holds times of its own, and an interval was given as well",
            )
            .then("leave --interval out"));
        }
        (_, interval) => interval.unwrap_or(0.0),
    };
    let mut phases: Vec<Phase> = Vec::with_capacity(rows.len());
    for (at, (line, columns)) in rows.into_iter().enumerate() {
        let phase = match columns[..] {
            [ahead_s] if alone => Phase {
                at_s: interval * at as f64,
                ahead_s,
            },
            [at_s, ahead_s] if !alone => Phase { at_s, ahead_s },
            _ => {
                return Err(broken(
                    line,
                    format!(
                        "{} columns, where the first row has {}",
                        columns.len(),
                        if alone { "one" } else { "two" }
                    ),
                ));
            }
        };
        if phases.last().is_some_and(|last| phase.at_s <= last.at_s) {
            return Err(broken(line, format!("time {} does not rise", phase.at_s)));
        }
        phases.push(phase);
    }
    Ok(phases)
}

/// Reads a log of temperatures: the time in seconds as the phases count it, and degrees Celsius.
///
/// # Errors
/// [`Kind::Format`] with the line where a row is none, where time does not rise, or where no temperature can be so.
pub fn temperatures_of(text: &str) -> Result<Vec<Reading>> {
    let mut log: Vec<Reading> = Vec::new();
    for (line, columns) in rows_of(text, "time in seconds and degrees Celsius")? {
        let [at_s, celsius] = columns[..] else {
            let found = format!("{} columns", columns.len());
            return Err(broken(line, format!("{found}, where two are expected")));
        };
        if !(-273.15..=200.0).contains(&celsius) {
            return Err(broken(
                line,
                format!("{celsius} is no temperature in degrees Celsius"),
            ));
        }
        if log.last().is_some_and(|last| at_s <= last.at_s) {
            return Err(broken(line, format!("time {at_s} does not rise")));
        }
        log.push(Reading { at_s, celsius });
    }
    Ok(log)
}

fn broken(line: usize, found: String) -> Error {
    Error::new(Kind::Format, format!("line {line}: {found}")).then(
        "one row a measurement, numbers with a point, columns apart by commas, tabs or spaces",
    )
}

/// The numbers of every row, with its line.
fn rows_of(text: &str, expected: &str) -> Result<Vec<(usize, Vec<f64>)>> {
    let mut rows = Vec::new();
    let mut headings = false;
    for (line, whole) in (1..).zip(text.trim_start_matches('\u{feff}').lines()) {
        let row = whole.split('#').next().unwrap_or_default().trim();
        if row.is_empty() {
            continue;
        }
        let cells = row
            .split(|c: char| matches!(c, ',' | ';') || c.is_whitespace())
            .filter(|cell| !cell.is_empty());
        let numbers: Vec<Option<f64>> = cells
            .map(|cell| cell.parse().ok().filter(|value: &f64| value.is_finite()))
            .collect();
        if rows.is_empty() && !headings && numbers.iter().all(Option::is_none) {
            headings = true;
            continue;
        }
        let shown: String = row.chars().take(40).collect();
        let Some(numbers) = numbers.into_iter().collect::<Option<Vec<f64>>>() else {
            return Err(broken(line, format!("`{shown}` is not {expected}")));
        };
        if rows.len() == MOST_ROWS {
            return Err(Error::new(
                Kind::Unsupported,
                format!("line {line}: more than {MOST_ROWS} rows"),
            )
            .then("give every tenth row, or a part of the file"));
        }
        rows.push((line, numbers));
    }
    match rows.is_empty() {
        true => {
            Err(Error::new(Kind::Format, "holds no numbers")
                .then(format!("each row is {expected}")))
        }
        false => Ok(rows),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_kinds_of_columns_are_read() {
        let two = phases_of("t_s,x_s\r\n0,1e-6\r\n1,2e-6 # warm\r\n\r\n2;3e-6\n", None);
        let two = two.expect("two columns");
        assert_eq!(two.len(), 3);
        assert_eq!((two[2].at_s, two[2].ahead_s), (2.0, 3e-6));
        let one = phases_of("# phase\n1e-6\n2e-6\n", Some(0.5)).expect("one column");
        assert_eq!((one[1].at_s, one[1].ahead_s), (0.5, 2e-6));
        let log = temperatures_of("0\t21.5\n60\t21.7\n").expect("a log");
        assert_eq!((log[1].at_s, log[1].celsius), (60.0, 21.7));
    }

    #[test]
    fn what_is_wrong_is_said_with_its_line() {
        for (text, interval, said) in [
            ("1\n2\n", None, "how far apart"),
            ("0 1\n1 2\n", Some(1.0), "times of its own"),
            ("0 1\n1 2\n1 3\n", None, "line 3: time 1 does not rise"),
            ("0 1\n1 x\n", None, "line 2: `1 x` is not"),
            ("a b\nc d\n0 1\n", None, "line 2"),
            ("0 1\n1 2 3\n", None, "line 2: 3 columns"),
            ("0 1\n1 inf\n", None, "line 2"),
            ("# nothing\n", None, "no numbers"),
        ] {
            let error = phases_of(text, interval).expect_err(text);
            assert!(error.message().contains(said), "{text}: {error:?}");
        }
        let error = temperatures_of("0 300\n").expect_err("hot");
        assert!(error.message().contains("line 1: 300 is no"), "{error:?}");
    }
}
