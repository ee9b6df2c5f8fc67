//! The words a person types in, plain data out: the command line and its options.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};

pub use super::choices::*;
pub use super::clocks_args::StabilityArgs;
pub use super::practice_args::*;

/// One recording from several field recorders.
#[derive(Debug, Parser)]
#[command(name = "commontime", version, about, max_term_width = 100)]
#[command(
    after_help = "Exit status: 0 done; 1 done, but something needs a decision or was not \
    established; 2 usage; 3 could not read or write; 4 a verification failed."
)]
pub struct Cli {
    /// Print the result as JSON on standard output; progress and findings go to standard error
    #[arg(long, global = true)]
    pub json: bool,
    /// What to do
    #[command(subcommand)]
    pub command: Command,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Make a rehearsal shoot with known truth, run the main job on it, print found against true
    Demo(DemoArgs),
    /// The main job: survey, pair, align, build, check, report
    Join(JoinArgs),
    /// Units, takes, settings side by side, oddities
    Survey(SurveyArgs),
    /// Before the shoot: which source into which input, storage, clocks, checklists, sheets to print
    Prep(PrepArgs),
    /// Judge the short test recording made after linking the units, before the day begins
    FirstRoll(FirstRollArgs),
    /// Measure only; writes the alignment for review
    Align(AlignArgs),
    /// Build from a reviewed alignment
    Build(BuildArgs),
    /// Say where a number came from
    Explain(ExplainArgs),
    /// The day's sound report and sync report: from a folder of recordings, or from report or alignment files
    Report(ReportArgs),
    /// Measure once what stands between stamps and truth for these units in these modes, and store it
    Calibrate(CalibrateArgs),
    /// Judge the clocks of a long test: rates, Allan deviations, how long timecode holds out after a jam
    Stability(StabilityArgs),
    /// Copy cards to several places, read every copy back, write hash lists
    Offload(OffloadArgs),
    /// Check copies against their hash lists: missing, extra, changed, renamed files
    Verify(VerifyArgs),
    /// Timecode as sound: read it off the tracks of recordings, or write a file of it
    #[command(subcommand)]
    Ltc(LtcCommand),
    /// Test sounds to record on all units: a marker, a tone; timecode is written by `ltc write`
    #[command(subcommand)]
    Signal(SignalCommand),
    /// Practice shoots whose truth is sealed, and marks for what was found on them
    #[command(subcommand)]
    Rehearse(RehearseCommand),
    /// Labels, samples, seconds and rates: worked out, in plain words
    Timecode(TimecodeArgs),
    /// The whole way from cards to a checked recording as a page in the browser, on this machine alone
    Desk(DeskArgs),
}

/// What `desk` takes.
#[derive(Debug, Args)]
#[command(
    after_help = "The page is served to this machine alone, without any network. What is decided on it goes into alignment.json \
    in the folder, which `commontime build` builds from as well."
)]
pub struct DeskArgs {
    /// Folders, one a unit; more can be put on the desk there
    #[arg(value_name = "CARD")]
    pub cards: Vec<PathBuf>,
    /// The folder for the alignment file, the recordings and the reports; one that has them is gone on with
    #[arg(long, value_name = "DIR", default_value = "commontime-desk")]
    pub out: PathBuf,
    /// The port to listen on; without it one that is free
    #[arg(long, value_name = "PORT", default_value_t = 0)]
    pub port: u16,
    /// Do not open a browser
    #[arg(long)]
    pub no_browser: bool,
}

impl DeskArgs {
    /// As the desk takes it.
    pub fn opened(&self) -> crate::desk::Opened {
        crate::desk::Opened {
            cards: self.cards.clone(),
            out: self.out.clone(),
            port: self.port,
            browser: !self.no_browser,
        }
    }
}

/// What `demo` takes.
#[derive(Debug, Args)]
pub struct DemoArgs {
    /// Where cards, recordings and reports go
    #[arg(long, default_value = "demo", value_name = "DIR")]
    pub out: PathBuf,
}

/// What `survey` takes.
#[derive(Debug, Args)]
pub struct SurveyArgs {
    /// Folders (or files), one a unit
    #[arg(required = true, value_name = "CARD")]
    pub cards: Vec<PathBuf>,
}

/// What `prep` takes.
#[derive(Debug, Args)]
#[command(
    after_help = "`commontime prep SESSION.toml --new` writes a session file with every field explained: change it to your own. \
    The same file serves after the shoot: `join CARD... --session SESSION.toml`."
)]
pub struct PrepArgs {
    /// The session file
    #[arg(value_name = "SESSION.toml")]
    pub session: PathBuf,
    /// Write a commented session file there to begin with
    #[arg(long, conflicts_with_all = ["history", "out"])]
    pub new: bool,
    /// The clock history that `stability` keeps: what was measured of these units takes the place of their clocks' grades
    #[arg(long, value_name = "FILE")]
    pub history: Option<PathBuf>,
    /// The folder for the sheets: as page, print, text and data, with the list of channels for `join --channels`
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// How papers are written
    #[command(flatten)]
    pub papers: PaperArgs,
}

/// What `first-roll` takes.
#[derive(Debug, Args)]
#[command(
    after_help = "Link the units, let them lock for 5 to 15 s after power-up, start all of them and record 15 to 60 s with the sound of \
    the day and, if there is one, the common signal. The last take of every unit is judged."
)]
pub struct FirstRollArgs {
    /// Folders (or files), one a unit
    #[arg(required = true, num_args = 1.., value_name = "CARD")]
    pub cards: Vec<PathBuf>,
    /// How to measure
    #[command(flatten)]
    pub measure: MeasureArgs,
}

/// What `align` takes.
#[derive(Debug, Args)]
pub struct AlignArgs {
    /// Folders (or files), one a unit
    #[arg(required = true, num_args = 1.., value_name = "CARD")]
    pub cards: Vec<PathBuf>,
    /// The alignment file to write
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// Replace the file if it exists
    #[arg(long)]
    pub replace: bool,
    /// How to measure
    #[command(flatten)]
    pub measure: MeasureArgs,
}

/// What `join` takes.
#[derive(Debug, Args)]
pub struct JoinArgs {
    /// Folders (or files), one a unit
    #[arg(required = true, num_args = 1.., value_name = "CARD")]
    pub cards: Vec<PathBuf>,
    /// The folder for recordings, reports and the alignment
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
    /// How to measure
    #[command(flatten)]
    pub measure: MeasureArgs,
    /// How to build
    #[command(flatten)]
    pub shape: ShapeArgs,
}

/// What `build` takes.
#[derive(Debug, Args)]
pub struct BuildArgs {
    /// The alignment file that `align` or `join` wrote
    #[arg(value_name = "FILE")]
    pub alignment: PathBuf,
    /// The folder for recordings and reports
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
    /// How to build
    #[command(flatten)]
    pub shape: ShapeArgs,
}

/// What `explain` takes.
#[derive(Debug, Args)]
pub struct ExplainArgs {
    /// The folder that `join` or `build` wrote to, or the alignment file
    #[arg(value_name = "FILE")]
    pub alignment: PathBuf,
    /// Which number: JOINT-TAKE, JOINT-TAKE/UNIT, JOINT-TAKE/UNIT/offset, .../rate, .../clock@MM:SS, .../findings; of what was
    /// built JOINT-TAKE/UNIT:CHANNEL, 'JOINT-TAKE/group NAME', JOINT-TAKE/UNIT/residual
    #[arg(value_name = "WHERE")]
    pub place: Option<String>,
}

/// What `report` takes.
#[derive(Debug, Args)]
#[command(
    after_help = "Without --out it prints a paragraph a recording for whoever receives it. Recordings of one day that were \
    built in pieces come together when several folders are given. What stands in sound-report.json (notes, scenes, names) may \
    be corrected by hand before."
)]
pub struct ReportArgs {
    /// Folders that `join` or `build` wrote to; or their sound-report.json, sync-report.json or alignment.json
    #[arg(required = true, num_args = 1.., value_name = "FILE")]
    pub files: Vec<PathBuf>,
    /// The folder for the reports: as JSON, table, page and print
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// How papers are written
    #[command(flatten)]
    pub papers: PaperArgs,
}

/// How papers are written.
#[derive(Debug, Args)]
pub struct PaperArgs {
    /// A font for what is printed, for scripts that the program's own lacks; may be given more than once
    #[arg(long, value_name = "FILE")]
    pub font: Vec<PathBuf>,
    /// Replace files that exist
    #[arg(long)]
    pub replace: bool,
}

/// What `calibrate` takes.
#[derive(Debug, Args)]
pub struct CalibrateArgs {
    /// Folders (or files), one a unit, of takes with one signal wired to an input of every unit
    #[arg(required = true, num_args = 1.., value_name = "CARD")]
    pub cards: Vec<PathBuf>,
    /// The calibrations file: made when it is not there, else the new entries come to the others
    #[arg(long, value_name = "FILE")]
    pub store: PathBuf,
    /// What no file tells: limiters, filters, firmware; cited wherever the entry is used
    #[arg(long, default_value = "", value_name = "TEXT")]
    pub note: String,
    /// Replace an entry of the same units in the same modes
    #[arg(long)]
    pub replace: bool,
    /// The unit whose clock the others are measured against
    #[arg(long, value_name = "UNIT")]
    pub lead: Option<String>,
    /// Two channels that carry one electrical signal; may be given more than once
    #[arg(long, value_name = "UNIT:CH=UNIT:CH")]
    pub common: Vec<String>,
}

/// What `offload` takes.
#[derive(Debug, Args)]
#[command(override_usage = "commontime offload [OPTIONS] <CARD>... --to <DIR>...")]
#[command(
    after_help = "Each card becomes a folder of its own in every place, with a hash list in the open ASC MHL form \
    in its folder ascmhl. Nothing is written over; run the same command again after an interruption."
)]
pub struct OffloadArgs {
    /// Folders, one a card
    #[arg(required = true, num_args = 1.., value_name = "CARD")]
    pub cards: Vec<PathBuf>,
    /// Places to copy to: two on different media are the rule
    #[arg(long, required = true, num_args = 1.., value_name = "DIR")]
    pub to: Vec<PathBuf>,
    /// What a card is called at the places, once a card in their order; else as its folder
    #[arg(long, value_name = "NAME")]
    pub name: Vec<String>,
    /// Copy hidden files and what systems leave on cards too
    #[arg(long)]
    pub everything: bool,
    /// Write repaired copies of recordings that were never closed, in a folder beside the card's copy
    #[arg(long)]
    pub repair: bool,
    /// The kind of hash that is written
    #[arg(long, value_enum, default_value_t = HashArg::Xxh128)]
    pub hash: HashArg,
}

/// `--hash`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum HashArg {
    /// XXH3 of 128 bits: quick
    Xxh128,
    /// XXH3 of 64 bits
    Xxh3,
    /// XXH64
    Xxh64,
    /// MD5
    Md5,
    /// SHA-1
    Sha1,
    /// SHA-512, written as a C4 identifier
    C4,
}

/// What `verify` takes.
#[derive(Debug, Args)]
pub struct VerifyArgs {
    /// Folders of copies, or folders above them
    #[arg(required = true, num_args = 1.., value_name = "DIR")]
    pub folders: Vec<PathBuf>,
}

/// What `ltc` does.
#[derive(Debug, Subcommand)]
pub enum LtcCommand {
    /// Look for timecode on every track of every take, and tell all about it
    Read(SurveyArgs),
    /// Write a file of timecode to be played into units
    Write(LtcWriteArgs),
}

/// What `ltc write` takes.
#[derive(Debug, Args)]
pub struct LtcWriteArgs {
    /// The wave file to write, mono, 24 bits
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// The first label
    #[arg(long, value_name = "LABEL")]
    pub from: String,
    /// How labels are counted: 25, 29.97, '29.97 DF', 30000/1001
    #[arg(long, value_name = "RATE", default_value = "30")]
    pub rate: String,
    /// How long, seconds
    #[arg(long, value_name = "SECONDS", default_value_t = 600.0)]
    pub seconds: f64,
    /// Samples a second
    #[arg(long, value_name = "HZ", default_value_t = 48_000, value_parser = clap::value_parser!(u32).range(8000..=768_000))]
    pub sample_rate: u32,
    /// Peak level, dB of full scale
    #[arg(long, value_name = "DBFS", default_value_t = -18.0, allow_negative_numbers = true)]
    pub level: f64,
    /// User bits, eight hexadecimal digits
    #[arg(long, value_name = "HEX", conflicts_with_all = ["text", "date"])]
    pub user_bits: Option<String>,
    /// User bits as four characters
    #[arg(long, value_name = "TEXT", conflicts_with = "date")]
    pub text: Option<String>,
    /// User bits as a date, YYYY-MM-DD (ST 309)
    #[arg(long, value_name = "DATE")]
    pub date: Option<String>,
    /// The date's time zone, minutes ahead of UTC
    #[arg(
        long,
        value_name = "MINUTES",
        default_value_t = 0,
        allow_negative_numbers = true,
        requires = "date"
    )]
    pub zone: i16,
    /// Replace the file if it exists
    #[arg(long)]
    pub replace: bool,
}

/// What `timecode` takes.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    commontime timecode 10:00:00:00 --rate 25\n  \
    commontime timecode '01:00:00;00' - '00:59:58;00'\n  \
    commontime timecode 10:00:00:00 + 90 seconds --rate 24\n  \
    commontime timecode 1728000000 samples --sample-rate 48000\n  \
    commontime timecode 2.5 ppm --rate 25")]
pub struct TimecodeArgs {
    /// A label, a number with frames, samples, seconds or ppm, or a label, + or -, and another of them
    #[arg(required = true, num_args = 1.., value_name = "EXPR", allow_negative_numbers = true)]
    pub sum: Vec<String>,
    /// How labels are counted: 25, 29.97, '29.97 DF', 30000/1001; without it 30, or 29.97 DF for labels with a `;`
    #[arg(long, value_name = "RATE")]
    pub rate: Option<String>,
    /// Samples a second
    #[arg(long, value_name = "HZ", default_value_t = 48_000, value_parser = clap::value_parser!(u32).range(1..=10_000_000))]
    pub sample_rate: u32,
}
