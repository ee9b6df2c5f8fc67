//! An alignment and what was built of it in, the papers that go with it out: alignment file, report pages, the day's reports.

use std::path::Path;

use crate::alignment::{Alignment, JointTake, Part, Placement};
use crate::build::{BuildReport, ChannelList, OutputFile, open_sound};
use crate::check::Checked;
use crate::error::{Error, Kind, Result};
use crate::finding::Finding;
use crate::media;
use crate::output::{Replace, write_bytes};
use crate::prep::Prep;
use crate::render::Renderer;
use crate::report::{
    self, DayReports, Difference, Faces, JudgedGroup, Link, MeasuredAgain, Output, OutputChannel,
    Overlay, OverlayRequest, ReportInput, Settings, SoundReport, SyncReport,
};
use crate::signal::Sound;
use crate::take::TakeSound;

/// A file of the output folder beside the recordings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Paper {
    /// Its name in the output folder.
    pub name: String,
    /// What stands in it: UTF-8, but for the prints.
    pub bytes: Vec<u8>,
}

impl Paper {
    fn new(name: impl Into<String>, bytes: impl Into<Vec<u8>>) -> Self {
        Self {
            name: name.into(),
            bytes: bytes.into(),
        }
    }

    /// Writes it into a folder.
    ///
    /// # Errors
    /// As for [`write_bytes`].
    pub fn write(&self, folder: &Path, replace: Replace) -> Result<()> {
        write_bytes(&folder.join(&self.name), &self.bytes, replace)
    }
}

/// What the papers are made from.
#[derive(Debug, Clone, Copy)]
pub struct PaperInput<'a> {
    /// What was measured.
    pub alignment: &'a Alignment,
    /// What was built.
    pub built: &'a BuildReport,
    /// What checking it came to.
    pub checked: &'a Checked,
    /// The list of channels that was built by, if there was one.
    pub channels: Option<&'a ChannelList>,
    /// The groups that were declared, judged in every joint take.
    pub groups: &'a [Vec<JudgedGroup>],
    /// What concerns the whole day: the cards, the settings, the build, the check.
    pub findings: &'a [Finding],
    /// The faces for print.
    pub faces: &'a Faces,
}

/// The name of the alignment file among the papers.
pub const ALIGNMENT: &str = "alignment.json";

/// The name of the list of channels.
pub const CHANNELS: &str = "channels.csv";

/// The names of the day's reports.
pub const DAY_PAPERS: [&str; 8] = [
    "sound-report.json",
    "sound-report.csv",
    "sound-report.html",
    "sound-report.pdf",
    "sync-report.json",
    "sync-report.csv",
    "sync-report.html",
    "sync-report.pdf",
];

/// The names of all papers of a day.
#[must_use]
pub fn paper_names(alignment: &Alignment) -> Vec<String> {
    let takes = alignment.joint_takes.iter();
    let pages = takes.flat_map(|take| [report_name(&take.name), timeline_name(&take.name)]);
    let lists = [ALIGNMENT, CHANNELS].into_iter();
    pages
        .chain(lists.chain(DAY_PAPERS).map(String::from))
        .collect()
}

/// The name of the report page of a joint take.
#[must_use]
pub fn report_name(joint_take: &str) -> String {
    format!("{joint_take}.report.html")
}

/// The name of the timeline of a joint take.
#[must_use]
pub fn timeline_name(joint_take: &str) -> String {
    format!("{joint_take}.otio")
}

/// The stamp that a file carries itself.
pub(crate) fn stamp_of(part: &Part) -> Option<u64> {
    let file = media::open(Path::new(&part.path)).ok()?;
    let header = wave::Header::read(&file).ok()?;
    header.bext.map(|bext| bext.time_reference)
}

/// Every paper of the day: `alignment.json`, one report page and one timeline a joint take, the day's reports,
/// `channels.csv` to build from again with another choice of channels.
///
/// # Errors
/// When a source cannot be read for the magnified overlays.
pub fn papers(input: &PaperInput<'_>) -> Result<Vec<Paper>> {
    let alignment = input.alignment;
    let mut papers = vec![Paper::new(ALIGNMENT, alignment.to_json()?)];
    let takes = &alignment.joint_takes;
    let outputs: Vec<Option<Output>> = takes
        .iter()
        .zip(input.groups)
        .map(|(take, groups)| output_of(take, groups, input))
        .collect();
    let settings = alignment.settings.as_ref();
    let settings = settings.map_or_else(Settings::default, |table| Settings {
        units: &table.units,
        rows: &table.rows,
    });
    for (take, output) in takes.iter().zip(&outputs) {
        let (overlays, differences) = laid_over(take)?;
        let others = takes.iter().filter(|other| other.name != take.name);
        let others: Vec<Link> = others
            .map(|other| Link {
                name: other.name.clone(),
                href: report_name(&other.name),
            })
            .collect();
        let findings = concerning(take, takes, input.findings);
        let page = report::html(&ReportInput {
            made_by: &alignment.made_by,
            joint_take: take,
            settings,
            findings: &findings,
            overlays: &overlays,
            differences: &differences,
            output: output.as_ref(),
            others: &others,
        });
        papers.push(Paper::new(report_name(&take.name), page));
        let timeline = report::timeline(take, &stamp_of)?;
        papers.push(Paper::new(timeline_name(&take.name), timeline));
    }
    let day = DayReports {
        sound: SoundReport::of(alignment, &outputs),
        sync: SyncReport::of(alignment, &outputs),
    };
    papers.extend(day_papers(&day, input.faces, &|name| {
        Some(report_name(name))
    })?);
    let channels = ChannelList::table(alignment, input.channels)?;
    papers.push(Paper::new(CHANNELS, channels));
    Ok(papers)
}

/// The day's two reports in all their forms, in the order of [`DAY_PAPERS`]; `page_of` says where a joint take's own page
/// is, if there is one.
///
/// # Errors
/// When a number in them is none.
pub fn day_papers(
    day: &DayReports,
    faces: &Faces,
    page_of: &dyn Fn(&str) -> Option<String>,
) -> Result<Vec<Paper>> {
    let (sound, sync) = (day.sound.document(page_of), day.sync.document(page_of));
    let contents: [Vec<u8>; 8] = [
        day.sound.to_json()?.into(),
        day.sound.to_csv()?.into(),
        report::screen(&sound).into(),
        report::print(&sound, faces)?,
        day.sync.to_json()?.into(),
        day.sync.to_csv()?.into(),
        report::screen(&sync).into(),
        report::print(&sync, faces)?,
    ];
    let named = DAY_PAPERS.into_iter().zip(contents);
    Ok(named.map(|(name, bytes)| Paper::new(name, bytes)).collect())
}

/// The names of the papers of a planned session.
pub const SESSION_PAPERS: [&str; 5] = [
    "session-sheet.json",
    "session-sheet.txt",
    "session-sheet.html",
    "session-sheet.pdf",
    "planned-channels.csv",
];

/// A planned session in all its forms, in the order of [`SESSION_PAPERS`].
///
/// # Errors
/// When a number in them is none.
pub fn session_papers(prep: &Prep, faces: &Faces) -> Result<Vec<Paper>> {
    let document = prep.document();
    let json = serde_json::to_string_pretty(prep).map_err(|error| {
        Error::new(Kind::Format, "the session sheet cannot be written").from_source(error)
    })?;
    let contents: [Vec<u8>; 5] = [
        (json + "\n").into(),
        report::typed(&document).into(),
        report::screen(&document).into(),
        report::print(&document, faces)?,
        prep.channel_list()?.into(),
    ];
    let named = SESSION_PAPERS.into_iter().zip(contents);
    Ok(named.map(|(name, bytes)| Paper::new(name, bytes)).collect())
}

/// The findings that are not about another joint take alone.
fn concerning(take: &JointTake, all: &[JointTake], findings: &[Finding]) -> Vec<Finding> {
    let names = |finding: &Finding, take: &JointTake| finding.place.contains(&take.name);
    findings
        .iter()
        .filter(|finding| names(finding, take) || !all.iter().any(|other| names(finding, other)))
        .cloned()
        .collect()
}

fn output_of(take: &JointTake, groups: &[JudgedGroup], input: &PaperInput<'_>) -> Option<Output> {
    let files: Vec<&OutputFile> = input
        .built
        .outputs
        .iter()
        .filter(|file| file.joint_take == take.name)
        .collect();
    let first = files.iter().map(|file| file.first_lead_position).min()?;
    let end = files
        .iter()
        .map(|file| file.first_lead_position + file.length_samples as i64)
        .max()?;
    Some(Output {
        first_lead_position: first,
        length_samples: (end - first) as u64,
        files: files.iter().map(|file| file_of(file)).collect(),
        groups: groups.to_vec(),
        quality: input.built.quality_of(&take.name).cloned(),
        residuals: input
            .checked
            .residuals
            .iter()
            .filter(|residual| residual.joint_take == take.name)
            .map(|residual| MeasuredAgain {
                unit: residual.unit.clone(),
                place: residual.place.to_string(),
                position: residual.position,
                lag_samples: residual.lag_samples,
                sigma_samples: residual.sigma_samples,
            })
            .collect(),
    })
}

fn file_of(file: &OutputFile) -> report::OutputFile {
    report::OutputFile {
        path: file
            .path
            .file_name()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned(),
        bytes: file.bytes,
        digest: format!("xxh3-128:{}", file.hash),
        encoding: file.encoding.clone(),
        first_lead_position: file.first_lead_position,
        length_samples: file.length_samples,
        fields: file
            .fields
            .iter()
            .map(|field| {
                [
                    field.name.to_string(),
                    field.value.clone(),
                    field.rule.clone(),
                ]
            })
            .collect(),
        channels: file
            .channels
            .iter()
            .map(|channel| OutputChannel {
                number: channel.index,
                name: channel.name.clone(),
                unit: channel.unit.clone(),
                source_channel: channel.unit_channel,
                group: channel.group.clone().unwrap_or_default(),
                exact: channel.exact,
                placement: if channel.copied {
                    Placement::Exact
                } else {
                    Placement::Resampled
                },
                peak_dbfs: (channel.levels.peak > 0.0).then(|| 20.0 * channel.levels.peak.log10()),
            })
            .collect(),
    }
}

/// Lead and followers laid over each other and taken from each other, as they come to the output; members without a place
/// have neither.
fn laid_over(take: &JointTake) -> Result<(Vec<Overlay>, Vec<Difference>)> {
    let placed: Vec<usize> = (0..take.members.len())
        .filter(|&i| take.members[i].placement != Placement::NotPlaced)
        .collect();
    let sounds: Vec<TakeSound> = placed
        .iter()
        .map(|&i| open_sound(take, &take.members[i]))
        .collect::<Result<_>>()?;
    let read = |index: usize, channel: u32, start: i64, length: usize| {
        let place = placed.iter().position(|&i| i == index).ok_or_else(|| {
            Error::new(
                Kind::Usage,
                format!("{} has no place", take.members[index].unit),
            )
        })?;
        let pair = [(&take.members[index], &sounds[place] as &dyn Sound)];
        let renderer = Renderer::new(take, &pair)?;
        let mut planes = vec![vec![0.0; length]; renderer.channels()];
        renderer.render(start, &mut planes)?;
        Ok(planes.swap_remove(channel.max(1) as usize - 1))
    };
    let (mut overlays, mut differences) = (Vec::new(), Vec::new());
    for &follower in placed
        .iter()
        .filter(|&&i| take.members[i].unit != take.lead)
    {
        let request = OverlayRequest {
            joint_take: take,
            follower,
            read: &read,
        };
        overlays.extend(report::overlays(&request)?);
        differences.extend(report::difference(&request)?);
    }
    Ok((overlays, differences))
}
