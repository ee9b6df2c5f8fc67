//! What `stability` takes, plain data out.

use std::path::PathBuf;

use clap::Args;

/// What `stability` takes.
#[derive(Debug, Args)]
#[command(
    after_help = "Recordings: feed one signal, or timecode from one generator, into an input of every unit and let them record for hours; \
    give their cards. Text files (.csv, .txt, .dat): the time in seconds and the phase in seconds (by how much the clock is \
    ahead) in two columns, or the phase alone with --interval. Times of a temperature log count from the first sample of \
    the lead's take, of a single unit's take, or as those of the text file."
)]
pub struct StabilityArgs {
    /// Folders (or files) of recordings, one a unit; or text files of phases
    #[arg(required = true, num_args = 1.., value_name = "FILE")]
    pub files: Vec<PathBuf>,
    /// How far apart the phases of a text file with one column are, seconds
    #[arg(long, value_name = "SECONDS", value_parser = positive)]
    pub interval: Option<f64>,
    /// The unit whose clock the others are measured against
    #[arg(long, value_name = "UNIT")]
    pub lead: Option<String>,
    /// Two channels that carry one electrical signal; may be given more than once
    #[arg(long, value_name = "UNIT:CH=UNIT:CH")]
    pub common: Vec<String>,
    /// What the generator of timecode on the tracks is called
    #[arg(long, value_name = "NAME", default_value = "GENERATOR")]
    pub generator: String,
    /// Timecode frames a second: 25, 29.97, 30000/1001
    #[arg(long, value_name = "RATE", default_value = "30")]
    pub rate: String,
    /// A log of temperatures: the time in seconds and degrees Celsius in two columns
    #[arg(long, value_name = "FILE")]
    pub temperature: Option<PathBuf>,
    /// The clock history to add the measured rates to; made when it is not there
    #[arg(long, value_name = "FILE")]
    pub history: Option<PathBuf>,
    /// The folder for a page with pictures and for tables of the deviations and phases
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Replace the page and the tables if they exist
    #[arg(long)]
    pub replace: bool,
}

fn positive(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value > 0.0 && value.is_finite() => Ok(value),
        _ => Err("a number of seconds above 0".into()),
    }
}
