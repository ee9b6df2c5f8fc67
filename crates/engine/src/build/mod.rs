//! An alignment in, finished files out. Each joint take is rendered into temporary files next to their final names,
//! flushed, read back and compared, and only then renamed: nothing half done carries a finished name, and what cannot be
//! built does not keep the others from being built.

mod target;
mod quantise;
mod members;
mod channels;
mod layout;
mod plan;
mod names;
mod metadata;
mod in_order;
mod measure;
mod read_back;
mod write;
mod finish;
mod hashes;
mod mono;

use std::path::PathBuf;

use serde::{Deserialize, Serialize};

use crate::alignment::{Alignment, JointTake, Member};
use crate::error::{Error, Kind, Result};
use crate::finding::{Finding, Weight};
use crate::output::ReadBack;
use crate::progress::Progress;
use crate::quality::{ChannelQuality, Loudness, Pair, Quality};
use crate::signal::Levels;
use crate::take::TakeSound;
use crate::units::Db;
pub use channels::{ChannelList, ListedChannel};
pub use mono::{SoundFile, write_sound, write_timecode};

use plan::Plan;
use target::Target;

/// How to build.
#[derive(Debug, Clone)]
pub struct BuildOptions {
    /// The folder the files go to; made when it is not there.
    pub out: PathBuf,
    /// How channels are spread over files.
    pub shape: Shape,
    /// How samples are stored.
    pub format: OutputFormat,
    /// Which stretch of the lead's time is covered.
    pub span: Span,
    /// Which channels come in, in what order and under which names; all of them without a list.
    pub channels: Option<ChannelList>,
    /// The largest file, bytes; longer ones are cut into parts that follow each other without a gap.
    pub largest_file: Option<u64>,
    /// Whether levels are changed.
    pub gain: Gain,
    /// Where written files are read back from.
    pub read_back: ReadBackFrom,
    /// Whether loudness is measured and written into the broadcast extension.
    pub loudness: bool,
    /// Whether the quality of every channel is measured while it is written.
    pub quality: bool,
    /// Whether files that exist are replaced, once their successors are verified; otherwise they are refused.
    pub replace: bool,
    /// Whether a joint take is built without the followers whose place is not established; otherwise it is not built.
    pub leave_out_unplaced: bool,
    /// The cards: nothing is written into them.
    pub cards: Vec<PathBuf>,
}

impl BuildOptions {
    /// One file of all channels, stored like the sources, over the lead's take, into `out`.
    #[must_use]
    pub fn new(out: impl Into<PathBuf>) -> Self {
        Self {
            out: out.into(),
            shape: Shape::Poly,
            format: OutputFormat::Source,
            span: Span::Lead,
            channels: None,
            largest_file: None,
            gain: Gain::None,
            read_back: ReadBackFrom::System,
            loudness: false,
            quality: false,
            replace: false,
            leave_out_unplaced: false,
            cards: Vec::new(),
        }
    }
}

/// How channels are spread over files.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// One file with all channels.
    Poly,
    /// One file a unit.
    PerUnit,
    /// One file a group of the channel list; channels without a group by unit.
    PerGroup,
    /// One file a channel.
    Mono,
}

/// Whether levels are changed: by one gain for all channels, so that they stay as loud as they were to each other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Gain {
    /// They are not.
    None,
    /// By this much.
    Db(Db),
    /// By as much as makes the largest peak fit into integers, measured first; not at all when it fits.
    Fit,
}

/// Where written files are read back from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ReadBackFrom {
    /// The system, which may answer from its memory: proves that what was written is what was meant. Quick, since it happens
    /// while the file is written.
    System,
    /// The medium, once everything is on it: proves as well that the medium holds it.
    Medium,
}

/// How samples are stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OutputFormat {
    /// As the sources; when they differ, the smallest encoding that holds every source sample exactly.
    Source,
    /// 32-bit floating point.
    Float32,
    /// 24-bit integers.
    Int24,
}

/// Which stretch of the lead's time is covered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Span {
    /// The lead's take.
    Lead,
    /// Only where all units in the output ran.
    Common,
    /// From the first start to the last end.
    Longest,
}

/// What came of building.
#[derive(Debug, Clone, Default, Serialize)]
pub struct BuildReport {
    /// The files written, in the order of the joint takes.
    pub outputs: Vec<OutputFile>,
    /// How good their channels are, one entry a joint take; empty when that was not asked for.
    pub qualities: Vec<TakeQuality>,
    /// The joint takes that were not built.
    pub unbuilt: Vec<Unbuilt>,
    /// What a person should know.
    pub findings: Vec<Finding>,
    /// The list of hashes beside the files; `None` when nothing was written.
    #[serde(serialize_with = "crate::media::as_text::some_path")]
    pub hash_list: Option<PathBuf>,
}

impl BuildReport {
    /// How good the channels of a joint take are; `None` where it was not built or that was not measured.
    #[must_use]
    pub fn quality_of(&self, joint_take: &str) -> Option<&TakeQuality> {
        let mut all = self.qualities.iter();
        all.find(|quality| quality.joint_take == joint_take)
    }
}

/// How good the channels of a joint take are in the recording, measured as they were written.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TakeQuality {
    /// The joint take.
    pub joint_take: String,
    /// Samples a second.
    pub sample_rate: u32,
    /// Samples per channel that were measured, from the recording's first on.
    pub length_samples: u64,
    /// Its channels, in the order of the recording.
    pub channels: Vec<MeasuredChannel>,
    /// How alike every two of them are; places count from 0 in `channels`.
    pub pairs: Vec<Pair>,
}

/// A channel of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MeasuredChannel {
    /// The name it got.
    pub name: String,
    /// The unit it comes from.
    pub unit: String,
    /// 1-based channel of that unit's take.
    pub unit_channel: u32,
    /// The group it was put into, if any.
    pub group: Option<String>,
    /// What it came to.
    pub quality: ChannelQuality,
}

/// A joint take that was not built.
#[derive(Debug, Clone, Serialize)]
pub struct Unbuilt {
    /// Its name.
    pub joint_take: String,
    /// Why, and what to do.
    pub finding: Finding,
    /// The class of the failure; `None` when a decision is needed.
    #[serde(skip)]
    pub kind: Option<Kind>,
}

/// A file that was written, read back and found right.
#[derive(Debug, Clone, Serialize)]
pub struct OutputFile {
    /// The joint take it holds.
    pub joint_take: String,
    /// Where it is.
    #[serde(serialize_with = "crate::media::as_text::path")]
    pub path: PathBuf,
    /// Its size.
    pub bytes: u64,
    /// xxh3-128 of the whole file as read back, 32 hexadecimal digits.
    pub hash: String,
    /// Whether the medium was read or perhaps the memory that the bytes passed through.
    pub read_back: ReadBack,
    /// `RIFF` or `RF64`.
    pub container: String,
    /// How samples are stored, in words.
    pub encoding: String,
    /// Samples a second.
    pub sample_rate: u32,
    /// Samples per channel.
    pub length_samples: u64,
    /// The lead position of its first sample.
    pub first_lead_position: i64,
    /// What every channel's values were multiplied by, dB; 0 when levels are as recorded.
    pub gain_db: f64,
    /// What stands in its metadata, and where that comes from.
    pub fields: Vec<Field>,
    /// What it came to by BS.1770, when that was asked for.
    pub loudness: Option<Loudness>,
    /// Its stamp; `None` when the lead has none.
    pub samples_since_midnight: Option<u64>,
    /// Its channels, in order.
    pub channels: Vec<OutputChannel>,
    /// Units whose place is not established and that were left out as asked.
    pub left_out: Vec<String>,
    /// Stretches in which a unit recorded nothing, as exact silence.
    pub gaps: Vec<Gap>,
}

/// A stretch of a file in which a unit recorded nothing.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Gap {
    /// The unit.
    pub unit: String,
    /// Its first sample in the file.
    pub first_sample: u64,
    /// How long it is.
    pub samples: u64,
    /// Whether it lies between two takes of the unit, which was stopped and started again; else samples are missing
    /// within one.
    pub between_takes: bool,
}

/// Something that stands in a file's metadata.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Field {
    /// What it is called.
    pub name: &'static str,
    /// What it says.
    pub value: String,
    /// By which rule it says so, and what others said.
    pub rule: String,
}

/// A channel of a file.
#[derive(Debug, Clone, Serialize)]
pub struct OutputChannel {
    /// 1-based place in the file.
    pub index: u32,
    /// The name it got; unique in the joint take.
    pub name: String,
    /// The unit it comes from.
    pub unit: String,
    /// 1-based channel of that unit's take.
    pub unit_channel: u32,
    /// The group it was put into, if any.
    pub group: Option<String>,
    /// Whether its samples were copied; otherwise they were resampled.
    pub copied: bool,
    /// Whether they are the source's bit for bit: copied, and neither rounded nor changed in level.
    pub exact: bool,
    /// xxh3-128 over its samples as read back, as little-endian 64-bit floating point.
    pub digest: String,
    /// The same over the source's samples of the same stretch, taken when they were read; equal to `digest` proves bit for
    /// bit. `None` where samples were resampled, rounded, changed by a gain, or parted by slips.
    pub source_digest: Option<String>,
    /// What the channel came to, as read back.
    pub levels: Levels,
}

/// The sound of a member, its files checked to be those that were measured.
///
/// # Errors
/// When a file cannot be opened or has changed.
pub fn open_sound(take: &JointTake, member: &Member) -> Result<TakeSound> {
    let mut sources = members::open(take, &[member])?;
    match sources.pop() {
        Some(source) => Ok(source.sound),
        None => Err(Error::new(
            Kind::Usage,
            format!("{} has no files", member.unit),
        )),
    }
}

/// Builds every joint take of `alignment`. What needs a decision or fails stops that joint take alone and stands in
/// [`BuildReport::unbuilt`].
///
/// # Errors
/// [`Kind::Refused`] when the folder lies inside a card or another build writes there; [`Kind::Io`] when it cannot be made.
pub fn build(
    alignment: &Alignment,
    options: &BuildOptions,
    progress: &dyn Progress,
) -> Result<BuildReport> {
    if let Some(list) = &options.channels {
        list.refuse_strangers(alignment)?;
    }
    let target = Target::prepare(alignment, options)?;
    let mut report = BuildReport::default();
    let mut taken = names::Taken::default();
    for take in &alignment.joint_takes {
        let built = taken
            .claim(take)
            .and_then(|()| build_one(take, options, &target, progress));
        match built {
            Ok(Built {
                outputs,
                quality,
                findings,
            }) => {
                report.outputs.extend(outputs);
                report.qualities.extend(quality);
                report.findings.extend(findings);
            }
            Err(stopped) => report.unbuilt.push(unbuilt(take, *stopped)),
        }
    }
    report
        .findings
        .extend(report.unbuilt.iter().map(|unbuilt| unbuilt.finding.clone()));
    if !report.outputs.is_empty() {
        match hashes::write(&target, &report.outputs) {
            Ok(path) => report.hash_list = Some(path),
            Err(error) => report.findings.push(
                Finding::new("no-hash-list", Weight::Warn, error.to_string())
                    .at(options.out.display().to_string()),
            ),
        }
    }
    Ok(report)
}

/// Why a joint take was not built.
enum Stopped {
    /// A person must decide.
    Undecided(Finding),
    /// It failed.
    Failed(Error),
}

impl From<Error> for Box<Stopped> {
    fn from(error: Error) -> Self {
        Box::new(Stopped::Failed(error))
    }
}

impl From<Finding> for Box<Stopped> {
    fn from(finding: Finding) -> Self {
        Box::new(Stopped::Undecided(finding))
    }
}

struct Built {
    outputs: Vec<OutputFile>,
    quality: Option<TakeQuality>,
    findings: Vec<Finding>,
}

fn build_one(
    take: &JointTake,
    options: &BuildOptions,
    target: &Target,
    progress: &dyn Progress,
) -> std::result::Result<Built, Box<Stopped>> {
    let chosen = members::choose(take, options)?;
    let sources = members::open(take, &chosen.members)?;
    let mut plan = Plan::new(take, &sources, options)?;
    if plan.channels.is_empty() {
        return Err(no_channels(take).into());
    }
    target.refuse_existing(&plan.files, options.replace)?;
    let mut findings = chosen.findings;
    // what goes beyond the full scale of integers is never clipped
    loop {
        target.refuse_without_room(&plan)?;
        match write::write(&plan, target, progress)? {
            write::Outcome::Complete(mut draft) => {
                let verified = write::verify(&plan, &mut draft, progress)?;
                let left_out = &chosen.left_out;
                let quality = draft.quality.take();
                let quality = quality.map(|quality| of_take(&plan, quality));
                let outputs = finish::finish(&plan, target, options, draft, verified, left_out)?;
                findings.extend(plan.findings.iter().cloned());
                return Ok(Built {
                    outputs,
                    quality,
                    findings,
                });
            }
            write::Outcome::Beyond(beyond) => plan.make_room(beyond)?,
        }
    }
}

/// The quality of a plan's channels with what they are called.
fn of_take(plan: &Plan<'_>, quality: Quality) -> TakeQuality {
    let channels = plan.channels.iter().zip(quality.channels);
    TakeQuality {
        joint_take: plan.take.name.clone(),
        sample_rate: plan.take.sample_rate,
        length_samples: plan.length(),
        channels: channels
            .map(|(channel, quality)| MeasuredChannel {
                name: channel.name.clone(),
                unit: plan.sources[channel.member].member.unit.clone(),
                unit_channel: channel.own as u32 + 1,
                group: channel.group.clone(),
                quality,
            })
            .collect(),
        pairs: quality.pairs,
    }
}

fn no_channels(take: &JointTake) -> Finding {
    Finding::new(
        "no-channels",
        Weight::Ask,
        format!(
            "{} was not built: the channel list has none of its channels",
            take.name
        ),
    )
    .at(&take.name)
    .then("put some of its channels on the list, or build the other joint takes alone")
}

fn unbuilt(take: &JointTake, stopped: Stopped) -> Unbuilt {
    let (finding, kind) = match stopped {
        Stopped::Undecided(finding) => (finding, None),
        Stopped::Failed(error) => {
            let place = error
                .path()
                .map_or_else(|| take.name.clone(), |path| path.display().to_string());
            let mut message = format!("{} was not built: {}", take.name, error.message());
            if let Some(source) = std::error::Error::source(&error) {
                message += &format!(": {source}");
            }
            let next_step = match error.next_step() {
                "" => {
                    "check that the medium is there and can be read and written, then build again"
                }
                next_step => next_step,
            };
            let finding = Finding::new("not-built", Weight::Stop, message)
                .at(place)
                .then(next_step);
            (finding, Some(error.kind()))
        }
    };
    Unbuilt {
        joint_take: take.name.clone(),
        finding,
        kind,
    }
}
