//! The words typed for `signal` and `rehearse` in, plain data out.

use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};
use rehearsal::practice::{Kind, Level};

/// What `signal` writes.
#[derive(Debug, Subcommand)]
pub enum SignalCommand {
    /// Pairs of sweeps over and over: `align` recognises them as a common signal
    Marker(MarkerArgs),
    /// A sine, to set levels by; it repeats too soon to place a unit by
    Tone(ToneArgs),
}

/// The file that `signal` writes.
#[derive(Debug, Args)]
pub struct SoundFileArgs {
    /// The wave file to write, mono, 24 bits
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// How long, seconds
    #[arg(long, value_name = "SECONDS", default_value_t = 600.0)]
    pub seconds: f64,
    /// Samples a second
    #[arg(long, value_name = "HZ", default_value_t = 48_000, value_parser = clap::value_parser!(u32).range(8000..=768_000))]
    pub sample_rate: u32,
    /// Peak level, dB of full scale: a sine of 0 dB just reaches it
    #[arg(long, value_name = "DBFS", default_value_t = -20.0, allow_negative_numbers = true)]
    pub level: f64,
    /// Replace the file if it exists
    #[arg(long)]
    pub replace: bool,
}

/// What `signal marker` takes.
#[derive(Debug, Args)]
#[command(
    after_help = "Record it on a spare channel of every unit, from one output, for the whole take. One marker is a sweep from 300 Hz \
    to 15 kHz and the same sweep backwards, 0.7 s in all; they come up to half a second late, each by another amount, so that \
    no other place fits."
)]
pub struct MarkerArgs {
    /// The file
    #[command(flatten)]
    pub file: SoundFileArgs,
    /// From marker to marker on average, seconds; at least 2
    #[arg(long, value_name = "SECONDS", default_value_t = 10.0)]
    pub every: f64,
}

/// What `signal tone` takes.
#[derive(Debug, Args)]
pub struct ToneArgs {
    /// The file
    #[command(flatten)]
    pub file: SoundFileArgs,
    /// Hz
    #[arg(long, value_name = "HZ", default_value_t = 1000.0)]
    pub frequency: f64,
}

/// What `rehearse` does.
#[derive(Debug, Subcommand)]
pub enum RehearseCommand {
    /// Write cards, a sheet of questions, a form for the answers and the truth, sealed
    Make(RehearseMakeArgs),
    /// Mark a form that was filled in, or an alignment file, against the sealed truth
    Mark(RehearseMarkArgs),
}

/// What `rehearse make` takes.
#[derive(Debug, Args)]
#[command(
    after_help = "Work on the cards with any means you like, fill in answers.toml, then `commontime rehearse mark DIR`. The truth is \
    sealed so that nobody reads it by accident; it is no secret."
)]
pub struct RehearseMakeArgs {
    /// The folder for the practice shoot; it must not exist
    #[arg(long, value_name = "DIR", default_value = "practice")]
    pub out: PathBuf,
    /// How hard: out of what the seed draws what happened
    #[arg(long, value_enum, default_value = "easy")]
    pub level: LevelArg,
    /// Everything random follows from it
    #[arg(long, value_name = "NUMBER", default_value_t = 1)]
    pub seed: u64,
    /// What happened, for teachers: learners are better not told
    #[arg(long, value_enum)]
    pub kind: Option<KindArg>,
}

/// What `rehearse mark` takes.
#[derive(Debug, Args)]
pub struct RehearseMarkArgs {
    /// The folder that `rehearse make` wrote
    #[arg(value_name = "DIR")]
    pub folder: PathBuf,
    /// The form filled in, or an alignment file of `align` or `join`; without it answers.toml in the folder
    #[arg(long, value_name = "FILE")]
    pub answer: Option<PathBuf>,
}

/// How hard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum LevelArg {
    /// One signal on both units, or a jam that was lost
    Easy,
    /// The same, slips, a wrong timecode rate, content alone
    Middle,
    /// Slips, a wrong timecode rate, content alone, or no signs at all
    Hard,
}

impl LevelArg {
    /// As rehearsal has it.
    pub fn level(self) -> Level {
        match self {
            Self::Easy => Level::Easy,
            Self::Middle => Level::Middle,
            Self::Hard => Level::Hard,
        }
    }
}

/// What happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum KindArg {
    /// One signal on both units
    Linked,
    /// Only the sound of the room, at a distance, and no stamps
    Distance,
    /// Timecode that was right and then lost
    JamLost,
    /// One signal on both, and samples lost or doubled
    Slip,
    /// Timecode counted at another rate
    WrongRate,
    /// Two rooms and no stamps
    NoSigns,
}

impl KindArg {
    /// As rehearsal has it.
    pub fn kind(self) -> Kind {
        match self {
            Self::Linked => Kind::Linked,
            Self::Distance => Kind::Distance,
            Self::JamLost => Kind::JamLost,
            Self::Slip => Kind::Slip,
            Self::WrongRate => Kind::WrongRate,
            Self::NoSigns => Kind::NoSigns,
        }
    }
}
