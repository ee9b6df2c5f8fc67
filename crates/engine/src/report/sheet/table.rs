//! The sound report in, the same as a table out: one row a channel of a file, and one row a recorded channel that is in no
//! file.

use serde::Serialize;

use super::{ReportedTake, ReportedTrack, SoundReport};
use crate::error::Result;
use crate::output::report_table;

/// One row. Empty means not known or not applicable; nothing is invented.
#[derive(Debug, Serialize)]
struct Row<'a> {
    joint_take: &'a str,
    date: &'a str,
    start_label: &'a str,
    start_samples: Option<u64>,
    length_samples: Option<u64>,
    sample_rate: u32,
    file: &'a str,
    channel: Option<u32>,
    name: &'a str,
    unit: &'a str,
    source_file: String,
    source_channel: u32,
    placement: &'a str,
    basis: &'a str,
    offset_samples: String,
    bound_samples: String,
    rate_ppm: String,
    common_level_db: String,
    common_polarity: &'static str,
    slips: &'a str,
    group: &'a str,
    scene: &'a str,
    take: &'a str,
    circled: &'a str,
    note: &'a str,
    roll: &'a str,
}

/// The columns, in order; the header stands even when there is no row.
const COLUMNS: [&str; 26] = [
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
    "group",
    "scene",
    "take",
    "circled",
    "note",
    "roll",
];

impl SoundReport {
    /// The report as a table. Start and length are the output file's, in samples since midnight and samples per channel;
    /// the label is the lead's and stands only where the output begins with the lead. Numbers have a decimal point and no
    /// grouping. Several source files of one channel are separated by `; `.
    ///
    /// # Errors
    /// When the table cannot be written to memory.
    pub fn to_csv(&self) -> Result<String> {
        let rows = self.takes.iter().flat_map(|take| {
            let tracks = take.tracks.iter().chain(&take.left_out);
            tracks.map(move |track| row(take, track))
        });
        report_table(&COLUMNS, rows)
    }
}

fn row<'a>(take: &'a ReportedTake, track: &'a ReportedTrack) -> Row<'a> {
    let mut files = take.files.iter();
    let file = files.find(|file| !track.file.is_empty() && file.path == track.file);
    Row {
        joint_take: &take.name,
        date: &take.date,
        start_label: file.map_or("", |file| &file.start_label),
        start_samples: file.and_then(|file| file.start_samples),
        length_samples: file.map(|file| file.length_samples),
        sample_rate: take.sample_rate,
        file: &track.file,
        channel: file.map(|_| track.number),
        name: &track.name,
        unit: &track.unit,
        source_file: track.sources.join("; "),
        source_channel: track.unit_channel,
        placement: &track.came_as,
        basis: &track.basis,
        offset_samples: number(track.offset_samples),
        bound_samples: number(track.bound_samples),
        rate_ppm: number(track.rate_ppm),
        common_level_db: track
            .common_level_db
            .map_or(String::new(), |level| format!("{level:.2}")),
        common_polarity: match track.common_inverted {
            None => "",
            Some(true) => "inverted",
            Some(false) => "same",
        },
        slips: &track.slips,
        group: &track.group,
        scene: &take.scene,
        take: &take.take,
        circled: &take.circled,
        note: &take.note,
        roll: &take.roll,
    }
}

fn number(value: Option<f64>) -> String {
    let text = value.map_or(String::new(), |value| format!("{value:.5}"));
    match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.').into(),
        false => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    #[test]
    fn a_row_for_every_channel_built_or_not() {
        let (placed, lost) = (sample::common_signal(), sample::not_established());
        let built = [&placed, &lost].map(|joint| Some(sample::output(joint)));
        let day = sample::day(vec![placed, lost]);
        let csv = SoundReport::of(&day, &built).to_csv().expect("a table");
        insta::assert_snapshot!(csv.replace("\r\n", "\n"), @r#"
        joint_take,date,start_label,start_samples,length_samples,sample_rate,file,channel,name,unit,source_file,source_channel,placement,basis,offset_samples,bound_samples,rate_ppm,common_level_db,common_polarity,slips,group,scene,take,circled,note,roll
        evening-02,2031-05-04,10:00:00:00,1728000000,14400000,48000,evening-02.wav,1,Main L,NORTH,NORTH/T02.wav,1,exact,lead,,,,,,,,12A,,,third verse,
        evening-02,2031-05-04,10:00:00:00,1728000000,14400000,48000,evening-02.wav,2,Main R,NORTH,NORTH/T02.wav,2,exact,lead,,,,,,,,12A,,,third verse,
        evening-02,2031-05-04,10:00:00:00,1728000000,14400000,48000,evening-02.wav,3,"Chœur <""A"" & 'B', «Ø» 合唱",NORTH,NORTH/T02.wav,3,exact,lead,,,,,,,,12A,,,third verse,
        evening-02,2031-05-04,10:00:00:00,1728000000,14400000,48000,evening-02.wav,4,Spot,SOUTH,SOUTH/T02.wav,1,resampled,common-signal,49440,0.01,7.31,,,,,12A,,,third verse,
        evening-02,2031-05-04,10:00:00:00,1728000000,14400000,48000,evening-02.wav,5,,SOUTH,SOUTH/T02.wav,2,resampled,common-signal,49440,0.01,7.31,,,,,12A,,,third verse,
        evening-02,2031-05-04,10:00:00:00,1728000000,14400000,48000,evening-02.wav,6,Split <main>,SOUTH,SOUTH/T02.wav,3,resampled,common-signal,49440,0.01,7.31,-0.70,inverted,,,12A,,,third verse,
        evening-04,2031-05-04,10:00:00:00,1728000000,14400000,48000,evening-04.wav,1,Main L,NORTH,NORTH/T02.wav,1,exact,lead,,,,,,,,12A,,,third verse,
        evening-04,2031-05-04,10:00:00:00,1728000000,14400000,48000,evening-04.wav,2,Main R,NORTH,NORTH/T02.wav,2,exact,lead,,,,,,,,12A,,,third verse,
        evening-04,2031-05-04,10:00:00:00,1728000000,14400000,48000,evening-04.wav,3,"Chœur <""A"" & 'B', «Ø» 合唱",NORTH,NORTH/T02.wav,3,exact,lead,,,,,,,,12A,,,third verse,
        evening-04,2031-05-04,,,,48000,,,Spot,SOUTH,SOUTH/T02.wav,1,not-placed,none,,,,,,,,12A,,,third verse,
        "#);
    }

    #[test]
    fn another_reader_finds_every_field_where_it_belongs() {
        let day = sample::day(vec![sample::common_signal()]);
        let csv = SoundReport::of(&day, &[None]).to_csv().expect("a table");
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
