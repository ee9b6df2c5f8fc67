//! Takes of two units that found no partner in, the one mistake that explains all of them out: whole hours, labels counted
//! at another rate, a clock set to another time. Nothing is shifted by it; a person decides.

use timecode::{Counting, FrameRate, Label};

use super::place::{Place, by_stamps};
use super::{Joint, Pair, is_joined};
use crate::finding::{Finding, Weight};
use crate::take::Take;

/// A mistake explains two takes when they share this much of the shorter.
const SHARE: f64 = 0.8;
/// A difference that no rule explains needs this many takes that agree on it.
const ENOUGH_TAKES: usize = 2;
/// Takes that belong together start within this long of each other more often than not, seconds.
const STARTS_WITHIN_S: f64 = 10.0;

/// A mistake explains takes better than another when their starts scatter by less than this part of what the other leaves.
const CLEARER: f64 = 0.8;

/// A mistake on the follower.
struct Mistake {
    what: String,
    cause: String,
    shift: Shift,
}

/// What the right stamp is more than the one written.
#[derive(Debug, Clone, Copy)]
enum Shift {
    /// The same for all takes, seconds.
    Constant(f64),
    /// The labels are right, but were turned into samples as `own` counts, not as `right` does.
    Counted { own: Counting, right: Counting },
}

impl Shift {
    /// In samples of the take.
    fn of(self, take: &Take) -> Option<i64> {
        let rate = take.rate.0;
        match self {
            Self::Constant(seconds) => Some((seconds * take.rate.hz()).round() as i64),
            Self::Counted { own, right } => {
                let label = Label::of_samples(take.stamp.as_ref()?.samples, rate, own);
                let meant = Label::parse(&label.to_string(), right).ok()?;
                let apart = i128::from(meant.to_samples(rate)) - i128::from(label.to_samples(rate));
                i64::try_from(apart).ok()
            }
        }
    }
}

pub(super) fn find_shifted(pair: &Pair<'_>, joints: &[Joint<'_>], findings: &mut Vec<Finding>) {
    let leads: Vec<&Take> = joints
        .iter()
        .filter(|joint| {
            joint
                .followers
                .iter()
                .all(|follower| follower.take.unit != pair.unit.name)
        })
        .map(|joint| joint.lead)
        .collect();
    let takes: Vec<&Take> = pair
        .takes()
        .filter(|take| !is_joined(joints, take))
        .collect();
    let open = Open { pair, leads, takes };
    let most = open.leads.len().min(open.takes.len());
    if most == 0 {
        return;
    }
    let best = open
        .mistakes()
        .into_iter()
        .map(|mistake| (open.explained_by(&mistake), mistake))
        .filter(|(explained, _)| explained.takes > 0 && 3 * explained.takes >= 2 * most)
        // of equals the first: whole hours before other rates before any difference
        .reduce(|best, next| {
            if next.0.is_clearer_than(best.0) {
                next
            } else {
                best
            }
        });
    if let Some((explained, mistake)) = best {
        findings.push(
            Finding::new("stamps-shifted", Weight::Ask, mistake.what)
                .at(pair.place())
                .measured(format!("{} of {most} takes without a partner would find one", explained.takes), "stamps that agree")
                .because(mistake.cause)
                .then("correct the timecode in a copy of the card or tie one take by hand; nothing was shifted"),
        );
    }
}

/// What a mistake explains.
#[derive(Debug, Clone, Copy)]
struct Explained {
    /// How many takes would find a partner.
    takes: usize,
    /// How much the followers' starts would scatter against the lead's, seconds.
    spread_s: f64,
}

impl Explained {
    /// More takes, or as many that start clearly more alike: drop-frame counting and 29.97 for 30 both come to 3.6 s an
    /// hour, and so does a clock that was set once.
    fn is_clearer_than(self, other: Self) -> bool {
        self.takes > other.takes
            || (self.takes == other.takes && self.spread_s < CLEARER * other.spread_s)
    }
}

/// What found no partner.
struct Open<'a> {
    pair: &'a Pair<'a>,
    leads: Vec<&'a Take>,
    takes: Vec<&'a Take>,
}

impl Open<'_> {
    fn mistakes(&self) -> Vec<Mistake> {
        let mut mistakes: Vec<Mistake> = (1..=12_i64)
            .flat_map(|hours| [hours, -hours])
            .map(hours)
            .collect();
        mistakes.extend(self.other_countings());
        mistakes.extend(self.constant());
        mistakes
    }

    fn explained_by(&self, mistake: &Mistake) -> Explained {
        let starts = self.takes.iter().filter_map(|take| {
            self.leads.iter().find_map(|lead| {
                let place = self.place(lead, take, mistake.shift.of(take))?;
                (place.share(lead, take) >= SHARE).then(|| place.offset.0 / lead.rate.hz())
            })
        });
        let (mut takes, mut first_s, mut last_s) = (0, f64::INFINITY, f64::NEG_INFINITY);
        for start_s in starts {
            takes += 1;
            first_s = start_s.min(first_s);
            last_s = start_s.max(last_s);
        }
        Explained {
            takes,
            spread_s: (last_s - first_s).max(0.0),
        }
    }

    fn place(&self, lead: &Take, take: &Take, shift: Option<i64>) -> Option<Place> {
        self.pair
            .stamped(lead, take)
            .then(|| by_stamps(lead, take, shift?))
            .flatten()
    }

    /// Labels that are counted at one rate and turned into samples at another: the difference grows through the day.
    fn other_countings(&self) -> Vec<Mistake> {
        let counting = |take: &Take| take.stamp.as_ref().and_then(|stamp| stamp.counting);
        let lead = self.leads.first().and_then(|take| counting(take));
        let Some(own) = self.takes.first().and_then(|take| counting(take)) else {
            return Vec::new();
        };
        let right: Vec<Counting> = match lead.filter(|lead| *lead != own) {
            Some(lead) => vec![lead],
            None => FrameRate::ALL
                .into_iter()
                .flat_map(|rate| [false, true].map(|drop_frame| Counting::new(rate, drop_frame)))
                .flatten()
                .filter(|other| *other != own && other.rate().nominal() == own.rate().nominal())
                .collect(),
        };
        right
            .into_iter()
            .map(|right| other_counting(own, right))
            .collect()
    }

    /// One difference on which several takes agree.
    fn constant(&self) -> Option<Mistake> {
        let mut differences = Vec::new();
        for lead in &self.leads {
            for take in &self.takes {
                if let Some(place) = self.place(lead, take, Some(0)) {
                    differences.push(place.offset.0 / lead.rate.hz());
                }
            }
        }
        differences.sort_by(f64::total_cmp);
        let run = |from: usize| {
            differences[from..]
                .iter()
                .take_while(|d| **d - differences[from] <= STARTS_WITHIN_S)
                .count()
        };
        // counting all pairs is enough for a day's takes; a longer list is not searched
        let from = (0..differences.len().min(4096)).max_by_key(|&from| run(from))?;
        let many = run(from);
        if many < ENOUGH_TAKES {
            return None;
        }
        let middle = differences[from + many / 2];
        Some(Mistake {
            what: format!("the follower's stamps look about {:.0} s too {}", middle.abs(), if middle > 0.0 { "late" } else { "early" }),
            cause: "its timecode was not set from the lead's, was lost when its power failed, or was set from labels of \
                    another rate (3.6 s for every hour of the time it was set at)".into(),
            shift: Shift::Constant(-middle),
        })
    }
}

fn hours(hours: i64) -> Mistake {
    let way = if hours > 0 { "early" } else { "late" };
    let many = hours.abs();
    Mistake {
        what: format!("the follower's stamps look exactly {many} h too {way}"),
        cause: "the hour was set wrong: another time zone, summer time, or a start at 01:00:00:00"
            .into(),
        shift: Shift::Constant(hours as f64 * 3600.0),
    }
}

fn other_counting(own: Counting, right: Counting) -> Mistake {
    Mistake {
        what: format!("the follower's stamps look counted at {own} instead of {right}"),
        cause: "the units' timecode rates are set differently; the difference grows with the time of day".into(),
        shift: Shift::Counted { own, right },
    }
}
