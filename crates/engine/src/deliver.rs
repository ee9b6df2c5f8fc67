//! An alignment and what was built of it in, the papers that go with it out: alignment file, report pages, sound report.

use crate::alignment::{Alignment, JointTake, Placement};
use crate::build::{BuildReport, OutputFile, open_sound};
use crate::error::{Error, Kind, Result};
use crate::finding::Finding;
use crate::render::Renderer;
use crate::report::{
    self, Link, Output, OutputChannel, Overlay, OverlayRequest, ReportInput, Settings,
    SoundReportEntry,
};
use crate::signal::Sound;
use crate::take::TakeSound;

/// A text file of the output folder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Paper {
    /// Its name in the output folder.
    pub name: String,
    /// Its text.
    pub text: String,
}

/// What the papers are made from.
#[derive(Debug, Clone, Copy)]
pub struct PaperInput<'a> {
    /// What was measured.
    pub alignment: &'a Alignment,
    /// What was built.
    pub built: &'a BuildReport,
    /// What concerns the whole day: the cards, the settings, the build, the check.
    pub findings: &'a [Finding],
}

/// The name of the report page of a joint take.
#[must_use]
pub fn report_name(joint_take: &str) -> String {
    format!("{joint_take}.report.html")
}

/// Every paper of the day: `alignment.json`, one report page a joint take, `sound-report.csv`.
///
/// # Errors
/// When a source cannot be read for the magnified overlays.
pub fn papers(input: &PaperInput<'_>) -> Result<Vec<Paper>> {
    let mut papers = vec![Paper {
        name: "alignment.json".into(),
        text: input.alignment.to_json()?,
    }];
    let takes = &input.alignment.joint_takes;
    let outputs: Vec<Option<Output>> = takes
        .iter()
        .map(|take| output_of(take, input.built))
        .collect();
    let settings = input
        .alignment
        .settings
        .as_ref()
        .map_or_else(Settings::default, |table| Settings {
            units: &table.units,
            rows: &table.rows,
        });
    for (take, output) in takes.iter().zip(&outputs) {
        let overlays = overlays_of(take)?;
        let others: Vec<Link> = takes
            .iter()
            .filter(|other| other.name != take.name)
            .map(|other| Link {
                name: other.name.clone(),
                href: report_name(&other.name),
            })
            .collect();
        let findings = concerning(take, takes, input.findings);
        let text = report::html(&ReportInput {
            made_by: &input.alignment.made_by,
            joint_take: take,
            settings,
            findings: &findings,
            overlays: &overlays,
            output: output.as_ref(),
            others: &others,
        });
        papers.push(Paper {
            name: report_name(&take.name),
            text,
        });
    }
    let entries: Vec<SoundReportEntry> = takes
        .iter()
        .zip(&outputs)
        .map(|(joint_take, output)| SoundReportEntry {
            joint_take,
            output: output.as_ref(),
        })
        .collect();
    let table = report::sound_report_csv(&entries)?;
    papers.push(Paper {
        name: "sound-report.csv".into(),
        text: table,
    });
    Ok(papers)
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

fn output_of(take: &JointTake, built: &BuildReport) -> Option<Output> {
    let files: Vec<&OutputFile> = built
        .outputs
        .iter()
        .filter(|file| file.joint_take == take.name)
        .collect();
    let first = files.first()?;
    Some(Output {
        first_lead_position: first.first_lead_position,
        length_samples: first.length_samples,
        files: files.iter().map(|file| file_of(file)).collect(),
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
        channels: file
            .channels
            .iter()
            .map(|channel| OutputChannel {
                number: channel.index,
                name: channel.name.clone(),
                unit: channel.unit.clone(),
                source_channel: channel.unit_channel,
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

/// Lead and followers laid over each other, as they come to the output; members without a place have none.
fn overlays_of(take: &JointTake) -> Result<Vec<Overlay>> {
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
    let mut overlays = Vec::new();
    for &follower in placed
        .iter()
        .filter(|&&i| take.members[i].unit != take.lead)
    {
        overlays.extend(report::overlays(&OverlayRequest {
            joint_take: take,
            follower,
            read: &read,
        })?);
    }
    Ok(overlays)
}
