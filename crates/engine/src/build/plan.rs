//! Open sources and options in, everything that is decided before the first sample is written out: span, encoding, files,
//! channels, metadata.

use std::ops::Range;

use wave::{Encoding, Format, WriteSpec};

use super::members::Source;
use super::metadata::{self, Described};
use super::quantise::{self, Beyond};
use super::{BuildOptions, OutputFormat, Shape, Span, names};
use crate::alignment::{JointTake, Member, Placement};
use crate::error::{Error, Kind, Result};
use crate::finding::{Finding, Weight};
use crate::render::Renderer;
use crate::signal::Sound;

/// A joint take as it will be written.
pub(super) struct Plan<'a> {
    pub(super) take: &'a JointTake,
    pub(super) sources: &'a [Source<'a>],
    pub(super) renderer: Renderer<'a>,
    /// The lead positions that are covered.
    pub(super) span: Range<i64>,
    pub(super) encoding: Encoding,
    /// All channels of all members, in the renderer's order.
    pub(super) channels: Vec<PlannedChannel>,
    pub(super) files: Vec<PlannedFile>,
    /// The stamp of the output's first sample.
    pub(super) stamp: Option<u64>,
    pub(super) findings: Vec<Finding>,
}

/// A channel of the output.
pub(super) struct PlannedChannel {
    pub(super) name: String,
    /// Index of its member among the sources.
    pub(super) member: usize,
    /// 0-based channel of the member's take.
    pub(super) own: usize,
    /// Whether its samples are copied.
    pub(super) copied: bool,
    /// Whether every sample that is rendered for it is one of the encoding's.
    pub(super) exact: bool,
    /// How its source stores samples.
    pub(super) encoding: Encoding,
}

/// A file of the output.
pub(super) struct PlannedFile {
    pub(super) name: String,
    /// Which channels it holds.
    pub(super) channels: Range<usize>,
    pub(super) spec: WriteSpec,
}

impl<'a> Plan<'a> {
    pub(super) fn new(
        take: &'a JointTake,
        sources: &'a [Source<'a>],
        options: &BuildOptions,
        file_names: Vec<String>,
    ) -> Result<Self> {
        let members: Vec<(&Member, &dyn Sound)> = sources
            .iter()
            .map(|source| (source.member, &source.sound as &dyn Sound))
            .collect();
        let renderer = Renderer::new(take, &members)?;
        let span = span(take, &renderer, options.span)?;
        let member_list: Vec<&Member> = sources.iter().map(|source| source.member).collect();
        let mut channels = Vec::new();
        for (index, (source, part)) in sources.iter().zip(renderer.parts()).enumerate() {
            for own in 0..source.member.channels.len() {
                channels.push(PlannedChannel {
                    name: String::new(),
                    member: index,
                    own,
                    copied: part.is_copied(),
                    exact: false,
                    encoding: source.encoding_of(own),
                });
            }
        }
        for (channel, name) in channels.iter_mut().zip(names::channels(&member_list)) {
            channel.name = name;
        }
        let mut plan = Self {
            take,
            sources,
            renderer,
            stamp: metadata::stamp(take, span.start),
            span,
            encoding: Encoding::Float32,
            channels,
            files: Vec::new(),
            findings: Vec::new(),
        };
        plan.choose_encoding(options.format);
        plan.lay_out(options.shape, file_names)?;
        Ok(plan)
    }

    /// Bytes of all files, about.
    pub(super) fn bytes(&self) -> u64 {
        let values = (self.length() as u128) * self.channels.len() as u128;
        u64::try_from(values * self.encoding.bytes() as u128).unwrap_or(u64::MAX)
    }

    /// Samples per channel.
    pub(super) fn length(&self) -> u64 {
        (self.span.end - self.span.start) as u64
    }

    /// Turns integers into floating point that holds them all, after resampled peaks went beyond full scale.
    pub(super) fn use_float(&mut self, beyond: Beyond) {
        let encoding = match self.encoding {
            Encoding::Int32 => Encoding::Float64,
            _ => Encoding::Float32,
        };
        self.findings.push(
            Finding::new(
                "float-for-peaks",
                Weight::Warn,
                format!(
                    "stored as {} although the sources are integers",
                    words(encoding)
                ),
            )
            .at(&self.take.name)
            .measured(peak_words(beyond), "0 dBFS")
            .because(
                "sound between the samples of a source rises above full scale when it is resampled",
            ),
        );
        self.set_encoding(encoding);
        for file in &mut self.files {
            let channels = file.spec.format.channels;
            file.spec.format = Format::plain(channels, self.take.sample_rate, encoding);
            if let Some(ixml) = &mut file.spec.ixml {
                ixml.speed.audio_bit_depth = Some(u32::from(encoding.bits()));
            }
        }
    }

    /// What is asked of a person when peaks do not fit into the integers that were asked for.
    pub(super) fn ask_about_peaks(&self, beyond: Beyond) -> Finding {
        Finding::new(
            "beyond-full-scale",
            Weight::Ask,
            format!(
                "{} was not built: {} samples would be clipped in {}",
                self.take.name,
                beyond.count,
                words(self.encoding)
            ),
        )
        .at(&self.take.name)
        .measured(peak_words(beyond), "0 dBFS")
        .because("a source in floating point holds peaks above full scale")
        .then(format!(
            "build with --format float32, which keeps them; {:.1} dB on all channels alike would make them fit",
            -(20.0 * beyond.peak.log10()) - 0.05
        ))
    }

    fn choose_encoding(&mut self, format: OutputFormat) {
        let sources: Vec<Encoding> = self
            .channels
            .iter()
            .map(|channel| channel.encoding)
            .collect();
        let encoding = match format {
            OutputFormat::Source => quantise::smallest_for(&sources),
            OutputFormat::Float32 => Encoding::Float32,
            OutputFormat::Int24 => Encoding::Int24,
        };
        let mut kinds: Vec<&str> = sources.iter().map(|&source| words(source)).collect();
        kinds.sort_unstable();
        kinds.dedup();
        if format == OutputFormat::Source && kinds.len() > 1 {
            self.findings.push(
                Finding::new(
                    "encodings-differ",
                    Weight::Note,
                    format!(
                        "stored as {}, which holds every source sample exactly",
                        words(encoding)
                    ),
                )
                .at(&self.take.name)
                .measured(kinds.join(", "), "one encoding"),
            );
        }
        self.set_encoding(encoding);
        let rounded: Vec<&str> = self
            .channels
            .iter()
            .filter(|channel| channel.copied && !channel.exact)
            .map(|channel| channel.name.as_str())
            .collect();
        if !rounded.is_empty() {
            self.findings.push(
                Finding::new(
                    "rounded",
                    Weight::Warn,
                    format!("rounded to {}: {}", words(encoding), rounded.join(", ")),
                )
                .at(&self.take.name)
                .then("build with --format source to keep every sample bit for bit"),
            );
        }
    }

    fn set_encoding(&mut self, encoding: Encoding) {
        self.encoding = encoding;
        for channel in &mut self.channels {
            channel.exact = channel.copied && quantise::holds(encoding, channel.encoding);
        }
    }

    fn lay_out(&mut self, shape: Shape, file_names: Vec<String>) -> Result<()> {
        let ranges: Vec<Range<usize>> = match shape {
            Shape::Poly => std::iter::once(0..self.channels.len()).collect(),
            Shape::PerUnit => self
                .channels
                .chunk_by(|a, b| a.member == b.member)
                .scan(0, |from, chunk| {
                    *from += chunk.len();
                    Some(*from - chunk.len()..*from)
                })
                .collect(),
            Shape::Mono => (0..self.channels.len()).map(|i| i..i + 1).collect(),
        };
        let total = ranges.len();
        for (index, (channels, name)) in ranges.into_iter().zip(file_names).enumerate() {
            let count = u16::try_from(channels.len()).map_err(|_| {
                let message = format!("{} channels do not fit into one file", channels.len());
                Error::new(Kind::Unsupported, message).then("build with --shape per-unit")
            })?;
            let mut spec =
                WriteSpec::new(Format::plain(count, self.take.sample_rate, self.encoding));
            let file = Described {
                name: &name,
                channels: channels.clone(),
                index,
                total,
                shape,
            };
            metadata::describe(self, &file, &mut spec)?;
            self.files.push(PlannedFile {
                name,
                channels,
                spec,
            });
        }
        self.findings.extend(metadata::dropped_chunks(self));
        Ok(())
    }
}

impl Source<'_> {
    /// How the file that holds the take's channel `own` stores samples; the deepest when its parts differ.
    fn encoding_of(&self, own: usize) -> Encoding {
        let encodings: Vec<Encoding> = self
            .files
            .iter()
            .zip(&self.member.parts)
            .filter(|((_, header), part)| {
                let first = part.first_channel as usize - 1;
                (first..first + usize::from(header.format.channels)).contains(&own)
            })
            .map(|((_, header), _)| header.format.encoding)
            .collect();
        quantise::smallest_for(&encodings)
    }
}

/// An encoding in words.
pub(super) fn words(encoding: Encoding) -> &'static str {
    match encoding {
        Encoding::Int16 => "16-bit integer",
        Encoding::Int24 => "24-bit integer",
        Encoding::Int32 => "32-bit integer",
        Encoding::Float32 => "32-bit float",
        Encoding::Float64 => "64-bit float",
    }
}

fn peak_words(beyond: Beyond) -> String {
    format!("{:+.1} dBFS", 20.0 * beyond.peak.log10())
}

fn span(take: &JointTake, renderer: &Renderer<'_>, span: Span) -> Result<Range<i64>> {
    let lead = 0..i64::try_from(take.length_samples).unwrap_or(i64::MAX);
    let extents = renderer
        .parts()
        .iter()
        .filter(|part| part.member.placement != Placement::NotPlaced)
        .filter_map(|part| part.course.extent());
    let range = match span {
        Span::Lead => lead,
        Span::Common => extents.fold(lead, |a, b| a.start.max(b.start)..a.end.min(b.end)),
        Span::Longest => extents.fold(lead, |a, b| a.start.min(b.start)..a.end.max(b.end)),
    };
    if range.is_empty() {
        return Err(Error::new(
            Kind::Usage,
            format!("{}: there is no stretch that all units recorded", take.name),
        )
        .then("build with --span lead"));
    }
    // a single wrong offset would otherwise ask for years of silence
    let recorded: u64 = take
        .members
        .iter()
        .map(|member| member.length_samples)
        .fold(0, u64::saturating_add);
    if (range.end - range.start) as u64
        > recorded.saturating_add(u64::from(take.sample_rate) * 86_400)
    {
        return Err(Error::new(
            Kind::Usage,
            format!(
                "{}: the span is more than a day longer than what was recorded",
                take.name
            ),
        )
        .then("build with --span lead"));
    }
    Ok(range)
}
