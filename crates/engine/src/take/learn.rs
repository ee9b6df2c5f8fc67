//! A unit's takes in, what they teach about its stamps out: what they resolve, and how its timecode ran between
//! takes.

use timecode::{Counting, FrameRate, Label};

use super::{Stamp, Take, Timecode};

/// Stamps on whole seconds or milliseconds say something about the unit only when there are this many of them.
const ENOUGH_STAMPS: usize = 3;
/// A take that starts this close to the end of the one before goes on with its timecode, seconds: one timecode frame at
/// the slowest rate.
const GOES_ON_S: f64 = 1001.0 / 24_000.0;
/// Calendar time between two takes that the timecode does not know of, seconds; clocks tell whole seconds.
const STOOD_STILL_S: f64 = 3.0;

/// What the stamps of a unit resolve in samples of its first take, and on how many stamps that rests: a second or a
/// timecode frame when all of them fall on one, else a millisecond or a sample. `None` without stamps.
///
/// A few stamps may fall on a timecode frame by chance; then the answer is coarser than the truth, never finer.
pub(super) fn stamp_resolution(takes: &[Take]) -> Option<(f64, usize)> {
    let stamped: Vec<(u32, &Stamp)> = takes
        .iter()
        .filter_map(|take| Some((take.rate.0, take.stamp.as_ref()?)))
        .collect();
    let (rate, first) = stamped.first()?;
    let many = stamped.len() >= ENOUGH_STAMPS;
    let all_on = |per_second: u64| {
        stamped
            .iter()
            .all(|(rate, stamp)| (stamp.samples * per_second).is_multiple_of(u64::from(*rate)))
    };
    let on_frames = |rate: FrameRate, drop_frame: bool| {
        Counting::new(rate, drop_frame).is_ok_and(|counting| {
            stamped
                .iter()
                .all(|(hz, stamp)| on_label(stamp, *hz, counting))
        })
    };
    let frames = match first.counting {
        Some(counting) => {
            on_frames(counting.rate(), counting.drop_frame()).then(|| counting.rate())
        }
        // unknown: the slowest rate whose timecode frames all stamps fall on
        None => FrameRate::ALL
            .into_iter()
            .find(|&rate| on_frames(rate, false)),
    };
    let resolution = match frames {
        _ if many && all_on(1) => f64::from(*rate),
        Some(frames) => {
            let (num, den) = frames.samples_each(*rate);
            num as f64 / den as f64
        }
        None if many && all_on(1000) => f64::from(*rate) / 1000.0,
        None => 1.0,
    };
    Some((resolution, stamped.len()))
}

fn on_label(stamp: &Stamp, rate: u32, counting: Counting) -> bool {
    let label = Label::of_samples(stamp.samples, rate, counting);
    label.to_samples(rate).abs_diff(stamp.samples) <= 1
}

/// How the timecode ran between takes. It ran only while the unit recorded when most takes start where the one before
/// ended, and stood still when most have one stamp, although the calendar clock or the take's number says that they are
/// different takes. `takes` are in order of their stamps.
pub(super) fn timecode_of(takes: &[Take]) -> Timecode {
    let mut seams = 0;
    let (mut joined, mut equal) = (0, 0);
    for pair in takes.windows(2) {
        let [before, after] = pair else { continue };
        let (Some(a), Some(b)) = (before.stamp_seconds(), after.stamp_seconds()) else {
            continue;
        };
        seams += 1;
        let passed = before
            .recorded
            .zip(after.recorded)
            .map(|(x, y)| y.duration_since(x).as_secs_f64());
        let stood_still = match passed {
            Some(passed_s) => passed_s > before.seconds() + STOOD_STILL_S,
            None => before.notes.take != after.notes.take,
        };
        joined += usize::from((b - a - before.seconds()).abs() <= GOES_ON_S && stood_still);
        equal += usize::from((b - a).abs() <= GOES_ON_S && stood_still);
    }
    if equal > 0 && 2 * equal > seams {
        Timecode::Frozen
    } else if joined > 0 && 2 * joined > seams {
        Timecode::RecordRun
    } else {
        Timecode::Free
    }
}
