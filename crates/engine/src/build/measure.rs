//! Rendered ranges in order in, the quality of their channels out: measured beside writing, on all cores, a block at a time.

use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

use crate::quality::{Quality, QualityMeter};

/// Values of all channels in a block: 8 MiB. Three blocks exist at a time.
const VALUES: usize = 1 << 20;

/// A block: one plane a channel.
type Block = Vec<Vec<f64>>;

/// Where ranges are put.
pub(super) struct Feeder {
    held: Block,
    full: usize,
    blocks: SyncSender<Block>,
    used: Receiver<Block>,
}

/// The other end, for a thread of its own.
pub(super) struct Measurer {
    meter: QualityMeter,
    blocks: Receiver<Block>,
    used: SyncSender<Block>,
}

/// Both ends for `channels` at `rate` samples a second.
pub(super) fn ends(channels: usize, rate: u32) -> (Feeder, Measurer) {
    let (to_measurer, blocks) = sync_channel(1);
    // room for all that exist, so that giving back never waits
    let (to_feeder, used) = sync_channel(4);
    let full = (VALUES / channels.max(1)).max(1024);
    let feeder = Feeder {
        held: vec![Vec::with_capacity(full); channels],
        full,
        blocks: to_measurer,
        used,
    };
    let measurer = Measurer {
        meter: QualityMeter::new(channels, rate),
        blocks,
        used: to_feeder,
    };
    (feeder, measurer)
}

impl Feeder {
    /// Takes the next values of all channels, slices of one length.
    pub(super) fn add(&mut self, planes: &[&[f64]]) {
        let length = planes.first().map_or(0, |plane| plane.len());
        let mut done = 0;
        while done < length {
            let held = self.held.first().map_or(0, Vec::len);
            let to = length.min(done + self.full - held);
            for (held, plane) in self.held.iter_mut().zip(planes) {
                held.extend_from_slice(&plane[done..to]);
            }
            done = to;
            if self
                .held
                .first()
                .is_some_and(|held| held.len() == self.full)
            {
                self.send();
            }
        }
    }

    fn send(&mut self) {
        let mut empty = self.used.try_recv().unwrap_or_default();
        empty.resize_with(self.held.len(), Vec::new);
        empty.iter_mut().for_each(Vec::clear);
        let block = std::mem::replace(&mut self.held, empty);
        // nobody measures any more after a panic, which is told when the thread is joined
        let _ = self.blocks.send(block);
    }

    /// Sends what is held.
    pub(super) fn finish(mut self) {
        self.send();
    }
}

impl Measurer {
    /// Measures until the other end is done.
    pub(super) fn run(mut self) -> Quality {
        while let Ok(block) = self.blocks.recv() {
            let planes: Vec<&[f64]> = block.iter().map(Vec::as_slice).collect();
            self.meter.add(&planes);
            // once the other end is done, no block is wanted again
            let _ = self.used.send(block);
        }
        self.meter.finish()
    }
}
