//! The sound report in, one paper for people out: the day at the top and as a map, a row a recording, their tracks below.

use super::{ReportedTake, ReportedTrack, SoundReport};
use crate::report::day_map::{DayBar, DayLine, DayMap};
use crate::report::document::{Block, Cell, Document, Entry, Table};
use crate::report::plots::Drawing;
use crate::report::say;
use crate::units::{counted, distinct};

/// Seconds of a day.
const DAY_S: f64 = 86_400.0;

impl SoundReport {
    /// The report for people; `page_of` says where a joint take's own page is, if there is one.
    #[must_use]
    pub fn document(&self, page_of: &dyn Fn(&str) -> Option<String>) -> Document {
        let units = self.units.iter().map(|unit| {
            format!(
                "{} ({}, {})",
                unit.name,
                counted(unit.channels, "channel"),
                counted(unit.takes, "take")
            )
        });
        let formats = distinct(self.takes.iter().map(format_of));
        let mut entries = vec![Entry::new(
            "Recordings",
            vec![Block::Table(self.recordings(page_of))],
        )];
        let maps = self.day_maps();
        if !maps.is_empty() {
            entries.push(Entry::new("The day", maps));
        }
        entries.push(Entry::new("Tracks", self.tracks()));
        entries.push(Entry::new("Files", vec![Block::Table(self.files())]));
        let settings = self.settings();
        if !settings.is_empty() {
            entries.push(Entry::new("Settings", settings));
        }
        Document {
            kind: "Sound report of recordings made by several units".into(),
            title: match self.dates.as_slice() {
                [] => "Sound report".into(),
                dates => format!("Sound report, {}", dates.join(", ")),
            },
            made_by: self.made_by.clone(),
            facts: vec![
                ("Production", self.productions.join(", ")),
                ("Roll", self.rolls.join(", ")),
                ("Units", units.collect::<Vec<_>>().join(", ")),
                ("Recorded as", formats.join("; ")),
            ],
            verdict: String::new(),
            entries,
            broad: true,
        }
    }

    fn recordings(&self, page_of: &dyn Fn(&str) -> Option<String>) -> Table {
        let row = |(number, take): (usize, &ReportedTake)| {
            let seconds = take.length_samples as f64 / f64::from(take.sample_rate.max(1));
            let mut units = take.units.join(", ");
            for unit in &take.not_placed {
                units += &format!("; {unit}: place not established");
            }
            if take.files.is_empty() {
                units += "; nothing was built";
            }
            vec![
                (number + 1).to_string().into(),
                Cell {
                    href: page_of(&take.name),
                    ..Cell::from(&take.name)
                },
                Cell::from(&take.scene),
                Cell::from(&take.take),
                Cell::from(&take.circled),
                Cell::from(&take.start_label),
                say::clock_time(seconds).into(),
                take.tracks.len().to_string().into(),
                units.into(),
                Cell::from(&take.note),
            ]
        };
        Table {
            caption: format!("The day's {}", counted(self.takes.len(), "recording")),
            headings: vec![
                "No.",
                "Recording",
                "Scene",
                "Take",
                "Circled",
                "Start",
                "Length",
                "Tracks",
                "Units",
                "Note",
            ],
            rows: self.takes.iter().enumerate().map(row).collect(),
        }
    }

    /// A map for every day on which anything has a time.
    pub(in crate::report) fn day_maps(&self) -> Vec<Block> {
        let mut blocks = Vec::new();
        let dates = distinct(self.runs.iter().map(|run| run.date.clone()));
        for (number, date) in dates.iter().enumerate() {
            let lines = self.lines_of(date);
            if lines.is_empty() {
                continue;
            }
            if dates.len() > 1 {
                blocks.push(Block::Heading(say::name_or(date, "No date").into()));
            }
            let map = DayMap {
                id: format!("day{number}"),
                lines,
            };
            blocks.push(Block::Picture(
                Drawing::DayMap(map),
                "Solid bars ran together and carry the number of their recording; empty bars ran alone and are in none. \
                 Times are the lead's timecode; for what ran alone, its unit's own."
                    .into(),
            ));
        }
        let lost = self.runs.iter().filter(|run| run.start_s.is_none()).count();
        if lost > 0 && !blocks.is_empty() {
            blocks.push(Block::Words(format!(
                "Not on the map, for want of a time: {}.",
                counted(lost, "take")
            )));
        }
        blocks
    }

    fn lines_of(&self, date: &str) -> Vec<DayLine> {
        let runs = || self.runs.iter().filter(|run| run.date == date);
        let units = distinct(runs().map(|run| run.unit.clone()));
        let lines = units.into_iter().map(|unit| {
            let bars = runs().filter(|run| run.unit == unit).filter_map(|run| {
                // a follower that started before the lead's midnight belongs before it
                let from_s = run.start_s.filter(|start| start.is_finite())?.max(0.0);
                let mut takes = self.takes.iter();
                Some(DayBar {
                    from_s,
                    until_s: (from_s + run.length_s).min(2.0 * DAY_S),
                    recording: takes
                        .position(|take| take.name == run.recording)
                        .map(|place| place + 1),
                })
            });
            let mut bars: Vec<DayBar> = bars.collect();
            bars.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
            DayLine { unit, bars }
        });
        lines.filter(|line| !line.bars.is_empty()).collect()
    }

    /// The tracks of every recording; those of one list alike stand once.
    fn tracks(&self) -> Vec<Block> {
        let mut lists: Vec<(Vec<String>, Table)> = Vec::new();
        for (number, take) in self.takes.iter().enumerate() {
            if take.tracks.is_empty() {
                continue;
            }
            let name = format!("{} {}", number + 1, take.name);
            let table = track_table(take);
            let same = |known: &Table| {
                let texts = |table: &Table| -> Vec<String> {
                    let cells = table.rows.iter().flatten();
                    cells.map(|cell| cell.text.clone()).collect()
                };
                known.headings == table.headings && texts(known) == texts(&table)
            };
            match lists.iter_mut().find(|(_, known)| same(known)) {
                Some((names, _)) => names.push(name),
                None => lists.push((vec![name], table)),
            }
        }
        let mut blocks: Vec<Block> = Vec::new();
        for (names, table) in lists {
            blocks.push(Block::Table(Table {
                caption: names.join(", "),
                ..table
            }));
        }
        for take in self.takes.iter().filter(|take| !take.left_out.is_empty()) {
            let left_out = take.left_out.iter().map(named_track);
            blocks.push(Block::Words(format!(
                "Recorded and in no file of {}: {}.",
                take.name,
                left_out.collect::<Vec<_>>().join(", ")
            )));
        }
        if blocks.is_empty() {
            blocks.push(Block::Words(
                "Nothing was built, so there are no tracks.".into(),
            ));
        }
        blocks
    }

    fn files(&self) -> Table {
        let files = self.takes.iter().flat_map(|take| &take.files);
        let row = |file: &super::ReportedFile| {
            vec![
                Cell::code(&file.path),
                file.bytes.to_string().into(),
                Cell::from(&file.encoding),
                Cell::code(&file.digest),
            ]
        };
        Table {
            caption: "What is handed over".into(),
            headings: vec!["File", "Bytes", "Encoding", "Digest"],
            rows: files.map(row).collect(),
        }
    }

    fn settings(&self) -> Vec<Block> {
        let mut blocks = Vec::new();
        for table in self.settings.iter().filter(|table| !table.rows.is_empty()) {
            // one row a setting and unit would be long; one line a setting says the same
            let rows = table.rows.iter().map(|row| {
                let values = distinct(row.values.iter().cloned());
                let text = match values.as_slice() {
                    [same] => same.clone(),
                    _ => {
                        let pairs = table.units.iter().zip(&row.values);
                        let pairs = pairs.map(|(unit, value)| format!("{unit}: {value}"));
                        pairs.collect::<Vec<_>>().join("; ")
                    }
                };
                let does = if row.differs {
                    row.consequence.as_str()
                } else {
                    ""
                };
                vec![Cell::from(&row.name), text.into(), does.into()]
            });
            blocks.push(Block::Table(Table {
                caption: format!("As {} wrote them", table.units.join(", ")),
                headings: vec!["Setting", "Value", "What the difference does"],
                rows: rows.collect(),
            }));
        }
        blocks
    }
}

fn format_of(take: &ReportedTake) -> String {
    let mut format = vec![format!("{} Hz", take.sample_rate)];
    format.extend(distinct(
        take.files.iter().map(|file| file.encoding.clone()),
    ));
    if !take.frame_rate.is_empty() {
        let rate = say::label_rate(&take.frame_rate);
        let drop = if take.drop_frame { ", drop-frame" } else { "" };
        format.push(format!("{rate} timecode frames a second{drop}"));
    }
    format.join(", ")
}

fn named_track(track: &ReportedTrack) -> String {
    match track.name.as_str() {
        "" => format!("{}:{}", track.unit, track.unit_channel),
        name => format!("{}:{} {name}", track.unit, track.unit_channel),
    }
}

fn track_table(take: &ReportedTake) -> Table {
    let grouped = take.tracks.iter().any(|track| !track.group.is_empty());
    let several = take.files.len() > 1;
    let mut headings = vec!["Track", "Name", "Unit", "Its channel", "Samples"];
    if grouped {
        headings.push("Group");
    }
    if several {
        headings.push("File");
    }
    let rows = take.tracks.iter().map(|track| {
        let mut row = vec![
            track.number.to_string().into(),
            Cell::from(&track.name),
            Cell::from(&track.unit),
            track.unit_channel.to_string().into(),
            say::came_as_of_name(&track.came_as).into(),
        ];
        if grouped {
            row.push(Cell::from(&track.group));
        }
        if several {
            row.push(Cell::code(&track.file));
        }
        row
    });
    Table {
        caption: String::new(),
        headings,
        rows: rows.collect(),
    }
}
