//! Rendered ranges in order in, the quality of their channels out: measured beside writing, on all cores, a few ranges at a
//! time.

use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

use crate::quality::{Quality, QualityMeter};

/// Ranges that are measured at a time, so that the cores meet seldom: a range is 1 MiB.
const TOGETHER: usize = 8;

/// Ranges that wait to be measured.
const WAITING: usize = TOGETHER;

/// A range's planes.
type Planes = Vec<Vec<f64>>;

/// Where ranges are put.
pub(super) struct Feeder {
    ranges: SyncSender<Planes>,
    used: Receiver<Planes>,
}

/// The other end, for a thread of its own.
pub(super) struct Measurer {
    meter: QualityMeter,
    /// For every channel, which plane it is.
    channels: Vec<usize>,
    ranges: Receiver<Planes>,
    used: SyncSender<Planes>,
}

/// Both ends, for the planes that are `channels`, at `rate` samples a second.
pub(super) fn ends(channels: Vec<usize>, rate: u32) -> (Feeder, Measurer) {
    let (to_measurer, ranges) = sync_channel(WAITING);
    // room for all that exist, so that giving back never waits
    let (to_feeder, used) = sync_channel(WAITING + TOGETHER + 1);
    let feeder = Feeder {
        ranges: to_measurer,
        used,
    };
    let measurer = Measurer {
        meter: QualityMeter::new(channels.len(), rate),
        channels,
        ranges,
        used: to_feeder,
    };
    (feeder, measurer)
}

impl Feeder {
    /// Takes the planes of the next range and leaves others there, of whatever was measured before.
    pub(super) fn take(&self, planes: &mut Planes) {
        let used = self.used.try_recv().unwrap_or_default();
        // nobody measures any more after a panic, which is told when the thread is joined
        let _ = self.ranges.send(std::mem::replace(planes, used));
    }
}

impl Measurer {
    /// Measures until the other end is done.
    pub(super) fn run(mut self) -> Quality {
        let mut ranges = Vec::new();
        while let Ok(range) = self.ranges.recv() {
            ranges.push(range);
            if ranges.len() == TOGETHER {
                self.measure(&mut ranges);
            }
        }
        self.measure(&mut ranges);
        self.meter.finish()
    }

    fn measure(&mut self, ranges: &mut Vec<Planes>) {
        let channels = &self.channels;
        let pieces: Vec<Vec<&[f64]>> = ranges
            .iter()
            .map(|range| channels.iter().map(|&plane| &range[plane][..]).collect())
            .collect();
        self.meter.add_all(&pieces);
        for range in ranges.drain(..) {
            // once the other end is done, no planes are wanted again
            let _ = self.used.try_send(range);
        }
    }
}
