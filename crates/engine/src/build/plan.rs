//! Open sources and options in, everything that is decided before the first sample is written out: span, encoding, files,
//! channels, metadata.

use std::ops::Range;

use wave::{Encoding, Format, WriteSpec};

use super::layout::{self, Cut};
use super::members::Source;
use super::metadata::{self, Place};
use super::quantise::{self, Beyond};
use super::{BuildOptions, Field, Gain, OutputFormat, Shape, Span, Stopped, channels, names};
use crate::alignment::{JointTake, Member, Placement};
use crate::error::{Error, Kind, Result};
use crate::finding::{Finding, Weight};
use crate::render::Renderer;
use crate::signal::Sound;
use crate::units::Db;

/// A joint take as it will be written.
pub(super) struct Plan<'a> {
    pub(super) take: &'a JointTake,
    pub(super) sources: &'a [Source<'a>],
    pub(super) renderer: Renderer<'a>,
    /// The lead positions that are covered.
    pub(super) span: Range<i64>,
    pub(super) encoding: Encoding,
    /// What every value is multiplied by.
    pub(super) gain: f64,
    /// The channels of the output, in order.
    pub(super) channels: Vec<PlannedChannel>,
    pub(super) files: Vec<PlannedFile>,
    pub(super) findings: Vec<Finding>,
    pub(super) options: &'a BuildOptions,
}

/// A channel of the output.
pub(super) struct PlannedChannel {
    pub(super) name: String,
    /// Which of the renderer's planes it is put together from, first to last in time; mostly one.
    pub(super) planes: Vec<usize>,
    /// The lead positions of each of them that are used.
    pub(super) stretches: Vec<Range<i64>>,
    /// Index of its first member among the sources.
    pub(super) member: usize,
    /// 0-based channel of the member's take.
    pub(super) own: usize,
    /// The group it was put into.
    pub(super) group: Option<String>,
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
    /// Which channels it holds, in order.
    pub(super) channels: Vec<usize>,
    /// The lead positions it covers.
    pub(super) span: Range<i64>,
    /// The stamp of its first sample.
    pub(super) stamp: Option<u64>,
    pub(super) spec: WriteSpec,
    /// The places that are marked in it.
    pub(super) markers: Vec<wave::Marker>,
    /// What stands in its metadata.
    pub(super) fields: Vec<Field>,
}

impl PlannedFile {
    /// Samples per channel.
    pub(super) fn length(&self) -> u64 {
        (self.span.end - self.span.start) as u64
    }
}

impl<'a> Plan<'a> {
    pub(super) fn new(
        take: &'a JointTake,
        sources: &'a [Source<'a>],
        options: &'a BuildOptions,
    ) -> Result<Self> {
        let members: Vec<&Member> = sources.iter().map(|source| source.member).collect();
        let selected = channels::select(options.channels.as_ref(), &members);
        let mut used: Vec<Vec<usize>> = vec![Vec::new(); sources.len()];
        for channel in &selected {
            for &member in &channel.members {
                used[member].push(channel.own);
            }
        }
        let rendered = sources
            .iter()
            .zip(&used)
            .map(|(source, own)| (source.member, &source.sound as &dyn Sound, own.clone()))
            .collect();
        let renderer = Renderer::with_channels(take, rendered)?;
        let span = span(take, &renderer, options.span)?;
        let names = names::channels(&members, &selected)?;
        let extents: Vec<Range<i64>> = renderer
            .parts()
            .iter()
            .map(|part| part.course.extent().unwrap_or(0..0))
            .collect();
        let plane = |member: usize, own: usize| {
            let before: usize = used[..member].iter().map(Vec::len).sum();
            let among = used[member].iter().position(|&found| found == own);
            before + among.unwrap_or(0)
        };
        let channels = selected
            .into_iter()
            .zip(names)
            .map(|(channel, name)| {
                let mut members = channel.members;
                members.sort_by_key(|&member| extents[member].start);
                let encodings: Vec<Encoding> = members
                    .iter()
                    .map(|&member| sources[member].encoding_of(channel.own))
                    .collect();
                PlannedChannel {
                    name,
                    planes: members.iter().map(|&m| plane(m, channel.own)).collect(),
                    stretches: one_after_the_other(&members, &extents),
                    member: members[0],
                    own: channel.own,
                    group: channel.group,
                    copied: members.iter().all(|&m| renderer.parts()[m].is_copied()),
                    exact: false,
                    encoding: quantise::smallest_for(&encodings),
                }
            })
            .collect();
        let mut plan = Self {
            take,
            sources,
            renderer,
            span,
            encoding: Encoding::Float32,
            gain: match options.gain {
                Gain::Db(db) => db.amplitude(),
                Gain::None | Gain::Fit => 1.0,
            },
            channels,
            files: Vec::new(),
            findings: Vec::new(),
            options,
        };
        plan.choose_encoding();
        plan.lay_out()?;
        plan.tell_gain();
        plan.findings.extend(metadata::dropped_chunks(&plan));
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

    /// Makes room for peaks beyond full scale, when there is a way that was left open: integers become floating point that
    /// holds them all, or all channels alike get the gain that was asked for. Otherwise says what to ask a person.
    pub(super) fn make_room(&mut self, beyond: Beyond) -> std::result::Result<(), Box<Stopped>> {
        if !beyond.peak.is_finite() || beyond.peak < 1.0 {
            return Err(self.ask_about_no_numbers(beyond).into());
        }
        if self.options.gain == Gain::Fit {
            self.gain *= beyond.fitting_gain().amplitude();
            self.set_encoding(self.encoding);
            self.tell_gain();
        } else if self.options.format == OutputFormat::Source {
            self.use_float(beyond);
        } else {
            return Err(self.ask_about_peaks(beyond).into());
        }
        // what stands in the files' histories has changed
        Ok(self.lay_out()?)
    }

    /// Turns integers into floating point that holds them all, after resampled peaks went beyond full scale.
    fn use_float(&mut self, beyond: Beyond) {
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
    }

    /// Lists the gain, which is one for all channels so that they stay as loud as they were to each other.
    fn tell_gain(&mut self) {
        if self.gain == 1.0 {
            return;
        }
        let finding = Finding::new(
            "gain",
            Weight::Warn,
            format!("every channel is changed by {}", self.gain_words()),
        )
        .at(&self.take.name)
        .because("it was asked for with --gain")
        .then("tell whoever receives the recording: levels are not those of the units");
        self.findings.push(finding);
    }

    /// The gain in words; empty when there is none.
    pub(super) fn gain_words(&self) -> String {
        if self.gain == 1.0 {
            return String::new();
        }
        format!("{:+.2} dB", Db::of_amplitude(self.gain).0)
    }

    /// What is asked of a person when peaks do not fit into the integers that were asked for.
    fn ask_about_peaks(&self, beyond: Beyond) -> Finding {
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
            "build with --format float32, which keeps them, or with --gain fit, which changes all channels alike by {:.1} dB",
            Db::of_amplitude(self.gain).0 + beyond.fitting_gain().0
        ))
    }

    /// What is asked when integers cannot say what a source holds.
    fn ask_about_no_numbers(&self, beyond: Beyond) -> Finding {
        Finding::new(
            "no-numbers",
            Weight::Ask,
            format!(
                "{} was not built: {} samples are infinite or no numbers and cannot be stored in {}",
                self.take.name,
                beyond.count,
                words(self.encoding)
            ),
        )
        .at(&self.take.name)
        .because("a source in floating point is damaged")
        .then("build with --format float32, which keeps them where they are, or leave the channel out with --channels")
    }

    fn choose_encoding(&mut self) {
        let format = self.options.format;
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
            channel.exact =
                channel.copied && self.gain == 1.0 && quantise::holds(encoding, channel.encoding);
        }
    }

    fn lay_out(&mut self) -> Result<()> {
        let units: Vec<&str> = self
            .sources
            .iter()
            .map(|source| source.member.unit.as_str())
            .collect();
        let cut = self.options.largest_file.map(|largest| Cut {
            largest,
            carried: metadata::carried_bytes(self),
            sample_bytes: self.encoding.bytes() as u64,
            rate: self.take.sample_rate,
        });
        let shape = self.options.shape;
        let pieces = layout::pieces(
            &self.take.name,
            &units,
            &self.channels,
            &self.span,
            (shape, cut),
        )?;
        let total = pieces.len();
        self.files.clear();
        for (index, piece) in pieces.into_iter().enumerate() {
            let count = u16::try_from(piece.channels.len()).map_err(|_| {
                let message = format!("{} channels do not fit into one file", piece.channels.len());
                Error::new(Kind::Unsupported, message).then("build with --shape per-unit")
            })?;
            let mut file = PlannedFile {
                stamp: metadata::stamp(self.take, piece.span.start),
                name: piece.name,
                channels: piece.channels,
                span: piece.span,
                spec: WriteSpec::new(Format::plain(count, self.take.sample_rate, self.encoding)),
                markers: Vec::new(),
                fields: Vec::new(),
            };
            let place = Place {
                index,
                total,
                lettered: matches!(shape, Shape::PerUnit | Shape::PerGroup),
                loudness: self.options.loudness,
            };
            metadata::describe(self, &mut file, place)?;
            self.files.push(file);
        }
        Ok(())
    }
}

/// The lead positions of which each member, in order of its start, gives the samples: where takes of one unit touch or
/// their measured places overlap by a hair, the earlier one goes to its end.
fn one_after_the_other(members: &[usize], extents: &[Range<i64>]) -> Vec<Range<i64>> {
    let mut from = i64::MIN;
    members
        .iter()
        .map(|&member| {
            let extent = &extents[member];
            let start = extent.start.max(from);
            from = extent.end.max(from);
            start..extent.end.max(start)
        })
        .collect()
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
    format!("{:+.1} dBFS", Db::of_amplitude(beyond.peak).0)
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
