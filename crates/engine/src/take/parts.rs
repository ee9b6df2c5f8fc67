//! Takes in, longer takes out: a file that goes on where another ended is a part of the same recording. Gaps keep their
//! place and read as silence; overlaps are counted once.

use super::TakePart;
use super::file::FileTake;
use super::names::numbered;
use super::sound::TakeSound;
use super::stamp::day_in_samples_of;
use crate::finding::{Finding, Weight};
use crate::media::natural_key;
use crate::signal::Sound;
use crate::units::SampleCount;

/// A part may start this many samples from where the one before ended: stamps at 29.97 are rounded (8008 samples are five
/// timecode frames, so no single one is whole).
const ROUNDING: u64 = 1;
/// A unit that changes files loses or doubles at most this much, seconds; more is another take.
const LONGEST_SEAM_S: u64 = 10;
/// A part that was followed by another may be said to have been written this much later by the calendar clock, seconds.
const CLOCK_SLACK_S: f64 = 10.0;
/// Files of this size were probably ended by the card's or the format's limit of 2 or 4 GiB, bytes.
const SPLIT_BYTES: u64 = 1_900_000_000;

/// More files than this are not missing in a row; it keeps long cards quick to read.
const MOST_MISSING: u64 = 16;

/// A take that grows, with what its last part says.
struct Chain {
    whole: FileTake,
    last_name: String,
    last_length: u64,
    last_bytes: u64,
}

/// How a part joins the chain before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Seam {
    /// Where the other ended, within [`ROUNDING`].
    Exact,
    /// So many samples later.
    Gap(u64),
    /// So many samples earlier.
    Overlap(u64),
    /// So many samples later, because `files` files between are missing.
    Missing { samples: u64, files: u64 },
}

/// Joins parts. Takes come in and go out in any order.
pub(super) fn join_parts(mut takes: Vec<FileTake>, findings: &mut Vec<Finding>) -> Vec<FileTake> {
    takes.sort_by_cached_key(|file| {
        let stamp = file.take.stamp.as_ref().map(|stamp| stamp.samples);
        (stamp, natural_key(&file.take.name))
    });
    let mut chains: Vec<Chain> = Vec::new();
    for file in takes {
        match best(&chains, &file) {
            Some((index, seam)) => chains[index].append(file, seam, findings),
            None => chains.push(Chain::of(file)),
        }
    }
    // parts after midnight have small stamps and came first
    let mut index = 0;
    while index < chains.len() {
        if chains[index].crosses_midnight()
            && let Some((next, seam)) = after_midnight(&chains, index)
        {
            let next_chain = chains.remove(next);
            index -= usize::from(next < index);
            chains[index].append_chain(next_chain, seam, findings);
        } else {
            index += 1;
        }
    }
    chains.into_iter().map(|chain| chain.whole).collect()
}

fn best(chains: &[Chain], next: &FileTake) -> Option<(usize, Seam)> {
    let seams = chains.iter().enumerate();
    seams
        .filter_map(|(index, chain)| Some((index, chain.seam_to(next)?)))
        .min_by_key(|(_, seam)| match seam {
            Seam::Exact => 0,
            Seam::Gap(samples) | Seam::Overlap(samples) => *samples,
            Seam::Missing { .. } => u64::MAX,
        })
}

fn after_midnight(chains: &[Chain], from: usize) -> Option<(usize, Seam)> {
    let others = (0..chains.len()).filter(|&other| other != from);
    others
        .filter_map(|other| Some((other, chains[from].seam_to(&chains[other].whole)?)))
        .find(|(_, seam)| !matches!(seam, Seam::Missing { .. }))
}

impl Chain {
    fn of(whole: FileTake) -> Self {
        Self {
            last_name: whole.take.name.clone(),
            last_length: whole.take.length.0,
            last_bytes: whole.bytes,
            whole,
        }
    }

    fn day(&self) -> u64 {
        let counting = self
            .whole
            .take
            .stamp
            .as_ref()
            .and_then(|stamp| stamp.counting);
        day_in_samples_of(counting, self.whole.take.rate.0)
    }

    fn crosses_midnight(&self) -> bool {
        let seam = LONGEST_SEAM_S * u64::from(self.whole.take.rate.0);
        let length = self.whole.take.length.0.saturating_add(seam);
        let end = |samples: u64| samples.saturating_add(length);
        self.whole
            .take
            .stamp
            .as_ref()
            .is_some_and(|stamp| end(stamp.samples) >= self.day())
    }

    /// How `next` joins on, or `None` when it is another take.
    fn seam_to(&self, next: &FileTake) -> Option<Seam> {
        let (a, b) = (&self.whole.take, &next.take);
        let at = self.position_of(next)?;
        let (end, rate) = (a.length.0, u64::from(a.rate.0));
        let near = at.abs_diff(end) <= LONGEST_SEAM_S * rate;
        let longest = MOST_MISSING.saturating_mul(self.last_length + 2 * LONGEST_SEAM_S * rate);
        let could_miss_files = at > end && at - end <= longest && self.last_length >= rate;
        if at == 0 || !(near || could_miss_files) {
            return None;
        }
        let alike = a.rate == b.rate
            && a.bits == b.bits
            && a.float == b.float
            && a.channels.len() == b.channels.len()
            && self.whole.folder == next.folder;
        let same = |x: &str, y: &str| x.is_empty() || y.is_empty() || x == y;
        let one_take = same(&a.notes.take, &b.notes.take) && same(&a.notes.scene, &b.notes.scene);
        if !alike || !one_take || self.recorded_too_late(next, at) {
            return None;
        }
        let related = self.relation_to(next)?;
        let seam = match at {
            _ if at.abs_diff(end) <= ROUNDING => return Some(Seam::Exact),
            _ if !related.certain => return None,
            _ if near && at > end => Seam::Gap(at - end),
            _ if near => Seam::Overlap(end - at),
            _ => {
                let files = related
                    .left_out
                    .filter(|files| (1..=MOST_MISSING).contains(files))?;
                let expected = files.checked_mul(self.last_length)?;
                let slack = (files + 1) * LONGEST_SEAM_S * rate;
                let samples = at - end;
                (samples.abs_diff(expected) <= slack).then_some(Seam::Missing { samples, files })?
            }
        };
        Some(seam)
    }

    /// The position of `next`'s first sample in this take, midnight included.
    fn position_of(&self, next: &FileTake) -> Option<u64> {
        let a = self.whole.take.stamp.as_ref()?.samples;
        let b = next.take.stamp.as_ref()?.samples;
        let day = self.day();
        Some(if b >= a {
            b - a
        } else {
            b + day.checked_sub(a)?
        })
    }

    /// Whether the calendar clock says that time passed between the two that the stamps do not know of: the timecode
    /// stood still while the unit did not record, and the next file is another take.
    fn recorded_too_late(&self, next: &FileTake, at: u64) -> bool {
        let (Some(a), Some(b)) = (self.whole.take.recorded, next.take.recorded) else {
            return false;
        };
        let passed_s = b.duration_since(a).as_secs_f64();
        passed_s > at as f64 / self.whole.take.rate.hz() + CLOCK_SLACK_S
    }

    /// What names and metadata say; `None` when they speak against it.
    fn relation_to(&self, next: &FileTake) -> Option<Relation> {
        let family = self.whole.family.as_ref().zip(next.family.as_ref());
        let same_family = family.is_some_and(|(a, b)| a.uid == b.uid);
        let (a, b) = (&self.whole.take, &next.take);
        let noted = !a.notes.take.is_empty() && a.notes.take == b.notes.take;
        let name = &next.take.name;
        let (before, after) = (numbered(&self.last_name), numbered(name));
        // `T01` and then `T01_2`: the number counts parts, not takes
        let counts_parts = |base: &str| base.contains(|c: char| c.is_ascii_digit());
        let (by_name, left_out, suffixed) = match (before, after) {
            (Some(x), Some(y)) if x.base == y.base => {
                let left_out = y.number.checked_sub(x.number + 1);
                (true, left_out, counts_parts(&y.base))
            }
            (_, Some(y)) if y.base == a.name => (true, None, true),
            _ => {
                let texts = |name: &str| -> Vec<String> {
                    natural_key(name)
                        .into_iter()
                        .map(|(text, _)| text)
                        .collect()
                };
                (texts(&self.last_name) == texts(name), None, false)
            }
        };
        (by_name || same_family || noted).then_some(Relation {
            certain: same_family || noted || suffixed || self.last_bytes >= SPLIT_BYTES,
            left_out,
        })
    }

    fn append(&mut self, next: FileTake, seam: Seam, findings: &mut Vec<Finding>) {
        self.append_chain(Chain::of(next), seam, findings);
    }

    fn append_chain(&mut self, next: Chain, seam: Seam, findings: &mut Vec<Finding>) {
        let end = self.whole.take.length.0;
        let first = match seam {
            Seam::Exact => end,
            Seam::Gap(samples) | Seam::Missing { samples, .. } => end.saturating_add(samples),
            Seam::Overlap(samples) => end.saturating_sub(samples),
        };
        if let Some(finding) = self.words_for(&next.whole, seam) {
            if finding.weight >= Weight::Ask {
                self.whole.take.undecided.push(finding.clone());
            }
            findings.push(finding);
        }
        let take = next.whole.take;
        let parts = take.parts.into_iter().map(|part| TakePart {
            first_sample: part.first_sample.saturating_add(first),
            ..part
        });
        self.whole.take.parts.extend(parts);
        self.whole.take.undecided.extend(take.undecided);
        self.whole.take.length = SampleCount(end.max(first.saturating_add(take.length.0)));
        self.last_name = next.last_name;
        self.last_length = next.last_length;
        self.last_bytes = next.last_bytes;
    }

    fn words_for(&self, next: &FileTake, seam: Seam) -> Option<Finding> {
        let rate = self.whole.take.rate.hz();
        let amount = |samples: u64| format!("{samples} samples, {:.3} s", samples as f64 / rate);
        let finding = match seam {
            Seam::Exact => return None,
            Seam::Gap(samples) => Finding::new(
                "gap-between-parts",
                Weight::Warn,
                "samples are missing between two parts of a take; kept as silence",
            )
            .measured(amount(samples), "0 samples")
            .because("the unit lost samples while it changed files")
            .then("listen to this place; use a faster card"),
            Seam::Missing { samples, files } => Finding::new(
                "part-missing",
                Weight::Ask,
                "a part of a take is missing; its time is kept as silence",
            )
            .measured(amount(samples), format!("{files} more files"))
            .because("the card was not copied whole, or a file cannot be read")
            .then("find the missing part, or decide to go on without it"),
            Seam::Overlap(samples) => self
                .overlap_words(next, samples)
                .measured(amount(samples), "0 samples"),
        };
        Some(finding.at(next.take.parts[0].path.display().to_string()))
    }

    fn overlap_words(&self, next: &FileTake, samples: u64) -> Finding {
        if self.overlap_is_equal(next, samples) {
            return Finding::new(
                "overlap-between-parts",
                Weight::Note,
                "two parts of a take hold the same samples at their seam; counted once",
            );
        }
        Finding::new(
            "overlap-differs",
            Weight::Ask,
            "two parts of a take overlap by their stamps, but hold different samples there",
        )
        .because("a stamp is wrong, or these are different takes")
        .then("listen to the seam and decide where the second part belongs")
    }

    fn overlap_is_equal(&self, next: &FileTake, samples: u64) -> bool {
        let read = |file: &FileTake, start: u64| -> Option<Vec<Vec<f64>>> {
            let sound = TakeSound::open(&file.take.parts).ok()?;
            let channels: Vec<usize> = (0..sound.channels()).collect();
            let mut planes = vec![vec![0.0; usize::try_from(samples).ok()?]; channels.len()];
            let mut slices: Vec<&mut [f64]> = planes.iter_mut().map(Vec::as_mut_slice).collect();
            sound
                .read(&channels, i64::try_from(start).ok()?, &mut slices)
                .ok()?;
            Some(planes)
        };
        let start = self.whole.take.length.0.saturating_sub(samples);
        read(&self.whole, start).is_some_and(|before| read(next, 0) == Some(before))
    }
}

/// That two files belong together.
struct Relation {
    /// Whether it is sure enough to bridge a gap or an overlap.
    certain: bool,
    /// How many files between them are missing by their numbers, where the numbers tell.
    left_out: Option<u64>,
}
