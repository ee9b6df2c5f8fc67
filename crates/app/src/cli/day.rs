//! What `align`, `build` and `join` share: options into the engine's words, a day's cards measured, its papers written.

use std::path::{Path, PathBuf};

use anyhow::Result;
use engine::alignment::{Alignment, JointTake};
use engine::build::{
    BuildOptions, BuildReport, ChannelList, Gain, OutputFormat, ReadBackFrom, Shape, Span, build,
};
use engine::calibration::Calibrations;
use engine::check::check;
use engine::deliver::{ALIGNMENT, PaperInput, paper_names, papers};
use engine::establish::{ManualTie, NamedCalibrations, NamedPair, Options, Resample, align};
use engine::finding::{Finding, Weight};
use engine::history::History;
use engine::output::{ReadBack, Replace, refuse_existing};
use engine::progress::Progress;
use engine::report::{Faces, JudgedGroup, alignment_text, group_findings, judge_groups};
use engine::session::{Group, Session};
use engine::take::{scan, settings_table};
use engine::units::counted;
use engine::{Error, Kind};

use super::args::{
    FormatArg, MeasureArgs, ReadBackArg, ResampleArg, ShapeArg, ShapeArgs, SpanArg, SplitArg,
};
use super::exit::Ended;
use super::say;

/// A day's cards, measured.
pub struct Day {
    /// What was measured.
    pub alignment: Alignment,
    /// What the cards and the settings gave to say.
    pub findings: Vec<Finding>,
}

impl Day {
    /// Surveys and measures.
    pub fn measure(cards: &[PathBuf], args: &MeasureArgs, progress: &dyn Progress) -> Result<Self> {
        if cards.len() < 2 {
            return Err(
                Error::new(Kind::Usage, "one card alone has nothing to be joined with")
                    .then("give the cards of two or more units")
                    .into(),
            );
        }
        let options = options_of(args)?;
        let mut findings = Vec::new();
        let survey = scan(cards, progress)?.drain_into(&mut findings);
        findings.extend(settings_table(&survey).findings);
        let alignment = align(&survey, &options, progress)?;
        Ok(Self {
            alignment,
            findings,
        })
    }

    /// A day as an alignment file has it.
    pub fn of_file(path: &Path) -> Result<Self> {
        let alignment = Alignment::from_json(&text_of(path)?).map_err(|error| error.at(path))?;
        Ok(Self {
            alignment,
            findings: Vec::new(),
        })
    }

    /// What was measured, in a few lines; findings are told apart, with their causes and next steps.
    pub fn summary(&self) -> String {
        let mut alone = self.alignment.clone();
        alone.findings.clear();
        let takes = alone.joint_takes.iter_mut();
        takes
            .flat_map(|take| &mut take.members)
            .for_each(|member| member.findings.clear());
        alignment_text(&alone)
    }

    /// Everything there is to say about the day before anything is built.
    pub fn all_findings(&self) -> Vec<Finding> {
        let takes = self.alignment.joint_takes.iter();
        let members = takes.flat_map(|take| {
            take.members.iter().flat_map(move |member| {
                member.weighed_findings().map(move |mut finding| {
                    if finding.place.is_empty() {
                        finding.place = format!("{} {}", take.name, member.unit);
                    }
                    finding
                })
            })
        });
        let mut all: Vec<Finding> = self.findings.clone();
        all.extend(self.alignment.findings.iter().cloned());
        all.extend(members);
        all
    }

    /// Builds, checks, writes the papers and says what came of it.
    pub fn build(&self, out: &Path, args: &ShapeArgs, work: Work<'_>) -> Result<Built> {
        self.build_but(None, out, args, work)
    }

    /// The same into the folder in which the alignment file lies already.
    pub fn build_beside(&self, out: &Path, args: &ShapeArgs, work: Work<'_>) -> Result<Built> {
        self.build_but(Some(ALIGNMENT), out, args, work)
    }

    fn build_but(
        &self,
        there: Option<&str>,
        out: &Path,
        args: &ShapeArgs,
        work: Work<'_>,
    ) -> Result<Built> {
        let replace = Replace::from(args.replace);
        let wanted = |name: &str| there != Some(name);
        for name in paper_names(&self.alignment)
            .iter()
            .filter(|name| wanted(name))
        {
            refuse_existing(&out.join(name), replace)?;
        }
        let options = BuildOptions {
            shape: match args.shape {
                ShapeArg::Poly => Shape::Poly,
                ShapeArg::PerUnit => Shape::PerUnit,
                ShapeArg::PerGroup => Shape::PerGroup,
                ShapeArg::Mono => Shape::Mono,
            },
            format: match args.format {
                FormatArg::Source => OutputFormat::Source,
                FormatArg::Float32 => OutputFormat::Float32,
                FormatArg::Int24 => OutputFormat::Int24,
            },
            span: match args.span {
                SpanArg::Lead => Span::Lead,
                SpanArg::Common => Span::Common,
                SpanArg::Longest => Span::Longest,
            },
            channels: work.declared.channels.clone(),
            largest_file: args.split.map(|split| match split {
                SplitArg::Two => (1 << 31) - 1,
                SplitArg::Four => (1 << 32) - 1,
            }),
            gain: args.gain.unwrap_or(Gain::None),
            read_back: match args.read_back {
                ReadBackArg::System => ReadBackFrom::System,
                ReadBackArg::Medium => ReadBackFrom::Medium,
            },
            loudness: args.loudness,
            quality: !args.no_quality,
            replace: args.replace,
            cards: work.cards.to_vec(),
            ..BuildOptions::new(out)
        };
        let report = build(&self.alignment, &options, work.progress)?;
        let checked = check(&self.alignment, &report, work.progress);
        let mut findings = report.findings.clone();
        findings.extend(checked.findings.iter().cloned());
        let takes = &self.alignment.joint_takes;
        let judge = |take: &JointTake| {
            let quality = report.quality_of(&take.name);
            judge_groups(&work.declared.groups, take, quality)
        };
        let groups: Vec<Vec<JudgedGroup>> = takes.iter().map(judge).collect();
        for (take, groups) in takes.iter().zip(&groups) {
            findings.extend(group_findings(take, groups));
        }
        let mut day_findings = self.findings.clone();
        day_findings.extend(findings.iter().cloned());
        let written = papers(&PaperInput {
            alignment: &self.alignment,
            built: &report,
            checked: &checked,
            channels: options.channels.as_ref(),
            groups: &groups,
            findings: &day_findings,
            faces: &work.declared.faces,
        })?;
        for paper in written.iter().filter(|paper| wanted(&paper.name)) {
            paper.write(out, replace)?;
        }
        Ok(Built {
            report,
            findings,
            papers: written.into_iter().map(|paper| paper.name).collect(),
        })
    }
}

/// What building needs besides its options.
pub struct Work<'a> {
    /// The cards, which are never written to.
    pub cards: &'a [PathBuf],
    /// What was declared of the channels.
    pub declared: &'a Declared,
    /// Who is told how far it is.
    pub progress: &'a dyn Progress,
}

/// What was built and written.
pub struct Built {
    /// The engine's report.
    pub report: BuildReport,
    /// What building and checking gave to say.
    pub findings: Vec<Finding>,
    /// The names of the papers in the output folder.
    pub papers: Vec<String>,
}

impl Built {
    /// How it ended: a failure to read or write outweighs an open question.
    pub fn ended(&self, day: &Day) -> Ended {
        let mut all = day.all_findings();
        all.extend(self.findings.iter().cloned());
        let kinds = self
            .report
            .unbuilt
            .iter()
            .filter_map(|unbuilt| unbuilt.kind);
        Ended::of(&all, kinds.reduce(Kind::graver))
    }

    /// Says in a few lines what lies where.
    pub fn tell(&self, out: &Path) {
        for file in &self.report.outputs {
            say::line(format!(
                "wrote {}  {}, {}, {:.1} MB, read back {}and equal",
                file.path.display(),
                counted(file.channels.len(), "channel"),
                file.encoding,
                file.bytes as f64 / 1e6,
                match file.read_back {
                    ReadBack::Direct | ReadBack::Dropped => "from the medium ",
                    ReadBack::Cached => "",
                }
            ));
        }
        for unbuilt in &self.report.unbuilt {
            say::line(format!("not built: {}", unbuilt.joint_take));
        }
        let hashes = self
            .report
            .hash_list
            .iter()
            .filter_map(|path| path.file_name());
        let names: Vec<String> = self
            .papers
            .iter()
            .cloned()
            .chain(hashes.map(|name| name.to_string_lossy().into_owned()))
            .collect();
        say::line(format!(
            "beside them in {}: {}",
            out.display(),
            names.join(", ")
        ));
    }
}

/// The text of a file.
pub fn text_of(path: &Path) -> engine::Result<String> {
    std::fs::read_to_string(path).map_err(|error| unreadable(path, error))
}

fn unreadable(path: &Path, error: std::io::Error) -> Error {
    Error::new(Kind::Io, "cannot be read")
        .at(path)
        .from_source(error)
}

/// What a person declared of the channels in files, and the fonts for print.
#[derive(Debug)]
pub struct Declared {
    channels: Option<ChannelList>,
    groups: Vec<Group>,
    faces: Faces,
}

impl Declared {
    /// Reads the files: before anything is measured, so that a slip of the pen is told before hours of work.
    pub fn read(args: &ShapeArgs) -> engine::Result<Self> {
        let session = args.session.as_deref().map(session_of).transpose()?;
        Ok(Self {
            channels: args.channels.as_deref().map(channels_of).transpose()?,
            groups: session.map_or(Vec::new(), |session| session.groups),
            faces: faces_of(&args.font)?,
        })
    }
}

/// The faces for print: those that come with the program, and those of font files.
pub fn faces_of(files: &[PathBuf]) -> engine::Result<Faces> {
    let further = files.iter().map(|path| {
        let data = std::fs::read(path).map_err(|error| unreadable(path, error))?;
        Faces::further(data).map_err(|error| error.at(path))
    });
    Faces::with(further.collect::<engine::Result<_>>()?)
}

/// What a session file declares.
pub fn session_of(path: &Path) -> engine::Result<Session> {
    Session::from_toml(&text_of(path)?).map_err(|error| error.at(path))
}

/// The list of channels in a file.
fn channels_of(path: &Path) -> engine::Result<ChannelList> {
    ChannelList::from_csv(&text_of(path)?).map_err(|error| error.at(path))
}

/// What long tests measured of clocks.
pub fn history_of(path: &Path) -> engine::Result<History> {
    History::from_toml(&text_of(path)?).map_err(|error| error.at(path))
}

/// A calibrations file with the name it is cited by.
fn calibrations_of(path: &Path) -> engine::Result<NamedCalibrations> {
    let calibrations = Calibrations::from_json(&text_of(path)?).map_err(|error| error.at(path))?;
    let name = path.file_name().unwrap_or(path.as_os_str());
    Ok(NamedCalibrations {
        file: name.to_string_lossy().into_owned(),
        calibrations,
    })
}

/// Measuring against this lead, on these common signals, else as usual.
pub fn options_by(lead: Option<&str>, common: &[String]) -> engine::Result<Options> {
    let pairs = common.iter().map(|text| NamedPair::parse(text));
    Ok(Options {
        lead: lead.map(str::to_owned),
        common: pairs.collect::<engine::Result<_>>()?,
        ..Options::default()
    })
}

/// The options in the engine's words.
pub fn options_of(args: &MeasureArgs) -> Result<Options> {
    Ok(Options {
        spacing_m: args.spacing,
        ties: args
            .tie
            .iter()
            .map(|text| ManualTie::parse(text))
            .collect::<engine::Result<_>>()?,
        resample: match args.resample {
            ResampleArg::Auto => Resample::Auto,
            ResampleArg::Never => Resample::Never,
            ResampleArg::Always => Resample::Always,
        },
        calibrations: args
            .calibration
            .as_deref()
            .map(calibrations_of)
            .transpose()?,
        ..options_by(args.lead.as_deref(), &args.common)?
    })
}

/// Findings worth a line on the terminal: everything but notes, which stand in the report.
pub fn tell_findings(findings: &[Finding]) {
    let loud: Vec<Finding> = findings
        .iter()
        .filter(|finding| finding.weight > Weight::Note)
        .cloned()
        .collect();
    say::findings(&loud);
    let notes = findings.len() - loud.len();
    match notes {
        0 => {}
        1 => say::aside("1 note stands in the report"),
        _ => say::aside(format!("{notes} notes stand in the report")),
    }
}
