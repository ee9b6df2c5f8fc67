//! What a test tells of clocks in, its page and its tables out.

use super::forecast::Forecast;
use super::judge::Row;
use super::noise::Interval;
use super::told::{ClockTest, Stability};
use super::words::{MODEL, UNKNOWN};
use crate::error::Result;
use crate::output::report_table;
use crate::report::{
    Axis, Block, Cell, Document, Entry, Figure, Mark, Scale, Table, axis_around, length_of_time,
    short_time, three_figures,
};

/// A picture of phases has so many points at most.
const MOST_POINTS: usize = 2000;

impl Stability {
    /// The page's document.
    #[must_use]
    pub fn document(&self, made_by: &str) -> Document {
        let names: Vec<&str> = self.clocks.iter().map(|one| one.unit.as_str()).collect();
        let mut entries: Vec<Entry> = (0..)
            .zip(&self.clocks)
            .map(|(number, one)| one.entry(number))
            .collect();
        if !self.findings.is_empty() {
            let blocks = self.findings.iter().map(Block::finding).collect();
            entries.push(Entry::new("What to know", blocks));
        }
        entries.push(Entry::new(
            "What this rests on",
            vec![
                Block::Words(
                    "Deviations, their intervals and the noise that rules them: NIST SP 1065. Intervals hold with 95 % \
                     confidence."
                        .into(),
                ),
                Block::Words(MODEL.into()),
                Block::Words(UNKNOWN.into()),
            ],
        ));
        Document {
            kind: "Report on a long test of clocks".into(),
            title: match names[..] {
                [] => "No clock was measured".into(),
                _ => format!("Clocks of {}", names.join(", ")),
            },
            made_by: made_by.into(),
            facts: vec![
                ("Clocks", self.clocks.len().to_string()),
                ("Timecode frames a second", self.frame_rate.clone()),
            ],
            verdict: self
                .clocks
                .iter()
                .map(|one| {
                    format!(
                        "{} against {}: {}.",
                        one.unit,
                        one.against,
                        one.rate_words()
                    )
                })
                .collect::<Vec<_>>()
                .join(" "),
            entries,
            broad: false,
        }
    }

    /// The deviations as a table.
    ///
    /// # Errors
    /// When the table cannot be written.
    pub fn deviations_csv(&self) -> Result<String> {
        let columns = [
            "unit",
            "against",
            "averaging_s",
            "allan",
            "allan_low",
            "allan_high",
            "modified",
            "modified_low",
            "modified_high",
            "time_s",
            "time_low_s",
            "time_high_s",
            "noise",
            "edf",
            "measuring",
        ];
        let cells = |one: Option<Interval>| {
            one.map_or([const { String::new() }; 3], |one| {
                [one.value, one.low, one.high].map(figures)
            })
        };
        let rows = self.clocks.iter().flat_map(|clock| {
            clock.judged.rows.iter().map(move |row: &Row| {
                let mut all = vec![
                    clock.unit.clone(),
                    clock.against.clone(),
                    row.averaging_s.to_string(),
                ];
                all.extend(cells(Some(row.allan)));
                all.extend(cells(row.modified));
                all.extend(cells(row.time_s));
                all.extend([
                    row.noise.words().to_string(),
                    format!("{:.2}", row.freedom),
                    figures(row.measuring),
                ]);
                all
            })
        });
        report_table(&columns, rows)
    }

    /// The judged phases as a table.
    ///
    /// # Errors
    /// When the table cannot be written.
    pub fn phases_csv(&self) -> Result<String> {
        let rows = self.clocks.iter().flat_map(|clock| {
            clock.phases.iter().map(move |[at, ahead]| {
                (
                    clock.unit.clone(),
                    clock.against.clone(),
                    format!("{at:.6}"),
                    figures(*ahead),
                )
            })
        });
        report_table(&["unit", "against", "time_s", "phase_s"], rows)
    }
}

fn figures(value: f64) -> String {
    format!("{value:.9e}")
}

impl ClockTest {
    fn entry(&self, number: usize) -> Entry {
        let mut blocks = vec![
            Block::Claim(format!("{}.", crate::units::capital(&self.rate_words()))),
            Block::Words(format!("{}; {}.", self.rests_on, self.length_words())),
        ];
        let others = self.other_words().into_iter();
        blocks
            .extend(others.map(|line| Block::Words(format!("{}.", crate::units::capital(&line)))));
        blocks.push(Block::Table(self.forecast_table()));
        blocks.push(Block::Picture(
            self.deviation_figure(number).into(),
            "Overlapping Allan deviation (line, its 95 % interval shaded) and what the noise of measuring alone would give \
             (broken line)."
                .into(),
        ));
        blocks.push(Block::Picture(
            self.phase_figure(number).into(),
            "By how much the unit's clock is ahead, less its mean rate: what a unit whose rate is taken out would still be \
             off by."
                .into(),
        ));
        blocks.push(Block::Table(self.row_table()));
        Entry::new(&format!("{} against {}", self.unit, self.against), blocks)
    }

    fn forecast_table(&self) -> Table {
        let row = |one: &Forecast| -> Vec<Cell> {
            vec![
                format!("{} ({})", one.limit, short_time(one.limit_s)).into(),
                one.as_it_is.words().into(),
                one.rate_taken_out.words().into(),
            ]
        };
        Table {
            caption: "After a jam the timecode stays within".into(),
            headings: vec!["Limit", "As it is", "With the mean rate taken out"],
            rows: self.judged.forecasts.iter().map(row).collect(),
        }
    }

    fn row_table(&self) -> Table {
        let ppm = |value: f64| three_figures(1e6 * value);
        let row = |one: &Row| -> Vec<Cell> {
            vec![
                length_of_time(one.averaging_s).into(),
                ppm(one.allan.value).into(),
                format!("{} to {}", ppm(one.allan.low), ppm(one.allan.high)).into(),
                one.modified
                    .map_or_else(String::new, |m| ppm(m.value))
                    .into(),
                one.time_s
                    .map_or_else(String::new, |t| short_time(t.value))
                    .into(),
                match one.is_measuring {
                    true => format!("{} (measuring)", one.noise.words()),
                    false => one.noise.words().to_string(),
                }
                .into(),
            ]
        };
        Table {
            caption: "Deviations, ppm".into(),
            headings: vec![
                "Averaged for",
                "Allan, overlapping",
                "95 % interval",
                "Modified Allan",
                "Time deviation",
                "Ruled by",
            ],
            rows: self.judged.rows.iter().map(row).collect(),
        }
    }

    fn deviation_figure(&self, number: usize) -> Figure {
        let rows = self.judged.rows.iter().filter(|row| row.allan.value > 0.0);
        let log = |value: f64| (1e6 * value).log10();
        let rows: Vec<(f64, &Row)> = rows.map(|row| (row.averaging_s.log10(), row)).collect();
        let line: Vec<_> = rows
            .iter()
            .map(|(t, row)| (*t, log(row.allan.value)))
            .collect();
        let ends = rows
            .iter()
            .flat_map(|(_, row)| [log(row.allan.low), log(row.allan.high)]);
        let ends: Vec<f64> = ends.collect();
        let up = decades(ends.iter().copied(), "Allan deviation, ppm");
        let floor = rows
            .iter()
            .map(|(t, row)| (*t, log(row.measuring)))
            .filter(|(_, value)| *value >= up.least);
        Figure {
            id: format!("deviation-{number}"),
            title: format!("Allan deviation of {} against {}", self.unit, self.against),
            description: match self.judged.rows.last() {
                Some(last) => format!(
                    "At {} it is {} ppm.",
                    length_of_time(last.averaging_s),
                    three_figures(1e6 * last.allan.value)
                ),
                None => "Nothing was measured.".into(),
            },
            across: decades(rows.iter().map(|row| row.0), "averaged for, seconds"),
            marks: vec![
                Mark::Band(
                    rows.iter()
                        .map(|(t, row)| (*t, log(row.allan.low), log(row.allan.high)))
                        .collect(),
                ),
                Mark::Dashed(floor.collect()),
                Mark::Line(line.clone()),
                Mark::Rings(line),
            ],
            up,
        }
    }

    fn phase_figure(&self, number: usize) -> Figure {
        let step = self.phases.len().div_ceil(MOST_POINTS).max(1);
        let [from, first] = self.phases.first().copied().unwrap_or_default();
        let rate = 1e-6 * self.judged.rate_ppm;
        let points: Vec<(f64, f64)> = self
            .phases
            .iter()
            .step_by(step)
            .map(|[at, ahead]| (*at, 1e3 * (ahead - first - rate * (at - from))))
            .collect();
        let most = points.iter().fold(0.0, |most: f64, p| most.max(p.1.abs()));
        Figure {
            id: format!("phase-{number}"),
            title: format!(
                "Phase of {} against {}, less its mean rate",
                self.unit, self.against
            ),
            description: format!("It departs by up to {}.", short_time(1e-3 * most)),
            across: Axis {
                label: "time".into(),
                least: from,
                greatest: from + self.judged.seconds.max(1e-3),
                scale: Scale::Time,
            },
            up: phase_axis(&points),
            marks: vec![Mark::Line(points)],
        }
    }
}

fn phase_axis(points: &[(f64, f64)]) -> Axis {
    let most = points.iter().fold(1e-6, |most: f64, p| most.max(p.1.abs()));
    Axis {
        label: "ahead, ms".into(),
        least: -1.08 * most,
        greatest: 1.08 * most,
        scale: Scale::Number,
    }
}

/// Whole decades around values that are logarithms.
fn decades(values: impl Iterator<Item = f64>, label: &str) -> Axis {
    let around = axis_around(values, label);
    Axis {
        least: (around.least + 0.02).floor(),
        greatest: (around.greatest - 0.02)
            .ceil()
            .max((around.least + 0.02).floor() + 1.0),
        scale: Scale::Decades,
        ..around
    }
}
