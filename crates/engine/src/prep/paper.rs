//! What was worked out before a shoot in, the sheets out: the plan, one sheet a unit, how to link, a brief for the receiver.

use super::drift::pause;
use super::storage::{clock_time, gigabytes};
use super::{Prep, UnitSheet};
use crate::report::{Block, Cell, Document, Entry, Table, length_of_time, short_time};
use crate::units::{capital, counted};

/// A box to be ticked with a pen.
const BOX: &str = "[   ]";

impl Prep {
    /// The sheets for people.
    #[must_use]
    pub fn document(&self) -> Document {
        let mut entries = vec![self.findings_entry(), self.plan(), self.groups()];
        if !self.drift.is_empty() {
            entries.push(self.proofs());
            entries.push(self.clocks());
        }
        entries.push(self.storage());
        entries.retain(|entry| !entry.blocks.is_empty());
        entries.extend(self.units.iter().map(|unit| self.unit(unit)));
        let mut linking = Vec::new();
        if !self.linking.is_empty() {
            linking.push(Block::Table(steps(
                "Linking the units, step by step",
                &self.linking,
            )));
        }
        linking.push(Block::Heading("So that nobody is hurt".into()));
        linking.extend(self.cautions.iter().cloned().map(Block::Words));
        let heading = match self.linking.is_empty() {
            true => "Cautions",
            false => "Linking",
        };
        entries.push(Entry {
            heading: heading.into(),
            blocks: linking,
            own_sheet: true,
        });
        entries.push(self.receiver());
        Document {
            kind: "Session sheet, before the shoot".into(),
            title: match self.name.as_str() {
                "" => "Session sheet".into(),
                name => name.into(),
            },
            made_by: self.made_by.clone(),
            facts: std::iter::once(("Date", self.date.clone()))
                .chain(self.settings.iter().cloned())
                .collect(),
            verdict: format!("{}.", capital(&self.verdict)),
            entries,
            broad: false,
        }
    }

    fn findings_entry(&self) -> Entry {
        let blocks = self.findings.iter().map(Block::finding);
        Entry::new("To know", blocks.collect())
    }

    fn plan(&self) -> Entry {
        let rows = self.channels.iter().map(|channel| {
            vec![
                channel.number.to_string().into(),
                (&channel.name).into(),
                format!("{}:{}", channel.unit, channel.input).into(),
                (&channel.group).into(),
            ]
        });
        Entry::new(
            "Channels",
            vec![Block::Table(Table {
                caption: "The joint recording's channels, and the input each comes from".into(),
                headings: vec!["Channel", "Source", "Input", "Group"],
                rows: rows.collect(),
            })],
        )
    }

    fn groups(&self) -> Entry {
        let rows: Vec<Vec<Cell>> = (self.groups.iter())
            .map(|group| {
                let held = match (group.units.len(), group.good_enough) {
                    (0, _) => "not recorded",
                    (1, _) => "yes: one clock",
                    (_, true) => "yes",
                    (_, false) => "no",
                };
                vec![
                    (&group.name).into(),
                    (&group.used_as).into(),
                    group.units.join(", ").into(),
                    short_time(group.allowed_s).into(),
                    match group.units.len() {
                        0 | 1 => "none".into(),
                        _ => format!("±{}", short_time(group.error_s)).into(),
                    },
                    held.into(),
                ]
            })
            .collect();
        if rows.is_empty() {
            return Entry::new("Groups", Vec::new());
        }
        Entry::new(
            "Groups",
            vec![Block::Table(Table {
                caption: "Groups, and how far apart in time their channels may lie".into(),
                headings: vec!["Group", "Use", "Units", "Allowed", "Left", "Held"],
                rows,
            })],
        )
    }

    fn proofs(&self) -> Entry {
        let rows = self.proofs.iter().map(|proof| {
            let name = match proof.planned {
                true => format!("Planned: {}", proof.kind.words()),
                false => proof.kind.words().into(),
            };
            let good = match proof.good_for.first() {
                Some(first) => format!("{first} and less"),
                None => "nothing that is heard together".into(),
            };
            vec![
                name.into(),
                format!("±{}", short_time(proof.error_s)).into(),
                good.into(),
                proof.clock.into(),
                proof.slips.into(),
                proof.takes.into(),
            ]
        });
        Entry::new(
            "Common signal",
            vec![Block::Table(Table {
                caption: "What each common signal can prove afterwards at these settings".into(),
                headings: vec![
                    "Recorded alike",
                    "Places",
                    "Good for",
                    "Clock",
                    "Lost samples",
                    "Takes",
                ],
                rows: rows.collect(),
            })],
        )
    }

    fn clocks(&self) -> Entry {
        let mut blocks = Vec::new();
        for drift in &self.drift {
            blocks.push(Block::Heading(drift.unit.clone()));
            blocks.push(Block::Words(format!(
                "{}. At worst {:.3} ppm: {} an hour ({:.0} samples, {:.2} timecode frames), {} within the longest take.",
                capital(&drift.rests_on),
                drift.worst_ppm,
                short_time(drift.hour_s),
                drift.hour_samples,
                drift.hour_timecode_frames,
                short_time(drift.take_s)
            )));
            let rows = drift.jam_again.iter().map(|one| {
                vec![
                    (&one.name).into(),
                    short_time(one.allowed_s).into(),
                    pause(one.after_s).into(),
                ]
            });
            blocks.push(Block::Table(Table {
                caption: format!(
                    "How long timecode alone would hold {} close enough after a jam",
                    drift.unit
                ),
                headings: vec!["For", "Allowed", "Jam again after"],
                rows: rows.collect(),
            }));
        }
        blocks.push(Block::Words(
            "Jamming sets labels and no sampling clock: within a take the samples run apart as above, jammed or not. What a use needs \
             beyond that is measured afterwards, on the common signal."
                .into(),
        ));
        Entry::new("Clocks", blocks)
    }

    fn storage(&self) -> Entry {
        let rows = self.units.iter().map(|unit| {
            let one = &unit.storage;
            vec![
                (&unit.name).into(),
                one.tracks.to_string().into(),
                format!("{:.4} GB", one.bytes_per_s as f64 * 3600.0 / 1e9).into(),
                gigabytes(one.total_bytes).into(),
                match (one.tracks, one.media_s) {
                    (0, _) => Cell::default(),
                    (_, media) => media.map_or("not said".into(), clock_time).into(),
                },
                match (one.tracks, one.split_s) {
                    (0, _) => Cell::default(),
                    (_, split) => split.map_or("no limit".into(), clock_time).into(),
                },
                match (one.battery_hours, one.batteries) {
                    (Some(hours), Some(many)) => format!("{many} of {hours} h").into(),
                    _ => "mains".into(),
                },
            ]
        });
        let rows = rows.chain(std::iter::once(vec![
            "Joint recording".into(),
            self.joint.channels.to_string().into(),
            format!("{:.4} GB", self.joint.bytes_per_s as f64 * 3600.0 / 1e9).into(),
            gigabytes(self.joint.total_bytes).into(),
            Cell::default(),
            format!("RF64 from {}", clock_time(self.joint.four_gib_s)).into(),
            Cell::default(),
        ]));
        Entry::new(
            "Storage",
            vec![Block::Table(Table {
                caption: "Storage and power".into(),
                headings: vec![
                    "Unit",
                    "Tracks",
                    "An hour",
                    "In all",
                    "Medium lasts",
                    "File full after",
                    "Batteries",
                ],
                rows: rows.collect(),
            })],
        )
    }

    fn unit(&self, unit: &UnitSheet) -> Entry {
        let inputs = unit.inputs.iter().map(|input| {
            vec![
                input.number.to_string().into(),
                match input.name.as_str() {
                    "" => "free: switched off".into(),
                    name => name.into(),
                },
                (&input.group).into(),
                match (input.name.is_empty(), input.phantom) {
                    (true, _) => Cell::default(),
                    (false, true) => "on".into(),
                    (false, false) => "off".into(),
                },
                (&input.note).into(),
            ]
        });
        let role = match (unit.lead, self.units.len()) {
            (_, 1) => "alone",
            (true, _) => "leads",
            (false, _) => "follows",
        };
        let mut blocks = vec![
            Block::Facts(vec![
                ("Role", role.into()),
                ("Clock", unit.clock.clone()),
                ("Session", self.name.clone()),
                ("Date", self.date.clone()),
                (
                    "Records",
                    format!(
                        "{}, {:.2} GB an hour{}",
                        counted(unit.storage.tracks as usize, "track"),
                        unit.storage.bytes_per_s as f64 * 3600.0 / 1e9,
                        unit.storage.media_s.map_or(String::new(), |seconds| {
                            format!("; a medium lasts {}", length_of_time(seconds))
                        })
                    ),
                ),
                ("Note", unit.note.clone()),
            ]),
            Block::Table(Table {
                caption: format!("Inputs of {}", unit.name),
                headings: vec!["Input", "Source", "Group", "Phantom", "Note"],
                rows: inputs.collect(),
            }),
        ];
        blocks.push(Block::Table(Table {
            caption: format!("Before the first roll, at {}", unit.name),
            headings: vec!["Done", "What"],
            rows: unit
                .checklist
                .iter()
                .map(|text| vec![BOX.into(), text.into()])
                .collect(),
        }));
        Entry {
            heading: unit.name.clone(),
            blocks,
            own_sheet: true,
        }
    }

    fn receiver(&self) -> Entry {
        let mut blocks: Vec<Block> = self.brief.iter().cloned().map(Block::Words).collect();
        let rows = self.channels.iter().map(|channel| {
            vec![
                channel.number.to_string().into(),
                (&channel.name).into(),
                (&channel.group).into(),
                (&channel.unit).into(),
            ]
        });
        blocks.push(Block::Table(Table {
            caption: "Channels".into(),
            headings: vec!["Channel", "Name", "Group", "Unit"],
            rows: rows.collect(),
        }));
        Entry {
            heading: "For the receiver".into(),
            blocks,
            own_sheet: true,
        }
    }
}

fn steps(caption: &str, steps: &[String]) -> Table {
    Table {
        caption: caption.into(),
        headings: vec!["Step", "What"],
        rows: steps
            .iter()
            .enumerate()
            .map(|(at, text)| vec![(at + 1).to_string().into(), text.into()])
            .collect(),
    }
}
