//! Joint takes and what was built of them in, the sound report as a table out: one row an output channel, and one row a
//! channel that did not come into an output, so that nothing recorded goes unsaid. RFC 4180: commas, CRLF, quotes
//! doubled, UTF-8.

use ::csv::{Terminator, WriterBuilder};
use serde::Serialize;

use super::{Output, OutputChannel, OutputFile, say};
use crate::alignment::{JointTake, Member, Placement, Role};
use crate::error::Result;
use crate::output::{no_table, table_text};

/// One joint take of the sound report.
#[derive(Debug, Clone, Copy)]
pub struct SoundReportEntry<'a> {
    /// What was measured and claimed.
    pub joint_take: &'a JointTake,
    /// What was built of it; absent when nothing was.
    pub output: Option<&'a Output>,
}

/// One row. Empty means not known or not applicable; nothing is invented.
#[derive(Debug, Serialize)]
struct Row<'a> {
    joint_take: &'a str,
    date: &'a str,
    start_label: String,
    start_samples: String,
    length_samples: String,
    sample_rate: u32,
    file: &'a str,
    channel: String,
    name: &'a str,
    unit: &'a str,
    source_file: String,
    source_channel: u32,
    placement: &'static str,
    basis: &'static str,
    offset_samples: String,
    bound_samples: String,
    rate_ppm: String,
    common_level_db: String,
    common_polarity: &'static str,
    slips: String,
}

/// The sound report. Start and length are the output file's, in samples since midnight and samples per channel; the
/// label is the lead's and stands only where the output begins with the lead. Numbers have a decimal point and no
/// grouping. Several source files of one channel are separated by `; `.
///
/// # Errors
/// When the table cannot be written to memory.
pub fn sound_report_csv(entries: &[SoundReportEntry<'_>]) -> Result<String> {
    let mut table = WriterBuilder::new()
        .terminator(Terminator::CRLF)
        .has_headers(false)
        .from_writer(Vec::new());
    table.write_record(COLUMNS).map_err(no_table)?;
    for entry in entries {
        for row in rows(*entry) {
            table.serialize(row).map_err(no_table)?;
        }
    }
    table_text(table)
}

/// The columns, in order; the header stands even when there is no row.
const COLUMNS: [&str; 20] = [
    "joint_take",
    "date",
    "start_label",
    "start_samples",
    "length_samples",
    "sample_rate",
    "file",
    "channel",
    "name",
    "unit",
    "source_file",
    "source_channel",
    "placement",
    "basis",
    "offset_samples",
    "bound_samples",
    "rate_ppm",
    "common_level_db",
    "common_polarity",
    "slips",
];

fn rows(entry: SoundReportEntry<'_>) -> Vec<Row<'_>> {
    let mut rows: Vec<Row<'_>> = Vec::new();
    let files = entry.output.map_or(&[][..], |output| &output.files);
    for file in files {
        for channel in &file.channels {
            rows.push(built(entry, file, channel));
        }
    }
    for member in &entry.joint_take.members {
        for channel in &member.channels {
            let in_output = files
                .iter()
                .flat_map(|file| &file.channels)
                .any(|built| built.unit == member.unit && built.source_channel == channel.index);
            if !in_output {
                rows.push(left_out(entry, member, channel));
            }
        }
    }
    rows
}

fn built<'a>(
    entry: SoundReportEntry<'a>,
    file: &'a OutputFile,
    channel: &'a OutputChannel,
) -> Row<'a> {
    let joint = entry.joint_take;
    let member = joint
        .members
        .iter()
        .find(|member| member.unit == channel.unit);
    let first = file.first_lead_position;
    let start = joint
        .start
        .samples_since_midnight
        .and_then(|stamp| stamp.checked_add_signed(first));
    Row {
        start_label: if first == 0 {
            joint.start.timecode.clone()
        } else {
            String::new()
        },
        start_samples: start.map(|start| start.to_string()).unwrap_or_default(),
        length_samples: file.length_samples.to_string(),
        file: &file.path,
        channel: channel.number.to_string(),
        name: &channel.name,
        unit: &channel.unit,
        source_channel: channel.source_channel,
        placement: say::came_as(channel),
        ..of_member(joint, member, channel.source_channel)
    }
}

fn left_out<'a>(
    entry: SoundReportEntry<'a>,
    member: &'a Member,
    channel: &'a crate::alignment::Channel,
) -> Row<'a> {
    Row {
        name: &channel.name,
        source_channel: channel.index,
        placement: say::placement(Placement::NotPlaced),
        ..of_member(entry.joint_take, Some(member), channel.index)
    }
}

/// What a row says of its member; the rest empty.
fn of_member<'a>(joint: &'a JointTake, member: Option<&'a Member>, channel: u32) -> Row<'a> {
    let follower = member.filter(|member| member.role == Role::Follower);
    // it stands at the channel it was measured on: other inputs were not compared
    let level = follower
        .and_then(|member| member.evidence.as_ref()?.common_level.as_ref())
        .filter(|level| level.follower_channel == channel);
    Row {
        joint_take: &joint.name,
        date: &joint.start.date,
        start_label: String::new(),
        start_samples: String::new(),
        length_samples: String::new(),
        sample_rate: joint.sample_rate,
        file: "",
        channel: String::new(),
        name: "",
        unit: member.map_or("", |member| &member.unit),
        source_file: member
            .map(|member| sources(member, channel))
            .unwrap_or_default(),
        source_channel: channel,
        placement: say::placement(Placement::NotPlaced),
        basis: match member.map(|member| member.role) {
            Some(Role::Lead) => "lead",
            _ => member.map_or("", |member| say::basis(member.basis)),
        },
        offset_samples: follower.and_then(offset).unwrap_or_default(),
        bound_samples: follower
            .filter(|member| known(member))
            .map(|member| number(member.offset_bound_samples))
            .unwrap_or_default(),
        rate_ppm: follower
            .filter(|member| member.rate_measured)
            .map(|member| number(member.rate_ppm))
            .unwrap_or_default(),
        common_level_db: level
            .map(|level| format!("{:.2}", level.level_db))
            .unwrap_or_default(),
        common_polarity: level.map_or("", |level| match level.inverted {
            true => "inverted",
            false => "same",
        }),
        slips: member.map(slips).unwrap_or_default(),
    }
}

fn offset(member: &Member) -> Option<String> {
    known(member).then(|| number(member.offset_samples))
}

/// `size@position` in the file's own samples, one after another: `-441@57600000; +8@60000000`.
fn slips(member: &Member) -> String {
    let each = |slip: &crate::alignment::Slip| format!("{:+.0}@{}", slip.samples, slip.at_sample);
    member.slips.iter().map(each).collect::<Vec<_>>().join("; ")
}

fn known(member: &Member) -> bool {
    member.status != crate::alignment::Status::NotEstablished
}

fn number(value: f64) -> String {
    let text = format!("{value:.5}");
    text.trim_end_matches('0').trim_end_matches('.').into()
}

/// The files that hold this channel: of a set of files those of the last first channel at or before it.
fn sources(member: &Member, channel: u32) -> String {
    let first = member
        .parts
        .iter()
        .map(|part| part.first_channel)
        .filter(|first| *first <= channel)
        .max();
    let mut paths: Vec<&str> = member
        .parts
        .iter()
        .filter(|part| Some(part.first_channel) == first)
        .map(|part| part.path.as_str())
        .collect();
    paths.dedup();
    paths.join("; ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    #[test]
    fn a_row_for_every_channel_built_or_not() {
        let (placed, lost) = (sample::common_signal(), sample::not_established());
        let built = [sample::output(&placed), sample::output(&lost)];
        let csv = sound_report_csv(&[
            SoundReportEntry {
                joint_take: &placed,
                output: Some(&built[0]),
            },
            SoundReportEntry {
                joint_take: &lost,
                output: Some(&built[1]),
            },
        ])
        .expect("a table");
        insta::assert_snapshot!(csv.replace("\r\n", "\n"), @r#"
        joint_take,date,start_label,start_samples,length_samples,sample_rate,file,channel,name,unit,source_file,source_channel,placement,basis,offset_samples,bound_samples,rate_ppm,common_level_db,common_polarity,slips
        evening-02,2031-05-04,10:00:00:00,1728000000,14400000,48000,evening-02.wav,1,Main L,NORTH,NORTH/T02.wav,1,exact,lead,,,,,,
        evening-02,2031-05-04,10:00:00:00,1728000000,14400000,48000,evening-02.wav,2,Main R,NORTH,NORTH/T02.wav,2,exact,lead,,,,,,
        evening-02,2031-05-04,10:00:00:00,1728000000,14400000,48000,evening-02.wav,3,"Chœur <""A"" & 'B', «Ø» 合唱",NORTH,NORTH/T02.wav,3,exact,lead,,,,,,
        evening-02,2031-05-04,10:00:00:00,1728000000,14400000,48000,evening-02.wav,4,Spot,SOUTH,SOUTH/T02.wav,1,resampled,common-signal,49440,0.01,7.31,,,
        evening-02,2031-05-04,10:00:00:00,1728000000,14400000,48000,evening-02.wav,5,,SOUTH,SOUTH/T02.wav,2,resampled,common-signal,49440,0.01,7.31,,,
        evening-02,2031-05-04,10:00:00:00,1728000000,14400000,48000,evening-02.wav,6,Split <main>,SOUTH,SOUTH/T02.wav,3,resampled,common-signal,49440,0.01,7.31,-0.70,inverted,
        evening-04,2031-05-04,10:00:00:00,1728000000,14400000,48000,evening-04.wav,1,Main L,NORTH,NORTH/T02.wav,1,exact,lead,,,,,,
        evening-04,2031-05-04,10:00:00:00,1728000000,14400000,48000,evening-04.wav,2,Main R,NORTH,NORTH/T02.wav,2,exact,lead,,,,,,
        evening-04,2031-05-04,10:00:00:00,1728000000,14400000,48000,evening-04.wav,3,"Chœur <""A"" & 'B', «Ø» 合唱",NORTH,NORTH/T02.wav,3,exact,lead,,,,,,
        evening-04,2031-05-04,,,,48000,,,Spot,SOUTH,SOUTH/T02.wav,1,not-placed,none,,,,,,
        "#);
    }

    #[test]
    fn another_reader_finds_every_field_where_it_belongs() {
        let joint = sample::common_signal();
        let csv = sound_report_csv(&[SoundReportEntry {
            joint_take: &joint,
            output: None,
        }])
        .expect("a table");
        // RFC 4180, section 2: lines end in CRLF (rule 1), a field with quotes or commas is enclosed and its quotes
        // doubled (rules 6 and 7).
        assert!(csv.lines().count() == 7 && csv.ends_with("\r\n"));
        assert!(
            csv.contains("\"Chœur <\"\"A\"\" & 'B', «Ø» 合唱\""),
            "{csv}"
        );
        let python = std::env::var("COMMONTIME_PYTHON").unwrap_or_else(|_| "python3".into());
        let program = "import csv,sys,io\n\
            rows=list(csv.DictReader(io.TextIOWrapper(sys.stdin.buffer,encoding='utf-8',newline='')))\n\
            sys.stdout.buffer.write('|'.join(r['name']+'/'+r['unit']+'/'+r['placement'] for r in rows).encode())";
        let mut child = std::process::Command::new(python)
            .args(["-c", program])
            .stdin(std::process::Stdio::piped())
            .stdout(std::process::Stdio::piped())
            .spawn()
            .expect("python3 reads the table");
        std::io::Write::write_all(&mut child.stdin.take().expect("stdin"), csv.as_bytes())
            .expect("a pipe");
        let said = child.wait_with_output().expect("python3 ends");
        assert_eq!(
            String::from_utf8(said.stdout).expect("UTF-8"),
            format!(
                "Main L/NORTH/not-placed|Main R/NORTH/not-placed|{}/NORTH/not-placed|\
                 Spot/SOUTH/not-placed|/SOUTH/not-placed|Split <main>/SOUTH/not-placed",
                sample::AWKWARD
            )
        );
    }
}
