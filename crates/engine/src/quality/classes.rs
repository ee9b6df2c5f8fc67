//! Levels in, how many fall into each class of a fixed width out: what share of them stays below which level, in memory that
//! does not grow with their number.

/// Counted levels.
pub(super) struct Classes {
    lowest: f64,
    step: f64,
    counts: Vec<u32>,
}

impl Classes {
    /// Classes of `step` dB from `lowest` to `highest`; what lies higher falls into the last.
    pub(super) fn new(lowest: f64, step: f64, highest: f64) -> Self {
        let classes = ((highest - lowest) / step).round().max(1.0) as usize;
        Self {
            lowest,
            step,
            counts: vec![0; classes],
        }
    }

    /// Counts a level; not what lies below the lowest class.
    pub(super) fn add(&mut self, level: f64) {
        let class = (level - self.lowest) / self.step;
        if class >= 0.0 {
            let last = self.counts.len() - 1;
            self.counts[(class as usize).min(last)] += 1;
        }
    }

    /// The classes from a level on: middle and number.
    pub(super) fn from(&self, level: f64) -> impl Iterator<Item = (f64, f64)> {
        let first = ((level - self.lowest) / self.step).ceil().max(0.0) as usize;
        let classes = self.counts.iter().enumerate().skip(first);
        classes.map(|(class, &count)| {
            let middle = self.lowest + (class as f64 + 0.5) * self.step;
            (middle, f64::from(count))
        })
    }

    /// The level that a share of what lies at `level` and above stays below; `None` where nothing does.
    pub(super) fn below_which(&self, level: f64, share: f64) -> Option<f64> {
        let wanted = share * self.from(level).map(|(_, count)| count).sum::<f64>();
        let mut below = 0.0;
        self.from(level).find_map(|(middle, count)| {
            below += count;
            (below >= wanted && below > 0.0).then_some(middle)
        })
    }
}
