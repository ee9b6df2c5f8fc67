//! Cards of a long test in, the phases of every unit's clock out: against the lead's by the ties of a common signal or of timecode
//! on both tracks, and against the generator's by the words on the unit's own track. Ties and words as they were measured: the
//! smoothed clock has less noise at short times than the clock itself.

use timecode::ltc::{Direction, INDEPENDENT, Run};

use super::series::Phase;
use crate::alignment::{Basis, JointTake, Member, Role, Slip, Status};
use crate::error::Result;
use crate::establish::{Options, align};
use crate::finding::{Finding, Weight};
use crate::progress::Progress;
use crate::take::{Survey, Take, TakeSound};
use crate::tie::timecode::likely_timecode_tracks;

/// The phases of one clock against another's.
#[derive(Debug, Clone, PartialEq)]
pub struct Series {
    /// The unit, or what a file is called.
    pub unit: String,
    /// What its clock is held against.
    pub against: String,
    /// What that rests on.
    pub basis: Basis,
    /// The same in words.
    pub rests_on: String,
    /// The day the unit wrote; empty when it wrote none.
    pub date: String,
    /// As they were measured.
    pub phases: Vec<Phase>,
    /// What is usually claimed for one of them, one standard deviation, seconds; absent for phases from a file.
    pub sigma_s: Option<f64>,
}

/// What cards hold of clocks.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// A series a clock.
    pub series: Vec<Series>,
    /// Why others are missing, and what measuring gave to say.
    pub findings: Vec<Finding>,
}

/// Finds every unit's clock on the cards: of each pair of units, and of each unit and the generator, the longest test.
///
/// # Errors
/// As [`align`], and when a take cannot be read.
pub fn measure_clocks(
    survey: &Survey,
    options: &Options,
    generator: &str,
    progress: &dyn Progress,
) -> Result<Found> {
    let mut found = Found {
        series: Vec::new(),
        findings: Vec::new(),
    };
    let with_takes = survey.units.iter().filter(|unit| !unit.takes.is_empty());
    if with_takes.count() >= 2 {
        let alignment = align(survey, options, progress)?;
        found.findings.extend(alignment.findings.iter().cloned());
        for joint in &alignment.joint_takes {
            let followers = joint.members.iter().filter(|m| m.role == Role::Follower);
            for member in followers {
                match against_lead(joint, member) {
                    Ok(series) => found.put(series),
                    Err(finding) => found.findings.push(*finding),
                }
            }
        }
    }
    for take in survey.units.iter().filter_map(|unit| {
        unit.takes.iter().max_by(|a, b| {
            a.length
                .seconds(a.rate)
                .total_cmp(&b.length.seconds(b.rate))
        })
    }) {
        match against_generator(take, generator, progress)? {
            Some(series) => found.put(series),
            None => continue,
        }
    }
    let unheard = survey.units.iter().filter(|unit| {
        let mut series = found.series.iter();
        !series.any(|one| one.unit == unit.name || one.against == unit.name)
    });
    let unheard: Vec<Finding> = unheard.map(|unit| nothing_common(&unit.name)).collect();
    found.findings.extend(unheard);
    Ok(found)
}

impl Found {
    /// Keeps a series, or the longer of two of the same clocks.
    fn put(&mut self, new: Series) {
        let same = |one: &&mut Series| one.unit == new.unit && one.against == new.against;
        match self.series.iter_mut().find(same) {
            Some(known) if known.seconds() >= new.seconds() => {}
            Some(known) => *known = new,
            None => self.series.push(new),
        }
        let known = &self.series;
        self.findings.retain(|finding| {
            finding.code != NOT_MEASURED || !known.iter().any(|one| one.unit == finding.place)
        });
    }
}

impl Series {
    fn seconds(&self) -> f64 {
        match (self.phases.first(), self.phases.last()) {
            (Some(first), Some(last)) => last.at_s - first.at_s,
            _ => 0.0,
        }
    }
}

const NOT_MEASURED: &str = "clock-not-measured";

fn nothing_common(unit: &str) -> Finding {
    Finding::new(
        NOT_MEASURED,
        Weight::Ask,
        "nothing tells this unit's clock: no signal in common with another unit, no timecode on a track",
    )
    .at(unit)
    .then("feed one signal, or timecode from one generator, into an input of every unit, and let them run for hours")
}

/// The ties of a follower as phases against the lead's clock.
fn against_lead(joint: &JointTake, member: &Member) -> std::result::Result<Series, Box<Finding>> {
    let not = |why: &str| {
        let finding = Finding::new(
            NOT_MEASURED,
            Weight::Ask,
            format!("the clock was not measured: {why}"),
        );
        Box::new(
            finding
                .at(&member.unit)
                .then("feed one signal into an input of the lead and of this unit"),
        )
    };
    if member.status == Status::NotEstablished {
        return Err(not("the unit's place is not established"));
    }
    if !matches!(member.basis, Basis::CommonSignal | Basis::TimecodeTrack) {
        return Err(not("no signal of the lead's is on this unit"));
    }
    let evidence = member.evidence.as_ref();
    if evidence.is_some_and(|evidence| evidence.through.is_some()) {
        return Err(not(
            "it was measured through another follower, whose smoothed clock is in it",
        ));
    }
    let lead_hz = f64::from(joint.sample_rate.max(1));
    let own_hz = f64::from(member.sample_rate.unwrap_or(joint.sample_rate).max(1));
    let ties: Vec<_> = evidence
        .iter()
        .flat_map(|evidence| &evidence.ties)
        .filter(|tie| tie.used)
        .collect();
    let phases = ties.iter().map(|tie| {
        let own = tie.follower - slipped(&member.slips, tie.follower);
        Phase {
            at_s: tie.lead / lead_hz,
            ahead_s: own / own_hz - tie.lead / lead_hz,
        }
    });
    let source = ties.first().map_or("", |tie| tie.source.as_str());
    let mut sigmas: Vec<f64> = ties.iter().map(|tie| tie.sigma / own_hz).collect();
    Ok(Series {
        unit: member.unit.clone(),
        against: joint.lead.clone(),
        basis: member.basis,
        rests_on: format!("{} ties, {source}", ties.len()),
        date: joint.start.date.clone(),
        phases: phases.collect(),
        sigma_s: crate::signal::median(&mut sigmas),
    })
}

/// What a follower's file lacks (below 0) or has too much before a position, samples.
fn slipped(slips: &[Slip], position: f64) -> f64 {
    let before = slips
        .iter()
        .filter(|slip| slip.at_sample as f64 <= position);
    before.map(|slip| slip.samples).sum()
}

/// The words on a take's own track as phases against their generator's clock; of several runs the longest.
fn against_generator(
    take: &Take,
    generator: &str,
    progress: &dyn Progress,
) -> Result<Option<Series>> {
    let sound = TakeSound::open(&take.parts)?;
    let tracks = likely_timecode_tracks(&sound, progress)?;
    let runs = tracks
        .iter()
        .flat_map(|track| track.reading.runs.iter().map(move |run| (track, run)));
    let forward = runs.filter(|(_, run)| run.direction == Direction::Forward);
    let Some((track, run)) = forward.max_by_key(|(_, run)| run.expected()) else {
        return Ok(None);
    };
    let word_s = 1.0 / track.reading.counting.rate().per_second();
    let hz = take.rate.hz();
    let words = independent(run);
    let first = words.first().map_or(0.0, |word| word.0);
    let phases: Vec<Phase> = words
        .iter()
        .map(|(start, index, _)| {
            let sent = index * word_s;
            Phase {
                at_s: first / hz + sent,
                ahead_s: (start - first) / hz - sent,
            }
        })
        .collect();
    let mut sigmas: Vec<f64> = words.iter().map(|word| word.2 / hz).collect();
    Ok(Some(Series {
        unit: take.unit.clone(),
        against: generator.into(),
        basis: Basis::TimecodeTrack,
        rests_on: format!(
            "{} words of timecode on channel {}",
            phases.len(),
            track.channel + 1
        ),
        date: take.date.clone(),
        phases,
        sigma_s: crate::signal::median(&mut sigmas),
    }))
}

/// Where words begin that share nothing of what each is smoothed over: position, words since the first, sigma.
fn independent(run: &Run) -> Vec<(f64, f64, f64)> {
    let mut kept = Vec::new();
    let mut next = 0;
    for word in &run.words {
        if word.index >= next {
            kept.push((word.start, word.index as f64, word.sigma));
            next = (word.index / INDEPENDENT as u64 + 1) * INDEPENDENT as u64;
        }
    }
    kept
}
