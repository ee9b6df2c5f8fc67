//! A person's list of channels in, what comes into the output out: which channels, in what order, under which names, in
//! which groups. As a table it has a row a channel: `unit,channel,use,name,group`; other columns are passed over.

use std::collections::BTreeSet;

use csv::{ReaderBuilder, StringRecord, Trim};

use crate::alignment::{Alignment, Member};
use crate::error::{Error, Kind, Result};
use crate::output::{no_table, table_text};

/// The columns of the table that is written; the last is for the eye alone.
const COLUMNS: [&str; 6] = ["unit", "channel", "use", "name", "group", "recorded_as"];

/// Which channels come into an output, in order. A channel that is not listed stays out.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ChannelList {
    entries: Vec<ListedChannel>,
}

/// A channel of a unit in a list.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ListedChannel {
    /// The unit.
    pub unit: String,
    /// 1-based channel of that unit's takes.
    pub channel: u32,
    /// Whether it comes into the output.
    pub used: bool,
    /// Its name in the output; empty: as the unit named it.
    pub name: String,
    /// The group it belongs to; empty for none.
    pub group: String,
}

/// A channel of a joint take that comes into the output.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Selected {
    /// Indices of its members: the takes of one unit that ran one after the other during the joint take.
    pub(super) members: Vec<usize>,
    /// 0-based channel of the members' takes.
    pub(super) own: usize,
    /// The name that was asked for.
    pub(super) name: Option<String>,
    /// The group it was put into.
    pub(super) group: Option<String>,
}

impl ChannelList {
    /// A list of these channels.
    ///
    /// # Errors
    /// [`Kind::Usage`] when a channel stands in it twice or has no number.
    pub fn new(entries: Vec<ListedChannel>) -> Result<Self> {
        let mut met = BTreeSet::new();
        for (place, entry) in entries.iter().enumerate() {
            if entry.channel == 0 {
                return Err(refuse(place, "channels are counted from 1"));
            }
            if !met.insert((&entry.unit, entry.channel)) {
                let message = format!("{} channel {} is listed twice", entry.unit, entry.channel);
                return Err(refuse(place, &message));
            }
        }
        Ok(Self { entries })
    }

    /// Reads the table: its first row names the columns, `unit` and `channel` must be there. `use` is `yes` or `no`, and
    /// `yes` where it is empty or there is no such column.
    ///
    /// # Errors
    /// [`Kind::Usage`] with the row that cannot be understood.
    pub fn from_csv(text: &str) -> Result<Self> {
        let mut reader = ReaderBuilder::new()
            .flexible(true)
            .trim(Trim::All)
            .from_reader(text.trim_start_matches('\u{feff}').as_bytes());
        let unread = |error: csv::Error| Error::new(Kind::Usage, "is no table").from_source(error);
        let titles = reader.headers().map_err(unread)?.clone();
        let column = |name: &str| {
            titles
                .iter()
                .position(|title| title.eq_ignore_ascii_case(name))
        };
        let (Some(unit), Some(channel)) = (column("unit"), column("channel")) else {
            let found: Vec<&str> = titles.iter().collect();
            return Err(Error::new(
                Kind::Usage,
                format!(
                    "the first row names the columns {}; unit and channel were expected",
                    found.join(", ")
                ),
            )
            .then("start from the channels.csv that a build writes beside its recordings"));
        };
        let (used, name, group) = (column("use"), column("name"), column("group"));
        let field = |row: &StringRecord, column: Option<usize>| {
            column
                .and_then(|column| row.get(column))
                .unwrap_or_default()
                .to_string()
        };
        let mut entries = Vec::new();
        for (place, row) in reader.records().enumerate() {
            let row = row.map_err(unread)?;
            let number = field(&row, Some(channel));
            let used = match field(&row, used).to_lowercase().as_str() {
                "" | "yes" => true,
                "no" => false,
                other => return Err(refuse(place, &format!("`{other}` is neither yes nor no"))),
            };
            entries.push(ListedChannel {
                unit: field(&row, Some(unit)),
                channel: number
                    .parse()
                    .map_err(|_| refuse(place, &format!("`{number}` is no channel number")))?,
                used,
                name: field(&row, name),
                group: field(&row, group),
            });
        }
        Self::new(entries)
    }

    /// The table of every channel of `alignment`, those of `given` first and as they stand there. Without `given` all are
    /// used, in the order of a build without a list.
    ///
    /// # Errors
    /// When the table cannot be written to memory.
    pub fn table(alignment: &Alignment, given: Option<&Self>) -> Result<String> {
        let mut rows: Vec<(ListedChannel, Vec<&str>)> = given
            .iter()
            .flat_map(|list| &list.entries)
            .map(|entry| (entry.clone(), Vec::new()))
            .collect();
        let members = alignment
            .joint_takes
            .iter()
            .flat_map(|take| &take.members)
            .flat_map(|member| member.channels.iter().map(move |channel| (member, channel)));
        for (member, channel) in members {
            let known = rows
                .iter()
                .position(|(entry, _)| entry.unit == member.unit && entry.channel == channel.index);
            let place = known.unwrap_or_else(|| {
                let entry = ListedChannel {
                    unit: member.unit.clone(),
                    channel: channel.index,
                    used: given.is_none(),
                    ..ListedChannel::default()
                };
                // after the unit's last one, so that units stay together when takes have more or fewer channels
                let after = rows.iter().rposition(|(row, _)| row.unit == member.unit);
                let at = after.map_or(rows.len(), |at| at + 1);
                rows.insert(at, (entry, Vec::new()));
                at
            });
            let name = channel.name.trim();
            if !name.is_empty() && !rows[place].1.contains(&name) {
                rows[place].1.push(name);
            }
        }
        let mut table = csv::Writer::from_writer(Vec::new());
        table.write_record(COLUMNS).map_err(no_table)?;
        for (entry, recorded_as) in rows {
            table
                .write_record([
                    entry.unit.as_str(),
                    &entry.channel.to_string(),
                    if entry.used { "yes" } else { "no" },
                    &entry.name,
                    &entry.group,
                    &recorded_as.join("; "),
                ])
                .map_err(no_table)?;
        }
        table_text(table)
    }

    /// Whether any channel of a unit is used.
    pub(super) fn uses(&self, unit: &str) -> bool {
        self.used().any(|entry| entry.unit == unit)
    }

    fn used(&self) -> impl Iterator<Item = &ListedChannel> {
        self.entries.iter().filter(|entry| entry.used)
    }

    /// Refuses a list that names what no take of `alignment` has: most likely a slip of the pen.
    pub(super) fn refuse_strangers(&self, alignment: &Alignment) -> Result<()> {
        let members = || alignment.joint_takes.iter().flat_map(|take| &take.members);
        for entry in self.used() {
            let mut own = members()
                .filter(|member| member.unit == entry.unit)
                .peekable();
            if own.peek().is_none() {
                let mut units: Vec<&str> = members().map(|member| member.unit.as_str()).collect();
                units.sort_unstable();
                units.dedup();
                return Err(Error::new(
                    Kind::Usage,
                    format!(
                        "the channel list names {}; the units are {}",
                        entry.unit,
                        units.join(", ")
                    ),
                ));
            }
            let most = own.map(|member| member.channels.len()).max().unwrap_or(0);
            if entry.channel as usize > most {
                return Err(Error::new(
                    Kind::Usage,
                    format!(
                        "the channel list names {} channel {}; it has {most}",
                        entry.unit, entry.channel
                    ),
                ));
            }
        }
        Ok(())
    }
}

/// The channels of a joint take's `members` that come into the output: as listed, or all of them in the order of the
/// members and of their channels. A unit that was stopped and started again gives each of its channels once.
pub(super) fn select(list: Option<&ChannelList>, members: &[&Member]) -> Vec<Selected> {
    let of = |unit: &str, own: usize, entry: Option<&ListedChannel>| {
        let given = |text: &str| (!text.is_empty()).then(|| text.to_string());
        let held =
            |index: &usize| members[*index].unit == unit && own < members[*index].channels.len();
        Selected {
            members: (0..members.len()).filter(held).collect(),
            own,
            name: entry.and_then(|entry| given(&entry.name)),
            group: entry.and_then(|entry| given(&entry.group)),
        }
    };
    let mut selected: Vec<Selected> = Vec::new();
    match list {
        Some(list) => selected.extend(
            list.used()
                .map(|entry| of(&entry.unit, entry.channel as usize - 1, Some(entry))),
        ),
        None => {
            for member in members {
                for own in 0..member.channels.len() {
                    let channel = of(&member.unit, own, None);
                    if !selected.contains(&channel) {
                        selected.push(channel);
                    }
                }
            }
        }
    }
    selected.retain(|channel| !channel.members.is_empty());
    selected
}

fn refuse(place: usize, message: &str) -> Error {
    Error::new(
        Kind::Usage,
        format!("row {} of the channel list: {message}", place + 2),
    )
    .then("start from the channels.csv that a build writes beside its recordings")
}
