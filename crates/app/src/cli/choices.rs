//! What several commands let a person choose in, plain data out: how to measure and how to build.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use engine::build::Gain;
use engine::units::Db;

/// How to measure.
#[derive(Debug, Args)]
pub struct MeasureArgs {
    /// The unit whose clock everything is put on
    #[arg(long, value_name = "UNIT")]
    pub lead: Option<String>,
    /// Two channels that carry one electrical signal; may be given more than once
    #[arg(long, value_name = "UNIT:CH=UNIT:CH")]
    pub common: Vec<String>,
    /// The largest distance between microphones on different units
    #[arg(
        long,
        default_value_t = 10.0,
        value_name = "METRES",
        allow_negative_numbers = true
    )]
    pub spacing: f64,
    /// Two sample positions that are one instant, on your word; may be given more than once
    #[arg(long, value_name = "UNIT@POS=UNIT@POS")]
    pub tie: Vec<String>,
    /// Stored offsets of these units, from `commontime calibrate`
    #[arg(long, value_name = "FILE")]
    pub calibration: Option<PathBuf>,
    /// When a follower is resampled onto the lead's clock
    #[arg(long, value_enum, default_value_t = ResampleArg::Auto)]
    pub resample: ResampleArg,
}

/// How to build.
#[derive(Debug, Args)]
pub struct ShapeArgs {
    /// One file of all channels, one a unit, one a group of the channel list, or one a channel
    #[arg(long, value_enum, default_value_t = ShapeArg::Poly)]
    pub shape: ShapeArg,
    /// The sample format of the output
    #[arg(long, value_enum, default_value_t = FormatArg::Source)]
    pub format: FormatArg,
    /// The stretch of time the output covers
    #[arg(long, value_enum, default_value_t = SpanArg::Lead)]
    pub span: SpanArg,
    /// A table of the channels that come in, in order, with their names and groups; start from the channels.csv of a build
    #[arg(long, value_name = "FILE")]
    pub channels: Option<PathBuf>,
    /// Cut files so that none is larger, for receivers and media that take no larger ones
    #[arg(long, value_enum, value_name = "SIZE")]
    pub split: Option<SplitArg>,
    /// Change all channels alike by so many dB, or by what makes the largest peak fit into integers: `fit` (changes nothing
    /// where the output is floating point, which holds it anyway)
    #[arg(
        long,
        value_name = "DB|fit",
        value_parser = gain_of,
        allow_negative_numbers = true
    )]
    pub gain: Option<Gain>,
    /// Where written files are read back from: the system, which may answer from memory, or the medium, which takes longer
    #[arg(long, value_enum, default_value_t = ReadBackArg::System)]
    pub read_back: ReadBackArg,
    /// Measure loudness and write it into the broadcast extension (all channels of a file with equal weight)
    #[arg(long)]
    pub loudness: bool,
    /// Which channels belong together, and for what: a file of groups, held against the claims in the report
    #[arg(long, value_name = "FILE")]
    pub session: Option<PathBuf>,
    /// A font for printed reports, for scripts that the program's own lacks; may be given more than once
    #[arg(long, value_name = "FILE")]
    pub font: Vec<PathBuf>,
    /// Do not measure loudness, true peaks, noise, hum, clipping and drop-outs of every channel
    #[arg(long)]
    pub no_quality: bool,
    /// Replace outputs that exist
    #[arg(long)]
    pub replace: bool,
}

impl Default for ShapeArgs {
    /// As without any option.
    fn default() -> Self {
        Self {
            shape: ShapeArg::Poly,
            format: FormatArg::Source,
            span: SpanArg::Lead,
            channels: None,
            split: None,
            gain: None,
            read_back: ReadBackArg::System,
            loudness: false,
            session: None,
            font: Vec::new(),
            no_quality: false,
            replace: false,
        }
    }
}

/// The largest change of level that is taken for meant, dB.
const MOST_GAIN: f64 = 120.0;

fn gain_of(text: &str) -> Result<Gain, String> {
    if text.eq_ignore_ascii_case("fit") {
        return Ok(Gain::Fit);
    }
    match text.parse::<f64>() {
        Ok(db) if db.abs() <= MOST_GAIN => Ok(Gain::Db(Db(db))),
        _ => Err(format!(
            "a number of dB up to {MOST_GAIN} either way, or `fit`"
        )),
    }
}

/// `--read-back`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum ReadBackArg {
    /// The system, while the file is written
    System,
    /// The medium, once all of it is there
    Medium,
}

/// `--split`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum SplitArg {
    /// Below 2 GiB
    #[value(name = "2gb")]
    Two,
    /// Below 4 GiB, the most that a FAT file system and a plain RIFF file take
    #[value(name = "4gb")]
    Four,
}

/// `--resample`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum ResampleArg {
    /// When the clocks were not common
    Auto,
    /// Never: integer shifts only, drift stays in
    Never,
    /// Always, even when the clocks were common
    Always,
}

/// `--shape`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum ShapeArg {
    /// One file with all channels
    Poly,
    /// One file a unit
    PerUnit,
    /// One file a group
    PerGroup,
    /// One file a channel
    Mono,
}

/// `--format`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum FormatArg {
    /// As the sources; float when they differ
    Source,
    /// 32-bit float
    Float32,
    /// 24-bit integer
    Int24,
}

/// `--span`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum SpanArg {
    /// The lead's take
    Lead,
    /// Only where all units ran
    Common,
    /// From the first start to the last end
    Longest,
}
