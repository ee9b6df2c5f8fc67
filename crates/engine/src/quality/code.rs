//! One channel in, whether it carries timecode as sound out: two seconds of every half minute are listened to.

use serde::{Deserialize, Serialize};
use timecode::ltc::Decoder;

/// How much is listened to, and how often. Most timecode runs through a take or not at all.
const HEARD_S: u64 = 2;
const EVERY_S: u64 = 30;
/// Code is as loud at every moment: parts of a second that are compared, and how many dB the louder ninth tenth of them may lie
/// above the quieter tenth. Reading what is not code costs more than all other measuring.
const PARTS_A_SECOND: u32 = 50;
const STEADY_DB: f64 = 9.0;

/// Timecode on a channel.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Code {
    /// The first label that was read, `hh:mm:ss:ff`.
    pub label: String,
    /// How labels are counted, e.g. `25/1 NDF` or `30000/1001 DF`.
    pub counting: String,
    /// How many stretches of two seconds were listened to.
    pub heard: u32,
    /// How many of them carry code.
    pub carrying: u32,
}

/// Gathers [`Code`].
pub(super) struct CodeMeter {
    rate: u32,
    at: u64,
    /// What was listened to of the present stretch.
    held: Vec<f32>,
    heard: u32,
    carrying: u32,
    first: Option<(String, String)>,
}

impl CodeMeter {
    pub(super) fn new(rate: u32) -> Self {
        Self {
            rate,
            at: 0,
            held: Vec::new(),
            heard: 0,
            carrying: 0,
            first: None,
        }
    }

    pub(super) fn add(&mut self, mut samples: &[f64]) {
        let rate = u64::from(self.rate.max(1));
        let (heard, every) = (HEARD_S * rate, EVERY_S * rate);
        while !samples.is_empty() {
            let phase = self.at % every;
            let listening = phase < heard;
            let end = if listening { heard } else { every };
            let count =
                usize::try_from(end - phase).map_or(samples.len(), |left| left.min(samples.len()));
            let (now, later) = samples.split_at(count);
            if listening {
                self.held.extend(now.iter().map(|value| *value as f32));
            }
            self.at += count as u64;
            samples = later;
            if listening && self.at % every == heard {
                self.end();
            }
        }
    }

    fn end(&mut self) {
        let held = std::mem::take(&mut self.held);
        if held.is_empty() {
            return;
        }
        self.heard += 1;
        if !steady(&held, self.rate) {
            return;
        }
        let mut decoder = Decoder::new(self.rate);
        decoder.push(&held);
        let Some(reading) = decoder.finish() else {
            return;
        };
        self.carrying += 1;
        if self.first.is_none() {
            let label = reading.words().next().map(|word| word.label.to_string());
            self.first = Some((label.unwrap_or_default(), reading.counting.to_string()));
        }
    }

    pub(super) fn finish(mut self) -> Option<Code> {
        // of a last stretch that breaks off only what is long enough to tell counts
        let rate = u64::from(self.rate.max(1));
        if self.at % (EVERY_S * rate) >= rate || self.heard == 0 {
            self.end();
        }
        let (label, counting) = self.first?;
        Some(Code {
            label,
            counting,
            heard: self.heard,
            carrying: self.carrying,
        })
    }
}

/// Whether sound is as loud at every moment.
fn steady(samples: &[f32], rate: u32) -> bool {
    let part = (rate / PARTS_A_SECOND).max(1) as usize;
    let square = |part: &[f32]| part.iter().map(|x| f64::from(x * x)).sum::<f64>();
    let mut squares: Vec<f64> = samples.chunks_exact(part).map(square).collect();
    squares.sort_by(f64::total_cmp);
    let tenth = squares.len() / 10;
    let quiet = squares.get(tenth).copied().unwrap_or(0.0);
    let loud = squares.iter().rev().nth(tenth).copied().unwrap_or(0.0);
    quiet > 0.0 && 10.0 * (loud / quiet).log10() <= STEADY_DB
}
